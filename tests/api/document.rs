//! The document: committed, served, browsable.

use std::fs;
use std::path::Path;

use rimeyard_harness::TestServer;
use serde_json::Value;

#[test]
fn the_committed_document_is_fresh() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../openapi/rimeyard.json");
    let committed = fs::read_to_string(path).unwrap_or_default();
    assert!(
        committed == rimeyard_api::app::text(&rimeyard_api::document()),
        "openapi/rimeyard.json is stale. Renew it: cargo run -- openapi > openapi/rimeyard.json"
    );
}

#[tokio::test]
async fn it_is_served_and_can_be_browsed_without_a_network() {
    let server = TestServer::start().await;
    let anyone = server.anonymous();
    let document = anyone.get("/openapi.json").await.expect(200);
    assert_eq!(
        document.body,
        rimeyard_api::app::text(&rimeyard_api::document())
    );
    assert_eq!(document.json()["openapi"], "3.1.0");
    assert_eq!(
        anyone.get("/docs").await.expect(308).header("location"),
        "/docs/"
    );
    let page = anyone.get("/docs/").await.expect(200);
    assert!(page.header("content-type").starts_with("text/html"));
    // Whatever the page loads comes from this server, and is there.
    let parts: Vec<&str> = page
        .body
        .split(['"', '\''])
        .filter(|text| text.ends_with(".js") || text.ends_with(".css"))
        .collect();
    assert!(parts.len() >= 2, "{}", page.body);
    for part in parts {
        assert!(!part.contains("//"), "{part} is from elsewhere");
        anyone
            .get(&format!("/docs/{}", part.trim_start_matches("./")))
            .await
            .expect(200);
    }
    let set_up = anyone.get("/docs/swagger-initializer.js").await.expect(200);
    assert!(set_up.body.contains("/openapi.json"), "{}", set_up.body);
}

#[test]
fn every_reference_in_it_leads_somewhere_and_every_name_is_its_own() {
    let document = serde_json::to_value(rimeyard_api::document()).unwrap();
    let mut references = Vec::new();
    collect(&document, &mut references);
    assert!(references.len() > 20);
    for reference in references {
        let pointer = reference
            .strip_prefix('#')
            .expect("a reference within the document");
        assert!(
            document.pointer(pointer).is_some(),
            "{reference} leads nowhere"
        );
    }
    let mut names = Vec::new();
    for item in document["paths"].as_object().unwrap().values() {
        for operation in item.as_object().unwrap().values() {
            names.push(
                operation["operationId"]
                    .as_str()
                    .expect("a name")
                    .to_owned(),
            );
            let summary = operation["summary"].as_str().unwrap_or_default();
            assert!(summary.len() > 5, "{operation} says what it does");
        }
    }
    let all = names.len();
    names.sort();
    names.dedup();
    assert_eq!(names.len(), all, "two operations share a name");
}

#[test]
fn every_name_in_a_path_is_a_parameter() {
    let document = serde_json::to_value(rimeyard_api::document()).expect("JSON");
    let paths = document["paths"].as_object().expect("paths");
    for (path, item) in paths {
        let names = path.split('{').skip(1);
        let mut wanted: Vec<&str> = names.filter_map(|rest| rest.split('}').next()).collect();
        wanted.sort_unstable();
        for (method, operation) in item.as_object().expect("operations") {
            let parameters = operation["parameters"].as_array();
            let in_path = parameters
                .into_iter()
                .flatten()
                .filter(|it| it["in"] == "path");
            let mut named: Vec<&str> = in_path.filter_map(|it| it["name"].as_str()).collect();
            named.sort_unstable();
            assert_eq!(named, wanted, "{method} {path}");
        }
    }
}

fn collect(value: &Value, references: &mut Vec<String>) {
    match value {
        Value::Object(fields) => {
            if let Some(Value::String(reference)) = fields.get("$ref") {
                references.push(reference.clone());
            }
            fields.values().for_each(|field| collect(field, references));
        }
        Value::Array(items) => items.iter().for_each(|item| collect(item, references)),
        _ => {}
    }
}
