//! What the tests stand on: a real server on a port of its own, a database of its own (cloned in a blink from one
//! template), and actors who speak to it over real HTTP.
//!
//! ```no_run
//! # async fn example() {
//! let server = rimeyard_harness::TestServer::start().await;
//! let depots = server.technician().await.get("/v1/depots").await.expect(200).json();
//! assert_eq!(depots["items"][0]["name"], "Home");
//! # }
//! ```

mod actor;
pub mod machines;
mod postgres;
mod server;
mod world;

pub use actor::{Actor, Answer, client};
pub use postgres::{TestDatabase, fresh_database};
pub use server::TestServer;
pub use world::{Depot, Organisation, PASSWORD, World, email};

/// Waits until something holds, and fails when it does not within `seconds`.
///
/// # Panics
/// When it does not.
pub async fn eventually(seconds: f64, what: &str, holds: impl AsyncFn() -> bool) {
    let since = std::time::Instant::now();
    while !holds().await {
        assert!(
            since.elapsed().as_secs_f64() < seconds,
            "not within {seconds} s: {what}"
        );
        tokio::time::sleep(std::time::Duration::from_millis(20)).await;
    }
}
