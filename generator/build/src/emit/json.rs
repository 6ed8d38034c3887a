//! The constants as JSON.

use serde::Serialize;

use super::{Constants, Emitter};
use crate::visible::in_json;

/// Renders JSON.
pub(super) struct Json;

#[derive(Serialize)]
struct File<'a> {
    /// Empty until the text is stamped.
    content_sha256: &'static str,
    #[serde(flatten)]
    constants: &'a Constants,
}

impl Emitter for Json {
    fn render(&self, constants: &Constants) -> String {
        let file = File {
            content_sha256: "",
            constants,
        };
        // OK because every key is a string and every value a number, a string or a list of those.
        let text = serde_json::to_string_pretty(&file).expect("strings and integers become JSON");
        in_json(&text).into_owned() + "\n"
    }
}
