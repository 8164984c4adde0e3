//! What tables hold as jsonb, and the words of the rules' enumerations (`clear`, `as delivered`) as they stand in
//! text columns.

use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

use crate::{Error, Result};

/// A value as JSON.
pub(crate) fn json(value: &impl Serialize) -> Result<Value> {
    serde_json::to_value(value).map_err(Error::internal)
}

/// The value of stored JSON.
pub(crate) fn of_json<T: DeserializeOwned>(value: Value) -> Result<T> {
    serde_json::from_value(value).map_err(Error::internal)
}

/// The word of a value, as on the wire.
pub(crate) fn word(value: &impl Serialize) -> Result<String> {
    match json(value)? {
        Value::String(word) => Ok(word),
        other => Err(Error::internal(format!("{other} is no word"))),
    }
}

/// The value of a stored word.
pub(crate) fn of_word<T: DeserializeOwned>(word: String) -> Result<T> {
    of_json(Value::String(word))
}
