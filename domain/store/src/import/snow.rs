//! Rows that are days of snow.

use std::collections::BTreeSet;

use rimeyard_rules::measure::Unit;
use rimeyard_rules::table::cell::shown;
use rimeyard_rules::table::row::{Cells, Layout};
use rimeyard_rules::table::units::Declared;

use super::check::Row;
use super::item::{Checked, Item, Place, faults_of};
use super::known;
use crate::snowfall::{self, DepotDay, SnowDay};
use crate::{Error, Result, Tx};

pub(super) async fn check(tx: &Tx<'_>, layout: &Layout, rows: &[Row]) -> Result<Checked> {
    let named: BTreeSet<&str> = rows
        .iter()
        .filter_map(|row| Cells::new(layout, &row.cells).text("depot"))
        .collect();
    let depots = known::depots(tx, named).await?;
    let mut checked = Checked::about(depots.values().map(|depot| depot.id));
    for row in rows {
        let mut cells = Cells::new(layout, &row.cells);
        let depot = cells.required("depot").and_then(|name| {
            let depot = depots.get(name);
            if depot.is_none() {
                cells.fault(
                    "depot",
                    format!(
                        "{} is no depot that you may see; write its name or id",
                        shown(name)
                    ),
                );
            }
            depot
        });
        cells.required("day");
        let on = cells.day("day");
        if cells.text("snowfall").is_none() {
            cells.fault(
                "snowfall",
                "is blank; write 0 where none fell, and leave out a day that was not observed",
            );
        }
        let entered = cells.number("snowfall");
        let unit = cells
            .unit("snowfall")
            .ok_or_else(|| Error::internal("snowfall without a unit"))?;
        if let (Some(depot), Some(on), Some(entered)) = (depot, on, entered)
            && cells.is_sound()
        {
            let day = SnowDay {
                on,
                snowfall_mm: unit.to_si(entered),
            };
            match snowfall::check(&day, &depot.zone, str::to_owned) {
                Ok(()) => {
                    let is_mm = unit == Declared::Of(Unit::Millimetre);
                    let content = DepotDay {
                        depot_id: depot.id,
                        day,
                        entered: (!is_mm).then(|| (entered, unit.symbol().to_owned())),
                    };
                    let place = Place::default().id(depot.id).word(&on.to_string());
                    let key = format!("{} {on}", depot.id);
                    checked
                        .items
                        .push(Item::new(place, row.number, key, &content)?);
                }
                Err(error) => checked.refuse(row.number, faults_of(error)?),
            }
        }
        checked.refuse(row.number, cells.into_faults());
    }
    Ok(checked)
}
