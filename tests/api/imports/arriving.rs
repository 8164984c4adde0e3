//! Bytes that come: what is no table is refused, whatever it is, and nothing of it stays.

use futures::StreamExt;
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;
use rimeyard_harness::{Actor, TestServer};
use serde_json::Value;

use super::super::fleet::items;
use super::{bring, faults};

const SNOW: &str = "/v1/imports?what=snowfall&dry_run=false";

async fn refused(actor: &Actor, table: impl Into<reqwest::Body>) -> Vec<String> {
    actor.post_table(SNOW, table).await.problem(422)
}

#[tokio::test]
async fn what_is_no_table_is_named_and_nothing_is_left_under_way() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let head = "depot,day,snow (mm)\n";
    let long = "x".repeat(10_001);
    for (table, fields) in [
        (String::new(), vec!["row 1"]),
        ("\u{feff}\n\n".to_owned(), vec!["row 1"]),
        (head.to_owned(), vec!["row 2"]),
        ("depot,day\n".to_owned(), vec!["snowfall"]),
        (
            "depot,day,snow\nHome,2024-12-01,2\n".to_owned(),
            vec!["snow"],
        ),
        ("depot,day,snow (mm),colour,\n".to_owned(), vec!["colour"]),
        (
            "{\"depot\": 1}".to_owned(),
            vec!["{\"depot\": 1}", "depot", "day", "snowfall"],
        ),
        (format!("{head}Home,\"2024-12-01,2\n"), vec!["row 2"]),
        (
            format!("{head}Home,2024-12-01,2\n{long},2024-12-02,2\n"),
            vec!["row 3"],
        ),
        (format!("{head}Home,2024-12-01,2\0\n"), vec!["row 2"]),
        (format!("{head}{}\n", ",".repeat(100)), vec!["row 2"]),
    ] {
        assert_eq!(
            refused(&lead, table.clone()).await,
            fields,
            "{:?}",
            &table[..table.len().min(80)]
        );
    }
    assert_eq!(
        refused(&lead, b"depot,day,snow (mm)\nHome,\xff,2\n".to_vec()).await,
        ["row 2"]
    );
    let all = items(&lead, "/v1/imports?limit=200").await;
    assert!(
        all.iter().all(|import| import["state"] == "abandoned"),
        "{all:?}"
    );

    for (query, field) in [
        ("", "what"),
        ("what=colours", "what"),
        ("what=snowfall&dates=03", "dates"),
        ("what=snowfall&dry_run=perhaps", "dry_run"),
        ("what=snowfall&colour=red", "colour"),
    ] {
        let answer = lead.post_table(&format!("/v1/imports?{query}"), head).await;
        assert_eq!(answer.problem(400), [field], "{query}");
    }
    lead.post(SNOW, &serde_json::json!({})).await.problem(415);
    let left_out = bring(
        &server,
        &lead,
        "what=snowfall&ignore_unknown=true",
        "depot,colour,day,snow mm\nHome,red,2024-12-01,2\n",
    )
    .await;
    assert_eq!(
        (&left_out["state"], &left_out["columns"][1]["column"]),
        (&"checked".into(), &Value::Null)
    );
}

#[tokio::test]
async fn a_table_may_have_64_mebibytes_and_a_million_rows_and_not_more() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    // Declared, and found out on the way; nothing is kept of either.
    let declared = lead
        .request(reqwest::Method::POST, SNOW)
        .header("Content-Type", "text/csv")
        .header("Content-Length", 64 * 1024 * 1024 + 1)
        .body(reqwest::Body::wrap_stream(futures::stream::pending::<
            Result<Vec<u8>, std::io::Error>,
        >()));
    rimeyard_harness::Answer::of(declared).await.problem(413);
    let line = format!("Home,2024-12-01,2,{}\n", "x".repeat(9_000));
    let piece = line.repeat(80).into_bytes();
    let head = futures::stream::iter([b"depot,day,snow (mm),remark\n".to_vec()]);
    let pieces = head.chain(futures::stream::iter((0..100).map(move |_| piece.clone())));
    let body = reqwest::Body::wrap_stream(pieces.map(Ok::<_, std::io::Error>));
    lead.post_table(&format!("{SNOW}&ignore_unknown=true"), body)
        .await
        .problem(413);
    // A million rows, blank ones counted.
    let table = format!(
        "depot,day,snow (mm){}Home,2024-12-01,2\n",
        "\n".repeat(1_000_001)
    );
    assert_eq!(refused(&lead, table).await, ["row 1000002"]);
    let all = items(&lead, "/v1/imports?limit=200").await;
    assert!(
        all.iter().all(|import| import["state"] == "abandoned"),
        "{all:?}"
    );
}

#[tokio::test]
async fn so_many_at_a_time_and_one_that_broke_off_does_not_count_for_ever() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let table = "depot,day,snow (mm)\nHome,2024-12-01,2\n";
    for _ in 0..4 {
        lead.post_table("/v1/imports?what=snowfall", table)
            .await
            .expect(202);
    }
    lead.post_table("/v1/imports?what=snowfall", table)
        .await
        .problem(409);
    super::worked_off(&server).await;
    lead.post_table("/v1/imports?what=snowfall", table)
        .await
        .expect(202);
}

/// Whatever bytes come, in whatever order: never a 5xx, and what is taken is checked to its end.
#[tokio::test]
async fn arbitrary_tables_are_taken_or_refused() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let cell = prop_oneof![
        Just("Home".to_owned()),
        Just("2024-12-01".to_owned()),
        Just("1e999".to_owned()),
        Just("\"".to_owned()),
        Just("'=1".to_owned()),
        Just("9999-99-99".to_owned()),
        Just("-9999-01-01".to_owned()),
        Just("9999-12-31T23:59:60Z".to_owned()),
        Just("5".to_owned()),
        Just("\u{feff}".to_owned()),
        "\\PC{0,12}",
        "[,;\t\r\n\"']{0,4}",
    ];
    let row = proptest::collection::vec(cell, 0..8).prop_map(|cells| cells.join(","));
    let rows = proptest::collection::vec(row, 0..6);
    let mut runner = TestRunner::deterministic();
    let heads = [
        ("snowfall", "depot,day,snow (mm)"),
        ("meter-readings", "tag,at,hours,started,estimated,note"),
        ("units", "tag,depot,model,rigging,away,acquired_on,came_new"),
        (
            "inspections",
            "tag,at,kind,hours,check,value (in),temperature f,repeats",
        ),
    ];
    for round in 0..80 {
        let rows = rows.new_tree(&mut runner).expect("a tree").current();
        let (what, head) = heads[round % heads.len()];
        let mut table = format!("{head}\n{}\n", rows.join("\n")).into_bytes();
        if round % 5 == 4 {
            let place = table.len() / 2;
            table[place] = 0xff;
        }
        let answer = lead
            .post_table(
                &format!("/v1/imports?what={what}&dry_run=false"),
                table.clone(),
            )
            .await;
        let shown = String::from_utf8_lossy(&table).into_owned();
        assert!(
            matches!(answer.status, 202 | 422),
            "{}: {shown:?}",
            answer.body
        );
        if answer.status == 202 {
            super::worked_off(&server).await;
            let import = super::seen(&lead, &answer.id()).await;
            assert!(
                matches!(import["state"].as_str(), Some("refused" | "applied")),
                "{import}"
            );
            assert_eq!(import["state"] == "refused", !faults(&import).is_empty());
        }
    }
}
