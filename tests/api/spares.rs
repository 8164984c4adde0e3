//! /v1/depots/{depot_id}/spares and /v1/season-buy. What is asked holds on any day of the year: belts so low that they may
//! be past their limit already, orders, and kits.

use std::collections::BTreeSet;

use jiff::{ToSpan, Zoned};
use rimeyard_harness::machines::Machines;
use rimeyard_harness::{Actor, TestServer};
use serde_json::{Value, json};
use uuid::Uuid;

use super::fleet::{days_ago, owner, posted};
use super::stock::movement;

/// Throwers at a depot whose auger belts are about at their limit.
async fn low_belts(server: &TestServer, depot: Uuid, count: usize) -> Machines {
    let administrator = server.administrator().await;
    let machines = Machines::make(&administrator, depot, count).await;
    for unit in &machines.units {
        let low = json!({
            "unit_id": unit, "kind": "in_season", "performed_at": days_ago(1), "run_hours": 100.0,
            "readings": [{"check": "auger_belt_ride", "value": -2.9, "unit": "mm"}],
        });
        posted(&administrator, "/v1/inspections", &low).await;
    }
    machines
}

fn belt() -> Value {
    json!({
        "number": "=AB-1", "name": "Auger BELT", "title": "V-belt, auger, 4L by 37 in", "pack_size": 5, "lead_time_days": 14,
        "price": {"amount_minor": 2450, "currency": "USD"}, "shelf_life_days": 2191,
    })
}

fn line(answer: &Value, part: &str) -> Value {
    let lines = answer["lines"].as_array().expect("lines");
    let found = lines.iter().find(|line| line["part_id"] == part);
    found
        .unwrap_or_else(|| panic!("no {part} in {answer}"))
        .clone()
}

fn whole(value: &Value) -> i64 {
    value
        .as_i64()
        .unwrap_or_else(|| panic!("{value} is no whole number"))
}

async fn ask(actor: &Actor, path: &str) -> Value {
    actor.get(path).await.expect(200).json()
}

/// The calculation of the same name, fed with what a line shows under `inputs`, answers its level.
async fn by_hand(actor: &Actor, line: &Value) -> (i64, f64) {
    let answer = actor.post("/v1/calculations/spares", &line["inputs"]).await;
    let answer = answer.expect(200).json();
    let certain = whole(&line["certain"]);
    (
        whole(&answer["stock"]) + certain,
        answer["mean"].as_f64().unwrap() + certain as f64,
    )
}

