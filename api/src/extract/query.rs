//! Parameters after the question mark, and the two that every list has.

use std::future::{Ready, ready};
use std::ops::Deref;

use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest};
use base64::Engine;
use base64::prelude::BASE64_URL_SAFE_NO_PAD;
use jiff::Timestamp;
use jiff::civil::Date;
use rimeyard_rules::Invalid;
use rimeyard_store::fields;
use serde::de::{DeserializeOwned, Error};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use utoipa::ToSchema;
use uuid::Uuid;

use super::words::fault;
use crate::problem::Problem;

/// The query, read as `T`. Give `T` `#[serde(deny_unknown_fields)]`: a parameter that is not known is an error, never
/// ignored.
#[derive(Debug)]
pub struct Query<T>(pub T);

impl<T> Deref for Query<T> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.0
    }
}

impl<T: DeserializeOwned> FromRequest for Query<T> {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(parse(request.query_string()).map(Self))
    }
}

fn parse<T: DeserializeOwned>(query: &str) -> Result<T, Problem> {
    let pairs = || form_urlencoded::parse(query.as_bytes());
    if let Some((name, _)) =
        pairs().find(|(name, value)| name.contains('\0') || value.contains('\0'))
    {
        let fault = Invalid::new(name.replace('\0', "\\0"), "has a NUL character; remove it");
        return Err(Problem::malformed(vec![fault]));
    }
    serde_path_to_error::deserialize(serde_urlencoded::Deserializer::new(pairs()))
        .map_err(|error| Problem::malformed(vec![fault(&error)]))
}

/// An instant that narrows a list: in the years 1900 to 2199, as everything that is stored.
#[derive(Debug, Clone, Copy, ToSchema)]
#[schema(value_type = String, format = DateTime)]
pub struct Instant(pub Timestamp);

impl<'de> Deserialize<'de> for Instant {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let at = Timestamp::deserialize(deserializer)?;
        match fields::instant("", at) {
            Ok(at) => Ok(Self(at)),
            Err(_) => Err(D::Error::custom("must be in the years 1900 to 2199")),
        }
    }
}

/// A day in a query, of the years that facts can be of.
#[derive(Debug, Clone, Copy, ToSchema)]
#[schema(value_type = String, format = Date, example = "2026-12-31")]
pub struct Day(pub Date);

impl<'de> Deserialize<'de> for Day {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let day = Date::deserialize(deserializer)?;
        match day.year() {
            1900..=2199 => Ok(Self(day)),
            _ => Err(D::Error::custom("must be in the years 1900 to 2199")),
        }
    }
}

/// How many items a page has: 1 to 200, 100 unless told.
#[derive(Debug, Clone, Copy, ToSchema)]
#[schema(value_type = u16, minimum = 1, maximum = 200, default = 100)]
pub struct Limit(i64);

impl Limit {
    /// The number.
    pub fn get(self) -> i64 {
        self.0
    }

    /// One more, to be asked of a finder: whether it comes says whether another page follows.
    pub fn and_one(self) -> i64 {
        self.0 + 1
    }
}

impl Default for Limit {
    fn default() -> Self {
        Self(100)
    }
}

impl<'de> Deserialize<'de> for Limit {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        match u16::deserialize(deserializer) {
            Ok(limit @ 1..=200) => Ok(Self(limit.into())),
            _ => Err(D::Error::custom("must be a whole number from 1 to 200")),
        }
    }
}

/// Where the next page begins: what `next_cursor` of the page before said, opaque to clients. Lists are ordered by id.
#[derive(Debug, Clone, Copy, ToSchema)]
#[schema(value_type = String, example = "AZ3vbm1sfHqBkqO0xdbn-A")]
pub struct Cursor(Uuid);

impl Cursor {
    /// After the object with this id.
    pub fn after(id: Uuid) -> Self {
        Self(id)
    }

    /// What stands for a version where a page wants an id: versions are listed in their order.
    pub fn key_of(version: i32) -> Uuid {
        Uuid::from_u128(version.unsigned_abs().into())
    }

    /// The last version of the page before.
    pub fn version(self) -> i32 {
        i32::try_from(self.0.as_u128()).unwrap_or(i32::MAX)
    }

    /// The id of the last object of the page before.
    pub fn id(self) -> Uuid {
        self.0
    }
}

impl Serialize for Cursor {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&BASE64_URL_SAFE_NO_PAD.encode(self.0))
    }
}

impl<'de> Deserialize<'de> for Cursor {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        let bytes = BASE64_URL_SAFE_NO_PAD.decode(text).ok();
        let id = bytes.and_then(|bytes| Uuid::from_slice(&bytes).ok());
        id.map(Self).ok_or_else(|| {
            D::Error::custom(
                "is not a cursor of this list; send the next_cursor of a page, or none",
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    #[expect(dead_code, reason = "only its parsing is under test")]
    struct Filter {
        #[serde(default)]
        limit: Limit,
        cursor: Option<Cursor>,
        unit_id: Option<Uuid>,
    }

    fn fault_of(query: &str) -> Option<String> {
        let problem = parse::<Filter>(query).err()?;
        let body = actix_web::ResponseError::error_response(&problem).into_body();
        let body = actix_web::body::MessageBody::try_into_bytes(body).ok()?;
        let body: serde_json::Value = serde_json::from_slice(&body).ok()?;
        Some(body["errors"][0]["field"].as_str()?.to_owned())
    }

    #[test]
    fn each_wrong_parameter_is_named() {
        assert_eq!(fault_of(""), None);
        assert_eq!(fault_of("limit=200"), None);
        for (query, field) in [
            ("limit=0", "limit"),
            ("limit=201", "limit"),
            ("limit=ten", "limit"),
            ("limit=1&limit=2", "limit"),
            ("cursor=x", "cursor"),
            ("unit_id=5", "unit_id"),
            ("colour=red", "colour"),
            ("unit_id=%00", "unit_id"),
        ] {
            assert_eq!(fault_of(query).as_deref(), Some(field), "{query}");
        }
    }

    #[test]
    fn a_cursor_reads_back() {
        let id = Uuid::now_v7();
        let text = serde_json::to_string(&Cursor::after(id)).unwrap();
        assert_eq!(serde_json::from_str::<Cursor>(&text).unwrap().id(), id);
    }
}
