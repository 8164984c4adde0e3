//! What this server does, counted for whoever watches it: OpenMetrics 1.0 text on a listener of its own.
//!
//! Labels name operations, methods, classes of status and the roles of connections: all known beforehand, few, and never
//! anything of an organisation.

use std::sync::atomic::AtomicU64;
use std::time::Duration;

use actix_web::http::header;
use actix_web::web::Data;
use actix_web::{HttpResponse, get};
use prometheus_client::encoding::{EncodeLabelSet, text};
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::Histogram;
use prometheus_client::metrics::info::Info;
use prometheus_client::registry::{Registry, Unit};

use crate::problem::Problem;
use crate::state::State;

/// The media type of OpenMetrics 1.0.
pub const OPENMETRICS: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// Seconds: from a cached page to the longest that a body may take.
const BUCKETS_S: [f64; 12] = [
    0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 5.0, 30.0,
];

/// An operation of the document, or `none`.
#[derive(Debug, Clone, Hash, PartialEq, Eq, EncodeLabelSet)]
struct Operation {
    operation: String,
    method: &'static str,
}

#[derive(Debug, Clone, Hash, PartialEq, Eq, EncodeLabelSet)]
struct Answered {
    operation: String,
    method: &'static str,
    status: &'static str,
}

#[derive(Debug, Clone, Hash, PartialEq, Eq, EncodeLabelSet)]
struct Why {
    why: &'static str,
}

#[derive(Debug, Clone, Hash, PartialEq, Eq, EncodeLabelSet)]
struct Role {
    role: &'static str,
}

/// Everything that is counted.
pub struct Metrics {
    registry: Registry,
    requests: Family<Answered, Counter>,
    durations: Family<Operation, Histogram, fn() -> Histogram>,
    sign_ins_refused: Family<Why, Counter>,
    connections_in_use: Family<Role, Gauge>,
    connections_max: Family<Role, Gauge>,
    waiting: Family<Role, Gauge>,
    ready: Gauge,
    due: Gauge<f64, AtomicU64>,
    oldest_due: Gauge<f64, AtomicU64>,
    parked: Gauge<f64, AtomicU64>,
}

impl Default for Metrics {
    fn default() -> Self {
        let mut registry = Registry::with_prefix("rimeyard");
        let version = Info::new(vec![("version", env!("CARGO_PKG_VERSION"))]);
        registry.register("build", "The program", version);
        let requests = Family::default();
        registry.register("requests", "Requests answered", requests.clone());
        let durations: Family<Operation, Histogram, fn() -> Histogram> =
            Family::new_with_constructor(|| Histogram::new(BUCKETS_S));
        registry.register_with_unit(
            "request_duration",
            "Time from the head of a request to the head of its answer",
            Unit::Seconds,
            durations.clone(),
        );
        let sign_ins_refused = Family::default();
        registry.register(
            "sign_ins_refused",
            "Sign-ins refused: wrong, or too many",
            sign_ins_refused.clone(),
        );
        let connections_in_use = Family::default();
        registry.register(
            "database_connections_in_use",
            "Connections to the database that are in use",
            connections_in_use.clone(),
        );
        let connections_max = Family::default();
        registry.register(
            "database_connections_max",
            "Connections to the database that there may be",
            connections_max.clone(),
        );
        let waiting = Family::default();
        registry.register(
            "database_connections_awaited",
            "Requests that wait for a connection",
            waiting.clone(),
        );
        let ready = Gauge::default();
        registry.register("ready", "Whether the server can do its work", ready.clone());
        let due = Gauge::default();
        registry.register("depots_due", "Depots to be computed anew", due.clone());
        let oldest_due = Gauge::default();
        registry.register_with_unit(
            "depots_due_oldest_age",
            "For how long the first of them has been waiting",
            Unit::Seconds,
            oldest_due.clone(),
        );
        let parked = Gauge::default();
        registry.register(
            "depots_parked",
            "Depots that cannot be computed",
            parked.clone(),
        );
        Self {
            registry,
            requests,
            durations,
            sign_ins_refused,
            connections_in_use,
            connections_max,
            waiting,
            ready,
            due,
            oldest_due,
            parked,
        }
    }
}

impl Metrics {
    /// A request was answered. `operation` is its id in the document, or `none`.
    pub fn answered(&self, operation: String, method: &str, status: u16, took: Duration) {
        // Anyone may invent methods.
        let method = ["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"]
            .into_iter()
            .find(|known| *known == method)
            .unwrap_or("other");
        let status = match status {
            ..200 => "1xx",
            200..300 => "2xx",
            300..400 => "3xx",
            400..500 => "4xx",
            500.. => "5xx",
        };
        self.durations
            .get_or_create(&Operation {
                operation: operation.clone(),
                method,
            })
            .observe(took.as_secs_f64());
        self.requests
            .get_or_create(&Answered {
                operation,
                method,
                status,
            })
            .inc();
    }

    /// A sign-in was refused; `too_many`: for having been tried too often, whatever the password.
    pub fn sign_in_refused(&self, too_many: bool) {
        let why = if too_many { "too many" } else { "wrong" };
        self.sign_ins_refused.get_or_create(&Why { why }).inc();
    }

    /// Everything as text, looked at now. Of a database out of reach the figures are NaN and not those of before.
    async fn text(&self, state: &State) -> Result<String, Problem> {
        let figure = |number: i64| number as f64;
        let (due, oldest, parked) = match state.check_ready().await {
            Ok(backlog) => {
                self.ready.set(1);
                let oldest = backlog.oldest_age_s.unwrap_or(0.0);
                (figure(backlog.due), oldest, figure(backlog.parked))
            }
            Err(error) => {
                tracing::warn!(error.cause = %error, "metrics.not_ready");
                self.ready.set(0);
                (f64::NAN, f64::NAN, f64::NAN)
            }
        };
        self.due.set(due);
        self.oldest_due.set(oldest);
        self.parked.set(parked);
        for pool in state.database.pools() {
            let role = Role { role: pool.role };
            let count = |number: usize| i64::try_from(number).unwrap_or(i64::MAX);
            self.connections_in_use
                .get_or_create(&role)
                .set(count(pool.in_use));
            self.connections_max
                .get_or_create(&role)
                .set(count(pool.max));
            self.waiting.get_or_create(&role).set(count(pool.waiting));
        }
        let mut out = String::new();
        text::encode(&mut out, &self.registry).map_err(Problem::internal)?;
        Ok(out)
    }
}

/// GET /metrics, on its own listener.
#[get("/metrics")]
pub async fn metrics(state: Data<State>) -> Result<HttpResponse, Problem> {
    let text = state.metrics.text(&state).await?;
    Ok(HttpResponse::Ok()
        .insert_header((header::CONTENT_TYPE, OPENMETRICS))
        .body(text))
}
