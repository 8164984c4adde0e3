//! /v1/readiness: what the worker computed, put together from stored text.

use rimeyard_harness::machines::{Machines, days_ago, sound_inspection};
use rimeyard_harness::{Actor, TestServer};
use rimeyard_worker::{Settings, drain};
use serde_json::{Value, json};

async fn recompute(server: &TestServer) {
    let done = drain(&server.database, &Settings::default())
        .await
        .expect("drained");
    assert_eq!(done.failures, []);
}

async fn with_machines(count: usize) -> (TestServer, Machines) {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let machines = Machines::make_sound(&server.administrator().await, home, count, 1).await;
    recompute(&server).await;
    (server, machines)
}

/// Every depot's counts, by status and those that are away.
const COUNTS: [&str; 8] = [
    "ready",
    "doubtful",
    "not_ready",
    "unproven",
    "limited",
    "stopped",
    "held",
    "away",
];

/// One depot as every reader relies on it.
#[track_caller]
fn assert_a_depot(depot: &Value) {
    assert!(depot["name"].is_string(), "{depot}");
    for score in ["score", "score_with_unproven"] {
        let score = &depot[score];
        assert!(
            score.is_null()
                || score
                    .as_f64()
                    .is_some_and(|score| (0.0..=100.0).contains(&score)),
            "{depot}"
        );
    }
    assert!(depot["storm"]["name"].is_string(), "{depot}");
    for key in ["id", "starts_at", "ends_at"] {
        assert!(depot["storm"].get(key).is_some(), "storm.{key} in {depot}");
    }
    for count in COUNTS {
        assert!(depot["units"][count].is_u64(), "units.{count} in {depot}");
    }
    for key in ["needed_rate", "operators", "as_of", "valid_until"] {
        assert!(depot.get(key).is_some(), "{key} in {depot}");
    }
    assert_because(depot);
}

#[track_caller]
fn assert_because(object: &Value) {
    let because = object["because"]
        .as_array()
        .unwrap_or_else(|| panic!("because in {object}"));
    assert!(!because.is_empty(), "because is never empty: {object}");
    for reason in because {
        assert!(
            reason["text"].as_str().is_some_and(|text| !text.is_empty()),
            "{reason}"
        );
    }
}

/// One unit as every reader relies on it.
#[track_caller]
fn assert_a_unit(unit: &Value) {
    for key in [
        "unit_id",
        "tag",
        "depot_id",
        "status",
        "chance",
        "rate",
        "as_of",
        "valid_until",
    ] {
        assert!(unit.get(key).is_some(), "{key} in {unit}");
    }
    let status = unit["status"].as_str().expect("a word");
    assert!(COUNTS[..7].contains(&status), "{status}");
    for key in ["started_at", "inspected_at", "by", "runs_out_at"] {
        assert!(unit["proof"].get(key).is_some(), "proof.{key} in {unit}");
    }
    assert_because(unit);
    for reason in unit["because"].as_array().expect("a list") {
        for key in ["factor", "chance", "share"] {
            assert!(reason.get(key).is_some(), "{key} in {reason}");
        }
    }
}

#[tokio::test]
async fn a_depot_that_was_never_computed_appears_and_says_so() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let home = server.world.ours.home.id;
    let machines = Machines::make(&server.administrator().await, home, 1).await;
    let district = manager.get("/v1/readiness").await.expect(200).json();
    assert_eq!(district["depots"].as_array().map(Vec::len), Some(2));
    assert_eq!(district["as_of"], Value::Null);
    let depot = manager
        .get(&format!("/v1/readiness/depots/{home}"))
        .await
        .expect(200)
        .json();
    let unit = manager
        .get(&format!("/v1/readiness/units/{}", machines.units[0]))
        .await
        .expect(200)
        .json();
    for depot in [&district["depots"][0], &district["depots"][1], &depot] {
        assert_a_depot(depot);
        assert_eq!(depot["score"], Value::Null);
        assert!(
            depot["because"][0]["text"]
                .as_str()
                .expect("text")
                .contains("being computed"),
            "{depot}"
        );
    }
    assert_eq!(depot["machines"], json!([]));
    assert_a_unit(&unit);
    assert_eq!(
        (&unit["chance"], &unit["inputs"]),
        (&Value::Null, &Value::Null)
    );
}

