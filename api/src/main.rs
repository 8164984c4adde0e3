//! `rimeyard`: the server and what belongs to it.

use std::process::ExitCode;

#[tokio::main]
async fn main() -> ExitCode {
    rimeyard_api::cli::run().await
}
