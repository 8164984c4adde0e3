//! What is said in words, in the units of who reads it.

use reqwest::Method;
use rimeyard_harness::machines::Machines;
use rimeyard_harness::{Actor, Answer, TestServer};
use rimeyard_rules::because::MARK;
use rimeyard_worker::{Settings, drain};
use serde_json::{Value, json};

use super::pages::{cookie, form};

/// A server with one machine at home, computed.
async fn with_a_machine() -> (TestServer, String) {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let machines = Machines::make_sound(&server.administrator().await, home, 1, 1).await;
    drain(&server.database, &Settings::default())
        .await
        .expect("drained");
    (server, format!("/v1/readiness/units/{}", machines.units[0]))
}

/// GET, for a reader of these languages.
async fn read_by(actor: &Actor, path: &str, languages: &str, known: Option<&str>) -> Answer {
    let mut request = actor
        .request(Method::GET, path)
        .header("accept-language", languages);
    if let Some(known) = known {
        request = request.header("if-none-match", known);
    }
    Answer::of(request).await
}

/// What is said of each of its parts.
fn said_of_parts(unit: &Value) -> Vec<String> {
    let parts = unit["parts"].as_array().expect("parts");
    let texts = parts.iter().map(|part| part["text"].as_str());
    texts.map(|text| text.expect("text").to_owned()).collect()
}

#[tokio::test]
async fn a_reader_is_told_in_the_units_of_their_language() {
    let (server, path) = with_a_machine().await;
    let technician = server.technician().await;
    let metric = read_by(&technician, &path, "de-AT", None).await.expect(200);
    let inches = read_by(&technician, &path, "en-US", None).await.expect(200);
    for answer in [&metric, &inches] {
        assert!(
            answer.header("vary").contains("accept-language"),
            "{}",
            answer.header("vary")
        );
    }
    let (si, us) = (metric.json(), inches.json());
    let (mm, inch) = (format!("{MARK}mm"), format!("{MARK}in"));
    let (said_si, said_us) = (said_of_parts(&si), said_of_parts(&us));
    let pairs: Vec<_> = said_si.iter().zip(&said_us).collect();
    let measured: Vec<_> = pairs.iter().filter(|(si, _)| si.contains(&mm)).collect();
    assert!(!measured.is_empty(), "{said_si:?}");
    for (si, us) in &measured {
        assert!(us.contains(&inch) && !us.contains(&mm), "{us}");
        // The rest of the sentence is the same.
        let rest = |text: &str| text.replace(|c: char| c.is_ascii_digit() || c == '.', "");
        assert_eq!(rest(&si.replace(&mm, &inch)), rest(us));
    }
    // Figures in fields are SI for everyone.
    let figures = |unit: &Value| unit["parts"][0]["measured"].clone();
    assert_eq!(figures(&si), figures(&us));

    // Two representations of one version: each is known by its own ETag.
    let (of_si, of_us) = (metric.etag(), inches.etag());
    assert_ne!(of_si, of_us);
    read_by(&technician, &path, "en-US", Some(&of_us))
        .await
        .expect(304);
    read_by(&technician, &path, "de-AT", Some(&of_si))
        .await
        .expect(304);
    read_by(&technician, &path, "en-US", Some(&of_si))
        .await
        .expect(200);
}

/// The version is in every representation's ETag: compressed, in inches, or both.
#[tokio::test]
async fn a_change_may_name_what_its_reader_saw() {
    let (server, path) = with_a_machine().await;
    let manager = server.district_manager().await;
    let depot = format!("/v1/depots/{}", server.world.ours.home.id);
    let named = json!({"name": format!("Yard, {MARK}kerb 100{MARK}mm")});
    let before = manager.get(&depot).await.expect(200).etag();
    let after = manager.patch(&depot, &before, &named).await.expect(200);
    let seen = read_by(&manager, &depot, "en-US", None).await.expect(200);
    assert_ne!(seen.etag(), after.etag());
    let renamed = json!({"name": "Yard"});
    let change = async |etag: &str| manager.patch(&depot, etag, &renamed).await;
    change(&seen.etag()).await.expect(200);
    change(&seen.etag()).await.problem(412);

    let inches = read_by(&manager, &path, "en-US", None).await.expect(200);
    let zipped = inches.etag().replace("-us\"", "-us-gzip\"");
    assert_ne!(zipped, inches.etag());
    read_by(&manager, &path, "en-US", Some(&zipped))
        .await
        .expect(304);
    read_by(&manager, &path, "de-AT", Some(&zipped))
        .await
        .expect(200);
}

