//! Whatever is changed stands in the audit: who, what, and for which request. The walk asks it after each request that
//! goes well, of every role; here are the exceptions.

use reqwest::Method;
use rimeyard_harness::{Actor, Answer, PASSWORD, TestServer, email};
use rimeyard_store::Role;
use serde_json::{Value, json};
use tokio_postgres::Client;
use uuid::Uuid;

use super::devices::{bearer, person};
use super::fleet::{Fleet, days_ago, owner, posted};
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
    session: Option<Uuid>,
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
                "select person_id, action, object_kind, object_id, session from audit where request_id = $1",
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
                session: row.get(4),
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
        let is_token = actor.token().contains('.');
        let person = if is_token {
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
            let session = is_token.then(|| session_of(actor));
            assert!(
                noted.session.is_some() && (session.is_none() || noted.session == session),
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
    claimed(actor, "sub")
}

fn session_of(actor: &Actor) -> Uuid {
    claimed(actor, "sid")
}

fn claimed(actor: &Actor, name: &str) -> Uuid {
    let claims = super::forger::claims_of(actor.token());
    let id = claims[name].as_str().and_then(|id| id.parse().ok());
    id.expect("an id")
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

/// The newest changes that are shown so.
async fn listed(actor: &Actor, query: &str) -> Vec<Value> {
    let page = actor.get(&format!("/v1/audit{query}")).await.expect(200);
    page.json()["items"].as_array().expect("a list").clone()
}

#[tokio::test]
async fn a_change_names_the_phone_or_the_key_that_it_came_through() {
    let server = TestServer::start().await;
    let (anyone, lead) = (server.anonymous(), server.depot_lead().await);
    let administrator = server.administrator().await;
    let home = server.world.ours.home;
    let Fleet { unit, .. } = Fleet::at(&administrator, &home).await;
    let operator = person(&server, Role::Operator).await;
    let phone = Phone::new();
    let letters = code(&lead, json!({"depot_id": home.id})).await;
    let enrolled = phone.enrol(&anyone, &letters).await.expect(201).json();
    let device = enrolled["device"]["id"].as_str().expect("an id").to_owned();
    let tokens = phone.refresh(&anyone, &enrolled["tokens"], Some(&operator));
    let tokens = tokens.await.expect(200).json();
    let acting = bearer(&anyone, &tokens);
    let noted = json!({"unit_id": unit, "read_at": jiff::Timestamp::now(), "started": true});
    let noted = acting.post("/v1/meter-readings", &noted).await.expect(201);
    let path = format!("/v1/devices/{device}/revoke");
    let lost = json!({"because": "lost"});
    lead.post(&path, &lost).await.expect(200);
    let entries = json!({"entries": [{"id": Uuid::now_v7(), "what": "a fault", "body": {}}]});
    let kept = phone.post(&anyone, "/v1/devices/unsent", &entries).await;
    kept.expect(200);

    let through = listed(&administrator, &format!("?device_id={device}")).await;
    let done: Vec<&str> = through
        .iter()
        .filter_map(|it| it["action"].as_str())
        .collect();
    assert_eq!(done, ["keep unsent", "record", "enrol", "create"]);
    let sessions: Vec<&Value> = through.iter().map(|it| &it["session"]).collect();
    assert!(
        sessions
            .iter()
            .all(|it| *it == sessions[0] && it.is_string())
    );
    assert!(through.iter().all(|it| it["device_id"] == device));
    // The operator did it, and it was this phone that they had in their hands.
    let reading = &through[1];
    assert_eq!(reading["person_id"], operator);
    assert_eq!(reading["object_id"], noted.id());
    assert_eq!(reading["request_id"], noted.header("x-request-id"));
    let same = format!("?object_kind=meter-reading&object_id={}", noted.id());
    assert_eq!(&listed(&administrator, &same).await[0], reading);
    // Whoever shut it out did so through a session of their own.
    let shut = listed(
        &administrator,
        &format!("?object_kind=device&object_id={device}"),
    )
    .await;
    let shut = shut.iter().find(|it| it["action"] == "revoke").expect("it");
    assert_eq!(shut["session"], session_of(&lead).to_string());
    assert_eq!(shut["device_id"], Value::Null);

    let program = server.depot_system().await;
    let snow = json!({"days": [{"on": "2024-12-01", "snowfall_mm": 80}]});
    let path = format!("/v1/depots/{}/snowfall", home.id);
    program.post(&path, &snow).await.expect(200);
    let keys = administrator.get("/v1/keys").await.expect(200).json();
    let newest = listed(&administrator, "?limit=1").await;
    assert_eq!(newest[0]["session"], keys["items"][0]["id"]);
}

#[tokio::test]
async fn the_audit_is_read_from_the_newest_on_by_who_sets_up_and_within_what_is_granted() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let (home, far) = (server.world.ours.home, server.world.ours.far);
    Fleet::at(&administrator, &home).await;
    Fleet::at(&administrator, &far).await;
    let storm = json!({
        "name": "Far", "starts_at": days_ago(-1), "ends_at": days_ago(-2), "depth_mm": 300.0, "reclear_mm": 50.0,
        "depots": [far.id],
    });
    let storm = posted(&administrator, "/v1/storms", &storm).await;
    let code = json!({"depot_id": far.id});
    administrator
        .post("/v1/device-codes", &code)
        .await
        .expect(201);
    let all = listed(&administrator, "?limit=200").await;
    let ids =
        |items: &[Value]| -> Vec<String> { items.iter().map(|it| it["id"].to_string()).collect() };
    let mut sorted = ids(&all);
    sorted.sort();
    sorted.reverse();
    assert_eq!(ids(&all), sorted);
    let (mut paged, mut path) = (Vec::new(), "/v1/audit?limit=2".to_owned());
    loop {
        let page = administrator.get(&path).await.expect(200).json();
        paged.extend(page["items"].as_array().expect("a list").clone());
        let Some(cursor) = page["next_cursor"].as_str() else {
            break;
        };
        path = format!("/v1/audit?limit=2&cursor={cursor}");
    }
    assert_eq!(ids(&paged), ids(&all));
    let me = person_of(&administrator);
    let mine = listed(&administrator, &format!("?limit=200&person_id={me}")).await;
    assert!(!mine.is_empty() && mine.iter().all(|it| it["person_id"] == me.to_string()));

    let of = |depot: Uuid, items: &[Value]| {
        items
            .iter()
            .filter(|it| it["scope_id"] == depot.to_string())
            .count()
    };
    assert!(of(home.id, &all) > 0 && of(far.id, &all) > 0);
    let email = "local@ours.example";
    let local = json!({
        "name": "Local", "role": "administrator", "depots": [home.id], "email": email, "password": PASSWORD,
    });
    administrator.post("/v1/people", &local).await.expect(201);
    let local = server.anonymous().signed_in(email).await;
    let shown = listed(&local, "?limit=200").await;
    assert!(of(home.id, &shown) > 0 && of(server.world.ours.org_id, &shown) > 0);
    // What names the far depot in the organisation's own scope is no more shown than what is in the far depot's.
    assert_eq!(of(far.id, &shown), 0);
    let names_it = |items: &[Value]| {
        let named = |it: &&Value| {
            it["object_id"] == storm || it["detail"].to_string().contains(&far.id.to_string())
        };
        items.iter().filter(named).count()
    };
    assert!(names_it(&all) >= 3, "{all:#?}");
    assert_eq!(names_it(&shown), 0);
    for half in [
        "object_kind=unit",
        "object_id=0198c0de-0000-7000-8000-000000000000",
    ] {
        let refused = administrator.get(&format!("/v1/audit?{half}")).await;
        let other = if half.starts_with("object_kind") {
            "object_id"
        } else {
            "object_kind"
        };
        assert_eq!(refused.problem(400), [other]);
    }
    server
        .district_manager()
        .await
        .get("/v1/audit")
        .await
        .problem(403);
}
