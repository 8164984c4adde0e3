//! Readiness as it stands: stored documents with as of when and until when they hold. The texts are served as they
//! are kept, never taken apart.

use diesel::QueryableByName;
use diesel::sql_types::{Array, BigInt, Nullable, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use uuid::Uuid;

use crate::{Error, Result, Tx, prepared};

/// One document and when it holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shown {
    /// The document: a JSON object.
    pub document: String,
    /// Its check, as the feed has it: changes with its revision and its text.
    pub check: i64,
    /// As of when it was computed.
    pub as_of: Timestamp,
    /// Until when it holds, if no fact changes.
    pub valid_until: Timestamp,
}

/// A depot's readiness.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShownDepot {
    /// The depot.
    pub depot_id: Uuid,
    /// Its name.
    pub name: String,
    /// `None` while it has never been computed.
    pub shown: Option<Shown>,
}

/// A depot's readiness with that of its machines.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DepotWithUnits {
    /// The depot.
    pub depot: ShownDepot,
    /// The documents of its units, by id, each with its check; as of the same instant.
    pub units: Vec<(String, i64)>,
}

/// A unit's readiness.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShownUnit {
    /// The unit.
    pub unit_id: Uuid,
    /// The number on its tag.
    pub tag: String,
    /// Where it belongs.
    pub depot_id: Uuid,
    /// What it was computed from: a JSON object. `None` like `shown`.
    pub inputs: Option<String>,
    /// `None` while it has never been computed.
    pub shown: Option<Shown>,
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct Row {
    #[diesel(sql_type = Nullable<Text>)]
    doc: Option<String>,
    #[diesel(sql_type = Nullable<BigInt>)]
    digest: Option<i64>,
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = jiff_diesel::NullableTimestamp)]
    as_of: Option<Timestamp>,
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = jiff_diesel::NullableTimestamp)]
    valid_until: Option<Timestamp>,
}

impl Row {
    /// A document without a row is one whose recomputation broke off between two commits; a row without a document
    /// belongs to a unit that has just moved. Either is being computed.
    fn shown(self) -> Option<Shown> {
        Some(Shown {
            document: self.doc?,
            check: self.digest?,
            as_of: self.as_of?,
            valid_until: self.valid_until?,
        })
    }
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct DepotRow {
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = Text)]
    name: String,
    #[diesel(embed)]
    state: Row,
}

impl DepotRow {
    fn shown(self) -> ShownDepot {
        ShownDepot {
            depot_id: self.depot_id,
            name: self.name,
            shown: self.state.shown(),
        }
    }
}

/// At most `limit` of the depots that the tenant may see, ordered by id, those after `after`.
///
/// # Errors
/// Those of the database.
pub async fn depots(tx: &Tx<'_>, after: Option<Uuid>, limit: i64) -> Result<Vec<ShownDepot>> {
    let rows: Vec<DepotRow> = prepared(
        diesel::sql_query(
            "select d.id as depot_id, d.name, e.doc, e.digest, s.as_of, s.valid_until
             from depot d
             left join depot_state s on s.org_id = d.org_id and s.depot_id = d.id
             left join feed_entry e on e.org_id = d.org_id and e.scope_id = d.id and e.kind = 'depot-state'
                  and e.object_id = d.id and not e.deleted
             where d.org_id = $1 and ($2::uuid[] is null or d.id = any($2)) and ($3::uuid is null or d.id > $3)
             order by d.id limit $4",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Nullable<Array<SqlUuid>>, _>(tx.tenant().depots.as_filter())
        .bind::<Nullable<SqlUuid>, _>(after)
        .bind::<BigInt, _>(limit),
    )
    .load(&mut tx.connection())
    .await?;
    Ok(rows.into_iter().map(DepotRow::shown).collect())
}

/// One depot that the tenant may see, with its machines. One statement, one range of the feed's key.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn depot(tx: &Tx<'_>, id: Uuid) -> Result<DepotWithUnits> {
    if !tx.tenant().depots.contains(id) {
        return Err(Error::NotFound { what: "depot" });
    }
    let rows: Vec<DepotRow> = prepared(
        diesel::sql_query(
            "select d.id as depot_id, d.name, e.doc, e.digest, s.as_of, s.valid_until
             from depot d
             left join depot_state s on s.org_id = d.org_id and s.depot_id = d.id
             left join feed_entry e on e.org_id = d.org_id and e.scope_id = d.id
                  and e.kind in ('depot-state', 'unit-state') and not e.deleted
             where d.org_id = $1 and d.id = $2
             order by e.kind, e.object_id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(id),
    )
    .load(&mut tx.connection())
    .await?;
    let mut rows = rows.into_iter();
    // 'depot-state' is before 'unit-state'.
    let depot = rows
        .next()
        .ok_or(Error::NotFound { what: "depot" })?
        .shown();
    let units = rows.filter_map(|row| Some((row.state.doc?, row.state.digest?)));
    Ok(DepotWithUnits {
        depot,
        units: units.collect(),
    })
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct UnitRow {
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = Text)]
    tag: String,
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = Nullable<Text>)]
    inputs: Option<String>,
    #[diesel(embed)]
    state: Row,
}

/// One unit that the tenant may see and that is not retired.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn unit(tx: &Tx<'_>, id: Uuid) -> Result<ShownUnit> {
    let rows: Vec<UnitRow> = prepared(
        diesel::sql_query(
            "select u.id as unit_id, u.tag, u.depot_id, s.inputs, e.doc, e.digest, s.as_of, s.valid_until
             from unit u
             left join unit_state s on s.org_id = u.org_id and s.unit_id = u.id
             left join feed_entry e on e.org_id = u.org_id and e.scope_id = u.depot_id and e.kind = 'unit-state'
                  and e.object_id = u.id and not e.deleted
             where u.org_id = $1 and u.id = $2 and u.retired_at is null and ($3::uuid[] is null or u.depot_id = any($3))",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(id)
        .bind::<Nullable<Array<SqlUuid>>, _>(tx.tenant().depots.as_filter()),
    )
    .load(&mut tx.connection())
    .await?;
    let row = rows.into_iter().next();
    let row = row.ok_or(Error::NotFound { what: "unit" })?;
    let shown = row.state.shown();
    Ok(ShownUnit {
        unit_id: row.unit_id,
        tag: row.tag,
        depot_id: row.depot_id,
        inputs: row.inputs.filter(|_| shown.is_some()),
        shown,
    })
}
