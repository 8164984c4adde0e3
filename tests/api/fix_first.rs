//! /v1/depots/{depot_id}/fix-first and /v1/fix-first. A storm is in three days, so what is asked holds on any day of the year.

use rimeyard_harness::machines::Machines;
use rimeyard_harness::{Actor, TestServer};
use rimeyard_store::Role;
use serde_json::{Value, json};
use uuid::Uuid;

use super::fleet::{days_ago, items, posted};
use super::stock::movement;

/// A depot with two machines that do not count: one has a torn belt, the other a bolt from the hardware shelf. Either would do.
struct Broken {
    server: TestServer,
    manager: Actor,
    home: Uuid,
    belt: String,
    fasteners: String,
    torn: String,
    bolted: String,
}

async fn storm(administrator: &Actor, depots: &[Uuid], in_days: i64) -> String {
    let storm = json!({
        "name": "A storm", "starts_at": days_ago(-in_days), "ends_at": days_ago(-in_days - 1), "depth_mm": 200,
        "reclear_mm": 50, "depots": depots,
    });
    posted(administrator, "/v1/storms", &storm).await
}

async fn found(actor: &Actor, unit: &str, reading: Value) {
    let inspection = json!({
        "unit_id": unit, "kind": "in_season", "performed_at": days_ago(0), "readings": [reading],
    });
    posted(actor, "/v1/inspections", &inspection).await;
}

impl Broken {
    async fn new() -> Self {
        let server = TestServer::start().await;
        let administrator = server.administrator().await;
        let manager = server.district_manager().await;
        let (home, far) = (server.world.ours.home.id, server.world.ours.far.id);
        let part = |number: &str, name: &str, days: i64| json!({"number": number, "name": name, "lead_time_days": days});
        let belt = posted(&manager, "/v1/parts", &part("AB", "auger belt", 14)).await;
        let fasteners = part("SF", "shear fastener set", 7);
        let fasteners = posted(&manager, "/v1/parts", &fasteners).await;
        let machines = Machines::make_sound(&administrator, home, 2, 1).await;
        let [torn, bolted] = &machines.units[..] else {
            panic!("two machines");
        };
        found(&administrator, torn, json!({"check": "auger_belt_look", "grade": "frayed, cord showing, or bottom polished"})).await;
        let bolt = json!({"check": "shear_fasteners", "grade": "substitute fitted"});
        found(&administrator, bolted, bolt).await;
        storm(&administrator, &[home, far], 3).await;
        Self {
            manager,
            home,
            belt,
            fasteners,
            torn: torn.clone(),
            bolted: bolted.clone(),
            server,
        }
    }

    fn path(&self, query: &str) -> String {
        format!("/v1/depots/{}/fix-first{query}", self.home)
    }

    async fn ask(&self, query: &str) -> Value {
        ask(&self.manager, &self.path(query)).await
    }

    /// One of a part comes.
    async fn receive(&self, depot: Uuid, part: &str) {
        let moves = format!("/v1/depots/{depot}/stock/moves");
        let moved = movement("received", part, 1, 0);
        self.manager.post(&moves, &moved).await.expect(201);
    }
}

/// An answer whose order the calculation makes from its `inputs`.
async fn ask(actor: &Actor, path: &str) -> Value {
    let answer = actor.get(path).await.expect(200).json();
    let planned = actor.post("/v1/calculations/plan", &answer["inputs"]).await;
    let planned = planned.expect(200).json();
    let ids: Vec<&Value> = jobs(&answer, "first")
        .iter()
        .map(|job| &job["id"])
        .collect();
    assert_eq!(json!(ids), planned["jobs"], "{answer:#}");
    let gain = |answer: &Value| answer["gain"].as_f64().unwrap();
    // The last digit of a number may be read otherwise than it was written.
    assert!((gain(&answer) - gain(&planned)).abs() < 1e-9);
    for job in jobs(&answer, "first").iter().chain(jobs(&answer, "behind")) {
        assert!(
            job["because"]
                .as_str()
                .unwrap()
                .contains(job["title"].as_str().unwrap())
        );
    }
    answer
}

fn jobs<'a>(answer: &'a Value, list: &str) -> &'a Vec<Value> {
    answer[list].as_array().expect("jobs")
}

/// The machines of the order, first first.
fn order(answer: &Value) -> Vec<&str> {
    let first = jobs(answer, "first").iter();
    first.map(|job| job["unit_id"].as_str().unwrap()).collect()
}

