//! The node file as a whole: from a path or a text to a [`Node`], or to all that is wrong with it.

use std::path::Path;

use hmac_sha256::Hash;
use toml::de::DeTable;

use super::profiles::Profiles;
use super::table::{Log, Table};
use super::{Node, action, agreement, comparator, harvest, pacing, radio, sense, storage, supply, syntax};
use crate::input::{self, Limit, LoadError};
use crate::problem::{InputText, Problems, quoted};
use crate::text::hexadecimal;
use crate::units::*;

/// A larger file is no node file: the longest sensible one has a few hundred lines.
const LIMIT: Limit = Limit {
    most_bytes: 1 << 20,
    cure: "this is not a node file",
};

/// The only version of the file's layout so far.
const SCHEMA: u32 = 1;

/// Longest name of a node: it becomes part of identifiers in the firmware.
const MOST_NAME_CHARACTERS: usize = 40;

/// A node file that was read and found in order.
#[derive(Clone, Debug, PartialEq)]
pub struct NodeFile {
    /// Path as the user gave it.
    pub path: String,
    /// The whole text.
    pub text: String,
    /// What it describes.
    pub node: Node,
    /// SHA-256, in hexadecimal, over the bytes of the file and then of every profile it names, in the order
    /// boot, measure, transmit.
    pub input_hash: String,
    /// The profiles that it names, as they were read.
    pub profiles: Vec<InputText>,
}

impl NodeFile {
    /// Reads a node file of at most 1 MiB and the profiles that it names, of at most 16 MiB each; their paths start at the file's folder.
    ///
    /// # Errors
    ///
    /// [`LoadError::Refused`] with all faults at once, or what kept the file from being read at all.
    pub fn load(path: impl AsRef<Path>) -> Result<NodeFile, LoadError> {
        let path = path.as_ref();
        let file = input::read(path, LIMIT)?;
        let folder = path.parent().unwrap_or(Path::new(""));
        NodeFile::parse(&file.path, &file.text, folder).map_err(LoadError::Refused)
    }

    /// Reads a node from text; `label` stands for the path in messages, profiles are looked for in `folder`.
    ///
    /// # Errors
    ///
    /// All faults of the text and of the profiles it names.
    ///
    /// ```
    /// use millpond_node::node::NodeFile;
    /// let text = millpond_templates::nodes::CRACK_GAUGE;
    /// let file = NodeFile::parse("crack-gauge.toml", text, "")?;
    /// assert_eq!(file.node.name, "crack-gauge");
    /// assert!(NodeFile::parse("empty.toml", "", "").is_err());
    /// # Ok::<(), millpond_node::problem::Problems>(())
    /// ```
    pub fn parse(label: &str, text: &str, folder: impl AsRef<Path>) -> Result<NodeFile, Problems> {
        Self::parse_with(label, text, Profiles::Folder(folder.as_ref()))
    }

    /// Reads a node from text, with its profiles from wherever they are.
    ///
    /// # Errors
    ///
    /// All faults of the text and of the profiles it names.
    ///
    /// ```
    /// use std::collections::BTreeMap;
    /// use millpond_node::node::{NodeFile, Profiles};
    /// let text = millpond_templates::nodes::CRACK_GAUGE;
    /// let phases = text.lines().find(|line| line.starts_with("phases")).expect("those of the boot");
    /// let measured = text.replacen(phases, "profile = \"boot.csv\"", 1);
    /// let boot = ("boot.csv".to_owned(), "time_s,current_ma\n0,4\n0.045,0\n".to_owned());
    /// let file = NodeFile::parse_with("node.toml", &measured, Profiles::Given(&BTreeMap::from([boot])))?;
    /// assert_eq!(file.node.boot.phases.len(), 1);
    /// # Ok::<(), millpond_node::problem::Problems>(())
    /// ```
    pub fn parse_with(label: &str, text: &str, profiles: Profiles<'_>) -> Result<NodeFile, Problems> {
        let (entries, errors) = DeTable::parse_recoverable(text);
        let log = Log {
            damaged: !errors.is_empty(),
            ..Log::default()
        };
        log.files.borrow_mut().push(InputText {
            path: label.to_string(),
            text: text.to_string(),
        });
        let end = text.trim_end().len();
        let node = read_node(Table::root(entries.get_ref(), end, &log), profiles);

        let mut list = log.problems.into_inner();
        syntax::merge(text, &errors, &mut list);
        let mut files = log.files.into_inner();
        match node {
            Some(node) if list.is_empty() => Ok(NodeFile {
                path: label.to_string(),
                text: text.to_string(),
                node,
                input_hash: hash(&files),
                profiles: files.split_off(1),
            }),
            _ => Err(Problems::new(files, list)),
        }
    }
}

