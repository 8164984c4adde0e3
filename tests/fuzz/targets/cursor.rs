//! tests/fuzz/cursor.rs under libFuzzer.
#![no_main]

#[path = "../cursor.rs"]
mod it;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| it::target(bytes));
