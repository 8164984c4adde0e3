//! Readings of the hour meter, and word of starts. Facts: never changed, corrected by a later one that names the one it
//! corrects. What contradicts others is kept and flagged ([`crate::doubt`]).

use diesel::prelude::*;
use diesel::sql_types::{Array, Bool, Double, Nullable, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff_diesel::ToDiesel;
use rimeyard_rules::Invalid;
use serde::{Deserialize, Serialize};
use serde_json::json;
use uuid::Uuid;

use crate::correction::{self, Fact};
use crate::doubt::{self, Said};
use crate::feed::{Write, kind};
use crate::granted::granted;
use crate::machine::{self, machines, named};
use crate::schema::meter_reading;
use crate::{Error, Result, Tx, clock, fields, prepared};

/// A reading of the hour meter, or word of a start, as readers get it.
#[derive(Debug, Clone, PartialEq, Serialize, Queryable)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct MeterReading {
    /// Its id.
    pub id: Uuid,
    /// The unit.
    pub unit_id: Uuid,
    /// Where the unit stood when the reading was received.
    pub depot_id: Uuid,
    /// When it was read.
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    pub read_at: Timestamp,
    /// When it was received.
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    pub received_at: Timestamp,
    /// By whom: a person.
    pub read_by: Uuid,
    /// Running hours on the meter.
    pub run_hours: Option<f64>,
    /// Whether the hours are a person's estimate (a dead meter).
    pub estimated: bool,
    /// Whether the meter was replaced then: the hours are those that the new one began with.
    pub meter_replaced: bool,
    /// Whether it started; null where nobody tried.
    pub started: Option<bool>,
    /// The reading that this one corrects.
    pub corrects: Option<Uuid>,
    /// The reading that corrects this one: then this one no longer counts.
    pub corrected_by: Option<Uuid>,
    /// A word with it.
    pub note: Option<String>,
    /// `suspect` where it contradicts other facts, with the reason beside it.
    pub flags: Vec<String>,
    /// Its version: 2 once it is corrected.
    pub rev: i64,
}

/// A reading of the hour meter, or word of a start, to be recorded: hours, a start, or both.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewMeterReading {
    /// A UUID of version 7 made by the client; made here if absent.
    #[cfg_attr(feature = "schema", schema(nullable = false))]
    pub id: Option<Uuid>,
    /// The unit.
    pub unit_id: Uuid,
    /// When it was read.
    pub read_at: Timestamp,
    /// Running hours on the meter, 0 to 100,000.
    pub run_hours: Option<f64>,
    /// Whether the hours are an estimate (a dead meter).
    #[serde(default)]
    pub estimated: bool,
    /// Whether the meter was replaced then: `run_hours` are those that the new one began with, and the machine's hours
    /// are counted on. What the old one showed is a reading of its own, before.
    #[serde(default)]
    pub meter_replaced: bool,
    /// Whether it started; absent or null where nobody tried.
    pub started: Option<bool>,
    /// A word with it: at most 2,000 characters.
    pub note: Option<String>,
    /// The reading of the same unit that this one corrects.
    pub corrects: Option<Uuid>,
}

/// Which readings; what is absent does not narrow.
#[derive(Debug, Clone, Copy, Default)]
pub struct Filter {
    /// Of this unit.
    pub unit_id: Option<Uuid>,
    /// Received while the unit stood at this depot.
    pub depot_id: Option<Uuid>,
    /// Read at this instant or later.
    pub read_from: Option<Timestamp>,
    /// Read before this instant.
    pub read_to: Option<Timestamp>,
}

/// At most `limit` readings that the tenant may see, ordered by id, those after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    filter: Filter,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<MeterReading>> {
    select(
        tx,
        Which {
            filter,
            after,
            ids: None,
        },
        limit,
    )
    .await
}

/// One reading that the tenant may see.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<MeterReading> {
    let found = select(
        tx,
        Which {
            ids: Some(&[id]),
            ..Which::default()
        },
        1,
    )
    .await?
    .pop();
    found.ok_or(Error::NotFound {
        what: "meter reading",
    })
}

/// Which rows.
#[derive(Default)]
struct Which<'a> {
    filter: Filter,
    after: Option<Uuid>,
    ids: Option<&'a [Uuid]>,
}

