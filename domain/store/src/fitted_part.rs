//! Parts as fitted to units: each row is one path of wear, from one fitting to the next. Renewing a part, turning it
//! or adjusting it ends one path and starts the next.

use std::collections::BTreeMap;

use diesel::prelude::*;
use diesel::sql_types::{Array, Bool, Double, Nullable, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff_diesel::ToDiesel;
use rimeyard_rules::facts::Fitting;
use rimeyard_rules::sheet::Sheet;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::feed::{Write, kind};
use crate::json::{json, of_word, word};
use crate::schema::{fitted_part, unit as units};
use crate::unit::Unit;
use crate::{Error, Result, Tx, fields, prepared, sheet, unit};

/// A part as fitted, as readers get it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct FittedPart {
    /// Its id.
    pub id: Uuid,
    /// The unit it is, or was, fitted to.
    pub unit_id: Uuid,
    /// The part on the model's sheet.
    #[cfg_attr(feature = "schema", schema(example = "auger_belt"))]
    pub part: String,
    /// How it came to be fitted.
    pub how: Fitting,
    /// When; null where nobody knows.
    pub fitted_at: Option<Timestamp>,
    /// At how many hours on the meter; null where nobody knows.
    pub fitted_hours: Option<f64>,
    /// When the next one took its place; null while it is fitted.
    pub removed_at: Option<Timestamp>,
    /// At how many hours on the meter.
    pub removed_hours: Option<f64>,
    /// Whether it had failed when the next one took its place; null while it is fitted and where nobody said.
    pub failed: Option<bool>,
    /// The inspection it was fitted at, if any.
    pub inspection_id: Option<Uuid>,
    /// Its version: 1 while it is fitted, 2 once it is not.
    pub rev: i64,
}

/// A fitting: what was fitted takes the place of what was there.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewFitting {
    /// A UUID of version 7 made by the client; made here if absent.
    #[cfg_attr(feature = "schema", schema(nullable = false))]
    pub id: Option<Uuid>,
    /// The part on the model's sheet.
    #[cfg_attr(feature = "schema", schema(example = "auger_belt"))]
    pub part: String,
    /// `renewed`, `turned` or `adjusted`.
    pub how: Fitting,
    /// When.
    pub fitted_at: Timestamp,
    /// At how many hours on the meter, 0 to 100,000.
    pub fitted_hours: Option<f64>,
    /// Whether the part it takes the place of had failed; of a renewal only.
    pub failed: Option<bool>,
}

/// Which of a unit's parts.
#[derive(Debug, Clone, Default)]
pub struct Filter {
    /// This part of the sheet.
    pub part: Option<String>,
    /// Those that are fitted now, or those that are not.
    pub fitted: Option<bool>,
}

/// At most `limit` parts that are, or were, fitted to a unit that the tenant may see, ordered by id, those after
/// `after`.
///
/// # Errors
/// [`Error::NotFound`] for the unit.
pub async fn list(
    tx: &Tx<'_>,
    unit_id: Uuid,
    filter: &Filter,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<FittedPart>> {
    let mut query = fitted_part::table
        .filter(fitted_part::org_id.eq(tx.org_id()))
        .filter(fitted_part::unit_id.eq(unit_id))
        .select(Row::as_select())
        .order(fitted_part::id)
        .limit(limit)
        .into_boxed();
    if let Some(after) = after {
        query = query.filter(fitted_part::id.gt(after));
    }
    if let Some(part) = &filter.part {
        query = query.filter(fitted_part::part.eq(part.clone()));
    }
    match filter.fitted {
        None => {}
        Some(true) => query = query.filter(fitted_part::removed_at.is_null()),
        Some(false) => query = query.filter(fitted_part::removed_at.is_not_null()),
    }
    unit::find(tx, unit_id).await?;
    let rows = query.load(&mut tx.connection()).await?;
    rows.into_iter().map(FittedPart::try_from).collect()
}

/// One part that is, or was, fitted to a unit that the tenant may see.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, unit_id: Uuid, id: Uuid) -> Result<FittedPart> {
    unit::find(tx, unit_id).await?;
    let row = fitted_part::table
        .find((tx.org_id(), id))
        .filter(fitted_part::unit_id.eq(unit_id))
        .select(Row::as_select())
        .first(&mut tx.connection())
        .await?;
    FittedPart::try_from(row)
}

