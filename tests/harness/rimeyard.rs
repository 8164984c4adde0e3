//! `rimeyard` as people start it, built with the tests so that they can start it too.

use std::process::ExitCode;

#[tokio::main]
async fn main() -> ExitCode {
    rimeyard_api::cli::run().await
}
