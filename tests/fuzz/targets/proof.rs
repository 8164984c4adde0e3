//! tests/fuzz/proof.rs under libFuzzer.
#![no_main]

#[path = "../proof.rs"]
mod it;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| it::target(bytes));
