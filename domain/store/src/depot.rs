//! Depots: the places machines stand at, with the ground they must clear. Each has a scope of its own in the feed.

use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use jiff::tz::TimeZone;
use rimeyard_rules::facts::{DesignStorm, Duty, MonthDay, Operators};
use rimeyard_rules::sheet::Work;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use uuid::Uuid;

use crate::change::{change, difference};
use crate::feed::{Write, kind};
use crate::schema::depot;
use crate::{Error, Result, Tx, fields, person};

/// A depot as readers get it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Depot {
    /// Its id.
    pub id: Uuid,
    /// Its name, unique in the organisation.
    pub name: String,
    /// IANA time zone: its days, seasons and midnights are counted in it.
    #[cfg_attr(feature = "schema", schema(example = "America/New_York"))]
    pub zone: String,
    /// Degrees north.
    pub latitude: f64,
    /// Degrees east.
    pub longitude: f64,
    /// When snow is to be expected, every year.
    pub season: Season,
    /// Snow days in a typical season, where no history says better.
    pub typical_snow_days: i32,
    /// From how much snow a day counts as a snow day, mm.
    pub snow_day_mm: f64,
    /// The storm it must be able to meet, when none is named.
    pub design_storm: DesignStorm,
    /// The ground it must clear.
    pub duties: Vec<Duty>,
    /// Operators it can put out, by kind of work.
    pub operators: Vec<Operators>,
    /// Its version; the ETag shows the same.
    pub rev: i64,
}

/// The fixed dates of a season.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Season {
    /// First day, MM-DD.
    #[cfg_attr(feature = "schema", schema(value_type = String, example = "11-15"))]
    pub starts: MonthDay,
    /// Last day, MM-DD.
    #[cfg_attr(feature = "schema", schema(value_type = String, example = "04-10"))]
    pub ends: MonthDay,
}

/// A depot to be created.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewDepot {
    /// A UUID of version 7 made by the client; made here if absent.
    #[cfg_attr(feature = "schema", schema(nullable = false))]
    pub id: Option<Uuid>,
    /// 1 to 200 characters, unique in the organisation.
    pub name: String,
    /// IANA time zone.
    #[cfg_attr(feature = "schema", schema(example = "America/New_York"))]
    pub zone: String,
    /// Degrees north.
    pub latitude: f64,
    /// Degrees east.
    pub longitude: f64,
    /// When snow is to be expected, every year.
    pub season: Season,
    /// Snow days in a typical season.
    pub typical_snow_days: i32,
    /// From how much snow a day counts as a snow day, mm.
    #[serde(default = "snow_day_mm")]
    pub snow_day_mm: f64,
    /// The storm it must be able to meet.
    pub design_storm: DesignStorm,
    /// The ground it must clear; at most 200.
    #[serde(default)]
    pub duties: Vec<Duty>,
    /// Operators it can put out, by kind of work; at most 50.
    #[serde(default)]
    pub operators: Vec<Operators>,
}

/// The threshold of snowfall climatology's "day with snow" in round SI figures (an inch); common practice.
fn snow_day_mm() -> f64 {
    25.0
}

change! {
    /// What is to change of a depot: what is absent stays.
    pub struct DepotChange of Depot {
        /// 1 to 200 characters, unique in the organisation.
        name: String,
        /// IANA time zone.
        zone: String,
        /// Degrees north.
        latitude: f64,
        /// Degrees east.
        longitude: f64,
        /// When snow is to be expected, every year.
        season: Season,
        /// Snow days in a typical season.
        typical_snow_days: i32,
        /// From how much snow a day counts as a snow day, mm.
        snow_day_mm: f64,
        /// The storm it must be able to meet.
        design_storm: DesignStorm,
        /// All the ground it must clear, in place of what was.
        duties: Vec<Duty>,
        /// All its operators, in place of what was.
        operators: Vec<Operators>,
    }
}

