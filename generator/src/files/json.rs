//! The constants as JSON.

use serde::Serialize;

use crate::emit::{Constants, fingerprint};
use crate::visible::in_json;

#[derive(Serialize)]
struct File<'a> {
    /// Empty until the text is stamped.
    content_sha256: &'static str,
    #[serde(flatten)]
    constants: &'a Constants,
}

/// The constants as JSON, with the hash of its own text.
///
/// ```
/// let generated = millpond::generate("../templates/nodes/crack-gauge.toml")?;
/// assert!(millpond::files::json(&generated.constants).contains("\"transmit_mv\": "));
/// # Ok::<(), millpond::generated::Refusal>(())
/// ```
pub fn json(constants: &Constants) -> String {
    let file = File {
        content_sha256: "",
        constants,
    };
    // OK because every key is a string and every value a number, a string or a list of those.
    let text = serde_json::to_string_pretty(&file).expect("strings and integers become JSON");
    fingerprint::stamped(&(in_json(&text).into_owned() + "\n"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::emit::given::{example, planned};

    #[test]
    fn a_plan_is_in_it_only_where_there_is_one() {
        let (without, with) = (json(&example()), json(&planned()));
        assert!(with.contains("\"sample_unit_s\": 260859,\n"), "{with}");
        assert!(with.contains("\"two years */ of weather\""), "{with}");
        assert!(!without.to_lowercase().contains("plan"), "{without}");
        assert_eq!(without, json(&example()));
        assert!(without.ends_with('\n'));
    }
}
