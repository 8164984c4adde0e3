//! The demo as its readers find it: a real server, the worker beside it, the present the clock's.

mod shapes;
mod work;

use jiff::Timestamp;
use rimeyard_api::demo::{self, cases};
use rimeyard_harness::{Actor, PASSWORD, TestServer, eventually};
use rimeyard_store::person::{self, PersonChange};
use rimeyard_store::{Database, Role, Sizes, Tenant, feed, password};
use rimeyard_worker::check::{Comparison, check};
use rimeyard_worker::{Settings, learn};
use serde_json::Value;
use uuid::Uuid;

/// Gives the first person of a role an address, and everyone's password.
async fn let_in(database: &Database, org_id: Uuid, role: Role) -> String {
    let house = Tenant::system(org_id);
    let people = database
        .read(&house, async |tx| person::list(tx, None, None, 200).await)
        .await
        .expect("people");
    let person = people
        .iter()
        .find(|person| person.role == role)
        .expect("somebody of that role");
    let email = format!("{}@demo.example", role.as_str().replace(' ', "-"));
    let hashed = password::hash(PASSWORD).await.expect("a password");
    let change = PersonChange {
        email: Some(email.clone()),
        ..PersonChange::default()
    };
    feed::write(database, &house, &[org_id], async |tx| {
        person::update(tx, person.id, person.rev, &change, Some(&hashed)).await
    })
    .await
    .expect("let in");
    email
}

/// A machine by its tag: its readiness.
async fn by_tag(actor: &Actor, tag: &str) -> Value {
    let units = actor
        .get(&format!("/v1/units?tag={tag}"))
        .await
        .expect(200)
        .json();
    assert_eq!(
        units["items"].as_array().map(Vec::len),
        Some(1),
        "one machine is tagged {tag}"
    );
    let id = units["items"][0]["id"].as_str().expect("an id").to_owned();
    actor
        .get(&format!("/v1/readiness/units/{id}"))
        .await
        .expect(200)
        .json()
}

fn texts(document: &Value) -> Vec<&str> {
    let because = document["because"].as_array().expect("reasons");
    because
        .iter()
        .filter_map(|reason| reason["text"].as_str())
        .collect()
}

