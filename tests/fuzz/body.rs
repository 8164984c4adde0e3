//! JSON bodies, above all those whose fields are read by hand: what is taken can be written and read again, and has nothing in
//! it that the database does not keep; whatever else is told what is wrong.

use rimeyard_api::extract::object;
use rimeyard_rules::checklist::Checklist;
use rimeyard_rules::sheet::Sheet;
use rimeyard_store::device::unsent::Outbox;
use rimeyard_store::feed::Pull;
use rimeyard_store::person::PersonChange;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

/// The bytes as a body of each of these.
pub fn target(bytes: &[u8]) {
    // Checks, calendar rules and days of a year have words of their own.
    written_again(read::<Sheet>(bytes));
    written_again(read::<Checklist>(bytes));
    // A null is not the same as nothing.
    read::<PersonChange>(bytes);
    read::<Pull>(bytes);
    // What a phone had not sent is kept as it came, unread.
    if let Some(outbox) = read::<Outbox>(bytes) {
        for entry in outbox.entries {
            let body: Value = serde_json::from_str(entry.body.get()).unwrap_or_default();
            assert!(no_nul(&body));
        }
    }
}

fn read<T: DeserializeOwned>(bytes: &[u8]) -> Option<T> {
    match object(bytes) {
        Ok(read) => {
            // What is taken unread may have a number in it that no reader reads.
            let value: Value = serde_json::from_slice(bytes).unwrap_or_default();
            assert!(no_nul(&value));
            Some(read)
        }
        Err(problem) => {
            let told = problem.to_string();
            assert!(
                told.starts_with("400 ") || told.starts_with("422 "),
                "{told}"
            );
            None
        }
    }
}

fn no_nul(value: &Value) -> bool {
    match value {
        Value::String(text) => !text.contains('\0'),
        Value::Array(items) => items.iter().all(no_nul),
        Value::Object(fields) => fields.values().all(no_nul),
        _ => true,
    }
}

fn written_again<T: Serialize + DeserializeOwned>(read: Option<T>) {
    let Some(read) = read else { return };
    let text = serde_json::to_vec(&read).expect("written");
    let again: Result<T, _> = serde_json::from_slice(&text);
    assert!(again.is_ok(), "{}", String::from_utf8_lossy(&text));
}
