//! What is on the shelves: a ledger of movements for each depot, and the levels it comes to.
//!
//! Movements are facts: never changed, corrected by a later one that names the one it corrects (with quantity 0 it only
//! takes it back). A movement counts from when it happened, and no later than its receipt. The levels are kept in the
//! transaction of the movements, and are at any time what a replay of the ledger comes to
//! ([`level`](rimeyard_rules::stock::level)). One may be less than nothing: a shelf cannot, the books can; the fact is
//! kept and the level flagged `short on paper`.

use diesel::QueryableByName;
use diesel::pg::Pg;
use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff::civil::Date;
use rimeyard_rules::stock::Move;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::json::of_word;
use crate::schema::stock_move;
use crate::{Error, Result, Tx, depot};

mod draft;
mod insert;
mod level;
mod record;
mod shelf;

pub(crate) use level::on_hand;
pub use level::{SHORT_ON_PAPER, StockLevel};
pub(crate) use record::book;
pub use record::{record, record_many, scopes};
pub use shelf::{ShelfLot, ShelfPart, shelf};

/// Parts made at one time, told by a code: rubber and batteries age on the shelf.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Lot {
    /// Its code, 1 to 60 characters.
    pub code: String,
    /// When it was made, if that is known. Left out, it is that of the lot of this code on the shelf.
    #[serde(default)]
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = Date))]
    pub made_on: Option<Date>,
}

/// A movement as it stands in one depot's ledger.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct StockMove {
    /// Its id.
    pub id: Uuid,
    /// The depot whose ledger this is.
    pub depot_id: Uuid,
    /// What happened.
    #[serde(rename = "move")]
    pub kind: Move,
    /// The part.
    pub part_id: Uuid,
    /// How many, in the part's unit of count.
    pub quantity: i64,
    /// The lot; null where the part has none.
    pub lot: Option<Lot>,
    /// Of `moved`: the depot they left; null if you may not see it.
    pub from_depot_id: Option<Uuid>,
    /// Of `moved`: the depot they arrived at; null if you may not see it.
    pub to_depot_id: Option<Uuid>,
    /// The kit it was a content of.
    pub kit_id: Option<Uuid>,
    /// The work order it was for.
    pub work_order_id: Option<Uuid>,
    /// Why, or a word with it.
    pub reason: Option<String>,
    /// When.
    pub happened_at: Timestamp,
    /// When it was received.
    pub received_at: Timestamp,
    /// By whom: a person.
    pub booked_by: Uuid,
    /// The movement that this one corrects.
    pub corrects: Option<Uuid>,
    /// The movement that corrects this one: then this one no longer counts.
    pub corrected_by: Option<Uuid>,
    /// `suspect` where it contradicts other facts, with the reason beside it.
    pub flags: Vec<String>,
}

/// A movement to be booked.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewStockMove {
    /// A UUID of version 7 made by the client; made here if absent. Of a kit it is that of its first content.
    #[cfg_attr(feature = "schema", schema(nullable = false))]
    pub id: Option<Uuid>,
    /// What happened.
    #[serde(rename = "move")]
    pub kind: Move,
    /// The part. A kit is booked as its contents, so many times, whatever is done with it; it cannot be counted.
    pub part_id: Uuid,
    /// How many, in the part's unit of count: 1 to 1,000,000, of what was counted or is corrected from 0.
    #[cfg_attr(feature = "schema", schema(minimum = 0, maximum = 1_000_000))]
    pub quantity: i64,
    /// The lot, where the part has lots.
    pub lot: Option<Lot>,
    /// Of `moved`: the depot they arrive at.
    pub to_depot_id: Option<Uuid>,
    /// The work order it is for: of `used` alone.
    pub work_order_id: Option<Uuid>,
    /// Why, or a word with it: at most 500 characters. What is lost needs one.
    pub reason: Option<String>,
    /// When.
    pub happened_at: Timestamp,
    /// The movement of the same part from this depot that this one corrects.
    pub corrects: Option<Uuid>,
}

/// Movements as booked.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct BookedMoves {
    /// The movements: one, or those of a kit's contents.
    pub moves: Vec<StockMove>,
    /// The levels at this depot that they changed.
    pub levels: Vec<StockLevel>,
}

/// Which movements; what is absent does not narrow.
#[derive(Debug, Clone, Copy, Default)]
pub struct Filter {
    /// Of this part.
    pub part_id: Option<Uuid>,
    /// For this work order.
    pub work_order_id: Option<Uuid>,
}

