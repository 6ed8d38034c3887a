//! Every input that the fuzzer's corpus keeps, run through its target: nothing that was found comes back.

use millpond_tests::fuzz::TARGETS;

/// The corpus as a whole stays small (bytes).
const MOST_BYTES: usize = 200_000;

#[test]
fn every_kept_input_is_answered() {
    let mut total = 0;
    for target in TARGETS {
        let inputs = target.corpus().expect("a folder of inputs");
        assert!(
            inputs.len() >= 5,
            "{}: {} inputs are no corpus",
            target.name,
            inputs.len()
        );
        for (path, bytes) in inputs {
            total += bytes.len();
            // A failure has the path before it.
            eprintln!("{}", path.display());
            (target.run)(&bytes);
        }
    }
    assert!(total < MOST_BYTES, "{total} bytes");
}

#[test]
fn no_bytes_are_answered() {
    for target in TARGETS {
        (target.run)(&[]);
    }
}
