//! Every sort of nonsense in every sort of file: an answer in seconds, within a gigabyte, and no panic.

use libtest_mimic::{Arguments, Trial};
use millpond_tests::command::millpond;
use millpond_tests::hostile::{Kind, NONSENSE, try_out};

fn main() {
    let mut trials = Vec::new();
    for kind in Kind::ALL {
        for nonsense in NONSENSE {
            trials.push(Trial::test(format!("{kind:?}: {}", nonsense.name), move || {
                let folder = tempfile::tempdir()?;
                Ok(try_out(millpond()?, folder.path(), kind, &nonsense)??)
            }));
        }
    }
    libtest_mimic::run(&Arguments::from_args(), trials).exit();
}