async fn select(tx: &Tx<'_>, which: Which<'_>, limit: i64) -> Result<Vec<MeterReading>> {
    let correction = diesel::alias!(meter_reading as correction);
    let corrects_it = correction
        .field(meter_reading::org_id)
        .eq(meter_reading::org_id)
        .and(
            correction
                .field(meter_reading::corrects)
                .eq(meter_reading::id.nullable()),
        );
    let mut query = meter_reading::table
        .left_join(correction.on(corrects_it))
        .filter(meter_reading::org_id.eq(tx.org_id()))
        .into_boxed();
    granted!(query, tx, meter_reading);
    let Which { filter, after, ids } = which;
    if let Some(ids) = ids {
        query = query.filter(meter_reading::id.eq_any(ids));
    }
    if let Some(unit_id) = filter.unit_id {
        query = query.filter(meter_reading::unit_id.eq(unit_id));
    }
    if let Some(depot_id) = filter.depot_id {
        query = query.filter(meter_reading::depot_id.eq(depot_id));
    }
    if let Some(from) = filter.read_from {
        query = query.filter(meter_reading::read_at.ge(from.to_diesel()));
    }
    if let Some(to) = filter.read_to {
        query = query.filter(meter_reading::read_at.lt(to.to_diesel()));
    }
    if let Some(after) = after {
        query = query.filter(meter_reading::id.gt(after));
    }
    let corrected_by = correction.field(meter_reading::id).nullable();
    let rev =
        diesel::dsl::case_when::<_, _, diesel::sql_types::BigInt>(corrected_by.is_null(), 1_i64)
            .otherwise(2_i64);
    let query = query
        .select((
            meter_reading::id,
            meter_reading::unit_id,
            meter_reading::depot_id,
            meter_reading::read_at,
            meter_reading::received_at,
            meter_reading::read_by,
            meter_reading::run_hours,
            meter_reading::estimated,
            meter_reading::meter_replaced,
            meter_reading::started,
            meter_reading::corrects,
            corrected_by,
            meter_reading::note,
            meter_reading::flags,
            rev,
        ))
        .order(meter_reading::id)
        .limit(limit);
    Ok(query.load(&mut tx.connection()).await?)
}

/// The scopes to lock before these are recorded: those of the depots their units stand at, and of what they correct.
///
/// # Errors
/// [`Error::Invalid`] for a unit or a corrected reading that is not there, or not for this tenant; the field begins
/// with the place in the list: `[0].unit_id`.
pub async fn scopes(tx: &Tx<'_>, new: &[NewMeterReading]) -> Result<Vec<Uuid>> {
    let units: Vec<Uuid> = new.iter().map(|new| new.unit_id).collect();
    let mut scopes = machine::scopes_of(tx, &units, |index| format!("[{index}].unit_id")).await?;
    scopes.extend(
        corrected(tx, new)
            .await?
            .into_iter()
            .map(|reading| reading.depot_id),
    );
    Ok(scopes)
}

/// Records one reading. Lock its [`scopes`].
///
/// # Errors
/// As [`record_many`], the fields named without the place in the list.
pub async fn record(tx: &mut Write<'_>, new: &NewMeterReading) -> Result<MeterReading> {
    let recorded = record_many(tx, std::slice::from_ref(new))
        .await
        .map_err(|error| error.of_the_first())?;
    recorded
        .into_iter()
        .next()
        .ok_or_else(|| Error::internal("one reading was given and none recorded"))
}

/// Records readings, hundreds at a time if need be; the person is the tenant. Lock their [`scopes`].
///
/// # Errors
/// [`Error::Invalid`] for what is impossible in itself and for ids that are not there; the field begins with the place
/// in the list: `[3].run_hours`. [`Error::Conflict`] for an id that is taken or a reading that is corrected already.
pub async fn record_many(tx: &mut Write<'_>, new: &[NewMeterReading]) -> Result<Vec<MeterReading>> {
    let received_at = clock::now();
    let read_by = tx.person_id()?;
    let unit_ids: Vec<Uuid> = new.iter().map(|new| new.unit_id).collect();
    let (machines, corrected) = futures::try_join!(machines(tx, &unit_ids), corrected(tx, new))?;
    let mut recorded = Vec::with_capacity(new.len());
    let mut said = Vec::with_capacity(new.len());
    for (index, new) in new.iter().enumerate() {
        let at = |field: &str| Invalid::new(field, "").within(&format!("[{index}]")).field;
        check(new, at)?;
        let machine = named(tx, &machines, new.unit_id, &at("unit_id"))?;
        let reading = MeterReading {
            id: fields::id(new.id).map_err(|error| error.within(&format!("[{index}]")))?,
            unit_id: new.unit_id,
            depot_id: machine.depot_id,
            read_at: fields::instant(&at("read_at"), new.read_at)?,
            received_at,
            read_by,
            run_hours: new.run_hours,
            estimated: new.estimated,
            meter_replaced: new.meter_replaced,
            started: new.started,
            corrects: new.corrects,
            corrected_by: None,
            note: new.note.clone(),
            flags: Vec::new(),
            rev: 1,
        };
        said.push(Said {
            machine,
            at: reading.read_at,
            run_hours: reading.run_hours,
            estimated: reading.estimated,
            meter_replaced: reading.meter_replaced,
        });
        recorded.push(reading);
    }
    let replaced: Vec<Uuid> = corrected.iter().map(|reading| reading.id).collect();
    let flags = doubt::flags(tx, &said, received_at, &replaced).await?;
    for (reading, flags) in recorded.iter_mut().zip(flags) {
        reading.flags = flags;
    }
    insert(tx, &recorded).await?;
    publish(tx, &recorded, corrected)?;
    Ok(recorded)
}

