//! README's tour does what it says: its lines are run as they stand, against the demo. Needs bash and curl.

use std::process::Command;

use super::{Folder, Local};

#[test]
fn the_tour_of_the_readme_runs() {
    let readme = include_str!("../../README.md");
    let tour = readme
        .split("```sh\n")
        .nth(1)
        .and_then(|rest| rest.split("```").next())
        .expect("the tour's lines");
    let folder = Folder::new();
    let local = Local::start(&folder, &[]);
    let lines = tour.replace("http://127.0.0.1:8080", &local.base);
    assert!(
        lines.contains(&local.base),
        "the tour names the address that local prints"
    );
    let output = Command::new("bash")
        .args(["-euo", "pipefail", "-c", &lines])
        .current_dir(folder.path())
        .output()
        .expect("bash runs");
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(
        output.status.success(),
        "{said}\n{}",
        String::from_utf8_lossy(&output.stderr)
    );
    for expected in [
        "\"renew after the season\"",
        "in an hour; ",
        "\"unserviceable\"",
        "\"status\":\"held\"",
        "\"work\":\"blow\"",
        "\"state\":\"waits for parts\"",
        "\"best_before\"",
        "\"wind_chill_c\"",
        " as supposed\"",
        "\"state\":\"overdue\"",
        "\"state\":\"deferred\"",
        " a year, a new one ",
        "\"to_renew\":",
        "\"learned from ",
        "\"kind\":\"safety task overdue\"",
        "\"lines\":[{\"task\":",
        "then keeps up with ",
        "\"state\":\"refused\"",
        "\"state\":\"applied\"",
        "\"corrected_gravity\":1.22",
        "\"digest\"",
    ] {
        assert!(
            said.contains(expected),
            "{expected} is not in what the tour printed"
        );
    }
    assert!(local.interrupt());
}