#[track_caller]
fn says(document: &Value, words: &str) {
    let texts = texts(document);
    assert!(
        texts.iter().any(|text| text.contains(words)),
        "{words:?} is not in {texts:#?}"
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_the_demo_promises_is_what_its_readers_find() {
    let server = TestServer::start_with_worker().await;
    let lines = std::sync::Mutex::new(Vec::new());
    let progress = |line: &str| lines.lock().unwrap().push(line.to_owned());
    let sizes = Sizes {
        app: 4,
        door: 1,
        clock: 1,
    };
    let filling = Database::connect_to_fill(&server.login_url, sizes)
        .await
        .expect("it is connected to");
    let org_id = demo::load(&filling, Timestamp::now(), demo::SEED, &progress)
        .await
        .expect("it loads");
    let manager = let_in(&server.database, org_id, Role::DistrictManager).await;
    let technician = let_in(&server.database, org_id, Role::Technician).await;
    let manager = server.anonymous().signed_in(&manager).await;
    eventually(60.0, "every depot is computed for the storm", async || {
        let depots = manager.get("/v1/readiness").await.expect(200).json();
        let depots = depots["depots"].as_array().expect("depots").clone();
        depots.len() == 12
            && depots
                .iter()
                .all(|depot| depot["storm"]["name"] == "Long Lantern")
    })
    .await;
    progress_is_told(&lines.into_inner().unwrap());
    depots(&manager).await;
    machines(&manager).await;
    let now = Timestamp::now();
    work::kinds(&manager).await;
    work::short_part(&manager).await;
    work::dead_meter(&manager).await;
    work::past_its_time(&manager).await;
    work::owed(&manager).await;
    work::orders(&manager, now).await;
    work::depots(&manager, now).await;

    shapes::are_as_documented(&manager).await;

    let technician = server.anonymous().signed_in(&technician).await;
    let seen = technician.get("/v1/readiness").await.expect(200).json();
    assert_eq!(
        seen["depots"].as_array().map(Vec::len),
        Some(12),
        "a technician sees every depot"
    );
    eventually(30.0, "what is stored is what is computed", async || {
        let checked = check(&server.database).await.expect("compared");
        let ours = || checked.iter().filter(|depot| depot.org_id == org_id);
        ours().count() == 12 && ours().all(|depot| depot.comparison == Comparison::Equal)
    })
    .await;
    learn::pass(&server.database, &Settings::default())
        .await
        .expect("learned");
    work::breaks(&manager).await;
}

fn progress_is_told(lines: &[String]) {
    let last = lines
        .iter()
        .rfind(|line| line.starts_with("inspections "))
        .expect("how far the inspections are");
    let (done, of) = last["inspections ".len()..]
        .split_once(" of ")
        .expect("so many of so many");
    assert_eq!(done, of, "{lines:#?}");
    assert!(lines.len() > 8, "{lines:#?}");
}

async fn depots(manager: &Actor) {
    let depots = manager.get("/v1/readiness").await.expect(200).json();
    let depots = depots["depots"].as_array().expect("depots");
    let mut scores: Vec<f64> = depots
        .iter()
        .map(|depot| depot["score"].as_f64().expect("a score, not null"))
        .collect();
    assert!(
        scores.iter().filter(|score| **score >= 80.0).count() >= 8,
        "most are high: {scores:?}"
    );
    scores.sort_by(f64::total_cmp);
    scores.dedup();
    assert!(scores.len() >= 6, "{scores:?}");
    assert!(depots.iter().all(|depot| !texts(depot).is_empty()));
    let sum = |status: &str| {
        depots
            .iter()
            .filter_map(|depot| depot["units"][status].as_u64())
            .sum::<u64>()
    };
    for status in [
        "ready",
        "doubtful",
        "not_ready",
        "unproven",
        "limited",
        "stopped",
        "held",
        "away",
    ] {
        assert!(sum(status) > 0, "no machine is {status}");
    }

    let all = manager.get("/v1/depots?limit=200").await.expect(200).json();
    let mut ids: Vec<&str> = all["items"]
        .as_array()
        .expect("depots")
        .iter()
        .filter_map(|d| d["id"].as_str())
        .collect();
    let number = async |id: &str| {
        let units = manager
            .get(&format!("/v1/units?depot_id={id}&limit=1"))
            .await
            .expect(200)
            .json();
        let tag = units["items"][0]["tag"].as_str().expect("a tag").to_owned();
        tag[2..4]
            .parse::<usize>()
            .expect("the depot's number is in the tag")
    };
    let mut by_number = std::collections::BTreeMap::new();
    for id in ids.drain(..) {
        let of = depots
            .iter()
            .find(|depot| depot["depot_id"] == id)
            .expect("its readiness");
        by_number.insert(number(id).await, of);
    }
    says(
        by_number[&cases::ONE_OPERATOR_SHORT],
        "one more operator adds",
    );
    assert_eq!(by_number[&cases::ONE_OPERATOR_SHORT]["score"], 0.0);
    says(
        by_number[&cases::ONE_MACHINE_SHORT],
        "one more machine adds",
    );
}

async fn machines(manager: &Actor) {
    let belt = by_tag(manager, cases::BELT_LOW).await;
    assert!(
        ["ready", "doubtful"].contains(&belt["status"].as_str().expect("a status")),
        "{belt:#}"
    );
    let parts = belt["parts"].as_array().expect("parts");
    let part = parts
        .iter()
        .find(|part| part["part"] == "auger_belt")
        .expect("its auger belt");
    assert_eq!(part["advice"], "renew after the season", "{part:#}");
    let text = part["text"].as_str().expect("a text");
    assert!(
        text.contains("below the rim") && text.contains("take-up"),
        "{text}"
    );
    let id = belt["unit_id"].as_str().expect("an id");
    let checklist = manager
        .get(&format!("/v1/units/{id}/checklist"))
        .await
        .expect(200)
        .json();
    let steps = checklist["steps"].as_array().expect("steps");
    for check in ["auger_belt_ride", "auger_take_up"] {
        let last = &steps
            .iter()
            .find(|step| step["check"] == check)
            .expect("the step")["last"];
        assert_eq!(last["verdict"], "marginal", "{check}: {last}");
    }

    let shear = by_tag(manager, cases::WRONG_SHEAR_BOLT).await;
    assert_eq!(
        (&shear["status"], &shear["chance"]),
        (&"held".into(), &0.0.into())
    );
    says(&shear, "substitute fitted");

    let stood = by_tag(manager, cases::STOOD_240_DAYS).await;
    assert_eq!(stood["status"], "unproven");
    says(&stood, "not inspected this season");
    let start = stood["because"]
        .as_array()
        .unwrap()
        .iter()
        .find(|reason| reason["factor"] == "start");
    let chance = start.expect("its start")["chance"]
        .as_f64()
        .expect("a chance");
    assert!(
        (0.45..=0.77).contains(&chance),
        "common practice says six in ten: {chance}"
    );

    let scraper = by_tag(manager, cases::WORN_SCRAPER).await;
    assert_eq!(scraper["rate"], 860.0, "1,075 m2/h x 0.8, in whole tens");
    let findings = scraper["findings"].as_array().expect("findings");
    assert!(
        findings
            .iter()
            .any(|finding| finding["check"] == "scraper_edge" && finding["effect"] == "degrade")
    );

    says(&by_tag(manager, cases::BATTERY_FLAT).await, "freezes at");
    let limited = by_tag(manager, cases::DAY_ONLY).await;
    assert_eq!(
        (&limited["status"], &limited["counts"]),
        (&"limited".into(), &true.into())
    );
    says(&limited, "day only");

    let meter = by_tag(manager, cases::METER_BACKWARDS).await;
    let id = meter["unit_id"].as_str().expect("an id");
    let readings = manager
        .get(&format!("/v1/meter-readings?unit_id={id}&limit=200"))
        .await
        .expect(200)
        .json();
    let suspect = |reading: &&Value| {
        reading["flags"]
            .as_array()
            .is_some_and(|flags| flags.iter().any(|f| f == "suspect"))
    };
    let suspects: Vec<&Value> = readings["items"]
        .as_array()
        .expect("readings")
        .iter()
        .filter(suspect)
        .collect();
    assert_eq!(suspects.len(), 1, "{suspects:#?}");
    let (said, trusted) = (
        suspects[0]["run_hours"].as_f64(),
        meter["meter_hours"].as_f64(),
    );
    assert!(
        said.expect("hours") + 30.0 < trusted.expect("hours"),
        "the suspect reading is not believed"
    );
}
