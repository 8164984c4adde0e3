//! Rows that are parts of the list.

use std::collections::BTreeSet;

use rimeyard_rules::table::cell::shown;
use rimeyard_rules::table::row::{Cells, Layout};

use super::check::Row;
use super::item::{Checked, Item, Place, faults_of};
use super::known;
use crate::part::{self, NewPart, Price};
use crate::{Result, Tx};

pub(super) async fn check(tx: &Tx<'_>, layout: &Layout, rows: &[Row]) -> Result<Checked> {
    let named: BTreeSet<&str> = rows
        .iter()
        .flat_map(|row| {
            let cells = Cells::new(layout, &row.cells);
            [cells.text("number"), cells.text("name")]
        })
        .flatten()
        .collect();
    let taken = known::parts(tx, named).await?;
    let mut checked = Checked::default();
    for row in rows {
        let mut cells = Cells::new(layout, &row.cells);
        for (name, key) in [
            ("number", str::to_owned as fn(&str) -> String),
            ("name", str::to_lowercase),
        ] {
            let text = cells.required(name);
            if let Some(text) = text.filter(|text| taken.contains_key(&key(text))) {
                cells.fault(
                    name,
                    format!("{} is listed already; leave the row out", shown(text)),
                );
            }
        }
        cells.required("lead_time");
        let lead_time = cells.whole("lead_time", 0, 1_000);
        let shelf_life = cells.whole("shelf_life", 1, 36_500);
        let pack_size = cells.whole("pack_size", 1, 1_000_000).unwrap_or(1);
        let price = match (
            cells.whole("price_minor", 0, 1_000_000_000),
            cells.text("currency"),
        ) {
            (Some(amount_minor), Some(currency)) => Some(Price {
                amount_minor,
                currency: currency.to_owned(),
            }),
            (Some(_), None) => {
                cells.fault(
                    "currency",
                    "is blank; say of which currency the price is, like USD",
                );
                None
            }
            (None, _) => None,
        };
        if let (Some(number), Some(name), Some(lead_time)) =
            (cells.text("number"), cells.text("name"), lead_time)
            && cells.is_sound()
        {
            let new = NewPart {
                id: None,
                number: number.to_owned(),
                name: name.to_owned(),
                title: cells.text("title").map(str::to_owned),
                unit: cells.text("unit").unwrap_or("each").to_owned(),
                // Each is within what an i32 holds.
                pack_size: pack_size as i32,
                lead_time_days: lead_time as i32,
                price,
                shelf_life_days: shelf_life.map(|days| days as i32),
                kit: None,
            };
            match part::draft(&new) {
                Ok(_) => checked.items.push(Item::new(
                    Place::default(),
                    row.number,
                    new.number.clone(),
                    &new,
                )?),
                Err(error) => checked.refuse(row.number, faults_of(error)?),
            }
        }
        checked.refuse(row.number, cells.into_faults());
    }
    Ok(checked)
}
