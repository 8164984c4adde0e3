//! The organisation's list of parts: what can be on a shelf. Their changes lock the organisation's scope.
//!
//! What a sheet names in the `parts` of its jobs and tasks is the part of that `name`, in whatever letters.

use std::collections::BTreeMap;

use diesel::pg::Pg;
use diesel::prelude::*;
use diesel::sql_types::{Array, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use uuid::Uuid;

use crate::change::{change, difference};
use crate::feed::{Write, kind};
use crate::json::{json, of_json};
use crate::letters::lower;
use crate::schema::part;
use crate::{Error, Result, Tx, fields, prepared};

mod check;

use check::{check, check_kits, is_on_no_shelf};
pub(crate) use check::{check_price, quantity};

/// The most different parts in a kit.
pub const KIT_MAX: usize = 100;
/// The most of one part that a movement, a need or a kit can have, in its unit of count.
pub const QUANTITY_MAX: i64 = 1_000_000;

/// A part of the list as readers get it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = ListedPart))]
pub struct Part {
    /// Its id.
    pub id: Uuid,
    /// The maker's or the agency's number, unique in the organisation.
    pub number: String,
    /// What sheets call it in the `parts` of their jobs and tasks, unique in the organisation in whatever letters.
    pub name: String,
    /// What it is, in full.
    pub title: String,
    /// What it is counted in.
    #[cfg_attr(feature = "schema", schema(example = "each"))]
    pub unit: String,
    /// How many come in a pack.
    pub pack_size: i32,
    /// From order to arrival, days.
    pub lead_time_days: i32,
    /// The price of one unit of count; null where it is not known.
    pub price: Option<Price>,
    /// How long it keeps on a shelf from the day it was made, days; null where it does not age.
    pub shelf_life_days: Option<i32>,
    /// What is in it, of a kit; null for what is none.
    pub kit: Option<Vec<KitContent>>,
    /// Its version; the ETag shows the same.
    pub rev: i64,
}

/// A sum of money.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Price {
    /// In the currency's minor unit: cents.
    #[cfg_attr(feature = "schema", schema(minimum = 0, maximum = 1_000_000_000))]
    pub amount_minor: i64,
    /// ISO 4217, three capital letters.
    #[cfg_attr(feature = "schema", schema(example = "USD"))]
    pub currency: String,
}

/// So many of a part in a kit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct KitContent {
    /// The part; no kit itself.
    pub part_id: Uuid,
    /// How many, in its unit of count.
    #[cfg_attr(feature = "schema", schema(minimum = 1, maximum = 1_000_000))]
    pub quantity: i64,
}

/// A part to be listed.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = NewListedPart))]
#[serde(deny_unknown_fields)]
pub struct NewPart {
    /// A UUID of version 7 made by the client; made here if absent.
    #[cfg_attr(feature = "schema", schema(nullable = false))]
    pub id: Option<Uuid>,
    /// The maker's or the agency's number: 1 to 60 characters, unique in the organisation.
    pub number: String,
    /// What sheets call it: 1 to 200 characters, unique in the organisation in whatever letters.
    pub name: String,
    /// What it is, in full: 1 to 200 characters; the name if absent.
    pub title: Option<String>,
    /// What it is counted in, whole: "each", "pair", "ml": 1 to 20 characters.
    #[serde(default = "each")]
    pub unit: String,
    /// How many come in a pack, 1 to 1,000,000; 1 if absent.
    #[serde(default = "one")]
    pub pack_size: i32,
    /// From order to arrival, days, 0 to 1,000.
    pub lead_time_days: i32,
    /// The price of one unit of count, if it is known.
    pub price: Option<Price>,
    /// How long it keeps on a shelf from the day it was made, days, 1 to 36,500; absent where it does not age.
    pub shelf_life_days: Option<i32>,
    /// What is in it, of a kit: 1 to 100 parts, each once, none of them a kit.
    pub kit: Option<Vec<KitContent>>,
}

fn each() -> String {
    "each".to_owned()
}

fn one() -> i32 {
    1
}

