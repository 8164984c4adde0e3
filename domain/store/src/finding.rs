//! Findings: what inspections found wrong and no later one found right. An unserviceable reading opens one, at most one
//! for each check of a unit; a later reading that is not unserviceable closes it ([`crate::inspection`]).

use diesel::pg::Pg;
use diesel::prelude::*;
use diesel::sql_types::{Array, BigInt, Nullable, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff_diesel::{NullableTimestamp, ToDiesel};
use rimeyard_rules::sheet::Effect;
use serde::Serialize;
use uuid::Uuid;

use crate::feed::{Write, kind};
use crate::granted::granted;
use crate::json::{of_word, word};
use crate::schema::finding;
use crate::{Error, Result, Tx, prepared};

/// A finding as readers get it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Finding {
    /// Its id.
    pub id: Uuid,
    /// The unit it is about.
    pub unit_id: Uuid,
    /// Where the unit stood.
    pub depot_id: Uuid,
    /// The inspection that opened it.
    pub inspection_id: Uuid,
    /// The check that is unserviceable.
    pub check: String,
    /// What that does to the unit.
    pub effect: Effect,
    /// What was found, in a sentence.
    pub text: String,
    /// Since when.
    pub opened_at: Timestamp,
    /// When it was found right again; null while it is open.
    pub closed_at: Option<Timestamp>,
    /// The inspection that closed it.
    pub closed_by: Option<Uuid>,
    /// Its version; the ETag shows the same.
    pub rev: i64,
}

/// Which findings; what is absent does not narrow.
#[derive(Debug, Clone, Copy, Default)]
pub struct Filter {
    /// Of this unit.
    pub unit_id: Option<Uuid>,
    /// Of units that stood at this depot.
    pub depot_id: Option<Uuid>,
    /// Open, or closed.
    pub open: Option<bool>,
}

/// At most `limit` findings that the tenant may see, ordered by id, those after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    filter: Filter,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<Finding>> {
    let mut query = visible(tx);
    if let Some(unit_id) = filter.unit_id {
        query = query.filter(finding::unit_id.eq(unit_id));
    }
    if let Some(depot_id) = filter.depot_id {
        query = query.filter(finding::depot_id.eq(depot_id));
    }
    match filter.open {
        Some(true) => query = query.filter(finding::closed_at.is_null()),
        Some(false) => query = query.filter(finding::closed_at.is_not_null()),
        None => {}
    }
    if let Some(after) = after {
        query = query.filter(finding::id.gt(after));
    }
    let query = query
        .select(Row::as_select())
        .order(finding::id)
        .limit(limit);
    let rows: Vec<Row> = query.load(&mut tx.connection()).await?;
    rows.into_iter().map(Finding::try_from).collect()
}

/// One finding that the tenant may see.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<Finding> {
    let query = visible(tx)
        .filter(finding::id.eq(id))
        .select(Row::as_select());
    let row: Row = query.first(&mut tx.connection()).await?;
    Finding::try_from(row)
}

fn visible<'a>(tx: &Tx<'_>) -> finding::BoxedQuery<'a, Pg> {
    let mut query = finding::table
        .filter(finding::org_id.eq(tx.org_id()))
        .into_boxed();
    granted!(query, tx, finding);
    query
}