/// At most `limit` depots that the tenant may see, ordered by id, those after `after`. `name`: exactly so named.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    name: Option<&str>,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<Depot>> {
    let mut query = depot::table
        .filter(depot::org_id.eq(tx.org_id()))
        .select(Row::as_select())
        .order(depot::id)
        .limit(limit)
        .into_boxed();
    if let Some(granted) = tx.tenant().depots.as_filter() {
        query = query.filter(depot::id.eq_any(granted));
    }
    if let Some(after) = after {
        query = query.filter(depot::id.gt(after));
    }
    if let Some(name) = name {
        query = query.filter(depot::name.eq(name));
    }
    let rows = query.load(&mut tx.connection()).await?;
    rows.into_iter().map(Depot::try_from).collect()
}

/// One depot that the tenant may see.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<Depot> {
    if !tx.tenant().depots.contains(id) {
        return Err(Error::NotFound { what: "depot" });
    }
    let row = depot::table
        .find((tx.org_id(), id))
        .select(Row::as_select())
        .first(&mut tx.connection())
        .await?;
    Depot::try_from(row)
}

/// Creates a depot and its scope in the feed. Whoever is granted named depots only is granted the new one, too. Lock
/// the organisation's scope.
///
/// # Errors
/// [`Error::Invalid`], [`Error::Conflict`] for a name or id that is taken.
pub async fn create(tx: &mut Write<'_>, new: &NewDepot) -> Result<Depot> {
    let new = new.clone();
    let mut depot = Depot {
        id: fields::id(new.id)?,
        name: new.name,
        zone: new.zone,
        latitude: new.latitude,
        longitude: new.longitude,
        season: new.season,
        typical_snow_days: new.typical_snow_days,
        snow_day_mm: new.snow_day_mm,
        design_storm: new.design_storm,
        duties: new.duties,
        operators: new.operators,
        rev: 1,
    };
    check(&mut depot)?;
    let row = Row::new(&depot)?;
    diesel::insert_into(depot::table)
        .values((depot::org_id.eq(tx.org_id()), row))
        .execute(&mut tx.connection())
        .await?;
    tx.open_scope(depot.id).await?;
    person::grant_made(tx, depot.id).await?;
    tx.publish(depot.id, kind::DEPOT, depot.id, depot.rev, &depot)?;
    tx.mark(depot.id);
    tx.audit(depot.id, "create", kind::DEPOT, depot.id, json(&depot)?);
    Ok(depot)
}

/// Changes a depot that stands at `rev`. Lock the depot's scope.
///
/// # Errors
/// [`Error::NotFound`], [`Error::Stale`], [`Error::Invalid`], [`Error::Conflict`] for a name that is taken.
pub async fn update(tx: &mut Write<'_>, id: Uuid, rev: i64, change: &DepotChange) -> Result<Depot> {
    let mut depot = find(tx, id).await?;
    if depot.rev != rev {
        return Err(Error::Stale);
    }
    let before = json(&depot)?;
    change.apply(&mut depot);
    depot.rev += 1;
    check(&mut depot)?;
    diesel::update(depot::table.find((tx.org_id(), id)))
        .set(Row::new(&depot)?)
        .execute(&mut tx.connection())
        .await?;
    tx.publish(id, kind::DEPOT, id, depot.rev, &depot)?;
    tx.mark(id);
    tx.audit(
        id,
        "update",
        kind::DEPOT,
        id,
        difference(&before, &json(&depot)?),
    );
    Ok(depot)
}