change! {
    /// What is to change of a part of the list: what is absent stays.
    pub struct PartChange of Part {
        /// 1 to 60 characters, unique in the organisation.
        number: String,
        /// 1 to 200 characters, unique in the organisation in whatever letters.
        name: String,
        /// 1 to 200 characters.
        title: String,
        /// What it is counted in: 1 to 20 characters.
        unit: String,
        /// How many come in a pack, 1 to 1,000,000.
        pack_size: i32,
        /// From order to arrival, days, 0 to 1,000.
        lead_time_days: i32,
        /// The price of one unit of count; null where it is not known.
        price: Option<Price>,
        /// How long it keeps on a shelf, days, 1 to 36,500; null where it does not age.
        shelf_life_days: Option<i32>,
        /// All that is in it, in place of what was; null makes it no kit.
        kit: Option<Vec<KitContent>>,
    }
}

/// At most `limit` parts, ordered by id, those after `after`. `number`: exactly so numbered; `name`: so named, in
/// whatever letters.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    number: Option<&str>,
    name: Option<&str>,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<Part>> {
    let mut query = part::table
        .filter(part::org_id.eq(tx.org_id()))
        .select(Row::as_select())
        .order(part::id)
        .limit(limit)
        .into_boxed();
    if let Some(after) = after {
        query = query.filter(part::id.gt(after));
    }
    if let Some(number) = number {
        query = query.filter(part::number.eq(number));
    }
    if let Some(name) = name {
        query = query.filter(lower(part::name).eq(lower(name)));
    }
    let rows: Vec<Row> = query.load(&mut tx.connection()).await?;
    rows.into_iter().map(Part::try_from).collect()
}

/// One part.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<Part> {
    let row: Row = part::table
        .find((tx.org_id(), id))
        .select(Row::as_select())
        .first(&mut tx.connection())
        .await?;
    Part::try_from(row)
}

