//! Nothing tells whether somebody has an account, but for what an address that can be had only once must tell: that it is
//! taken. By whom, and in which organisation, not even that says.

use rimeyard_harness::{Answer, PASSWORD, TestServer, email};
use rimeyard_store::Role;
use serde_json::json;

use super::fleet::posted;
use super::session::sign_in;

/// What a client can see of an answer, but for what is of each request.
fn told(answer: &Answer) -> (u16, String, Vec<String>) {
    let names = answer.headers.keys().map(|name| name.to_string());
    let mut names: Vec<String> = names.collect();
    names.sort();
    (answer.status, answer.body.clone(), names)
}

#[tokio::test]
async fn a_sign_in_tells_nothing_of_who_there_is() {
    let server = TestServer::start_with(|settings| settings.wrong_passwords_per_email = 2).await;
    let anyone = server.anonymous();
    let mut all = Vec::new();
    for address in [
        email("ours", Role::Technician),
        email("theirs", Role::Technician),
        "nobody@ours.example".to_owned(),
        "nobody@nowhere.example".to_owned(),
    ] {
        // Too many are too many whether or not there is such an address.
        let mut answers = Vec::new();
        for _ in 0..3 {
            answers.push(told(&sign_in(&anyone, &address, "wrong password").await));
        }
        let statuses: Vec<u16> = answers.iter().map(|(status, ..)| *status).collect();
        assert_eq!(statuses, [401, 401, 429], "{address}");
        all.push(answers);
    }
    assert!(all.iter().all(|told| *told == all[0]), "{all:?}");
}

#[tokio::test]
async fn an_address_that_is_taken_is_taken_in_the_same_words_wherever() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let new = |address: &str| json!({"name": "Ada Frost", "role": "technician", "depots": [], "email": address, "password": PASSWORD});
    let ours = administrator
        .post("/v1/people", &new(&email("ours", Role::Operator)))
        .await;
    let theirs = administrator
        .post("/v1/people", &new(&email("theirs", Role::Operator)))
        .await;
    assert_eq!(ours.problem(409), ["email"]);
    assert_eq!(told(&ours), told(&theirs));
    assert!(!theirs.body.contains("theirs"), "{}", theirs.body);

    let person = posted(&administrator, "/v1/people", &new("ada@ours.example")).await;
    let path = format!("/v1/people/{person}");
    let mut answers = Vec::new();
    for organisation in ["ours", "theirs"] {
        let change = json!({"email": email(organisation, Role::Operator)});
        answers.push(told(&administrator.patch(&path, "\"1\"", &change).await));
    }
    assert_eq!(answers[0].0, 409);
    assert_eq!(answers[0], answers[1]);
    // And the one whose address it is signs in as before.
    sign_in(
        &server.anonymous(),
        &email("theirs", Role::Operator),
        PASSWORD,
    )
    .await
    .expect(200);
}

#[tokio::test]
async fn people_are_found_in_ones_own_organisation_alone() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let found = async |address: &str| {
        administrator
            .get(&format!("/v1/people?email={address}"))
            .await
            .expect(200)
    };
    let nobody = found("nobody@theirs.example").await;
    assert_eq!(nobody.json(), json!({"items": [], "next_cursor": null}));
    for role in Role::ALL {
        assert_eq!(
            told(&found(&email("theirs", role)).await),
            told(&nobody),
            "{role}"
        );
        assert_eq!(
            found(&email("ours", role)).await.json()["items"]
                .as_array()
                .map(Vec::len),
            Some(1)
        );
    }
    let all = administrator.get("/v1/people").await.expect(200).body;
    assert!(!all.contains("theirs"), "{all}");
}

#[tokio::test]
async fn changing_ones_password_tells_nothing_of_others() {
    // Another's password is as wrong as any, and one that others have is as good as any.
    let server = TestServer::start_with(|settings| settings.wrong_passwords_per_email = 100).await;
    let administrator = server.administrator().await;
    let other = "fifteen loud ploughs";
    let change = json!({"password": other});
    let people = administrator
        .get(&format!(
            "/v1/people?email={}",
            email("ours", Role::Operator)
        ))
        .await
        .json();
    let path = format!(
        "/v1/people/{}",
        people["items"][0]["id"].as_str().expect("an id")
    );
    administrator
        .patch(&path, "\"1\"", &change)
        .await
        .expect(200);
    let technician = server.technician().await;
    let attempt = async |current: &str, new: &str| {
        technician
            .post("/v1/me/password", &json!({"current": current, "new": new}))
            .await
    };
    let wrong = attempt("wrong password", "sixteen dry mittens").await;
    assert_eq!(wrong.problem(422), ["current"]);
    assert_eq!(
        told(&attempt(other, "sixteen dry mittens").await),
        told(&wrong)
    );
    attempt(PASSWORD, other).await.expect(200);
}
