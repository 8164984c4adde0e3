//! What the organisation's machines have taught of each model (sections 4 to 6 of the computation): versions, of which the
//! newest for the present sheet is computed with. Learned anew when what is known of the models of a kind has grown by a
//! tenth, or a sheet has changed: machines of a kind share what is believed of how they start.

use std::collections::{BTreeMap, BTreeSet};

use diesel::pg::Pg;
use diesel::prelude::*;
use diesel::sql_types::{
    Array, BigInt, Integer, Jsonb, Nullable, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff_diesel::ToDiesel;
use rimeyard_rules::learn::{Booked, Learned, grown_by_a_tenth};
use rimeyard_rules::sheet::Sheet;
use serde::Serialize;
use uuid::Uuid;

use crate::feed::{Write, kind};
use crate::json::{json, of_json};
use crate::model::{self, Model};
use crate::schema::{learned, unit};
use crate::{Error, Result, Tx, prepared, sheet};

/// What was learned of a model, as readers get it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct LearnedVersion {
    /// The model.
    pub model_id: Uuid,
    /// Which version: 1, 2, 3 and so on; 0 where nothing was learned yet.
    pub version: i32,
    /// The version of its sheet that this is learned on: it is computed with while that is the present one.
    pub sheet_version: i32,
    /// Inspections, meter readings and removals of parts of its machines that were known then.
    pub facts: i64,
    /// When it was learned; it holds from then until the next.
    pub learned_at: Option<Timestamp>,
    /// What was learned, and from how much.
    #[serde(flatten)]
    pub content: Learned,
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = learned, check_for_backend(Pg))]
struct Row {
    model_id: Uuid,
    version: i32,
    sheet_version: i32,
    facts: i64,
    content: serde_json::Value,
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    learned_at: Timestamp,
}

impl Row {
    fn version(self) -> Result<LearnedVersion> {
        Ok(LearnedVersion {
            model_id: self.model_id,
            version: self.version,
            sheet_version: self.sheet_version,
            facts: self.facts,
            learned_at: Some(self.learned_at),
            content: of_json(self.content)?,
        })
    }
}

/// The newest of each of at most `limit` models, ordered by model, those after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(tx: &Tx<'_>, after: Option<Uuid>, limit: i64) -> Result<Vec<LearnedVersion>> {
    let models = model::list(tx, None, None, after, limit).await?;
    let ids: Vec<Uuid> = models.iter().map(|model| model.id).collect();
    let query = learned::table
        .filter(learned::org_id.eq(tx.org_id()))
        .filter(learned::model_id.eq_any(&ids))
        .distinct_on(learned::model_id)
        .order((learned::model_id, learned::version.desc()))
        .select(Row::as_select());
    let rows: Vec<Row> = query.load(&mut tx.connection()).await?;
    let mut newest = BTreeMap::new();
    for row in rows {
        newest.insert(row.model_id, row.version()?);
    }
    let none: Vec<Uuid> = ids
        .iter()
        .copied()
        .filter(|id| !newest.contains_key(id))
        .collect();
    let sheets = sheet::present(tx, &none).await?;
    let all = models.iter().map(|model| {
        let learned = newest.remove(&model.id);
        let learned = learned.or_else(|| Some(nothing(model, sheets.get(&model.id)?)));
        learned.ok_or_else(|| Error::internal(format!("model {} has no sheet", model.id)))
    });
    all.collect()
}

/// The newest of a model.
///
/// # Errors
/// [`Error::NotFound`] where there is no such model.
pub async fn find(tx: &Tx<'_>, model_id: Uuid) -> Result<LearnedVersion> {
    let model = model::find(tx, model_id).await?;
    if let Some(newest) = newest(tx, model_id).await? {
        return Ok(newest);
    }
    let sheet = sheet::find(tx, model_id, model.sheet_version).await?;
    Ok(nothing(&model, &sheet.content))
}

/// Of a model that has taught nothing yet.
fn nothing(model: &Model, sheet: &Sheet) -> LearnedVersion {
    LearnedVersion {
        model_id: model.id,
        version: 0,
        sheet_version: model.sheet_version,
        facts: 0,
        learned_at: None,
        content: Learned::nothing(sheet),
    }
}

async fn newest(tx: &Tx<'_>, model_id: Uuid) -> Result<Option<LearnedVersion>> {
    let query = learned::table
        .filter(learned::org_id.eq(tx.org_id()))
        .filter(learned::model_id.eq(model_id))
        .order(learned::version.desc())
        .select(Row::as_select());
    let row: Option<Row> = query.first(&mut tx.connection()).await.optional()?;
    row.map(Row::version).transpose()
}

/// A model of which it is time to learn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Due {
    /// It.
    pub model_id: Uuid,
    /// The present version of its sheet.
    pub sheet_version: i32,
    /// Inspections, meter readings and removals of parts of its machines that are known now.
    pub facts: i64,
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct KnownRow {
    #[diesel(sql_type = SqlUuid)]
    model_id: Uuid,
    #[diesel(sql_type = Text)]
    kind: String,
    #[diesel(sql_type = Integer)]
    sheet_version: i32,
    #[diesel(sql_type = BigInt)]
    facts: i64,
    #[diesel(sql_type = Nullable<BigInt>)]
    facts_then: Option<i64>,
    #[diesel(sql_type = Nullable<Integer>)]
    sheet_then: Option<i32>,
}

impl KnownRow {
    fn is_due(&self) -> bool {
        let then = self.facts_then.unwrap_or(0).unsigned_abs();
        self.sheet_then != Some(self.sheet_version)
            || grown_by_a_tenth(then, self.facts.unsigned_abs())
    }
}

