//! `rimeyard local`, as a process of its own.

mod backups;
mod lifecycle;
#[cfg(feature = "tour")]
mod tour;

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};

use serde_json::Value;

/// A data folder of one test; gone with it. Under the system's folder for such, where Postgres' user can reach it.
pub struct Folder(PathBuf);

impl Folder {
    pub fn new() -> Self {
        Folder(std::env::temp_dir().join(format!("rimeyard-local-{}", uuid::Uuid::now_v7())))
    }

    pub fn path(&self) -> &Path {
        &self.0
    }

    /// The accounts that were written for people to sign in with.
    pub fn accounts(&self) -> Vec<Value> {
        let text = std::fs::read_to_string(self.0.join("demo-accounts.json")).expect("accounts");
        serde_json::from_str(&text).expect("a JSON list")
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// A running `rimeyard local`. Killed when dropped, if it still runs.
pub struct Local {
    child: Child,
    /// Where it said that it is ready.
    pub base: String,
}

fn command(folder: &Folder, more: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rimeyard-under-test"));
    command
        .args(["local", "--port", "0", "--data"])
        .arg(folder.path())
        .args(more);
    command
}

impl Local {
    /// Starts it and waits for its ready line.
    pub fn start(folder: &Folder, more: &[&str]) -> Self {
        let mut child = command(folder, more)
            .stdout(Stdio::piped())
            .spawn()
            .expect("it starts");
        let lines = BufReader::new(child.stdout.take().expect("its output")).lines();
        let base = lines
            .map_while(Result::ok)
            .find_map(|line| line.strip_prefix("ready ").map(str::to_owned))
            .expect("it says that it is ready");
        Local { child, base }
    }

    /// What Ctrl-C sends. Returns whether it ended well.
    pub fn interrupt(mut self) -> bool {
        let told = Command::new("kill")
            .args(["-INT", &self.child.id().to_string()])
            .status();
        assert!(told.expect("kill runs").success());
        self.child.wait().expect("it ends").success()
    }

    /// Ends it without a word, as a crash would.
    pub fn kill(mut self) {
        self.child.kill().expect("it is killed");
        self.child.wait().expect("it ends");
    }
}

impl Drop for Local {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Runs it to its end.
fn run(folder: &Folder, more: &[&str]) -> Output {
    command(folder, more).output().expect("it runs")
}

/// Signs in over HTTP as the person of a role in the accounts file; returns the access token.
pub async fn sign_in(base: &str, folder: &Folder, role: &str) -> String {
    let accounts = folder.accounts();
    let account = accounts
        .iter()
        .find(|account| account["role"] == role)
        .expect("the role's account");
    let answer = rimeyard_harness::client()
        .post(format!("{base}/v1/sign-in"))
        .json(&serde_json::json!({"email": account["email"], "password": account["password"]}))
        .send()
        .await
        .expect("an answer");
    assert_eq!(answer.status(), 200);
    let tokens: Value = answer.json().await.expect("JSON");
    tokens["access_token"].as_str().expect("a token").to_owned()
}
