//! A depot's shelf as people look at it: part by part, of each the oldest lot first.

use std::collections::BTreeMap;

use diesel::QueryableByName;
use diesel::pg::Pg;
use diesel::sql_types::{BigInt, Date as SqlDate, Integer, Nullable, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use rimeyard_rules::stock::{best_before, use_order};
use serde::Serialize;
use uuid::Uuid;

use super::level::SHORT_ON_PAPER;
use super::{Lot, lot_of};
use crate::{Error, Result, Tx, depot, prepared};

/// A part on a depot's shelf.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct ShelfPart {
    /// The part.
    pub part_id: Uuid,
    /// Its number.
    pub number: String,
    /// What sheets call it.
    pub name: String,
    /// What it is counted in.
    pub unit: String,
    /// How many, all lots together.
    pub quantity: i64,
    /// `short on paper` where the books have less than nothing, of the part or of one of its lots: count the shelf.
    pub flags: Vec<&'static str>,
    /// Its lots, in the order in which they are best used: the oldest first. Those of which none is left are left out.
    pub lots: Vec<ShelfLot>,
}

/// What is there of one lot, or of what has none.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct ShelfLot {
    /// The level's id.
    pub level_id: Uuid,
    /// The lot; null for what has none.
    pub lot: Option<Lot>,
    /// How many.
    pub quantity: i64,
    /// Since it was made, days; null where that is not known.
    pub age_days: Option<i32>,
    /// The last day on which it may be fitted; null where it keeps or its age is not known.
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = Date))]
    pub best_before: Option<Date>,
    /// `short on paper`, `past its shelf life`.
    pub flags: Vec<&'static str>,
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct Row {
    #[diesel(sql_type = SqlUuid)]
    part_id: Uuid,
    #[diesel(sql_type = Text)]
    number: String,
    #[diesel(sql_type = Text)]
    name: String,
    #[diesel(sql_type = Text)]
    unit: String,
    #[diesel(sql_type = Nullable<Integer>)]
    shelf_life_days: Option<i32>,
    #[diesel(sql_type = SqlUuid)]
    level_id: Uuid,
    #[diesel(sql_type = Text)]
    lot_code: String,
    #[diesel(sql_type = Nullable<SqlDate>, deserialize_as = jiff_diesel::NullableDate)]
    made_on: Option<Date>,
    #[diesel(sql_type = BigInt)]
    quantity: i64,
}

/// At most `limit` parts that were ever on a depot's shelf, ordered by the part's id, those after `after`; ages as of
/// the depot's today.
///
/// # Errors
/// [`Error::NotFound`] for a depot that is not granted.
pub async fn shelf(
    tx: &Tx<'_>,
    depot_id: Uuid,
    part_id: Option<Uuid>,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<ShelfPart>> {
    let home = depot::find(tx, depot_id).await?;
    let zone = TimeZone::get(&home.zone).map_err(Error::internal)?;
    let today = Timestamp::now().to_zoned(zone).date();
    let rows: Vec<Row> = prepared(
        diesel::sql_query(
            "select p.id as part_id, p.number, p.name, p.unit, p.shelf_life_days,
                    l.id as level_id, l.lot_code, l.made_on, l.quantity
             from (
                 select distinct part_id from stock_level
                 where org_id = $1 and depot_id = $2 and ($3::uuid is null or part_id > $3)
                   and ($4::uuid is null or part_id = $4)
                 order by part_id limit $5
             ) page
             join part p on p.org_id = $1 and p.id = page.part_id
             join stock_level l on l.org_id = $1 and l.depot_id = $2 and l.part_id = p.id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(depot_id)
        .bind::<Nullable<SqlUuid>, _>(after)
        .bind::<Nullable<SqlUuid>, _>(part_id)
        .bind::<BigInt, _>(limit),
    )
    .load(&mut tx.connection())
    .await?;
    let mut parts: BTreeMap<Uuid, ShelfPart> = BTreeMap::new();
    for row in rows {
        let lot = row.lot(today);
        let part = parts.entry(row.part_id).or_insert_with(|| ShelfPart {
            part_id: row.part_id,
            number: row.number,
            name: row.name,
            unit: row.unit,
            quantity: 0,
            flags: Vec::new(),
            lots: Vec::new(),
        });
        part.quantity += lot.quantity;
        if lot.quantity != 0 {
            part.lots.push(lot);
        }
    }
    Ok(parts.into_values().map(in_order).collect())
}

fn in_order(mut part: ShelfPart) -> ShelfPart {
    let made_on = |lot: &ShelfLot| lot.lot.as_ref().and_then(|lot| lot.made_on);
    let code = |lot: &ShelfLot| {
        lot.lot
            .as_ref()
            .map_or(String::new(), |lot| lot.code.clone())
    };
    part.lots.sort_by(|one, other| {
        let (one_code, other_code) = (code(one), code(other));
        use_order(made_on(one), &one_code).cmp(&use_order(made_on(other), &other_code))
    });
    if part.quantity < 0 || part.lots.iter().any(|lot| lot.quantity < 0) {
        part.flags.push(SHORT_ON_PAPER);
    }
    part
}

impl Row {
    fn lot(&self, today: Date) -> ShelfLot {
        let best_before = self
            .made_on
            .and_then(|made_on| best_before(made_on, self.shelf_life_days));
        let age = self
            .made_on
            .and_then(|made_on| made_on.until(today).ok())
            .map(|age| age.get_days());
        let mut flags = Vec::new();
        if self.quantity < 0 {
            flags.push(SHORT_ON_PAPER);
        }
        if best_before.is_some_and(|last| last < today) {
            flags.push("past its shelf life");
        }
        ShelfLot {
            level_id: self.level_id,
            lot: lot_of(&self.lot_code, self.made_on),
            quantity: self.quantity,
            age_days: age,
            best_before,
            flags,
        }
    }
}
