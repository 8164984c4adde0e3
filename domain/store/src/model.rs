//! Models: the makes of machine that units are of. Each has a sheet, whose every version is kept ([`crate::sheet`]),
//! and the checklist it is inspected by. They belong to the organisation; their changes lock its scope.

use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use rimeyard_rules::sheet::{Sheet, default_sheet};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::change::{change, difference};
use crate::feed::{Write, kind};
use crate::json::json;
use crate::part::{Price, check_price};
use crate::schema::{checklist, model};
use crate::{Error, Result, Tx, fields, sheet};

/// A model as readers get it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Model {
    /// Its id.
    pub id: Uuid,
    /// Its name, unique in the organisation.
    pub name: String,
    /// The kind of machine.
    #[cfg_attr(feature = "schema", schema(example = "two-stage thrower"))]
    pub kind: String,
    /// The checklist its units are inspected by.
    pub checklist_id: Uuid,
    /// The present version of its sheet.
    pub sheet_version: i32,
    /// What a new one costs; null where it is not known.
    pub price: Option<Price>,
    /// Its version; the ETag shows the same.
    pub rev: i64,
}

/// A model to be created.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewModel {
    /// A UUID of version 7 made by the client; made here if absent.
    #[cfg_attr(feature = "schema", schema(nullable = false))]
    pub id: Option<Uuid>,
    /// 1 to 200 characters, unique in the organisation.
    pub name: String,
    /// The kind of machine.
    #[cfg_attr(feature = "schema", schema(example = "two-stage thrower"))]
    pub kind: String,
    /// The checklist its units are inspected by: one for this kind.
    pub checklist_id: Uuid,
    /// The first version of its sheet; the default sheet of its kind if absent.
    #[cfg_attr(feature = "schema", schema(nullable = false))]
    pub sheet: Option<Sheet>,
    /// What a new one costs, at least 1 in the currency's minor unit, if that is known.
    pub price: Option<Price>,
}

change! {
    /// What is to change of a model: what is absent stays. A new sheet is a version of its own.
    pub struct ModelChange of Model {
        /// 1 to 200 characters, unique in the organisation.
        name: String,
        /// The checklist its units are inspected by: one for the model's kind.
        checklist_id: Uuid,
        /// What a new one costs, at least 1 in the currency's minor unit; null where it is not known.
        price: Option<Price>,
    }
}

/// At most `limit` models, ordered by id, those after `after`. `name` and `kind`: exactly so named.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    name: Option<&str>,
    kind: Option<&str>,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<Model>> {
    let mut query = model::table
        .filter(model::org_id.eq(tx.org_id()))
        .select(Row::as_select())
        .order(model::id)
        .limit(limit)
        .into_boxed();
    if let Some(after) = after {
        query = query.filter(model::id.gt(after));
    }
    if let Some(name) = name {
        query = query.filter(model::name.eq(name));
    }
    if let Some(kind) = kind {
        query = query.filter(model::kind.eq(kind));
    }
    let rows: Vec<Row> = query.load(&mut tx.connection()).await?;
    Ok(rows.into_iter().map(Model::from).collect())
}

/// One model.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<Model> {
    let row: Row = model::table
        .find((tx.org_id(), id))
        .select(Row::as_select())
        .first(&mut tx.connection())
        .await?;
    Ok(Model::from(row))
}

/// Creates a model with the first version of its sheet. Lock the organisation's scope.
///
/// # Errors
/// [`Error::Invalid`], [`Error::Faults`] of the sheet, [`Error::Conflict`] for a name or id that is taken.
pub async fn create(tx: &mut Write<'_>, new: &NewModel) -> Result<Model> {
    let sheet = match &new.sheet {
        Some(sheet) => sheet.clone(),
        None => default_sheet(&new.kind).ok_or_else(|| {
            Error::invalid(
                "kind",
                "is a kind of machine without a default sheet; give the model's sheet",
            )
        })?,
    };
    let model = Model {
        id: fields::id(new.id)?,
        name: new.name.clone(),
        kind: new.kind.clone(),
        checklist_id: new.checklist_id,
        sheet_version: 1,
        price: new.price.clone(),
        rev: 1,
    };
    check(tx, &model).await?;
    sheet::check(&sheet, &model.kind, "sheet")?;
    let row = (
        model::org_id.eq(tx.org_id()),
        model::id.eq(model.id),
        model::name.eq(&model.name),
        model::kind.eq(&model.kind),
        model::checklist_id.eq(model.checklist_id),
        price(&model),
    );
    diesel::insert_into(model::table)
        .values(row)
        .execute(&mut tx.connection())
        .await?;
    publish(tx, &model)?;
    tx.audit(tx.org_id(), "create", kind::MODEL, model.id, json(&model)?);
    sheet::add(tx, &model, sheet).await?;
    Ok(model)
}

