//! Makes `expected.json` again with the pinned libraries and compares: the committed file is what they say. Feature
//! `python`: needs python3 with venv, and pip's registry.

use super::against_scipy::distance;
use serde_json::Value;
use std::path::Path;
use std::process::Command;

fn run(command: &mut Command) -> Vec<u8> {
    let output = command
        .output()
        .unwrap_or_else(|error| panic!("{command:?}: {error}"));
    assert!(
        output.status.success(),
        "{command:?}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    output.stdout
}

#[test]
fn expected_values_can_be_made_again() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference");
    // Kept between runs: installing takes longer than computing.
    let environment = Path::new(env!("CARGO_TARGET_TMPDIR")).join("reference-python");
    let python = environment.join("bin/python");
    run(Command::new("python3")
        .args(["-m", "venv"])
        .arg(&environment));
    run(Command::new(&python)
        .args(["-m", "pip", "install", "--quiet", "--requirement"])
        .arg(folder.join("requirements.txt")));
    let made = run(Command::new(&python)
        .env("PYTHONDONTWRITEBYTECODE", "1")
        .arg(folder.join("make.py")));
    let mut made: Value = serde_json::from_slice(&made).expect("make.py writes JSON");
    let mut kept: Value = serde_json::from_str(include_str!("expected.json")).expect("JSON");
    // Where a search stopped of its own accord the last digits say nothing.
    for search in ["mixed_lm", "weibull_min", "weibull_fitter"] {
        let stopped = distance(&kept[search].take(), &made[search].take());
        assert!(stopped < 1e-5, "{search}: {stopped:e}");
    }
    // Processors differ in last digits.
    let distance = distance(&kept, &made);
    assert!(
        distance < 1e-9,
        "{distance:e}; run: {} make.py > expected.json",
        python.display()
    );
}
