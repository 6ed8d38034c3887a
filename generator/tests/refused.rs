//! Every kind of bad node file, with the message it is answered with.
//!
//! The messages in `refused/err_*.txt` were read as a user reads them. They change only on purpose:
//! `SNAPSHOTS=overwrite cargo test -p millpond --test refused`.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use millpond::budget::Budget;
use millpond::findings;
use millpond::input::{LoadError, Unreadable};
use millpond::node::NodeFile;
use millpond::thresholds::Thresholds;
use proptest::prelude::*;
use snapbox::{Data, assert_data_eq};

/// The node files that stand in the project as examples.
const EXAMPLES: [&str; 3] = [
    millpond_templates::nodes::CRACK_GAUGE,
    millpond_templates::nodes::DISPLAY_CASE,
    millpond_templates::nodes::PUMP_BEARING,
];

/// A file that is too large must be turned away without being read; a slow disk is allowed for.
const QUICK: Duration = Duration::from_millis(500);

/// A file just within the size limit is read in full, whatever it holds, and answered within this.
const BEARABLE: Duration = Duration::from_secs(20);

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/refused")
}

#[test]
fn every_bad_file_has_its_message() {
    let mut names: Vec<_> = fs::read_dir(folder())
        .expect("the folder of bad files")
        .map(|entry| {
            entry
                .expect("an entry")
                .file_name()
                .into_string()
                .expect("a plain name")
        })
        .filter(|name| name.starts_with("err_") && name.ends_with(".toml"))
        .collect();
    names.sort();
    assert!(names.len() > 20, "only {} bad files found", names.len());
    for name in names {
        let text = fs::read_to_string(folder().join(&name)).expect("a readable file");
        let problems = NodeFile::parse(&name, &text, folder()).expect_err(&name);
        let stored = folder().join(name.replace(".toml", ".txt"));
        assert_data_eq!(problems.render(false), Data::read_from(&stored, None).raw());
    }
}

#[test]
fn every_example_is_read() {
    for text in EXAMPLES {
        if let Err(problems) = NodeFile::parse("example.toml", text, "") {
            panic!("{}", problems.render(false));
        }
    }
}

#[test]
fn a_missing_file_is_unreadable() {
    let error = NodeFile::load("no-such-folder/node.toml").expect_err("nothing there");
    assert!(matches!(error, LoadError::Unreadable { .. }), "{error:?}");
    assert!(
        error
            .to_string()
            .starts_with("no-such-folder/node.toml cannot be read: "),
        "{error}"
    );
    assert!(matches!(
        NodeFile::load(folder()),
        Err(LoadError::Unreadable { .. })
    ));
}

fn is(error: &LoadError, kind: impl Fn(&Unreadable) -> bool) -> bool {
    matches!(error, LoadError::Unreadable { why, .. } if kind(why))
}

#[test]
fn a_huge_file_is_turned_away_unread() {
    let mut file = tempfile::NamedTempFile::new().expect("a temporary file");
    std::io::Write::write_all(&mut file, &vec![b'a'; 10 << 20]).expect("space for ten megabytes");
    let start = Instant::now();
    let error = NodeFile::load(file.path()).expect_err("too large");
    assert!(
        is(&error, |why| matches!(why, Unreadable::TooLarge { .. })),
        "{error:?}"
    );
    assert!(start.elapsed() < QUICK, "{:?}", start.elapsed());
}

#[test]
fn a_file_of_garbage_within_the_limit_is_answered() {
    let most = 1 << 20;
    for piece in [
        "a",
        "a=1\n",
        "[",
        "[[a]]\n",
        "[a]\n",
        "{",
        "a.",
        "\"",
        "=\n",
        "é",
        "[a.b]\nc=[1,2]\n",
        "\u{0}",
    ] {
        let text = piece.repeat(most / piece.len());
        let start = Instant::now();
        let problems = NodeFile::parse("garbage.toml", &text, "").expect_err("garbage");
        assert!(problems.render(false).len() < most, "{piece:?}");
        assert!(start.elapsed() < BEARABLE, "{piece:?} took {:?}", start.elapsed());
    }
}

#[test]
fn bytes_that_are_not_text_are_named_by_offset() {
    let mut file = tempfile::NamedTempFile::new().expect("a temporary file");
    std::io::Write::write_all(&mut file, b"schema = 1\n\xff\xfe").expect("written");
    let error = NodeFile::load(file.path()).expect_err("not text");
    assert!(
        is(&error, |why| matches!(why, Unreadable::NotText { offset: 11 })),
        "{error:?}"
    );
    assert!(error.to_string().contains("byte 11"), "{error}");
}

#[test]
fn the_hash_covers_the_profiles() {
    let dir = tempfile::tempdir().expect("a temporary folder");
    let text = EXAMPLES[0].replace(
        "phases = [{ name = \"start-up\", current = \"4 mA\", duration = \"45 ms\" }]",
        "profile = \"boot.csv\"",
    );
    let load = |profile: &str| {
        fs::write(dir.path().join("boot.csv"), profile).expect("written");
        fs::write(dir.path().join("node.toml"), &text).expect("written");
        NodeFile::load(dir.path().join("node.toml")).expect("a sound file")
    };
    let first = load("time_s,current_ma\n0,4\n0.045,0\n");
    let second = load("time_s,current_ma\n0,5\n0.045,0\n");
    assert_eq!(first.node.boot.phases.len(), 1);
    assert_eq!(first.input_hash.len(), 64);
    assert_ne!(first.input_hash, second.input_hash);
    assert_eq!(first, load("time_s,current_ma\n0,4\n0.045,0\n"));
}

