//! /v1/units/{unit_id}/renew and /v1/renew: what real orders, parts and downtime come to, by hand. The rules' own tests and
//! tests/reference check the mathematics.

use jiff::civil::Date;
use rimeyard_harness::{Actor, TestServer};
use serde_json::{Value, json};

use super::fleet::{Fleet, items, posted};
use super::work_orders::{changed, order_of, worn_shoes};

/// No interest and no resale, an hour at 60 and a stand-in at 40 a day.
const TERMS: &str = "discount_rate=0&resale_kept=0&labour_per_hour=60&hire_per_day=40";

/// The winter that runs at Home, by the year of its 1 July.
fn winter() -> i16 {
    let today: Date = jiff::Timestamp::now()
        .in_tz("America/Denver")
        .expect("a zone")
        .date();
    today.year() - i16::from(today.month() < 7)
}

async fn renewal(actor: &Actor, unit: &str, query: &str) -> Value {
    let path = format!("/v1/units/{unit}/renew?{query}");
    actor.get(&path).await.expect(200).json()
}

async fn price(administrator: &Actor, unit: &str, price: Value) {
    let unit = administrator.get(&format!("/v1/units/{unit}")).await;
    let model = unit.expect(200).json()["model_id"].clone();
    let path = format!("/v1/models/{}", model.as_str().expect("an id"));
    let etag = administrator.get(&path).await.expect(200).etag();
    let change = json!({"price": price});
    let changed = administrator.patch(&path, &etag, &change).await.expect(200);
    assert_eq!(changed.json()["price"], price);
}

/// A machine of 2020 at Home whose model costs 1,000.00, with costs in the winter before last: two parts at 25.00 each, one that
/// has no price, 90 minutes and three days down; it ran 20 hours then and 12 in the last one.
async fn machine(server: &TestServer) -> (String, Value) {
    let administrator = server.administrator().await;
    let unit = Fleet::of(server, "Home").await.unit;
    price(
        &administrator,
        &unit,
        json!({"amount_minor": 100_000, "currency": "USD"}),
    )
    .await;
    let now = winter();
    let in_year = |back: i16, day: &str| format!("{}-{day}", now - back);
    for (at, hours) in [
        (in_year(2, "06-01T18:00:00Z"), 100.0),
        (in_year(1, "04-01T18:00:00Z"), 120.0),
        (in_year(0, "04-01T18:00:00Z"), 132.0),
    ] {
        let reading = json!({"unit_id": unit, "read_at": at, "run_hours": hours});
        posted(&administrator, "/v1/meter-readings", &reading).await;
    }
    let inspection = json!({
        "unit_id": unit, "kind": "in_season", "performed_at": in_year(2, "08-15T18:00:00Z"),
        "readings": [worn_shoes()],
    });
    posted(&administrator, "/v1/inspections", &inspection).await;
    let hardware = json!({
        "number": "HW", "name": "hardware", "lead_time_days": 1,
        "price": {"amount_minor": 2500, "currency": "USD"},
    });
    let hardware = posted(&administrator, "/v1/parts", &hardware).await;
    let paint = json!({"number": "PT", "name": "paint", "lead_time_days": 1});
    let paint = posted(&administrator, "/v1/parts", &paint).await;
    let order = order_of(&administrator, &unit).await;
    let done = in_year(2, "12-01T18:00:00Z");
    let change = json!({
        "state": "on the bench",
        "lines": [{"id": order["lines"][0]["id"], "done": true, "done_at": done, "minutes_worked": 90}],
        "uses": [
            {"part_id": hardware, "quantity": 2, "happened_at": done},
            {"part_id": paint, "quantity": 1, "happened_at": done},
        ],
        "downtime": [{"from": done, "to": in_year(2, "12-03T18:00:00Z"), "reason": "under repair"}],
    });
    let id = order["id"].as_str().expect("an id");
    let order = changed(&administrator, id, &change)
        .await
        .expect(200)
        .json();
    (unit, order)
}

