//! The server: the application on a port.

use std::io;
use std::net::SocketAddr;

use actix_web::HttpServer;
use actix_web::dev::Server;
use actix_web::web::Data;

use crate::app::app;
use crate::state::State;

/// How long requests under way get to finish when the server is stopped, in seconds. Idle connections of browsers
/// are waited for as well, so it is short.
const SHUTDOWN_S: u64 = 3;

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
