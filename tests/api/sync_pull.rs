//! /v1/sync/pull, as a client that keeps a copy lives with it: it follows pages, proves that it lost nothing, takes up
//! new grants, lets go of revoked ones, and begins again where it is told to.

use std::collections::BTreeMap;

use rimeyard_harness::machines::{Machines, sound_inspection};
use rimeyard_harness::{Actor, TestServer};
use rimeyard_worker::{Settings, drain};
use serde::Deserialize;
use serde_json::value::RawValue;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

/// What a client keeps: of each scope how far it has it, and its objects by kind and id.
#[derive(Default)]
struct Client {
    epoch: Option<String>,
    scopes: BTreeMap<String, Copy>,
    /// Scopes it was told to begin again.
    resets: Vec<String>,
}

#[derive(Default)]
struct Copy {
    cursor: i64,
    head: i64,
    digest: String,
    objects: BTreeMap<(String, String), Object>,
}

struct Object {
    rev: i64,
    doc: String,
}

#[derive(Deserialize)]
struct Page {
    epoch: String,
    scopes: Vec<Scope>,
    revoked: Vec<String>,
    more: bool,
}

#[derive(Deserialize)]
struct Scope {
    scope_id: String,
    kind: String,
    name: String,
    new: bool,
    reset: bool,
    head: i64,
    digest: String,
    cursor: i64,
    more: bool,
    entries: Vec<Entry>,
}

#[derive(Deserialize)]
struct Entry {
    kind: String,
    id: String,
    seq: i64,
    rev: i64,
    deleted: bool,
    check: String,
    doc: Box<RawValue>,
}

/// The rule as the document states it, by another library's SHA-256 than the server's own function.
fn check(kind: &str, id: &str, rev: i64, doc: &str) -> u64 {
    let hash = Sha256::digest(format!("{kind}:{id}:{rev}:{doc}"));
    u64::from_be_bytes(hash[..8].try_into().expect("SHA-256 has 32 bytes"))
}

impl Client {
    /// Pulls until there is no more, in pages of `limit`, and proves each scope's digest.
    async fn pull(&mut self, actor: &Actor, limit: u32) {
        for _ in 0..1_000 {
            let scopes: Vec<Value> = self
                .scopes
                .iter()
                .map(|(id, copy)| json!({"scope_id": id, "cursor": copy.cursor}))
                .collect();
            let asked = json!({"epoch": self.epoch, "scopes": scopes, "limit": limit});
            let answer = actor.post("/v1/sync/pull", &asked).await.expect(200);
            let page: Page = serde_json::from_str(&answer.body).expect("a page");
            let more = page.more;
            self.take(page);
            if !more {
                return self.prove();
            }
        }
        panic!("the pages never end");
    }

    fn take(&mut self, page: Page) {
        for scope_id in page.revoked {
            self.scopes
                .remove(&scope_id)
                .expect("only what was named is revoked");
        }
        assert_eq!(page.more, page.scopes.iter().any(|scope| scope.more));
        for scope in page.scopes {
            assert_eq!(scope.new, !self.scopes.contains_key(&scope.scope_id));
            assert!(
                matches!(scope.kind.as_str(), "depot" | "organisation") && !scope.name.is_empty()
            );
            let copy = self.scopes.entry(scope.scope_id.clone()).or_default();
            if scope.reset {
                *copy = Copy::default();
                self.resets.push(scope.scope_id);
            }
            let mut before = copy.cursor;
            for entry in scope.entries {
                assert!(
                    before <= entry.seq && entry.seq <= scope.cursor,
                    "in the order of commits"
                );
                before = entry.seq;
                let checked = check(&entry.kind, &entry.id, entry.rev, entry.doc.get());
                assert_eq!(entry.check, format!("{checked:016x}"));
                let key = (entry.kind, entry.id);
                if entry.deleted {
                    copy.objects.remove(&key);
                } else {
                    copy.objects.insert(
                        key,
                        Object {
                            rev: entry.rev,
                            doc: entry.doc.get().to_owned(),
                        },
                    );
                }
            }
            (copy.cursor, copy.head, copy.digest) = (scope.cursor, scope.head, scope.digest);
        }
        self.epoch = Some(page.epoch);
    }

    /// At rest every scope's digest is the XOR of the checks of the objects held.
    fn prove(&self) {
        for (scope_id, copy) in &self.scopes {
            assert_eq!(copy.cursor, copy.head);
            let digest = copy.objects.iter().fold(0, |digest, ((kind, id), object)| {
                digest ^ check(kind, id, object.rev, &object.doc)
            });
            assert_eq!(copy.digest, format!("{digest:016x}"), "scope {scope_id}");
        }
    }

    /// An object held, as JSON.
    fn object(&self, scope_id: &str, kind: &str, id: &str) -> Option<Value> {
        let object = self
            .scopes
            .get(scope_id)?
            .objects
            .get(&(kind.to_owned(), id.to_owned()))?;
        Some(serde_json::from_str(&object.doc).expect("a document is JSON"))
    }
}

async fn recompute(server: &TestServer) {
    let done = drain(&server.database, &Settings::default())
        .await
        .expect("drained");
    assert_eq!(done.failures, []);
}