/// The job that repairs a machine, wherever it stands.
fn repair<'a>(answer: &'a Value, unit: &str) -> &'a Value {
    let mut all = jobs(answer, "first").iter().chain(jobs(answer, "behind"));
    let found = all.find(|job| job["unit_id"] == unit && job["finding_ids"] != json!([]));
    found.unwrap_or_else(|| panic!("no repair of {unit} in {answer:#}"))
}

fn because(job: &Value) -> &str {
    job["because"].as_str().unwrap()
}

fn unit<'a>(answer: &'a Value, id: &str) -> &'a Value {
    let mut units = answer["units"].as_array().unwrap().iter();
    units
        .find(|unit| unit["unit_id"] == id)
        .expect("the machine")
}

fn day_in(days: i64) -> String {
    let zone = jiff::tz::TimeZone::get("America/Denver").unwrap();
    let today = jiff::Timestamp::now().to_zoned(zone).date();
    (today + jiff::ToSpan::days(days)).to_string()
}

#[tokio::test]
async fn the_order_changes_as_parts_come_on_hand() {
    let depot = Broken::new().await;
    // Nothing is there, and what is ordered now comes after the storm.
    let none = depot.ask("?minutes=480").await;
    assert_eq!(order(&none), [""; 0], "{none:#}");
    for (machine, part, days) in [
        (&depot.torn, &depot.belt, 14),
        (&depot.bolted, &depot.fasteners, 7),
    ] {
        let job = repair(&none, machine);
        assert_eq!(
            (
                &job["parts"][0]["part_id"],
                &job["parts"][0]["at"],
                &job["parts_on"]
            ),
            (&json!(part), &json!("supplier"), &json!(day_in(days))),
        );
        assert!(
            because(job).contains("its parts come too late for "),
            "{job:#}"
        );
        // The findings' own order has it.
        assert_eq!(job["order_ids"].as_array().unwrap().len(), 1);
        let machine = unit(&none, machine);
        assert_eq!(
            (&machine["chance_now"], &machine["in_time"]),
            (&json!(0.0), &json!(false))
        );
        assert!(machine["chance_after"].as_f64().unwrap() > 0.5);
    }
    // Work that counts for longer waits for what comes by then.
    let later = depot
        .ask(&format!("?minutes=480&until={}", day_in(14)))
        .await;
    assert_eq!(later["depots"][0]["until"], day_in(14));
    assert_eq!(order(&later), [&depot.bolted]);
    let job = &jobs(&later, "first")[0];
    assert_eq!(
        (&job["parts"][0]["number"], &job["parts_on"]),
        (&json!("SF"), &json!(day_in(7)))
    );
    let hold = repair(&none, &depot.bolted);
    assert_eq!((&hold["safety"], &hold["now"]), (&json!(true), &json!(0.0)));

    // Fasteners come: ten minutes bring a machine.
    depot.receive(depot.home, &depot.fasteners).await;
    let one = depot.ask("?minutes=480").await;
    assert_eq!(order(&one), [&depot.bolted]);
    let job = &jobs(&one, "first")[0];
    assert_eq!(
        (&job["minutes"], &job["minutes_from"]),
        (&json!(10.0), &json!("order"))
    );
    assert_eq!(job["parts"][0]["at"], "here");
    let raised = |job: &Value| {
        job["keeps_up_after"].as_f64().unwrap() - job["keeps_up_before"].as_f64().unwrap()
    };
    assert!(raised(job) > 0.5 && (raised(job) - one["gain"].as_f64().unwrap()).abs() < 1e-9);
    assert!(
        because(job).contains("Home then keeps up with clearing "),
        "{job:#}"
    );
    assert!(because(job).contains("shear fastener set: here"), "{job:#}");
    assert!(
        one["depots"][0]["because"]
            .as_str()
            .unwrap()
            .starts_with("Home: with what stands first it keeps up")
    );

    // A belt comes to the other depot: who sees that fetches it, who does not waits for it.
    depot
        .receive(depot.server.world.ours.far.id, &depot.belt)
        .await;
    let labour = format!("/v1/depots/{}/labour", depot.server.world.ours.far.id);
    let way = json!({"travel_minutes": 40});
    depot
        .manager
        .patch(&labour, "\"1\"", &way)
        .await
        .expect(200);
    let both = depot.ask("?minutes=480").await;
    assert_eq!(order(&both), [&depot.bolted, &depot.torn]);
    let job = &jobs(&both, "first")[1];
    assert_eq!(
        (
            &job["minutes"],
            &job["fetch_minutes"],
            &job["parts"][0]["at"]
        ),
        (&json!(85.0), &json!(40.0), &json!("another_depot"))
    );
    assert!(because(job).contains("auger belt: at Far"), "{job:#}");
    let own = ask(
        &depot.server.technician().await,
        &depot.path("?minutes=480"),
    )
    .await;
    assert_eq!(order(&own), [&depot.bolted]);
    assert_eq!(repair(&own, &depot.torn)["parts"][0]["at"], "supplier");
    // One here is nearer.
    depot.receive(depot.home, &depot.belt).await;
    let here = depot.ask("?minutes=480").await;
    assert_eq!(repair(&here, &depot.torn)["minutes"], 45.0);
}

