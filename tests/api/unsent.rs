//! What phones had not sent when their session ended, however it ended, is kept for a person: never applied, never dropped,
//! and no more of it than there is room for.

use rimeyard_harness::{Actor, Answer, TestServer};
use rimeyard_store::Role;
use serde_json::{Value, json};
use tokio_postgres::Client;
use uuid::Uuid;

use super::devices::{bearer, person};
use super::fleet::{Fleet, owner, posted};
use super::phone::{Phone, code};

const PATH: &str = "/v1/devices/unsent";

fn outbox(entries: &[Value]) -> Value {
    json!({"entries": entries})
}

fn entry(body: Value) -> Value {
    json!({"id": Uuid::now_v7(), "what": "meter-readings", "body": body})
}

fn of_operator(operator: &str) -> Value {
    let mut one = entry(json!({"started": true}));
    one["operator_id"] = json!(operator);
    one
}

/// A phone enrolled for this, its tokens and its id.
async fn enrolled(lead: &Actor, of: Value) -> (Phone, Value, String) {
    let phone = Phone::new();
    let answer = phone.enrol(lead, &code(lead, of).await).await;
    let enrolled = answer.expect(201).json();
    let id = enrolled["device"]["id"].as_str().expect("an id").to_owned();
    (phone, enrolled["tokens"].clone(), id)
}

async fn change(server: &TestServer, person: &str, change: Value) {
    let administrator = server.administrator().await;
    let path = format!("/v1/people/{person}");
    let etag = administrator.get(&path).await.expect(200).etag();
    administrator.patch(&path, &etag, &change).await.expect(200);
}

async fn kept_of(actor: &Actor, device: &str) -> Vec<Value> {
    let path = format!("/v1/unsent?device_id={device}");
    let kept = actor.get(&path).await.expect(200).json();
    kept["items"].as_array().expect("a list").clone()
}

#[tokio::test]
async fn the_phone_of_somebody_who_left_hands_in_what_it_has() {
    let server = TestServer::start().await;
    let (anyone, lead) = (server.anonymous(), server.depot_lead().await);
    let home = server.world.ours.home.id;
    let Fleet { unit, .. } =
        Fleet::at(&server.administrator().await, &server.world.ours.home).await;
    for (ends_with, why) in [
        (json!({"active": false}), "they left"),
        (json!({"role": "operator"}), "another role"),
        (
            json!({"email": "new@ours.example", "password": "fourteen warm mittens"}),
            "a password",
        ),
    ] {
        let new = json!({"name": why, "role": "technician", "depots": [home]});
        let technician = posted(&server.administrator().await, "/v1/people", &new).await;
        let (phone, tokens, device) = enrolled(&lead, json!({"person_id": technician})).await;
        let noted = entry(json!({"unit_id": unit, "run_hours": 41.5}));
        let all = outbox(std::slice::from_ref(&noted));
        phone.post(&anyone, PATH, &all).await.problem(401);
        change(&server, &technician, ends_with).await;
        phone.refresh(&anyone, &tokens, None).await.problem(401);
        let kept = phone.post(&anyone, PATH, &all).await.expect(200);
        assert_eq!(kept.json(), json!({"kept": 1, "known": 0}), "{why}");
        let waits = kept_of(&lead, &device).await;
        assert_eq!(waits[0]["body"], noted["body"], "{why}");
        assert_eq!(waits[0]["operator_id"], Value::Null);
    }
    // Signing out ends a session as well.
    let technician = person(&server, Role::Technician).await;
    let (phone, tokens, _) = enrolled(&lead, json!({"person_id": technician})).await;
    let signed_in = bearer(&anyone, &tokens);
    signed_in.post("/v1/sign-out", &json!({})).await.expect(204);
    let all = outbox(&[entry(json!({}))]);
    phone.post(&anyone, PATH, &all).await.expect(200);
}

