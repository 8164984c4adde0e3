//! Sign-ins tried too often.

use reqwest::Method;
use rimeyard_harness::{Actor, Answer, PASSWORD, TestServer, email};
use rimeyard_store::Role;
use serde_json::json;

use super::session::sign_in;

#[tokio::test]
async fn guessing_is_slowed_down_and_says_how_long() {
    let server = TestServer::start_with(|settings| settings.wrong_passwords_per_email = 3).await;
    let anyone = server.anonymous();
    for _ in 0..3 {
        sign_in(&anyone, &email("ours", Role::Technician), "wrong password")
            .await
            .problem(401);
    }
    let answer = sign_in(&anyone, &email("ours", Role::Technician), PASSWORD).await;
    answer.problem(429);
    let wait_s: u64 = answer.header("retry-after").parse().unwrap();
    assert!((1..=300).contains(&wait_s));
    sign_in(&anyone, &email("ours", Role::Operator), PASSWORD)
        .await
        .expect(200);

    let server = TestServer::start_with(|settings| settings.sign_ins_per_address = 2).await;
    server.technician().await;
    server.technician().await;
    sign_in(
        &server.anonymous(),
        &email("ours", Role::Technician),
        PASSWORD,
    )
    .await
    .problem(429);
}

async fn forwarded(actor: &Actor, addresses: &str, password: &str) -> u16 {
    let body = json!({"email": email("ours", Role::Technician), "password": password});
    let request = actor
        .request(Method::POST, "/v1/sign-in")
        .header("X-Forwarded-For", addresses)
        .json(&body);
    Answer::of(request).await.status
}

#[tokio::test]
async fn behind_a_proxy_each_client_is_told_by_what_the_proxy_has_seen() {
    // Addresses are those of RFC 5737 and RFC 3849, for documentation.
    let server = TestServer::start_with(|settings| {
        settings.wrong_passwords_per_email = 2;
        settings.behind_proxy = true;
    })
    .await;
    let anyone = server.anonymous();
    // Whoever guesses may write what they like before what the proxy adds.
    for before in ["192.0.2.1, ", "192.0.2.2, ", "nonsense, "] {
        let status = forwarded(&anyone, &format!("{before}203.0.113.9"), "wrong password").await;
        assert_eq!(status, if before.starts_with('n') { 429 } else { 401 });
    }
    // The person whose email it is signs in from elsewhere all the same.
    assert_eq!(forwarded(&anyone, "203.0.113.10", PASSWORD).await, 200);
    // One subscriber has 2^64 addresses.
    for (last, status) in [(1, 401), (2, 401), (3, 429)] {
        let address = format!("2001:db8:0:7::{last}");
        assert_eq!(forwarded(&anyone, &address, "wrong password").await, status);
    }
    assert_eq!(forwarded(&anyone, "2001:db8:0:8::1", PASSWORD).await, 200);

    // Without a proxy nobody is believed.
    let server = TestServer::start_with(|settings| settings.wrong_passwords_per_email = 2).await;
    let anyone = server.anonymous();
    for (address, status) in [(1, 401), (2, 401), (3, 429)] {
        let address = format!("192.0.2.{address}");
        assert_eq!(forwarded(&anyone, &address, "wrong password").await, status);
    }
}

#[tokio::test]
async fn many_at_once_do_not_slip_by_and_all_networks_together_are_counted() {
    let server = TestServer::start_with(|settings| {
        settings.wrong_passwords_per_email = 2;
        settings.behind_proxy = true;
    })
    .await;
    let anyone = server.anonymous();
    let at_once = (0..8).map(|_| forwarded(&anyone, "192.0.2.1", "wrong password"));
    let statuses = futures::future::join_all(at_once).await;
    let tried = statuses.iter().filter(|status| **status == 401).count();
    assert_eq!(tried, 2, "{statuses:?}");
    for other in 2..=10 {
        for _ in 0..2 {
            let address = format!("192.0.2.{other}");
            assert_eq!(forwarded(&anyone, &address, "wrong password").await, 401);
        }
    }
    assert_eq!(forwarded(&anyone, "192.0.2.200", PASSWORD).await, 429);
}

#[tokio::test]
async fn what_can_be_nobodys_address_is_refused_and_not_remembered() {
    let server = TestServer::start_with(|settings| settings.wrong_passwords_per_email = 1).await;
    let long = format!("{}@ours.example", "x".repeat(500_000));
    for _ in 0..3 {
        sign_in(&server.anonymous(), &long, PASSWORD)
            .await
            .problem(401);
    }
}
