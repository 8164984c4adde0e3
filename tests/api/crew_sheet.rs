//! GET /v1/depots/{depot_id}/crew-sheet: worked out from what is stored, and nothing is stored by it.

use rimeyard_harness::machines::{Machines, days_ago};
use rimeyard_harness::{Actor, Answer, TestServer};
use rimeyard_rules::sheet::two_stage_thrower;
use rimeyard_store::Role;
use rimeyard_worker::{Settings, drain};
use serde_json::{Value, json};
use uuid::Uuid;

use super::stored::Stored;

fn path(depot: Uuid, query: &str) -> String {
    format!("/v1/depots/{depot}/crew-sheet{query}")
}

async fn sheet(actor: &Actor, depot: Uuid, query: &str) -> Value {
    actor.get(&path(depot, query)).await.expect(200).json()
}

/// Four sound machines at Home, and an operator who may see that depot only.
async fn with_machines() -> (TestServer, Machines, Actor) {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let machines = Machines::make_sound(&server.administrator().await, home, 4, 1).await;
    let operator = server.operator().await;
    (server, machines, operator)
}

async fn storm(server: &TestServer, depots: &[Uuid], more: Value) -> String {
    let mut storm = json!({
        "name": "A storm", "starts_at": days_ago(-1), "ends_at": days_ago(-2), "depth_mm": 200, "reclear_mm": 50,
        "depots": depots,
    });
    for (field, value) in more.as_object().expect("an object") {
        storm[field] = value.clone();
    }
    let administrator = server.administrator().await;
    administrator
        .post("/v1/storms", &storm)
        .await
        .expect(201)
        .id()
}

#[tokio::test]
async fn a_crew_sees_its_machines_hours_noise_and_breaks() {
    let (server, machines, operator) = with_machines().await;
    let home = server.world.ours.home.id;
    let said = sheet(&operator, home, "?wind_m_per_s=4.4704&temperature_c=-30").await;
    assert_eq!(
        (&said["depot_id"], &said["name"]),
        (&json!(home), &json!("Home"))
    );
    assert_eq!(said["storm"]["name"], "design storm");
    assert_eq!(
        (&said["storm"]["hours"], &said["storm"]["depth_mm"]),
        (&json!(24.0), &json!(300.0))
    );
    let group = &said["machines"][0];
    assert_eq!(
        (&group["kind"], &group["work"], &group["operators"]),
        (&json!("two-stage thrower"), &json!("clear"), &json!(3))
    );
    assert_eq!(group["model_id"], machines.model.as_str());
    let units = group["units"].as_array().expect("units");
    assert_eq!(units.len(), 4);
    assert!(
        units
            .iter()
            .all(|unit| unit["status"] == "ready" && unit["counts"] == true)
    );
    // 4000 m2 in six cycles of three machines: 28 in at 1.5 mph, a tenth of overlap and 0.7 efficiency are 1070 m2/h; snow
    // of 67 kg/m3 does not slow them. 24000 / 3210 is 7.48 h, rounded up.
    assert_eq!(group["running_hours"], 7.5);
    // 29 CFR 1910.95: T at 91 dBA is 6.964 h; 7.5 h are 107.7 %.
    assert_eq!(
        (
            &group["noise"]["level_db_a"],
            &group["noise"]["dose_percent"],
            &group["noise"]["exposure"]
        ),
        (&json!(91.0), &json!(107.7), &json!("over the limit"))
    );
    assert_eq!(group["noise"]["action_level_after_h"], 3.4);
    assert_eq!(group["hand_arm"], Value::Null);
    let missing = said["missing"].to_string();
    assert!(missing.contains("hand_arm_m_per_s2"), "{missing}");
    // National Weather Service, by hand: -22 degF at 10 mph are -43.2 degF.
    let cold = &said["cold"];
    assert_eq!(
        (&cold["temperature_c"], &cold["temperature_from"]),
        (&json!(-30.0), &json!("asked"))
    );
    assert_eq!(cold["wind_chill_c"], -41.8);
    assert_eq!(cold["frostbite"]["most_minutes"], 10);
    // Saskatchewan: -29 to -31 degC in 16 km/h (10 mph).
    assert_eq!(
        (&cold["walking"]["work_minutes"], &cold["walking"]["breaks"]),
        (&json!(55), &json!(3))
    );
    assert_eq!(cold["sitting"]["work_minutes"], 40);
    assert_eq!(said["duties"][0]["name"], "Platforms");
    let cautions = said["cautions"].to_string();
    assert!(
        cautions.contains("auger by hand") && cautions.contains("carbon monoxide"),
        "{cautions}"
    );
    let informs = said["informs"].as_str().expect("a sentence");
    assert!(informs.contains("maker's manual") && informs.contains("decides nothing"));
}