#[tokio::test]
async fn the_hours_that_are_left_bind() {
    let depot = Broken::new().await;
    depot.receive(depot.home, &depot.fasteners).await;
    depot.receive(depot.home, &depot.belt).await;
    // Nobody's hours are entered: there is time for all of it, and nobody knows by when.
    let all = depot.ask("").await;
    assert_eq!(all["minutes_from"], "not_limited");
    assert_eq!(order(&all), [&depot.bolted, &depot.torn]);
    assert_eq!(all["depots"][0]["left_minutes"], Value::Null);
    assert_eq!(unit(&all, &depot.torn)["ready_on"], Value::Null);

    // 70 minutes a week: 30 in the three days to the storm, 20 of them at work.
    let administrator = depot.server.administrator().await;
    let people = items(&administrator, "/v1/people").await;
    let technician = people
        .iter()
        .find(|person| person["role"] == "technician")
        .unwrap();
    let labour = format!("/v1/depots/{}/labour", depot.home);
    let hours = json!({"travel_minutes": 10, "technicians": [
        {"person_id": technician["id"], "from": "2020-01-01", "weekly_minutes": 70}]});
    depot
        .manager
        .patch(&labour, "\"1\"", &hours)
        .await
        .expect(200);
    let few = depot.ask("").await;
    assert_eq!(
        (&few["minutes_from"], &few["minutes"]),
        (&json!("technicians"), &json!(30.0))
    );
    assert_eq!(order(&few), [&depot.bolted]);
    assert_eq!(few["minutes_used"], 20.0);
    assert_eq!(few["depots"][0]["left_minutes"], 30.0);
    assert!(few["depots"][0]["open_minutes"].as_f64().unwrap() >= 65.0);
    assert!(
        few["depots"][0]["because"]
            .as_str()
            .unwrap()
            .ends_with(": not enough")
    );
    let job = repair(&few, &depot.torn);
    assert!(
        because(job).contains("worth doing, but not in the time there is"),
        "{job:#}"
    );
    // Ten a day: the way and the ten minutes of the first are done tomorrow, the other's 45 not before the storm.
    assert_eq!(
        (
            &unit(&few, &depot.bolted)["ready_on"],
            &unit(&few, &depot.bolted)["in_time"]
        ),
        (&json!(day_in(1)), &json!(true))
    );
    assert_eq!(
        (
            &unit(&few, &depot.torn)["ready_on"],
            &unit(&few, &depot.torn)["in_time"]
        ),
        (&json!(day_in(6)), &json!(false))
    );
    // Whoever has more says so.
    let more = depot.ask("?minutes=90").await;
    assert_eq!(
        (&more["minutes_from"], &more["minutes"]),
        (&json!("asked"), &json!(90.0))
    );
    assert_eq!(order(&more), [&depot.bolted, &depot.torn]);
    assert_eq!(order(&depot.ask("?minutes=0").await), [""; 0]);

    // The repair is done and not proved: a look is left of it.
    let orders = items(
        &depot.manager,
        &format!("/v1/work-orders?unit_id={}&open=true", depot.torn),
    )
    .await;
    let path = format!("/v1/work-orders/{}", orders[0]["id"].as_str().unwrap());
    let order = depot.manager.get(&path).await.expect(200);
    let line = &order.json()["lines"][0]["id"];
    let done = json!({"lines": [{"id": line, "done": true}]});
    administrator
        .patch(&path, &order.etag(), &done)
        .await
        .expect(200);
    let proof = depot.ask("?minutes=480").await;
    let job = repair(&proof, &depot.torn);
    assert_eq!(
        (&job["kind"], &job["parts"]),
        (&json!("proof of a repair"), &json!([]))
    );
    assert_eq!(job["minutes"], 10.0);
    assert!(
        job["title"]
            .as_str()
            .unwrap()
            .starts_with("Prove the repair: ")
    );
}

