//! The server: the application on a port.

use std::io;
use std::net::SocketAddr;

use actix_web::dev::Server;
use actix_web::middleware::from_fn;
use actix_web::web::Data;
use actix_web::{App, HttpServer};

use crate::app::app;
use crate::edge::edge;
use crate::metrics::metrics;
use crate::state::State;

/// How long requests under way get to finish when the server is stopped, in seconds: longer than a body may take to
/// arrive. What is idle is closed at once. Only a large table on a poor network takes longer; it is sent again.
const SHUTDOWN_S: u64 = 35;

/// Binds to `listen` (port 0: any that is free) and answers with the server, to be awaited, and where it listens. It
/// does not listen to signals: its caller stops it by its handle.
///
/// # Errors
/// Where the address cannot be bound.
pub fn bind(state: Data<State>, listen: &str, threads: usize) -> io::Result<(Server, SocketAddr)> {
    let server = HttpServer::new(move || app(state.clone()))
        .workers(threads)
        .shutdown_timeout(SHUTDOWN_S)
        .disable_signals()
        .bind(listen)?;
    let address = server
        .addrs()
        .first()
        .copied()
        .ok_or(io::ErrorKind::AddrNotAvailable)?;
    Ok((server.run(), address))
}

/// The same for GET /metrics alone, of which nobody is asked who they are: it is for a network of the operator's own.
///
/// # Errors
/// Where the address cannot be bound.
pub fn bind_metrics(state: Data<State>, listen: &str) -> io::Result<(Server, SocketAddr)> {
    #[expect(
        clippy::disallowed_methods,
        reason = "no operation of the API: it stands on another port"
    )]
    let app = move || {
        App::new()
            .app_data(state.clone())
            .service(metrics)
            .wrap(from_fn(edge))
    };
    let server = HttpServer::new(app)
        .workers(1)
        .shutdown_timeout(1)
        .disable_signals()
        .bind(listen)?;
    let address = server
        .addrs()
        .first()
        .copied()
        .ok_or(io::ErrorKind::AddrNotAvailable)?;
    Ok((server.run(), address))
}
