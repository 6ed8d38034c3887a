//! Every kind of bad catalogue, with the message it is answered with, and the examples of its page.
//!
//! The messages in `refused/catalogue/err_*.txt` change only on purpose: `SNAPSHOTS=overwrite cargo test -p millpond --test catalogue`.

use std::fs;
use std::path::{Path, PathBuf};

use millpond::input::LoadError;
use millpond::node::{Capacitor, Node};
use millpond::size::catalogue::{from_csv, load};
use proptest::prelude::*;
use snapbox::{Data, assert_data_eq};

fn own() -> Capacitor {
    let text = millpond_templates::nodes::CRACK_GAUGE;
    Node::read(text).expect("a sound example").storage.remove(0)
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/refused/catalogue")
}

#[test]
fn every_bad_catalogue_has_its_message() {
    let mut names: Vec<PathBuf> = fs::read_dir(folder())
        .expect("the folder of bad catalogues")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|ending| ending != "txt"))
        .collect();
    names.sort();
    assert!(names.len() >= 6, "only {} bad catalogues found", names.len());
    for path in names {
        let Err(LoadError::Refused(mut problems)) = load(&path, &own()) else {
            panic!("{} is not refused", path.display());
        };
        // The machine's path is no part of the message.
        problems.files[0].path = path.file_name().expect("a name").to_string_lossy().into_owned();
        let name = format!("{}.txt", problems.files[0].path.replace('.', "_"));
        assert_data_eq!(
            problems.render(false),
            Data::read_from(&folder().join(name), None).raw()
        );
    }
}

/// The two examples of docs/catalogue.md are the same catalogue in two forms.
#[test]
fn the_examples_of_its_page_are_read_alike() {
    let page = include_str!("../../docs/catalogue.md");
    let block = |kind: &str| {
        let rest = page.split(&format!("```{kind}\n")).nth(1).expect("an example");
        rest.split("```").next().expect("its end").to_owned()
    };
    let dir = tempfile::tempdir().expect("a temporary folder");
    let parts = |kind: &str| {
        let path = dir.path().join(format!("parts.{kind}"));
        fs::write(&path, block(kind)).expect("written");
        load(&path, &own()).unwrap_or_else(|error| panic!("{error}"))
    };
    assert_eq!(parts("toml"), parts("csv"));
    assert_eq!(parts("csv").len(), 3);
}

#[test]
fn a_missing_catalogue_is_unreadable() {
    assert!(matches!(
        load("no-such-folder/parts.csv", &own()),
        Err(LoadError::Unreadable { .. })
    ));
}

proptest! {
    /// Whatever the text, an answer comes; a refusal says where.
    #[test]
    fn any_text_is_answered(text in "name,capacitance,esr,rated_voltage,leakage,series,price\n([-a-z0-9.,\"# \nFVuAohm]|\\PC){0,120}") {
        if let Err(problems) = from_csv("parts.csv", &text, &own()) {
            prop_assert!(problems.render(false).contains("parts.csv:"), "{}", problems.render(false));
        }
    }
}
