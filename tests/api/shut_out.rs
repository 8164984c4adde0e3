//! Who is shut out stays so, whatever they do at the same moment; and who was let in as one is not let in as another.

use reqwest::Method;
use rimeyard_harness::{Actor, Answer, PASSWORD, TestServer, email};
use rimeyard_store::Role;
use serde_json::{Value, json};
use uuid::Uuid;

use super::audit::person_of;
use super::fleet::posted;
use super::phone::{Phone, code};

/// So often the same race is run.
const RACES: usize = 12;

/// A technician of their own at Home, with what they sign in with.
async fn technician(server: &TestServer, name: &str) -> (String, Value) {
    let email = format!("{name}@ours.example");
    let new = json!({"name": name, "role": "technician", "depots": [server.world.ours.home.id], "email": email, "password": PASSWORD});
    let id = posted(&server.administrator().await, "/v1/people", &new).await;
    (id, json!({"email": email, "password": PASSWORD}))
}

#[tokio::test]
async fn a_phone_that_goes_on_while_it_is_shut_out_is_out() {
    let server = TestServer::start().await;
    let (anyone, lead) = (server.anonymous(), server.depot_lead().await);
    let (person, _) = technician(&server, "ada").await;
    for _ in 0..RACES {
        let phone = Phone::new();
        let letters = code(&lead, json!({"person_id": person})).await;
        let enrolled = phone.enrol(&anyone, &letters).await.expect(201).json();
        let device = enrolled["device"]["id"].as_str().expect("an id");
        let goes_on = async {
            let mut tokens = enrolled["tokens"].clone();
            loop {
                let next = phone.refresh(&anyone, &tokens, None).await;
                if next.status != 200 {
                    return tokens;
                }
                tokens = next.json();
            }
        };
        let path = format!("/v1/devices/{device}/revoke");
        let lost = json!({"because": "lost"});
        let (tokens, shut) = futures::join!(goes_on, lead.post(&path, &lost));
        shut.expect(200);
        phone.refresh(&anyone, &tokens, None).await.problem(401);
    }
}

#[tokio::test]
async fn whoever_signs_in_with_the_old_password_meanwhile_is_out() {
    let server = TestServer::start().await;
    let (anyone, administrator) = (server.anonymous(), server.administrator().await);
    let (person, mut knows) = technician(&server, "ada").await;
    let path = format!("/v1/people/{person}");
    for round in 0..RACES / 3 {
        let old = knows.clone();
        let signs_in = async || {
            let mut begun = Vec::new();
            loop {
                let answer = anyone.post("/v1/sign-in", &old).await;
                if answer.status != 200 {
                    return begun;
                }
                begun.push(answer.json()["refresh_token"].clone());
            }
        };
        let new = format!("fourteen warm mittens {round}");
        let changes = async {
            let etag = administrator.get(&path).await.expect(200).etag();
            let change = json!({"password": new});
            administrator.patch(&path, &etag, &change).await.expect(200)
        };
        let (one, two, _) = futures::join!(signs_in(), signs_in(), changes);
        for token in one.iter().chain(&two) {
            let refresh = json!({"refresh_token": token});
            let answer = anyone.post("/v1/sign-in/refresh", &refresh).await;
            answer.problem(401);
        }
        knows["password"] = json!(new);
        anyone.post("/v1/sign-in", &knows).await.expect(200);
    }
}

#[tokio::test]
async fn what_was_enrolled_for_a_technician_is_no_administrators() {
    let server = TestServer::start().await;
    let (anyone, lead) = (server.anonymous(), server.depot_lead().await);
    let administrator = server.administrator().await;
    let (person, _) = technician(&server, "ada").await;
    let phone = Phone::new();
    let letters = code(&lead, json!({"person_id": person})).await;
    let enrolled = phone.enrol(&anyone, &letters).await.expect(201).json();
    let waits = code(&lead, json!({"person_id": person})).await;
    let path = format!("/v1/people/{person}");
    let promotion = json!({"role": "administrator", "all_depots": true});
    administrator
        .patch(&path, "\"1\"", &promotion)
        .await
        .expect(200);
    let tokens = &enrolled["tokens"];
    phone.refresh(&anyone, tokens, None).await.problem(401);
    // The same code again begins no session that has ended, and one that waited is worth nothing.
    phone.enrol(&anyone, &letters).await.problem(401);
    Phone::new().enrol(&anyone, &waits).await.problem(401);
}

