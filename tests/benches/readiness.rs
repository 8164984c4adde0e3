//! How much a GET of a depot's readiness costs over what no such GET can do without: the connection, the door, and
//! Postgres' own answer.
//!
//! `cargo bench -p rimeyard-tests --bench readiness`. A real server and a real client on one kept-alive connection, a
//! depot of 20 machines. Three addresses are asked in turn, so that all meet the same noise:
//!
//! - `bare`: signed in and within a transaction, one statement that answers `1`; an empty body.
//! - `empty`: signed in, the very statements that readiness needs, pipelined alike; an empty body.
//! - `readiness`: GET /v1/readiness/depots/{depot_id}.
//!
//! The aim: `readiness` at most 1.5 times `empty`, in the median and at the 99th percentile.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::thread;
use std::time::{Duration, Instant};

use actix_web::http::header;
use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse, HttpServer, get};
use diesel::sql_types::Integer;
use diesel_async::RunQueryDsl;
use rimeyard_api::extract::Path;
use rimeyard_api::settings::Settings;
use rimeyard_api::token::Kind;
use rimeyard_api::{State, app};
use rimeyard_harness::TestServer;
use rimeyard_harness::machines::{Machines, days_ago, sound_inspection};
use rimeyard_store::{Tenant, prepared, state};
use serde_json::json;
use uuid::Uuid;

const MACHINES: usize = 20;
/// Inspections of each machine, a month apart.
const INSPECTIONS: i64 = 4;
const WARM_UP: usize = 500;
const ROUNDS: usize = 4_000;

/// As the guard does for every documented operation.
async fn tenant(request: &HttpRequest) -> Tenant {
    let state = request
        .app_data::<Data<State>>()
        .expect("the app has its state");
    let token = request
        .headers()
        .get(header::AUTHORIZATION)
        .and_then(|value| value.to_str().ok());
    let token = token
        .and_then(|value| value.strip_prefix("Bearer "))
        .expect("a token");
    let admitted = state.authenticate(Kind::Access, token).await;
    admitted.expect("it is good").tenant
}

#[get("/bench/bare")]
async fn bare(request: HttpRequest, shared: Data<State>) -> HttpResponse {
    let tenant = tenant(&request).await;
    let answered = shared.database.read(&tenant, async |tx| {
        let one = prepared(diesel::sql_query("select $1").bind::<Integer, _>(1));
        Ok(one.execute(&mut tx.connection()).await?)
    });
    answered.await.expect("answered");
    HttpResponse::Ok().finish()
}

#[get("/bench/empty/{depot_id}")]
async fn empty(request: HttpRequest, shared: Data<State>, depot_id: Path<Uuid>) -> HttpResponse {
    let tenant = tenant(&request).await;
    let found = shared
        .database
        .read(&tenant, async |tx| state::depot(tx, *depot_id).await)
        .await;
    assert_eq!(found.expect("found").units.len(), MACHINES);
    HttpResponse::Ok().finish()
}

/// One kept-alive connection, without anything between it and the time it takes.
struct Client {
    stream: BufReader<TcpStream>,
    body: Vec<u8>,
}

impl Client {
    fn connect(address: SocketAddr) -> Self {
        let stream = TcpStream::connect(address).expect("connected");
        stream.set_nodelay(true).expect("set");
        Self {
            stream: BufReader::with_capacity(256 * 1024, stream),
            body: Vec::new(),
        }
    }

    /// How long a request takes until the last byte of its answer.
    fn time(&mut self, request: &[u8]) -> Duration {
        let started = Instant::now();
        self.stream.get_mut().write_all(request).expect("sent");
        let mut line = String::new();
        let mut length = 0;
        self.stream.read_line(&mut line).expect("a status");
        assert!(line.starts_with("HTTP/1.1 200"), "{line}");
        loop {
            line.clear();
            self.stream.read_line(&mut line).expect("a header");
            if line == "\r\n" {
                break;
            }
            if let Some(value) = line.to_ascii_lowercase().strip_prefix("content-length:") {
                length = value.trim().parse().expect("a number");
            }
        }
        self.body.resize(length, 0);
        self.stream.read_exact(&mut self.body).expect("a body");
        started.elapsed()
    }
}

