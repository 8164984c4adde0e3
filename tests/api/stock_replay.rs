//! The levels kept are at any time what a replay of the ledger comes to.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;
use rimeyard_harness::{Actor, TestServer};
use rimeyard_rules::stock::{Move, level};
use serde_json::{Value, json};
use uuid::Uuid;

use super::fleet::{feed_is_sound, items, owner};
use super::stock::part;

/// A movement to be booked, by the places in lists of what it is about.
#[derive(Debug, Clone)]
struct Told {
    depot: usize,
    part: usize,
    lot: usize,
    kind: Move,
    quantity: i64,
    minutes_ago: i64,
    /// It corrects the movement that many before it, if that is one of the same part from this depot.
    corrects: Option<usize>,
}

const LOTS: [Option<&str>; 3] = [None, Some("A"), Some("B")];

fn told() -> impl Strategy<Value = Told> {
    (
        0..2_usize,
        0..2_usize,
        0..LOTS.len(),
        0..5_usize,
        0..20_i64,
        // Minutes are few, so that instants are often the same.
        0..12_i64,
        proptest::option::weighted(0.3, 1..6_usize),
    )
        .prop_map(
            |(depot, part, lot, kind, quantity, minutes_ago, corrects)| Told {
                depot,
                part,
                lot,
                kind: Move::ALL[kind],
                quantity,
                minutes_ago,
                corrects,
            },
        )
}

/// Books a history, and answers with the ids of what went in: bad ones are refused and that is that.
async fn book(actor: &Actor, depots: [Uuid; 2], parts: &[String], history: &[Told]) -> usize {
    let mut booked: Vec<(usize, usize, String)> = Vec::new();
    let from = Timestamp::now();
    for told in history {
        let mut new = json!({
            "move": told.kind,
            "part_id": parts[told.part],
            "quantity": told.quantity,
            "happened_at": from - SignedDuration::from_mins(told.minutes_ago),
            "reason": "told",
        });
        if let Some(code) = LOTS[told.lot] {
            new["lot"] = json!({"code": code});
        }
        if told.kind == Move::Moved {
            new["to_depot_id"] = json!(depots[1 - told.depot]);
        }
        let before = told
            .corrects
            .and_then(|back| booked.len().checked_sub(back))
            .map(|index| booked[index].clone());
        if let Some((depot, part, id)) = before
            && (depot, part) == (told.depot, told.part)
        {
            new["corrects"] = json!(id);
        }
        let path = format!("/v1/depots/{}/stock/moves", depots[told.depot]);
        let answer = actor.post(&path, &new).await;
        assert!(matches!(answer.status, 201 | 409 | 422), "{}", answer.body);
        if answer.status == 201 {
            let id = answer.json()["moves"][0]["id"].as_str().unwrap().to_owned();
            booked.push((told.depot, told.part, id));
        }
    }
    booked.len()
}

type Place = (String, Option<String>);

/// The levels of a depot by replaying its ledger, as GET shows it.
async fn replayed(actor: &Actor, depot: Uuid) -> BTreeMap<Place, i64> {
    let mut movements: BTreeMap<Place, Vec<_>> = BTreeMap::new();
    let mut cursor = String::new();
    loop {
        let path = format!("/v1/depots/{depot}/stock/moves?limit=50{cursor}");
        let page = actor.get(&path).await.expect(200).json();
        for row in page["items"].as_array().unwrap() {
            let text = |field: &str| row[field].as_str().map(str::to_owned);
            if row["corrected_by"] != Value::Null {
                continue;
            }
            let at = |field: &str| text(field).unwrap().parse::<Timestamp>().unwrap();
            let key = (
                at("happened_at").min(at("received_at")),
                text("id").unwrap(),
            );
            let kind: Move = serde_json::from_value(row["move"].clone()).unwrap();
            let arrives = text("to_depot_id") == Some(depot.to_string());
            let effect = kind.effect(row["quantity"].as_i64().unwrap(), arrives);
            let lot = row["lot"]["code"].as_str().map(str::to_owned);
            movements
                .entry((text("part_id").unwrap(), lot))
                .or_default()
                .push((key, effect));
        }
        match page["next_cursor"].as_str() {
            Some(next) => cursor = format!("&cursor={next}"),
            None => break,
        }
    }
    movements
        .into_iter()
        .map(|(place, movements)| (place, level(movements)))
        .filter(|(_, level)| *level != 0)
        .collect()
}

/// The levels of a depot as they are kept.
async fn kept(actor: &Actor, depot: Uuid) -> BTreeMap<Place, i64> {
    let mut levels = BTreeMap::new();
    for part in items(actor, &format!("/v1/depots/{depot}/stock?limit=200")).await {
        for lot in part["lots"].as_array().unwrap() {
            let code = lot["lot"]["code"].as_str().map(str::to_owned);
            let place = (part["part_id"].as_str().unwrap().to_owned(), code);
            levels.insert(place, lot["quantity"].as_i64().unwrap());
        }
    }
    levels
}

/// What the feed has of each level is what the table has.
async fn published(server: &TestServer) {
    let wrong: i64 = owner(server)
        .await
        .query_one(
            "select count(*) from stock_level l left join feed_entry e
               on e.org_id = l.org_id and e.scope_id = l.depot_id and e.kind = 'stock-level' and e.object_id = l.id
             where e.rev is distinct from l.rev or (e.doc::jsonb ->> 'quantity')::bigint is distinct from l.quantity",
            &[],
        )
        .await
        .unwrap()
        .get(0);
    assert_eq!(wrong, 0);
}

#[tokio::test]
async fn levels_are_what_the_ledger_comes_to_whatever_is_booked_in_whatever_order() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let depots = [server.world.ours.home.id, server.world.ours.far.id];
    let mut runner = TestRunner::deterministic();
    let histories = proptest::collection::vec(told(), 20..40);
    for round in 0..6 {
        let parts = [
            part(&manager, &format!("belt {round}")).await,
            part(&manager, &format!("plug {round}")).await,
        ];
        let history = histories.new_tree(&mut runner).unwrap().current();
        assert!(book(&manager, depots, &parts, &history).await > 5);
        for depot in depots {
            assert_eq!(kept(&manager, depot).await, replayed(&manager, depot).await);
        }
    }
    published(&server).await;
    feed_is_sound(&server).await;
}

#[tokio::test]
async fn levels_are_what_the_ledger_comes_to_with_several_who_book_at_once() {
    let server = TestServer::start().await;
    let depots = [server.world.ours.home.id, server.world.ours.far.id];
    let manager = server.district_manager().await;
    let parts = [part(&manager, "belt").await, part(&manager, "plug").await];
    let mut runner = TestRunner::deterministic();
    let histories = proptest::collection::vec(told(), 30);
    let actors = [
        manager.clone(),
        server.administrator().await,
        manager.clone(),
        manager.clone(),
    ];
    let booking = actors.iter().map(|actor| {
        let history = histories.new_tree(&mut runner).unwrap().current();
        let parts = &parts;
        async move { book(actor, depots, parts, &history).await }
    });
    let booked: usize = futures::future::join_all(booking).await.into_iter().sum();
    assert!(booked > 40, "{booked}");
    for depot in depots {
        assert_eq!(kept(&manager, depot).await, replayed(&manager, depot).await);
    }
    published(&server).await;
    feed_is_sound(&server).await;
}
