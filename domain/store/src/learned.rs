//! What the organisation's machines have taught of each model (sections 4 to 6 of the computation): versions, of which the
//! newest is computed with, as long as the sheet that it was learned on teaches like the present one. Learned anew when what
//! is known of the models of a kind has grown by a tenth, or a sheet has changed: machines of a kind share what is believed
//! of how they start, and those of a shear fastener how often it breaks.

use std::collections::BTreeMap;

use diesel::pg::Pg;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Integer, Jsonb, Timestamptz, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff_diesel::ToDiesel;
use rimeyard_rules::learn::{Figures, Learned};
use rimeyard_rules::sheet::Sheet;
use serde::Serialize;
use uuid::Uuid;

use crate::feed::{Write, kind};
use crate::json::{json, of_json};
use crate::model::{self, Model};
use crate::schema::learned;
use crate::{Error, Result, Tx, sheet};

mod alone;
mod breaks;
mod due;

pub use alone::alone;
pub use due::{Due, Lesson, lesson};

/// What was learned of a model, as readers get it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct LearnedVersion {
    /// The model.
    pub model_id: Uuid,
    /// Which version: 1, 2, 3 and so on; 0 where nothing was learned yet.
    pub version: i32,
    /// The version of its sheet that this is learned on. It is computed with while that is the present one, or the present
    /// one says the same of wear, lives, starts and breaks.
    pub sheet_version: i32,
    /// Inspections, meter readings and removals of parts of its machines that were known then.
    pub facts: i64,
    /// When it was learned; it holds from then until the next.
    pub learned_at: Option<Timestamp>,
    /// What was learned, and from how much.
    #[serde(flatten)]
    pub content: Learned,
}

/// The same as the feed has it: what is computed with, and not the words. Readers of the feed get those by asking.
#[derive(Serialize)]
struct Published<'a> {
    model_id: Uuid,
    version: i32,
    sheet_version: i32,
    facts: i64,
    learned_at: Timestamp,
    machines: u64,
    #[serde(flatten)]
    figures: Figures<'a>,
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

/// Keeps what was learned as a new version, and has depots computed anew where it says anything new. None where it is too
/// late: somebody else learned meanwhile, or the sheet is another. Lock the organisation's scope.
///
/// # Errors
/// Those of the database.
pub async fn add(
    tx: &mut Write<'_>,
    due: &Due,
    content: Learned,
    learned_at: Timestamp,
) -> Result<Option<LearnedVersion>> {
    let before = newest(tx, due.model_id).await?;
    let model = model::find(tx, due.model_id).await?;
    let version_before = before.as_ref().map(|before| before.version);
    if version_before != due.version_before || model.sheet_version != due.sheet_version {
        return Ok(None);
    }
    let version = LearnedVersion {
        model_id: due.model_id,
        version: version_before.map_or(1, |before| before + 1),
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
    let figures = version.content.figures();
    let anew = before.is_none_or(|before| {
        before.sheet_version != version.sheet_version || before.content.figures() != figures
    });
    let published = Published {
        model_id: version.model_id,
        version: version.version,
        sheet_version: version.sheet_version,
        facts: version.facts,
        learned_at,
        machines: version.content.machines,
        figures,
    };
    tx.publish(
        tx.org_id(),
        kind::LEARNED,
        version.model_id,
        version.version.into(),
        &published,
    )?;
    let detail = serde_json::json!({"version": version.version, "facts": version.facts});
    tx.audit(
        tx.org_id(),
        "learn",
        kind::LEARNED,
        version.model_id,
        detail,
    );
    if anew {
        for depot_id in due::depots(tx, &[version.model_id]).await? {
            tx.mark(depot_id);
        }
    }
    Ok(Some(version))
}
