//! GET /metrics, read by a strict parser of OpenMetrics 1.0 (the specification's ABNF and its rules on metric families).

use std::collections::{BTreeMap, BTreeSet};

use rimeyard_harness::{PASSWORD, client, email, eventually, fresh_database};
use rimeyard_store::Role;
use serde_json::json;

use super::Serve;

/// Each sample by its name and labels.
type Samples = BTreeMap<(String, BTreeMap<String, String>), f64>;

fn is_name(text: &str) -> bool {
    let mut chars = text.chars();
    chars
        .next()
        .is_some_and(|first| first.is_ascii_alphabetic() || first == '_' || first == ':')
        && chars.all(|char| char.is_ascii_alphanumeric() || char == '_' || char == ':')
}

/// Labels within braces: `name="value"`, separated by commas, with \\, \" and \n escaped.
fn labels(mut text: &str) -> BTreeMap<String, String> {
    let mut labels = BTreeMap::new();
    while !text.is_empty() {
        let (name, rest) = text.split_once("=\"").expect("a label's name");
        assert!(is_name(name) && !name.contains(':'), "{name}");
        let (mut value, mut escaped, mut end) = (String::new(), false, None);
        for (at, char) in rest.char_indices() {
            match (escaped, char) {
                (true, 'n') => value.push('\n'),
                (true, '\\' | '"') => value.push(char),
                (true, other) => panic!("\\{other} is no escape"),
                (false, '\\') => {}
                (false, '"') => {
                    end = Some(at + 1);
                    break;
                }
                (false, other) => value.push(other),
            }
            escaped = !escaped && char == '\\';
        }
        let known = labels.insert(name.to_owned(), value);
        assert!(known.is_none(), "{name} twice");
        text = &rest[end.expect("a closing quote")..];
        match text.strip_prefix(',') {
            Some(rest) => text = rest,
            None => assert!(text.is_empty(), "{text}"),
        }
    }
    labels
}

/// What may follow a family's name in its samples' names.
fn suffixes(kind: &str) -> &'static [&'static str] {
    match kind {
        "counter" => &["_total", "_created"],
        "gauge" => &[""],
        "info" => &["_info"],
        "histogram" => &["_bucket", "_count", "_sum", "_created"],
        other => panic!("{other} is not used here"),
    }
}

fn parse(text: &str) -> Samples {
    let body = text.strip_suffix("# EOF\n").expect("it ends with EOF");
    assert!(!body.contains("# EOF"));
    let mut families = BTreeSet::new();
    let (mut family, mut kind) = (String::new(), String::new());
    let mut samples = Samples::new();
    for line in body.lines() {
        assert!(!line.is_empty(), "no line is empty");
        if let Some(rest) = line.strip_prefix("# ") {
            let mut words = rest.splitn(3, ' ');
            let (what, name) = (words.next().unwrap(), words.next().unwrap());
            let rest = words.next().unwrap_or_default();
            assert!(is_name(name), "{line}");
            if name != family {
                // A family's lines stand together.
                assert!(families.insert(name.to_owned()), "{name} comes twice");
                (family, kind) = (name.to_owned(), String::new());
            }
            match what {
                "HELP" => {}
                "TYPE" => kind = rest.to_owned(),
                "UNIT" => assert!(family.ends_with(&format!("_{rest}")), "{line}"),
                other => panic!("{other}"),
            }
            continue;
        }
        let (series, value) = line.rsplit_once(' ').expect("a value");
        let (name, labels) = match series.split_once('{') {
            Some((name, rest)) => (name, labels(rest.strip_suffix('}').expect("a brace"))),
            None => (series, BTreeMap::new()),
        };
        let suffix = name.strip_prefix(&family).expect("of its family");
        assert!(suffixes(&kind).contains(&suffix), "{line} in a {kind}");
        let value: f64 = value.parse().expect("a number");
        assert!(kind == "gauge" || value >= 0.0, "{line}");
        let known = samples.insert((name.to_owned(), labels), value);
        assert!(known.is_none(), "twice: {line}");
    }
    samples
}

/// The sum of the samples of this name that have these labels.
fn sum(samples: &Samples, name: &str, wanted: &[(&str, &str)]) -> f64 {
    let fits = |labels: &BTreeMap<String, String>| {
        wanted
            .iter()
            .all(|(label, value)| labels.get(*label).is_some_and(|held| held == value))
    };
    samples
        .iter()
        .filter(|((sample, labels), _)| sample == name && fits(labels))
        .map(|(_, value)| value)
        .sum()
}

