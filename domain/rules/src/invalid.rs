//! What is wrong with something given: which field, and what to do about it.

use serde::{Deserialize, Serialize};

/// One fault in an input: the field as a JSON path (`readings[3].hours`) and, in plain words, what is wrong with it
/// and what to do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, thiserror::Error)]
#[error("{field}: {problem}")]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Invalid {
    /// JSON path of the field, from the root of the input; empty when the whole is meant.
    pub field: String,
    /// What is wrong and what to do.
    pub problem: String,
}

impl Invalid {
    /// A fault of `field`.
    pub fn new(field: impl Into<String>, problem: impl Into<String>) -> Self {
        Self {
            field: field.into(),
            problem: problem.into(),
        }
    }

    /// The same fault seen from one level further out: `limits` becomes `checks[2].limits`.
    pub fn within(self, outer: &str) -> Self {
        let field = if self.field.is_empty() {
            outer.to_owned()
        } else if outer.is_empty() || self.field.starts_with('[') {
            format!("{outer}{}", self.field)
        } else {
            format!("{outer}.{}", self.field)
        };
        Self {
            field,
            problem: self.problem,
        }
    }
}