/// A name that people typed keeps its millimetres, and a phone's copy comes as it is kept, to the byte.
#[tokio::test]
async fn what_people_wrote_and_what_a_phone_proves_stay_as_they_are() {
    let (server, path) = with_a_machine().await;
    let administrator = server.administrator().await;
    let unit = path.trim_start_matches("/v1/readiness/units/");
    let tag = json!({"reason": "shear bolt 8 mm is missing"});
    let hold = format!("/v1/units/{unit}/holds");
    administrator.post(&hold, &tag).await.expect(201);
    let read = read_by(&administrator, "/v1/holds", "en-US", None).await;
    let read = read.expect(200);
    assert!(
        read.body.contains("shear bolt 8 mm is missing"),
        "{}",
        read.body
    );

    let pulled = async |languages: &str| {
        let request = administrator
            .request(Method::POST, "/v1/sync/pull")
            .header("accept-language", languages)
            .json(&json!({}));
        Answer::of(request).await.expect(200).body
    };
    let told = pulled("en-US").await;
    assert!(told.contains(&format!("{MARK}mm")));
    assert_eq!(told, pulled("de-AT").await);
}

#[tokio::test]
async fn a_page_is_in_the_browsers_units_until_its_user_chooses() {
    let (server, path) = with_a_machine().await;
    let page = path.replace("/v1/readiness/units", "/machines");
    let signed_in = cookie(&server).await;
    let shown = async |cookies: &str, languages: &str| {
        let request = server
            .anonymous()
            .request(Method::GET, &page)
            .header("cookie", cookies)
            .header("accept-language", languages);
        Answer::of(request).await.expect(200).body
    };
    let (mm, inch) = (format!("{MARK}mm"), format!("{MARK}in"));
    let metric = shown(&signed_in, "fr").await;
    assert!(metric.contains(&mm) && metric.contains("Show inches"));
    let american = shown(&signed_in, "en-US,en;q=0.7").await;
    assert!(american.contains(&inch) && !american.contains(&mm));
    assert!(american.contains("Show millimetres"));

    let choose = async |fields: &[(&str, &str)]| {
        Answer::of(form(&server, "/units", fields).header("cookie", &signed_in)).await
    };
    let chosen = choose(&[("units", "si"), ("back", &page)])
        .await
        .expect(303);
    assert_eq!(chosen.header("location"), page);
    let kept = chosen.header("set-cookie");
    assert!(
        kept.contains("HttpOnly") && kept.contains("SameSite=Strict"),
        "{kept}"
    );
    let both = format!("{signed_in}; {}", kept.split(';').next().unwrap());
    assert!(
        shown(&both, "en-US").await.contains(&mm),
        "their choice stands"
    );

    // A word that is none is refused, and nobody is led to another site.
    let refused = choose(&[("units", "cubits")]).await.expect(422);
    assert!(
        refused.body.contains("units must be si or us-customary"),
        "{}",
        refused.body
    );
    for elsewhere in [
        "//elsewhere.example/",
        "https://elsewhere.example/",
        "/\\elsewhere.example",
        "",
        "/\r\nx: y",
    ] {
        let chosen = choose(&[("units", "si"), ("back", elsewhere)])
            .await
            .expect(303);
        assert_eq!(chosen.header("location"), "/", "{elsewhere:?}");
    }
}