impl Node {
    /// Reads a node from text, without files beside it; see [`NodeFile::parse`].
    ///
    /// # Errors
    ///
    /// All faults of the text.
    pub fn read(text: &str) -> Result<Node, Problems> {
        NodeFile::parse("node.toml", text, "").map(|file| file.node)
    }
}

/// Reads all sections; those that fail leave notes, and nothing is returned then.
fn read_node(mut root: Table<'_>, profiles: Profiles<'_>) -> Option<Node> {
    let log = root.log();
    read_schema(&mut root);
    let name = read_name(&mut root);
    let banks = storage::read(&mut root);
    let supply = supply::read(&mut root);
    let sleep_current = read_sleep(&mut root);
    let boot = action::read(&mut root, "boot", false, profiles);
    let measure = action::read(&mut root, "measure", false, profiles);
    let mut transmit = action::read(&mut root, "transmit", true, profiles);
    let mut radio_stands = false;
    let radio = transmit.table.as_mut().and_then(|table| {
        radio_stands = table.has("radio");
        table.optional_table("radio").and_then(radio::read)
    });
    for action in [boot.table, measure.table, transmit.table] {
        action.into_iter().for_each(Table::finish);
    }
    let sensing = sense::read(&mut root);
    let harvest = harvest::read(&mut root);
    let policy = pacing::read_policy(&mut root);
    let margins = pacing::read_margins(&mut root);
    let comparator = comparator::read(&mut root);
    root.finish();

    agreement::reference_below_supply(log, &supply, &sensing);
    agreement::airtime_has_radio(log, transmit.airtime.as_ref(), radio_stands);
    if let Some(overvoltage) = &harvest.overvoltage {
        agreement::overvoltage_within_rating(log, overvoltage, &banks);
        agreement::supply_below_overvoltage(log, overvoltage, &supply);
        agreement::converter_within_reference(log, overvoltage, &sensing);
    }
    Some(Node {
        name: name?,
        storage: banks
            .into_iter()
            .map(|bank| bank.capacitor)
            .collect::<Option<_>>()?,
        supply: supply.supply?,
        sleep_current: sleep_current?,
        boot: boot.action?,
        measure: measure.action?,
        transmit: transmit.action?,
        radio: if radio_stands { Some(radio?) } else { None },
        sense: sensing.sense?,
        harvest: harvest.harvest?,
        policy: policy?,
        margins: margins?,
        comparator,
    })
}

fn read_schema(root: &mut Table<'_>) {
    let schema = root.required::<u32>("schema", "1", 0..=u32::MAX);
    if let Some(given) = schema.filter(|given| given.value != SCHEMA) {
        root.note(
            &given.span,
            format!("schema {} is not known", given.value),
            "1, the only layout that this version reads",
            "if the file is from a newer release, update this tool; otherwise write schema = 1",
        );
    }
}

