//! The private Postgres keeps its data over restarts and crashes of its keeper, and has one keeper at a time.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use rimeyard_store::private::{Cluster, Keep};

/// Environment variable that turns [`keeper`] into a program of its own.
const KEEP: &str = "RIMEYARD_TEST_KEEPS";

/// A folder that Postgres' user can reach, gone when dropped.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        Folder(std::env::temp_dir().join(format!("rimeyard-{name}-{}", uuid::Uuid::now_v7())))
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

async fn connect(url: &str) -> tokio_postgres::Client {
    let (client, connection) = tokio_postgres::connect(url, tokio_postgres::NoTls)
        .await
        .expect("connected");
    tokio::spawn(connection);
    client
}

/// Not a test: the process that the tests below kill. It keeps a cluster and prints its address.
#[tokio::test]
#[ignore = "a process that other tests start"]
async fn keeper() {
    let Some(folder) = std::env::var_os(KEEP) else {
        return;
    };
    let cluster = Cluster::start(Path::new(&folder), Keep::Durable)
        .await
        .expect("started");
    println!("\nkept {}", cluster.owner_url("postgres"));
    std::future::pending::<()>().await;
}

/// Starts [`keeper`] on a folder and waits for the address it prints.
fn keep(folder: &Path) -> (Child, String) {
    let mut child = Command::new(std::env::current_exe().expect("this test binary"))
        .args([
            "--ignored",
            "--exact",
            "store::private::keeper",
            "--nocapture",
        ])
        .env(KEEP, folder)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("started");
    let lines = BufReader::new(child.stdout.take().expect("piped")).lines();
    let url = lines
        .map_while(Result::ok)
        .find_map(|line| line.strip_prefix("kept ").map(str::to_owned));
    (child, url.expect("the keeper is ready"))
}

#[tokio::test]
async fn data_outlive_a_clean_stop() {
    let folder = Folder::new("clean");
    let first = Cluster::start(&folder.0, Keep::Durable)
        .await
        .expect("started");
    first.create_database("kept").await.expect("made");
    let client = connect(&first.owner_url("kept")).await;
    client
        .batch_execute("create table reading (value int); insert into reading values (42)")
        .await
        .expect("written");
    drop(client);
    first.stop().await.expect("stopped");
    assert!(
        !folder.0.join("data/postmaster.pid").exists(),
        "a clean stop leaves no running server"
    );

    let second = Cluster::start(&folder.0, Keep::Durable)
        .await
        .expect("started again");
    second.create_database("kept").await.expect("there already");
    let client = connect(&second.owner_url("kept")).await;
    let value: i32 = client
        .query_one("select value from reading", &[])
        .await
        .expect("read")
        .get(0);
    assert_eq!(value, 42);
    second.stop().await.expect("stopped");
}

#[tokio::test]
async fn data_outlive_kill_9_of_the_keeper() {
    let folder = Folder::new("killed");
    let (mut keeper, url) = keep(&folder.0);
    let client = connect(&url).await;
    client
        .batch_execute("create table reading (value int); insert into reading values (42)")
        .await
        .expect("written");
    keeper.kill().expect("killed with SIGKILL");
    keeper.wait().expect("gone");
    // At once: Postgres is still going down, and the new keeper waits for that.
    let cluster = Cluster::start(&folder.0, Keep::Durable)
        .await
        .expect("started again");
    let client = connect(&cluster.owner_url("postgres")).await;
    let value: i32 = client
        .query_one("select value from reading", &[])
        .await
        .expect("read")
        .get(0);
    assert_eq!(value, 42);
    cluster.stop().await.expect("stopped");
}

#[tokio::test]
async fn an_orphan_is_stopped_first() {
    let folder = Folder::new("orphan");
    let (mut keeper, url) = keep(&folder.0);
    let client = connect(&url).await;
    client
        .batch_execute("create table reading (value int); insert into reading values (42)")
        .await
        .expect("written");
    // The keeper and its watchdog die together, as when a whole container is killed piecemeal: nobody stops Postgres.
    let pid_file =
        std::fs::read_to_string(folder.0.join("data/postmaster.pid")).expect("a running server");
    let postgres: u32 = pid_file
        .lines()
        .next()
        .and_then(|line| line.trim().parse().ok())
        .expect("its number");
    let status = std::fs::read_to_string(format!("/proc/{postgres}/status")).expect("its status");
    let watchdog: i32 = status
        .lines()
        .find_map(|line| line.strip_prefix("PPid:"))
        .and_then(|text| text.trim().parse().ok())
        .expect("its parent");
    // The watcher inside the watchdog would stop Postgres too, so the watchdog's whole group is killed but Postgres.
    for process in group_of(watchdog)
        .into_iter()
        .filter(|process| *process != postgres as i32)
    {
        let parent_is_postgres = parent(process) == Some(postgres as i32);
        if !parent_is_postgres {
            kill(process);
        }
    }
    keeper.kill().expect("killed with SIGKILL");
    keeper.wait().expect("gone");
    assert_eq!(
        client
            .query("select 1", &[])
            .await
            .expect("the orphan answers")
            .len(),
        1
    );

    let cluster = Cluster::start(&folder.0, Keep::Durable)
        .await
        .expect("started again");
    assert!(
        client.query("select 1", &[]).await.is_err(),
        "the orphan is gone"
    );
    let client = connect(&cluster.owner_url("postgres")).await;
    let value: i32 = client
        .query_one("select value from reading", &[])
        .await
        .expect("read")
        .get(0);
    assert_eq!(value, 42);
    cluster.stop().await.expect("stopped");
}