#[tokio::test]
async fn the_district_its_depots_and_their_machines() {
    let (server, machines) = with_machines(3).await;
    let home = server.world.ours.home.id.to_string();
    let manager = server.district_manager().await;
    let district = manager.get("/v1/readiness").await.expect(200).json();
    let depots = district["depots"].as_array().expect("depots");
    assert_eq!(depots.len(), 2);
    assert_eq!(district["next_cursor"], Value::Null);
    let oldest = depots
        .iter()
        .filter_map(|depot| depot["as_of"].as_str())
        .min();
    assert_eq!(district["as_of"].as_str(), oldest);
    depots.iter().for_each(assert_a_depot);
    let of_home = depots
        .iter()
        .find(|depot| depot["depot_id"] == home.as_str())
        .expect("Home");
    assert_eq!(of_home["name"], "Home");
    assert_eq!(
        of_home["storm"],
        json!({"id": null, "name": "design storm", "starts_at": null, "ends_at": null})
    );
    let counted: u64 = COUNTS
        .iter()
        .filter_map(|count| of_home["units"][count].as_u64())
        .sum();
    assert_eq!(counted, 3);
    assert_eq!(
        of_home["units"]["ready"], 3,
        "inspected yesterday, all of it sound: {of_home}"
    );

    let mut depot = manager
        .get(&format!("/v1/readiness/depots/{home}"))
        .await
        .expect(200)
        .json();
    let listed = depot["machines"].take();
    depot.as_object_mut().expect("an object").remove("machines");
    assert_eq!(
        &depot, of_home,
        "the same object, its counts left as they are, and its machines"
    );
    let listed = listed.as_array().expect("machines");
    assert_eq!(listed.len(), 3);
    for (machine, id) in listed.iter().zip(&machines.units) {
        assert_eq!(
            machine["unit_id"],
            id.as_str(),
            "by id, which is the order in which they were made"
        );
        assert_a_unit(machine);
        let mut unit = manager
            .get(&format!("/v1/readiness/units/{id}"))
            .await
            .expect(200)
            .json();
        unit.as_object_mut()
            .expect("an object")
            .remove("inputs")
            .expect("inputs");
        assert_eq!(&unit, machine);
    }
}

#[tokio::test]
async fn a_units_inputs_give_its_figures() {
    let (server, machines) = with_machines(1).await;
    let path = format!("/v1/readiness/units/{}", machines.units[0]);
    let technician = server.technician().await;
    let unit = technician.get(&path).await.expect(200).json();
    let output = technician
        .post("/v1/calculations/unit", &unit["inputs"])
        .await
        .expect(200)
        .json();
    for key in ["status", "chance", "because"] {
        assert_eq!(output[key], unit[key], "{key}");
    }
}

#[tokio::test]
async fn pages_follow_each_other() {
    let (server, _) = with_machines(1).await;
    let manager = server.district_manager().await;
    let first = manager
        .get("/v1/readiness?limit=1")
        .await
        .expect(200)
        .json();
    let cursor = first["next_cursor"].as_str().expect("more follow");
    let second = manager
        .get(&format!("/v1/readiness?limit=1&cursor={cursor}"))
        .await
        .expect(200)
        .json();
    assert_eq!(second["next_cursor"], Value::Null);
    let whole = manager.get("/v1/readiness").await.expect(200).json();
    assert_eq!(
        json!([first["depots"][0], second["depots"][0]]),
        whole["depots"]
    );
    for (query, field) in [
        ("limit=0", "limit"),
        ("limit=201", "limit"),
        ("cursor=x", "cursor"),
        ("score=3", "score"),
    ] {
        assert_eq!(
            manager
                .get(&format!("/v1/readiness?{query}"))
                .await
                .problem(400),
            [field]
        );
    }
}