/// What an inspection may bear on: the findings of these units that are open, and those that were opened or closed
/// by one of these inspections.
pub(crate) async fn concerned(
    tx: &Tx<'_>,
    unit_ids: &[Uuid],
    inspections: &[Uuid],
) -> Result<Vec<Finding>> {
    let open = finding::unit_id
        .eq_any(unit_ids)
        .and(finding::closed_at.is_null());
    let opened_by_these = finding::inspection_id.eq_any(inspections);
    let closed_by_these = finding::closed_by.assume_not_null().eq_any(inspections);
    let rows: Vec<Row> = finding::table
        .filter(finding::org_id.eq(tx.org_id()))
        .filter(open.or(opened_by_these).or(closed_by_these))
        .order((finding::opened_at, finding::id))
        .select(Row::as_select())
        .load(&mut tx.connection())
        .await?;
    rows.into_iter().map(Finding::try_from).collect()
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct Before {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
}

/// Stores findings that have changed, then new ones, and publishes all of them. One that was opened again at another
/// depot leaves the old one's scope.
///
/// # Errors
/// As of [`Write::must_hold`], for the depots they are and were at.
pub(crate) async fn store(
    tx: &mut Write<'_>,
    changed: &[&Finding],
    new: &[&Finding],
) -> Result<()> {
    // Closed before opened: a unit has one open finding of a check at any time.
    if !changed.is_empty() {
        let before: Vec<Before> = prepared(
            diesel::sql_query(
                "update finding f
                 set depot_id = c.depot_id, inspection_id = c.inspection_id, effect = c.effect, text = c.text, closed_at = c.closed_at,
                     closed_by = c.closed_by, rev = c.rev
                 from unnest($2::uuid[], $3::uuid[], $4::text[], $5::text[], $6::timestamptz[], $7::uuid[], $8::bigint[], $9::uuid[])
                     as c (id, inspection_id, effect, text, closed_at, closed_by, rev, depot_id)
                 join finding old on old.org_id = $1 and old.id = c.id
                 where f.org_id = $1 and f.id = c.id
                 returning f.id, old.depot_id",
            )
            .bind::<SqlUuid, _>(tx.org_id())
            .bind::<Array<SqlUuid>, _>(column(changed, |finding| finding.id))
            .bind::<Array<SqlUuid>, _>(column(changed, |finding| finding.inspection_id))
            .bind::<Array<Text>, _>(words(changed)?)
            .bind::<Array<Text>, _>(column(changed, |finding| finding.text.clone()))
            .bind::<Array<Nullable<Timestamptz>>, _>(column(changed, closed_at))
            .bind::<Array<Nullable<SqlUuid>>, _>(column(changed, |finding| finding.closed_by))
            .bind::<Array<BigInt>, _>(column(changed, |finding| finding.rev))
            .bind::<Array<SqlUuid>, _>(column(changed, |finding| finding.depot_id)),
        )
        .load(&mut tx.connection())
        .await?;
        for finding in changed {
            let old = before.iter().find(|before| before.id == finding.id);
            if let Some(old) = old.filter(|old| old.depot_id != finding.depot_id) {
                tx.must_hold(old.depot_id)?;
                tx.moved(old.depot_id, kind::FINDING, finding.id, finding.rev)?;
            }
        }
    }
    if !new.is_empty() {
        prepared(
            diesel::sql_query(
                "insert into finding (org_id, id, unit_id, depot_id, inspection_id, check_code, effect, text, opened_at,
                                      closed_at, closed_by, rev)
                 select $1, * from unnest($2::uuid[], $3::uuid[], $4::uuid[], $5::uuid[], $6::text[], $7::text[], $8::text[],
                                          $9::timestamptz[], $10::timestamptz[], $11::uuid[], $12::bigint[])",
            )
            .bind::<SqlUuid, _>(tx.org_id())
            .bind::<Array<SqlUuid>, _>(column(new, |finding| finding.id))
            .bind::<Array<SqlUuid>, _>(column(new, |finding| finding.unit_id))
            .bind::<Array<SqlUuid>, _>(column(new, |finding| finding.depot_id))
            .bind::<Array<SqlUuid>, _>(column(new, |finding| finding.inspection_id))
            .bind::<Array<Text>, _>(column(new, |finding| finding.check.clone()))
            .bind::<Array<Text>, _>(words(new)?)
            .bind::<Array<Text>, _>(column(new, |finding| finding.text.clone()))
            .bind::<Array<Timestamptz>, _>(column(new, |finding| finding.opened_at.to_diesel()))
            .bind::<Array<Nullable<Timestamptz>>, _>(column(new, closed_at))
            .bind::<Array<Nullable<SqlUuid>>, _>(column(new, |finding| finding.closed_by))
            .bind::<Array<BigInt>, _>(column(new, |finding| finding.rev)),
        )
        .execute(&mut tx.connection())
        .await?;
    }
    for finding in changed.iter().chain(new) {
        tx.must_hold(finding.depot_id)?;
        tx.publish(
            finding.depot_id,
            kind::FINDING,
            finding.id,
            finding.rev,
            finding,
        )?;
    }
    Ok(())
}

fn column<T>(findings: &[&Finding], value: impl Fn(&Finding) -> T) -> Vec<T> {
    findings.iter().map(|finding| value(finding)).collect()
}

fn words(findings: &[&Finding]) -> Result<Vec<String>> {
    findings
        .iter()
        .map(|finding| word(&finding.effect))
        .collect()
}

fn closed_at(finding: &Finding) -> Option<jiff_diesel::Timestamp> {
    finding.closed_at.map(ToDiesel::to_diesel)
}

/// The finding as the table holds it.
#[derive(Queryable, Selectable)]
#[diesel(table_name = finding, check_for_backend(Pg))]
struct Row {
    id: Uuid,
    unit_id: Uuid,
    depot_id: Uuid,
    inspection_id: Uuid,
    check_code: String,
    effect: String,
    text: String,
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    opened_at: Timestamp,
    #[diesel(deserialize_as = NullableTimestamp)]
    closed_at: Option<Timestamp>,
    closed_by: Option<Uuid>,
    rev: i64,
}

impl TryFrom<Row> for Finding {
    type Error = Error;

    fn try_from(row: Row) -> Result<Self> {
        Ok(Finding {
            id: row.id,
            unit_id: row.unit_id,
            depot_id: row.depot_id,
            inspection_id: row.inspection_id,
            check: row.check_code,
            effect: of_word(row.effect)?,
            text: row.text,
            opened_at: row.opened_at,
            closed_at: row.closed_at,
            closed_by: row.closed_by,
            rev: row.rev,
        })
    }
}
