//! Whatever is changed stands in the audit: who, what, and for which request. The walk asks it after each request that
//! goes well, of every role; here are the exceptions.

use reqwest::Method;
use rimeyard_harness::{Actor, Answer, PASSWORD, TestServer, email};
use rimeyard_store::Role;
use serde_json::json;
use tokio_postgres::Client;
use uuid::Uuid;

use super::fleet::owner;
use super::operations::{Operation, Scope, operations};
use super::phone::{Phone, code};

/// Operations that change something and leave nothing in the audit, each with the reason. This list may only shrink.
pub const UNAUDITED: [(&str, &str); 5] = [
    (
        "session_sign_in",
        "the session's own row says whose it is and since when",
    ),
    (
        "session_refresh",
        "each token is a row of its session, with its time",
    ),
    ("session_sign_out", "and so is the end of it"),
    ("page_sign_in", "as POST /v1/sign-in"),
    ("page_sign_out", "as POST /v1/sign-out"),
];

/// The audit, as the owner of the tables reads it.
pub struct Audit(Client);

/// Who did what to which object.
#[derive(Debug)]
struct Noted {
    person_id: Option<Uuid>,
    action: String,
    object_kind: String,
    object_id: Uuid,
}

impl Audit {
    pub async fn of(server: &TestServer) -> Self {
        Self(owner(server).await)
    }

    /// What is noted for the request of this answer.
    async fn noted(&self, answer: &Answer) -> Vec<Noted> {
        let request: Uuid = answer.header("x-request-id").parse().expect("an id");
        self.0
            .query(
                "select person_id, action, object_kind, object_id from audit where request_id = $1",
                &[&request],
            )
            .await
            .expect("the audit is read")
            .iter()
            .map(|row| Noted {
                person_id: row.get(0),
                action: row.get(1),
                object_kind: row.get(2),
                object_id: row.get(3),
            })
            .collect()
    }

    /// Checks that what this actor did well is noted, or, where nothing was to be changed, that nothing is.
    pub async fn check(&self, operation: &Operation, actor: &Actor, path: &str, answer: &Answer) {
        let noted = self.noted(answer).await;
        let excepted = UNAUDITED.iter().any(|(name, _)| *name == operation.name);
        if excepted || !operation.writes() || answer.status >= 400 {
            assert!(noted.is_empty(), "{}: {noted:?}", operation.name);
            return;
        }
        assert!(!noted.is_empty(), "{} is not audited", operation.name);
        // A key says nothing of whose it is.
        let person = if actor.token().contains('.') {
            person_of(actor)
        } else {
            let me = actor.get("/v1/me").await.expect(200).json();
            let id = me["person_id"].as_str().and_then(|id| id.parse().ok());
            id.expect("a person")
        };
        for noted in &noted {
            assert_eq!(
                noted.person_id,
                Some(person),
                "{}: {noted:?}",
                operation.name
            );
            assert!(
                !noted.action.is_empty() && !noted.object_kind.is_empty(),
                "{}: {noted:?}",
                operation.name
            );
        }
        // It is about what was asked for: what the path names, what was made, or oneself.
        let about = |noted: &Noted| {
            let id = noted.object_id.to_string();
            path.contains(&id) || answer.body.contains(&id) || noted.object_id == person
        };
        assert!(
            noted.iter().any(about),
            "{} {path}: {noted:?} {}",
            operation.name,
            answer.body
        );
    }
}

/// Whom a token is of, as it says itself.
pub fn person_of(actor: &Actor) -> Uuid {
    let claims = super::forger::claims_of(actor.token());
    claims["sub"]
        .as_str()
        .and_then(|id| id.parse().ok())
        .expect("a person")
}

#[tokio::test]
async fn the_exceptions_are_operations_and_those_open_to_anyone_are_unaudited() {
    let server = TestServer::start().await;
    let audit = Audit::of(&server).await;
    let operations = operations(&server).await;
    for (name, reason) in UNAUDITED {
        assert!(!reason.is_empty());
        let is_operation = operations.iter().any(|operation| operation.name == name);
        assert!(is_operation, "{name} is no operation any more");
    }
    let anyone = server.anonymous();
    let credentials = json!({"email": email("ours", Role::Technician), "password": PASSWORD});
    let signed_in = anyone.post("/v1/sign-in", &credentials).await.expect(200);
    let refresh = json!({"refresh_token": signed_in.json()["refresh_token"]});
    let refreshed = anyone
        .post("/v1/sign-in/refresh", &refresh)
        .await
        .expect(200);
    let form = anyone
        .request(Method::POST, "/sign-in")
        .header("Content-Type", "application/x-www-form-urlencoded")
        .body("email=technician%40ours.example&password=seven+cold+shovels");
    let on_the_pages = Answer::of(form).await.expect(303);
    for answer in [signed_in, refreshed, on_the_pages] {
        let noted = audit.noted(&answer).await;
        assert!(noted.is_empty(), "it need not be an exception: {noted:?}");
    }
    // A phone has no token yet, or no more: who made its code and who shut it out stand for it.
    let lead = server.depot_lead().await;
    let (phone, shared) = (Phone::new(), json!({"depot_id": server.world.ours.home.id}));
    let letters = code(&lead, shared).await;
    let enrolled = phone.enrol(&anyone, &letters).await.expect(201);
    let device = enrolled.json()["device"]["id"]
        .as_str()
        .expect("an id")
        .to_owned();
    let lost = json!({"because": "lost"});
    let path = format!("/v1/devices/{device}/revoke");
    lead.post(&path, &lost).await.expect(200);
    let entries = json!({"entries": [{"id": Uuid::now_v7(), "what": "a fault", "body": {}}]});
    let kept = phone.post(&anyone, "/v1/devices/unsent", &entries).await;
    for answer in [enrolled, kept.expect(200)] {
        let noted = audit.noted(&answer).await;
        assert!(
            noted.iter().any(|one| one.object_id.to_string() == device),
            "{noted:?}"
        );
    }
    let open = operations
        .iter()
        .filter(|operation| operation.scope() == Scope::Anyone && operation.writes());
    assert_eq!(open.count(), 5, "each of them is tried here");
}
