//! What stands open now: storms ahead, hold tags, findings, use under stated limits.

use diesel::QueryableByName;
use diesel::sql_types::{Array, Double, Nullable, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff_diesel::ToDiesel;
use rimeyard_rules::facts::{FindingFacts, HoldFacts, LimitedUseFacts, StormFacts};
use uuid::Uuid;

use super::{Asked, By, by};
use crate::json::of_word;
use crate::prepared::prepared;
use crate::{Result, Tx};

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct StormRow {
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Text)]
    name: String,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    starts_at: Timestamp,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    ends_at: Timestamp,
    #[diesel(sql_type = Double)]
    depth_mm: f64,
    #[diesel(sql_type = Double)]
    reclear_mm: f64,
    #[diesel(sql_type = Nullable<Double>)]
    density_kg_m3: Option<f64>,
    #[diesel(sql_type = Nullable<Double>)]
    temperature_c: Option<f64>,
    #[diesel(sql_type = Nullable<Double>)]
    low_c: Option<f64>,
}

/// Each depot's storms that ended since 1 July of last winter, run or are to come.
pub(super) async fn storms(
    tx: &Tx<'_>,
    depot_ids: &[Uuid],
    since: Timestamp,
) -> Result<By<StormFacts>> {
    let rows: Vec<StormRow> = prepared(
        diesel::sql_query(
            "select d.depot_id, s.id, s.name, s.starts_at, s.ends_at, s.depth_mm, s.reclear_mm, s.density_kg_m3,
                    s.temperature_c, s.low_c
             from storm_depot d
             join storm s on s.org_id = d.org_id and s.id = d.storm_id
             where d.org_id = $1 and d.depot_id = any($2) and s.cancelled_at is null and s.ends_at >= $3
             order by s.starts_at, s.id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(depot_ids)
        .bind::<Timestamptz, _>(since.to_diesel()),
    )
    .load(&mut tx.connection())
    .await?;
    by(rows, |row| {
        Ok((
            row.depot_id,
            StormFacts {
                id: row.id,
                name: row.name,
                starts_at: row.starts_at,
                ends_at: row.ends_at,
                depth_mm: row.depth_mm,
                reclear_mm: row.reclear_mm,
                density_kg_m3: row.density_kg_m3,
                temperature_c: row.temperature_c,
                low_c: row.low_c,
            },
        ))
    })
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct HoldRow {
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Text)]
    reason: String,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    placed_at: Timestamp,
    #[diesel(sql_type = Text)]
    placed_by: String,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    finding_id: Option<Uuid>,
}

/// Hold tags not lifted.
pub(super) async fn holds(tx: &Tx<'_>, asked: &Asked) -> Result<By<HoldFacts>> {
    let rows: Vec<HoldRow> = prepared(
        diesel::sql_query(
            "select h.unit_id, h.id, h.reason, h.placed_at, p.name as placed_by, h.finding_id
             from hold h
             join person p on p.org_id = h.org_id and p.id = h.placed_by
             where h.org_id = $1 and h.unit_id = any($2) and h.lifted_at is null
             order by h.placed_at, h.id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(&asked.unit_ids),
    )
    .load(&mut tx.connection())
    .await?;
    by(rows, |row| {
        Ok((
            row.unit_id,
            HoldFacts {
                id: row.id,
                reason: row.reason,
                placed_at: row.placed_at,
                placed_by: row.placed_by,
                finding_id: row.finding_id,
            },
        ))
    })
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct FindingRow {
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Text)]
    check_code: String,
    #[diesel(sql_type = Text)]
    effect: String,
    #[diesel(sql_type = Text)]
    text: String,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    opened_at: Timestamp,
}

/// Findings not closed.
pub(super) async fn findings(tx: &Tx<'_>, asked: &Asked) -> Result<By<FindingFacts>> {
    let rows: Vec<FindingRow> = prepared(
        diesel::sql_query(
            "select unit_id, id, check_code, effect, text, opened_at
             from finding
             where org_id = $1 and unit_id = any($2) and closed_at is null
             order by opened_at, id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(&asked.unit_ids),
    )
    .load(&mut tx.connection())
    .await?;
    by(rows, |row| {
        Ok((
            row.unit_id,
            FindingFacts {
                id: row.id,
                check: row.check_code,
                effect: of_word(row.effect)?,
                text: row.text,
                opened_at: row.opened_at,
            },
        ))
    })
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct LimitedUseRow {
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Text)]
    reason: String,
    #[diesel(sql_type = Text)]
    named_by: String,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    starts_at: Timestamp,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    ends_at: Timestamp,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    admitted_storm: Option<Uuid>,
}

/// Limited uses that nobody ended.
pub(super) async fn limited_uses(tx: &Tx<'_>, asked: &Asked) -> Result<By<LimitedUseFacts>> {
    let rows: Vec<LimitedUseRow> = prepared(
        diesel::sql_query(
            "select l.unit_id, l.id, l.reason, p.name as named_by, l.starts_at, l.ends_at, l.admitted_storm
             from limited_use l
             join person p on p.org_id = l.org_id and p.id = l.named_by
             where l.org_id = $1 and l.unit_id = any($2) and l.ended_at is null
             order by l.starts_at, l.id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(&asked.unit_ids),
    )
    .load(&mut tx.connection())
    .await?;
    by(rows, |row| {
        Ok((
            row.unit_id,
            LimitedUseFacts {
                id: row.id,
                reason: row.reason,
                named_by: row.named_by,
                starts_at: row.starts_at,
                ends_at: row.ends_at,
                admitted_storm: row.admitted_storm,
            },
        ))
    })
}
