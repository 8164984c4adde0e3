//! The versions of a model's sheet. None is ever changed: an old verdict is read against the sheet of its day.

use std::collections::BTreeMap;

use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use rimeyard_rules::sheet::Sheet;
use serde::Serialize;
use uuid::Uuid;

use crate::feed::{Write, kind};
use crate::json::{json, of_json};
use crate::model::{self, Model};
use crate::schema::{model as models, sheet, unit};
use crate::{Error, Result, Tx};

/// That there is a version of a sheet.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Queryable, Selectable)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[diesel(table_name = sheet, check_for_backend(diesel::pg::Pg))]
pub struct SheetVersion {
    /// The model.
    pub model_id: Uuid,
    /// Which version: 1, 2, 3 and so on.
    pub version: i32,
    /// When it was made; it holds from then until the next.
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    pub created_at: Timestamp,
    /// By whom; null is the house itself.
    pub created_by: Option<Uuid>,
}

/// A version of a sheet with what it says.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct VersionedSheet {
    /// The model.
    pub model_id: Uuid,
    /// Which version: 1, 2, 3 and so on.
    pub version: i32,
    /// When it was made; it holds from then until the next.
    pub created_at: Timestamp,
    /// By whom; null is the house itself.
    pub created_by: Option<Uuid>,
    /// The sheet.
    pub content: Sheet,
}

/// At most `limit` versions of a model's sheet, oldest first, those after `after`.
///
/// # Errors
/// [`Error::NotFound`] where there is no such model.
pub async fn list(
    tx: &Tx<'_>,
    model_id: Uuid,
    after: Option<i32>,
    limit: i64,
) -> Result<Vec<SheetVersion>> {
    model::find(tx, model_id).await?;
    let versions = sheet::table
        .filter(sheet::org_id.eq(tx.org_id()))
        .filter(sheet::model_id.eq(model_id))
        .filter(sheet::version.gt(after.unwrap_or(0)))
        .select(SheetVersion::as_select())
        .order(sheet::version)
        .limit(limit);
    Ok(versions.load(&mut tx.connection()).await?)
}

/// One version of a model's sheet.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, model_id: Uuid, version: i32) -> Result<VersionedSheet> {
    let (head, content): (SheetVersion, serde_json::Value) = sheet::table
        .find((tx.org_id(), model_id, version))
        .select((SheetVersion::as_select(), sheet::content))
        .first(&mut tx.connection())
        .await?;
    let content = of_json(content)?;
    Ok(VersionedSheet::new(head, content))
}

/// The present sheets of those of the models that exist.
///
/// # Errors
/// Those of the database.
pub async fn present(tx: &Tx<'_>, model_ids: &[Uuid]) -> Result<BTreeMap<Uuid, Sheet>> {
    let of_model = sheet::org_id
        .eq(models::org_id)
        .and(sheet::model_id.eq(models::id))
        .and(sheet::version.eq(models::sheet_version));
    let rows: Vec<(Uuid, serde_json::Value)> = models::table
        .inner_join(sheet::table.on(of_model))
        .filter(models::org_id.eq(tx.org_id()))
        .filter(models::id.eq_any(model_ids))
        .select((models::id, sheet::content))
        .load(&mut tx.connection())
        .await?;
    rows.into_iter()
        .map(|(id, content)| Ok((id, of_json(content)?)))
        .collect()
}

/// Gives a model a new version of its sheet, the whole of it. Every depot with such a unit is computed anew. Lock the
/// organisation's scope.
///
/// # Errors
/// [`Error::NotFound`] where there is no such model, [`Error::Faults`].
pub async fn create(tx: &mut Write<'_>, model_id: Uuid, content: Sheet) -> Result<VersionedSheet> {
    let mut model = model::find(tx, model_id).await?;
    check(&content, &model.kind, "")?;
    model.sheet_version += 1;
    model.rev += 1;
    let present = (
        models::sheet_version.eq(model.sheet_version),
        models::rev.eq(model.rev),
    );
    diesel::update(models::table.find((tx.org_id(), model_id)))
        .set(present)
        .execute(&mut tx.connection())
        .await?;
    model::publish(tx, &model)?;
    let depots: Vec<Uuid> = unit::table
        .filter(unit::org_id.eq(tx.org_id()))
        .filter(unit::model_id.eq(model_id))
        .filter(unit::retired_at.is_null())
        .select(unit::depot_id)
        .distinct()
        .load(&mut tx.connection())
        .await?;
    for depot_id in depots {
        tx.mark(depot_id);
    }
    add(tx, &model, content).await
}

/// Keeps and publishes the version that the model names as its present one.
pub(crate) async fn add(
    tx: &mut Write<'_>,
    model: &Model,
    content: Sheet,
) -> Result<VersionedSheet> {
    let row = (
        sheet::org_id.eq(tx.org_id()),
        sheet::model_id.eq(model.id),
        sheet::version.eq(model.sheet_version),
        sheet::content.eq(json(&content)?),
        sheet::created_by.eq(tx.tenant().person_id),
    );
    let head = diesel::insert_into(sheet::table)
        .values(row)
        .returning(SheetVersion::as_select())
        .get_result(&mut tx.connection())
        .await?;
    let version = VersionedSheet::new(head, content);
    // One entry a model, its newest sheet: readers judge new readings only.
    tx.publish(
        tx.org_id(),
        kind::SHEET,
        model.id,
        version.version.into(),
        &version,
    )?;
    let detail = serde_json::json!({"version": version.version});
    tx.audit(tx.org_id(), "create", kind::SHEET, model.id, detail);
    Ok(version)
}

/// Whether a sheet makes sense, for that kind of machine. `field` is where it stands in the request.
pub(crate) fn check(sheet: &Sheet, kind: &str, field: &str) -> Result<()> {
    let mut faults = sheet.check().err().unwrap_or_default();
    if sheet.kind != kind {
        faults.push(rimeyard_rules::Invalid::new(
            "kind",
            format!("is {:?}, and the model is a {kind}", sheet.kind),
        ));
    }
    Error::of_faults(faults, field)
}

impl VersionedSheet {
    fn new(head: SheetVersion, content: Sheet) -> Self {
        let SheetVersion {
            model_id,
            version,
            created_at,
            created_by,
        } = head;
        VersionedSheet {
            model_id,
            version,
            created_at,
            created_by,
            content,
        }
    }
}
