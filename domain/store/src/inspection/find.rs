//! Reading inspections back.

use std::collections::BTreeMap;

use diesel::pg::Pg;
use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff_diesel::ToDiesel;
use rimeyard_rules::facts::InspectionKind;
use rimeyard_rules::sheet::Sheet;
use rimeyard_rules::verdict::{Context, ReadingInput, VerdictInput, judge};
use uuid::Uuid;

use super::{Inspection, JudgedReading, Reading, judging};
use crate::granted::granted;
use crate::json::{of_word, word};
use crate::schema::{inspection, reading};
use crate::{Error, Result, Tx};

/// Which inspections; what is absent does not narrow.
#[derive(Debug, Clone, Copy, Default)]
pub struct Filter {
    /// Of this unit.
    pub unit_id: Option<Uuid>,
    /// Received while the unit stood at this depot.
    pub depot_id: Option<Uuid>,
    /// Made for this reason.
    pub kind: Option<InspectionKind>,
    /// Performed at this instant or later.
    pub performed_from: Option<Timestamp>,
    /// Performed before this instant.
    pub performed_to: Option<Timestamp>,
}

/// At most `limit` inspections that the tenant may see, ordered by id, those after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    filter: Filter,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<Inspection<Reading>>> {
    let read = select(
        tx,
        Which {
            filter,
            after,
            ids: None,
        },
        limit,
    )
    .await?;
    Ok(read.into_iter().map(Read::inspection).collect())
}

/// One inspection that the tenant may see, with what its verdicts stand on.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<Inspection<JudgedReading>> {
    let which = Which {
        ids: Some(&[id]),
        ..Which::default()
    };
    let Some(read) = select(tx, which, 1).await?.pop() else {
        return Err(Error::NotFound { what: "inspection" });
    };
    let version = (read.inspection.model_id, read.inspection.sheet_version);
    let sheets = judging::sheets(tx, &[version]).await?;
    let sheet = sheets
        .get(&version)
        .ok_or_else(|| Error::internal(format!("inspection {id} has no sheet")))?;
    read.judged(sheet)
}

/// Those of these inspections that the tenant may see.
pub(super) async fn with_ids(tx: &Tx<'_>, ids: &[Uuid]) -> Result<Vec<Inspection<Reading>>> {
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    let read = select(
        tx,
        Which {
            ids: Some(ids),
            ..Which::default()
        },
        i64::MAX,
    )
    .await?;
    Ok(read.into_iter().map(Read::inspection).collect())
}

/// Which rows.
#[derive(Default)]
struct Which<'a> {
    filter: Filter,
    after: Option<Uuid>,
    ids: Option<&'a [Uuid]>,
}

async fn select(tx: &Tx<'_>, which: Which<'_>, limit: i64) -> Result<Vec<Read>> {
    let correction = diesel::alias!(inspection as correction);
    let corrects_it = correction
        .field(inspection::org_id)
        .eq(inspection::org_id)
        .and(
            correction
                .field(inspection::corrects)
                .eq(inspection::id.nullable()),
        );
    let mut query = inspection::table
        .left_join(correction.on(corrects_it))
        .filter(inspection::org_id.eq(tx.org_id()))
        .into_boxed();
    granted!(query, tx, inspection);
    let Which { filter, after, ids } = which;
    if let Some(ids) = ids {
        query = query.filter(inspection::id.eq_any(ids));
    }
    if let Some(unit_id) = filter.unit_id {
        query = query.filter(inspection::unit_id.eq(unit_id));
    }
    if let Some(depot_id) = filter.depot_id {
        query = query.filter(inspection::depot_id.eq(depot_id));
    }
    if let Some(kind) = filter.kind {
        query = query.filter(inspection::kind.eq(word(&kind)?));
    }
    if let Some(from) = filter.performed_from {
        query = query.filter(inspection::performed_at.ge(from.to_diesel()));
    }
    if let Some(to) = filter.performed_to {
        query = query.filter(inspection::performed_at.lt(to.to_diesel()));
    }
    if let Some(after) = after {
        query = query.filter(inspection::id.gt(after));
    }
    let query = query
        .select((
            Row::as_select(),
            correction.field(inspection::id).nullable(),
        ))
        .order(inspection::id)
        .limit(limit);
    let rows: Vec<(Row, Option<Uuid>)> = query.load(&mut tx.connection()).await?;
    let ids: Vec<Uuid> = rows.iter().map(|(row, _)| row.id).collect();
    let mut readings = readings_of(tx, &ids).await?;
    rows.into_iter()
        .map(|(row, corrected_by)| {
            let readings = readings.remove(&row.id).unwrap_or_default();
            Ok(Read {
                inspection: row.inspection(corrected_by)?,
                readings,
            })
        })
        .collect()
}

async fn readings_of(tx: &Tx<'_>, ids: &[Uuid]) -> Result<BTreeMap<Uuid, Vec<Stored>>> {
    let rows: Vec<ReadingRow> = reading::table
        .filter(reading::org_id.eq(tx.org_id()))
        .filter(reading::inspection_id.eq_any(ids))
        .order((reading::inspection_id, reading::check_code))
        .select(ReadingRow::as_select())
        .load(&mut tx.connection())
        .await?;
    let mut readings: BTreeMap<Uuid, Vec<Stored>> = BTreeMap::new();
    for row in rows {
        readings
            .entry(row.inspection_id)
            .or_default()
            .push(row.stored()?);
    }
    Ok(readings)
}

