//! /v1/depots/{depot_id}/fix-first and /v1/fix-first: the jobs of real facts, in their order. What a plan is worth is checked with the
//! rules.

use rimeyard_harness::machines::{Machines, days_ago};
use rimeyard_harness::{Actor, TestServer};
use serde_json::{Value, json};
use uuid::Uuid;

async fn plan(actor: &Actor, path: &str) -> Value {
    actor.get(path).await.expect(200).json()
}

fn jobs<'a>(plan: &'a Value, list: &str) -> Vec<(&'a str, &'a str)> {
    let jobs = plan[list].as_array().expect("a list").iter();
    jobs.map(|job| {
        (
            job["unit_id"].as_str().expect("an id"),
            job["kind"].as_str().expect("a kind"),
        )
    })
    .collect()
}

/// Two sound machines at a depot, the ring of one found worn through; the ring on the list of parts, none on the shelf.
async fn worn(server: &TestServer) -> (Uuid, Machines, String) {
    let administrator = server.administrator().await;
    let home = server.world.ours.home.id;
    let machines = Machines::make_sound(&administrator, home, 2, 3).await;
    let ring = json!({"check": "friction_ring", "value": 0.0, "unit": "mm"});
    let inspection = json!({
        "unit_id": machines.units[0], "kind": "in_season", "performed_at": days_ago(1), "readings": [ring],
    });
    administrator
        .post("/v1/inspections", &inspection)
        .await
        .expect(201);
    let part = json!({"number": "RING-1", "name": "friction ring", "lead_time_days": 30});
    let part = administrator
        .post("/v1/parts", &part)
        .await
        .expect(201)
        .id();
    (home, machines, part)
}

#[tokio::test]
async fn a_part_that_comes_to_the_shelf_brings_its_job_to_the_front() {
    let server = TestServer::start().await;
    let (home, machines, part) = worn(&server).await;
    let lead = server.depot_lead().await;
    let path = format!("/v1/depots/{home}/fix-first?minutes=600");
    let waits = plan(&lead, &path).await;
    let finding = (machines.units[0].as_str(), "finding");
    assert!(!jobs(&waits, "jobs").contains(&finding), "{waits}");
    assert_eq!(jobs(&waits, "open")[0], finding, "{waits}");
    let job = &waits["open"][0];
    assert_eq!(job["parts"][0]["part_id"], part.as_str());
    assert_eq!(
        (&job["parts"][0]["at_depot"], &job["now"]),
        (&Value::Null, &json!(0.0))
    );
    let unit = waits["units"].as_array().expect("units").iter();
    let unit = unit
        .clone()
        .find(|unit| unit["unit_id"] == finding.0)
        .expect("it");
    assert_eq!(
        (&unit["parts_on"], &unit["in_time"]),
        (&job["parts_on"], &json!(false))
    );

    let booked =
        json!({"part_id": part, "move": "received", "quantity": 1, "happened_at": days_ago(0)});
    lead.post(&format!("/v1/depots/{home}/stock/moves"), &booked)
        .await
        .expect(201);
    let ready = plan(&lead, &path).await;
    assert_eq!(jobs(&ready, "jobs")[0], finding, "{ready}");
    let job = &ready["jobs"][0];
    assert_eq!(job["parts"][0]["at_depot"], home.to_string());
    assert!(
        job["because"]
            .as_str()
            .is_some_and(|said| said.contains("does not count")),
        "{job}"
    );
    assert!(ready["gain"].as_f64() > Some(0.0), "{ready}");

    // What the answer shows makes the same plan by itself.
    let again = lead
        .post("/v1/calculations/plan", &ready["inputs"])
        .await
        .expect(200)
        .json();
    let ids = ready["jobs"]
        .as_array()
        .expect("jobs")
        .iter()
        .map(|job| job["id"].clone());
    assert_eq!(again["jobs"], Value::Array(ids.collect()));
    assert_eq!(again["gain"], ready["gain"]);
    assert_eq!(again["minutes_used"], ready["minutes_used"]);

    // All depots together plan the same, where no other has machines; what it was made of comes with one depot only.
    let district = plan(&lead, "/v1/fix-first?minutes=600").await;
    assert_eq!(district["jobs"], ready["jobs"]);
}

#[tokio::test]
async fn hours_bind_and_a_depot_without_technicians_has_none() {
    let server = TestServer::start().await;
    let (home, machines, part) = worn(&server).await;
    let administrator = server.administrator().await;
    let booked =
        json!({"part_id": part, "move": "received", "quantity": 1, "happened_at": days_ago(0)});
    administrator
        .post(&format!("/v1/depots/{home}/stock/moves"), &booked)
        .await
        .expect(201);
    let path = format!("/v1/depots/{home}/fix-first");
    let nobody = plan(&administrator, &path).await;
    assert_eq!(
        (&nobody["minutes"], &nobody["jobs"]),
        (&json!(0.0), &json!([]))
    );
    assert_eq!(nobody["units"][0]["ready_on"], Value::Null);

    let people = administrator
        .get("/v1/people?limit=200")
        .await
        .expect(200)
        .json();
    let people = people["items"].as_array().expect("people").iter();
    let technician = people
        .clone()
        .find(|person| person["role"] == "technician")
        .expect("one");
    let labour = format!("/v1/depots/{home}/labour");
    let etag = administrator.get(&labour).await.expect(200).etag();
    let hours = json!({
        "person_id": technician["id"], "from": "2024-01-01", "until": null, "weekly_minutes": 2_400,
    });
    let change = json!({"travel_minutes": 15, "technicians": [hours]});
    administrator
        .patch(&labour, &etag, &change)
        .await
        .expect(200);
    let staffed = plan(&administrator, &path).await;
    assert!(staffed["minutes"].as_f64() >= Some(2_400.0), "{staffed}");
    assert_eq!(jobs(&staffed, "jobs")[0].0, machines.units[0]);
    assert!(staffed["units"][0]["ready_on"].is_string(), "{staffed}");
    let load = &staffed["depots"][0];
    assert_eq!(load["left_minutes"], staffed["minutes"]);
    let all = ["jobs", "open"]
        .into_iter()
        .flat_map(|list| staffed[list].as_array().expect("jobs"));
    let open: f64 = all.filter_map(|job| job["minutes"].as_f64()).sum();
    assert_eq!(load["open_minutes"].as_f64(), Some(open + 15.0));
    // Not a minute more than asked.
    let tight = plan(&administrator, &format!("{path}?minutes=20")).await;
    assert!(tight["minutes_used"].as_f64() <= Some(20.0), "{tight}");
}

#[tokio::test]
async fn wrong_questions_are_told_which_parameter_and_what_is_not_granted_is_not_there() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let home = server.world.ours.home.id;
    let path = format!("/v1/depots/{home}/fix-first");
    for (query, field) in [
        ("minutes=-1", "minutes"),
        ("minutes=ten", "minutes"),
        ("minutes=1e300", "minutes"),
        ("until=soon", "until"),
        ("until=0001-01-01", "until"),
        ("until=2026-02-30", "until"),
        ("before=2026-02-20", "before"),
    ] {
        let wrong = technician
            .get(&format!("{path}?{query}"))
            .await
            .problem(400);
        assert_eq!(wrong, [field], "{query}");
    }
    let theirs = server.world.theirs.home.id;
    technician
        .get(&format!("/v1/depots/{theirs}/fix-first"))
        .await
        .problem(404);
    let wrong = technician
        .get(&format!("/v1/fix-first?depot_ids={theirs}"))
        .await
        .problem(400);
    assert_eq!(wrong, ["depot_ids"]);
}