/// As long as the readiness that the worker published says, to the half hour.
#[tokio::test]
async fn hours_are_those_of_the_depots_readiness() {
    let (server, _, operator) = with_machines().await;
    let home = server.world.ours.home.id;
    drain(&server.database, &Settings::default())
        .await
        .expect("drained");
    let readiness = operator
        .get(&format!("/v1/readiness/depots/{home}"))
        .await
        .expect(200)
        .json();
    let said = sheet(&operator, home, "").await;
    let hours = said["machines"][0]["running_hours"]
        .as_f64()
        .expect("hours");
    let published = readiness["works"][0]["storm_hours"]
        .as_f64()
        .expect("hours");
    assert!((hours - published).abs() <= 0.35, "{hours} {published}");
    for (unit, machine) in said["machines"][0]["units"]
        .as_array()
        .expect("units")
        .iter()
        .zip(readiness["machines"].as_array().expect("machines"))
    {
        assert_eq!(unit["status"], machine["status"]);
        assert_eq!(unit["counts"], machine["counts"]);
    }
}

/// What a sheet names of vibration is reckoned with; the tables' own figures stand in tests/reference.
#[tokio::test]
async fn a_sheet_may_name_what_its_maker_declares() {
    let (server, _, operator) = with_machines().await;
    let administrator = server.administrator().await;
    let home = server.world.ours.home.id;
    let model = Machines::make_sound(&administrator, home, 1, 1).await.model;
    let declared =
        |value: f64| json!({"value": value, "source": "the maker's declaration to EN 12096"});
    let mut content = json!(two_stage_thrower());
    content["hand_arm_m_per_s2"] = declared(5.0);
    content["noise_db_a"] = declared(85.0);
    let sheets = format!("/v1/models/{model}/sheets");
    administrator.post(&sheets, &content).await.expect(201);
    let said = sheet(&operator, home, "").await;
    let of_model = |one: &&Value| one["model_id"] == model.as_str();
    let group = said["machines"]
        .as_array()
        .expect("machines")
        .iter()
        .find(of_model)
        .expect("its group")
        .clone();
    let hours = group["running_hours"].as_f64().expect("hours");
    // Directive 2002/44/EC: A(8) = 5 sqrt(T / 8).
    let a8 = group["hand_arm"]["a8_m_per_s2"].as_f64().expect("A(8)");
    assert!((a8 - 5.0 * (hours / 8.0).sqrt()).abs() <= 0.005, "{a8}");
    assert_eq!(
        (
            &group["hand_arm"]["action_value_after_h"],
            &group["hand_arm"]["limit_value_after_h"]
        ),
        (&json!(2.0), &json!(8.0))
    );
    assert_eq!(group["noise"]["action_level_after_h"], 8.0);
    assert_eq!(
        group["noise"]["source"],
        "the maker's declaration to EN 12096"
    );
    for (field, value) in [("noise_db_a", 141.0), ("hand_arm_m_per_s2", -1.0)] {
        let mut wrong = json!(two_stage_thrower());
        wrong[field] = declared(value);
        assert_eq!(
            administrator.post(&sheets, &wrong).await.problem(422),
            [format!("{field}.value")]
        );
        wrong[field] = json!(value);
        assert_eq!(
            administrator.post(&sheets, &wrong).await.problem(422),
            [field]
        );
    }
}

