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

const PAGE: &str = millpond_templates::workbench::PAGE;
const ENGINE: &str = millpond_templates::workbench::ENGINE;
const WORKBENCH: &str = millpond_templates::workbench::WORKBENCH;
const STYLE: &str = millpond_templates::workbench::STYLE;

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
    use crate::files::{Kind, may_replace};

    /// What is written as a page may be replaced by a page, and by nothing else.
    #[test]
    fn a_page_is_known_as_one() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("page.html");
        std::fs::write(&path, page("node.toml", "schema = 1\n", &[].into(), b"")).expect("written");
        assert!(may_replace(&path, Kind::Page).is_ok());
        assert!(may_replace(&path, Kind::Picture).is_err());
    }

    #[test]
    fn text_of_the_node_file_does_not_end_its_element() {
        let text = "# </script><script>alert(1)</script>";
        let profiles = BTreeMap::from([("boot.csv".to_owned(), text.to_owned())]);
        let page = page("node.toml", text, &profiles, b"");
        assert!(!page.contains("<script>alert"));
        assert_eq!(page.matches("<script").count(), page.matches("</script>").count());
    }
}
