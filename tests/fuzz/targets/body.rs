//! tests/fuzz/body.rs under libFuzzer.
#![no_main]

#[path = "../body.rs"]
mod it;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| it::target(bytes));
