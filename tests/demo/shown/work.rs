//! The work behind the machines, as its readers find it: orders, shelves, hours, snow.

use std::collections::BTreeSet;

use jiff::{SignedDuration, Timestamp};
use rimeyard_api::demo::cases;
use rimeyard_harness::Actor;
use rimeyard_rules::order::State;
use rimeyard_rules::sheet::default_kinds;
use serde_json::Value;

use super::by_tag;

/// Everything of a list, page by page.
async fn all(actor: &Actor, path: &str) -> Vec<Value> {
    let (mut items, mut cursor) = (Vec::new(), None::<String>);
    loop {
        let more = cursor.map(|cursor| format!("&cursor={cursor}"));
        let page = actor
            .get(&format!("{path}{}", more.unwrap_or_default()))
            .await
            .expect(200)
            .json();
        items.extend(page["items"].as_array().expect("a list").iter().cloned());
        match page["next_cursor"].as_str() {
            Some(next) => cursor = Some(next.to_owned()),
            None => return items,
        }
    }
}

async fn orders_of(actor: &Actor, tag: &str) -> Vec<Value> {
    let id = by_tag(actor, tag).await["unit_id"].clone();
    let id = id.as_str().expect("an id");
    all(actor, &format!("/v1/work-orders?unit_id={id}&limit=200")).await
}

/// What the ledgers say of shear fasteners is learned, of the models that have them and of no others.
pub async fn breaks(manager: &Actor) {
    let learned = all(manager, "/v1/learned?limit=200").await;
    let mut fleets = 0;
    for breaks in learned.iter().map(|version| &version["breaks"]) {
        if breaks.is_null() {
            continue;
        }
        assert_eq!(breaks["from"], "fleet", "{breaks}");
        let (seen, hours) = (breaks["breaks"].as_f64(), breaks["hours"].as_f64());
        // As often as the sheets say, by a factor of three either way.
        let rate = seen.expect("breaks") / hours.expect("hours");
        assert!((1.0 / 90.0..=1.0 / 10.0).contains(&rate), "{breaks}");
        fleets += 1;
    }
    assert!(fleets >= 4, "{learned:#?}");
}

/// Every kind of machine is there, and every depot has ground to clear, to spread and to blow.
pub async fn kinds(manager: &Actor) {
    let models = all(manager, "/v1/models?limit=200").await;
    let kinds: BTreeSet<&str> = models
        .iter()
        .filter_map(|model| model["kind"].as_str())
        .collect();
    assert_eq!(kinds, default_kinds().collect());
    for model in &models {
        let id = &model["id"];
        let units = all(manager, "/v1/units?limit=200").await;
        assert!(
            units.iter().any(|unit| unit["model_id"] == *id),
            "{model:#}"
        );
    }
    let depots = manager.get("/v1/readiness").await.expect(200).json();
    for depot in depots["depots"].as_array().expect("depots") {
        let works = depot["works"].as_array().expect("kinds of work");
        let works: BTreeSet<&str> = works
            .iter()
            .filter_map(|work| work["work"].as_str())
            .collect();
        assert_eq!(
            works,
            BTreeSet::from(["blow", "clear", "spread"]),
            "{depot:#}"
        );
    }
}

/// A ring that is worn out, none on the shelf here, some elsewhere.
pub async fn short_part(manager: &Actor) {
    let orders = orders_of(manager, cases::PART_SHORT).await;
    let waits = orders
        .iter()
        .find(|order| order["state"] == "waits for parts");
    let waits = waits.expect("an order that waits");
    let short = waits["parts"].as_array().expect("its parts");
    let short = short
        .iter()
        .find(|part| part["name"] == "friction ring")
        .expect("the ring");
    assert_eq!(
        (&short["here"], &short["short"]),
        (&0.into(), &1.into()),
        "{short:#}"
    );
    assert!(
        !short["elsewhere"].as_array().expect("elsewhere").is_empty(),
        "{short:#}"
    );
    assert!(short["lead_time_days"].as_i64() > Some(0));
    let down = waits["downtime"][0].clone();
    assert_eq!(
        (&down["reason"], &down["to"]),
        (&"waits for parts".into(), &Value::Null)
    );
    assert_eq!(
        by_tag(manager, cases::PART_SHORT).await["status"],
        "stopped"
    );
}