/// Fits a part to a unit: [`fit_many`] of one.
///
/// # Errors
/// Those of [`fit_many`].
pub async fn fit(tx: &mut Write<'_>, unit_id: Uuid, new: &NewFitting) -> Result<FittedPart> {
    let parts = fit_many(tx, &[(unit_id, new.clone())]).await?;
    parts
        .into_iter()
        .next()
        .ok_or_else(|| Error::internal("a part went in and none came out"))
}

/// Fits parts to units, in the order given: each ends the path of what it takes the place of. Lock the scopes of the
/// units' depots; the tenant must be a person.
///
/// # Errors
/// [`Error::NotFound`] for a unit, [`Error::Invalid`], [`Error::Conflict`] for an id that is taken and for a fitting
/// before that of what it takes the place of.
pub async fn fit_many(
    tx: &mut Write<'_>,
    fittings: &[(Uuid, NewFitting)],
) -> Result<Vec<FittedPart>> {
    let unit_ids: Vec<Uuid> = fittings.iter().map(|(unit_id, _)| *unit_id).collect();
    let (homes, mut current) = futures::try_join!(homes(tx, &unit_ids), current(tx, &unit_ids))?;
    let models: Vec<Uuid> = homes.values().map(|home| home.model_id).collect();
    let sheets = sheet::present(tx, &models).await?;
    let mut ended = Vec::new();
    let mut fitted: Vec<Fitted> = Vec::new();
    for (unit_id, new) in fittings {
        let home = homes
            .get(unit_id)
            .filter(|home| tx.tenant().depots.contains(home.depot_id))
            .ok_or(Error::NotFound { what: "unit" })?;
        tx.must_hold(home.depot_id)?;
        let sheet = sheets
            .get(&home.model_id)
            .ok_or_else(|| Error::internal(format!("model {} has no sheet", home.model_id)))?;
        let new = checked(new, sheet)?;
        let next = Fitted::new(home.depot_id, *unit_id, &new)?;
        let slot = (*unit_id, new.part.clone());
        if let Some(mut before) = current.remove(&slot) {
            end(&mut before, &new)?;
            match fitted.iter_mut().find(|fitted| fitted.part.id == before.id) {
                Some(fitted) => fitted.part = before,
                None => ended.push(Fitted {
                    depot_id: home.depot_id,
                    part: before,
                }),
            }
        }
        current.insert(slot, next.part.clone());
        fitted.push(next);
    }
    store_ends(tx, &ended).await?;
    insert(tx, &fitted).await?;
    for fitted in ended.iter().chain(&fitted) {
        fitted.publish(tx)?;
        tx.mark(fitted.depot_id);
    }
    for fitted in &fitted {
        let what = json(&fitted.part)?;
        tx.audit(
            fitted.depot_id,
            "fit",
            kind::FITTED_PART,
            fitted.part.id,
            what,
        );
    }
    Ok(fitted.into_iter().map(|fitted| fitted.part).collect())
}

/// Keeps and publishes the parts that new units came with. What is audited is the unit.
pub(crate) async fn deliver(tx: &mut Write<'_>, parts: Vec<Fitted>) -> Result<()> {
    insert(tx, &parts).await?;
    parts.iter().try_for_each(|part| part.publish(tx))
}

/// A part as fitted, at a depot.
pub(crate) struct Fitted {
    depot_id: Uuid,
    part: FittedPart,
}

impl Fitted {
    /// A part that a new unit came with; `new_since` where the machine came new, and its parts with it.
    pub(crate) fn delivered(unit: &Unit, part: &str, new_since: Option<Timestamp>) -> Self {
        Fitted {
            depot_id: unit.depot_id,
            part: FittedPart {
                id: Uuid::now_v7(),
                unit_id: unit.id,
                part: part.to_owned(),
                how: Fitting::AsDelivered,
                fitted_at: new_since,
                fitted_hours: new_since.map(|_| 0.0),
                removed_at: None,
                removed_hours: None,
                failed: None,
                inspection_id: None,
                rev: 1,
            },
        }
    }

