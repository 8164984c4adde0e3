//! What can go wrong in the store, in words without transport. api/src/problem.rs gives each its HTTP status.

use diesel::result::{DatabaseErrorInformation, DatabaseErrorKind};
use rimeyard_rules::Invalid;

/// The store's result.
pub type Result<T, E = Error> = std::result::Result<T, E>;

/// What can go wrong.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// There is no such object within the tenant's organisation and depots. Hidden and absent are the same.
    #[error("no such {what}")]
    NotFound {
        /// The kind of object: "unit".
        what: &'static str,
    },
    /// The tenant may see the object and not do this to it.
    #[error("this is for somebody else to do")]
    Forbidden,
    /// The request contradicts what is stored.
    #[error("{field} {problem}")]
    Conflict {
        /// The field of the request, as a JSON path.
        field: String,
        /// What is wrong and what to do.
        problem: String,
    },
    /// The request can never be right.
    #[error("{field} {problem}")]
    Invalid {
        /// The field of the request, as a JSON path.
        field: String,
        /// What is wrong and what to do.
        problem: String,
    },
    /// The request can never be right, in one field or several.
    #[error("{} fields are wrong", .0.len())]
    Faults(Vec<Invalid>),
    /// The object has changed since the caller read it.
    #[error("the object has changed since it was read")]
    Stale,
    /// Somebody else wrote the same thing at the same moment, three times over. To be tried again.
    #[error("the same rows were being written by others")]
    Contended,
    /// An object has moved to a scope that was not locked, since the scopes were looked up. To be looked up again.
    #[error("the object has moved to another depot meanwhile")]
    Moved,
    /// The database cannot be reached or is too busy. To be tried again.
    #[error("the database is not available: {0}")]
    Unavailable(String),
    /// A statement took longer than any may. To be tried again; should it go on, what it asks for is too much.
    #[error("the database took too long: {0}")]
    TooSlow(String),
    /// The database refused a statement for a reason that lies neither in the request nor, as far as is known, in what
    /// is stored: its disk is full, its memory used up, it may only be read. The text is for the log.
    #[error("the database refused: {0}")]
    Refused(String),
    /// A fault of ours. The text is for the log and never for a client.
    #[error("{0}")]
    Internal(String),
}

impl Error {
    /// An [`Error::Invalid`].
    pub fn invalid(field: impl Into<String>, problem: impl Into<String>) -> Self {
        Error::Invalid {
            field: field.into(),
            problem: problem.into(),
        }
    }

    /// An [`Error::Conflict`].
    pub fn conflict(field: impl Into<String>, problem: impl Into<String>) -> Self {
        Error::Conflict {
            field: field.into(),
            problem: problem.into(),
        }
    }

    /// An [`Error::Invalid`]: the field names an object that is not there, or not for this tenant. The two are the
    /// same.
    pub fn no_such(field: impl Into<String>) -> Self {
        Error::invalid(field, "names something that does not exist")
    }

    /// [`Error::Faults`] with each field seen from `outer`, where there are any.
    pub(crate) fn of_faults(faults: Vec<Invalid>, outer: &str) -> Result<()> {
        if faults.is_empty() {
            return Ok(());
        }
        let faults = faults.into_iter().map(|fault| fault.within(outer));
        Err(Error::Faults(faults.collect()))
    }

    /// The same error with its fields seen from one level further out: `run_hours` becomes `[3].run_hours`.
    pub(crate) fn within(self, outer: &str) -> Self {
        let seen = |field: String| Invalid::new(field, "").within(outer).field;
        self.with_fields(seen)
    }

    /// The same error of the first and only item of a list, as if that item were the whole: `[0].run_hours` becomes
    /// `run_hours`.
    #[must_use]
    pub fn of_the_first(self) -> Self {
        self.with_fields(|field| match field.strip_prefix("[0]") {
            Some(rest) => rest.trim_start_matches('.').to_owned(),
            None => field,
        })
    }

    fn with_fields(self, change: impl Fn(String) -> String) -> Self {
        match self {
            Error::Invalid { field, problem } => Error::invalid(change(field), problem),
            Error::Conflict { field, problem } => Error::conflict(change(field), problem),
            Error::Faults(faults) => {
                let faults = faults
                    .into_iter()
                    .map(|fault| Invalid::new(change(fault.field), fault.problem));
                Error::Faults(faults.collect())
            }
            other => other,
        }
    }