fn read_name(root: &mut Table<'_>) -> Option<String> {
    let mut table = root.table("node")?;
    let name = table.required::<String>("name", "crack-gauge", ());
    let sound = |name: &str| {
        let letters = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        name.starts_with(|c: char| c.is_ascii_lowercase())
            && name.chars().all(letters)
            // Hyphens become underscores, of which C++ keeps two in a row to itself: `gauge-1-` would be `gauge-1`.
            && !name.contains("--")
            && !name.ends_with('-')
            && name.len() <= MOST_NAME_CHARACTERS
    };
    let name = name.filter(|given| {
        if !sound(&given.value) {
            table.note(
                &given.span,
                format!("the node cannot be named \"{}\"", quoted(&given.value)),
                format!(
                    "a lower-case letter, then lower-case letters, digits and single hyphens between them, at most \
                     {MOST_NAME_CHARACTERS} in all"
                ),
                "the name becomes part of identifiers in the firmware: write for example \"crack-gauge\"",
            );
        }
        sound(&given.value)
    });
    table.finish();
    name.map(|given| given.value)
}

fn read_sleep(root: &mut Table<'_>) -> Option<Current> {
    let mut table = root.table("sleep")?;
    let current = table.required::<Current>("current", "2.4 uA", super::limit::Limit::NOT_NEGATIVE);
    table.finish();
    current.map(|given| given.value)
}