#[tokio::test]
async fn a_depots_levels_are_those_of_the_calculation_in_whole_packs() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let home = server.world.ours.home.id;
    low_belts(&server, home, 6).await;
    let fasteners = json!({"number": "SF", "name": "shear fastener set", "lead_time_days": 7});
    let fasteners = posted(&technician, "/v1/parts", &fasteners).await;
    let belt = posted(&technician, "/v1/parts", &belt()).await;
    let path = format!("/v1/depots/{home}/spares");
    let all = ask(&technician, &path).await;
    assert_eq!(
        (&all["depot_id"], &all["name"]),
        (&json!(home), &json!("Home"))
    );
    let belts = line(&all, &belt);
    assert_eq!(belts["inputs"], Value::Null, "they are long");
    assert_eq!(
        (&belts["fitted"], &belts["stops"]),
        (&json!(6), &json!(true))
    );
    assert_eq!(belts["service_level"], 0.99);
    for (part, fitted) in [(&belt, true), (&fasteners, false)] {
        let one = ask(&technician, &format!("{path}?part_id={part}")).await;
        assert_eq!(one["lines"].as_array().unwrap().len(), 1);
        let one = line(&one, part);
        let (stock, mean) = by_hand(&technician, &one).await;
        assert_eq!(whole(&one["stock"]), stock);
        assert!(
            (one["mean"].as_f64().unwrap() - mean).abs() <= 0.005 + 1e-9,
            "{mean} {one}"
        );
        assert_eq!(one["inputs"]["breaks"].is_null(), fitted);
    }
    let (stock, order) = (whole(&belts["stock"]), whole(&belts["order"]));
    assert!((3..=6).contains(&stock), "{belts}");
    assert_eq!(order, (stock + 4) / 5 * 5);
    assert_eq!(
        belts["cost"],
        json!({"amount_minor": 2450 * order, "currency": "USD"})
    );
    assert_eq!(
        all["cost"],
        json!([{"amount_minor": 2450 * order, "currency": "USD"}])
    );
    let because = belts["because"].as_str().unwrap();
    assert!(because.starts_with(&format!("Buy {order} (")), "{because}");
    assert!(
        because.contains(&format!("of 6 fitted, {stock} may not last to ")),
        "{because}"
    );
    assert!(
        because.contains("; none on hand; lead time 14 days"),
        "{because}"
    );
    let unlisted = all["not_listed"].as_array().unwrap();
    assert!(unlisted.contains(&json!("friction ring")) && !unlisted.contains(&json!("auger belt")));

    // Three come: so many fewer are ordered, and what is on its way is not ordered again.
    let moves = format!("/v1/depots/{home}/stock/moves");
    posted_move(&technician, &moves, &movement("received", &belt, 3, 0)).await;
    let belts = line(&ask(&technician, &path).await, &belt);
    assert_eq!(
        (whole(&belts["on_hand"]), whole(&belts["stock"])),
        (3, stock)
    );
    let missing = stock - 3;
    assert_eq!(whole(&belts["order"]), (missing + 4) / 5 * 5);
    let on_order = ask(
        &technician,
        &format!("{path}?on_order={belt}:6,{fasteners}:1"),
    )
    .await;
    let belts = line(&on_order, &belt);
    assert_eq!((whole(&belts["on_order"]), whole(&belts["order"])), (6, 0));
    assert!(
        belts["because"]
            .as_str()
            .unwrap()
            .starts_with("Nothing to buy: ")
    );

    // A service level is for all parts; a lower one never asks for more.
    let half = ask(&technician, &format!("{path}?service_level=0.5")).await;
    let half = line(&half, &belt);
    assert_eq!(half["service_level"], 0.5);
    assert!(whole(&half["stock"]) <= stock);

    // To the next review's delivery, each part by its own lead time, in the depot's days.
    let review = ask(
        &technician,
        &format!("{path}?review_days=16&service_level=0.999"),
    )
    .await;
    let until = line(&review, &belt)["until"].as_str().unwrap().to_owned();
    let today = Zoned::now()
        .with_time_zone(jiff::tz::TimeZone::get("America/Denver").unwrap())
        .date();
    // Midnight may have passed since.
    let days = [today.yesterday().unwrap(), today].map(|day| (day + 30.days()).to_string());
    assert!(days.contains(&until), "{until} {days:?}");
}

async fn posted_move(actor: &Actor, path: &str, movement: &Value) {
    actor.post(path, movement).await.expect(201);
}

#[tokio::test]
async fn lots_past_their_shelf_life_do_not_count() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let home = server.world.ours.home.id;
    low_belts(&server, home, 4).await;
    let belt = posted(&technician, "/v1/parts", &belt()).await;
    let moves = format!("/v1/depots/{home}/stock/moves");
    let mut received = movement("received", &belt, 9, 5);
    received["lot"] = json!({"code": "old", "made_on": "2012-03-12"});
    posted_move(&technician, &moves, &received).await;
    received["lot"] = json!({"code": "new", "made_on": Zoned::now().date()});
    received["quantity"] = json!(1);
    posted_move(&technician, &moves, &received).await;
    let path = format!("/v1/depots/{home}/spares");
    let belts = line(&ask(&technician, &path).await, &belt);
    assert_eq!(
        (&belts["on_hand"], &belts["past_shelf_life"]),
        (&json!(1), &json!(9))
    );
    assert!(whole(&belts["order"]) > 0);
    let because = belts["because"].as_str().unwrap();
    assert!(
        because.contains("; 10 on hand, 9 of them past their dates after 12 Mar 2018;"),
        "{because}"
    );
    // What keeps for ever counts, however old.
    let keeps = json!({"shelf_life_days": null});
    let change = technician
        .patch(&format!("/v1/parts/{belt}"), "\"1\"", &keeps)
        .await;
    change.expect(200);
    let belts = line(&ask(&technician, &path).await, &belt);
    assert_eq!(
        (&belts["on_hand"], &belts["order"]),
        (&json!(10), &json!(0))
    );
}