    fn new(depot_id: Uuid, unit_id: Uuid, new: &NewFitting) -> Result<Self> {
        Ok(Fitted {
            depot_id,
            part: FittedPart {
                id: fields::id(new.id)?,
                unit_id,
                part: new.part.clone(),
                how: new.how,
                fitted_at: Some(new.fitted_at),
                fitted_hours: new.fitted_hours,
                removed_at: None,
                removed_hours: None,
                failed: None,
                inspection_id: None,
                rev: 1,
            },
        })
    }

    fn publish(&self, tx: &mut Write<'_>) -> Result<()> {
        let FittedPart { id, rev, .. } = self.part;
        tx.publish(self.depot_id, kind::FITTED_PART, id, rev, &self.part)
    }
}

/// The fitting as it is kept, unless it is what no fitting may be.
fn checked(new: &NewFitting, sheet: &Sheet) -> Result<NewFitting> {
    if sheet.part(&new.part).is_none() {
        let parts: Vec<&str> = sheet.parts.iter().map(|part| part.part.as_str()).collect();
        let problem = format!(
            "is not a part of the model's sheet; its parts are: {}",
            parts.join(", ")
        );
        return Err(Error::invalid("part", problem));
    }
    if new.how == Fitting::AsDelivered {
        return Err(Error::invalid(
            "how",
            "is for what a unit came with; say renewed, turned or adjusted",
        ));
    }
    if new.failed.is_some() && new.how != Fitting::Renewed {
        return Err(Error::invalid(
            "failed",
            "is said of a renewal only; leave it out",
        ));
    }
    fields::optional_number("fitted_hours", new.fitted_hours, fields::RUN_HOURS)?;
    let fitted_at = fields::instant("fitted_at", new.fitted_at)?;
    if fitted_at > Timestamp::now() {
        return Err(Error::invalid(
            "fitted_at",
            "lies in the future; give the time at which the part was fitted",
        ));
    }
    Ok(NewFitting {
        fitted_at,
        ..new.clone()
    })
}

/// Ends a path where the next begins.
fn end(part: &mut FittedPart, next: &NewFitting) -> Result<()> {
    if let Some(fitted_at) = part.fitted_at
        && next.fitted_at < fitted_at
    {
        return Err(Error::conflict(
            "fitted_at",
            format!("is before {fitted_at}, when the part it takes the place of was fitted"),
        ));
    }
    part.removed_at = Some(next.fitted_at);
    part.removed_hours = next.fitted_hours;
    part.failed = next.failed;
    part.rev = 2;
    Ok(())
}

struct Home {
    depot_id: Uuid,
    model_id: Uuid,
}

async fn homes(tx: &Tx<'_>, unit_ids: &[Uuid]) -> Result<BTreeMap<Uuid, Home>> {
    let rows: Vec<(Uuid, Uuid, Uuid)> = units::table
        .filter(units::org_id.eq(tx.org_id()))
        .filter(units::id.eq_any(unit_ids))
        .select((units::id, units::depot_id, units::model_id))
        .load(&mut tx.connection())
        .await?;
    let home = |(id, depot_id, model_id)| (id, Home { depot_id, model_id });
    Ok(rows.into_iter().map(home).collect())
}

/// What is fitted to the units now, by unit and part.
async fn current(tx: &Tx<'_>, unit_ids: &[Uuid]) -> Result<BTreeMap<(Uuid, String), FittedPart>> {
    let rows = fitted_part::table
        .filter(fitted_part::org_id.eq(tx.org_id()))
        .filter(fitted_part::unit_id.eq_any(unit_ids))
        .filter(fitted_part::removed_at.is_null())
        .select(Row::as_select())
        .load(&mut tx.connection())
        .await?;
    rows.into_iter()
        .map(|row| {
            let part = FittedPart::try_from(row)?;
            Ok(((part.unit_id, part.part.clone()), part))
        })
        .collect()
}