#[tokio::test]
async fn a_shared_phone_hands_in_what_it_has_of_an_operator_who_left_and_nothing_else() {
    let server = TestServer::start().await;
    let (anyone, lead) = (server.anonymous(), server.depot_lead().await);
    let (home, far) = (server.world.ours.home.id, server.world.ours.far.id);
    let stays = person(&server, Role::Operator).await;
    let new = json!({"name": "Leaves", "role": "operator", "depots": [home]});
    let administrator = server.administrator().await;
    let leaves = posted(&administrator, "/v1/people", &new).await;
    let moves = posted(&administrator, "/v1/people", &new).await;
    let (phone, tokens, device) = enrolled(&lead, json!({"depot_id": home})).await;
    let send = async |entries: &[Value]| phone.post(&anyone, PATH, &outbox(entries)).await;
    let own = entry(json!({}));
    // While they may act on it, what is of them is written as their word.
    send(std::slice::from_ref(&own)).await.problem(401);
    for operator in [&leaves, &moves, &stays] {
        let refused = send(&[of_operator(operator)]).await;
        assert_eq!(refused.problem(422), ["entries[0].operator_id"]);
    }
    change(&server, &leaves, json!({"active": false})).await;
    change(&server, &moves, json!({"depots": [far]})).await;
    for operator in [&leaves, &moves] {
        let refused = phone.refresh(&anyone, &tokens, Some(operator)).await;
        assert_eq!(refused.problem(422), ["operator_id"]);
    }
    let gone = [of_operator(&leaves), of_operator(&moves)];
    for other in [own, of_operator(&stays)] {
        let refused = send(&[gone[0].clone(), other]).await;
        assert_eq!(refused.problem(422), ["entries[1].operator_id"]);
    }
    assert_eq!(
        send(&gone).await.expect(200).json(),
        json!({"kept": 2, "known": 0})
    );
    let waits = kept_of(&lead, &device).await;
    let of: Vec<&Value> = waits.iter().map(|one| &one["operator_id"]).collect();
    assert_eq!(of, [&json!(leaves), &json!(moves)]);
    assert_eq!(waits[0]["depot_id"], json!(home));
    // It goes on meanwhile. A person's own phone is in nobody else's hands.
    phone.refresh(&anyone, &tokens, None).await.expect(200);
    let technician = json!({"person_id": person(&server, Role::Technician).await});
    let (phone, ..) = enrolled(&lead, technician).await;
    let refused = phone.post(&anyone, PATH, &outbox(&gone)).await;
    refused.problem(401);
}

/// A phone that was shut out, and a look at the tables.
async fn shut_out(server: &TestServer) -> (Phone, Uuid, Client) {
    let lead = server.depot_lead().await;
    let (phone, _, device) = enrolled(&lead, json!({"depot_id": server.world.ours.home.id})).await;
    let path = format!("/v1/devices/{device}/revoke");
    let lost = json!({"because": "lost"});
    lead.post(&path, &lost).await.expect(200);
    (phone, device.parse().expect("an id"), owner(server).await)
}

/// Keeps so many entries of so many bytes of a phone.
async fn fill(owner: &Client, device: Uuid, entries: i32, bytes: i32) {
    owner
        .execute(
            "insert into unsent (org_id, id, device_id, what, body)
             select d.org_id, gen_random_uuid(), d.id, 'a fault', '{' || repeat(' ', $3 - 2) || '}'
             from device d, generate_series(1, $2) where d.id = $1",
            &[&device, &entries, &bytes],
        )
        .await
        .expect("kept");
}

#[tokio::test]
async fn what_is_here_is_known_though_there_is_no_room_for_more() {
    let server = TestServer::start().await;
    let anyone = server.anonymous();
    // One entry of 2 bytes, and but for 3 bytes, or 1 entry, all there is room for.
    const MIB: i32 = 1024 * 1024;
    let fills: [&[(i32, i32)]; 2] = [&[(1_023, 65_536), (1, 65_531)], &[(19_998, 2)]];
    assert_eq!((1_023 * 65_536 + 65_531) + 2 + 3, 64 * MIB);
    for full in fills {
        let (phone, device, owner) = shut_out(&server).await;
        let send = async |entries: &[Value]| -> Answer {
            phone.post(&anyone, PATH, &outbox(entries)).await
        };
        let first = entry(json!({}));
        send(std::slice::from_ref(&first)).await.expect(200);
        for (entries, bytes) in full {
            fill(&owner, device, *entries, *bytes).await;
        }
        let more = [entry(json!({})), entry(json!({}))];
        let refused = send(&more).await;
        assert_eq!(refused.problem(409), ["entries"]);
        let again = send(&[first.clone(), first.clone()]).await.expect(200);
        assert_eq!(again.json(), json!({"kept": 0, "known": 2}));
        // Twice in one outbox it is one.
        let last = [more[0].clone(), first, more[0].clone()];
        assert_eq!(
            send(&last).await.expect(200).json(),
            json!({"kept": 1, "known": 2})
        );
        // What was kept is in the audit, and what was known or refused is not.
        let sql = "select detail->>'kept' from audit where action = 'keep unsent' and object_id = $1 order by id";
        let rows = owner.query(sql, &[&device]).await.expect("the audit");
        let kept: Vec<&str> = rows.iter().map(|row| row.get(0)).collect();
        assert_eq!(kept, ["1", "1"]);
    }
}
