//! What is refused, case by case.

use rimeyard_harness::Actor;
use serde_json::Value;

/// The object with these fields set.
pub fn with(object: &Value, change: &Value) -> Value {
    let mut object = object.clone();
    let fields = object.as_object_mut().expect("an object");
    fields.extend(change.as_object().expect("an object").clone());
    object
}

/// The object without this field.
pub fn without(object: &Value, field: &str) -> Value {
    let mut object = object.clone();
    object.as_object_mut().expect("an object").remove(field);
    object
}

/// POST of `good` with each change is a 422 that names the field, and so is `good` without any of `required`.
pub async fn post_refuses(
    actor: &Actor,
    path: &str,
    good: &Value,
    required: &[&str],
    cases: &[(Value, &str)],
) {
    for (change, field) in cases {
        let answer = actor.post(path, &with(good, change)).await;
        assert_eq!(answer.problem(422), [*field], "POST {path} {change}");
    }
    for field in required {
        let answer = actor.post(path, &without(good, field)).await;
        assert_eq!(answer.problem(422), [*field], "POST {path} without {field}");
    }
}

/// PATCH of version `etag` with each change is a 422 that names the field; the object stays as it is.
pub async fn patch_refuses(actor: &Actor, path: &str, etag: &str, cases: &[(Value, &str)]) {
    for (change, field) in cases {
        let answer = actor.patch(path, etag, change).await;
        assert_eq!(answer.problem(422), [*field], "PATCH {path} {change}");
    }
    assert_eq!(actor.get(path).await.etag(), etag, "nothing was changed");
}

/// The ids, or other texts under `field`, of every page of a list, fetched `limit` at a time.
pub async fn every_page(actor: &Actor, list: &str, limit: usize, field: &str) -> Vec<String> {
    let sign = if list.contains('?') { '&' } else { '?' };
    let first = format!("{list}{sign}limit={limit}");
    let (mut path, mut seen) = (first.clone(), Vec::new());
    loop {
        let page = actor.get(&path).await.expect(200).json();
        let items = page["items"].as_array().expect("items");
        assert!(items.len() <= limit, "{path}");
        seen.extend(items.iter().map(|item| match &item[field] {
            Value::String(text) => text.clone(),
            other => other.to_string(),
        }));
        match page["next_cursor"].as_str() {
            Some(cursor) => path = format!("{first}&cursor={cursor}"),
            None => return seen,
        }
    }
}
