//! POST /v1/depots/{depot_id}/what-if: from what is stored and what is supposed, and nothing is stored by it.

use rimeyard_harness::machines::{Machines, days_ago};
use rimeyard_harness::{Actor, TestServer};
use rimeyard_store::Role;
use rimeyard_worker::{Settings, drain};
use serde_json::{Value, json};
use uuid::Uuid;

use super::stored::Stored;

async fn what_if(actor: &Actor, depot: Uuid, supposed: Value) -> Value {
    actor
        .post(&format!("/v1/depots/{depot}/what-if"), &supposed)
        .await
        .expect(200)
        .json()
}

/// Three sound machines at Home for three operators and 4000 m2, and the lead of that depot.
async fn with_machines() -> (TestServer, Machines, Actor) {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let machines = Machines::make_sound(&server.administrator().await, home, 3, 1).await;
    let lead = server.depot_lead().await;
    (server, machines, lead)
}

async fn readiness(server: &TestServer, actor: &Actor) -> Value {
    drain(&server.database, &Settings::default())
        .await
        .expect("drained");
    let home = server.world.ours.home.id;
    actor
        .get(&format!("/v1/readiness/depots/{home}"))
        .await
        .expect(200)
        .json()
}

#[tokio::test]
async fn nothing_supposed_is_the_readiness_that_is_published() {
    let (server, _, lead) = with_machines().await;
    let home = server.world.ours.home.id;
    let mut published = readiness(&server, &lead).await;
    let mut told = what_if(&lead, home, json!({})).await;
    let storm = told["supposed_storm"].take();
    assert_eq!(
        (&storm["name"], &storm["depth_mm"], &storm["density_kg_m3"]),
        (&json!("design storm"), &json!(300.0), &json!(67.0))
    );
    assert!(told["as_of"].is_string());
    // What is put in front of stored documents.
    for own in ["as_of", "valid_until", "supposed_storm"] {
        for object in [&mut told, &mut published] {
            object.as_object_mut().expect("an object").remove(own);
        }
    }
    for machine in published["machines"].as_array_mut().expect("machines") {
        for own in ["as_of", "valid_until"] {
            machine.as_object_mut().expect("an object").remove(own);
        }
    }
    assert_eq!(told, published);
}

#[tokio::test]
async fn a_lead_asks_before_a_storm() {
    let (server, machines, lead) = with_machines().await;
    let home = server.world.ours.home.id;
    let stands = what_if(&lead, home, json!({})).await;
    let score = |told: &Value| told["score"].as_f64().expect("a score");
    assert_eq!(stands["works"][0]["cycles"], 6);

    // What if it is 600 mm?
    let deep = what_if(&lead, home, json!({"storm": {"depth_mm": 600}})).await;
    assert_eq!(deep["works"][0]["cycles"], 12);
    assert_eq!(deep["supposed_storm"]["name"], "design storm as supposed");
    assert!(deep["needed_rate"].as_f64() > stands["needed_rate"].as_f64());
    // Over in six hours?
    let short = what_if(
        &lead,
        home,
        json!({"storm": {"hours": 6, "starts_at": days_ago(-3)}}),
    )
    .await;
    assert!(short["needed_rate"].as_f64() > stands["needed_rate"].as_f64());
    assert!(short["storm"]["ends_at"].is_string());
    assert!(score(&short) < score(&stands), "{short}");

    // What if two stay broken, and in that deep snow but one operator comes?
    let without = what_if(&lead, home, json!({"without": machines.units[..2]})).await;
    assert_eq!(
        (&without["units"]["ready"], &without["units"]["away"]),
        (&json!(1), &json!(2))
    );
    assert!(score(&without) < score(&stands));
    let sick = what_if(
        &lead,
        home,
        json!({"storm": {"depth_mm": 600}, "operators": [{"work": "clear", "per_shift": 1}]}),
    )
    .await;
    assert_eq!(sick["operators"], 1);
    // 48,000 m2 in 26 h ask for two machines.
    assert!(score(&deep) > 50.0 && score(&sick) == 0.0, "{deep} {sick}");

    // What if the one that is held is put right?
    let held = machines.units[0].as_str();
    let hold = json!({"reason": "smells of fuel"});
    lead.post(&format!("/v1/units/{held}/holds"), &hold)
        .await
        .expect(201);
    let machine = |told: &Value| {
        let machines = told["machines"].as_array().expect("machines");
        let found = machines.iter().find(|one| one["unit_id"] == held);
        found.expect("it").clone()
    };
    let now = what_if(&lead, home, json!({})).await;
    assert_eq!(machine(&now)["status"], "held");
    let right = what_if(&lead, home, json!({"repaired": [held]})).await;
    assert_eq!(
        (&machine(&right)["status"], &machine(&right)["counts"]),
        (&json!("ready"), &json!(true))
    );
    assert_eq!(right["units"]["ready"], 3);
    // It is held all the same, and its tag hangs.
    let published = readiness(&server, &lead).await;
    assert_eq!(machine(&published)["status"], "held");
}