fn stat(process: i32) -> Option<Vec<String>> {
    let text = std::fs::read_to_string(format!("/proc/{process}/stat")).ok()?;
    Some(
        text.rsplit_once(") ")?
            .1
            .split(' ')
            .map(str::to_owned)
            .collect(),
    )
}

fn parent(process: i32) -> Option<i32> {
    stat(process)?.get(1)?.parse().ok()
}

/// The processes of a process group, from /proc.
fn group_of(leader: i32) -> Vec<i32> {
    let all = std::fs::read_dir("/proc").expect("/proc").flatten();
    let numbers = all.filter_map(|entry| {
        entry
            .file_name()
            .to_str()
            .and_then(|name| name.parse::<i32>().ok())
    });
    numbers
        .filter(|process| {
            stat(*process).and_then(|fields| fields.get(2)?.parse().ok()) == Some(leader)
        })
        .collect()
}

fn kill(process: i32) {
    let status = Command::new("kill")
        .args(["-9", &process.to_string()])
        .status()
        .expect("kill runs");
    assert!(status.success(), "killed {process}");
}

#[tokio::test]
async fn a_second_keeper_is_refused() {
    let folder = Folder::new("second");
    let first = Cluster::start(&folder.0, Keep::Durable)
        .await
        .expect("started");
    let refused = Cluster::start(&folder.0, Keep::Durable)
        .await
        .err()
        .expect("refused")
        .to_string();
    assert!(refused.contains("another instance"), "{refused}");
    assert!(
        refused.contains(&format!("process {}", std::process::id())),
        "{refused}"
    );
    assert!(refused.contains("--data"), "{refused}");
    first.stop().await.expect("stopped");
}

#[tokio::test]
async fn a_folder_out_of_reach_is_explained() {
    if !rustix_is_root() {
        // An ordinary user runs Postgres as itself; there is no one else who could lack access.
        return;
    }
    let folder = Folder::new("private-home");
    std::fs::create_dir_all(&folder.0).expect("made");
    let private = std::os::unix::fs::PermissionsExt::from_mode(0o700);
    std::fs::set_permissions(&folder.0, private).expect("closed to others");
    let refused = Cluster::start(&folder.0.join("data"), Keep::Durable)
        .await
        .err()
        .expect("refused")
        .to_string();
    assert!(
        refused.contains(&format!("cannot enter {}", folder.0.display())),
        "{refused}"
    );
    assert!(
        refused.contains(&format!("chmod o+x {}", folder.0.display())),
        "{refused}"
    );
}

/// Whether this process is root, told by whom a new file belongs to.
fn rustix_is_root() -> bool {
    std::os::unix::fs::MetadataExt::uid(&std::fs::metadata("/proc/self").expect("/proc")) == 0
}

#[tokio::test]
async fn a_scratch_cluster_leaves_nothing() {
    let cluster = Cluster::scratch().await.expect("started");
    let folder = cluster.log().parent().expect("its folder").to_path_buf();
    assert!(folder.exists());
    cluster.stop().await.expect("stopped");
    assert!(!folder.exists());
}

#[tokio::test]
async fn passwords_are_for_nobody_else() {
    let folder = Folder::new("passwords");
    let cluster = Cluster::start(&folder.0, Keep::Scratch)
        .await
        .expect("started");
    for name in ["owner-password", "login-password"] {
        let mode = std::os::unix::fs::MetadataExt::mode(
            &std::fs::metadata(folder.0.join(name)).expect("written"),
        );
        assert_eq!(mode & 0o777, 0o600, "{name}");
    }
    let wrong = cluster
        .owner_url("postgres")
        .replace("rimeyard_owner:", "rimeyard_owner:x");
    let refused = tokio_postgres::connect(&wrong, tokio_postgres::NoTls)
        .await
        .err()
        .expect("refused");
    assert_eq!(
        refused.code().map(|code| code.code()),
        Some("28P01"),
        "invalid_password"
    );
    cluster.stop().await.expect("stopped");
}
