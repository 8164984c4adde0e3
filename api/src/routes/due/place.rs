//! Where a page of tasks begins, as clients hold it.

use base64::Engine as _;
use base64::prelude::BASE64_URL_SAFE_NO_PAD;
use rimeyard_store::due::Place;
use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use utoipa::ToSchema;

/// Where the next page begins: what `next_cursor` of the page before said, opaque to clients.
#[derive(Debug, Clone, PartialEq, Eq, ToSchema)]
#[schema(value_type = String, example = "MjAyNi0xMS0yOCAwMTlkZWY5Yi02YzdkLTdjMWUtODFhNC1hNGE4ZDNiNWMyMTAgZW5naW5lX29pbA")]
pub struct DueCursor(pub Place);

/// The date of what has none.
const NEVER: &str = "-";

impl Serialize for DueCursor {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let Place { on, unit_id, task } = &self.0;
        let on = on.map_or(NEVER.to_owned(), |on| on.to_string());
        serializer.serialize_str(&BASE64_URL_SAFE_NO_PAD.encode(format!("{on} {unit_id} {task}")))
    }
}

impl<'de> Deserialize<'de> for DueCursor {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        read(&text).map(Self).ok_or_else(|| {
            D::Error::custom(
                "is not a cursor of this list; send the next_cursor of a page, or none",
            )
        })
    }
}

fn read(text: &str) -> Option<Place> {
    let text = String::from_utf8(BASE64_URL_SAFE_NO_PAD.decode(text).ok()?).ok()?;
    let (on, rest) = text.split_once(' ')?;
    let (unit_id, task) = rest.split_once(' ')?;
    let on = match on {
        NEVER => None,
        on => Some(on.parse().ok()?),
    };
    // What no task is called would be refused by the database as text.
    let named = !task.is_empty() && task.len() <= 60 && !task.chars().any(char::is_control);
    named.then_some(())?;
    Some(Place {
        on,
        unit_id: unit_id.parse().ok()?,
        task: task.to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_reads_back() {
        for on in [None, Some(jiff::civil::date(2028, 2, 29))] {
            let place = Place {
                on,
                unit_id: uuid::Uuid::now_v7(),
                task: "engine oil".to_owned(),
            };
            let text = serde_json::to_string(&DueCursor(place.clone())).unwrap();
            assert_eq!(serde_json::from_str::<DueCursor>(&text).unwrap().0, place);
        }
    }

    #[test]
    fn what_no_page_said_is_refused() {
        let id = uuid::Uuid::now_v7();
        for text in [
            String::new(),
            "2026-11-25".to_owned(),
            format!("2026-02-29 {id} oil"),
            format!("2026-11-25 {id} "),
            format!("2026-11-25 {id} o\0il"),
            "2026-11-25 7 oil".to_owned(),
        ] {
            let text = BASE64_URL_SAFE_NO_PAD.encode(&text);
            assert!(read(&text).is_none(), "{text}");
        }
        assert!(read("not base64!").is_none());
    }
}