#[tokio::test]
async fn orders_and_season_kits_are_needed_for_certain() {
    let server = TestServer::start().await;
    let (administrator, technician) = (server.administrator().await, server.technician().await);
    let home = server.world.ours.home.id;
    let machines = low_belts(&server, home, 4).await;
    let belt = posted(&technician, "/v1/parts", &belt()).await;
    let tool = json!({"number": "CT", "name": "clean-out tool", "lead_time_days": 7});
    let tool = posted(&technician, "/v1/parts", &tool).await;
    let kit = json!({
        "number": "K-1", "name": "season kit", "lead_time_days": 14,
        "kit": [{"part_id": belt, "quantity": 1}, {"part_id": tool, "quantity": 2}],
    });
    posted(&technician, "/v1/parts", &kit).await;
    let path = format!("/v1/depots/{home}/spares");
    let before = line(&ask(&technician, &path).await, &belt);
    assert_eq!(
        (&before["fitted"], &before["certain"]),
        (&json!(4), &json!(0))
    );

    let order = json!({"unit_id": machines.units[2], "lines": [{"part": "auger_belt"}]});
    posted(&technician, "/v1/work-orders", &order).await;
    let ordered = line(
        &ask(&technician, &format!("{path}?part_id={belt}")).await,
        &belt,
    );
    assert_eq!(
        (&ordered["fitted"], &ordered["certain"]),
        (&json!(3), &json!(1))
    );
    assert_eq!(
        whole(&ordered["stock"]),
        by_hand(&technician, &ordered).await.0
    );
    assert!(
        ordered["because"]
            .as_str()
            .unwrap()
            .contains("open orders want 1")
    );

    // The machines are known since today and never were prepared for a season: each takes a kit.
    let sheets = format!("/v1/models/{}/sheets", machines.model);
    let mut sheet = ask(&administrator, &format!("{sheets}/1")).await["content"].clone();
    let tasks = sheet["tasks"].as_array_mut().expect("tasks");
    let task = tasks
        .iter_mut()
        .find(|task| task["task"] == "pre_season")
        .expect("its task");
    task["parts"] = json!(["Season kit"]);
    administrator.post(&sheets, &sheet).await.expect(201);
    let answer = ask(&technician, &path).await;
    assert_eq!(line(&answer, &tool)["certain"], 8);
    assert_eq!(line(&answer, &tool)["order"], 8);
    assert_eq!(line(&answer, &belt)["certain"], 1 + 4);
    assert!(
        line(&answer, &tool)["because"]
            .as_str()
            .unwrap()
            .contains("8 in kits")
    );
    // A kit that is on its way arrives as its contents.
    let kits = administrator
        .get("/v1/parts?number=K-1")
        .await
        .expect(200)
        .json();
    let kit = kits["items"][0]["id"].as_str().unwrap().to_owned();
    let coming = line(
        &ask(&technician, &format!("{path}?on_order={kit}:2")).await,
        &tool,
    );
    assert_eq!(
        (&coming["on_order"], &coming["order"]),
        (&json!(4), &json!(4))
    );
}

