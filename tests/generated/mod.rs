//! Requests that are generated from the document, and held against it: no answer is a 5xx, none is undocumented, none
//! differs from what its schema says. Schemathesis does it; feature `generated`: needs python3 with venv, and pip's
//! registry.
//!
//! RIMEYARD_EXAMPLES: how many for each operation, 100 if absent. RIMEYARD_SECONDS: how long at most, 300 if absent.
//! RIMEYARD_OPERATION: only this operationId.

use std::path::Path;
use std::process::Command;

use rimeyard_harness::machines::Machines;
use rimeyard_harness::{Actor, PASSWORD, email, fresh_database};
use rimeyard_store::Role;

use crate::ops::Serve;

fn well(command: &mut Command) {
    let status = command.status();
    let status = status.unwrap_or_else(|error| panic!("{command:?}: {error}"));
    assert!(status.success(), "{command:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_generated_from_the_document_is_answered_as_it_says() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("generated");
    let environment = Path::new(env!("CARGO_TARGET_TMPDIR")).join("generated-python");
    well(
        Command::new("python3")
            .args(["-m", "venv"])
            .arg(&environment),
    );
    well(
        Command::new(environment.join("bin/python"))
            .args(["-m", "pip", "install", "--quiet", "--requirement"])
            .arg(folder.join("requirements.txt")),
    );
    let own = fresh_database().await;
    // Signing in is an operation as others are.
    let limits = [
        ("RIMEYARD_SIGN_INS_PER_ADDRESS", "1000000"),
        ("RUST_LOG", "warn,rimeyard_api=info"),
    ];
    let serve = Serve::start(&own.login_url, &limits);
    let who = email("ours", Role::Administrator);
    let administrator = Actor::new(serve.address, None).signed_in(&who).await;
    Machines::make_sound(&administrator, own.world.ours.home.id, 2, 3).await;

    let told = |name: &str, unless: &str| std::env::var(name).unwrap_or_else(|_| unless.to_owned());
    let examples = told("RIMEYARD_EXAMPLES", "100");
    let seconds = told("RIMEYARD_SECONDS", "300");
    let mut schemathesis = Command::new(environment.join("bin/schemathesis"));
    schemathesis
        .arg("--config-file")
        .arg(folder.join("schemathesis.toml"))
        .args(["run", &serve.at("/openapi.json")])
        .args(["--max-examples", &examples, "--max-time", &seconds])
        .env("SCHEMATHESIS_HOOKS", "hooks")
        .env("PYTHONPATH", &folder)
        .env("PYTHONDONTWRITEBYTECODE", "1")
        .env("RIMEYARD", serve.at(""))
        .env("RIMEYARD_EMAIL", &who)
        .env("RIMEYARD_PASSWORD", PASSWORD)
        // Where Hypothesis keeps what it has found.
        .current_dir(&environment);
    if let Ok(operation) = std::env::var("RIMEYARD_OPERATION") {
        schemathesis.args(["--include-operation-id", &operation]);
    }
    let status = schemathesis.status().expect("it runs");
    serve.terminate();
    let (_, lines, _) = serve.ended();
    // Without its words, of a 5xx only the id is known.
    for line in &lines {
        if line.contains("request.failed") || line.contains("panicked") {
            println!("{line}");
        }
    }
    let failed = lines
        .iter()
        .filter(|line| line.contains("\"response.status\":5"));
    assert_eq!(failed.count(), 0, "a generated request was answered 5xx");
    assert!(status.success(), "see what it has found above");
}
