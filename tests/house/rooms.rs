//! Arrows point one way: rules <- store <- worker, api <- tests.

use super::{depends_on, root};
use std::process::Command;

fn rooms_below(package: &str) -> Vec<String> {
    let mut rooms: Vec<_> = depends_on(package)
        .into_iter()
        .filter(|name| name.starts_with("rimeyard"))
        .collect();
    rooms.sort();
    rooms
}

#[test]
fn arrows_point_one_way() {
    assert_eq!(rooms_below("rimeyard-rules"), Vec::<String>::new());
    assert_eq!(rooms_below("rimeyard-store"), ["rimeyard-rules"]);
    assert_eq!(
        rooms_below("rimeyard-worker"),
        ["rimeyard-rules", "rimeyard-store"]
    );
    assert_eq!(
        rooms_below("rimeyard-api"),
        ["rimeyard-rules", "rimeyard-store", "rimeyard-worker"]
    );
}

#[test]
fn nothing_stands_at_the_top_but_the_rooms() {
    let allowed = [
        "Cargo.lock",
        "Cargo.toml",
        "DEVELOPERS.md",
        "LICENSE",
        "README.md",
        "api",
        "docker-compose.yml",
        "domain",
        "migrations",
        "openapi",
        "tests",
        "worker",
    ];
    let output = Command::new("git")
        .args(["ls-files"])
        .current_dir(root())
        .output()
        .expect("git runs");
    // An exported source folder is no git checkout; there is nothing to compare there.
    if !output.status.success() {
        return;
    }
    let files = String::from_utf8(output.stdout).expect("UTF-8 paths");
    let strangers: Vec<_> = files
        .lines()
        .filter_map(|path| path.split('/').next())
        .filter(|top| !top.starts_with('.') && !allowed.contains(top))
        .collect();
    assert!(
        strangers.is_empty(),
        "not a room of this house: {strangers:?}"
    );
}