/// One that was never inspected or started, a storm that is entered, and everything at once.
#[tokio::test]
async fn a_machine_that_nobody_looked_at_is_ready_once_put_right() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let administrator = server.administrator().await;
    let machines = Machines::make(&administrator, home, 2).await;
    let storm = json!({
        "name": "A storm", "starts_at": days_ago(-1), "ends_at": days_ago(-2), "depth_mm": 200, "reclear_mm": 50,
        "temperature_c": -8, "depots": [home],
    });
    let storm = administrator
        .post("/v1/storms", &storm)
        .await
        .expect(201)
        .id();
    let lead = server.depot_lead().await;
    let now = what_if(&lead, home, json!({})).await;
    assert_eq!(now["units"]["unproven"], 2);
    let supposed = json!({
        "storm": {"depth_mm": 250, "temperature_c": 2, "low_c": null},
        "repaired": [machines.units[0]], "without": [machines.units[1]],
        "operators": [{"work": "clear", "per_shift": 2}],
    });
    let told = what_if(&lead, home, supposed).await;
    assert_eq!(
        (&told["units"]["ready"], &told["units"]["away"]),
        (&json!(1), &json!(1)),
        "{told}"
    );
    assert_eq!(
        (&told["storm"]["id"], &told["storm"]["name"]),
        (&json!(storm), &json!("A storm as supposed"))
    );
    // 36 degF: wet snow.
    assert_eq!(told["supposed_storm"]["density_kg_m3"], 200.0);
}