/// What nobody has looked at counts for nothing: to look, and to start it, is worth the machine.
#[tokio::test]
async fn to_look_and_to_start_are_jobs() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let home = server.world.ours.home.id;
    let machines = Machines::make(&administrator, home, 1).await;
    storm(&administrator, &[home], 3).await;
    let lead = server.depot_lead().await;
    let path = format!("/v1/depots/{home}/fix-first?minutes=480");
    let answer = ask(&lead, &path).await;
    let kinds: Vec<&str> = jobs(&answer, "first")
        .iter()
        .map(|job| job["kind"].as_str().unwrap())
        .collect();
    assert!(
        kinds.contains(&"inspection") && kinds.contains(&"proof start"),
        "{answer:#}"
    );
    for job in jobs(&answer, "first") {
        match job["kind"].as_str().unwrap() {
            // The sheet's pre-season inspection, which asks all of it.
            "inspection" => {
                assert_eq!((&job["minutes"], &job["now"]), (&json!(120.0), &json!(0.0)));
                assert!(
                    because(job).contains("not inspected this season"),
                    "{job:#}"
                );
                assert!(because(job).contains(", if nothing is found"), "{job:#}");
                assert!(
                    job["tasks"]
                        .as_array()
                        .unwrap()
                        .contains(&json!("auger_release"))
                );
            }
            "proof start" => {
                assert_eq!((&job["minutes"], &job["now"]), (&json!(15.0), &json!(0.0)));
                assert!(because(job).contains("no proof start"), "{job:#}");
            }
            // Its belts may have run since it came, three years ago.
            other => assert_eq!(other, "renewal", "{job:#}"),
        }
    }
    // Half of it is worth nothing, so it is not begun.
    let short = ask(&lead, &format!("/v1/depots/{home}/fix-first?minutes=126")).await;
    assert_eq!(order(&short), [""; 0]);
    // Once it was inspected in full, a start among it, nothing of that is left.
    let sound = rimeyard_harness::machines::sound_inspection(&machines.units[0], 0);
    posted(&administrator, "/v1/inspections", &sound).await;
    let after = ask(&lead, &path).await;
    assert_eq!(order(&after), [""; 0], "{after:#}");
    // A tag that nobody has explained is a job.
    let hold = json!({"reason": "smells of fuel"});
    lead.post(&format!("/v1/units/{}/holds", machines.units[0]), &hold)
        .await
        .expect(201);
    let held = ask(&lead, &path).await;
    let job = &jobs(&held, "first")[0];
    assert_eq!(
        (&job["kind"], &job["safety"]),
        (&json!("hold tag"), &json!(true))
    );
    assert!(because(job).contains("smells of fuel"), "{job:#}");
    // Away, there is nothing to do for it here.
    let unit = format!("/v1/units/{}", machines.units[0]);
    let etag = administrator.get(&unit).await.expect(200).etag();
    administrator
        .patch(&unit, &etag, &json!({"away": "at the shop"}))
        .await
        .expect(200);
    let away = ask(&lead, &path).await;
    assert_eq!(
        (jobs(&away, "first").len(), jobs(&away, "behind").len()),
        (0, 0)
    );
}

