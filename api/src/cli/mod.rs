//! The command line.

mod accounts;
mod backup;
mod create_organisation;
mod local;
mod migrate;
mod rotate_keys;
mod serve;

use std::process::ExitCode;

use clap::{Parser, Subcommand};
use tracing_subscriber::EnvFilter;

use crate::settings::{self, Settings};

/// Keeps snow throwers and other small winter equipment ready, and says how ready each depot is for a storm.
#[derive(Debug, Parser)]
#[command(name = "rimeyard", version)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Run everything on this machine: a private Postgres, the API, the worker.
    Local(local::Options),
    /// Run the API on the database of DATABASE_URL.
    Serve(Settings),
    /// Bring the database's roles and schema up to date.
    Migrate(Settings),
    /// Write everything that the database holds into a new folder, while it is being worked with.
    Backup(backup::Backup),
    /// Read such a folder into an empty database, and see that it holds what the backup held.
    Restore(backup::Restore),
    /// Make a new key for access tokens, and retire those before it.
    RotateKeys(rotate_keys::Options),
    /// Print every setting with its default and meaning.
    Config,
    /// Print the OpenAPI document.
    Openapi,
    /// Create an organisation with its first administrator, and print the password.
    CreateOrganisation(create_organisation::Options),
}

/// What ends a command: words for the person who typed it.
pub type Failure = Box<dyn std::error::Error>;

/// Runs the command that was typed. Not async: the whole server would be compiled once more into each program that
/// awaits it.
pub fn run() -> ExitCode {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build();
    match runtime {
        Ok(runtime) => runtime.block_on(typed()),
        Err(error) => {
            eprintln!("rimeyard: cannot start its threads ({error})");
            ExitCode::FAILURE
        }
    }
}

async fn typed() -> ExitCode {
    let cli = Cli::parse();
    let quiet = matches!(cli.command, Command::Local(_));
    let log = tracing_subscriber::fmt()
        .with_env_filter(logged(if quiet { "warn" } else { "info" }))
        .with_writer(std::io::stderr);
    // A server's log is read by programs, and what a person types is answered to a person.
    if matches!(cli.command, Command::Serve(_)) {
        log.json().flatten_event(true).with_span_list(false).init();
        std::panic::set_hook(Box::new(panicked));
    } else {
        log.init();
    }
    let done = match cli.command {
        Command::Local(options) => local::run(options).await,
        Command::Serve(settings) => serve::run(settings).await,
        Command::Migrate(settings) => migrate::run(settings).await,
        Command::Backup(options) => backup::backup(options).await,
        Command::Restore(options) => backup::restore(options).await,
        Command::RotateKeys(options) => rotate_keys::run(options).await,
        Command::CreateOrganisation(options) => create_organisation::run(options).await,
        Command::Config => {
            print!("{}", settings::explained());
            Ok(())
        }
        Command::Openapi => {
            print!("{}", crate::app::text(&crate::document()));
            Ok(())
        }
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            // What the store says of a database out of reach is meant for whoever reads this.
            match failure.downcast_ref() {
                Some(rimeyard_store::Error::Unavailable(what)) => eprintln!("rimeyard: {what}"),
                _ => eprintln!("rimeyard: {failure}"),
            }
            ExitCode::FAILURE
        }
    }
}

/// What is logged: RUST_LOG, or else `unless_told`. The client of the database is held to `info`: below, it writes each
/// statement with its parameters, and so passwords' hashes and private keys.
fn logged(unless_told: &str) -> EnvFilter {
    EnvFilter::try_from_default_env()
        .unwrap_or_else(|_| EnvFilter::new(unless_told))
        .add_directive("tokio_postgres=info".parse().expect("a directive"))
}

/// A panic is a line of the log as any other. Its words may hold a part of what was sent, so only where it was is told.
fn panicked(panic: &std::panic::PanicHookInfo<'_>) {
    let place = panic.location().map(ToString::to_string);
    tracing::error!(panic.place = place, "panicked");
}

/// Waits for Ctrl-C or a polite end from the system.
async fn told_to_stop() -> std::io::Result<()> {
    let mut terminate = tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate())?;
    tokio::select! {
        interrupted = tokio::signal::ctrl_c() => interrupted,
        _ = terminate.recv() => Ok(()),
    }
}
