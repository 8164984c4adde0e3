//! The log: a line of JSON each, every request by its id, and nothing in it that is anybody's.

use std::collections::BTreeSet;

use reqwest::Method;
use rimeyard_harness::{Actor, Answer, PASSWORD, email, fresh_database};
use rimeyard_store::Role;
use serde_json::{Value, json};
use tokio::io::{AsyncReadExt, AsyncWriteExt};

use super::Serve;

/// What was sent or told and must not be in the log.
#[derive(Default)]
struct Secrets(Vec<String>);

impl Secrets {
    fn add(&mut self, text: &str) {
        assert!(text.len() >= 6, "too short to be looked for: {text}");
        self.0.push(text.to_owned());
    }

    /// The parts of a token, too: a part is as good as the whole.
    fn add_token(&mut self, token: &str) {
        for part in token.split('.').skip(1) {
            self.add(part);
        }
        self.add(token);
    }
}

async fn everything_that_is_secret(serve: &Serve, ids: &mut BTreeSet<String>) -> Secrets {
    let mut secrets = Secrets::default();
    let anyone = Actor::new(serve.address, None);
    let mut seen = |answer: Answer| {
        let id = answer.header("x-request-id").to_owned();
        assert!(uuid::Uuid::parse_str(&id).is_ok(), "{answer:?}");
        assert!(ids.insert(id), "an id of its own");
        answer
    };
    secrets.add(PASSWORD);
    for role in [Role::Technician, Role::Administrator] {
        secrets.add(&email("ours", role));
    }

    // Signing in, rightly, wrongly, and as nobody.
    let who = email("ours", Role::Administrator);
    let sign_in = async |email: &str, password: &str| {
        anyone
            .post(
                "/v1/sign-in",
                &json!({"email": email, "password": password}),
            )
            .await
    };
    secrets.add("a-wrong-password-7331");
    secrets.add("nobody-at-all@rimeyard.example");
    seen(sign_in(&who, "a-wrong-password-7331").await).problem(401);
    seen(sign_in("nobody-at-all@rimeyard.example", PASSWORD).await).problem(401);
    let tokens = seen(sign_in(&who, PASSWORD).await).expect(200).json();
    let (access, refresh) = (
        tokens["access_token"].as_str().expect("a token"),
        tokens["refresh_token"].as_str().expect("a token"),
    );
    secrets.add_token(access);
    secrets.add(refresh);
    let administrator = anyone.with_token(access);

    // Tokens: used, forged, exchanged, used again.
    seen(administrator.get("/v1/me").await).expect(200);
    let forged = format!("{access}AAAA");
    seen(anyone.with_token(&forged).get("/v1/me").await).problem(401);
    let renew = json!({"refresh_token": refresh});
    let renewed = seen(anyone.post("/v1/sign-in/refresh", &renew).await)
        .expect(200)
        .json();
    secrets.add(renewed["refresh_token"].as_str().expect("a token"));
    secrets.add_token(renewed["access_token"].as_str().expect("a token"));
    secrets.add("no-such-refresh-token-4242");
    let none = json!({"refresh_token": "no-such-refresh-token-4242"});
    seen(anyone.post("/v1/sign-in/refresh", &none).await);

    // Pages: a form and its cookie.
    let form = |password: &str| {
        let form = form_of(&[("email", &*who), ("password", password)]);
        anyone
            .request(Method::POST, "/sign-in")
            .header("Content-Type", "application/x-www-form-urlencoded")
            .body(form)
    };
    seen(Answer::of(form("a-wrong-password-7331")).await).expect(401);
    let page = seen(Answer::of(form(PASSWORD)).await).expect(303);
    let cookie = page
        .header("set-cookie")
        .split(';')
        .next()
        .expect("a cookie");
    secrets.add_token(cookie.split_once('=').expect("a value").1);
    let district = anyone.request(Method::GET, "/").header("Cookie", cookie);
    seen(Answer::of(district).await).expect(200);

    // Bodies: good, wrong in a value, no JSON, a table; a person with a password.
    secrets.add("Confidential depot name 9001");
    let depot = json!({
        "name": "Confidential depot name 9001", "zone": "America/Denver", "latitude": 45.0, "longitude": -112.0,
        "season": {"starts": "11-15", "ends": "04-10"}, "typical_snow_days": 40,
        "design_storm": {"hours": 12.0, "depth_mm": 200.0, "reclear_mm": 50.0, "temperature_c": -6.0}
    });
    seen(administrator.post("/v1/depots", &depot).await).expect(201);
    // The name is taken: Postgres itself would tell of it.
    seen(administrator.post("/v1/depots", &depot).await).problem(409);
    secrets.add("nowhere-in-the-world-zone");
    let mut wrong = depot.clone();
    wrong["zone"] = json!("nowhere-in-the-world-zone");
    seen(administrator.post("/v1/depots", &wrong).await).problem(422);
    secrets.add("this is no JSON 5150");
    let no_json = administrator
        .request(Method::POST, "/v1/depots")
        .header("Content-Type", "application/json")
        .body("{\"this is no JSON 5150");
    seen(Answer::of(no_json).await).problem(400);
    secrets.add("new-colleague@rimeyard.example");
    secrets.add("a-brand-new-password-1848");
    let person = json!({
        "name": "New colleague", "role": "technician", "all_depots": true, "depots": [],
        "email": "new-colleague@rimeyard.example", "password": "a-brand-new-password-1848"
    });
    let made = seen(administrator.post("/v1/people", &person).await);
    assert!(matches!(made.status, 201 | 422), "{made:?}");
    secrets.add("secret-machine-tag");
    let table = "machine,read at,started\nsecret-machine-tag,2026-01-01T00:00:00Z,yes\n";
    let what = "/v1/imports?what=meter-readings";
    seen(administrator.post_table(what, table).await);
    // A parameter that is not known, with a value that is nobody's business.
    secrets.add("value-of-a-parameter");
    seen(
        administrator
            .get("/v1/units?colour=value-of-a-parameter")
            .await,
    )
    .problem(400);
    // What is no HTTP at all: answered by the listener itself.
    secrets.add("not-http-at-all");
    let mut raw = tokio::net::TcpStream::connect(serve.address)
        .await
        .expect("connected");
    raw.write_all(b"not-http-at-all\r\nAuthorization: Bearer not-http-at-all\r\n\r\n")
        .await
        .expect("sent");
    let mut answer = String::new();
    raw.read_to_string(&mut answer).await.expect("answered");
    assert!(answer.starts_with("HTTP/1.1 400"), "{answer}");
    secrets
}

