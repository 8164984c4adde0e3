//! Rows that are readings; those of the same machine, time and kind are one inspection.

use std::collections::{BTreeMap, BTreeSet};

use diesel::QueryableByName;
use diesel::sql_types::{Array, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff_diesel::ToDiesel;
use rimeyard_rules::Invalid;
use rimeyard_rules::facts::InspectionKind;
use rimeyard_rules::measure::Unit;
use rimeyard_rules::sheet::{CheckSpec, Grade, Reads, Sheet};
use rimeyard_rules::table::cell::{shown, yes_no};
use rimeyard_rules::table::row::{Cells, Layout};
use rimeyard_rules::table::units::Declared;
use rimeyard_rules::verdict::Verdict;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::check::Row;
use super::item::{Checked, Item, Place, faults_of};
use super::known::{self, Machine};
use crate::inspection::{self, NewInspection, NewReading};
use crate::json::word;
use crate::{Result, Tx, fields, prepared, sheet};

const KINDS: [&str; 5] = [
    "pre_season",
    "in_season",
    "after_storm",
    "after_repair",
    "storage",
];

/// One row: a reading, with what it says of its inspection.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(super) struct InspectionRow {
    pub(super) unit_id: Uuid,
    pub(super) kind: InspectionKind,
    pub(super) performed_at: Timestamp,
    pub(super) run_hours: Option<f64>,
    pub(super) note: Option<String>,
    pub(super) reading: Option<NewReading>,
    /// How many documents may follow from it: a finding, a hold tag and a work order of what is unserviceable.
    pub(super) follows: usize,
}

pub(super) async fn check(tx: &Tx<'_>, layout: &Layout, rows: &[Row]) -> Result<Checked> {
    let tags: BTreeSet<&str> = rows
        .iter()
        .filter_map(|row| Cells::new(layout, &row.cells).text("tag"))
        .collect();
    let machines = known::machines(tx, tags).await?;
    let models: BTreeSet<Uuid> = machines.values().map(|machine| machine.model_id).collect();
    let sheets = sheet::present(tx, &models.into_iter().collect::<Vec<_>>()).await?;
    let mut checked = Checked::about(machines.values().map(|machine| machine.depot_id));
    let mut sound = Vec::with_capacity(rows.len());
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
        let known = machine.and_then(|machine| Some((machine, sheets.get(&machine.model_id)?)));
        match read(&mut cells, known) {
            Some(read) if cells.is_sound() => match impossible(&read) {
                Ok(read) => sound.push((row.number, read)),
                Err(error) => checked.refuse(row.number, faults_of(error)?),
            },
            _ => {}
        }
        checked.refuse(row.number, cells.into_faults());
    }
    let known = recorded(tx, &sound).await?;
    for (row, read) in sound {
        let kind = word(&read.kind)?;
        if known.contains(&(read.unit_id, read.performed_at, kind.clone())) {
            let problem = "was recorded already: this machine has an inspection of this time and kind; leave its rows out, \
                           or correct it by POST /v1/inspections";
            checked.refuse(row, vec![Invalid::new("performed_at", problem)]);
            continue;
        }
        let check = read.reading.as_ref().map_or("", |reading| &reading.check);
        let key = format!("{} {} {kind} {check}", read.unit_id, read.performed_at);
        let place = Place::default()
            .at(read.performed_at)
            .id(read.unit_id)
            .word(&kind);
        checked.items.push(Item::new(place, row, key, &read)?);
    }
    Ok(checked)
}

/// A row, once its machine and sheet are known; what can be said without them is said all the same.
fn read(cells: &mut Cells<'_>, known: Option<(&Machine, &Sheet)>) -> Option<InspectionRow> {
    let zone = known.map_or(jiff::tz::TimeZone::UTC, |(machine, _)| machine.zone.clone());
    cells.required("performed_at");
    let performed_at = cells.instant("performed_at", &zone);
    cells.required("kind");
    let kind = cells.word::<InspectionKind>("kind", &KINDS);
    let run_hours = cells.number("run_hours");
    let note = cells.verbatim("inspection_note").map(str::to_owned);
    let (machine, sheet) = known?;
    let (reading, follows) = match cells.text("check") {
        None => {
            // An inspection at which nothing was read.
            for name in ["value", "grade", "works", "level"] {
                if cells.text(name).is_some() {
                    cells.fault(
                        "check",
                        format!("is blank, and there is a {name}; say of which check"),
                    );
                }
            }
            (None, 0)
        }
        Some(name) => match spec(sheet, name) {
            Some(check) => {
                let reading = reading(cells, check);
                match reading.judge_alone(check) {
                    Ok(verdict) => (
                        Some(reading),
                        if verdict == Verdict::Unserviceable {
                            3
                        } else {
                            0
                        },
                    ),
                    Err(fault) => {
                        // What could not be read at all has been said.
                        if cells.is_sound() {
                            cells.fault(column(&fault.field), fault.problem);
                        }
                        (None, 0)
                    }
                }
            }
            None => {
                cells.fault(
                    "check",
                    format!("{} is on no sheet of this machine's model; write the code or the title of a check on its checklist", shown(name)),
                );
                (None, 0)
            }
        },
    };
    Some(InspectionRow {
        unit_id: machine.unit_id,
        kind: kind?,
        performed_at: performed_at?,
        run_hours,
        note,
        reading,
        follows,
    })
}

