//! A polite end: what was taken is finished and answered, nothing new is taken, and it ends well.

use std::process::{Command, Stdio};

use reqwest::Method;
use rimeyard_harness::machines::Machines;
use rimeyard_harness::{Actor, Answer, TestServer, email, eventually, fresh_database};
use rimeyard_store::Role;
use tokio::net::TcpStream;
use tokio::sync::mpsc;

use super::{Serve, terminate};

/// A body whose pieces come when they are sent.
fn pieces() -> (mpsc::UnboundedSender<&'static str>, reqwest::Body) {
    let (send, mut receive) = mpsc::unbounded_channel::<&'static str>();
    let stream = futures::stream::poll_fn(move |context| {
        receive
            .poll_recv(context)
            .map(|piece| piece.map(Ok::<_, std::io::Error>))
    });
    (send, reqwest::Body::wrap_stream(stream))
}

#[tokio::test]
async fn requests_under_way_are_answered_and_new_ones_refused() {
    let own = fresh_database().await;
    let serve = Serve::start(&own.login_url, &[]);
    let anyone = Actor::new(serve.address, None);
    let lead = anyone.signed_in(&email("ours", Role::DepotLead)).await;

    // Two that have begun and not ended: a JSON body, and a table.
    let (checklist, body) = pieces();
    let administrator = anyone.signed_in(&email("ours", Role::Administrator)).await;
    let request = administrator
        .request(Method::POST, "/v1/checklists")
        .header("Content-Type", "application/json")
        .body(body);
    checklist
        .send("{\"name\": \"Begun before the end\", ")
        .expect("open");
    let checklist_answer = tokio::spawn(Answer::of(request));
    let (table, body) = pieces();
    let request = lead
        .request(Method::POST, "/v1/imports?what=snowfall")
        .header("Content-Type", "text/csv")
        .body(body);
    table.send("depot,day,snowfall (mm)\n").expect("open");
    let table_answer = tokio::spawn(Answer::of(request));
    // The import has begun: its header was read and kept.
    eventually(10.0, "the table is being taken", async || {
        let imports = lead.get("/v1/imports").await.expect(200).json();
        imports["items"]
            .as_array()
            .is_some_and(|items| items.len() == 1)
    })
    .await;
    // And one that is idle.
    let idle = TcpStream::connect(serve.address).await.expect("connected");

    serve.terminate();
    eventually(10.0, "nobody is let in any more", async || {
        TcpStream::connect(serve.address).await.is_err()
    })
    .await;
    checklist
        .send("\"kind\": \"two-stage thrower\"}")
        .expect("open");
    drop(checklist);
    table.send("Home,2026-01-01,10\n").expect("open");
    drop(table);
    let made = checklist_answer.await.expect("answered").expect(201);
    table_answer.await.expect("answered").expect(202);
    let (status, lines, _) = serve.ended();
    assert_eq!(status.code(), Some(0));
    assert!(lines.iter().any(|line| line.contains("server.stopping")));
    drop(idle);

    // What was answered is there.
    let after = Serve::start(&own.login_url, &[]);
    let administrator = Actor::new(after.address, None)
        .signed_in(&email("ours", Role::Administrator))
        .await;
    let checklist = format!("/v1/checklists/{}", made.id());
    administrator.get(&checklist).await.expect(200);
    drop(after);
    own.drop().await;
}

#[tokio::test]
async fn a_worker_finishes_its_pass() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    Machines::make(&administrator, server.world.ours.home.id, 30).await;
    let worker = || {
        Command::new(env!("CARGO_BIN_EXE_rimeyard-worker-under-test"))
            .arg("run")
            .env("DATABASE_URL", &server.login_url)
            .env("RIMEYARD_SCRATCH_DATABASE", "true")
            .stdin(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("it starts")
    };
    let owner = super::backup::owner(&server.owner_url).await;
    let leased = async || -> i64 {
        let leased = "select count(*) from mark where lease_token is not null";
        owner.query_one(leased, &[]).await.expect("a count").get(0)
    };
    let mut child = worker();
    // In the midst of it.
    eventually(30.0, "it has taken something, or has done it", async || {
        let taken = "select count(*) from mark where lease_token is not null or due_at > now()";
        let taken: i64 = owner.query_one(taken, &[]).await.expect("a count").get(0);
        taken > 0
    })
    .await;
    terminate(&child);
    let status = child.wait().expect("it ends");
    assert_eq!(status.code(), Some(0));
    assert_eq!(leased().await, 0, "nothing is left half done");
}
