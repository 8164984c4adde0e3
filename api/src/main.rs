//! `rimeyard`: the server and what belongs to it.

use std::process::ExitCode;

fn main() -> ExitCode {
    rimeyard_api::cli::run()
}
