//! How a request is read. Each extractor refuses what it cannot read with a [`Problem`](crate::problem::Problem) that
//! names the field, before a handler runs.
//!
//! The names `Json` and `Path` are those that `utoipa::path` looks for, so that bodies and path parameters document
//! themselves; a query is named once more, as `params(Filter)`.

mod json;
mod path;
mod precondition;
pub mod proof;
mod query;
mod words;

pub use json::{BODY_LIMIT_BYTES, Json, idempotency_key, object, read};
pub use path::Path;
pub use precondition::IfMatch;
pub use proof::Proof;
pub use query::{Cursor, Day, Instant, Limit, Query};
