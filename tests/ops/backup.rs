//! `rimeyard backup` and `rimeyard restore`: what was there before is there after, and phones are told loudly.

use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use rimeyard_harness::machines::Machines;
use rimeyard_harness::{Actor, TestDatabase, TestServer, email, fresh_database};
use rimeyard_store::Role;
use serde_json::{Value, json};
use tokio_postgres::NoTls;

use super::Serve;

/// Past row-level security.
pub async fn owner(url: &str) -> tokio_postgres::Client {
    let (client, connection) = tokio_postgres::connect(url, NoTls)
        .await
        .expect("the owner");
    tokio::spawn(connection);
    client
}

/// A folder for backups; gone with the test.
struct Backups(PathBuf);

impl Backups {
    fn new() -> Self {
        let folder =
            std::env::temp_dir().join(format!("rimeyard-backups-{}", uuid::Uuid::now_v7()));
        std::fs::create_dir(&folder).expect("a folder");
        Backups(folder)
    }

    fn named(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }
}

impl Drop for Backups {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// `rimeyard` with this command and this folder, on this database.
fn run(command: &str, folder: (&str, &Path), owner_url: &str, login_url: &str) -> Output {
    Command::new(env!("CARGO_BIN_EXE_rimeyard-under-test"))
        .args([command, folder.0])
        .arg(folder.1)
        .env("MIGRATE_DATABASE_URL", owner_url)
        .env("DATABASE_URL", login_url)
        .output()
        .expect("it runs")
}

#[track_caller]
fn refused(output: &Output, words: &str) {
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(!output.status.success() && said.contains(words), "{said}");
}

#[track_caller]
fn well(output: &Output) {
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
}

/// A new, empty database beside another; its addresses for the owner and for the programs.
async fn empty_beside(own: &TestDatabase) -> (String, String) {
    let name = format!("restored_{}", uuid::Uuid::now_v7().simple());
    let beside = |url: &str, name: &str| {
        let (address, _) = url.rsplit_once('/').expect("a name");
        format!("{address}/{name}")
    };
    owner(&beside(&own.owner_url, "postgres"))
        .await
        .batch_execute(&format!("create database {name}"))
        .await
        .expect("made");
    (beside(&own.owner_url, &name), beside(&own.login_url, &name))
}

/// The administrator, with the password of before.
async fn administrator(serve: &Serve) -> Actor {
    let anyone = Actor::new(serve.address, None);
    anyone.signed_in(&email("ours", Role::Administrator)).await
}

async fn pull(actor: &Actor, known: &Value) -> Value {
    actor.post("/v1/sync/pull", known).await.expect(200).json()
}

/// What a phone sends the next time.
fn cursors(page: &Value) -> Value {
    let scopes = page["scopes"].as_array().expect("scopes").iter();
    let scopes: Vec<Value> = scopes
        .map(|scope| json!({"scope_id": scope["scope_id"], "cursor": scope["cursor"]}))
        .collect();
    json!({"epoch": page["epoch"], "scopes": scopes, "limit": 2000})
}

/// Each scope's id and digest.
fn digests(page: &Value) -> Vec<(Value, Value)> {
    let scopes = page["scopes"].as_array().expect("scopes").iter();
    scopes
        .map(|scope| (scope["scope_id"].clone(), scope["digest"].clone()))
        .collect()
}

#[tokio::test]
async fn what_was_backed_up_is_there_again_and_phones_are_told() {
    let own = fresh_database().await;
    let backups = Backups::new();
    let whole = json!({"limit": 2000});
    let serve = Serve::start(&own.login_url, &[]);
    let who = administrator(&serve).await;
    let home = own.world.ours.home.id;
    let machines = Machines::make_sound(&who, home, 2, 3).await;
    let paths = [
        format!("/v1/depots/{home}"),
        format!("/v1/units/{}", machines.units[0]),
        format!("/v1/units/{}/checklist", machines.units[0]),
        "/v1/units?limit=200".to_owned(),
        "/v1/inspections?limit=200".to_owned(),
        "/v1/people?limit=200".to_owned(),
    ];
    let mut made = Vec::new();
    for path in &paths {
        made.push(who.get(path).await.expect(200).body);
    }
    let held = pull(&who, &whole).await;
    let phone = cursors(&held);
    let again = pull(&who, &phone).await;
    for scope in again["scopes"].as_array().expect("scopes") {
        assert_eq!(
            (&scope["reset"], &scope["entries"]),
            (&json!(false), &json!([]))
        );
    }

    // While it is being worked with.
    let folder = backups.named("one");
    well(&run(
        "backup",
        ("--to", &folder),
        &own.owner_url,
        &own.login_url,
    ));
    // Nothing is ever written over.
    let over = run("backup", ("--to", &folder), &own.owner_url, &own.login_url);
    refused(&over, "is there already");
    for file in ["database.dump", "manifest.json"] {
        let mode = std::fs::metadata(folder.join(file))
            .expect(file)
            .permissions()
            .mode();
        assert_eq!(mode & 0o777, 0o600, "{file}: it holds every secret");
    }
    drop(serve);

    let restore = |owner_url: &str, login_url: &str| {
        run("restore", ("--from", &folder), owner_url, login_url)
    };
    refused(&restore(&own.owner_url, &own.login_url), "is not empty");
    let (owner_url, login_url) = empty_beside(&own).await;
    well(&restore(&owner_url, &login_url));
    refused(&restore(&owner_url, &login_url), "is not empty");

    let serve = Serve::start(&login_url, &[]);
    let who = administrator(&serve).await;
    for (path, before) in paths.iter().zip(&made) {
        assert_eq!(who.get(path).await.expect(200).body, *before, "{path}");
    }
    let told = pull(&who, &phone).await;
    assert_ne!(told["epoch"], phone["epoch"]);
    for scope in told["scopes"].as_array().expect("scopes") {
        assert_eq!(scope["reset"], true, "{}", scope["scope_id"]);
    }
    assert_eq!(digests(&told), digests(&held));
    // And it is a database to work with.
    Machines::make_sound(&who, home, 1, 1).await;

    // A second restoration is not taken for the first, should it even be the same database.
    let counter = async |url: &str| -> i64 {
        let row = owner(url)
            .await
            .query_one("select counter from installation", &[])
            .await;
        row.expect("a counter").get(0)
    };
    let (second, second_login) = empty_beside(&own).await;
    well(&restore(&second, &second_login));
    let (first, second) = (counter(&owner_url).await, counter(&second).await);
    assert!(counter(&own.owner_url).await < first && first < second);
    own.drop().await;
}

#[tokio::test]
async fn a_backup_that_is_not_what_it_says_is_found_out() {
    let server = TestServer::start().await;
    let own = fresh_database().await;
    let backups = Backups::new();
    let folder = backups.named("one");
    well(&run(
        "backup",
        ("--to", &folder),
        &server.owner_url,
        &server.login_url,
    ));
    let manifest = folder.join("manifest.json");
    let text = std::fs::read_to_string(&manifest).expect("a manifest");
    let mut held: Value = serde_json::from_str(&text).expect("JSON");
    let rows = held["tables"]["person"]["rows"].as_i64().expect("rows");
    held["tables"]["person"]["rows"] = json!(rows + 1);
    held["tables"]["feed_entry"]["digest"] = json!("1");
    std::fs::write(&manifest, held.to_string()).expect("written");
    let (owner_url, login_url) = empty_beside(&own).await;
    let output = run("restore", ("--from", &folder), &owner_url, &login_url);
    refused(&output, "feed_entry: of its");
    refused(&output, &format!("person: {rows} rows, not {}", rows + 1));

    // A dump that was cut short restores nothing at all.
    let dump = folder.join("database.dump");
    let bytes = std::fs::read(&dump).expect("a dump");
    std::fs::write(&dump, &bytes[..bytes.len() / 2]).expect("written");
    let (owner_url, login_url) = empty_beside(&own).await;
    refused(
        &run("restore", ("--from", &folder), &owner_url, &login_url),
        "pg_restore",
    );
    let tables = "select count(*) from pg_tables where schemaname = 'public'";
    let tables = owner(&owner_url).await.query_one(tables, &[]).await;
    assert_eq!(tables.expect("a count").get::<_, i64>(0), 0);
    own.drop().await;
}

#[tokio::test]
async fn an_owner_who_does_not_see_everything_is_told_what_to_do() {
    let server = TestServer::start().await;
    let weak = format!("weak_{}", uuid::Uuid::now_v7().simple());
    owner(&server.owner_url)
        .await
        .batch_execute(&format!("create role {weak} login password 'secret'"))
        .await
        .expect("made");
    let (_, address) = server.owner_url.split_once('@').expect("an address");
    let backups = Backups::new();
    let folder = backups.named("one");
    let url = format!("postgres://{weak}:secret@{address}");
    let output = run("backup", ("--to", &folder), &url, &server.login_url);
    refused(&output, "bypassrls");
    assert!(!folder.exists());
}
