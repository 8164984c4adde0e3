//! What a phone reaches when its person is granted more or less, and who sees it.

use std::collections::BTreeSet;

use rimeyard_harness::{Actor, TestServer, eventually};
use rimeyard_store::Role;
use serde_json::{Value, json};
use uuid::Uuid;

use super::devices::{bearer, person};
use super::fleet::posted;
use super::phone::{Phone, code};
use crate::ops::Serve;

/// The promise: what is taken away is gone everywhere within so many seconds.
const GONE_S: f64 = 5.0;

async fn change(administrator: &Actor, person: &str, change: Value) {
    let path = format!("/v1/people/{person}");
    let etag = administrator.get(&path).await.expect(200).etag();
    administrator.patch(&path, &etag, &change).await.expect(200);
}

#[tokio::test]
async fn a_phone_loses_a_depot_within_seconds_and_its_session_goes_on() {
    let here = TestServer::start().await;
    let serve = Serve::start(&here.login_url, &[]);
    let there = Actor::new(serve.address, None);
    let (administrator, anyone) = (here.administrator().await, here.anonymous());
    let (home, far) = (here.world.ours.home.id, here.world.ours.far.id);
    let new = json!({"name": "Ada", "role": "technician", "depots": [home, far]});
    let person = posted(&administrator, "/v1/people", &new).await;
    let phone = Phone::new();
    let letters = code(&administrator, json!({"person_id": person})).await;
    let enrolled = phone.enrol(&anyone, &letters).await.expect(201).json();
    let mut tokens = enrolled["tokens"].clone();
    let path = |depot| format!("/v1/depots/{depot}");
    let scopes = async |actor: &Actor| {
        let pulled = actor.post("/v1/sync/pull", &json!({"scopes": []})).await;
        let pulled = pulled.expect(200).json();
        let ids = pulled["scopes"].as_array().expect("scopes").iter();
        ids.filter(|scope| {
            [home, far]
                .iter()
                .any(|depot| scope["scope_id"] == json!(depot))
        })
        .count()
    };
    let acting = bearer(&there, &tokens);
    acting.get(&path(far)).await.expect(200);
    assert_eq!(scopes(&acting).await, 2);

    change(&administrator, &person, json!({"depots": [home]})).await;
    bearer(&anyone, &tokens).get(&path(far)).await.problem(404);
    eventually(GONE_S, "Far is gone at the other server", async || {
        acting.get(&path(far)).await.status == 404
    })
    .await;
    assert_eq!(scopes(&acting).await, 1);
    acting.get(&path(home)).await.expect(200);
    tokens = phone
        .refresh(&there, &tokens, None)
        .await
        .expect(200)
        .json();
    bearer(&there, &tokens).get(&path(far)).await.problem(404);

    // What is granted comes in the same time, since an administrator answers for everybody.
    change(&administrator, &person, json!({"all_depots": true})).await;
    let acting = bearer(&there, &tokens);
    eventually(GONE_S, "Far is there again", async || {
        acting.get(&path(far)).await.status == 200
    })
    .await;
    phone.refresh(&there, &tokens, None).await.expect(200);
}

#[tokio::test]
async fn a_phone_reaches_no_further_than_who_enrolled_it_could_have_made_it() {
    let server = TestServer::start().await;
    let (anyone, lead) = (server.anonymous(), server.depot_lead().await);
    let administrator = server.administrator().await;
    let (home, far) = (server.world.ours.home.id, server.world.ours.far.id);
    let new = json!({"name": "Ada", "role": "technician", "depots": [home]});
    for (more, name) in [
        (json!({"depots": [home, far]}), "a depot more"),
        (json!({"depots": [far]}), "another depot"),
        (json!({"all_depots": true}), "all depots"),
    ] {
        let person = posted(&administrator, "/v1/people", &new).await;
        let (of_lead, of_all) = (Phone::new(), Phone::new());
        let mut tokens = Vec::new();
        for (maker, phone) in [(&lead, &of_lead), (&administrator, &of_all)] {
            let letters = code(maker, json!({"person_id": person})).await;
            let enrolled = phone.enrol(&anyone, &letters).await.expect(201).json();
            tokens.push(enrolled["tokens"].clone());
        }
        // Another name is no reason.
        change(&administrator, &person, json!({"name": name})).await;
        for tokens in &tokens {
            bearer(&anyone, tokens).get("/v1/me").await.expect(200);
        }
        change(&administrator, &person, more).await;
        let path = format!("/v1/depots/{far}");
        bearer(&anyone, &tokens[0]).get(&path).await.problem(401);
        of_lead
            .refresh(&anyone, &tokens[0], None)
            .await
            .problem(401);
        bearer(&anyone, &tokens[1]).get(&path).await.expect(200);
        of_all.refresh(&anyone, &tokens[1], None).await.expect(200);
        // What it had not sent is not lost.
        let entries = json!({"entries": [{"id": Uuid::now_v7(), "what": "a fault", "body": {}}]});
        let kept = of_lead.post(&anyone, "/v1/devices/unsent", &entries).await;
        kept.expect(200);
    }

    // A shared phone is at its depot whatever it is granted.
    let phone = Phone::new();
    let letters = code(&lead, json!({"depot_id": home})).await;
    let enrolled = phone.enrol(&anyone, &letters).await.expect(201).json();
    let itself = enrolled["device"]["person_id"].as_str().expect("a person");
    change(&administrator, itself, json!({"all_depots": true})).await;
    let me = bearer(&anyone, &enrolled["tokens"]).get("/v1/me").await;
    assert_eq!(me.expect(200).json()["depots"], json!([home]));
}