/// An inspection read back, its readings apart.
struct Read {
    inspection: Inspection<()>,
    readings: Vec<Stored>,
}

/// A reading read back, and what else its verdict depended on.
struct Stored {
    reading: Reading,
    context: Context,
}

impl Read {
    fn inspection(self) -> Inspection<Reading> {
        let readings = self
            .readings
            .into_iter()
            .map(|stored| stored.reading)
            .collect();
        self.inspection.with(readings)
    }

    fn judged(self, sheet: &Sheet) -> Result<Inspection<JudgedReading>> {
        let readings = self
            .readings
            .into_iter()
            .map(|stored| stored.judged(sheet))
            .collect::<Result<_>>()?;
        Ok(self.inspection.with(readings))
    }
}

impl Stored {
    /// The verdict is the one of its day; its words and figures are told again from the limits of that day.
    fn judged(self, sheet: &Sheet) -> Result<JudgedReading> {
        let Stored { reading, context } = self;
        let check = sheet.check_spec(&reading.check).cloned();
        let check = check.ok_or_else(|| {
            Error::internal(format!("{} is not on the sheet of its day", reading.check))
        })?;
        let inputs = VerdictInput {
            check,
            reading: reading.input(),
            context,
        };
        let told = judge(&inputs.check, &inputs.reading, &context).ok();
        let limits = inputs.check.measure().map(|measure| measure.limits.clone());
        let (judged_value, text) = match told {
            Some(judged) => (judged.judged_value, judged.text),
            None => (
                None,
                format!("{}: {}", inputs.check.title, reading.verdict.word()),
            ),
        };
        Ok(JudgedReading {
            reading,
            judged_value,
            limits,
            text,
            inputs,
        })
    }
}

impl Reading {
    /// What was sent for it.
    fn input(&self) -> ReadingInput {
        ReadingInput {
            check: self.check.clone(),
            value: self.value,
            unit: self.unit.clone(),
            grade: self.grade.clone(),
            works: self.works,
            level: self.level.clone(),
            temperature_c: self.temperature_c,
            full_charge: self.full_charge,
            repeats: self.repeats,
            note: self.note.clone(),
        }
    }
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = inspection, check_for_backend(Pg))]
struct Row {
    id: Uuid,
    unit_id: Uuid,
    depot_id: Uuid,
    kind: String,
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    performed_at: Timestamp,
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    received_at: Timestamp,
    performed_by: Uuid,
    run_hours: Option<f64>,
    model_id: Uuid,
    sheet_version: i32,
    checklist_id: Uuid,
    checklist_version: i32,
    corrects: Option<Uuid>,
    note: Option<String>,
    flags: Vec<String>,
}

impl Row {
    fn inspection(self, corrected_by: Option<Uuid>) -> Result<Inspection<()>> {
        Ok(Inspection {
            id: self.id,
            unit_id: self.unit_id,
            depot_id: self.depot_id,
            kind: of_word(self.kind)?,
            performed_at: self.performed_at,
            received_at: self.received_at,
            performed_by: self.performed_by,
            run_hours: self.run_hours,
            model_id: self.model_id,
            sheet_version: self.sheet_version,
            checklist_id: self.checklist_id,
            checklist_version: self.checklist_version,
            corrects: self.corrects,
            corrected_by,
            note: self.note,
            flags: self.flags,
            readings: Vec::new(),
            rev: if corrected_by.is_some() { 2 } else { 1 },
        })
    }
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = reading, check_for_backend(Pg))]
struct ReadingRow {
    inspection_id: Uuid,
    check_code: String,
    fitted_part_id: Option<Uuid>,
    value: Option<f64>,
    entered: Option<f64>,
    unit: Option<String>,
    grade: Option<String>,
    works: Option<bool>,
    level: Option<String>,
    temperature_c: Option<f64>,
    full_charge: Option<f64>,
    repeats: i32,
    low_c: Option<f64>,
    backed_by: Option<String>,
    verdict: String,
    flags: Vec<String>,
    note: Option<String>,
}

impl ReadingRow {
    fn stored(self) -> Result<Stored> {
        Ok(Stored {
            context: Context {
                low_c: self.low_c,
                backed_by: self.backed_by.map(of_word).transpose()?,
            },
            reading: Reading {
                check: self.check_code,
                verdict: of_word(self.verdict)?,
                flags: self.flags,
                value: self.entered,
                unit: self.unit,
                value_si: self.value,
                grade: self.grade,
                works: self.works,
                level: self.level,
                temperature_c: self.temperature_c,
                full_charge: self.full_charge,
                repeats: u32::try_from(self.repeats)
                    .ok()
                    .filter(|&repeats| repeats > 1),
                fitted_part_id: self.fitted_part_id,
                note: self.note,
            },
        })
    }
}