/// At most `limit` movements of a depot's shelf, in and out, ordered by id, those after `after`.
///
/// # Errors
/// [`Error::NotFound`] for a depot that is not granted.
pub async fn moves(
    tx: &Tx<'_>,
    depot_id: Uuid,
    filter: Filter,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<StockMove>> {
    depot::find(tx, depot_id).await?;
    let mut query = stock_move::table
        .filter(stock_move::org_id.eq(tx.org_id()))
        .filter(
            stock_move::depot_id
                .eq(depot_id)
                .or(stock_move::to_depot_id.assume_not_null().eq(depot_id)),
        )
        .select(Row::as_select())
        .order(stock_move::id)
        .limit(limit)
        .into_boxed();
    if let Some(part_id) = filter.part_id {
        query = query.filter(stock_move::part_id.eq(part_id));
    }
    if let Some(work_order_id) = filter.work_order_id {
        query = query.filter(stock_move::work_order_id.eq(work_order_id));
    }
    if let Some(after) = after {
        query = query.filter(stock_move::id.gt(after));
    }
    let rows: Vec<Row> = query.load(&mut tx.connection()).await?;
    with_corrections(tx, rows, depot_id).await
}

/// The movements as the ledger of `depot_id` shows them, each with what corrects it.
async fn with_corrections(tx: &Tx<'_>, rows: Vec<Row>, depot_id: Uuid) -> Result<Vec<StockMove>> {
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let corrections: Vec<(Option<Uuid>, Uuid)> = stock_move::table
        .filter(stock_move::org_id.eq(tx.org_id()))
        .filter(stock_move::corrects.assume_not_null().eq_any(&ids))
        .select((stock_move::corrects, stock_move::id))
        .load(&mut tx.connection())
        .await?;
    rows.into_iter()
        .map(|row| {
            let correction = corrections
                .iter()
                .find(|(corrected, _)| *corrected == Some(row.id));
            row.shown(tx, depot_id, correction.map(|(_, id)| *id))
        })
        .collect()
}

/// These movements out of this depot's ledger, whatever their other end.
async fn booked(tx: &Tx<'_>, depot_id: Uuid, ids: &[Uuid]) -> Result<Vec<(Row, Option<Uuid>)>> {
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    let correction = diesel::alias!(stock_move as correction);
    let corrects_it = correction
        .field(stock_move::org_id)
        .eq(stock_move::org_id)
        .and(
            correction
                .field(stock_move::corrects)
                .eq(stock_move::id.nullable()),
        );
    Ok(stock_move::table
        .left_join(correction.on(corrects_it))
        .filter(stock_move::org_id.eq(tx.org_id()))
        .filter(stock_move::depot_id.eq(depot_id))
        .filter(stock_move::id.eq_any(ids))
        .select((
            Row::as_select(),
            correction.field(stock_move::id).nullable(),
        ))
        .load(&mut tx.connection())
        .await?)
}

/// The movement as the table holds it.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = stock_move, check_for_backend(Pg))]
struct Row {
    id: Uuid,
    depot_id: Uuid,
    kind: String,
    part_id: Uuid,
    quantity: i64,
    lot_code: String,
    #[diesel(deserialize_as = jiff_diesel::NullableDate)]
    made_on: Option<Date>,
    to_depot_id: Option<Uuid>,
    kit_id: Option<Uuid>,
    work_order_id: Option<Uuid>,
    reason: Option<String>,
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    happened_at: Timestamp,
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    received_at: Timestamp,
    booked_by: Uuid,
    corrects: Option<Uuid>,
    flags: Vec<String>,
}

impl Row {
    fn lot(&self) -> Option<Lot> {
        lot_of(&self.lot_code, self.made_on)
    }

    fn shown(self, tx: &Tx<'_>, depot_id: Uuid, corrected_by: Option<Uuid>) -> Result<StockMove> {
        let granted = |id: &Uuid| tx.tenant().depots.contains(*id);
        let lot = self.lot();
        Ok(StockMove {
            id: self.id,
            depot_id,
            kind: of_word(self.kind)?,
            part_id: self.part_id,
            quantity: self.quantity,
            lot,
            from_depot_id: self.to_depot_id.and(Some(self.depot_id)).filter(granted),
            to_depot_id: self.to_depot_id.filter(granted),
            kit_id: self.kit_id,
            work_order_id: self.work_order_id,
            reason: self.reason,
            happened_at: self.happened_at,
            received_at: self.received_at,
            booked_by: self.booked_by,
            corrects: self.corrects,
            corrected_by,
            flags: self.flags,
        })
    }
}

/// The lot as it is told, of its two columns.
pub(crate) fn lot_of(code: &str, made_on: Option<Date>) -> Option<Lot> {
    (!code.is_empty()).then(|| Lot {
        code: code.to_owned(),
        made_on,
    })
}

/// A level's place: one part, or one lot of it, on one shelf.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct Place {
    #[diesel(sql_type = diesel::sql_types::Uuid)]
    depot_id: Uuid,
    #[diesel(sql_type = diesel::sql_types::Uuid)]
    part_id: Uuid,
    #[diesel(sql_type = diesel::sql_types::Text)]
    lot_code: String,
    #[diesel(sql_type = diesel::sql_types::Nullable<diesel::sql_types::Date>, deserialize_as = jiff_diesel::NullableDate)]
    made_on: Option<Date>,
}

impl Row {
    /// The places whose level it bears on.
    fn places(&self) -> impl Iterator<Item = Place> {
        let at = |depot_id: Uuid| Place {
            depot_id,
            part_id: self.part_id,
            lot_code: self.lot_code.clone(),
            made_on: self.made_on,
        };
        [Some(at(self.depot_id)), self.to_depot_id.map(at)]
            .into_iter()
            .flatten()
    }
}

/// A hidden other end cannot be written to.
fn reachable(tx: &Tx<'_>, row: &Row, field: &str) -> Result<()> {
    let hidden = row
        .to_depot_id
        .is_some_and(|depot_id| !tx.tenant().depots.contains(depot_id));
    if hidden {
        return Err(Error::conflict(
            field,
            "moved parts to a depot you may not see; ask someone who may to correct it",
        ));
    }
    Ok(())
}
