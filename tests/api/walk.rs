//! Every operation of the document, tried by nobody, by each role, by those who are not granted the depot and by
//! another organisation. It is driven by the document that the server itself serves, so an operation cannot be left
//! out: a new one without an example fails here. What may be done by whom, and to whose things, is the table of
//! `policy`, openapi/who-may-do-what.md; that it is so is proven here.

use reqwest::Method;
use rimeyard_api::token::{Keys, Kind, Subject};
use rimeyard_harness::{Actor, Answer, TestServer};
use rimeyard_store::{Role, door};
use serde_json::Value;
use uuid::Uuid;

use super::audit::Audit;
use super::examples::{absent, body, example, good_body};
use super::forger::claims_of;
use super::operations::{Operation, Scope, absents, filled, operations};

#[tokio::test]
async fn each_role_may_do_what_the_document_says_and_nothing_else() {
    let server = TestServer::start_with_worker().await;
    let home = &server.world.ours.home;
    let audit = Audit::of(&server).await;
    for operation in operations(&server).await {
        // Each time anew: changing one's password ends one's other sessions.
        let administrator = server.administrator().await;
        let Some(roles) = &operation.roles else {
            continue;
        };
        assert!(!roles.is_empty(), "{}: nobody may", operation.name);
        for role in Role::ALL {
            // Objects of their own for each, since some can be changed only once. Signing out ends the session.
            let actor = server.of_role(role).await;
            let mut values = Vec::new();
            for name in &operation.parameters {
                values.push(example(name, &administrator, home).await.value);
            }
            let path = filled(&operation, &values);
            if !roles.contains(&role) {
                operation.refused(&operation.call(&actor, &path).await, 403);
                continue;
            }
            let etag = if operation.method == Method::PATCH {
                administrator.get(&path).await.etag()
            } else {
                String::new()
            };
            let good = good_body(&operation.name, &administrator, home).await;
            let asked = good.clone().unwrap_or_else(|| body(&operation.name));
            let answer = operation.call_with(&actor, &path, &asked, &etag).await;
            let well = match good {
                Some(_) => (200..=204).contains(&answer.status) || answer.status == 303,
                None => answer.status == 422,
            };
            assert!(
                well,
                "{} by the {role}: {} {}; give tests/api/examples.rs a body with which it goes well",
                operation.name, answer.status, answer.body
            );
            audit.check(&operation, &actor, &path, &answer).await;
        }
    }
}

#[tokio::test]
async fn ids_in_bodies_tell_nothing_of_what_is_hidden() {
    let server = TestServer::start_with_worker().await;
    let administrator = server.administrator().await;
    let foreign_administrator = server.foreign_administrator().await;
    let (ours, theirs) = (&server.world.ours, &server.world.theirs);
    let mut tried = 0;
    for operation in operations(&server).await {
        // Those with a path are tried with what is hidden there.
        if !operation.has_body || !operation.parameters.is_empty() || operation.page {
            continue;
        }
        let foreign = good_body(&operation.name, &foreign_administrator, &theirs.home).await;
        let far = good_body(&operation.name, &administrator, &ours.far).await;
        let (Some(far), Some(foreign)) = (far, foreign) else {
            continue;
        };
        for role in Role::ALL.into_iter().filter(|role| operation.may(*role)) {
            let sees_far = matches!(role, Role::DistrictManager | Role::Administrator);
            for hidden in [&foreign].into_iter().chain((!sees_far).then_some(&far)) {
                let nowhere = without_ids(hidden);
                if operation.roles.is_none() || nowhere == *hidden {
                    continue;
                }
                let actor = server.of_role(role).await;
                let answer = operation
                    .call_with(&actor, &operation.path, hidden, "")
                    .await;
                let absent = operation
                    .call_with(&actor, &operation.path, &nowhere, "")
                    .await;
                assert!(
                    matches!(answer.status, 404 | 422),
                    "{} by the {role}: {}",
                    operation.name,
                    answer.status
                );
                assert_eq!(
                    (answer.status, &answer.body),
                    (absent.status, &absent.body),
                    "{} by the {role}: {hidden}",
                    operation.name
                );
                tried += 1;
            }
        }
    }
    assert!(tried >= 12, "{tried}");
}

/// The same with the id of nothing in place of each id; names stay.
fn without_ids(body: &Value) -> Value {
    match body {
        Value::String(text) if text.parse::<Uuid>().is_ok() => absent("").into(),
        Value::Array(items) => items.iter().map(without_ids).collect(),
        Value::Object(fields) => fields
            .iter()
            .map(|(name, value)| {
                let is_name = matches!(name.as_str(), "name" | "tag");
                let value = if is_name {
                    value.clone()
                } else {
                    without_ids(value)
                };
                (name.clone(), value)
            })
            .collect(),
        other => other.clone(),
    }
}