async fn store_ends(tx: &Tx<'_>, ended: &[Fitted]) -> Result<()> {
    let parts = || ended.iter().map(|ended| &ended.part);
    prepared(
        diesel::sql_query(
            "update fitted_part f set removed_at = e.removed_at, removed_hours = e.removed_hours, failed = e.failed
             from unnest($2::uuid[], $3::timestamptz[], $4::float8[], $5::boolean[])
                 as e (id, removed_at, removed_hours, failed)
             where f.org_id = $1 and f.id = e.id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(parts().map(|part| part.id).collect::<Vec<_>>())
        .bind::<Array<Nullable<Timestamptz>>, _>(instants(parts().map(|part| part.removed_at)))
        .bind::<Array<Nullable<Double>>, _>(parts().map(|part| part.removed_hours).collect::<Vec<_>>())
        .bind::<Array<Nullable<Bool>>, _>(parts().map(|part| part.failed).collect::<Vec<_>>()),
    )
    .execute(&mut tx.connection())
    .await?;
    Ok(())
}

async fn insert(tx: &Tx<'_>, fitted: &[Fitted]) -> Result<()> {
    let person_id = tx
        .tenant()
        .person_id
        .ok_or_else(|| Error::internal("parts are fitted by a person"))?;
    let parts = || fitted.iter().map(|fitted| &fitted.part);
    let how: Vec<String> = parts().map(|part| word(&part.how)).collect::<Result<_>>()?;
    prepared(
        diesel::sql_query(
            "insert into fitted_part (org_id, created_by, id, unit_id, part, how, fitted_at, fitted_hours, removed_at,
                                      removed_hours, failed)
             select $1, $2, id, unit_id, part, how, fitted_at, fitted_hours, removed_at, removed_hours, failed
             from unnest($3::uuid[], $4::uuid[], $5::text[], $6::text[], $7::timestamptz[], $8::float8[],
                         $9::timestamptz[], $10::float8[], $11::boolean[])
                 as f (id, unit_id, part, how, fitted_at, fitted_hours, removed_at, removed_hours, failed)",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(person_id)
        .bind::<Array<SqlUuid>, _>(parts().map(|part| part.id).collect::<Vec<_>>())
        .bind::<Array<SqlUuid>, _>(parts().map(|part| part.unit_id).collect::<Vec<_>>())
        .bind::<Array<Text>, _>(parts().map(|part| &part.part).collect::<Vec<_>>())
        .bind::<Array<Text>, _>(how)
        .bind::<Array<Nullable<Timestamptz>>, _>(instants(parts().map(|part| part.fitted_at)))
        .bind::<Array<Nullable<Double>>, _>(parts().map(|part| part.fitted_hours).collect::<Vec<_>>())
        .bind::<Array<Nullable<Timestamptz>>, _>(instants(parts().map(|part| part.removed_at)))
        .bind::<Array<Nullable<Double>>, _>(parts().map(|part| part.removed_hours).collect::<Vec<_>>())
        .bind::<Array<Nullable<Bool>>, _>(parts().map(|part| part.failed).collect::<Vec<_>>()),
    )
    .execute(&mut tx.connection())
    .await?;
    Ok(())
}

fn instants(
    instants: impl Iterator<Item = Option<Timestamp>>,
) -> Vec<Option<jiff_diesel::Timestamp>> {
    instants
        .map(|instant| instant.map(ToDiesel::to_diesel))
        .collect()
}

/// The part as the table holds it.
#[derive(Queryable, Selectable)]
#[diesel(table_name = fitted_part, check_for_backend(diesel::pg::Pg))]
struct Row {
    id: Uuid,
    unit_id: Uuid,
    part: String,
    how: String,
    #[diesel(deserialize_as = jiff_diesel::NullableTimestamp)]
    fitted_at: Option<Timestamp>,
    fitted_hours: Option<f64>,
    #[diesel(deserialize_as = jiff_diesel::NullableTimestamp)]
    removed_at: Option<Timestamp>,
    removed_hours: Option<f64>,
    failed: Option<bool>,
    inspection_id: Option<Uuid>,
}

impl TryFrom<Row> for FittedPart {
    type Error = Error;

    fn try_from(row: Row) -> Result<Self> {
        Ok(FittedPart {
            id: row.id,
            unit_id: row.unit_id,
            part: row.part,
            how: of_word(row.how)?,
            fitted_at: row.fitted_at,
            fitted_hours: row.fitted_hours,
            rev: if row.removed_at.is_none() { 1 } else { 2 },
            removed_at: row.removed_at,
            removed_hours: row.removed_hours,
            failed: row.failed,
            inspection_id: row.inspection_id,
        })
    }
}