#[tokio::test]
async fn every_field_that_is_wrong_is_named() {
    let (server, machines, lead) = with_machines().await;
    let administrator = server.administrator().await;
    let far = Machines::make(&administrator, server.world.ours.far.id, 1).await;
    let (unit, other) = (machines.units[0].as_str(), far.units[0].as_str());
    let path = format!("/v1/depots/{}/what-if", server.world.ours.home.id);
    for (supposed, fields) in [
        (json!({"storm": {"hours": 0}}), vec!["storm.hours"]),
        (json!({"storm": {"hours": 337}}), vec!["storm.hours"]),
        (json!({"storm": {"hours": "long"}}), vec!["storm.hours"]),
        (json!({"storm": {"depth_mm": 0.5}}), vec!["storm.depth_mm"]),
        (
            json!({"storm": {"reclear_mm": 5001}}),
            vec!["storm.reclear_mm"],
        ),
        (
            json!({"storm": {"density_kg_m3": 918}}),
            vec!["storm.density_kg_m3"],
        ),
        (
            json!({"storm": {"temperature_c": 21}}),
            vec!["storm.temperature_c"],
        ),
        (json!({"storm": {"low_c": -81}}), vec!["storm.low_c"]),
        (
            json!({"storm": {"starts_at": "tomorrow"}}),
            vec!["storm.starts_at"],
        ),
        (
            json!({"storm": {"starts_at": days_ago(-400)}}),
            vec!["storm.starts_at"],
        ),
        (
            json!({"storm": {"starts_at": days_ago(3)}}),
            vec!["storm.starts_at"],
        ),
        (
            json!({"storm": {"starts_at": "9999-12-30T00:00:00Z"}}),
            vec!["storm.starts_at"],
        ),
        (json!({"storm": {"wind": 3}}), vec!["storm.wind"]),
        (json!({"storm": null}), vec!["storm"]),
        (json!({"storm": 300}), vec!["storm"]),
        (json!({"without": "T-12"}), vec!["without"]),
        (json!({"without": ["T-12"]}), vec!["without[0]"]),
        (json!({"without": [unit, other]}), vec!["without[1]"]),
        (json!({"without": [unit, unit]}), vec!["without[1]"]),
        (json!({"repaired": [Uuid::now_v7()]}), vec!["repaired[0]"]),
        (
            json!({"without": [unit], "repaired": [unit]}),
            vec!["repaired[0]"],
        ),
        (
            json!({"operators": [{"work": "clear", "per_shift": 1001}]}),
            vec!["operators[0].per_shift"],
        ),
        (
            json!({"operators": [{"work": "dig", "per_shift": 1}]}),
            vec!["operators[0].work"],
        ),
        (
            json!({"operators": [{"work": "clear"}]}),
            vec!["operators[0].per_shift"],
        ),
        (
            json!({"operators": [{"work": "clear", "per_shift": 1, "narrowest_width_mm": 99}]}),
            vec!["operators[0].narrowest_width_mm"],
        ),
        (
            json!({"operators": vec![json!({"work": "clear", "per_shift": 1}); 2]}),
            vec!["operators[1].work"],
        ),
        (
            json!({"operators": vec![json!({"work": "clear", "per_shift": 1}); 51]}),
            vec!["operators"],
        ),
        (json!({"broken": [unit]}), vec!["broken"]),
        (
            json!({"storm": {"hours": -1, "depth_mm": -1}, "repaired": [other]}),
            vec!["storm.hours", "storm.depth_mm", "repaired[0]"],
        ),
    ] {
        let answer = lead.post(&path, &supposed).await;
        assert_eq!(answer.problem(422), fields, "{supposed}");
    }
    // A machine elsewhere and one that does not exist are told alike.
    let elsewhere = lead.post(&path, &json!({"without": [other]})).await;
    let nowhere = lead
        .post(&path, &json!({"without": [Uuid::now_v7()]}))
        .await;
    assert_eq!(elsewhere.body, nowhere.body);
}

/// The hardest that may be asked: the cycles of five metres cleared at each millimetre.
#[tokio::test]
async fn the_deepest_snow_cleared_the_oftenest_is_answered() {
    let (server, _, lead) = with_machines().await;
    let home = server.world.ours.home.id;
    let hardest =
        json!({"storm": {"hours": 336, "depth_mm": 5000, "reclear_mm": 1, "density_kg_m3": 917}});
    let told = what_if(&lead, home, hardest).await;
    assert_eq!(told["works"][0]["cycles"], 5000);
}

#[tokio::test]
async fn everyone_asks_within_their_depots_and_nothing_is_stored() {
    let (server, machines, lead) = with_machines().await;
    let ours = server.world.ours;
    let stored = Stored::of(&server).await;
    let mut actors = Vec::new();
    for role in Role::ALL {
        actors.push(server.of_role(role).await);
    }
    let before = stored.state().await;
    let supposed =
        json!({"storm": {"depth_mm": 500}, "repaired": [machines.units[0]], "operators": []});
    let path = format!("/v1/depots/{}/what-if", ours.home.id);
    for actor in &actors {
        actor.post(&path, &supposed).await.expect(200);
    }
    // A key that is sent along keeps nothing: it is asked anew.
    let keyed = lead.request(reqwest::Method::POST, &path);
    let keyed = keyed.header("Idempotency-Key", "once").json(&supposed);
    rimeyard_harness::Answer::of(keyed).await.expect(200);
    assert!(stored.changed_since(&before).await.is_empty());
    let at = |depot: Uuid| format!("/v1/depots/{depot}/what-if");
    let absent = lead.post(&at(Uuid::now_v7()), &json!({})).await;
    absent.problem(404);
    let far = lead.post(&at(ours.far.id), &json!({})).await;
    let foreigner = server.foreign_administrator().await;
    let foreign = foreigner.post(&at(ours.home.id), &json!({})).await;
    for hidden in [far, foreign] {
        assert_eq!((hidden.status, &hidden.body), (404, &absent.body));
    }
    server
        .anonymous()
        .post(&path, &json!({}))
        .await
        .problem(401);
}
