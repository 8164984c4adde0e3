//! A JSON body.

use std::ops::Deref;
use std::time::Duration;

use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::{FromRequest, HttpMessage, HttpRequest, web};
use futures::StreamExt;
use futures::future::LocalBoxFuture;
use rimeyard_rules::Invalid;
use rimeyard_store::Once;
use serde::de::{DeserializeOwned, IgnoredAny};
use serde_json::Value;

use super::words::{fault, is_no_word, is_too_long};
use crate::problem::Problem;

/// The most bytes of a body: 1 MiB.
pub const BODY_LIMIT_BYTES: usize = 1024 * 1024;
/// How long a body may take to arrive: 1 MiB at 35 kB/s, a poor mobile network.
const BODY_TIME: Duration = Duration::from_secs(30);

/// The body, read as `T`, with the request's Idempotency-Key if it has one. Derefs to `T`.
#[derive(Debug)]
pub struct Json<T> {
    value: T,
    once: Option<Once>,
}

impl<T> Json<T> {
    /// The value and the Idempotency-Key, for a write.
    pub fn into_parts(self) -> (T, Option<Once>) {
        (self.value, self.once)
    }
}

impl<T> Deref for Json<T> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.value
    }
}

impl<T: DeserializeOwned + 'static> FromRequest for Json<T> {
    type Error = Problem;
    type Future = LocalBoxFuture<'static, Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let is_json = request
            .content_type()
            .eq_ignore_ascii_case("application/json");
        let encoded = request.headers().contains_key(header::CONTENT_ENCODING);
        let declared = request
            .headers()
            .get(header::CONTENT_LENGTH)
            .and_then(|length| length.to_str().ok()?.parse::<usize>().ok());
        let request = request.clone();
        let payload = payload.take();
        Box::pin(async move {
            if !is_json || encoded {
                return Err(Problem::unsupported_media_type());
            }
            if declared.is_some_and(|length| length > BODY_LIMIT_BYTES) {
                return Err(Problem::too_large(BODY_LIMIT_BYTES));
            }
            let bytes = read(payload, BODY_LIMIT_BYTES).await?;
            let once = idempotency_key(&request)?
                .map(|key| Once::new(key, request.method().as_str(), request.path(), &bytes));
            Ok(Self {
                value: object(&bytes)?,
                once,
            })
        })
    }
}

/// All of a body.
///
/// # Errors
/// 408 for one that does not come in time, 413 for one over the limit, 400 for one that breaks off.
pub async fn read(payload: Payload, limit_bytes: usize) -> Result<web::BytesMut, Problem> {
    tokio::time::timeout(BODY_TIME, collect(payload, limit_bytes))
        .await
        .map_err(|_| Problem::too_slow())?
}

async fn collect(mut payload: Payload, limit_bytes: usize) -> Result<web::BytesMut, Problem> {
    let mut bytes = web::BytesMut::new();
    while let Some(chunk) = payload.next().await {
        let chunk = chunk.map_err(|_| {
            Problem::malformed(vec![Invalid::new("", "the body broke off; send it again")])
        })?;
        if bytes.len() + chunk.len() > limit_bytes {
            return Err(Problem::too_large(limit_bytes));
        }
        bytes.extend_from_slice(&chunk);
    }
    Ok(bytes)
}

/// The bytes of a body, read. Every body is an object. serde also reads a list as one, field by field in their order, so that
/// an empty list would be a change of nothing.
///
/// # Errors
/// 400 where it is no JSON, 422 where a field is wrong.
pub fn object<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, Problem> {
    let value = parse(bytes)?;
    let first = bytes.iter().find(|byte| !byte.is_ascii_whitespace());
    if first == Some(&b'{') {
        Ok(value)
    } else {
        Err(Invalid::new("", "must be an object, {..}").into())
    }
}

