//! From what somebody says to rows of the ledger: checked, kits taken apart, lots made out.

use std::collections::BTreeMap;

use diesel::QueryableByName;
use diesel::pg::Pg;
use diesel::sql_types::{Array, Date as SqlDate, Nullable, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::civil::Date;
use jiff::{SignedDuration, Timestamp};
use rimeyard_rules::Invalid;
use rimeyard_rules::stock::Move;
use uuid::Uuid;

use super::{Lot, NewStockMove, Row, reachable};
use crate::doubt::{FUTURE, SUSPECT};
use crate::feed::Write;
use crate::json::word;
use crate::part::{self, Part, QUANTITY_MAX};
use crate::{Error, Result, Tx, clock, fields, prepared};

/// How far a clock may be ahead of ours before it is noticed.
const AHEAD: SignedDuration = SignedDuration::from_mins(5);

/// What must be known to draft movements.
pub(super) struct Known {
    /// The parts named, and those in the kits among them.
    pub(super) parts: BTreeMap<Uuid, Part>,
    /// What is corrected, each with what corrects it already.
    pub(super) corrected: Vec<(Row, Option<Uuid>)>,
    /// The dates of the lots of these codes that are on the shelf.
    pub(super) lots: BTreeMap<(Uuid, String), Vec<Option<Date>>>,
    /// The work orders named, and those that what is corrected was for, which the tenant may see; with their depots.
    pub(super) orders: BTreeMap<Uuid, Uuid>,
}

/// The rows of one movement: one, or one for each content of a kit. Fields are named from the movement's own root.
pub(super) fn draft(
    tx: &Write<'_>,
    depot_id: Uuid,
    new: &NewStockMove,
    known: &Known,
    received_at: Timestamp,
) -> Result<Vec<Row>> {
    let id = fields::id(new.id)?;
    let part = known
        .parts
        .get(&new.part_id)
        .ok_or_else(|| Error::no_such("part_id"))?;
    check(tx, depot_id, new, part, known)?;
    let happened_at = fields::instant("happened_at", new.happened_at)?;
    let flags = if new.happened_at > received_at + AHEAD {
        vec![SUSPECT.to_owned(), FUTURE.to_owned()]
    } else {
        Vec::new()
    };
    let (lot_code, made_on) = match &new.lot {
        None => (String::new(), None),
        Some(lot) => (lot.code.clone(), made_on(new.part_id, lot, known)?),
    };
    let row = Row {
        id,
        depot_id,
        kind: word(&new.kind)?,
        part_id: part.id,
        quantity: new.quantity,
        lot_code,
        made_on,
        to_depot_id: new.to_depot_id,
        kit_id: None,
        work_order_id: new.work_order_id,
        reason: new.reason.clone(),
        happened_at,
        received_at,
        booked_by: tx.person_id()?,
        corrects: new.corrects,
        flags,
    };
    let Some(kit) = &part.kit else {
        return Ok(vec![row]);
    };
    let content = |(place, content): (usize, &part::KitContent)| {
        let quantity = content.quantity.saturating_mul(new.quantity);
        if quantity > QUANTITY_MAX {
            return Err(Error::invalid(
                "quantity",
                format!(
                    "makes {quantity} of a part in the kit; at most {QUANTITY_MAX} are booked at once"
                ),
            ));
        }
        Ok(Row {
            id: if place == 0 { id } else { Uuid::now_v7() },
            part_id: content.part_id,
            quantity,
            kit_id: Some(part.id),
            ..row.clone()
        })
    };
    kit.iter().enumerate().map(content).collect()
}

fn check(
    tx: &Write<'_>,
    depot_id: Uuid,
    new: &NewStockMove,
    part: &Part,
    known: &Known,
) -> Result<()> {
    let least = i64::from(new.kind != Move::Counted && new.corrects.is_none());
    if !(least..=QUANTITY_MAX).contains(&new.quantity) {
        return Err(Error::invalid(
            "quantity",
            format!(
                "must be from {least} to {QUANTITY_MAX}; it is {}",
                new.quantity
            ),
        ));
    }
    if let Some(lot) = &new.lot {
        fields::line("lot.code", &lot.code, 1..=60)?;
        let latest = clock::now() + SignedDuration::from_hours(48);
        let latest = latest.to_zoned(jiff::tz::TimeZone::UTC).date();
        if lot
            .made_on
            .is_some_and(|day| day.year() < 1900 || day > latest)
        {
            return Err(Error::invalid(
                "lot.made_on",
                "must be a day since 1900 and not to come; leave it out if it is not known",
            ));
        }
    }
    if let Some(reason) = &new.reason {
        fields::lines("reason", reason, 1..=500)?;
    }
    match (new.kind, new.to_depot_id) {
        (Move::Moved, None) => {
            return Err(Error::invalid(
                "to_depot_id",
                "is missing: say which depot they arrive at",
            ));
        }
        (Move::Moved, Some(to)) if to == depot_id => {
            return Err(Error::invalid(
                "to_depot_id",
                "is the depot they leave; name another one",
            ));
        }
        (Move::Moved, Some(to)) => tx.must_hold(to)?,
        (_, Some(_)) => {
            return Err(Error::invalid(
                "to_depot_id",
                "belongs to moved; leave it out",
            ));
        }
        (_, None) => {}
    }
    if new.kind == Move::Lost && new.reason.is_none() {
        return Err(Error::invalid(
            "reason",
            "is missing: say how they were lost",
        ));
    }
    if let Some(order) = new.work_order_id {
        if new.kind != Move::Used {
            return Err(Error::invalid(
                "work_order_id",
                "belongs to used; leave it out",
            ));
        }
        if !known.orders.contains_key(&order) {
            return Err(Error::no_such("work_order_id"));
        }
    }
    if part.kit.is_some() {
        let barred = [
            (
                new.kind == Move::Counted,
                "part_id",
                "is a kit, kept as its contents; count those",
            ),
            (
                new.lot.is_some(),
                "lot",
                "belongs to a part, and this is a kit; book its contents one by one",
            ),
            (
                new.corrects.is_some(),
                "part_id",
                "is a kit, booked as its contents; correct those",
            ),
        ];
        if let Some((_, field, problem)) = barred.into_iter().find(|(is, ..)| *is) {
            return Err(Error::invalid(field, problem));
        }
    }
    corrects(tx, new, known)
}

fn corrects(tx: &Tx<'_>, new: &NewStockMove, known: &Known) -> Result<()> {
    let Some(corrects) = new.corrects else {
        return Ok(());
    };
    let Some((old, correction)) = known.corrected.iter().find(|(old, _)| old.id == corrects) else {
        return Err(Error::no_such("corrects"));
    };
    reachable(tx, old, "corrects")?;
    let hidden = |order: &Uuid| !known.orders.contains_key(order);
    if old.work_order_id.as_ref().is_some_and(hidden) {
        return Err(Error::conflict(
            "corrects",
            "was for a work order you may not see; ask someone who may to correct it",
        ));
    }
    if old.part_id != new.part_id {
        return Err(Error::invalid(
            "corrects",
            "is of another part; take it back with quantity 0 and book the right part anew",
        ));
    }
    if let Some(correction) = correction {
        return Err(Error::conflict(
            "corrects",
            format!("was corrected already; correct {correction}"),
        ));
    }
    Ok(())
}

/// When a lot was made: as said, else as the one lot of that code on the shelf says.
fn made_on(part_id: Uuid, lot: &Lot, known: &Known) -> Result<Option<Date>> {
    if lot.made_on.is_some() {
        return Ok(lot.made_on);
    }
    match known
        .lots
        .get(&(part_id, lot.code.clone()))
        .map(Vec::as_slice)
    {
        None | Some([]) => Ok(None),
        Some([made_on]) => Ok(*made_on),
        Some(several) => {
            let days: Vec<String> = several
                .iter()
                .map(|day| day.map_or("no date".to_owned(), |day| day.to_string()))
                .collect();
            Err(Error::invalid(
                "lot.made_on",
                format!(
                    "is missing: there are lots of that code of {}",
                    days.join(", ")
                ),
            ))
        }
    }
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct LotRow {
    #[diesel(sql_type = SqlUuid)]
    part_id: Uuid,
    #[diesel(sql_type = Text)]
    lot_code: String,
    #[diesel(sql_type = Nullable<SqlDate>, deserialize_as = jiff_diesel::NullableDate)]
    made_on: Option<Date>,
}

/// What must be known.
pub(super) async fn known(tx: &Tx<'_>, depot_id: Uuid, new: &[NewStockMove]) -> Result<Known> {
    let corrects: Vec<Uuid> = new.iter().filter_map(|new| new.corrects).collect();
    let parts: Vec<Uuid> = new.iter().map(|new| new.part_id).collect();
    let (parts, corrected, lots) = futures::try_join!(
        part::with_ids(tx, &parts),
        super::booked(tx, depot_id, &corrects),
        lots(tx, depot_id, new),
    )?;
    let before = corrected.iter().filter_map(|(old, _)| old.work_order_id);
    let named = new.iter().filter_map(|new| new.work_order_id);
    let orders: Vec<Uuid> = named.chain(before).collect();
    let orders = super::record::orders(tx, &orders).await?;
    Ok(Known {
        parts,
        corrected,
        lots,
        orders,
    })
}

async fn lots(
    tx: &Tx<'_>,
    depot_id: Uuid,
    new: &[NewStockMove],
) -> Result<BTreeMap<(Uuid, String), Vec<Option<Date>>>> {
    let asked = || {
        new.iter()
            .filter_map(|new| Some((new.part_id, new.lot.as_ref()?)))
    };
    let mut lots: BTreeMap<(Uuid, String), Vec<Option<Date>>> = BTreeMap::new();
    if asked().next().is_none() {
        return Ok(lots);
    }
    let rows: Vec<LotRow> = prepared(
        diesel::sql_query(
            "select distinct l.part_id, l.lot_code, l.made_on
             from unnest($3::uuid[], $4::text[]) as n (part_id, lot_code)
             join stock_level l on l.org_id = $1 and l.depot_id = $2 and l.part_id = n.part_id and l.lot_code = n.lot_code
             order by l.part_id, l.lot_code, l.made_on",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(depot_id)
        .bind::<Array<SqlUuid>, _>(asked().map(|(part_id, _)| part_id).collect::<Vec<_>>())
        .bind::<Array<Text>, _>(asked().map(|(_, lot)| lot.code.as_str()).collect::<Vec<_>>()),
    )
    .load(&mut tx.connection())
    .await?;
    for row in rows {
        lots.entry((row.part_id, row.lot_code))
            .or_default()
            .push(row.made_on);
    }
    Ok(lots)
}

/// The field of the movement at `index` of the list.
pub(super) fn at(index: usize, field: &str) -> String {
    Invalid::new(field, "").within(&format!("[{index}]")).field
}
