//! tests/fuzz/token.rs under libFuzzer.
#![no_main]

#[path = "../token.rs"]
mod it;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| it::target(bytes));