#[tokio::test]
async fn a_district_shares_its_hours_out_and_everyone_asks_within_their_depots() {
    let depot = Broken::new().await;
    let (home, far) = (depot.home, depot.server.world.ours.far.id);
    let administrator = depot.server.administrator().await;
    let machines = Machines::make_sound(&administrator, far, 1, 1).await;
    let bolt = json!({"check": "shear_fasteners", "grade": "substitute fitted"});
    found(&administrator, &machines.units[0], bolt).await;
    depot.receive(home, &depot.fasteners).await;
    depot.receive(far, &depot.fasteners).await;
    let all = ask(&depot.manager, "/v1/fix-first?minutes=480").await;
    assert_eq!(all["depots"].as_array().unwrap().len(), 2);
    assert_eq!(order(&all).len(), 2);
    assert!(order(&all).contains(&machines.units[0].as_str()));
    // Ten minutes are enough for one of the two.
    assert_eq!(
        order(&ask(&depot.manager, "/v1/fix-first?minutes=10").await).len(),
        1
    );
    let one = ask(
        &depot.manager,
        &format!("/v1/fix-first?minutes=480&depot_ids={far}"),
    )
    .await;
    assert_eq!(order(&one), [&machines.units[0]]);
    let own = ask(
        &depot.server.technician().await,
        "/v1/fix-first?minutes=480",
    )
    .await;
    assert_eq!(
        (own["depots"].as_array().unwrap().len(), order(&own)),
        (1, vec![depot.bolted.as_str()])
    );
    for role in Role::ALL {
        depot
            .server
            .of_role(role)
            .await
            .get(&depot.path(""))
            .await
            .expect(200);
    }
    // A storm at Far alone leaves Home out.
    let only = storm(&administrator, &[far], 5).await;
    let met = ask(
        &depot.manager,
        &format!("/v1/fix-first?minutes=480&storm_id={only}"),
    )
    .await;
    let depots = met["depots"].as_array().unwrap();
    assert_eq!((depots.len(), &depots[0]["depot_id"]), (1, &json!(far)));
    assert_eq!(depots[0]["until"], day_in(5));

    // To the byte: hidden is absent.
    let technician = depot.server.technician().await;
    let foreigner = depot.server.foreign_administrator().await;
    let absent = technician
        .get(&format!("/v1/depots/{}/fix-first", Uuid::now_v7()))
        .await;
    absent.problem(404);
    let hidden = technician.get(&format!("/v1/depots/{far}/fix-first")).await;
    let foreign = foreigner.get(&depot.path("")).await;
    for answer in [hidden, foreign] {
        assert_eq!((answer.status, &answer.body), (404, &absent.body));
    }
    let absent = technician
        .get(&format!("/v1/fix-first?depot_ids={}", Uuid::now_v7()))
        .await;
    let hidden = technician
        .get(&format!("/v1/fix-first?depot_ids={home},{far}"))
        .await;
    assert_eq!(absent.body, hidden.body);
    assert_eq!(hidden.problem(400), ["depot_ids"]);
    depot
        .server
        .anonymous()
        .get("/v1/fix-first")
        .await
        .problem(401);
    assert_eq!(
        jobs(&ask(&foreigner, "/v1/fix-first").await, "first").len(),
        0
    );
}

#[tokio::test]
async fn every_parameter_that_is_wrong_is_named() {
    let depot = Broken::new().await;
    let administrator = depot.server.administrator().await;
    let elsewhere = storm(&administrator, &[depot.server.world.ours.far.id], 3).await;
    for (query, field) in [
        ("minutes=-1".to_owned(), "minutes"),
        ("minutes=1000001".to_owned(), "minutes"),
        ("minutes=many".to_owned(), "minutes"),
        ("minutes=NaN".to_owned(), "minutes"),
        ("until=soon".to_owned(), "until"),
        ("until=2026-02-30".to_owned(), "until"),
        ("until=0001-01-01".to_owned(), "until"),
        (format!("until={}", day_in(0)), "until"),
        ("storm_id=7".to_owned(), "storm_id"),
        (format!("storm_id={}", Uuid::now_v7()), "storm_id"),
        (format!("storm_id={elsewhere}"), "storm_id"),
        ("hours=3".to_owned(), "hours"),
        (format!("depot_ids={}", depot.home), "depot_ids"),
    ] {
        let answer = depot.manager.get(&depot.path(&format!("?{query}"))).await;
        assert_eq!(answer.problem(400), [field], "{query}");
    }
    let twice = format!("/v1/fix-first?depot_ids={},{}", depot.home, depot.home);
    assert_eq!(depot.manager.get(&twice).await.problem(400), ["depot_ids"]);
}

/// Of a part that no list has nobody can say when it comes: the job says so, and is not lost.
#[tokio::test]
async fn a_part_on_no_list_is_said_to_be_on_none() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let home = server.world.ours.home.id;
    let machines = Machines::make_sound(&administrator, home, 1, 1).await;
    let machine = &machines.units[0];
    let bolt = json!({"check": "shear_fasteners", "grade": "substitute fitted"});
    found(&administrator, machine, bolt).await;
    storm(&administrator, &[home], 3).await;
    let lead = server.depot_lead().await;
    let answer = ask(&lead, &format!("/v1/depots/{home}/fix-first")).await;
    assert_eq!(order(&answer), [machine]);
    let job = repair(&answer, machine);
    let part = &job["parts"][0];
    assert_eq!(
        (&part["at"], &part["part_id"], &job["parts_on"]),
        (&json!("unknown"), &Value::Null, &Value::Null)
    );
    assert!(
        because(job).ends_with("shear fastener set: no listed part: go and see"),
        "{job:#}"
    );
    let machine = unit(&answer, machine);
    assert_eq!(
        (&machine["ready_on"], &machine["in_time"]),
        (&Value::Null, &json!(false))
    );
}
