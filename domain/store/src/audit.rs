//! What was changed: by whom, through what, and for which request. It is written by [`feed::write`](crate::feed::write)
//! alone; here it is read.

use diesel::pg::Pg;
use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use serde::Serialize;
use serde_json::Value;
use uuid::Uuid;

use crate::feed::kind;
use crate::schema::{audit, device};
use crate::{Depots, Result, Tx};

/// What is the organisation's and tells nothing of a depot. Other things are in its scope that do: a storm names all its
/// depots, a person's phone may hold facts of any.
const OF_ALL: [&str; 8] = [
    "access-key",
    "organisation",
    kind::CHECKLIST,
    kind::LEARNED,
    kind::MODEL,
    kind::PART,
    kind::PERSON,
    kind::SHEET,
];

/// A change.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Audited {
    /// Its id; later changes have later ones.
    pub id: Uuid,
    /// When.
    pub at: Timestamp,
    /// Who; none: the house itself, as it sets up and computes.
    pub person_id: Option<Uuid>,
    /// The session through which it came, or the depot system's key; none where it came later than the request for it, as
    /// what an import applies, and where it is from before this was noted.
    pub session: Option<Uuid>,
    /// The phone, if that session is a phone's.
    pub device_id: Option<Uuid>,
    /// The request, as its answer's X-Request-Id had it.
    pub request_id: Option<Uuid>,
    /// What was done: `create`, `update`...
    pub action: String,
    /// To what: `unit`, `inspection`...
    pub object_kind: String,
    /// To which.
    pub object_id: Uuid,
    /// Where it belongs: a depot, or the organisation.
    pub scope_id: Uuid,
    /// What there is to say of it: the new object, or each field that changed with both values.
    #[cfg_attr(feature = "schema", schema(value_type = Object))]
    pub detail: Value,
}

/// Which; what is absent does not narrow.
#[derive(Debug, Clone, Default)]
pub struct Filter {
    /// By this person.
    pub person_id: Option<Uuid>,
    /// Through this phone.
    pub device_id: Option<Uuid>,
    /// To this: a kind, and which.
    pub object: Option<(String, Uuid)>,
}

/// At most `limit` changes that the tenant may see, the newest first, those before `before`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    filter: Filter,
    before: Option<Uuid>,
    limit: i64,
) -> Result<Vec<Audited>> {
    let mut query = audit::table
        .left_join(
            device::table.on(device::org_id
                .eq(audit::org_id)
                .and(device::session.nullable().eq(audit::session))),
        )
        .filter(audit::org_id.eq(tx.org_id()))
        .select((Row::as_select(), device::id.nullable()))
        .order(audit::id.desc())
        .limit(limit)
        .into_boxed();
    if let Depots::Some(granted) = &tx.tenant().depots {
        let granted: Vec<Uuid> = granted.iter().copied().collect();
        let of_all = audit::scope_id
            .eq(tx.org_id())
            .and(audit::object_kind.eq_any(OF_ALL));
        query = query.filter(audit::scope_id.eq_any(granted).or(of_all));
    }
    if let Some(person_id) = filter.person_id {
        query = query.filter(audit::person_id.eq(person_id));
    }
    if let Some(device_id) = filter.device_id {
        query = query.filter(device::id.eq(device_id));
    }
    if let Some((kind, id)) = filter.object {
        query = query
            .filter(audit::object_kind.eq(kind))
            .filter(audit::object_id.eq(id));
    }
    if let Some(before) = before {
        query = query.filter(audit::id.lt(before));
    }
    let rows: Vec<(Row, Option<Uuid>)> = query.load(&mut tx.connection()).await?;
    Ok(rows
        .into_iter()
        .map(|(row, device_id)| row.audited(device_id))
        .collect())
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = audit, check_for_backend(Pg))]
struct Row {
    id: Uuid,
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    at: Timestamp,
    person_id: Option<Uuid>,
    session: Option<Uuid>,
    request_id: Option<Uuid>,
    action: String,
    object_kind: String,
    object_id: Uuid,
    scope_id: Uuid,
    detail: Value,
}

impl Row {
    fn audited(self, device_id: Option<Uuid>) -> Audited {
        Audited {
            id: self.id,
            at: self.at,
            person_id: self.person_id,
            session: self.session,
            device_id,
            request_id: self.request_id,
            action: self.action,
            object_kind: self.object_kind,
            object_id: self.object_id,
            scope_id: self.scope_id,
            detail: self.detail,
        }
    }
}