#[tokio::test]
async fn the_storm_is_that_of_readiness_unless_one_is_named() {
    let (server, _, operator) = with_machines().await;
    let (home, far) = (server.world.ours.home.id, server.world.ours.far.id);
    let nearest = storm(&server, &[home], json!({"temperature_c": -9})).await;
    let later = storm(
        &server,
        &[home, far],
        json!({"starts_at": days_ago(-5), "ends_at": days_ago(-6), "low_c": -20}),
    )
    .await;
    let windy = sheet(&operator, home, "?wind_m_per_s=0").await;
    assert_eq!(windy["storm"]["id"], nearest.as_str());
    assert_eq!(
        (
            &windy["cold"]["temperature_c"],
            &windy["cold"]["temperature_from"],
            &windy["cold"]["wind_chill_c"]
        ),
        (&json!(-9.0), &json!("storm"), &json!(-9.0))
    );
    let named = sheet(
        &operator,
        home,
        &format!("?storm_id={later}&wind_m_per_s=3"),
    )
    .await;
    assert_eq!(named["storm"]["id"], later.as_str());
    assert_eq!(named["cold"]["temperature_from"], "storm's low");
    // Without a wind nothing is said of the cold but what to ask.
    let still = sheet(&operator, home, "").await;
    assert_eq!(still["cold"], Value::Null);
    assert!(
        still["missing"][0]
            .as_str()
            .expect("text")
            .contains("wind_m_per_s")
    );

    // One that is elsewhere, of somebody else, over, called off or nothing at all is the same.
    let elsewhere = storm(&server, &[far], json!({})).await;
    let over = storm(
        &server,
        &[home],
        json!({"starts_at": days_ago(4), "ends_at": days_ago(3)}),
    )
    .await;
    let called_off = storm(&server, &[home], json!({})).await;
    server
        .administrator()
        .await
        .patch(
            &format!("/v1/storms/{called_off}"),
            &server
                .administrator()
                .await
                .get(&format!("/v1/storms/{called_off}"))
                .await
                .etag(),
            &json!({"cancelled": true}),
        )
        .await
        .expect(200);
    let absent = Uuid::now_v7().to_string();
    let mut bodies = Vec::new();
    for id in [elsewhere, over, called_off, absent] {
        let answer = operator.get(&path(home, &format!("?storm_id={id}"))).await;
        assert_eq!(answer.problem(400), ["storm_id"]);
        bodies.push(answer.body);
    }
    bodies.dedup();
    assert_eq!(bodies.len(), 1, "nothing tells which of these there are");
}

#[tokio::test]
async fn every_parameter_that_is_wrong_is_named() {
    let (server, _, operator) = with_machines().await;
    let home = server.world.ours.home.id;
    for (query, field) in [
        ("wind_m_per_s=-0.1", "wind_m_per_s"),
        ("wind_m_per_s=100.1", "wind_m_per_s"),
        ("wind_m_per_s=NaN", "wind_m_per_s"),
        ("wind_m_per_s=inf", "wind_m_per_s"),
        ("wind_m_per_s=1e999", "wind_m_per_s"),
        ("wind_m_per_s=strong", "wind_m_per_s"),
        ("wind_m_per_s=", "wind_m_per_s"),
        ("wind_m_per_s=1&wind_m_per_s=2", "wind_m_per_s"),
        ("temperature_c=-80.1", "temperature_c"),
        ("temperature_c=20.1", "temperature_c"),
        ("temperature_c=cold", "temperature_c"),
        ("storm_id=7", "storm_id"),
        ("storm_id=", "storm_id"),
        ("wind=3", "wind"),
    ] {
        let answer = operator.get(&path(home, &format!("?{query}"))).await;
        assert_eq!(answer.problem(400), [field], "{query}");
    }
    for edge in [
        "wind_m_per_s=0&temperature_c=20",
        "wind_m_per_s=100&temperature_c=-80",
    ] {
        sheet(&operator, home, &format!("?{edge}")).await;
    }
}

#[tokio::test]
async fn everyone_reads_it_within_their_depots_and_it_stores_nothing() {
    let (server, machines, operator) = with_machines().await;
    let ours = server.world.ours;
    let stored = Stored::of(&server).await;
    let mut actors = Vec::new();
    for role in Role::ALL {
        actors.push(server.of_role(role).await);
    }
    let before = stored.state().await;
    for actor in &actors {
        sheet(actor, ours.home.id, "?wind_m_per_s=5").await;
    }
    assert!(stored.changed_since(&before).await.is_empty());
    let absent = operator.get(&path(Uuid::now_v7(), "")).await;
    absent.problem(404);
    let far = operator.get(&path(ours.far.id, "")).await;
    let foreign = server
        .foreign_administrator()
        .await
        .get(&path(ours.home.id, ""))
        .await;
    for hidden in [far, foreign] {
        assert_eq!((hidden.status, &hidden.body), (404, &absent.body));
    }
    // Asked again it is the same until something is: then a machine that is held is shown so, and stays in.
    let address = path(ours.home.id, "?wind_m_per_s=5");
    let etag = operator.get(&address).await.expect(200).etag();
    let again = async || {
        let request = operator.request(reqwest::Method::GET, &address);
        Answer::of(request.header("If-None-Match", &etag)).await
    };
    again().await.expect(304);
    let hold = json!({"reason": "smells of fuel"});
    operator
        .post(&format!("/v1/units/{}/holds", machines.units[0]), &hold)
        .await
        .expect(201);
    let after = again().await.expect(200).json();
    let units = after["machines"][0]["units"].as_array().expect("units");
    let held = |unit: &&Value| unit["unit_id"] == machines.units[0].as_str();
    let held = units.iter().find(held).expect("it is listed");
    assert_eq!(
        (&held["status"], &held["counts"]),
        (&json!("held"), &json!(false))
    );
}