#[tokio::test]
async fn a_client_follows_pages_and_holds_what_the_server_holds() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id.to_string();
    let machines = Machines::make_sound(
        &server.administrator().await,
        server.world.ours.home.id,
        3,
        2,
    )
    .await;
    recompute(&server).await;
    let technician = server.technician().await;
    let mut small = Client::default();
    small.pull(&technician, 1).await;
    let mut large = Client::default();
    large.pull(&technician, 2_000).await;
    assert_eq!(
        small.scopes.keys().collect::<Vec<_>>(),
        large.scopes.keys().collect::<Vec<_>>()
    );
    assert_eq!(
        small.scopes.len(),
        2,
        "the depot that is granted, and the organisation"
    );

    // What it holds is what GET answers.
    let unit = &machines.units[1];
    let got = technician
        .get(&format!("/v1/units/{unit}"))
        .await
        .expect(200)
        .json();
    assert_eq!(small.object(&home, "unit", unit), Some(got));
    let mut readiness = technician
        .get(&format!("/v1/readiness/units/{unit}"))
        .await
        .expect(200)
        .json();
    for not_in_the_document in ["as_of", "valid_until", "inputs"] {
        readiness
            .as_object_mut()
            .expect("an object")
            .remove(not_in_the_document);
    }
    assert_eq!(small.object(&home, "unit-state", unit), Some(readiness));

    // Only what changed comes, and the copies agree again.
    let inspection = sound_inspection(unit, 0);
    let inspection = technician
        .post("/v1/inspections", &inspection)
        .await
        .expect(201)
        .json();
    recompute(&server).await;
    for client in [&mut small, &mut large] {
        client.pull(&technician, 3).await;
        let id = inspection["id"].as_str().expect("an id");
        assert!(client.object(&home, "inspection", id).is_some());
        assert!(client.resets.is_empty());
    }
    let asked = json!({
        "epoch": small.epoch,
        "scopes": small.scopes.iter().map(|(id, copy)| json!({"scope_id": id, "cursor": copy.cursor})).collect::<Vec<_>>(),
    });
    let nothing = technician
        .post("/v1/sync/pull", &asked)
        .await
        .expect(200)
        .json();
    for scope in nothing["scopes"].as_array().expect("scopes") {
        assert_eq!(scope["entries"], json!([]));
    }
}

#[tokio::test]
async fn new_grants_come_and_revoked_ones_go() {
    let server = TestServer::start().await;
    let (home, far) = (
        server.world.ours.home.id.to_string(),
        server.world.ours.far.id.to_string(),
    );
    let administrator = server.administrator().await;
    let technician = server.technician().await;
    let me = technician.get("/v1/me").await.expect(200).json()["person_id"]
        .as_str()
        .expect("an id")
        .to_owned();
    let grant = async |depots: Value| {
        let path = format!("/v1/people/{me}");
        let etag = administrator.get(&path).await.expect(200).etag();
        administrator
            .patch(&path, &etag, &json!({"depots": depots}))
            .await
            .expect(200);
    };
    let mut client = Client::default();
    client.pull(&technician, 100).await;
    assert!(client.scopes.contains_key(&home) && !client.scopes.contains_key(&far));

    grant(json!([home, far])).await;
    client.pull(&technician, 100).await;
    assert!(client.scopes.contains_key(&home) && client.scopes.contains_key(&far));
    assert_eq!(
        client
            .object(&far, "depot", &far)
            .expect("the depot itself")["name"],
        "Far"
    );

    grant(json!([far])).await;
    client.pull(&technician, 100).await;
    assert!(!client.scopes.contains_key(&home), "nothing is left of it");
}

#[tokio::test]
async fn another_epoch_and_a_cursor_from_the_future_begin_again_loudly() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id.to_string();
    let technician = server.technician().await;
    let mut client = Client::default();
    client.pull(&technician, 100).await;

    client.scopes.get_mut(&home).expect("held").cursor += 1_000;
    client.pull(&technician, 100).await;
    assert_eq!(
        client.resets,
        std::slice::from_ref(&home),
        "that scope and no other"
    );

    client.resets.clear();
    client.epoch = Some("a database that was restored since".to_owned());
    client.pull(&technician, 100).await;
    assert_eq!(client.resets.len(), 2, "every scope");
    assert!(client.object(&home, "depot", &home).is_some());
}

#[tokio::test]
async fn a_foreign_scope_is_revoked_like_one_that_never_was() {
    let server = TestServer::start().await;
    let foreign = server.world.theirs.home.id;
    let technician = server.technician().await;
    let asked = |scope: &str| json!({"scopes": [{"scope_id": scope, "cursor": 0}]});
    for scope in [
        foreign.to_string(),
        server.world.ours.far.id.to_string(),
        "0198c0de-0000-7000-8000-000000000000".to_owned(),
    ] {
        let page = technician
            .post("/v1/sync/pull", &asked(&scope))
            .await
            .expect(200)
            .json();
        assert_eq!(page["revoked"], json!([scope]));
        assert!(!page["scopes"].to_string().contains(&scope));
    }
}

#[tokio::test]
async fn a_pull_that_cannot_be_right_is_told_why() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id.to_string();
    let technician = server.technician().await;
    let scope = |cursor: i64| json!({"scope_id": home, "cursor": cursor});
    for (body, field) in [
        (json!({"limit": 0}), "limit"),
        (json!({"limit": 2_001}), "limit"),
        (json!({"scopes": [scope(-1)]}), "epoch"),
        (json!({"scopes": [scope(3)]}), "epoch"),
        (
            json!({"scopes": [scope(0), scope(0)]}),
            "scopes[1].scope_id",
        ),
        (
            json!({"scopes": [{"scope_id": "x", "cursor": 0}]}),
            "scopes[0].scope_id",
        ),
        (json!({"depots": []}), "depots"),
    ] {
        assert_eq!(
            technician.post("/v1/sync/pull", &body).await.problem(422),
            [field],
            "{body}"
        );
    }
    server
        .anonymous()
        .post("/v1/sync/pull", &json!({}))
        .await
        .problem(401);
}