    /// An [`Error::Internal`].
    pub fn internal(cause: impl std::fmt::Display) -> Self {
        Error::Internal(cause.to_string())
    }
}

/// diesel keeps neither the SQLSTATE nor a downcast, so what it has no kind for is told by Postgres' English text;
/// boot warns of a login whose `lc_messages` speaks otherwise.
const TO_BE_TRIED_AGAIN: [&str; 2] = ["deadlock detected", "could not serialize access"];
const TOO_SLOW: &str = "canceling statement due to statement timeout";
const AWAY: [&str; 5] = [
    "canceling statement due to lock timeout",
    "terminating connection due to",
    "the database system is",
    "too many clients already",
    "remaining connection slots are reserved",
];

impl From<diesel::result::Error> for Error {
    fn from(error: diesel::result::Error) -> Self {
        use diesel::result::Error as Diesel;
        match error {
            Diesel::NotFound => Error::NotFound { what: "object" },
            Diesel::DatabaseError(kind, information) => of_database(kind, information.as_ref()),
            other => Error::internal(other),
        }
    }
}

fn of_database(
    kind: DatabaseErrorKind,
    information: &(dyn DatabaseErrorInformation + Send + Sync),
) -> Error {
    let message = information.message();
    let (table, constraint) = (
        information.table_name().unwrap_or(""),
        information.constraint_name().unwrap_or(""),
    );
    match kind {
        DatabaseErrorKind::UniqueViolation => Error::conflict(
            column(table, constraint, &["_key", "_pkey"]),
            format!(
                "is already used by another {}; choose another value",
                words(table)
            ),
        ),
        DatabaseErrorKind::ForeignKeyViolation => {
            Error::no_such(column(table, constraint, &["_fkey"]))
        }
        DatabaseErrorKind::CheckViolation => Error::invalid(
            column(table, constraint, &["_check"]),
            "is outside the range that can be stored",
        ),
        DatabaseErrorKind::SerializationFailure => Error::Contended,
        DatabaseErrorKind::UnableToSendCommand | DatabaseErrorKind::ClosedConnection => {
            Error::Unavailable(message.to_owned())
        }
        _ if TO_BE_TRIED_AGAIN.iter().any(|text| message.contains(text)) => Error::Contended,
        _ if AWAY.iter().any(|text| message.contains(text)) => {
            Error::Unavailable(message.to_owned())
        }
        _ if message.contains(TOO_SLOW) => Error::TooSlow(message.to_owned()),
        _ => Error::Refused(match information.details() {
            Some(details) => format!("{message} ({details})"),
            None => message.to_owned(),
        }),
    }
}

/// The column a constraint is about, by Postgres' own way of naming constraints: `unit_org_id_tag_key` is `tag`.
fn column(table: &str, constraint: &str, endings: &[&str]) -> String {
    let rest = constraint
        .strip_prefix(table)
        .unwrap_or(constraint)
        .trim_start_matches('_');
    if rest == "pkey" {
        return "id".to_owned();
    }
    let rest = endings
        .iter()
        .find_map(|ending| rest.strip_suffix(ending))
        .unwrap_or(rest);
    rest.strip_prefix("org_id_").unwrap_or(rest).to_owned()
}

fn words(table: &str) -> String {
    table.replace('_', " ")
}

#[cfg(test)]
mod tests {
    use super::column;

    #[test]
    fn a_constraint_tells_its_column() {
        assert_eq!(
            column("unit", "unit_org_id_tag_key", &["_key", "_pkey"]),
            "tag"
        );
        assert_eq!(column("unit", "unit_pkey", &["_key", "_pkey"]), "id");
        assert_eq!(
            column("unit", "unit_org_id_depot_id_fkey", &["_fkey"]),
            "depot_id"
        );
        assert_eq!(
            column("storm", "storm_depth_mm_check", &["_check"]),
            "depth_mm"
        );
        assert_eq!(
            column("credential", "credential_email", &["_key", "_pkey"]),
            "email"
        );
    }
}
