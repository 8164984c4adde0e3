//! Sign-in, sessions and signing keys.

use rimeyard_store::door::{self, Known, Session, SigningKey};
use serde_json::json;

use super::person::create;
use super::{House, owner};

async fn someone(house: &House) -> Known {
    create(house, json!({"name": "Ada", "role": "technician", "email": "ada@example.org", "password": "shovel the ramp"})).await.expect("created");
    door::sign_in(&house.database, "ada@example.org", "shovel the ramp")
        .await
        .expect("asked")
        .expect("let in")
        .known
}

async fn refresh(house: &House, token: &str) -> Option<Session> {
    door::refresh(&house.database, token, None)
        .await
        .expect("asked")
}

/// That it takes as long, the unit test of `password` shows: the same work is done.
#[tokio::test]
async fn nobody_is_let_in_by_an_unknown_address_or_a_wrong_password() {
    let house = House::new().await;
    assert!(!door::anybody(&house.database).await.expect("asked"));
    someone(&house).await;
    assert!(door::anybody(&house.database).await.expect("asked"));
    for email in ["ada@example.org", "nobody@example.org", "no address", ""] {
        let let_in = door::sign_in(&house.database, email, "a wrong password").await;
        assert!(let_in.expect("asked").is_none(), "{email}");
    }
}

/// OWASP Password Storage Cheat Sheet: argon2id, m = 19456 KiB, t = 2, p = 1; the PHC string says what was used.
#[tokio::test]
async fn passwords_are_hashed_as_the_cheat_sheet_says() {
    let house = House::new().await;
    someone(&house).await;
    let hash: String = owner(&house.name)
        .await
        .query_one("select password_hash from credential", &[])
        .await
        .expect("stored")
        .get(0);
    assert!(
        hash.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"),
        "{hash}"
    );
}

#[tokio::test]
async fn tokens_are_stored_hashed_and_used_once() {
    let house = House::new().await;
    let known = someone(&house).await;
    let first = door::begin_session(&house.database, known)
        .await
        .expect("begun");
    let stored: Vec<u8> = owner(&house.name)
        .await
        .query_one("select token_hash from refresh_token", &[])
        .await
        .expect("stored")
        .get(0);
    assert_eq!(stored.len(), 32);
    assert_ne!(stored, first.refresh_token.as_bytes());
    assert!(first.refresh_token.len() >= 43, "256 bits in base64");
    let second = refresh(&house, &first.refresh_token).await.expect("good");
    let third = refresh(&house, &second.refresh_token).await.expect("good");
    assert_eq!(
        (second.id, third.id, third.known),
        (first.id, first.id, known)
    );
    assert!(refresh(&house, "no such token").await.is_none());
    assert!(refresh(&house, "").await.is_none());
    assert!(refresh(&house, &third.refresh_token).await.is_some());
}

#[tokio::test]
async fn a_lost_answer_locks_nobody_out() {
    let house = House::new().await;
    let first = door::begin_session(&house.database, someone(&house).await)
        .await
        .expect("begun");
    let lost = refresh(&house, &first.refresh_token).await.expect("good");
    let got = refresh(&house, &first.refresh_token)
        .await
        .expect("good again: its successor was never used");
    assert_ne!(lost.refresh_token, got.refresh_token);
    let next = refresh(&house, &got.refresh_token).await.expect("good");
    // Whoever has the answer that was lost is not the phone.
    assert!(refresh(&house, &lost.refresh_token).await.is_none());
    assert!(
        refresh(&house, &next.refresh_token).await.is_none(),
        "and that ended the session"
    );
}

#[tokio::test]
async fn a_token_that_comes_again_after_its_successor_ends_the_session() {
    let house = House::new().await;
    let known = someone(&house).await;
    let stolen = door::begin_session(&house.database, known)
        .await
        .expect("begun");
    let other = door::begin_session(&house.database, known)
        .await
        .expect("begun");
    let second = refresh(&house, &stolen.refresh_token).await.expect("good");
    let third = refresh(&house, &second.refresh_token).await.expect("good");
    assert!(refresh(&house, &stolen.refresh_token).await.is_none());
    assert!(
        refresh(&house, &third.refresh_token).await.is_none(),
        "the whole family is dead"
    );
    assert!(
        refresh(&house, &other.refresh_token).await.is_some(),
        "and no other"
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn two_uses_at_the_same_moment_are_one_lost_answer() {
    let house = House::new().await;
    let first = door::begin_session(&house.database, someone(&house).await)
        .await
        .expect("begun");
    let both =
        futures::future::join_all((0..4).map(|_| refresh(&house, &first.refresh_token))).await;
    let last = both
        .into_iter()
        .map(|session| session.expect("good"))
        .next_back()
        .expect("four");
    assert!(refresh(&house, &last.refresh_token).await.is_some());
}

#[tokio::test]
async fn an_ended_or_expired_session_is_over() {
    let house = House::new().await;
    let known = someone(&house).await;
    let ended = door::begin_session(&house.database, known)
        .await
        .expect("begun");
    door::end_session(&house.database, known.org_id, ended.id)
        .await
        .expect("ended");
    assert!(refresh(&house, &ended.refresh_token).await.is_none());
    let expired = door::begin_session(&house.database, known)
        .await
        .expect("begun");
    owner(&house.name)
        .await
        .execute("update refresh_token set expires_at = now()", &[])
        .await
        .expect("time passes");
    assert!(refresh(&house, &expired.refresh_token).await.is_none());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn servers_that_start_together_make_one_key() {
    let house = House::new().await;
    let start = async |number: usize| {
        let make = || {
            Ok(SigningKey {
                kid: format!("key {number}"),
                private_pem: "private".into(),
                public_pem: "public".into(),
            })
        };
        door::signing_keys(&house.database, make)
            .await
            .expect("keys")
    };
    let keys = futures::future::join_all((0..4).map(start)).await;
    let kids: std::collections::BTreeSet<String> =
        keys.into_iter().flatten().map(|key| key.kid).collect();
    assert_eq!(kids.len(), 1, "{kids:?}");
}
