//! Cursors, as clients send them back: what is taken reads back as the same, whatever else is refused.

use rimeyard_api::extract::Cursor;
use rimeyard_api::routes::due::place::DueCursor;
use rimeyard_store::feed::Pull;
use serde_json::{Value, json};

/// The bytes as the cursor of a list, as that of the list of what is due, and as the body of a pull.
pub fn target(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    if let Ok(cursor) = serde_json::from_value::<Cursor>(json!(text)) {
        let _ = cursor.version();
        let again = serde_json::to_value(cursor).expect("written");
        let read: Cursor = serde_json::from_value(again).expect("read again");
        assert_eq!(read.id(), cursor.id());
    }
    if let Ok(cursor) = serde_json::from_value::<DueCursor>(json!(text)) {
        let again: Value = serde_json::to_value(&cursor).expect("written");
        let read: DueCursor = serde_json::from_value(again).expect("read again");
        assert_eq!(read, cursor);
        let task = &cursor.0.task;
        assert!(!task.is_empty() && !task.chars().any(char::is_control));
    }
    if let Ok(pull) = serde_json::from_slice::<Pull>(bytes) {
        let _ = format!("{pull:?}");
    }
}