/// Those of these parts that there are, by id.
///
/// # Errors
/// Those of the database.
pub async fn with_ids(tx: &Tx<'_>, ids: &[Uuid]) -> Result<BTreeMap<Uuid, Part>> {
    if ids.is_empty() {
        return Ok(BTreeMap::new());
    }
    let rows: Vec<Row> = part::table
        .filter(part::org_id.eq(tx.org_id()))
        .filter(part::id.eq_any(ids))
        .select(Row::as_select())
        .load(&mut tx.connection())
        .await?;
    rows.into_iter()
        .map(|row| Ok((row.id, Part::try_from(row)?)))
        .collect()
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct Named {
    #[diesel(sql_type = Text)]
    name: String,
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
}

/// Those of these names that parts have, each as it was asked for.
pub(crate) async fn named(tx: &Tx<'_>, names: &[String]) -> Result<BTreeMap<String, Uuid>> {
    if names.is_empty() {
        return Ok(BTreeMap::new());
    }
    let rows: Vec<Named> = prepared(
        diesel::sql_query(
            "select distinct n.name, p.id from unnest($2::text[]) as n (name)
             join part p on p.org_id = $1 and lower(p.name) = lower(n.name)",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<Text>, _>(names),
    )
    .load(&mut tx.connection())
    .await?;
    Ok(rows.into_iter().map(|row| (row.name, row.id)).collect())
}

/// A part as it would be listed; what is in a kit is not looked at.
///
/// # Errors
/// [`Error::Invalid`] for what no part may be.
pub(crate) fn draft(new: &NewPart) -> Result<Part> {
    let new = new.clone();
    let part = Part {
        id: fields::id(new.id)?,
        number: new.number,
        title: new.title.unwrap_or_else(|| new.name.clone()),
        name: new.name,
        unit: new.unit,
        pack_size: new.pack_size,
        lead_time_days: new.lead_time_days,
        price: new.price,
        shelf_life_days: new.shelf_life_days,
        kit: new.kit,
        rev: 1,
    };
    check(&part)?;
    Ok(part)
}

/// Lists a part: [`create_many`] of one.
///
/// # Errors
/// Those of [`create_many`], the fields named without the place in the list.
pub async fn create(tx: &mut Write<'_>, new: &NewPart) -> Result<Part> {
    let parts = create_many(tx, std::slice::from_ref(new))
        .await
        .map_err(Error::of_the_first)?;
    parts
        .into_iter()
        .next()
        .ok_or_else(|| Error::internal("a part went in and none came out"))
}

/// Lists parts, hundreds at a time if need be; a kit's contents are listed before. Lock the organisation's scope.
///
/// # Errors
/// [`Error::Invalid`], the field begins with the place in the list; [`Error::Conflict`] for a number, a name or an id
/// that is taken.
pub async fn create_many(tx: &mut Write<'_>, new: &[NewPart]) -> Result<Vec<Part>> {
    let mut parts = Vec::with_capacity(new.len());
    for (index, new) in new.iter().enumerate() {
        parts.push(draft(new).map_err(|error| error.within(&format!("[{index}]")))?);
    }
    check_kits(tx, &parts)
        .await
        .map_err(|(index, error)| error.within(&format!("[{index}]")))?;
    let rows: Vec<_> = parts
        .iter()
        .map(|part| Ok((part::org_id.eq(tx.org_id()), Row::new(part)?)))
        .collect::<Result<_>>()?;
    diesel::insert_into(part::table)
        .values(rows)
        .execute(&mut tx.connection())
        .await?;
    for part in &parts {
        tx.publish(tx.org_id(), kind::PART, part.id, part.rev, part)?;
        tx.audit(tx.org_id(), "create", kind::PART, part.id, json(part)?);
    }
    Ok(parts)
}

/// Changes a part that stands at `rev`. What is on the shelf stays: a kit's contents change what is booked from now on.
/// Lock the organisation's scope.
///
/// # Errors
/// [`Error::NotFound`], [`Error::Stale`], [`Error::Invalid`], [`Error::Conflict`] for a number or a name that is taken,
/// and for a kit made of what is on a shelf or in a kit.
pub async fn update(tx: &mut Write<'_>, id: Uuid, rev: i64, change: &PartChange) -> Result<Part> {
    let before = find(tx, id).await?;
    if before.rev != rev {
        return Err(Error::Stale);
    }
    let mut part = before.clone();
    change.apply(&mut part);
    part.rev += 1;
    check(&part)?;
    if part.kit != before.kit {
        check_kits(tx, std::slice::from_ref(&part))
            .await
            .map_err(|(_, error)| error)?;
        if before.kit.is_none() {
            is_on_no_shelf(tx, id).await?;
        }
    }
    diesel::update(part::table.find((tx.org_id(), id)))
        .set(Row::new(&part)?)
        .execute(&mut tx.connection())
        .await?;
    tx.publish(tx.org_id(), kind::PART, id, part.rev, &part)?;
    let what = difference(&json(&before)?, &json(&part)?);
    tx.audit(tx.org_id(), "update", kind::PART, id, what);
    Ok(part)
}

/// The part as the table holds it.
#[derive(Queryable, Selectable, Insertable, AsChangeset)]
#[diesel(table_name = part, check_for_backend(Pg), treat_none_as_null = true)]
struct Row {
    id: Uuid,
    number: String,
    name: String,
    title: String,
    unit: String,
    pack_size: i32,
    lead_time_days: i32,
    price_minor: Option<i64>,
    currency: Option<String>,
    shelf_life_days: Option<i32>,
    kit: Option<Value>,
    rev: i64,
}

impl Row {
    fn new(part: &Part) -> Result<Self> {
        Ok(Row {
            id: part.id,
            number: part.number.clone(),
            name: part.name.clone(),
            title: part.title.clone(),
            unit: part.unit.clone(),
            pack_size: part.pack_size,
            lead_time_days: part.lead_time_days,
            price_minor: part.price.as_ref().map(|price| price.amount_minor),
            currency: part.price.as_ref().map(|price| price.currency.clone()),
            shelf_life_days: part.shelf_life_days,
            kit: part.kit.as_ref().map(json).transpose()?,
            rev: part.rev,
        })
    }
}

impl TryFrom<Row> for Part {
    type Error = Error;

    fn try_from(row: Row) -> Result<Self> {
        let price = row.price_minor.zip(row.currency);
        Ok(Part {
            id: row.id,
            number: row.number,
            name: row.name,
            title: row.title,
            unit: row.unit,
            pack_size: row.pack_size,
            lead_time_days: row.lead_time_days,
            price: price.map(|(amount_minor, currency)| Price {
                amount_minor,
                currency,
            }),
            shelf_life_days: row.shelf_life_days,
            kit: row.kit.map(of_json).transpose()?,
            rev: row.rev,
        })
    }
}