#[test]
fn a_profile_is_named_with_its_folder() {
    let dir = tempfile::tempdir().expect("a temporary folder");
    let text = EXAMPLES[1].replace(
        "phases = [{ name = \"start-up\", current = \"2.2 mA\", duration = \"9 ms\" }]",
        "profile = \"boot.csv\"",
    );
    fs::write(dir.path().join("boot.csv"), "time_s,current_ma\n0,4\n0,5\n").expect("written");
    fs::write(dir.path().join("node.toml"), text).expect("written");
    let error = NodeFile::load(dir.path().join("node.toml")).expect_err("time stands still");
    let place = format!("{}:3:1", dir.path().join("boot.csv").display());
    assert!(error.to_string().contains(&place), "{error}");
}

/// SHA-256 of the three letters "abc": FIPS 180-4, example of the standard's companion document.
#[test]
fn the_hash_is_that_of_the_bytes() {
    use hmac_sha256::Hash;
    let known: String = Hash::hash(b"abc")
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    assert_eq!(
        known,
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    );
    let file = NodeFile::parse("example.toml", EXAMPLES[0], "").expect("a sound file");
    let own: String = Hash::hash(EXAMPLES[0].as_bytes())
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    assert_eq!(file.input_hash, own);
}

/// The line with the first two letters of its key exchanged, if it has a key and they differ.
fn misspelt(line: &str) -> Option<String> {
    let key_length = line.chars().take_while(char::is_ascii_lowercase).count();
    if key_length < 2 || !line[key_length..].contains('=') {
        return None;
    }
    let (first, second, rest) = (&line[..1], &line[1..2], &line[2..]);
    (first != second).then(|| format!("{second}{first}{rest}"))
}

/// Every line of every example taken out, and every key with its first two letters changed over: what is still read carries
/// all that follows from it, and what is not says what is wrong. A radio without its modulation was once read as none.
#[test]
fn no_lost_line_is_read_as_something_else() {
    let mut refused = 0;
    for example in EXAMPLES {
        let lines: Vec<&str> = example.lines().collect();
        for place in 0..lines.len() {
            let slipped = misspelt(lines[place]);
            for replacement in [Some(String::new()), slipped].into_iter().flatten() {
                let is_slip = !replacement.is_empty();
                let mut changed: Vec<&str> = lines.clone();
                changed[place] = &replacement;
                match NodeFile::parse("lost.toml", &changed.join("\n"), "") {
                    Ok(file) => {
                        assert!(!is_slip, "{replacement} is read");
                        let budget = Budget::of(&file.node);
                        let thresholds = Thresholds::of(&file.node);
                        let _ = findings::without_cures(&file.node, &budget, &thresholds);
                    }
                    Err(problems) => {
                        assert!(!problems.list.is_empty(), "without {}", lines[place]);
                        refused += 1;
                    }
                }
            }
        }
    }
    assert!(refused > 200, "only {refused} were refused");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// Pieces cut out, doubled or put in at random: an answer comes, and a refusal says where.
    #[test]
    fn damaged_examples_are_answered(
        example in 0usize..3,
        cuts in prop::collection::vec((0usize..3000, 0usize..40, "[-\\[\\]{}=\"',.#0-9a-zA-Z \n\r\té]{0,6}"), 1..5),
    ) {
        let mut text = EXAMPLES[example].to_string();
        for (at, length, insert) in cuts {
            let start = text.floor_char_boundary(at.min(text.len()));
            let end = text.ceil_char_boundary((start + length).min(text.len()));
            text.replace_range(start..end, &insert);
        }
        if let Err(problems) = NodeFile::parse("damaged.toml", &text, "") {
            prop_assert!(!problems.list.is_empty());
            prop_assert!(problems.render(false).contains("damaged.toml:"), "{}", problems.render(false));
        }
    }

    /// Values exchanged for values of other kinds: what the damage above seldom hits.
    #[test]
    fn exchanged_values_are_answered(example in 0usize..3, line in 0usize..90, value in prop::sample::select(vec![
        "1", "-1", "1.5", "nan", "inf", "true", "\"\"", "\"5 V\"", "\"-5 %\"", "[]", "[[]]", "{}", "[[\"1 A\"]]",
        "[[1, 2]]", "1979-05-27", "\"1e300 s\"", "[{}]", "99999999999999999999", "0xff", "\"0 V\"", "\"0 ohm\"",
    ])) {
        let text: Vec<_> = EXAMPLES[example].lines().enumerate().map(|(number, content)| {
            match content.split_once('=') {
                Some((key, _)) if number == line => format!("{key}= {value}"),
                _ => content.to_string(),
            }
        }).collect();
        if let Err(problems) = NodeFile::parse("exchanged.toml", &text.join("\n"), "") {
            prop_assert!(problems.render(false).contains("exchanged.toml:"));
        }
    }

    #[test]
    fn any_text_is_answered(text in "\\PC{0,200}|[-\\[\\]{}=\"',.#a-z0-9 \n]{0,200}") {
        prop_assert!(NodeFile::parse("any.toml", &text, "").is_err());
    }
}
