//! What is taken away at one server is gone at every other within five seconds: here a second
//! process on the same database.

use rimeyard_harness::{Actor, PASSWORD, TestServer, eventually};
use serde_json::{Value, json};

use super::fleet::posted;
use crate::ops::Serve;

/// Somebody who is signed in at one server and known to the other, and the path of their record.
struct Known {
    here: Actor,
    there: Actor,
    path: String,
    tokens: Value,
}

/// A person of their own for each case, granted Home and Far.
async fn known(
    here: &TestServer,
    there: &Actor,
    administrator: &Actor,
    role: &str,
    name: &str,
) -> Known {
    let email = format!("{name}@ours.example");
    let (home, far) = (here.world.ours.home.id, here.world.ours.far.id);
    let new = json!({"name": name, "role": role, "depots": [home, far], "email": email, "password": PASSWORD});
    let path = format!(
        "/v1/people/{}",
        posted(administrator, "/v1/people", &new).await
    );
    let credentials = json!({"email": email, "password": PASSWORD});
    let tokens = here
        .anonymous()
        .post("/v1/sign-in", &credentials)
        .await
        .expect(200)
        .json();
    let token = tokens["access_token"].as_str().expect("a token");
    let known = Known {
        here: here.anonymous().with_token(token),
        there: there.with_token(token),
        path,
        tokens,
    };
    for depot in [home, far] {
        known
            .there
            .get(&format!("/v1/depots/{depot}"))
            .await
            .expect(200);
    }
    known
}

#[tokio::test]
async fn what_is_taken_away_at_one_server_is_gone_at_the_other() {
    let here = TestServer::start().await;
    let serve = Serve::start(&here.login_url, &[]);
    let there = Actor::new(serve.address, None);
    let administrator = here.administrator().await;
    let new = async |role: &str, name: &str| known(&here, &there, &administrator, role, name).await;
    let far = format!("/v1/depots/{}", here.world.ours.far.id);
    let home = format!("/v1/depots/{}", here.world.ours.home.id);
    let change = async |who: &Known, change: Value| {
        administrator
            .patch(&who.path, "\"1\"", &change)
            .await
            .expect(200);
    };
    let status_there = async |who: &Known, path: &str, status: u16| {
        // Kept busy all the while: what is remembered must run out though it is asked for again and again.
        eventually(5.0, &format!("{path} is {status} there"), async || {
            who.there.get(path).await.status == status
        })
        .await;
    };

    let sent_away = new("technician", "ada").await;
    let signed_out = new("technician", "ben").await;
    let less_granted = new("technician", "cleo").await;
    let less_trusted = new("administrator", "dan").await;
    let new_password = new("technician", "eve").await;
    less_trusted.there.get("/v1/people").await.expect(200);

    futures::join!(
        async {
            change(&sent_away, json!({"active": false})).await;
            // Where it is done it counts at once.
            sent_away.here.get("/v1/me").await.problem(401);
            // So does whatever asks the database anyhow.
            let refresh = json!({"refresh_token": sent_away.tokens["refresh_token"]});
            there
                .post("/v1/sign-in/refresh", &refresh)
                .await
                .problem(401);
            let credentials = json!({"email": "ada@ours.example", "password": PASSWORD});
            there.post("/v1/sign-in", &credentials).await.problem(401);
            status_there(&sent_away, "/v1/me", 401).await;
        },
        async {
            signed_out
                .here
                .post("/v1/sign-out", &json!({}))
                .await
                .expect(204);
            signed_out.here.get("/v1/me").await.problem(401);
            status_there(&signed_out, "/v1/me", 401).await;
        },
        async {
            change(&less_granted, json!({"depots": [here.world.ours.home.id]})).await;
            less_granted.here.get(&far).await.problem(404);
            status_there(&less_granted, &far, 404).await;
            less_granted.there.get(&home).await.expect(200);
        },
        async {
            change(&less_trusted, json!({"role": "operator"})).await;
            less_trusted.here.get("/v1/people").await.problem(403);
            status_there(&less_trusted, "/v1/people", 403).await;
            less_trusted.there.get(&home).await.expect(200);
        },
        async {
            change(&new_password, json!({"password": "fourteen warm mittens"})).await;
            status_there(&new_password, "/v1/me", 401).await;
        },
    );
    // And it stays so.
    for (who, path, status) in [
        (&sent_away, "/v1/me", 401),
        (&signed_out, "/v1/me", 401),
        (&less_granted, far.as_str(), 404),
        (&less_trusted, "/v1/people", 403),
        (&new_password, "/v1/me", 401),
    ] {
        who.there.get(path).await.problem(status);
        who.here.get(path).await.problem(status);
    }
}