#[tokio::test]
async fn depots_that_are_not_granted_are_never_counted() {
    let server = TestServer::start().await;
    let (manager, technician) = (server.district_manager().await, server.technician().await);
    let (home, far) = (server.world.ours.home.id, server.world.ours.far.id);
    low_belts(&server, home, 3).await;
    low_belts(&server, far, 5).await;
    let belt = posted(&technician, "/v1/parts", &belt()).await;
    for (depot, quantity) in [(home, 1), (far, 2)] {
        let moves = format!("/v1/depots/{depot}/stock/moves");
        posted_move(&manager, &moves, &movement("received", &belt, quantity, 0)).await;
    }
    let asked = |answer: &Value| -> BTreeSet<String> {
        let depots = answer["depots"].as_array().unwrap().iter();
        depots
            .map(|depot| depot["depot_id"].as_str().unwrap().to_owned())
            .collect()
    };
    let own = ask(&technician, "/v1/season-buy").await;
    assert_eq!(asked(&own), BTreeSet::from([home.to_string()]));
    let belts = line(&own, &belt);
    assert_eq!(
        (&belts["fitted"], &belts["on_hand"]),
        (&json!(3), &json!(1))
    );
    assert_eq!(belts["local"].as_array().unwrap().len(), 1);
    assert_eq!(belts["pooling_saves"], 0);
    // To the byte: a depot hidden, one that is not there, and one beside one that is granted.
    let hidden = technician
        .get(&format!("/v1/season-buy?depot_ids={far}"))
        .await;
    let absent = Uuid::now_v7();
    for path in [
        format!("/v1/season-buy?depot_ids={absent}"),
        format!("/v1/season-buy?depot_ids={home},{far}"),
        format!("/v1/season-buy/table?depot_ids={far}"),
    ] {
        let answer = technician.get(&path).await;
        assert_eq!(answer.body, hidden.body, "{path}");
    }
    assert_eq!(hidden.problem(400), ["depot_ids"]);
    for depot in [far, absent] {
        let path = format!("/v1/depots/{depot}/spares");
        technician.get(&path).await.problem(404);
    }

    // The manager sees both: each depot's level is its own, the pooled one is worked out for all together.
    let both = ask(&manager, "/v1/season-buy").await;
    assert_eq!(
        asked(&both),
        BTreeSet::from([home.to_string(), far.to_string()])
    );
    let belts = line(&both, &belt);
    assert_eq!(
        (&belts["fitted"], &belts["on_hand"]),
        (&json!(8), &json!(3))
    );
    let local = belts["local"].as_array().unwrap();
    let of = |depot: Uuid| {
        local
            .iter()
            .find(|local| local["depot_id"] == json!(depot))
            .unwrap()
    };
    assert_eq!(of(home)["on_hand"], 1);
    let alone = line(
        &ask(&manager, &format!("/v1/depots/{far}/spares")).await,
        &belt,
    );
    assert_eq!(of(far)["stock"], alone["stock"]);
    assert_eq!(of(far)["order"], alone["order"]);
    let sum: i64 = local.iter().map(|local| whole(&local["stock"])).sum();
    assert_eq!(whole(&belts["pooling_saves"]), sum - whole(&belts["stock"]));
    assert!(whole(&belts["stock"]) <= sum);
    let pooled = ask(&manager, &format!("/v1/season-buy?part_id={belt}")).await;
    let pooled = line(&pooled, &belt);
    assert_eq!(whole(&pooled["stock"]), by_hand(&manager, &pooled).await.0);
    let one = ask(&manager, &format!("/v1/season-buy?depot_ids={far}")).await;
    assert_eq!(line(&one, &belt)["stock"], alone["stock"]);
    // Another organisation has none of it.
    let foreign = ask(&server.foreign_administrator().await, "/v1/season-buy").await;
    assert_eq!(foreign["lines"], json!([]));
}

#[tokio::test]
async fn the_table_has_a_row_for_all_depots_together_and_one_for_each() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let (home, far) = (server.world.ours.home.id, server.world.ours.far.id);
    low_belts(&server, home, 3).await;
    low_belts(&server, far, 1).await;
    let belt = posted(&manager, "/v1/parts", &belt()).await;
    let json = line(&ask(&manager, "/v1/season-buy").await, &belt);
    let answer = manager.get("/v1/season-buy/table").await.expect(200);
    assert_eq!(
        answer.header("content-type"),
        "text/csv; charset=utf-8; header=present"
    );
    assert_eq!(answer.header("cache-control"), "no-store");
    let rows: Vec<&str> = answer.body.split("\r\n").collect();
    assert_eq!((rows.len(), rows[4]), (5, ""), "{}", answer.body);
    assert!(rows[0].starts_with("number,name,unit,depot,depot id,level,certain,mean,"));
    // A number that a spreadsheet would take for a formula has an apostrophe before it.
    let begins = |depot: &str, id: &str, level: &Value| {
        format!("'=AB-1,Auger BELT,each,{depot},{id},{},0,", level["stock"])
    };
    let together = begins("all together", "", &json);
    assert!(rows[1].starts_with(&together), "{}", rows[1]);
    assert!(
        rows[1].ends_with(&format!(",\"{}\"", json["because"].as_str().unwrap())),
        "{}",
        rows[1]
    );
    for (row, local) in rows[2..4].iter().zip(json["local"].as_array().unwrap()) {
        let id = local["depot_id"].as_str().unwrap();
        let name = if id == home.to_string() {
            "Home"
        } else {
            "Far"
        };
        assert!(row.starts_with(&begins(name, id, local)), "{row}");
        let order = whole(&local["order"]);
        assert!(
            row.contains(&format!(",{order},{},USD,yes,0.99,", 2450 * order)),
            "{row}"
        );
    }
}

