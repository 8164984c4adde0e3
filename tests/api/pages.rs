//! The pages over HTTP: who gets in, and what they say of a result that should have been computed anew.

use reqwest::{Method, RequestBuilder};
use rimeyard_harness::machines::Machines;
use rimeyard_harness::{Answer, PASSWORD, TestServer, email};
use rimeyard_store::Role;
use rimeyard_worker::{Settings, drain};

use super::fleet::owner;

/// A form as a browser sends it.
pub fn form(server: &TestServer, path: &str, fields: &[(&str, &str)]) -> RequestBuilder {
    let mut form = form_urlencoded::Serializer::new(String::new());
    form.extend_pairs(fields);
    server
        .anonymous()
        .request(Method::POST, path)
        .header("content-type", "application/x-www-form-urlencoded")
        .body(form.finish())
}

/// The cookie of a page that the technician has signed in on.
pub async fn cookie(server: &TestServer) -> String {
    let email = email("ours", Role::Technician);
    let fields = [("email", email.as_str()), ("password", PASSWORD)];
    let signed = Answer::of(form(server, "/sign-in", &fields))
        .await
        .expect(303);
    let cookie = signed.header("set-cookie");
    assert!(
        cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"),
        "{cookie}"
    );
    cookie.split(';').next().unwrap().to_owned()
}

#[tokio::test]
async fn a_result_that_was_not_renewed_says_so_on_each_page() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let machines = Machines::make_sound(&server.administrator().await, home, 1, 1).await;
    drain(&server.database, &Settings::default())
        .await
        .expect("drained");
    let cookie = cookie(&server).await;
    let page = async |path: &str| {
        let request = server.anonymous().request(Method::GET, path);
        Answer::of(request.header("cookie", &cookie))
            .await
            .expect(200)
            .body
    };
    let paths = [
        "/".to_owned(),
        format!("/depots/{home}"),
        format!("/machines/{}", machines.units[0]),
    ];
    for path in &paths {
        let page = page(path).await;
        assert!(!page.contains("Not computed anew"), "{page}");
        assert!(page.to_lowercase().contains("as of "), "{page}");
    }
    // Two days ago the last worker stopped.
    let owner = owner(&server).await;
    for table in ["depot_state", "unit_state"] {
        let aged = format!(
            "update {table} set as_of = now() - interval '2 days', valid_until = now() - interval '1 day'"
        );
        owner.execute(&aged, &[]).await.unwrap();
    }
    for path in &paths {
        let page = page(path).await;
        assert!(page.contains("Not computed anew since"), "{page}");
        assert!(page.contains("Tell whoever runs the server"), "{page}");
    }
}

#[tokio::test]
async fn pages_show_what_is_owed_and_what_is_to_be_seen_to() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let administrator = server.administrator().await;
    let unit = Machines::make_sound(&administrator, home, 1, 1)
        .await
        .units
        .remove(0);
    let tag = serde_json::json!({"reason": "smells of <fuel>"});
    let path = format!("/v1/units/{unit}/holds");
    administrator.post(&path, &tag).await.expect(201);
    drain(&server.database, &Settings::default())
        .await
        .expect("drained");
    let cookie = cookie(&server).await;
    let page = async |path: &str| {
        let request = server.anonymous().request(Method::GET, path);
        Answer::of(request.header("cookie", &cookie))
            .await
            .expect(200)
            .body
    };
    let machine = page(&format!("/machines/{unit}")).await;
    for said in [
        "To be seen to",
        "smells of &lt;fuel&gt;",
        "nobody has taken it up",
        "Change the engine oil, warm",
    ] {
        assert!(machine.contains(said), "{said}: {machine}");
    }
    let depot = page(&format!("/depots/{home}")).await;
    assert!(depot.contains("To be seen to") && depot.contains("Tasks due"));
    assert!(!page("/").await.contains("Told to the district"));
    let owner = owner(&server).await;
    let told = "update alert set escalated_at = now()";
    assert!(owner.execute(told, &[]).await.unwrap() > 0);
    assert!(page("/").await.contains("Told to the district"));
}

#[tokio::test]
async fn without_a_cookie_there_is_the_form_and_the_cookie_opens_pages_only() {
    let server = TestServer::start().await;
    let form = server.anonymous().get("/").await;
    assert!(form.body.contains("Sign in"), "{}", form.body);
    let by_cookie = server.anonymous().request(Method::GET, "/v1/me");
    let by_cookie = by_cookie.header("cookie", cookie(&server).await);
    Answer::of(by_cookie).await.problem(401);
}