#[tokio::test]
async fn a_machine_is_held_against_a_new_one_by_what_its_orders_took() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let (unit, _) = machine(&server).await;
    let found = renewal(&technician, &unit, TERMS).await;
    let age = f64::from(winter() - 2020);
    let inputs = &found["inputs"];
    assert_eq!(
        (&inputs["age"], &inputs["price"]),
        (&json!(age), &json!(1000.0))
    );
    let costs = |number: f64, parts: f64, minutes: f64, days: f64, hours: f64| {
        json!({"winter": number, "parts": parts, "labour_minutes": minutes, "out_days": days, "out_hours": 0.0,
               "run_hours": hours})
    };
    assert_eq!(
        inputs["winters"],
        json!([
            costs(age - 1.0, 50.0, 90.0, 3.0, 20.0),
            costs(age, 0.0, 0.0, 0.0, 12.0)
        ])
    );
    // 50 for parts, 90 for an hour and a half, 3 x 40 for a stand-in; over 32 hours.
    let renew = &found["renew"];
    assert_eq!(renew["cost_per_running_hour"], 260.0 / 32.0);
    // 1000 / 12 + 30 + 7.5 x 11, as the rules' test has it by hand: no other machine of its model is there.
    assert_eq!(renew["new"]["years"], 12);
    let new = renew["new"]["annual_cost"].as_f64().expect("a cost");
    assert!((new - 195.833_333_333).abs() < 1e-6, "{new}");
    // The line after both winters. Stated: 30 and 15 a winter, of one machine to half as much, scatter 100: precisions 100^2 /
    // 15^2 and 100^2 / 7.5^2. With x = a - 2 and a - 1 the normal equations are those of least squares with two more rows.
    let (first, each) = (10_000.0 / 225.0, 10_000.0 / 56.25);
    let (x, y) = ([age - 2.0, age - 1.0], [260.0, 0.0]);
    let (a, b) = (first + 2.0, x[0] + x[1]);
    let d = each + x[0] * x[0] + x[1] * x[1];
    let (p, q) = (
        first * 30.0 + y[0] + y[1],
        each * 15.0 + x[0] * y[0] + x[1] * y[1],
    );
    let rise = (a * q - b * p) / (a * d - b * b);
    let line = renew["winter_cost"]["rise"].as_f64().expect("a rise");
    assert!((line - rise).abs() < 1e-9, "{line} {rise}");
    assert!(
        renew["text"]
            .as_str()
            .is_some_and(|text| text.starts_with("Keeping it costs about ")),
        "{renew}"
    );
    let said = found["counted"].as_array().expect("sentences");
    assert!(said.iter().any(|said| {
        said.as_str()
            .is_some_and(|said| said.contains("Left out: 1 part "))
    }));
    assert_eq!(renew["lacking"], json!([]));

    // What it was worked out from makes the same by itself.
    let again = technician
        .post("/v1/calculations/renew", inputs)
        .await
        .expect(200)
        .json();
    assert_eq!(&again, renew);

    // Without a word of one's own everything is assumed, and said to be.
    let found = renewal(&technician, &unit, "").await;
    let assumed = found["renew"]["assumptions"]
        .as_array()
        .expect("assumptions");
    let from = |what: &str| {
        let one = assumed
            .iter()
            .find(|one| one["what"].as_str().is_some_and(|it| it.starts_with(what)));
        one.unwrap_or_else(|| panic!("{what}"))["from"]
            .as_str()
            .expect("words")
            .to_owned()
    };
    assert_eq!(from("price of a new one"), "given");
    for what in [
        "labour",
        "rate of discount",
        "a stand-in's hire",
        "share of its value",
    ] {
        assert!(from(what).starts_with("assumed"), "{what}");
    }
}

#[tokio::test]
async fn a_repair_that_it_waits_for_speaks_for_a_new_one() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let (unit, _) = machine(&server).await;
    let before = renewal(&technician, &unit, TERMS).await;
    assert_eq!(before["inputs"]["repair_now"], 0.0);
    let hardware = items(&technician, "/v1/parts?number=HW").await[0]["id"].clone();
    let order = json!({
        "unit_id": unit, "lines": [{"title": "Rebuild the engine", "minutes_planned": 1200}],
        "needs": [{"part_id": hardware, "quantity": 4}],
    });
    posted(&technician, "/v1/work-orders", &order).await;
    let after = renewal(&technician, &unit, TERMS).await;
    // 4 x 25.00, and 20 hours at 60.
    assert_eq!(after["inputs"]["repair_now"], 1300.0);
    assert_eq!(after["renew"]["verdict"], "renew");
    let saves = |found: &Value| found["renew"]["renewing_saves"].as_f64().expect("a sum");
    assert!(saves(&after) > 0.0 && saves(&after) > saves(&before));
}

#[tokio::test]
async fn what_is_not_known_is_lacking_and_can_be_entered() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let administrator = server.administrator().await;
    let (unit, _) = machine(&server).await;
    price(&administrator, &unit, Value::Null).await;
    let path = format!("/v1/units/{unit}");
    let acquired = async |on: Value| {
        let etag = lead.get(&path).await.expect(200).etag();
        lead.patch(&path, &etag, &json!({"acquired_on": on})).await
    };
    acquired(Value::Null).await.expect(200);
    let found = renewal(&lead, &unit, "").await;
    assert_eq!(
        found["renew"]["lacking"],
        json!(["the price of a new one", "its age"])
    );
    assert_eq!(found["renew"]["verdict"], Value::Null);
    assert_eq!(
        acquired(json!("2999-01-01")).await.problem(422),
        ["acquired_on"]
    );
    acquired(json!("2019-09-01")).await.expect(200);
    price(
        &administrator,
        &unit,
        json!({"amount_minor": 90_000, "currency": "JPY"}),
    )
    .await;
    let found = renewal(&lead, &unit, "").await;
    assert_eq!(found["renew"]["lacking"], json!([]));
    // A yen has no smaller unit; parts in dollars are not counted with it.
    assert_eq!(found["inputs"]["price"], 90_000.0);
    assert_eq!(found["inputs"]["age"], f64::from(winter() - 2019));
    assert!(found["counted"].to_string().contains("Left out: 3 parts"));
}