/// 400 where it is no JSON, 422 where a field is wrong.
fn parse<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, Problem> {
    let no_json = |field: String, error: &serde_json::Error| {
        Problem::malformed(vec![Invalid::new(
            field,
            format!("the body is not JSON: {error}"),
        )])
    };
    let mut json = serde_json::Deserializer::from_slice(bytes);
    let value = serde_path_to_error::deserialize(&mut json).map_err(|error| {
        // What comes after the first wrong value was not looked at yet.
        match serde_json::from_slice::<IgnoredAny>(bytes) {
            Err(error) => no_json(String::new(), &error),
            // For a null or a number where one of some words is wanted, and for a list with more than it takes, serde_json says
            // that the syntax is wrong.
            Ok(_) if error.inner().is_data() || is_no_word(&error) || is_too_long(&error) => {
                Problem::invalid(vec![fault(&error)])
            }
            Ok(_) => no_json(fault(&error).field, error.inner()),
        }
    })?;
    json.end().map_err(|error| no_json(String::new(), &error))?;
    // Postgres keeps no NUL in text, so none gets past here. It can only be written as an escape.
    if bytes.windows(6).any(|six| six == b"\\u0000") {
        // What was taken as it came, unread, may still be no JSON that can be read.
        let whole: Value =
            serde_json::from_slice(bytes).map_err(|error| no_json(String::new(), &error))?;
        if let Some(field) = nul(&whole) {
            return Err(Invalid::new(field, "has a NUL character (\\u0000); remove it").into());
        }
    }
    Ok(value)
}

/// The path of the first text with a NUL character in it.
fn nul(value: &Value) -> Option<String> {
    match value {
        Value::String(text) => text.contains('\0').then(String::new),
        Value::Array(items) => items.iter().enumerate().find_map(|(index, item)| {
            Some(
                Invalid::new(nul(item)?, "")
                    .within(&format!("[{index}]"))
                    .field,
            )
        }),
        Value::Object(fields) => fields
            .iter()
            .find_map(|(name, item)| Some(Invalid::new(nul(item)?, "").within(name).field)),
        _ => None,
    }
}

/// The key that makes a repeat of this request be answered as the first time.
///
/// # Errors
/// 400 for one that is no key.
pub fn idempotency_key(request: &HttpRequest) -> Result<Option<String>, Problem> {
    let Some(key) = request.headers().get("idempotency-key") else {
        return Ok(None);
    };
    match key.to_str() {
        Ok(key) if (1..=200).contains(&key.len()) => Ok(Some(key.to_owned())),
        _ => Err(Problem::malformed(vec![Invalid::new(
            "Idempotency-Key",
            "must be 1 to 200 printable ASCII characters; send a new random one for each new request",
        )])),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_nul_is_found_and_its_look_alike_is_not() {
        let found = nul(&serde_json::json!({"a": [{"b": "x"}, {"b": "x\0"}]}));
        assert_eq!(found.as_deref(), Some("a[1].b"));
        assert!(parse::<Value>(br#"{"a": "a backslash, then u0000: \\u0000"}"#).is_ok());
        assert!(parse::<Value>(br#"{"a": "\u0000"}"#).is_err());
    }

    #[test]
    fn what_is_no_json_is_400_and_a_wrong_value_422() {
        let status = |text: &str| {
            parse::<Vec<f64>>(text.as_bytes())
                .err()
                .map(|problem| actix_web::ResponseError::status_code(&problem).as_u16())
        };
        assert_eq!(status("[1"), Some(400));
        assert_eq!(status("[1] 2"), Some(400));
        assert_eq!(status("[\"\u{1}\"]"), Some(400));
        assert_eq!(status(&"[".repeat(10_000)), Some(400));
        assert_eq!(status("[\"x\"]"), Some(422));
        for text in ["null", "5", "[]"] {
            let problem =
                parse::<rimeyard_rules::sheet::Work>(text.as_bytes()).expect_err("no word");
            assert_eq!(
                actix_web::ResponseError::status_code(&problem),
                422,
                "{text}"
            );
        }
        assert_eq!(status("[1.5]"), None);
        let problem = parse::<[f64; 3]>(b"[1, 2, 3, 4]").expect_err("one too many");
        assert_eq!(actix_web::ResponseError::status_code(&problem), 422);
        assert!(problem.errors()[0].problem.contains("more items"));
    }
}
