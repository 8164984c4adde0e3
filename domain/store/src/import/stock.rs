//! Rows that are movements of stock, or what was counted.

use std::collections::BTreeSet;

use rimeyard_rules::stock::Move;
use rimeyard_rules::table::cell::shown;
use rimeyard_rules::table::row::{Cells, Layout};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::check::Row;
use super::item::{Checked, Item, Place};
use super::known;
use crate::json::word;
use crate::stock::{Lot, NewStockMove};
use crate::{Result, Tx, fields};

const MOVES: [&str; 5] = ["received", "used", "counted", "moved", "lost"];

/// A movement at a depot.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(super) struct StockRow {
    pub(super) depot_id: Uuid,
    pub(super) new: NewStockMove,
}

pub(super) async fn check(tx: &Tx<'_>, layout: &Layout, rows: &[Row]) -> Result<Checked> {
    let named = |names: &[&str]| -> BTreeSet<&str> {
        let cells = rows.iter().map(|row| Cells::new(layout, &row.cells));
        cells
            .flat_map(|cells| {
                names
                    .iter()
                    .filter_map(move |name| cells.text(name))
                    .collect::<Vec<_>>()
            })
            .collect()
    };
    let (depots, parts) = futures::try_join!(
        known::depots(tx, named(&["depot", "to_depot"])),
        known::parts(tx, named(&["part"])),
    )?;
    let mut checked = Checked::about(depots.values().map(|depot| depot.id));
    for row in rows {
        let mut cells = Cells::new(layout, &row.cells);
        let depot = |cells: &mut Cells<'_>, name: &str| {
            let text = cells.text(name)?;
            let depot = depots.get(text);
            if depot.is_none() {
                cells.fault(
                    name,
                    format!(
                        "{} is no depot that you may see; write its name or id",
                        shown(text)
                    ),
                );
            }
            depot
        };
        cells.required("depot");
        let (home, to) = (depot(&mut cells, "depot"), depot(&mut cells, "to_depot"));
        let part = cells.required("part").and_then(|name| {
            let part = parts.get(name).or_else(|| parts.get(&name.to_lowercase()));
            if part.is_none() {
                cells.fault(
                    "part",
                    format!(
                        "{} is no part of the list; write its number or name, or list it first",
                        shown(name)
                    ),
                );
            }
            part.copied()
        });
        let kind = match cells.text("move") {
            None => Some(Move::Counted),
            Some(_) => cells.word::<Move>("move", &MOVES),
        };
        cells.required("quantity");
        let least = i64::from(kind != Some(Move::Counted));
        let quantity = cells.whole("quantity", least, 1_000_000);
        let zone = home.map_or(jiff::tz::TimeZone::UTC, |home| home.zone.clone());
        cells.required("happened_at");
        let happened_at = cells.instant("happened_at", &zone);
        let made_on = cells.day("made_on");
        let lot = cells.text("lot").map(|code| Lot {
            code: code.to_owned(),
            made_on,
        });
        let reason = cells.verbatim("reason").map(str::to_owned);
        possible(
            &mut cells,
            kind,
            part,
            lot.as_ref(),
            to.map(|to| to.id),
            home.map(|home| home.id),
        );
        if let (Some(home), Some(part), Some(kind), Some(quantity), Some(happened_at)) =
            (home, part, kind, quantity, happened_at)
            && cells.is_sound()
        {
            let new = NewStockMove {
                id: None,
                kind,
                part_id: part.id,
                quantity,
                lot,
                to_depot_id: to.map(|to| to.id),
                work_order_id: None,
                reason,
                happened_at,
                corrects: None,
            };
            let code = new.lot.as_ref().map_or("", |lot| &lot.code);
            let key = format!(
                "{} {} {code} {happened_at} {} {quantity}",
                home.id,
                part.id,
                word(&kind)?
            );
            let place = Place::default().id(home.id).at(happened_at);
            let content = StockRow {
                depot_id: home.id,
                new,
            };
            checked
                .items
                .push(Item::new(place, row.number, key, &content)?);
        }
        checked.refuse(row.number, cells.into_faults());
    }
    Ok(checked)
}

/// What no movement may be, said of its columns.
fn possible(
    cells: &mut Cells<'_>,
    kind: Option<Move>,
    part: Option<known::Part>,
    lot: Option<&Lot>,
    to: Option<Uuid>,
    home: Option<Uuid>,
) {
    let is_kit = part.is_some_and(|part| part.is_kit);
    if is_kit && (kind == Some(Move::Counted) || lot.is_some()) {
        cells.fault(
            "part",
            "is a kit, kept as its contents; write a row for each of those",
        );
    }
    match (kind, to) {
        (Some(Move::Moved), None) if cells.text("to_depot").is_none() => {
            cells.fault("to_depot", "is blank: say which depot they arrive at");
        }
        (Some(Move::Moved), Some(_)) if to == home => {
            cells.fault("to_depot", "is the depot they leave; name another one")
        }
        (Some(kind), Some(_)) if kind != Move::Moved => {
            cells.fault("to_depot", "belongs to moved; leave it blank")
        }
        _ => {}
    }
    if kind == Some(Move::Lost) && cells.verbatim("reason").is_none() {
        cells.fault("reason", "is blank: say how they were lost");
    }
    if cells.text("made_on").is_some() && lot.is_none() {
        cells.fault(
            "lot",
            "is blank, and there is a day it was made; say of which lot",
        );
    }
    for (name, most, text) in [
        ("lot", 60, lot.map(|lot| lot.code.as_str())),
        ("reason", 500, cells.verbatim("reason")),
    ] {
        if let Some(Err(error)) = text.map(|text| fields::lines(name, text, 1..=most)) {
            let problem = error.to_string();
            cells.fault(name, problem.trim_start_matches(name).trim());
        }
    }
}