#[tokio::test]
async fn what_cannot_be_asked_is_named() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let home = server.world.ours.home.id;
    let id = "0198c0de-0000-7000-8000-000000000000";
    let many = vec![id; 101].join(",");
    let depots = format!("/v1/depots/{home}/spares");
    for (query, field) in [
        ("review_days=-1".to_owned(), "review_days"),
        ("review_days=367".to_owned(), "review_days"),
        ("review_days=1.5".to_owned(), "review_days"),
        ("review_days=soon".to_owned(), "review_days"),
        ("review_days=".to_owned(), "review_days"),
        ("service_level=0.49".to_owned(), "service_level"),
        ("service_level=1".to_owned(), "service_level"),
        ("service_level=NaN".to_owned(), "service_level"),
        ("service_level=inf".to_owned(), "service_level"),
        ("service_level=95%25".to_owned(), "service_level"),
        (
            "service_level=0.9&service_level=0.9".to_owned(),
            "service_level",
        ),
        ("on_order=".to_owned(), "on_order"),
        (format!("on_order={id}"), "on_order"),
        (format!("on_order={id}:"), "on_order"),
        (format!("on_order={id}:0"), "on_order"),
        (format!("on_order={id}:-1"), "on_order"),
        (format!("on_order={id}:1000001"), "on_order"),
        (format!("on_order={id}:1,{id}:1"), "on_order"),
        (format!("on_order={id}:1,"), "on_order"),
        ("on_order=belt:1".to_owned(), "on_order"),
        ("part_id=belt".to_owned(), "part_id"),
        ("colour=red".to_owned(), "colour"),
    ] {
        for path in [&depots, "/v1/season-buy", "/v1/season-buy/table"] {
            let answer = manager.get(&format!("{path}?{query}")).await;
            assert_eq!(answer.problem(400), [field], "{path}?{query}");
        }
    }
    for (query, field) in [
        ("depot_ids=".to_owned(), "depot_ids"),
        ("depot_ids=home".to_owned(), "depot_ids"),
        (format!("depot_ids={home},"), "depot_ids"),
        (format!("depot_ids={home},{home}"), "depot_ids"),
        (format!("depot_ids={}", home.simple()), "depot_ids"),
        (format!("depot_ids={many}"), "depot_ids"),
        (format!("depot_ids={home}&depot_ids={home}"), "depot_ids"),
    ] {
        for path in ["/v1/season-buy", "/v1/season-buy/table"] {
            let answer = manager.get(&format!("{path}?{query}")).await;
            assert_eq!(answer.problem(400), [field], "{path}?{query}");
        }
    }
    // One depot names none.
    let answer = manager.get(&format!("{depots}?depot_ids={home}")).await;
    assert_eq!(answer.problem(400), ["depot_ids"]);
    // A part that is on order and on no list.
    for path in [&depots, "/v1/season-buy"] {
        let answer = manager.get(&format!("{path}?on_order={id}:1")).await;
        assert_eq!(answer.problem(400), ["on_order"]);
    }
    server.anonymous().get("/v1/season-buy").await.problem(401);
}

#[tokio::test]
async fn more_machines_than_are_computed_at_once_are_refused() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let (home, far) = (server.world.ours.home.id, server.world.ours.far.id);
    let machines = Machines::make(&administrator, home, 1).await;
    // Straight into their table: how many there are is under test, not they.
    let copies = "insert into unit (org_id, id, depot_id, model_id, tag, rigging)
         select org_id, gen_random_uuid(), depot_id, model_id, 'copy ' || n, rigging from unit, generate_series(1, 2000) as n
         where id = $1";
    let unit: Uuid = machines.units[0].parse().unwrap();
    owner(&server)
        .await
        .execute(copies, &[&unit])
        .await
        .expect("copied");
    for (path, field) in [
        ("/v1/season-buy".to_owned(), "depot_ids"),
        (
            format!("/v1/season-buy/table?depot_ids={home}"),
            "depot_ids",
        ),
        (format!("/v1/depots/{home}/spares"), "depot_id"),
    ] {
        let answer = administrator.get(&path).await;
        assert!(
            answer.body.contains("2001 machines; at most 2000"),
            "{}",
            answer.body
        );
        assert_eq!(answer.problem(400), [field]);
    }
    // The other depot alone can be asked, and so can just as many.
    ask(&administrator, &format!("/v1/season-buy?depot_ids={far}")).await;
    let retired = "update unit set retired_at = now() where id = $1";
    owner(&server)
        .await
        .execute(retired, &[&unit])
        .await
        .expect("retired");
    let all = ask(&administrator, "/v1/season-buy").await;
    let machines: i64 = all["depots"]
        .as_array()
        .unwrap()
        .iter()
        .map(|depot| whole(&depot["machines"]))
        .sum();
    assert_eq!(machines, 2_000);
}