/// Changes a model that stands at `rev`. Lock the organisation's scope.
///
/// # Errors
/// [`Error::NotFound`], [`Error::Stale`], [`Error::Invalid`], [`Error::Conflict`] for a name that is taken.
pub async fn update(tx: &mut Write<'_>, id: Uuid, rev: i64, change: &ModelChange) -> Result<Model> {
    let mut model = find(tx, id).await?;
    if model.rev != rev {
        return Err(Error::Stale);
    }
    let before = json(&model)?;
    change.apply(&mut model);
    model.rev += 1;
    check(tx, &model).await?;
    let row = (
        model::name.eq(&model.name),
        model::checklist_id.eq(model.checklist_id),
        price(&model),
        model::rev.eq(model.rev),
    );
    diesel::update(model::table.find((tx.org_id(), id)))
        .set(row)
        .execute(&mut tx.connection())
        .await?;
    publish(tx, &model)?;
    tx.audit(
        tx.org_id(),
        "update",
        kind::MODEL,
        id,
        difference(&before, &json(&model)?),
    );
    Ok(model)
}

pub(crate) fn publish(tx: &mut Write<'_>, model: &Model) -> Result<()> {
    tx.publish(tx.org_id(), kind::MODEL, model.id, model.rev, model)
}

/// What no model may be.
async fn check(tx: &Tx<'_>, model: &Model) -> Result<()> {
    fields::line("name", &model.name, 1..=200)?;
    fields::line("kind", &model.kind, 1..=60)?;
    if let Some(price) = &model.price {
        // Whoever gets one for nothing has nothing to compare.
        check_price(price, 1)?;
    }
    let kind: Option<String> = checklist::table
        .find((tx.org_id(), model.checklist_id))
        .select(checklist::kind)
        .first(&mut tx.connection())
        .await
        .optional()?;
    match kind {
        None => Err(Error::no_such("checklist_id")),
        Some(kind) if kind == model.kind => Ok(()),
        Some(kind) => Err(Error::invalid(
            "checklist_id",
            format!(
                "is a checklist for a {kind}, and the model is a {}; name one of its kind",
                model.kind
            ),
        )),
    }
}

type PriceColumns<'m> = (
    diesel::dsl::Eq<model::price_minor, Option<i64>>,
    diesel::dsl::Eq<model::currency, Option<&'m str>>,
);

/// What the table holds of its price.
fn price(model: &Model) -> PriceColumns<'_> {
    let price = model.price.as_ref();
    (
        model::price_minor.eq(price.map(|price| price.amount_minor)),
        model::currency.eq(price.map(|price| price.currency.as_str())),
    )
}

/// The model as the table holds it.
#[derive(Queryable, Selectable)]
#[diesel(table_name = model, check_for_backend(diesel::pg::Pg))]
struct Row {
    id: Uuid,
    name: String,
    kind: String,
    checklist_id: Uuid,
    sheet_version: i32,
    rev: i64,
    price_minor: Option<i64>,
    currency: Option<String>,
}

impl From<Row> for Model {
    fn from(row: Row) -> Self {
        let price = row.price_minor.zip(row.currency);
        Model {
            id: row.id,
            name: row.name,
            kind: row.kind,
            checklist_id: row.checklist_id,
            sheet_version: row.sheet_version,
            price: price.map(|(amount_minor, currency)| Price {
                amount_minor,
                currency,
            }),
            rev: row.rev,
        }
    }
}