fn form_of(pairs: &[(&str, &str)]) -> String {
    let coded = |text: &str| text.replace('@', "%40").replace(' ', "+");
    let pairs: Vec<String> = pairs
        .iter()
        .map(|(name, value)| format!("{name}={}", coded(value)))
        .collect();
    pairs.join("&")
}

/// The id in a line, of its own or of the request that it belongs to.
fn request_id(line: &Value) -> Option<&str> {
    line["span"]["request.id"].as_str()
}

#[tokio::test]
async fn nothing_of_anybody_is_logged_and_each_request_has_its_id() {
    for level in [None, Some("debug")] {
        let own = fresh_database().await;
        let more: Vec<(&str, &str)> = level.map(|level| ("RUST_LOG", level)).into_iter().collect();
        let serve = Serve::start(&own.login_url, &more);
        let mut ids = BTreeSet::new();
        let secrets = everything_that_is_secret(&serve, &mut ids).await;
        // An error of ours: the database is gone.
        let (address, database) = own.owner_url.rsplit_once('/').expect("a name");
        let operator = super::backup::owner(&format!("{address}/postgres")).await;
        let gone = format!(
            "alter database \"{database}\" allow_connections false;
             select pg_terminate_backend(pid) from pg_stat_activity where datname = '{database}'"
        );
        operator.batch_execute(&gone).await.expect("gone");
        let who = json!({"email": email("ours", Role::Technician), "password": PASSWORD});
        let failed = Actor::new(serve.address, None)
            .post("/v1/sign-in", &who)
            .await;
        failed.problem(503);
        ids.insert(failed.header("x-request-id").to_owned());

        serve.terminate();
        let (status, lines, printed) = serve.ended();
        assert!(status.success());
        let all = lines.join("\n") + &printed;
        for secret in &secrets.0 {
            assert!(!all.contains(secret), "{level:?}: {secret} is in the log");
        }
        assert!(!all.contains('@'), "{level:?}: no address at all");
        let lines: Vec<Value> = lines
            .iter()
            .map(|line| serde_json::from_str(line).unwrap_or_else(|_| panic!("no JSON: {line}")))
            .collect();
        let done: Vec<&Value> = lines
            .iter()
            .filter(|line| line["message"] == "request.done")
            .collect();
        let logged: BTreeSet<String> = done
            .iter()
            .filter_map(|line| request_id(line))
            .map(str::to_owned)
            .collect();
        assert_eq!(done.len(), ids.len(), "one line a request");
        assert_eq!(logged, ids, "by the id that the answer had");
        for line in done {
            assert!(line["response.status"].is_u64() && line["request.path"].is_string());
        }
        // What went wrong stands under the id of the request that it befell.
        let befell = lines
            .iter()
            .find(|line| line["message"] == "request.unavailable")
            .expect("the cause");
        assert_eq!(
            request_id(befell),
            failed.headers["x-request-id"].to_str().ok()
        );
    }
}
