//! tests/fuzz/table.rs under libFuzzer.
#![no_main]

#[path = "../table.rs"]
mod it;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| it::target(bytes));