/// What is impossible in itself. `at` names a field.
pub(crate) fn check(new: &NewMeterReading, at: impl Fn(&str) -> String) -> Result<()> {
    if new.run_hours.is_none() && new.started.is_none() {
        return Err(Error::invalid(
            at("run_hours"),
            "or started must be given: a reading says the hours, or whether it started",
        ));
    }
    if new.estimated && new.run_hours.is_none() {
        return Err(Error::invalid(
            at("estimated"),
            "says that run_hours is an estimate; give run_hours, or leave it out",
        ));
    }
    if new.meter_replaced && (new.run_hours.is_none() || new.estimated) {
        return Err(Error::invalid(
            at("meter_replaced"),
            "needs run_hours as the new meter showed them when it was fitted, not an estimate",
        ));
    }
    fields::optional_number(&at("run_hours"), new.run_hours, fields::RUN_HOURS)?;
    new.note
        .as_deref()
        .map_or(Ok(()), |note| fields::lines(&at("note"), note, 0..=2_000))
}

impl Fact for MeterReading {
    fn id(&self) -> Uuid {
        self.id
    }

    fn unit_id(&self) -> Uuid {
        self.unit_id
    }

    fn corrected_by(&self) -> Option<Uuid> {
        self.corrected_by
    }
}

/// The readings that these correct.
///
/// # Errors
/// Those of [`correction::check`].
async fn corrected(tx: &Tx<'_>, new: &[NewMeterReading]) -> Result<Vec<MeterReading>> {
    let ids: Vec<Uuid> = new.iter().filter_map(|new| new.corrects).collect();
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    let which = Which {
        ids: Some(&ids),
        ..Which::default()
    };
    let old = select(tx, which, i64::MAX).await?;
    correction::check(new.iter().map(|new| (new.unit_id, new.corrects)), &old)?;
    Ok(old)
}

async fn insert(tx: &Tx<'_>, recorded: &[MeterReading]) -> Result<()> {
    prepared(
        diesel::sql_query(
            "insert into meter_reading (org_id, id, unit_id, depot_id, read_at, received_at, read_by, run_hours,
                                        estimated, meter_replaced, started, corrects, note, flags)
             select $1, id, unit_id, depot_id, read_at, received_at, read_by, run_hours, estimated, meter_replaced,
                    started, corrects, note, string_to_array(flags, ',')
             from unnest($2::uuid[], $3::uuid[], $4::uuid[], $5::timestamptz[], $6::timestamptz[], $7::uuid[],
                         $8::float8[], $9::boolean[], $10::boolean[], $11::uuid[], $12::text[], $13::text[],
                         $14::boolean[])
                 as n (id, unit_id, depot_id, read_at, received_at, read_by, run_hours, estimated, started, corrects,
                       note, flags, meter_replaced)",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(column(recorded, |reading| reading.id))
        .bind::<Array<SqlUuid>, _>(column(recorded, |reading| reading.unit_id))
        .bind::<Array<SqlUuid>, _>(column(recorded, |reading| reading.depot_id))
        .bind::<Array<Timestamptz>, _>(column(recorded, |reading| reading.read_at.to_diesel()))
        .bind::<Array<Timestamptz>, _>(column(recorded, |reading| reading.received_at.to_diesel()))
        .bind::<Array<SqlUuid>, _>(column(recorded, |reading| reading.read_by))
        .bind::<Array<Nullable<Double>>, _>(column(recorded, |reading| reading.run_hours))
        .bind::<Array<Bool>, _>(column(recorded, |reading| reading.estimated))
        .bind::<Array<Nullable<Bool>>, _>(column(recorded, |reading| reading.started))
        .bind::<Array<Nullable<SqlUuid>>, _>(column(recorded, |reading| reading.corrects))
        .bind::<Array<Nullable<Text>>, _>(column(recorded, |reading| reading.note.clone()))
        .bind::<Array<Text>, _>(column(recorded, |reading| reading.flags.join(",")))
        .bind::<Array<Bool>, _>(column(recorded, |reading| reading.meter_replaced)),
    )
    .execute(&mut tx.connection())
    .await?;
    Ok(())
}

fn column<T>(recorded: &[MeterReading], value: impl Fn(&MeterReading) -> T) -> Vec<T> {
    recorded.iter().map(value).collect()
}

fn publish(
    tx: &mut Write<'_>,
    recorded: &[MeterReading],
    corrected: Vec<MeterReading>,
) -> Result<()> {
    for mut old in corrected {
        old.corrected_by = recorded
            .iter()
            .find(|new| new.corrects == Some(old.id))
            .map(|new| new.id);
        old.rev = 2;
        tx.must_hold(old.depot_id)?;
        tx.publish(old.depot_id, kind::METER_READING, old.id, old.rev, &old)?;
    }
    for reading in recorded {
        tx.publish(
            reading.depot_id,
            kind::METER_READING,
            reading.id,
            reading.rev,
            reading,
        )?;
        tx.mark(reading.depot_id);
        let detail = json!({
            "unit_id": reading.unit_id,
            "run_hours": reading.run_hours,
            "meter_replaced": reading.meter_replaced,
            "started": reading.started,
            "corrects": reading.corrects,
            "flags": reading.flags,
        });
        tx.audit(
            reading.depot_id,
            "record",
            kind::METER_READING,
            reading.id,
            detail,
        );
    }
    Ok(())
}
