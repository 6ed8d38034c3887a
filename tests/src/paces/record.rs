//! The records: which node, where, and what comes in.

use std::path::Path;

use millpond::income::Income;
use millpond::node::{Node, NodeFile};

use super::income;
use crate::tool::Tool;

/// What comes in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Source {
    /// A typical year of the data in the package pvlib, by file name.
    Weather(&'static str),
    /// Made weather at the node's place with the statistics of this number.
    Made(u64),
    /// An office with holidays, lamps and a window.
    Office(u64),
    /// A machine that runs and stands, by mean hours of each.
    Machine(u64, f64, f64),
}

/// What an engineer would write into the node file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Place {
    /// Latitude and longitude (degrees) and the area of the module.
    Outdoors(f64, f64, &'static str),
    /// Area of the cell.
    Indoors(&'static str),
    /// Power of the source.
    Machine(&'static str),
}

/// One income, and the node that it meets.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Record {
    /// Name in the table.
    pub name: &'static str,
    /// What the node file says.
    pub place: Place,
    /// What comes in.
    pub source: Source,
    /// Length of the run (days).
    pub days: usize,
}

const fn record(name: &'static str, place: Place, source: Source) -> Record {
    Record {
        name,
        place,
        source,
        days: 365,
    }
}

const SAND_POINT: (f64, f64) = (55.317, -160.517);
const GREENSBORO: (f64, f64) = (36.1, -79.95);

/// All records.
pub const RECORDS: [Record; 12] = [
    record(
        "703165TY, 0.6 cm2",
        Place::Outdoors(SAND_POINT.0, SAND_POINT.1, "0.6 cm2"),
        Source::Weather("703165TY.csv"),
    ),
    record(
        "703165TY, 1 cm2",
        Place::Outdoors(SAND_POINT.0, SAND_POINT.1, "1 cm2"),
        Source::Weather("703165TY.csv"),
    ),
    record(
        "703165TY, 2.5 cm2",
        Place::Outdoors(SAND_POINT.0, SAND_POINT.1, "2.5 cm2"),
        Source::Weather("703165TY.csv"),
    ),
    record(
        "723170TYA, 0.2 cm2",
        Place::Outdoors(GREENSBORO.0, GREENSBORO.1, "0.2 cm2"),
        Source::Weather("723170TYA.CSV"),
    ),
    record(
        "723170TYA, 0.4 cm2",
        Place::Outdoors(GREENSBORO.0, GREENSBORO.1, "0.4 cm2"),
        Source::Weather("723170TYA.CSV"),
    ),
    record(
        "723170TYA, 1.2 cm2",
        Place::Outdoors(GREENSBORO.0, GREENSBORO.1, "1.2 cm2"),
        Source::Weather("723170TYA.CSV"),
    ),
    record(
        "made, 50 N, changeable",
        Place::Outdoors(50.0, 0.0, "0.8 cm2"),
        Source::Made(1),
    ),
    record(
        "made, 20 N, monsoon",
        Place::Outdoors(20.0, 0.0, "0.3 cm2"),
        Source::Made(2),
    ),
    record(
        "made, 35 N, dry",
        Place::Outdoors(35.0, 0.0, "0.25 cm2"),
        Source::Made(3),
    ),
    record("office", Place::Indoors("25 cm2"), Source::Office(4)),
    record(
        "steam trap, daily stops",
        Place::Machine("0.2 mW"),
        Source::Machine(6, 30.0, 6.0),
    ),
    record(
        "steam trap, rare stops",
        Place::Machine("0.35 mW"),
        Source::Machine(7, 120.0, 5.0),
    ),
];

impl Record {
    /// The node that meets this income.
    ///
    /// # Errors
    ///
    /// If the node file is refused.
    pub fn node(&self) -> Result<Node, String> {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("paces");
        let read = |name: &str| std::fs::read_to_string(folder.join(name)).map_err(|error| error.to_string());
        let text = match self.place {
            Place::Outdoors(latitude_deg, longitude_deg, area) => read("outdoors.toml")?
                .replace("LATITUDE", &format!("{latitude_deg:?}"))
                .replace("LONGITUDE", &format!("{longitude_deg:?}"))
                .replace("AREA", area),
            Place::Indoors(area) => read("indoors.toml")?.replace("AREA", area),
            Place::Machine(power) => read("machine.toml")?.replace("POWER", power),
        };
        let file = NodeFile::parse(self.name, &text, &folder).map_err(|error| error.to_string())?;
        Ok(file.node)
    }

    /// What comes in; `None` where the file of a typical year cannot be had.
    ///
    /// # Errors
    ///
    /// If the record is refused.
    pub fn income(&self, python: Option<&Tool>) -> Result<Option<Income>, String> {
        match self.source {
            Source::Weather(name) => {
                let Some(python) = python else {
                    return Ok(None);
                };
                let answer = python
                    .ask(include_str!("where.py"), &serde_json::json!(name))
                    .map_err(|error| format!("{error:?}"))?;
                let path: String = serde_json::from_slice(&answer).map_err(|error| error.to_string())?;
                millpond::record::load(path, &self.node()?.harvest.source)
                    .map(Some)
                    .map_err(|error| error.to_string())
            }
            Source::Made(seed) => Ok(Some(income::weather(&self.node()?, seed, self.days))),
            Source::Office(seed) => Ok(Some(income::office(&self.node()?, seed, self.days))),
            Source::Machine(seed, running_h, standing_h) => Ok(Some(income::machine(
                &self.node()?,
                seed,
                self.days,
                running_h,
                standing_h,
            ))),
        }
    }
}