#[expect(
    clippy::disallowed_methods,
    reason = "the empty addresses are measured against and documented nowhere"
)]
/// Serves the app with the two empty addresses beside it, from a thread of its own.
fn serve(shared: Data<State>) -> SocketAddr {
    let (told, address) = std::sync::mpsc::channel();
    thread::spawn(move || {
        actix_web::rt::System::new().block_on(async move {
            let server = HttpServer::new(move || app(shared.clone()).service(bare).service(empty));
            let server = server.workers(1).bind("127.0.0.1:0").expect("a free port");
            told.send(server.addrs()[0]).expect("somebody listens");
            server.run().await.expect("it serves");
        });
    });
    address.recv().expect("it starts")
}

/// A depot whose machines have a history and the everyday faults.
async fn fill(server: &TestServer) {
    let administrator = server.administrator().await;
    let machines = Machines::make(&administrator, server.world.ours.home.id, MACHINES).await;
    for (number, unit) in machines.units.iter().enumerate() {
        for month in (0..INSPECTIONS).rev() {
            let mut inspection = sound_inspection(unit, 2 + 30 * month);
            inspection["run_hours"] = json!(100.0 + 9.0 * (INSPECTIONS - month) as f64);
            administrator
                .post("/v1/inspections", &inspection)
                .await
                .expect(201);
        }
        let reading = json!({"unit_id": unit, "read_at": days_ago(1), "started": number % 7 != 3});
        administrator
            .post("/v1/meter-readings", &reading)
            .await
            .expect(201);
        if number % 9 == 4 {
            let tag = json!({"reason": "waits for its belt cover"});
            administrator
                .post(&format!("/v1/units/{unit}/holds"), &tag)
                .await
                .expect(201);
        }
    }
    let done =
        rimeyard_worker::drain(&server.database, &rimeyard_worker::Settings::default()).await;
    assert_eq!(done.expect("drained").failures, []);
}

fn percentile(sorted: &[Duration], share: f64) -> Duration {
    sorted[((sorted.len() - 1) as f64 * share).round() as usize]
}

#[actix_web::main]
async fn main() {
    let server = TestServer::start().await;
    fill(&server).await;
    let token = server.technician().await.token().to_owned();
    let mut settings = Settings::defaults();
    settings.scratch_database = true;
    let shared = State::new(server.database.clone(), &settings)
        .await
        .expect("a state");
    let depot = server.world.ours.home.id;
    let address = serve(Data::new(shared));
    let request = |path: String| {
        format!("GET {path} HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {token}\r\n\r\n")
            .into_bytes()
    };
    let asked = [
        ("bare", request("/bench/bare".to_owned())),
        ("empty", request(format!("/bench/empty/{depot}"))),
        (
            "readiness",
            request(format!("/v1/readiness/depots/{depot}")),
        ),
    ];
    let measured = tokio::task::spawn_blocking(move || {
        let mut client = Client::connect(address);
        let mut times = [const { Vec::new() }; 3];
        for round in 0..WARM_UP + ROUNDS {
            for ((_, request), times) in asked.iter().zip(&mut times) {
                let time = client.time(request);
                if round >= WARM_UP {
                    times.push(time);
                }
            }
        }
        println!(
            "{MACHINES} machines, a body of {} bytes, {ROUNDS} requests each on one connection",
            client.body.len()
        );
        let mut quantiles = Vec::new();
        for ((name, _), times) in asked.iter().zip(&mut times) {
            times.sort_unstable();
            let (p50, p99) = (percentile(times, 0.5), percentile(times, 0.99));
            println!(
                "{name:>10}: p50 {:7.1} us, p99 {:7.1} us",
                p50.as_secs_f64() * 1e6,
                p99.as_secs_f64() * 1e6
            );
            quantiles.push((p50.as_secs_f64(), p99.as_secs_f64()));
        }
        let (over_bare, over_empty) = (quantiles[0], quantiles[1]);
        let readiness = quantiles[2];
        println!(
            "readiness / empty: p50 {:.2}, p99 {:.2} (aim: 1.50)",
            readiness.0 / over_empty.0,
            readiness.1 / over_empty.1
        );
        println!(
            "readiness / bare:  p50 {:.2}, p99 {:.2}",
            readiness.0 / over_bare.0,
            readiness.1 / over_bare.1
        );
    });
    measured.await.expect("measured");
}