#[tokio::test]
async fn a_lead_shuts_out_nobody_above_them() {
    let server = TestServer::start().await;
    let (anyone, lead) = (server.anonymous(), server.depot_lead().await);
    let administrator = server.administrator().await;
    let home = server.world.ours.home.id;
    let new = json!({"name": "Above", "role": "district manager", "depots": [home]});
    let above = posted(&administrator, "/v1/people", &new).await;
    let (below, _) = technician(&server, "ada").await;
    for (person, status) in [(above, 403), (below, 200)] {
        let letters = code(&administrator, json!({"person_id": person})).await;
        let phone = Phone::new().enrol(&anyone, &letters).await;
        let phone = phone.expect(201).json();
        let path = format!(
            "/v1/devices/{}/revoke",
            phone["device"]["id"].as_str().expect("an id")
        );
        let answer = lead.post(&path, &json!({"because": "lost"})).await;
        assert_eq!(answer.status, status, "{}", answer.body);
    }
}

#[tokio::test]
async fn what_no_reader_could_read_is_not_kept() {
    let server = TestServer::start().await;
    let (anyone, lead) = (server.anonymous(), server.depot_lead().await);
    let (person, _) = technician(&server, "ada").await;
    let phone = Phone::new();
    let letters = code(&lead, json!({"person_id": person})).await;
    let enrolled = phone.enrol(&anyone, &letters).await.expect(201).json();
    let device = enrolled["device"]["id"].as_str().expect("an id");
    let lost = json!({"because": "lost"});
    lead.post(&format!("/v1/devices/{device}/revoke"), &lost)
        .await
        .expect(200);
    let deep = format!("{{\"a\":{}{}}}", "[".repeat(200), "]".repeat(200));
    for body in ["{\"a\":1e400}", "{\"a\":\"\\ud800\"}", &deep] {
        let path = "/v1/devices/unsent";
        let proof = phone.proof(&Phone::told(&anyone, path));
        let outbox = format!(
            "{{\"entries\":[{{\"id\":\"{}\",\"what\":\"x\",\"body\":{body}}}]}}",
            Uuid::now_v7()
        );
        let request = anyone.request(Method::POST, path).header("DPoP", proof);
        let request = request.header("Content-Type", "application/json");
        let answer = Answer::of(request.body(outbox)).await;
        assert!([400, 422].contains(&answer.status), "{}", answer.body);
        // Neither does a NUL beside it make it a fault of ours.
        let nul = format!("{{\"entries\":[{{\"what\":\"\\u0000\",\"body\":{body}}}]}}");
        let request = anyone.request(Method::POST, path);
        let request = request.header("Content-Type", "application/json");
        let answer = Answer::of(request.body(nul)).await;
        assert!(answer.status < 500, "{}", answer.body);
    }
    lead.get("/v1/unsent").await.expect(200);
}

#[tokio::test]
async fn the_last_who_can_sign_in_to_administer_stays() {
    let server = TestServer::start().await;
    let administrator: Actor = server.administrator().await;
    let nobody = json!({"name": "Nobody", "role": "administrator", "all_depots": true});
    posted(&administrator, "/v1/people", &nobody).await;
    let path = format!("/v1/people/{}", person_of(&administrator));
    let etag = administrator.get(&path).await.expect(200).etag();
    let gone = json!({"active": false});
    administrator.patch(&path, &etag, &gone).await.problem(409);
    // Those of the test's world who administer are one.
    let own = email("ours", Role::Administrator);
    let same = administrator.get(&format!("/v1/people?email={own}")).await;
    assert_eq!(same.expect(200).json()["items"][0]["active"], json!(true));
}
