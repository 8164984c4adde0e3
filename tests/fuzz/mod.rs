//! What fuzzers throw bytes at: whatever comes, nothing panics, and what must hold holds. `targets/` builds these same
//! functions with libFuzzer (.ci/fuzz); here they are given what is in `corpus/`, so that they stay in use. What a fuzzer
//! finds goes into the corpus.

mod body;
mod cursor;
mod proof;
mod table;
mod token;

use std::path::Path;

fn replay(name: &str, target: impl Fn(&[u8])) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fuzz/corpus")
        .join(name);
    let mut files: Vec<_> = std::fs::read_dir(&folder)
        .expect("a corpus")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    files.sort();
    assert!(files.len() >= 5, "{} is a corpus", folder.display());
    for file in files {
        let bytes = std::fs::read(&file).expect("bytes");
        println!("{}", file.display());
        target(&bytes);
        // And what it becomes when it is cut short, or a bit is turned, at places all over it.
        for at in (0..bytes.len()).step_by(1 + bytes.len() / 16) {
            target(&bytes[..at]);
            let mut turned = bytes.clone();
            turned[at] ^= 1 << (at % 8);
            target(&turned);
        }
    }
}

#[test]
fn tables() {
    replay("table", table::target);
}

#[test]
fn cursors() {
    replay("cursor", cursor::target);
}

#[test]
fn tokens() {
    replay("token", token::target);
}

#[test]
fn proofs() {
    replay("proof", proof::target);
}

#[test]
fn bodies() {
    replay("body", body::target);
}