#[tokio::test]
async fn an_etag_tells_whether_anything_shown_has_changed() {
    let (server, machines) = with_machines(2).await;
    let home = server.world.ours.home.id;
    let technician = server.technician().await;
    let paths = [
        "/v1/readiness".to_owned(),
        format!("/v1/readiness/depots/{home}"),
        format!("/v1/readiness/units/{}", machines.units[0]),
    ];
    let asked_again = async |path: &str, etag: &str| {
        let request = technician
            .request(reqwest::Method::GET, path)
            .header("If-None-Match", etag);
        rimeyard_harness::Answer::of(request).await
    };
    let mut etags = Vec::new();
    for path in &paths {
        let etag = technician.get(path).await.expect(200).etag();
        let unchanged = asked_again(path, &etag).await.expect(304);
        assert_eq!(
            (unchanged.body.as_str(), unchanged.etag()),
            ("", etag.clone())
        );
        etags.push(etag);
    }
    // Nothing changes but the instant as of which it is known: `as_of` is shown, so the ETag covers it.
    let inspection = sound_inspection(&machines.units[1], 0);
    technician
        .post("/v1/inspections", &inspection)
        .await
        .expect(201);
    recompute(&server).await;
    for (path, etag) in paths.iter().zip(&etags) {
        assert_ne!(
            &asked_again(path, etag).await.expect(200).etag(),
            etag,
            "{path}"
        );
    }
}

#[tokio::test]
async fn what_may_not_be_seen_is_not_there() {
    let (server, machines) = with_machines(1).await;
    let ours = server.world.ours;
    let far = Machines::make_sound(&server.administrator().await, ours.far.id, 1, 1).await;
    recompute(&server).await;
    let of = |unit: &str, depot: &str| {
        [
            format!("/v1/readiness/depots/{depot}"),
            format!("/v1/readiness/units/{unit}"),
        ]
    };
    let absent = "0198c0de-0000-7000-8000-000000000000";
    let technician = server.technician().await;
    let foreigner = server.foreign_administrator().await;
    let cases: [(&Actor, _); 2] = [
        (&technician, of(&far.units[0], &ours.far.id.to_string())),
        (
            &foreigner,
            of(&machines.units[0], &ours.home.id.to_string()),
        ),
    ];
    for (actor, hidden) in cases {
        for (hidden, absent) in hidden.iter().zip(of(absent, absent)) {
            let hidden = actor.get(hidden).await;
            hidden.problem(404);
            assert_eq!(
                hidden.body,
                actor.get(&absent).await.expect(404).body,
                "to the byte"
            );
        }
    }
    let listed = technician.get("/v1/readiness").await.expect(200).json();
    assert_eq!(
        listed["depots"].as_array().map(Vec::len),
        Some(1),
        "only the depot that is granted"
    );
    let listed = foreigner.get("/v1/readiness").await.expect(200).json();
    assert!(!listed.to_string().contains(&ours.home.id.to_string()));
}

#[tokio::test]
async fn a_retired_unit_has_no_readiness() {
    let (server, machines) = with_machines(2).await;
    let administrator = server.administrator().await;
    let path = format!("/v1/units/{}", machines.units[0]);
    let etag = administrator.get(&path).await.expect(200).etag();
    administrator
        .patch(&path, &etag, &json!({"retired_at": days_ago(0)}))
        .await
        .expect(200);
    administrator
        .get(&format!("/v1/readiness/units/{}", machines.units[0]))
        .await
        .problem(404);
    recompute(&server).await;
    let depot = administrator
        .get(&format!(
            "/v1/readiness/depots/{}",
            server.world.ours.home.id
        ))
        .await
        .expect(200)
        .json();
    assert_eq!(depot["machines"].as_array().map(Vec::len), Some(1));
    assert_eq!(depot["machines"][0]["unit_id"], machines.units[1].as_str());
}
