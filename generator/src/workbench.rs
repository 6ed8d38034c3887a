//! The library itself inside a page, with fields for the node's inputs.
//!
//! From a node file and the library as WebAssembly to the text of an HTML file, which asks for nothing from outside.

use std::collections::BTreeMap;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use minijinja::{AutoEscape, context};
use serde_json::json;

use crate::emit::GENERATOR;
use crate::emit::template::render;
use crate::report;
use crate::visible::in_json;

const PAGE: &str = include_str!("../../templates/workbench/page.html.jinja");
const ENGINE: &str = include_str!("../../templates/workbench/engine.js");
const WORKBENCH: &str = include_str!("../../templates/workbench/workbench.js");
const STYLE: &str = include_str!("../../templates/workbench/workbench.css");

/// The page for the node file called `name` with the text `node`, and the text of each profile that it names under its path; `wasm` is
/// the crate `millpond-workbench` compiled for `wasm32-unknown-unknown`.
///
/// ```
/// let page = millpond::workbench::page("node.toml", "schema = 1\n", &[].into(), b"\0asm");
/// assert!(page.starts_with("<!doctype html>") && page.contains("AGFzbQ=="));
/// ```
pub fn page(name: &str, node: &str, profiles: &BTreeMap<String, String>, wasm: &[u8]) -> String {
    let node = json!({ "file": name, "text": node, "profiles": profiles }).to_string();
    let node = in_json(&node).into_owned();
    let context = context! {
        generator => GENERATOR,
        style => [report::style(), report::inline(STYLE)].join("\n"),
        scripts => report::scripts(),
        engine => report::inline(ENGINE),
        workbench => report::inline(WORKBENCH),
        // In a script element only `<` can end the data early.
        node => node.replace('<', "\\u003c"),
        wasm => STANDARD.encode(wasm),
    };
    render(PAGE, &[], context, AutoEscape::Html)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_of_the_node_file_does_not_end_its_element() {
        let text = "# </script><script>alert(1)</script>";
        let profiles = BTreeMap::from([("boot.csv".to_owned(), text.to_owned())]);
        let page = page("node.toml", text, &profiles, b"");
        assert!(!page.contains("<script>alert"));
        assert_eq!(page.matches("<script").count(), page.matches("</script>").count());
    }
}