#[tokio::test]
async fn a_district_reads_first_where_a_new_one_saves_most() {
    let server = TestServer::start().await;
    let (unit, order) = machine(&server).await;
    let manager = server.district_manager().await;
    let technician = server.technician().await;
    let far = Fleet::of(&server, "Far").await.unit;
    let table = manager
        .get(&format!("/v1/renew?{TERMS}"))
        .await
        .expect(200)
        .json();
    let units = table["units"].as_array().expect("units");
    let place = |id: &str| units.iter().position(|line| line["unit_id"] == id);
    assert!(place(&unit) < place(&far), "{table}");
    let own = renewal(&technician, &unit, TERMS).await;
    let line = &units[place(&unit).expect("it")];
    for field in [
        "verdict",
        "text",
        "keep",
        "new",
        "renewing_saves",
        "turns_at_winter",
        "lacking",
    ] {
        assert_eq!(line[field], own["renew"][field], "{field}");
    }
    assert_eq!(
        (&line["in_season"], &line["currency"]),
        (&own["in_season"], &json!("USD"))
    );
    let last = units.last().expect("units");
    assert_eq!(
        (&last["verdict"], &last["lacking"][0]),
        (&Value::Null, &json!("the price of a new one"))
    );
    let counted =
        ["to_renew", "to_repair", "not_said"].map(|count| table[count].as_u64().expect("a count"));
    assert_eq!(counted.iter().sum::<u64>(), units.len() as u64);
    let hire = table["assumptions"].as_array().expect("assumptions").iter();
    assert!(
        hire.clone()
            .any(|one| one["what"] == "a stand-in's hire" && one["from"] == "given")
    );

    // A depot alone, one that is not granted, and what is no share.
    let home = server.world.ours.home.id;
    let only = manager
        .get(&format!("/v1/renew?depot_ids={home}"))
        .await
        .expect(200)
        .json();
    let all_there = |line: &Value| line["depot_id"] == home.to_string();
    assert!(
        only["units"]
            .as_array()
            .expect("units")
            .iter()
            .all(all_there)
    );
    let hidden = server.world.ours.far.id;
    let refused = technician
        .get(&format!("/v1/renew?depot_ids={hidden}"))
        .await;
    assert_eq!(refused.problem(400), ["depot_ids"]);
    let seen = technician.get("/v1/renew").await.expect(200).json();
    assert!(
        seen["units"]
            .as_array()
            .expect("units")
            .iter()
            .all(all_there)
    );
    for (query, field) in [
        ("discount_rate=2", "discount_rate"),
        ("years=0", "years"),
        ("hire_per_day=-1", "hire_per_day"),
        ("resale_kept=much", "resale_kept"),
    ] {
        assert_eq!(
            manager
                .get(&format!("/v1/renew?{query}"))
                .await
                .problem(400),
            [field]
        );
        let path = format!("/v1/units/{unit}/renew?{query}");
        assert_eq!(manager.get(&path).await.problem(400), [field]);
    }

    // Down on the first day of the season it stands in: that day is lost, and only that.
    let starts = own["in_season"]["season"]["starts"]
        .as_str()
        .expect("a day");
    let down = json!({"downtime": [
        order["downtime"][0],
        {"from": format!("{starts}T08:00:00Z"), "to": format!("{starts}T09:00:00Z"), "reason": "waits for a person"},
    ]});
    let id = order["id"].as_str().expect("an id");
    changed(&technician, id, &down).await.expect(200);
    let season = renewal(&technician, &unit, "").await["in_season"].clone();
    let days = season["days"].as_f64().expect("days");
    assert_eq!(season["days_out"], 1);
    let share = season["availability"].as_f64().expect("a share");
    assert!((share - (days - 1.0) / days).abs() < 1e-12, "{share}");

    // What is retired is kept no longer.
    let path = format!("/v1/units/{far}");
    let etag = manager.get(&path).await.expect(200).etag();
    let retired = json!({"retired_at": jiff::Timestamp::now()});
    manager.patch(&path, &etag, &retired).await.expect(200);
    manager.get(&format!("{path}/renew")).await.problem(404);
}
