//! A node file and what it names, as a page hands them over.

use std::collections::BTreeMap;

use millpond::node::{NodeFile, Profiles};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use crate::problems::{self, Fault};

/// A node file, and what it names.
#[derive(Default, Deserialize)]
pub(crate) struct Files {
    /// The text of the node file.
    pub(crate) text: String,
    /// The text of each measured profile under its path.
    #[serde(default)]
    pub(crate) profiles: BTreeMap<String, String>,
}

/// What every answer to a refused node file has.
#[derive(Serialize)]
pub(crate) struct Refused {
    pub(crate) faults: Vec<Fault>,
}

impl Files {
    /// The node, or the answer that refuses it.
    pub(crate) fn node(&self) -> Result<NodeFile, Value> {
        let given = Profiles::Given(&self.profiles);
        NodeFile::parse_with("node.toml", &self.text, given).map_err(|problems| {
            let faults = problems::faults(&problems);
            json!(Refused { faults })
        })
    }
}
