//! Rows that are readings of hour meters, or word of starts.

use std::collections::BTreeSet;

use diesel::QueryableByName;
use diesel::sql_types::{Array, BigInt, Bool, Double, Nullable, Timestamptz, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff_diesel::ToDiesel;
use rimeyard_rules::table::cell::shown;
use rimeyard_rules::table::row::{Cells, Layout};

use super::check::Row;
use super::item::{Checked, Item, Place, faults_of};
use super::known;
use crate::meter_reading::{self, NewMeterReading};
use crate::{Result, Tx, fields, prepared};

pub(super) async fn check(tx: &Tx<'_>, layout: &Layout, rows: &[Row]) -> Result<Checked> {
    let tags: BTreeSet<&str> = rows
        .iter()
        .filter_map(|row| Cells::new(layout, &row.cells).text("tag"))
        .collect();
    let machines = known::machines(tx, tags).await?;
    let mut checked = Checked::about(machines.values().map(|machine| machine.depot_id));
    let mut sound: Vec<(i32, NewMeterReading)> = Vec::with_capacity(rows.len());
    for row in rows {
        let mut cells = Cells::new(layout, &row.cells);
        let machine = cells.required("tag").and_then(|tag| {
            let machine = machines.get(tag);
            if machine.is_none() {
                cells.fault(
                    "tag",
                    format!("{} is on no machine that you may see", shown(tag)),
                );
            }
            machine
        });
        // Without a machine its depot's zone is not known; whatever else is wrong is said all the same.
        let zone = machine.map_or(jiff::tz::TimeZone::UTC, |machine| machine.zone.clone());
        cells.required("read_at");
        let read_at = cells.instant("read_at", &zone);
        let run_hours = cells.number("run_hours");
        let estimated = cells.yes_no("estimated").unwrap_or(false);
        let meter_replaced = cells.yes_no("meter_replaced").unwrap_or(false);
        let started = cells.yes_no("started");
        let note = cells.verbatim("note").map(str::to_owned);
        if let (Some(machine), Some(read_at)) = (machine, read_at)
            && cells.is_sound()
        {
            let at = fields::instant("read_at", read_at);
            let new = NewMeterReading {
                id: None,
                unit_id: machine.unit_id,
                read_at: *at.as_ref().unwrap_or(&read_at),
                run_hours,
                estimated,
                meter_replaced,
                started,
                note,
                corrects: None,
            };
            match at.and_then(|_| meter_reading::check(&new, str::to_owned)) {
                Ok(()) => sound.push((row.number, new)),
                Err(error) => checked.refuse(row.number, faults_of(error)?),
            }
        }
        checked.refuse(row.number, cells.into_faults());
    }
    let known = recorded(tx, &sound).await?;
    for (place, (row, new)) in sound.into_iter().enumerate() {
        if known.contains(&place) {
            let problem =
                "was recorded already, the same of this machine at this time; leave the row out";
            checked.refuse(row, vec![rimeyard_rules::Invalid::new("read_at", problem)]);
            continue;
        }
        let key = format!(
            "{} {} {:?} {:?}",
            new.unit_id, new.read_at, new.run_hours, new.started
        );
        let place = Place::default().at(new.read_at).id(new.unit_id);
        checked.items.push(Item::new(place, row, key, &new)?);
    }
    Ok(checked)
}

#[derive(QueryableByName)]
struct Found {
    #[diesel(sql_type = BigInt)]
    place: i64,
}

/// The places of those that are on record already.
async fn recorded(tx: &Tx<'_>, new: &[(i32, NewMeterReading)]) -> Result<BTreeSet<usize>> {
    let all = || new.iter().map(|(_, new)| new);
    let found: Vec<Found> = prepared(
        diesel::sql_query(
            "select n.place from unnest($2::uuid[], $3::timestamptz[], $4::float8[], $5::boolean[]) with ordinality
                 as n (unit_id, at, run_hours, started, place)
             where exists (
                 select from meter_reading m
                 where m.org_id = $1 and m.unit_id = n.unit_id and m.took_effect_at = n.at
                   and m.run_hours is not distinct from n.run_hours and m.started is not distinct from n.started
                   and not exists (select from meter_reading c where c.org_id = m.org_id and c.corrects = m.id))",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(all().map(|new| new.unit_id).collect::<Vec<_>>())
        .bind::<Array<Timestamptz>, _>(all().map(|new| new.read_at.to_diesel()).collect::<Vec<_>>())
        .bind::<Array<Nullable<Double>>, _>(all().map(|new| new.run_hours).collect::<Vec<_>>())
        .bind::<Array<Nullable<Bool>>, _>(all().map(|new| new.started).collect::<Vec<_>>()),
    )
    .load(&mut tx.connection())
    .await?;
    Ok(found.iter().map(|found| found.place as usize - 1).collect())
}
