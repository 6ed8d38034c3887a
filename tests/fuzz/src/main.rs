//! One fuzzer for every target of `millpond_tests::fuzz`; the variable `TARGET` says which.
#![no_main]

use std::sync::OnceLock;

use libfuzzer_sys::fuzz_target;
use millpond_tests::fuzz::Target;

fn target() -> Target {
    static TARGET: OnceLock<Target> = OnceLock::new();
    *TARGET.get_or_init(|| {
        let name = std::env::var("TARGET").unwrap_or_default();
        Target::named(&name).unwrap_or_else(|| panic!("TARGET={name}: see tests/src/fuzz.rs for the names"))
    })
}

fuzz_target!(|bytes: &[u8]| {
    (target().run)(bytes);
});
