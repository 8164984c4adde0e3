//! domain/rules has no I/O, clock or randomness: neither through its crates nor in its source.

use super::root;
use std::collections::HashSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Crates that reach outside, or that make a result depend on more than its arguments.
const OUTSIDE: &[&str] = &[
    "actix-web",
    "diesel",
    "diesel-async",
    "fastrand",
    "getrandom",
    "hyper",
    "mio",
    "rand",
    "rand_core",
    "reqwest",
    "rustix",
    "socket2",
    "tokio",
    "tokio-postgres",
    "tracing",
];

/// Paths of the standard library and of jiff that read a clock, a file, the environment or the system's zones.
const IMPURE: &[&str] = &[
    "std::env",
    "std::fs",
    "std::io",
    "std::net",
    "std::os",
    "std::process",
    "std::thread",
    "SystemTime",
    "Instant::now",
    "Timestamp::now",
    "Zoned::now",
    "TimeZone::get",
    "TimeZone::system",
    "RandomState",
    "now_v7",
    "new_v4",
    "println!",
    "eprintln!",
    "dbg!",
];

#[test]
fn rules_lean_on_no_crate_that_reaches_outside() {
    // For the rules alone: in the whole workspace other rooms ask shared crates for more.
    let output = Command::new(env!("CARGO"))
        .args([
            "tree",
            "--package=rimeyard-rules",
            "--edges=normal",
            "--prefix=none",
            "--locked",
            "--offline",
        ])
        .args(["--format={p}"])
        .current_dir(root())
        .output()
        .expect("cargo runs");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let tree = String::from_utf8(output.stdout).expect("UTF-8");
    let crates: HashSet<&str> = tree
        .lines()
        .filter_map(|line| line.split_whitespace().next())
        .collect();
    assert!(crates.contains("serde"), "the rules' crates were listed");
    let found: Vec<_> = OUTSIDE
        .iter()
        .filter(|name| crates.contains(**name))
        .collect();
    assert!(found.is_empty(), "domain/rules leans on {found:?}");
}

#[test]
fn rules_call_nothing_impure() {
    let mut files = Vec::new();
    collect(&root().join("domain/rules/src"), &mut files);
    assert!(files.len() > 5, "the rules' source was found");
    for file in files {
        let text = fs::read_to_string(&file).expect("source reads");
        for (number, line) in text.lines().enumerate() {
            // Test modules come last in a file; they may print and may make identifiers.
            if line.trim_start().starts_with("#[cfg(test)]") {
                break;
            }
            let code = line.split("//").next().unwrap_or_default();
            for word in IMPURE {
                assert!(
                    !code.contains(word),
                    "{}:{}: {word} in the pure core",
                    file.display(),
                    number + 1
                );
            }
        }
    }
}

fn collect(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("folder reads") {
        let path = entry.expect("entry").path();
        if path.is_dir() {
            collect(&path, files);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            files.push(path);
        }
    }
}