/// What no depot may be. The zone is written as the zone database writes it.
fn check(depot: &mut Depot) -> Result<()> {
    fields::line("name", &depot.name, 1..=200)?;
    let zone = TimeZone::get(&depot.zone).ok();
    match zone.as_ref().and_then(TimeZone::iana_name) {
        Some(name) => depot.zone = name.to_owned(),
        None => {
            return Err(Error::invalid(
                "zone",
                "is not a zone of the IANA database; write it like America/New_York",
            ));
        }
    }
    fields::number("latitude", depot.latitude, -90.0..=90.0)?;
    fields::number("longitude", depot.longitude, -180.0..=180.0)?;
    fields::number(
        "typical_snow_days",
        depot.typical_snow_days.into(),
        0.0..=366.0,
    )?;
    fields::number("snow_day_mm", depot.snow_day_mm, 1.0..=1_000.0)?;
    let storm = &depot.design_storm;
    fields::number("design_storm.hours", storm.hours, 0.1..=240.0)?;
    fields::number("design_storm.depth_mm", storm.depth_mm, 1.0..=5_000.0)?;
    fields::number("design_storm.reclear_mm", storm.reclear_mm, 1.0..=5_000.0)?;
    // Up to the density of ice.
    fields::optional_number(
        "design_storm.density_kg_m3",
        storm.density_kg_m3,
        10.0..=917.0,
    )?;
    fields::optional_number(
        "design_storm.temperature_c",
        storm.temperature_c,
        -80.0..=20.0,
    )?;
    fields::optional_number("design_storm.low_c", storm.low_c, -80.0..=20.0)?;
    fields::count("duties", &depot.duties, 200)?;
    for (index, duty) in depot.duties.iter().enumerate() {
        let field = |name: &str| format!("duties[{index}].{name}");
        fields::line(&field("name"), &duty.name, 1..=200)?;
        fields::line(&field("class"), &duty.class, 1..=60)?;
        fields::number(&field("area_m2"), duty.area_m2, 0.1..=10_000_000.0)?;
        fields::number(&field("clear_within_h"), duty.clear_within_h, 0.1..=240.0)?;
        fields::optional_number(
            &field("narrowest_width_mm"),
            duty.narrowest_width_mm,
            100.0..=50_000.0,
        )?;
        match (duty.work, duty.dose_g_m2) {
            (Work::Spread, None) => {
                return Err(Error::invalid(
                    field("dose_g_m2"),
                    "is missing: how much a spreading duty asks for each time, in g/m2 (20 is a usual dose of salt)",
                ));
            }
            (Work::Spread, dose) => {
                fields::optional_number(&field("dose_g_m2"), dose, 0.1..=10_000.0)?;
            }
            (_, Some(_)) => {
                return Err(Error::invalid(
                    field("dose_g_m2"),
                    "belongs to spreading; leave it out of other work",
                ));
            }
            (_, None) => {}
        }
    }
    Operators::check(&depot.operators)
        .map_err(|fault| Error::invalid(fault.field, fault.problem))?;
    Ok(())
}

fn json(value: &impl Serialize) -> Result<Value> {
    serde_json::to_value(value).map_err(Error::internal)
}

/// The depot as the table holds it.
#[derive(Queryable, Selectable, Insertable, AsChangeset)]
#[diesel(table_name = depot, check_for_backend(diesel::pg::Pg))]
struct Row {
    id: Uuid,
    name: String,
    zone: String,
    latitude: f64,
    longitude: f64,
    season_starts: String,
    season_ends: String,
    typical_snow_days: i32,
    snow_day_mm: f64,
    design_storm: Value,
    duties: Value,
    operators: Value,
    rev: i64,
}

impl Row {
    fn new(depot: &Depot) -> Result<Self> {
        Ok(Row {
            id: depot.id,
            name: depot.name.clone(),
            zone: depot.zone.clone(),
            latitude: depot.latitude,
            longitude: depot.longitude,
            season_starts: depot.season.starts.to_string(),
            season_ends: depot.season.ends.to_string(),
            typical_snow_days: depot.typical_snow_days,
            snow_day_mm: depot.snow_day_mm,
            design_storm: json(&depot.design_storm)?,
            duties: json(&depot.duties)?,
            operators: json(&depot.operators)?,
            rev: depot.rev,
        })
    }
}

impl TryFrom<Row> for Depot {
    type Error = Error;

    fn try_from(row: Row) -> Result<Self> {
        Ok(Depot {
            id: row.id,
            name: row.name,
            zone: row.zone,
            latitude: row.latitude,
            longitude: row.longitude,
            season: Season {
                starts: MonthDay::parse(&row.season_starts).map_err(Error::internal)?,
                ends: MonthDay::parse(&row.season_ends).map_err(Error::internal)?,
            },
            typical_snow_days: row.typical_snow_days,
            snow_day_mm: row.snow_day_mm,
            design_storm: serde_json::from_value(row.design_storm).map_err(Error::internal)?,
            duties: serde_json::from_value(row.duties).map_err(Error::internal)?,
            operators: serde_json::from_value(row.operators).map_err(Error::internal)?,
            rev: row.rev,
        })
    }
}