/// SHA-256 over all input bytes, in hexadecimal.
fn hash(files: &[InputText]) -> String {
    let mut hash = Hash::new();
    for file in files {
        hash.update(file.text.as_bytes());
    }
    hexadecimal(&hash.finalize())
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::node::missing;

    const DOCUMENT: &str = include_str!("../../../../docs/node-file.md");

    const EXAMPLES: [&str; 3] = [
        millpond_templates::nodes::CRACK_GAUGE,
        millpond_templates::nodes::DISPLAY_CASE,
        millpond_templates::nodes::PUMP_BEARING,
    ];

    /// Every key that the reader asks for; the examples between them use every kind of every section.
    fn known_keys() -> BTreeSet<String> {
        let mut known = BTreeSet::new();
        for text in EXAMPLES {
            let (entries, _) = DeTable::parse_recoverable(text);
            let log = Log::default();
            read_node(
                Table::root(entries.get_ref(), 0, &log),
                Profiles::Folder(Path::new("")),
            );
            known.append(&mut log.known.into_inner());
        }
        known
    }

    /// Keys of the document: a heading names tables, the first column of a row names a key in each of them.
    fn documented_keys() -> BTreeSet<String> {
        let mut keys = BTreeSet::new();
        let mut tables: Vec<String> = Vec::new();
        for line in DOCUMENT.lines() {
            let code = |text: &str| -> Vec<String> {
                text.split('`')
                    .skip(1)
                    .step_by(2)
                    .map(|name| name.replace(['[', ']'], ""))
                    .collect()
            };
            if line.starts_with('#') {
                tables = code(line);
                keys.extend(tables.iter().cloned());
            } else if let Some(cell) = line.strip_prefix("| `").and_then(|_| line.split('|').nth(1)) {
                for key in code(cell) {
                    match tables.as_slice() {
                        [] => drop(keys.insert(key)),
                        tables => keys.extend(tables.iter().map(|table| format!("{table}.{key}"))),
                    }
                }
            }
        }
        keys
    }

    /// A reader that gives up half way still says what it had asked for in vain.
    #[test]
    fn a_reader_that_ends_early_says_what_is_missing() {
        let log = Log::default();
        let (entries, _) = DeTable::parse_recoverable("");
        let mut table = Table::root(entries.get_ref(), 0, &log);
        table.raw("capacitance", Some("\"1 F\""));
        drop(table);
        let problems = log.problems.into_inner();
        assert_eq!(problems.len(), 1);
        assert!(problems[0].title.contains("capacitance"), "{}", problems[0].title);
    }

    /// What a cure says of sections inside others is what their readers ask for.
    #[test]
    fn inner_sections_are_listed_with_all_their_keys() {
        let known = known_keys();
        let asked_in = |section: &str| -> BTreeSet<&str> {
            let inside = format!("{section}.");
            known.iter().filter_map(|key| key.strip_prefix(&inside)).collect()
        };
        for (header, keys) in missing::INNER_SECTIONS {
            let section = header.trim_matches(['[', ']']);
            let (outer, name) = section.split_once('.').expect("two names");
            if keys.is_empty() {
                let asked = asked_in(outer);
                assert!(asked.contains(name), "{header}");
                assert!(asked.iter().all(|key| key.starts_with(name)), "{header}");
            } else {
                assert_eq!(
                    keys.iter().copied().collect::<BTreeSet<_>>(),
                    asked_in(section),
                    "{header}"
                );
            }
        }
    }

    #[test]
    fn the_document_lists_what_the_reader_knows() {
        let (known, documented) = (known_keys(), documented_keys());
        let missing: Vec<_> = known.difference(&documented).collect();
        let invented: Vec<_> = documented.difference(&known).collect();
        assert!(missing.is_empty(), "not in docs/node-file.md: {missing:?}");
        assert!(
            invented.is_empty(),
            "docs/node-file.md tells of keys that do not exist: {invented:?}"
        );
    }

    #[test]
    fn optional_keys_have_their_defaults() {
        let pump = super::super::example("pump-bearing");
        assert_eq!(pump.storage[0].end_of_life_esr, fraction(3.0));
        assert_eq!(pump.storage[1].end_of_life_esr, fraction(1.0));
        assert_eq!((pump.storage[0].series, pump.storage[0].parallel), (2, 1));
        assert_eq!(pump.storage[0].capacitance_slope, farads_per_volt(0.0));
        assert_eq!(pump.transmit.attempts, 3);
        assert_eq!(pump.boot.attempts, 1);
        assert_eq!(pump.policy.hysteresis, None);
        assert_eq!(pump.policy.when_full, super::super::WhenFull::KeepNewest);
        let text = EXAMPLES[1].replace("batch = 1\nbacklog = 16\n", "batch = 20\n");
        let case = Node::read(&text[..text.find("[margins]").expect("a last section")]).expect("sound");
        assert_eq!(case.policy.backlog, 20);
        assert_eq!(case.margins.load, fraction(0.0));
    }

    /// Editors of other systems end lines with a carriage return or begin the file with a mark.
    #[test]
    fn line_ends_and_byte_order_marks_change_nothing() {
        let plain = Node::read(EXAMPLES[0]).expect("sound");
        let foreign = format!("\u{feff}{}", EXAMPLES[0].replace('\n', "\r\n"));
        assert_eq!(Node::read(&foreign).expect("sound"), plain);
    }

    #[test]
    fn one_efficiency_holds_for_all_currents() {
        let line = EXAMPLES[0]
            .lines()
            .find(|line| line.starts_with("efficiency = [["));
        let node =
            Node::read(&EXAMPLES[0].replace(line.expect("a table"), "efficiency = \"85 %\"")).expect("sound");
        let super::super::Regulator::Switching { efficiency, .. } = node.supply.regulator else {
            panic!("the example has a switching supply");
        };
        assert_eq!(efficiency.points.len(), 1);
        assert_eq!(efficiency.points[0].1, fraction(0.85));
    }

    #[test]
    fn a_terminal_read_directly_has_a_ratio_of_one() {
        let start = EXAMPLES[1].find("divider_top").expect("a divider");
        let end = EXAMPLES[1].find("[harvest]").expect("a next section");
        let text = format!("{}{}", &EXAMPLES[1][..start], &EXAMPLES[1][end..]).replace("1.2 V", "4.5 V");
        let sense = Node::read(&text).expect("sound").sense;
        assert_eq!(
            sense.divider_bottom / (sense.divider_top + sense.divider_bottom),
            fraction(1.0)
        );
    }

    #[test]
    fn quantities_are_those_of_the_text() {
        let gauge = super::super::example("crack-gauge");
        assert_eq!(gauge.storage[0].capacitance, farads(1.0));
        assert_eq!(gauge.storage[0].cold_esr, fraction(1.8));
        assert_eq!(gauge.sleep_current, amperes(2.4e-6));
        assert_eq!(gauge.sense.divider_top, ohms(4.7e6));
        assert_eq!(gauge.policy.dark_horizon, seconds(57_600.0));
        assert_eq!(gauge.margins.temperature_min, Some(degrees_celsius(-10.0)));
        assert_eq!(gauge.transmit.phases[1].extent, super::super::Extent::Airtime);
    }
}