/// A meter that stands still: its hours are its operator's estimates, and its renewal is planned.
pub async fn dead_meter(manager: &Actor) {
    let meter = by_tag(manager, cases::DEAD_METER).await;
    let id = meter["unit_id"].as_str().expect("an id");
    let readings = all(
        manager,
        &format!("/v1/meter-readings?unit_id={id}&limit=200"),
    )
    .await;
    let when = |reading: &&Value| reading["read_at"].as_str().map(str::to_owned);
    let newest = readings.iter().max_by_key(when).expect("readings");
    assert_eq!(newest["estimated"], true, "{newest:#}");
    assert!(readings.iter().any(|reading| reading["estimated"] == false));
    let orders = orders_of(manager, cases::DEAD_METER).await;
    let renew =
        |order: &Value| order["state"] == "planned" && order["title"] == "Renew the hour meter";
    assert!(orders.iter().any(renew), "{orders:#?}");
}

/// A safety task overdue, and with it a machine that is not proven; a task put off by somebody, until a day, for a reason.
pub async fn owed(manager: &Actor) {
    let of = async |tag: &str, state: &str| {
        let id = by_tag(manager, tag).await["unit_id"].clone();
        let id = id.as_str().expect("an id");
        all(
            manager,
            &format!("/v1/due?unit_id={id}&state={state}&limit=200"),
        )
        .await
    };
    let mut overdue = of(cases::SAFETY_OVERDUE, "overdue").await;
    overdue.extend(of(cases::SAFETY_OVERDUE, "long%20overdue").await);
    assert!(
        overdue.iter().any(|task| task["safety"] == true),
        "{overdue:#?}"
    );
    assert_eq!(
        by_tag(manager, cases::SAFETY_OVERDUE).await["status"],
        "unproven"
    );
    let put_off = of(cases::DEFERRED, "deferred").await;
    assert_eq!(put_off[0]["task"], cases::DEFERRED_TASK, "{put_off:#?}");
    assert!(put_off[0]["deferred_until"].is_string());
    let text = put_off[0]["text"].as_str().expect("a text");
    assert!(text.contains("by Dagny Thornwether"), "{text}");
}

/// Orders in every state, and years of those that are closed: who, how long, with what, how proved, how long missed.
pub async fn orders(manager: &Actor, now: Timestamp) {
    let orders = all(manager, "/v1/work-orders?limit=200").await;
    for state in State::ALL {
        let in_it = orders.iter().any(|order| order["state"] == state.as_str());
        assert!(in_it, "no order is {}", state.as_str());
    }
    let instant = |order: &Value, field: &str| -> Timestamp {
        order[field]
            .as_str()
            .expect("an instant")
            .parse()
            .expect("an instant")
    };
    let closed: Vec<&Value> = orders
        .iter()
        .filter(|order| order["state"] == "closed")
        .collect();
    assert!(closed.len() > 100, "{} closed orders", closed.len());
    let (mut used, mut down, mut old) = (0, 0, 0);
    for order in &closed {
        let (opened, ended) = (instant(order, "opened_at"), instant(order, "ended_at"));
        assert!(opened < ended && ended <= now, "{order:#}");
        assert!(
            order["proved_by"].is_string() && order["assigned_to"].is_string(),
            "{order:#}"
        );
        let lines = order["lines"].as_array().expect("lines");
        let worked = |line: &Value| {
            line["minutes_worked"].as_f64() > Some(0.0) || line["taken_off"].is_string()
        };
        assert!(lines.iter().all(worked), "{order:#}");
        used += usize::from(!order["used"].as_array().expect("parts used").is_empty());
        down += usize::from(!order["downtime"].as_array().expect("downtime").is_empty());
        old += usize::from(now.duration_since(ended) > SignedDuration::from_hours(24 * 365));
    }
    // Most of what would not start took minutes and no parts.
    let third = closed.len() / 3;
    assert!(
        used > third && old > closed.len() / 5,
        "{used} with parts, {old} of old"
    );
    assert!(down > 20, "{down} with downtime");
    // What was found long ago and is still open, is open for a reason.
    for order in orders.iter().filter(|order| order["ended_at"].is_null()) {
        let opened = instant(order, "opened_at");
        assert!(
            now.duration_since(opened) < SignedDuration::from_hours(24 * 14)
                || order["lines"][0]["finding"]["effect"] == "note",
            "{order:#}"
        );
    }
}

