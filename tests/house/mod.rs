//! The house itself: which room may lean on which, what stands at the top, and under which licences.

mod licences;
mod purity;
mod rooms;
mod shapes;

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

/// The project's root folder.
fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .expect("tests/ stands in the root")
        .to_owned()
}

/// What cargo resolved, from the lock file.
fn metadata() -> &'static Value {
    static METADATA: OnceLock<Value> = OnceLock::new();
    METADATA.get_or_init(|| {
        // For this platform only: crates of others are named in the lock file and never fetched.
        let version = Command::new(env!("CARGO"))
            .arg("-vV")
            .output()
            .expect("cargo runs");
        let version = String::from_utf8(version.stdout).expect("UTF-8");
        let host = version
            .lines()
            .find_map(|line| line.strip_prefix("host: "))
            .expect("cargo names its host");
        let output = Command::new(env!("CARGO"))
            .args([
                "metadata",
                "--format-version=1",
                "--locked",
                "--offline",
                "--filter-platform",
                host,
            ])
            .current_dir(root())
            .output()
            .expect("cargo runs");
        assert!(
            output.status.success(),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
        serde_json::from_slice(&output.stdout).expect("cargo metadata is JSON")
    })
}

/// The normal dependencies (no dev, no build) of a workspace member, direct ones only.
fn depends_on(package: &str) -> Vec<String> {
    let found = metadata()["packages"]
        .as_array()
        .expect("packages")
        .iter()
        .find(|candidate| candidate["name"] == package)
        .unwrap_or_else(|| panic!("no package {package}"));
    found["dependencies"]
        .as_array()
        .expect("dependencies")
        .iter()
        .filter(|dependency| dependency["kind"].is_null())
        .map(|dependency| dependency["name"].as_str().expect("name").to_owned())
        .collect()
}