/// The check of this code or title.
fn spec<'a>(sheet: &'a Sheet, name: &str) -> Option<&'a CheckSpec> {
    let same = |text: &str| text.trim().to_lowercase() == name.trim().to_lowercase();
    sheet.check_spec(name).or_else(|| {
        sheet
            .checks
            .iter()
            .find(|check| same(&check.check) || same(&check.title))
    })
}

/// The reading in the cells. What was read of a check that is no number may stand under `value` as well.
fn reading(cells: &mut Cells<'_>, check: &CheckSpec) -> NewReading {
    let mut reading = NewReading {
        check: check.check.clone(),
        note: cells.verbatim("note").map(str::to_owned),
        full_charge: cells.number("full_charge"),
        grade: cells.text("grade").map(str::to_owned),
        level: cells.text("level").map(str::to_owned),
        works: cells.yes_no("works"),
        ..NewReading::default()
    };
    if let Some(repeats) = cells.number("repeats") {
        if repeats.fract() == 0.0 && (1.0..=100.0).contains(&repeats) {
            reading.repeats = Some(repeats as u32);
        } else {
            cells.fault("repeats", "must be a whole number from 1 to 100");
        }
    }
    if let Some(temperature) = cells.number("temperature") {
        if cells.unit("temperature") == Some(Declared::Of(Unit::Fahrenheit)) {
            reading.temperature = Some(temperature);
            reading.temperature_unit = Some(Unit::Fahrenheit.symbol().to_owned());
        } else {
            reading.temperature_c = Some(temperature);
        }
    }
    let value = cells.text("value");
    match &check.reads {
        Reads::Measure(_) => {
            reading.value = cells.number("value");
            reading.unit = unit(cells);
        }
        Reads::Function => {
            if let (None, Some(value)) = (reading.works, value) {
                match yes_no(value) {
                    Ok(works) => reading.works = Some(works),
                    Err(problem) => cells.fault("value", problem),
                }
            }
        }
        Reads::Grade(grades) => reading.grade = one_of(grades, reading.grade.as_deref().or(value)),
        Reads::Level(levels) => reading.level = one_of(levels, reading.level.as_deref().or(value)),
    }
    reading
}

/// The unit of a value: its own, else the one its column declares.
fn unit(cells: &mut Cells<'_>) -> Option<String> {
    let Some(text) = cells.text("unit") else {
        return cells.unit("value").map(|unit| unit.symbol().to_owned());
    };
    match Declared::parse(text) {
        Some(unit) => Some(unit.symbol().to_owned()),
        None => {
            cells.fault("unit", format!("{} is no unit of measure known here; write mm, in, kPa, psi, bar, degC, degF, V, SG, h, days, %, count or deg", shown(text)));
            None
        }
    }
}

/// What was chosen, as the sheet writes it. What is none of the choices is left for the verdict to refuse.
fn one_of(choices: &[Grade], said: Option<&str>) -> Option<String> {
    let said = said?.trim();
    let same = |choice: &&Grade| choice.grade.to_lowercase() == said.to_lowercase();
    let choice = choices.iter().find(same);
    Some(choice.map_or(said, |choice| &choice.grade).to_owned())
}

/// The column that a field of a reading came from.
fn column(field: &str) -> &'static str {
    match field {
        "value" => "value",
        "unit" => "unit",
        "grade" => "grade",
        "works" => "works",
        "level" => "level",
        "temperature_c" | "temperature" | "temperature_unit" => "temperature",
        "full_charge" => "full_charge",
        "repeats" => "repeats",
        "note" => "note",
        _ => "check",
    }
}

/// What is impossible in an inspection, by this row alone; the time as it is kept.
fn impossible(read: &InspectionRow) -> Result<InspectionRow> {
    let performed_at = fields::instant("performed_at", read.performed_at)?;
    let new = NewInspection {
        id: None,
        unit_id: read.unit_id,
        kind: read.kind,
        performed_at,
        run_hours: read.run_hours,
        readings: read.reading.clone().into_iter().collect(),
        note: read.note.clone(),
        corrects: None,
    };
    inspection::check(&new, str::to_owned)?;
    Ok(InspectionRow {
        performed_at,
        ..read.clone()
    })
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct Found {
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    at: Timestamp,
    #[diesel(sql_type = Text)]
    kind: String,
}

/// Inspections that are on record already.
async fn recorded(
    tx: &Tx<'_>,
    read: &[(i32, InspectionRow)],
) -> Result<BTreeSet<(Uuid, Timestamp, String)>> {
    let distinct: BTreeMap<(Uuid, Timestamp), ()> = read
        .iter()
        .map(|(_, read)| ((read.unit_id, read.performed_at), ()))
        .collect();
    let found: Vec<Found> = prepared(
        diesel::sql_query(
            "select i.unit_id, i.took_effect_at as at, i.kind
             from unnest($2::uuid[], $3::timestamptz[]) as n (unit_id, at)
             join inspection i on i.org_id = $1 and i.unit_id = n.unit_id and i.took_effect_at = n.at
             where not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(distinct.keys().map(|(unit_id, _)| *unit_id).collect::<Vec<_>>())
        .bind::<Array<Timestamptz>, _>(distinct.keys().map(|(_, at)| at.to_diesel()).collect::<Vec<_>>()),
    )
    .load(&mut tx.connection())
    .await?;
    Ok(found
        .into_iter()
        .map(|found| (found.unit_id, found.at, found.kind))
        .collect())
}
