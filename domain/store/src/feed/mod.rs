//! The feed: the ONE way to write, and what readers pull.
pub mod kind;
mod write;
pub use write::{COMMIT_BYTES_MAX, DOCUMENT_BYTES_MAX, DOCUMENTS_MAX, Write, check, hex, write};
