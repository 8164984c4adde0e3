//! Rows that are machines.

use std::collections::{BTreeMap, BTreeSet};

use rimeyard_rules::sheet::{Sheet, Work};
use rimeyard_rules::table::cell::shown;
use rimeyard_rules::table::row::{Cells, Layout};
use uuid::Uuid;

use super::check::Row;
use super::item::{Checked, Item, Place, faults_of};
use super::known;
use crate::unit::{self, NewUnit};
use crate::{Result, Tx, sheet};

const WORKS: [&str; 3] = ["clear", "spread", "blow"];

pub(super) async fn check(tx: &Tx<'_>, layout: &Layout, rows: &[Row]) -> Result<Checked> {
    let named = |name: &str| -> BTreeSet<&str> {
        let cells = rows.iter().map(|row| Cells::new(layout, &row.cells));
        cells.filter_map(|cells| cells.text(name)).collect()
    };
    let (depots, models, taken) = futures::try_join!(
        known::depots(tx, named("depot")),
        known::models(tx, named("model")),
        known::tags_taken(tx, named("tag")),
    )?;
    let ids: Vec<Uuid> = models.values().copied().collect();
    let sheets: BTreeMap<Uuid, Sheet> = sheet::present(tx, &ids).await?;
    let mut checked = Checked::about(depots.values().map(|depot| depot.id));
    for row in rows {
        let mut cells = Cells::new(layout, &row.cells);
        let tag = cells.required("tag");
        if let Some(tag) = tag.filter(|tag| taken.contains(*tag)) {
            cells.fault(
                "tag",
                format!(
                    "{} is already used by another unit; choose another, or leave the row out",
                    shown(tag)
                ),
            );
        }
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
        let model = cells.required("model").and_then(|name| {
            let model = models.get(name).and_then(|id| Some((*id, sheets.get(id)?)));
            if model.is_none() {
                cells.fault(
                    "model",
                    format!(
                        "{} is no model; write its name, or make it first",
                        shown(name)
                    ),
                );
            }
            model
        });
        let rigging = cells.word::<Work>("rigging", &WORKS);
        let away = cells.text("away").map(str::to_owned);
        let acquired_on = cells.day("acquired_on");
        let came_new = cells.yes_no("came_new").unwrap_or(false);
        if let (Some(tag), Some(depot), Some((model_id, sheet))) = (tag, depot, model)
            && cells.is_sound()
        {
            let new = NewUnit {
                id: None,
                tag: tag.to_owned(),
                depot_id: depot.id,
                model_id,
                rigging,
                away,
                acquired_on,
                came_new,
            };
            match unit::draft(&new, &depot.zone, sheet) {
                Ok(_) => {
                    checked.items.push(Item::new(
                        Place::default(),
                        row.number,
                        new.tag.clone(),
                        &new,
                    )?);
                }
                Err(error) => checked.refuse(row.number, faults_of(error)?),
            }
        }
        checked.refuse(row.number, cells.into_faults());
    }
    Ok(checked)
}