async fn scrape(serve: &Serve) -> Samples {
    let answer = client()
        .get(format!("http://{}/metrics", serve.metrics))
        .send()
        .await
        .expect("an answer");
    assert_eq!(answer.status(), 200);
    assert_eq!(
        answer.headers()["content-type"],
        "application/openmetrics-text; version=1.0.0; charset=utf-8"
    );
    parse(&answer.text().await.expect("UTF-8"))
}

#[tokio::test]
async fn what_is_counted_moves_and_names_nobody() {
    let own = fresh_database().await;
    let serve = Serve::start(&own.login_url, &[]);
    let before = scrape(&serve).await;
    assert_eq!(
        sum(
            &before,
            "rimeyard_build_info",
            &[("version", env!("CARGO_PKG_VERSION"))]
        ),
        1.0
    );
    assert_eq!(sum(&before, "rimeyard_ready", &[]), 1.0);
    // No worker runs: what was written when the house was filled waits.
    assert_eq!(sum(&before, "rimeyard_depots_due", &[]), 4.0);
    assert!(sum(&before, "rimeyard_depots_due_oldest_age_seconds", &[]) > 0.0);
    assert_eq!(sum(&before, "rimeyard_depots_parked", &[]), 0.0);
    for role in ["app", "door", "clock", "sweep"] {
        let role = [("role", &*format!("rimeyard_{role}"))];
        assert!(sum(&before, "rimeyard_database_connections_max", &role) >= 1.0);
    }

    let who = email("ours", Role::Technician);
    let sign_in = async |password: &str| {
        client()
            .post(serve.at("/v1/sign-in"))
            .json(&json!({"email": who, "password": password}))
            .send()
            .await
            .expect("an answer")
    };
    assert_eq!(sign_in("wrong").await.status(), 401);
    let tokens: serde_json::Value = sign_in(PASSWORD).await.json().await.expect("JSON");
    let depot = own.world.ours.home.id;
    let get = async |path: &str| {
        let request = client().get(serve.at(path));
        let request = request.bearer_auth(tokens["access_token"].as_str().expect("a token"));
        request.send().await.expect("an answer").status().as_u16()
    };
    assert_eq!(get(&format!("/v1/depots/{depot}")).await, 200);
    assert_eq!(get("/v1/depots/nowhere").await, 404);
    assert_eq!(get("/no/such/address").await, 404);

    let after = scrape(&serve).await;
    let answered = |operation: &str, method: &str, status: &str| {
        let labels = [
            ("operation", operation),
            ("method", method),
            ("status", status),
        ];
        sum(&after, "rimeyard_requests_total", &labels)
    };
    assert_eq!(answered("session_sign_in", "POST", "2xx"), 1.0);
    assert_eq!(answered("session_sign_in", "POST", "4xx"), 1.0);
    assert_eq!(answered("depots_find", "GET", "2xx"), 1.0);
    assert_eq!(answered("depots_find", "GET", "4xx"), 1.0);
    assert_eq!(answered("none", "GET", "4xx"), 1.0);
    assert_eq!(
        sum(
            &after,
            "rimeyard_sign_ins_refused_total",
            &[("why", "wrong")]
        ),
        1.0
    );
    let timed = [("operation", "depots_find")];
    let (count, took) = (
        sum(&after, "rimeyard_request_duration_seconds_count", &timed),
        sum(&after, "rimeyard_request_duration_seconds_sum", &timed),
    );
    assert!(count == 2.0 && took > 0.0, "{count} in {took} s");
    let all = [("operation", "depots_find"), ("le", "+Inf")];
    assert_eq!(
        sum(&after, "rimeyard_request_duration_seconds_bucket", &all),
        2.0
    );
    for (_, labels) in after.keys() {
        for value in labels.values() {
            assert!(
                !value.contains('@') && uuid::Uuid::parse_str(value).is_err(),
                "{value}"
            );
        }
    }

    // The API itself does not tell them.
    let asked = client().get(serve.at("/metrics")).send().await;
    assert_eq!(asked.expect("an answer").status(), 404);

    // A database that is away is told, and no figure of before.
    let (owner, database) = own.owner_url.rsplit_once('/').expect("a database's name");
    let owner = super::backup::owner(&format!("{owner}/postgres")).await;
    let away = format!(
        "alter database \"{database}\" allow_connections false;
         select pg_terminate_backend(pid) from pg_stat_activity where datname = '{database}'"
    );
    owner.batch_execute(&away).await.expect("away");
    eventually(10.0, "it is seen that the database is away", async || {
        let told = scrape(&serve).await;
        let due = &told[&("rimeyard_depots_due".to_owned(), BTreeMap::new())];
        sum(&told, "rimeyard_ready", &[]) == 0.0 && due.is_nan()
    })
    .await;
}
