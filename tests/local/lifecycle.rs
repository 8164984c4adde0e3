//! It starts from nothing, keeps what it was told, and comes back after a clean end and after a crash.

use std::os::unix::fs::PermissionsExt;

use serde_json::{Value, json};

use super::{Folder, Local, run, sign_in};

pub async fn create_depot(base: &str, token: &str, name: &str) {
    let depot = json!({
        "name": name, "zone": "America/Denver", "latitude": 45.0, "longitude": -112.0,
        "season": {"starts": "11-15", "ends": "04-10"}, "typical_snow_days": 40,
        "design_storm": {"hours": 12.0, "depth_mm": 200.0, "reclear_mm": 50.0, "temperature_c": -6.0}
    });
    let answer = rimeyard_harness::client()
        .post(format!("{base}/v1/depots"))
        .bearer_auth(token)
        .json(&depot)
        .send()
        .await
        .expect("an answer");
    assert_eq!(
        answer.status(),
        201,
        "{}",
        answer.text().await.unwrap_or_default()
    );
}

pub async fn depot_names(base: &str, token: &str) -> Vec<String> {
    let answer = rimeyard_harness::client()
        .get(format!("{base}/v1/readiness"))
        .bearer_auth(token)
        .send()
        .await
        .expect("an answer");
    let page: Value = answer.json().await.expect("JSON");
    let depots = page["depots"].as_array().expect("depots");
    depots
        .iter()
        .map(|depot| depot["name"].as_str().expect("a name").to_owned())
        .collect()
}

#[tokio::test]
async fn it_keeps_its_data_over_a_clean_end_and_over_a_crash() {
    let folder = Folder::new();
    let local = Local::start(&folder, &["--empty"]);
    let mode = std::fs::metadata(folder.path().join("demo-accounts.json"))
        .expect("accounts")
        .permissions();
    assert_eq!(
        mode.mode() & 0o777,
        0o600,
        "nobody else may read the passwords"
    );
    let roles: Vec<String> = folder
        .accounts()
        .iter()
        .map(|account| account["role"].to_string())
        .collect();
    for role in [
        "technician",
        "operator",
        "depot lead",
        "district manager",
        "depot system",
        "administrator",
    ] {
        assert!(roles.contains(&json!(role).to_string()), "{role}");
    }
    let token = sign_in(&local.base, &folder, "administrator").await;
    create_depot(&local.base, &token, "Before the end").await;

    let second = run(&folder, &["--empty"]);
    assert!(!second.status.success());
    let words = String::from_utf8_lossy(&second.stderr);
    assert!(
        words.contains(folder.path().to_str().expect("UTF-8"))
            && words.contains("another instance"),
        "{words}"
    );

    assert!(local.interrupt(), "Ctrl-C ends it well");
    let local = Local::start(&folder, &["--empty"]);
    let token = sign_in(&local.base, &folder, "administrator").await;
    assert_eq!(depot_names(&local.base, &token).await, ["Before the end"]);
    create_depot(&local.base, &token, "Before the crash").await;

    local.kill();
    let local = Local::start(&folder, &["--empty"]);
    let token = sign_in(&local.base, &folder, "administrator").await;
    let mut names = depot_names(&local.base, &token).await;
    names.sort();
    assert_eq!(names, ["Before the crash", "Before the end"]);
    assert!(local.interrupt());
}