/// A person's phone tells where they are and what they do: it is shown to them, and to who answers for every depot they work
/// at. To others it does not exist.
#[tokio::test]
async fn a_persons_phone_is_hidden_from_who_does_not_lead_all_of_their_depots() {
    let server = TestServer::start().await;
    let (anyone, lead) = (server.anonymous(), server.depot_lead().await);
    let administrator = server.administrator().await;
    let (home, far) = (server.world.ours.home.id, server.world.ours.far.id);
    let lead_id = person(&server, Role::DepotLead).await;
    let enrolled = async |person: &str| {
        let letters = code(&administrator, json!({"person_id": person})).await;
        let enrolled = Phone::new().enrol(&anyone, &letters).await.expect(201);
        let device = enrolled.json()["device"]["id"].clone();
        device.as_str().expect("an id").to_owned()
    };
    let of = async |name: &str, role: &str, more: Value| {
        let mut new = json!({"name": name, "role": role});
        for (field, value) in more.as_object().expect("an object") {
            new[field] = value.clone();
        }
        let person = posted(&administrator, "/v1/people", &new).await;
        enrolled(&person).await
    };
    let shown = [
        enrolled(&lead_id).await,
        of("At Home", "technician", json!({"depots": [home]})).await,
    ];
    let hidden = [
        of("At Far", "technician", json!({"depots": [far]})).await,
        of("At both", "technician", json!({"depots": [home, far]})).await,
        of("Everywhere", "technician", json!({"all_depots": true})).await,
        of("Nowhere", "technician", json!({})).await,
        enrolled(&person(&server, Role::DistrictManager).await).await,
        enrolled(&person(&server, Role::Administrator).await).await,
    ];
    let absent = "0198c0de-0000-7000-8000-000000000000";
    let nowhere = lead.get(&format!("/v1/devices/{absent}")).await;
    let lost = json!({"because": "lost"});
    for id in &hidden {
        let found = lead.get(&format!("/v1/devices/{id}")).await;
        found.problem(404);
        assert_eq!(found.body, nowhere.body, "to the byte");
        let revoked = lead.post(&format!("/v1/devices/{id}/revoke"), &lost).await;
        revoked.problem(404);
        assert_eq!(revoked.body, nowhere.body);
    }
    let listed = async |actor: &Actor, query: &str| -> BTreeSet<String> {
        let page = actor.get(&format!("/v1/devices?limit=200{query}")).await;
        let page = page.expect(200).json();
        let items = page["items"].as_array().expect("a list").iter();
        items
            .map(|it| it["id"].as_str().expect("an id").to_owned())
            .collect()
    };
    assert_eq!(listed(&lead, "").await, BTreeSet::from(shown.clone()));
    // Asking for somebody by name shows no more.
    let director = person(&server, Role::DistrictManager).await;
    let of_director = format!("&person_id={director}");
    assert_eq!(listed(&lead, &of_director).await, BTreeSet::new());
    for id in &shown {
        lead.get(&format!("/v1/devices/{id}")).await.expect(200);
    }
    let all = shown.iter().chain(&hidden).cloned().collect();
    assert_eq!(listed(&administrator, "").await, all);
    let foreign = server.foreign_administrator().await;
    assert_eq!(listed(&foreign, "").await, BTreeSet::new());
}
