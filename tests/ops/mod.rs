//! What an operator relies on: a real `rimeyard serve` as a process of its own, its log, its metrics, its end, its limits,
//! and backups.

mod backup;
mod limits;
mod log;
mod metrics;
#[cfg(feature = "proxy")]
mod proxy;
mod ready;
mod shutdown;

use std::io::{BufRead, BufReader};
use std::net::SocketAddr;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::{Arc, Mutex, PoisonError, mpsc};
use std::thread::JoinHandle;

use serde_json::Value;

/// A running `rimeyard serve`. Killed when dropped, if it still runs.
pub struct Serve {
    child: Child,
    /// Where it listens.
    pub address: SocketAddr,
    /// Where it tells its metrics.
    pub metrics: SocketAddr,
    lines: Arc<Mutex<Vec<String>>>,
    reader: Option<JoinHandle<()>>,
}

impl Serve {
    /// Starts it on a database and waits until it says that it is ready.
    pub fn start(login_url: &str, more: &[(&str, &str)]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_rimeyard-under-test"))
            .arg("serve")
            .env("DATABASE_URL", login_url)
            .env("RIMEYARD_LISTEN", "127.0.0.1:0")
            .env("RIMEYARD_METRICS_LISTEN", "127.0.0.1:0")
            .env("RIMEYARD_SCRATCH_DATABASE", "true")
            .envs(more.iter().copied())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it starts");
        let log = BufReader::new(child.stderr.take().expect("its log"));
        let lines = Arc::new(Mutex::new(Vec::new()));
        let (told, ready) = mpsc::channel();
        let kept = lines.clone();
        let reader = std::thread::spawn(move || {
            for line in log.lines().map_while(Result::ok) {
                let said: Value = serde_json::from_str(&line).unwrap_or_default();
                if let Some(address) = said["server.address"].as_str() {
                    // Nobody listens any more once both are known.
                    let _ = told.send((said["message"].to_string(), address.to_owned()));
                }
                kept.lock()
                    .unwrap_or_else(PoisonError::into_inner)
                    .push(line);
            }
        });
        let address_of = |message: &str| -> SocketAddr {
            let (said, address) = ready.recv().unwrap_or_else(|_| {
                panic!("it ends: {:?}", lines.lock().map(|lines| lines.clone()))
            });
            assert_eq!(said, format!("\"{message}\""));
            address.parse().expect("an address")
        };
        let metrics = address_of("metrics.ready");
        let address = address_of("server.ready");
        Serve {
            child,
            address,
            metrics,
            lines,
            reader: Some(reader),
        }
    }

    /// The address of a path.
    pub fn at(&self, path: &str) -> String {
        format!("http://{}{path}", self.address)
    }

    /// Asks it to end, as the system does.
    pub fn terminate(&self) {
        terminate(&self.child);
    }

    /// Waits until it has ended; with how, everything that it logged, and everything it printed.
    pub fn ended(mut self) -> (ExitStatus, Vec<String>, String) {
        let mut printed = String::new();
        if let Some(mut out) = self.child.stdout.take() {
            std::io::Read::read_to_string(&mut out, &mut printed).expect("UTF-8");
        }
        let status = self.child.wait().expect("it ends");
        if let Some(reader) = self.reader.take() {
            reader.join().expect("its log was read");
        }
        let lines = self.lines.lock().expect("not poisoned").clone();
        (status, lines, printed)
    }
}

impl Drop for Serve {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn terminate(child: &Child) {
    let told = Command::new("kill")
        .args(["-TERM", &child.id().to_string()])
        .status();
    assert!(told.expect("kill runs").success());
}
