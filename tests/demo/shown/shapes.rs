//! Whatever the demo's readers GET has the shape that the document gives it. The demo fills what generated requests leave
//! empty.

use std::collections::BTreeMap;

use jsonschema::Validator;
use rimeyard_harness::Actor;
use serde_json::Value;

/// Things of one kind that are looked at.
const OF_A_KIND: usize = 12;

/// Addresses with something in braces of which the demo has none: it has no phones, keys, imports or unsent facts.
const NOT_IN_THE_DEMO: [&str; 4] = ["device_id", "key_id", "import_id", "unsent_id"];

/// A GET of the document that answers JSON.
struct Get {
    path: String,
    parameters: Vec<String>,
    shape: Validator,
}

/// What checks an answer against a schema of the document.
fn validator(document: &Value, schema: &Value) -> Validator {
    let mut schema = schema.clone();
    schema["components"] = document["components"].clone();
    jsonschema::draft202012::options()
        .should_validate_formats(true)
        // OpenAPI's own formats (int64, double) say how wide a number is; there is nothing to check.
        .should_ignore_unknown_formats(true)
        .build(&schema)
        .expect("a schema")
}

/// What is left of an address after a brace: a name and the brace that closes it.
fn is_one_name(rest: &str) -> bool {
    rest.find('}') == Some(rest.len() - 1)
}

fn braces(path: &str) -> Vec<String> {
    path.split('/')
        .filter_map(|part| part.strip_prefix('{')?.strip_suffix('}'))
        .map(str::to_owned)
        .collect()
}

/// Every GET of a JSON object that a district manager may ask for without having to say more.
fn gets(document: &Value) -> Vec<Get> {
    let paths = document["paths"].as_object().expect("paths");
    let mut gets = Vec::new();
    for (path, operations) in paths {
        let get = &operations["get"];
        let schema = &get["responses"]["200"]["content"]["application/json"]["schema"];
        let allowed = get["x-roles"]
            .as_array()
            .is_none_or(|roles| roles.iter().any(|role| role == "district manager"));
        let asks_more = get["parameters"].as_array().is_some_and(|all| {
            all.iter()
                .any(|one| one["in"] == "query" && one["required"] == true)
        });
        if schema.is_object() && allowed && !asks_more {
            gets.push(Get {
                path: path.clone(),
                parameters: braces(path),
                shape: validator(document, schema),
            });
        }
    }
    // Lists before what is listed.
    gets.sort_by_key(|get| get.parameters.len());
    gets
}

/// The values with which an address' braces are filled, in their order.
fn addresses(get: &Get, known: &BTreeMap<String, Vec<Vec<String>>>) -> Option<Vec<Vec<String>>> {
    if get.parameters.is_empty() {
        return Some(vec![Vec::new()]);
    }
    let known = known.get(&get.parameters.join("/"))?;
    Some(known.iter().take(OF_A_KIND).cloned().collect())
}

fn filled(path: &str, values: &[String]) -> String {
    let mut values = values.iter();
    path.split('/')
        .map(|part| match part.starts_with('{') {
            true => values.next().expect("a value").as_str(),
            false => part,
        })
        .collect::<Vec<_>>()
        .join("/")
}

pub async fn are_as_documented(manager: &Actor) {
    let document = manager.get("/openapi.json").await.expect(200).json();
    let gets = gets(&document);
    let paths: Vec<&str> = gets.iter().map(|get| get.path.as_str()).collect();
    let mut known = BTreeMap::<String, Vec<Vec<String>>>::new();
    let mut unseen = Vec::new();
    let mut asked = 0;
    for get in &gets {
        let Some(addresses) = addresses(get, &known) else {
            unseen.push(get.path.as_str());
            continue;
        };
        for values in addresses {
            let path = filled(&get.path, &values);
            let answer = manager.get(&path).await.expect(200).json();
            asked += 1;
            if let Err(error) = get.shape.validate(&answer) {
                panic!("{path}: {} at {}", error, error.instance_path());
            }
            // A list under whose address single things stand names them.
            let under = format!("{}/{{", get.path);
            let single = paths
                .iter()
                .find(|path| path.strip_prefix(&under).is_some_and(is_one_name));
            let (Some(single), Some(items)) = (single, answer["items"].as_array()) else {
                continue;
            };
            let names = braces(single);
            let own = names.last().expect("a name");
            let ids = items.iter().map(|item| {
                let id = item.get("id").unwrap_or(&item[own]);
                let id = id.as_str().map_or_else(|| id.to_string(), str::to_owned);
                values.iter().cloned().chain([id]).collect()
            });
            known.entry(names.join("/")).or_default().extend(ids);
        }
    }
    println!(
        "{asked} answers of {} operations",
        gets.len() - unseen.len()
    );
    unseen.retain(|path| !NOT_IN_THE_DEMO.iter().any(|name| path.contains(name)));
    assert!(unseen.is_empty(), "never asked for: {unseen:?}");
    assert!(asked > 300, "only {asked}");
}