/// All models of those kinds of which any has grown by a tenth since it was learned from, or has a new sheet.
///
/// # Errors
/// Those of the database.
pub async fn due(tx: &Tx<'_>) -> Result<Vec<Due>> {
    let query = prepared(
        diesel::sql_query(
            "with known as (
                 select u.model_id, sum(n.facts)::bigint as facts
                 from unit u
                 join (
                     select unit_id, count(*) as facts from inspection where org_id = $1 group by unit_id
                     union all
                     select unit_id, count(*) from meter_reading where org_id = $1 group by unit_id
                     union all
                     select unit_id, count(*) from fitted_part where org_id = $1 and removed_at is not null group by unit_id
                 ) n on n.unit_id = u.id
                 where u.org_id = $1 and u.retired_at is null
                 group by u.model_id
             )
             select m.id as model_id, m.kind, m.sheet_version, k.facts, l.facts as facts_then,
                    l.sheet_version as sheet_then
             from model m
             join known k on k.model_id = m.id
             left join lateral (
                 select facts, sheet_version from learned
                 where org_id = $1 and model_id = m.id order by version desc limit 1
             ) l on true
             where m.org_id = $1
             order by m.id",
        )
        .bind::<SqlUuid, _>(tx.org_id()),
    );
    let known: Vec<KnownRow> = query.load(&mut tx.connection()).await?;
    let due = known.iter().filter(|model| model.is_due());
    let kinds: BTreeSet<&str> = due.map(|model| model.kind.as_str()).collect();
    let of_kinds = known
        .iter()
        .filter(|model| kinds.contains(model.kind.as_str()));
    let due = of_kinds.map(|model| Due {
        model_id: model.model_id,
        sheet_version: model.sheet_version,
        facts: model.facts,
    });
    Ok(due.collect())
}

/// The depots at which machines of these models stand.
///
/// # Errors
/// Those of the database.
pub async fn depots(tx: &Tx<'_>, model_ids: &[Uuid]) -> Result<Vec<Uuid>> {
    Ok(unit::table
        .filter(unit::org_id.eq(tx.org_id()))
        .filter(unit::model_id.eq_any(model_ids))
        .filter(unit::retired_at.is_null())
        .select(unit::depot_id)
        .distinct()
        .order(unit::depot_id)
        .load(&mut tx.connection())
        .await?)
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct BookedRow {
    #[diesel(sql_type = Text)]
    number: String,
    #[diesel(sql_type = BigInt)]
    used: i64,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    since: Timestamp,
}

/// What the ledgers of all depots say of these parts, by number: how many were used, and since when anything of them is
/// booked.
///
/// # Errors
/// Those of the database.
pub async fn booked(tx: &Tx<'_>, numbers: &[&str]) -> Result<BTreeMap<String, Booked>> {
    let rows: Vec<BookedRow> = prepared(
        diesel::sql_query(
            "select p.number, coalesce(sum(s.quantity) filter (where s.move = 'used'), 0)::bigint as used,
                    min(s.took_effect_at) as since
             from part p
             join stock_move s on s.org_id = p.org_id and s.part_id = p.id
             where p.org_id = $1 and p.number = any($2)
               and not exists (select from stock_move c where c.org_id = s.org_id and c.corrects = s.id)
             group by p.number",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<Text>, _>(numbers),
    )
    .load(&mut tx.connection())
    .await?;
    let booked = rows.into_iter().map(|row| {
        let booked = Booked {
            used: row.used.unsigned_abs(),
            since: row.since,
        };
        (row.number, booked)
    });
    Ok(booked.collect())
}

/// Keeps what was learned as a new version, and has depots computed anew where it says anything new. Lock the
/// organisation's scope.
///
/// # Errors
/// Those of the database.
pub async fn add(
    tx: &mut Write<'_>,
    due: &Due,
    content: Learned,
    learned_at: Timestamp,
) -> Result<LearnedVersion> {
    let before = newest(tx, due.model_id).await?;
    let version = LearnedVersion {
        model_id: due.model_id,
        version: before.as_ref().map_or(1, |before| before.version + 1),
        sheet_version: due.sheet_version,
        facts: due.facts,
        learned_at: Some(learned_at),
        content,
    };
    diesel::sql_query(
        "insert into learned (org_id, model_id, version, sheet_version, facts, content, learned_at)
         values ($1, $2, $3, $4, $5, $6, $7)",
    )
    .bind::<SqlUuid, _>(tx.org_id())
    .bind::<SqlUuid, _>(version.model_id)
    .bind::<Integer, _>(version.version)
    .bind::<Integer, _>(version.sheet_version)
    .bind::<BigInt, _>(version.facts)
    .bind::<Jsonb, _>(json(&version.content)?)
    .bind::<Timestamptz, _>(learned_at.to_diesel())
    .execute(&mut tx.connection())
    .await?;
    tx.publish(
        tx.org_id(),
        kind::LEARNED,
        version.model_id,
        version.version.into(),
        &version,
    )?;
    let detail = serde_json::json!({"version": version.version, "facts": version.facts});
    tx.audit(
        tx.org_id(),
        "learn",
        kind::LEARNED,
        version.model_id,
        detail,
    );
    let anew = before.is_none_or(|before| {
        before.sheet_version != version.sheet_version
            || !before.content.computes_as(&version.content)
    });
    if anew {
        for depot_id in depots(tx, &[version.model_id]).await? {
            tx.mark(depot_id);
        }
    }
    Ok(version)
}
