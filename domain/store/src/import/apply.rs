//! Applying an import: a few hundred objects at a time, in the order of their places (facts by time), through the same
//! writers as everything else.

use diesel::QueryableByName;
use diesel::sql_types::{BigInt, Binary, Double, Integer, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use rimeyard_rules::table::What;
use uuid::Uuid;

use super::inspections::InspectionRow;
use super::item::{faults_of, object_id, object_of};
use super::step::{Work, halted};
use super::stock::StockRow;
use super::{Fault, Step, fault};
use crate::feed::{self, DOCUMENTS_MAX, Write};
use crate::inspection::{self, NewInspection};
use crate::meter_reading::{self, NewMeterReading};
use crate::part::{self, NewPart};
use crate::snowfall::{self, DepotDay};
use crate::stock::{self, NewStockMove};
use crate::unit::{self, NewUnit};
use crate::{Database, Error, Result, Tenant, Tx, prepared, sheet};

/// Rows that are fetched at a time.
const ROWS: usize = 4_000;
/// Bytes that one piece may publish, as estimated: beneath what a commit may.
const BYTES: usize = 800 * 1024;
/// Documents that one piece may publish, as estimated.
const DOCUMENTS: usize = DOCUMENTS_MAX - 20;
/// So often a piece looks for where its machines stand.
const LOOKS_MAX: u32 = 3;

/// An object to be made, of one row or several.
#[derive(Clone)]
struct Object {
    new: New,
    row: i32,
    rows: usize,
    last: Vec<u8>,
    documents: usize,
    bytes: usize,
}

#[derive(Clone)]
enum New {
    Unit(NewUnit),
    Inspection(NewInspection),
    MeterReading(NewMeterReading),
    Day(DepotDay),
    Part(NewPart),
    Move(StockRow),
}

pub(super) async fn chunk(database: &Database, tenant: &Tenant, work: &Work) -> Result<Step> {
    let objects = database
        .read(tenant, async |tx| {
            let mut objects = objects(work, load(tx, work).await?)?;
            count_parts(tx, &mut objects).await?;
            Ok(objects)
        })
        .await?;
    if objects.is_empty() {
        return finish(database, tenant, work).await;
    }
    let mut piece = fitting(&objects);
    loop {
        let error = match write(database, tenant, work, piece).await {
            Ok(()) => return Ok(Step::On(piece.iter().map(|object| object.rows).sum())),
            Err(error) => error,
        };
        let is_of_the_rows = matches!(
            error,
            Error::Invalid { .. }
                | Error::Conflict { .. }
                | Error::Faults(_)
                | Error::NotFound { .. }
                | Error::Forbidden
        );
        match piece {
            _ if !is_of_the_rows => return Err(error),
            // What was checked no longer fits, or publishes more than was thought: which it is, halves tell.
            [_, _, ..] => piece = &piece[..piece.len() / 2],
            [only] => return refuse(database, tenant, work, only.row, error).await,
            [] => return Err(error),
        }
    }
}

#[derive(QueryableByName)]
struct Stored {
    #[diesel(sql_type = Binary)]
    place: Vec<u8>,
    #[diesel(sql_type = Integer, column_name = row)]
    number: i32,
    #[diesel(sql_type = Text)]
    content: String,
}

/// What comes next, by place; of the last object all rows.
async fn load(tx: &Tx<'_>, work: &Work) -> Result<Vec<Stored>> {
    let mut rows: Vec<Stored> = prepared(
        diesel::sql_query(
            "select place, row, content from import_item
             where org_id = $1 and import_id = $2 and place > $3 order by place limit $4",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(work.claim.id)
        .bind::<Binary, _>(&work.applied_to)
        .bind::<BigInt, _>(ROWS as i64),
    )
    .load(&mut tx.connection())
    .await?;
    if rows.len() == ROWS && work.what == What::Inspections {
        // The last one may go on. It is left for the next piece, which begins with it.
        let last = rows.last().map(|row| object_of(&row.place).to_vec());
        rows.retain(|row| Some(object_of(&row.place)) != last.as_deref());
    }
    Ok(rows)
}

fn objects(work: &Work, rows: Vec<Stored>) -> Result<Vec<Object>> {
    let mut objects: Vec<Object> = Vec::with_capacity(rows.len());
    let mut inspection: Vec<u8> = Vec::new();
    for Stored {
        place,
        number: row,
        content,
    } in rows
    {
        let id = Some(object_id(work.claim.id, row));
        let of_json = |error: serde_json::Error| Error::internal(error);
        let mut bytes = content.len() + 400;
        let mut documents = 1;
        let new = match work.what {
            What::Units => {
                let new = serde_json::from_str::<NewUnit>(&content).map_err(of_json)?;
                New::Unit(NewUnit { id, ..new })
            }
            What::MeterReadings => {
                let new = serde_json::from_str::<NewMeterReading>(&content).map_err(of_json)?;
                New::MeterReading(NewMeterReading { id, ..new })
            }
            What::Snowfall => {
                documents = 0;
                New::Day(serde_json::from_str(&content).map_err(of_json)?)
            }
            What::Parts => {
                let new = serde_json::from_str::<NewPart>(&content).map_err(of_json)?;
                New::Part(NewPart { id, ..new })
            }
            What::Stock => {
                // Its level, and that of the shelf they arrive at.
                documents = 2;
                let mut row = serde_json::from_str::<StockRow>(&content).map_err(of_json)?;
                row.new.id = id;
                New::Move(row)
            }
            What::Inspections => {
                let read: InspectionRow = serde_json::from_str(&content).map_err(of_json)?;
                bytes += 500 * read.follows;
                if inspection == object_of(&place)
                    && let Some(object) = objects.last_mut()
                    && let New::Inspection(new) = &mut object.new
                {
                    new.run_hours = new.run_hours.or(read.run_hours);
                    new.note = new.note.take().or(read.note);
                    new.readings.extend(read.reading);
                    object.rows += 1;
                    object.last = place;
                    object.documents += read.follows;
                    object.bytes += bytes - 200;
                    continue;
                }
                inspection = object_of(&place).to_vec();
                documents += read.follows;
                New::Inspection(NewInspection {
                    id,
                    unit_id: read.unit_id,
                    kind: read.kind,
                    performed_at: read.performed_at,
                    run_hours: read.run_hours,
                    readings: read.reading.into_iter().collect(),
                    note: read.note,
                    corrects: None,
                })
            }
        };
        objects.push(Object {
            new,
            row,
            rows: 1,
            last: place,
            documents,
            bytes,
        });
    }
    Ok(objects)
}

/// A machine comes with the parts of its sheet.
async fn count_parts(tx: &Tx<'_>, objects: &mut [Object]) -> Result<()> {
    let models: Vec<Uuid> = objects
        .iter()
        .filter_map(|object| match &object.new {
            New::Unit(new) => Some(new.model_id),
            _ => None,
        })
        .collect();
    if models.is_empty() {
        return Ok(());
    }
    let sheets = sheet::present(tx, &models).await?;
    for object in objects {
        if let New::Unit(new) = &object.new {
            let parts = sheets
                .get(&new.model_id)
                .map_or(0, |sheet| sheet.parts.len());
            object.documents += parts;
            object.bytes += 400 * parts;
        }
    }
    Ok(())
}

/// As many as one commit can publish.
fn fitting(objects: &[Object]) -> &[Object] {
    let (mut documents, mut bytes) = (0, 0);
    let shelf = |object: &Object| match &object.new {
        New::Move(row) => Some(row.depot_id),
        _ => None,
    };
    let first = objects.first().and_then(shelf);
    let fit = objects.iter().take_while(|object| {
        // Movements are booked shelf by shelf.
        if shelf(object) != first {
            return false;
        }
        documents += object.documents;
        bytes += object.bytes;
        documents <= DOCUMENTS && bytes <= BYTES
    });
    &objects[..fit.count().max(1)]
}

/// One piece: its objects and the cursor, in one transaction.
async fn write(database: &Database, tenant: &Tenant, work: &Work, piece: &[Object]) -> Result<()> {
    let (mut units, mut inspections, mut readings) = (vec![], vec![], vec![]);
    let (mut days, mut parts, mut moves) = (vec![], vec![], vec![]);
    for object in piece {
        match object.new.clone() {
            New::Unit(new) => units.push(new),
            New::Inspection(new) => inspections.push(new),
            New::MeterReading(new) => readings.push(new),
            New::Day(day) => days.push(day),
            New::Part(new) => parts.push(new),
            New::Move(row) => moves.push(row),
        }
    }
    let shelf = moves
        .as_slice()
        .first()
        .map_or(Uuid::nil(), |row: &StockRow| row.depot_id);
    let moves: Vec<NewStockMove> = moves.into_iter().map(|row| row.new).collect();
    let mut looks = 0;
    loop {
        let scopes = database
            .read(tenant, async |tx| match work.what {
                What::Units => unit::scopes_of_new(tx, &units).await,
                What::Inspections => inspection::scopes(tx, &inspections).await,
                What::MeterReadings => meter_reading::scopes(tx, &readings).await,
                What::Snowfall => scopes_of_days(tx, &days),
                What::Parts => Ok(vec![tx.org_id()]),
                What::Stock => stock::scopes(tx, shelf, &moves).await,
            })
            .await?;
        looks += 1;
        let written = feed::write(database, tenant, &scopes, async |tx| {
            match work.what {
                What::Units => drop(unit::create_many(tx, &units).await?),
                What::Inspections => drop(inspection::record_many(tx, &inspections).await?),
                What::MeterReadings => drop(meter_reading::record_many(tx, &readings).await?),
                What::Snowfall => snowfall::note_many(tx, &days).await?,
                What::Parts => drop(part::create_many(tx, &parts).await?),
                What::Stock => drop(stock::record_many(tx, shelf, &moves).await?),
            }
            advance(tx, work, piece).await
        })
        .await;
        match written {
            // A machine was moved between the look and the lock.
            Err(Error::Moved) if looks < LOOKS_MAX => {}
            outcome => return outcome,
        }
    }
}

fn scopes_of_days(tx: &Tx<'_>, days: &[DepotDay]) -> Result<Vec<Uuid>> {
    let granted = |day: &DepotDay| {
        if tx.tenant().depots.contains(day.depot_id) {
            Ok(day.depot_id)
        } else {
            Err(Error::no_such("depot_id"))
        }
    };
    days.iter().map(granted).collect()
}

async fn advance(tx: &Write<'_>, work: &Work, piece: &[Object]) -> Result<()> {
    let rows: usize = piece.iter().map(|object| object.rows).sum();
    let to = piece.last().map_or(&[][..], |object| &object.last);
    let advanced = prepared(
        diesel::sql_query(
            "update import set applied_to = $5, applied_count = applied_count + $6, changed_at = now(), attempts = 0,
                 retry_at = null, leased_until = now() + make_interval(secs => $7)
             where org_id = $1 and id = $2 and lease_token = $3 and state = 'applying' and applied_to = $4",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(work.claim.id)
        .bind::<SqlUuid, _>(work.claim.lease_token)
        .bind::<Binary, _>(&work.applied_to)
        .bind::<Binary, _>(to)
        .bind::<Integer, _>(i32::try_from(rows).unwrap_or(i32::MAX))
        .bind::<Double, _>(work.lease.as_secs_f64()),
    )
    .execute(&mut tx.connection())
    .await?;
    if advanced == 1 {
        Ok(())
    } else {
        Err(Error::Stale)
    }
}

async fn finish(database: &Database, tenant: &Tenant, work: &Work) -> Result<Step> {
    feed::write(database, tenant, &[], async |tx| {
        let finished = prepared(
            diesel::sql_query(
                "update import set state = 'applied', applied_at = now(), changed_at = now(), attempts = 0, retry_at = null
                 where org_id = $1 and id = $2 and lease_token = $3 and state = 'applying'",
            )
            .bind::<SqlUuid, _>(tx.org_id())
            .bind::<SqlUuid, _>(work.claim.id)
            .bind::<SqlUuid, _>(work.claim.lease_token),
        )
        .execute(&mut tx.connection())
        .await?;
        if finished == 1 { Ok(()) } else { Err(Error::Stale) }
    })
    .await?;
    Ok(Step::Done)
}

/// A row that no longer fits: it is named, and the import waits.
async fn refuse(
    database: &Database,
    tenant: &Tenant,
    work: &Work,
    row: i32,
    error: Error,
) -> Result<Step> {
    let faults: Vec<Fault> = match error {
        Error::NotFound { what } => vec![Fault {
            number: row,
            field: String::new(),
            problem: format!("names a {what} that is no longer there"),
        }],
        Error::Forbidden => vec![Fault {
            number: row,
            field: String::new(),
            problem: "is for somebody else to do".to_owned(),
        }],
        error => faults_of(error)?
            .into_iter()
            .map(|fault| Fault {
                number: row,
                field: fault.field,
                problem: fault.problem,
            })
            .collect(),
    };
    let because = format!(
        "row {row} no longer fits what is stored; the rows before it in the order of applying stand. Put right what its fault says, and apply it again"
    );
    feed::write(database, tenant, &[], async |tx| {
        fault::insert(tx, work.claim.id, &faults).await?;
        halted(tx, work, &because, faults.len()).await
    })
    .await?;
    Ok(Step::Done)
}
