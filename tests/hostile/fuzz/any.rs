//! Any target under the fuzzer: the one that is called as this program is.

#![no_main]

use std::sync::OnceLock;

use evenstand_hostile::{TARGETS, Target};
use libfuzzer_sys::fuzz_target;

static TARGET: OnceLock<&Target> = OnceLock::new();

fuzz_target!(|bytes: &[u8]| {
    let target = TARGET.get_or_init(|| {
        let name = env!("CARGO_BIN_NAME");
        TARGETS.iter().find(|target| target.name == name).expect("every program here is called as a target")
    });
    (target.run)(bytes);
});
