//! One fuzzer for every target of `tests/src/fuzz`; the variable `TARGET` says which.
#![no_main]

// The file itself: through its package, everything would be compiled a second time for that package's build script.
#[allow(dead_code, reason = "the corpus is read by the replay")]
#[path = "../../src/fuzz/mod.rs"]
mod fuzz;

use std::sync::OnceLock;

use fuzz::Target;
use libfuzzer_sys::fuzz_target;

fn target() -> Target {
    static TARGET: OnceLock<Target> = OnceLock::new();
    *TARGET.get_or_init(|| {
        let name = std::env::var("TARGET").unwrap_or_default();
        Target::named(&name)
            .unwrap_or_else(|| panic!("TARGET={name}: see tests/src/fuzz/mod.rs for the names"))
    })
}

fuzz_target!(|bytes: &[u8]| {
    (target().run)(bytes);
});
