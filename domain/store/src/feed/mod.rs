//! The feed: the ONE way to write ([`write()`]), and what readers get ([`pull()`]).

pub mod kind;
mod pull;
mod write;

pub use pull::{
    Cursor, Entry, Head, LIMIT_DEFAULT, LIMIT_MAX, Page, Pull, SCOPES_MAX, Scope, ScopeKind, epoch,
    heads, pull,
};
pub use write::{COMMIT_BYTES_MAX, DOCUMENT_BYTES_MAX, DOCUMENTS_MAX, Write, check, hex, write};