#[tokio::test]
async fn nobody_gets_past_the_door() {
    let server = TestServer::start_with_worker().await;
    let administrator = server.administrator().await;
    let expired = expired(&server, &administrator).await;
    for operation in operations(&server).await {
        let mut values = Vec::new();
        for name in &operation.parameters {
            values.push(
                example(name, &administrator, &server.world.ours.home)
                    .await
                    .value,
            );
        }
        let path = filled(&operation, &values);
        let answer = operation.call(&server.anonymous(), &path).await;
        if operation.roles.is_some() {
            operation.refused(&answer, 401);
            operation.refused(&operation.call(&expired, &path).await, 401);
            let nowhere = operation
                .call(
                    &server.anonymous(),
                    &filled(&operation, &absents(&operation)),
                )
                .await;
            assert_eq!(
                nowhere.body, answer.body,
                "{}: nothing tells what exists",
                operation.name
            );
        } else {
            assert!(answer.status < 500, "{}: {}", operation.name, answer.body);
        }
    }
}

/// The same, with a token that the server itself made for their session when it was a minute longer ago than one lives.
async fn expired(server: &TestServer, actor: &Actor) -> Actor {
    let no_key = || Err(rimeyard_store::Error::internal("there is a key already"));
    let keys = door::signing_keys(&server.database, no_key).await;
    let keys = Keys::new("rimeyard".to_owned(), &keys.expect("keys")).expect("keys");
    let subject: Subject = serde_json::from_value(claims_of(actor.token())).expect("a subject");
    let made_at = |at_s: i64| {
        let token = keys.sign(Kind::Access, subject, at_s).expect("signed");
        actor.with_token(&token)
    };
    let now_s = jiff::Timestamp::now().as_second();
    // Made now, it is let in: what the other is refused for is its age.
    made_at(now_s).get("/v1/me").await.expect(200);
    made_at(now_s - Kind::Access.life_s() - 60)
}

#[tokio::test]
async fn what_is_hidden_answers_like_what_does_not_exist_to_the_byte() {
    let server = TestServer::start_with_worker().await;
    let administrator = server.administrator().await;
    let foreign_administrator = server.foreign_administrator().await;
    let (ours, theirs) = (&server.world.ours, &server.world.theirs);
    for operation in operations(&server).await {
        let Some(roles) = &operation.roles else {
            continue;
        };
        if operation.parameters.is_empty() {
            continue;
        }
        // Each parameter in turn is of somewhere else; the ones before it are our own.
        for hidden in 0..operation.parameters.len() {
            let name = &operation.parameters[hidden];
            if !example(name, &administrator, &ours.home).await.id {
                continue;
            }
            let (mut far, mut foreign, mut of_a_depot) = (Vec::new(), Vec::new(), false);
            for (index, name) in operation.parameters.iter().enumerate() {
                let own = example(name, &administrator, &ours.home).await;
                if index == hidden {
                    let other = example(name, &administrator, &ours.far).await;
                    of_a_depot = other.of_a_depot;
                    assert_eq!(
                        of_a_depot,
                        operation.scope() == Scope::Depot,
                        "{}: whose its things are, as the table has it",
                        operation.name
                    );
                    far.push(other.value);
                    foreign.push(
                        example(name, &foreign_administrator, &theirs.home)
                            .await
                            .value,
                    );
                } else {
                    far.push(own.value.clone());
                    foreign.push(own.value);
                }
            }
            let nowhere = filled(&operation, &absents(&operation));
            for role in Role::ALL.into_iter().filter(|role| roles.contains(role)) {
                let actor = server.of_role(role).await;
                let absent = operation.call(&actor, &nowhere).await;
                assert_eq!(
                    absent.status, 404,
                    "{} by the {role}: {}; give tests/api/examples.rs a body that it takes",
                    operation.name, absent.body
                );
                operation.refused(&absent, 404);
                let sees_far =
                    matches!(role, Role::DistrictManager | Role::Administrator) || !of_a_depot;
                if !sees_far {
                    same(
                        &operation,
                        role,
                        "a depot not granted",
                        &operation.call(&actor, &filled(&operation, &far)).await,
                        &absent,
                    );
                }
                let answer = operation.call(&actor, &filled(&operation, &foreign)).await;
                same(&operation, role, "another organisation", &answer, &absent);
            }
        }
    }
}

#[track_caller]
fn same(operation: &Operation, role: Role, what: &str, answer: &Answer, absent: &Answer) {
    assert_eq!(
        (answer.status, &answer.body),
        (404, &absent.body),
        "{} by the {role}: {what}",
        operation.name
    );
    let told = |answer: &Answer| {
        let mut headers: Vec<(String, String)> = answer
            .headers
            .iter()
            .filter(|(name, _)| !matches!(name.as_str(), "x-request-id" | "date"))
            .map(|(name, value)| {
                (
                    name.to_string(),
                    value.to_str().unwrap_or_default().to_owned(),
                )
            })
            .collect();
        headers.sort();
        headers
    };
    assert_eq!(
        told(answer),
        told(absent),
        "{} by the {role}: {what}, headers",
        operation.name
    );
}