/// Shelves that come to what is said of them, hours, and winters on record.
pub async fn depots(manager: &Actor, now: Timestamp) {
    let parts = all(manager, "/v1/parts?limit=200").await;
    let priced =
        |part: &&Value| part["price"]["currency"] == "USD" && part["lead_time_days"].is_i64();
    assert!(parts.iter().filter(priced).count() > 100);
    assert_eq!(
        parts.iter().filter(|part| part["kit"].is_array()).count(),
        2
    );
    let depots = all(manager, "/v1/depots?limit=200").await;
    for depot in &depots {
        let id = depot["id"].as_str().expect("an id");
        let shelf = all(manager, &format!("/v1/depots/{id}/stock?limit=200")).await;
        assert!(
            shelf.len() > 60,
            "{} parts at {}",
            shelf.len(),
            depot["name"]
        );
        let short = |part: &&Value| !part["flags"].as_array().expect("flags").is_empty();
        assert!(
            shelf.iter().filter(short).count() <= 8,
            "{:#?}",
            shelf.iter().filter(short).collect::<Vec<_>>()
        );
        let labour = manager
            .get(&format!("/v1/depots/{id}/labour"))
            .await
            .expect(200)
            .json();
        let technicians = labour["technicians"].as_array().expect("technicians");
        assert_eq!(technicians.len(), 2, "{labour:#}");
        let first = manager
            .get(&format!("/v1/depots/{id}/snowfall?limit=1"))
            .await
            .expect(200)
            .json();
        let first: jiff::civil::Date = first["items"][0]["on"]
            .as_str()
            .expect("a day")
            .parse()
            .expect("a day");
        let years = i64::from(now.to_zoned(jiff::tz::TimeZone::UTC).year() - first.year());
        assert!((2..=7).contains(&years), "{first}");
    }
}

/// A machine that plainly is to be renewed, and a district of which most are not.
pub async fn past_its_time(manager: &Actor) {
    let id = by_tag(manager, cases::PAST_ITS_TIME).await["unit_id"].clone();
    let path = format!("/v1/units/{}/renew", id.as_str().expect("an id"));
    let old = manager.get(&path).await.expect(200).json();
    let renew = &old["renew"];
    assert_eq!(renew["verdict"], "renew", "{renew:#}");
    assert!(
        renew["chance_keeping_is_cheaper"].as_f64() < Some(0.2),
        "{renew:#}"
    );
    assert!(old["inputs"]["repair_now"].as_f64() > Some(1000.0));
    assert!(
        old["inputs"]["winters"]
            .as_array()
            .is_some_and(|winters| winters.len() >= 2),
        "{old:#}"
    );
    let table = manager.get("/v1/renew").await.expect(200).json();
    let count = |field: &str| table[field].as_u64().expect("a count");
    assert!(
        count("to_renew") >= 1 && count("to_repair") > 10 * count("to_renew"),
        "{table}"
    );
    let units = table["units"].as_array().expect("units");
    let place = units.iter().position(|line| line["unit_id"] == id);
    assert!(place < Some(10), "{place:?}");
    // Papers were lost of some, and only their age is lacking.
    let said = |line: &Value| {
        line["lacking"] == serde_json::json!(["its age"]) || line["verdict"] != Value::Null
    };
    assert!(units.iter().all(said));
    let kept = units
        .iter()
        .filter_map(|line| line["in_season"]["compliance"].as_f64());
    assert!(kept.count() > 100);
}
