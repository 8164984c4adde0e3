//! `rimeyard` as people start it, built with the tests so that they can start it too.

use std::process::ExitCode;

fn main() -> ExitCode {
    rimeyard_api::cli::run()
}
