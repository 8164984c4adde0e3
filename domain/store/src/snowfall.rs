//! Daily snowfall of a depot: what its seasons and its possible winters are told by. Appended only; of one day, what was
//! noted last counts.

use std::collections::{BTreeMap, BTreeSet};

use diesel::QueryableByName;
use diesel::sql_types::{Array, BigInt, Date as SqlDate, Double, Nullable, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::civil::Date;
use jiff_diesel::ToDiesel;
use serde::{Deserialize, Serialize};
use serde_json::json;
use uuid::Uuid;

use crate::feed::Write;
use crate::{Error, Result, Tx, depot, fields, prepared};

/// The most days noted at once: a winter and more.
pub const DAYS_MAX: usize = 1_000;
/// Deeper than any on record in a day, mm.
const SNOWFALL_MAX_MM: f64 = 5_000.0;

/// New snow of one civil day at the depot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct SnowDay {
    /// The day.
    #[cfg_attr(feature = "schema", schema(value_type = String, format = Date))]
    pub on: Date,
    /// New snow, mm: 0 where none fell. A day that was not observed is left out.
    #[cfg_attr(feature = "schema", schema(minimum = 0, maximum = 5000))]
    pub snowfall_mm: f64,
}

/// Snowfall to be noted.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewSnowfall {
    /// 1 to 1,000 days, each once, none to come.
    pub days: Vec<SnowDay>,
}

/// How much was noted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Noted {
    /// Days.
    pub days: usize,
}

/// A day of a depot, as a table has it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct DepotDay {
    pub(crate) depot_id: Uuid,
    pub(crate) day: SnowDay,
    /// What was entered, with its unit, where that was not mm.
    pub(crate) entered: Option<(f64, String)>,
}

/// Notes the snowfall of days at a depot, and has the depot recomputed. Lock its scope.
///
/// # Errors
/// [`Error::NotFound`] for a depot that is not granted; [`Error::Invalid`] for a day named twice or to come, and for
/// snow that cannot be.
pub async fn note(tx: &mut Write<'_>, depot_id: Uuid, new: &NewSnowfall) -> Result<Noted> {
    let home = depot::find(tx, depot_id).await?;
    fields::count("days", &new.days, DAYS_MAX)?;
    if new.days.is_empty() {
        return Err(Error::invalid("days", "is empty; name at least one day"));
    }
    let zone = jiff::tz::TimeZone::get(&home.zone).map_err(Error::internal)?;
    let mut seen = BTreeSet::new();
    for (index, day) in new.days.iter().enumerate() {
        let field = |name: &str| format!("days[{index}].{name}");
        check(day, &zone, field)?;
        if !seen.insert(day.on) {
            return Err(Error::invalid(
                field("on"),
                "is named twice; name each day once",
            ));
        }
    }
    let days = new.days.iter().map(|day| DepotDay {
        depot_id,
        day: *day,
        entered: None,
    });
    note_many(tx, &days.collect::<Vec<_>>()).await?;
    Ok(Noted {
        days: new.days.len(),
    })
}

/// What no day may have. `field` names a field; `zone` is the depot's.
pub(crate) fn check(
    day: &SnowDay,
    zone: &jiff::tz::TimeZone,
    field: impl Fn(&str) -> String,
) -> Result<()> {
    fields::number(
        &field("snowfall_mm"),
        day.snowfall_mm,
        0.0..=SNOWFALL_MAX_MM,
    )?;
    if day.on > jiff::Timestamp::now().to_zoned(zone.clone()).date() {
        return Err(Error::invalid(
            field("on"),
            "is to come; note a day when it is over or under way",
        ));
    }
    if day.on.year() < 1900 {
        return Err(Error::invalid(
            field("on"),
            "must be in the year 1900 or later",
        ));
    }
    Ok(())
}

/// Notes days of depots, each checked and named once; has the depots recomputed. Lock their scopes.
pub(crate) async fn note_many(tx: &mut Write<'_>, days: &[DepotDay]) -> Result<()> {
    let person = tx.person_id()?;
    let entered = || days.iter().map(|day| day.entered.as_ref());
    prepared(
        diesel::sql_query(
            "insert into snowfall (org_id, depot_id, on_day, id, snowfall_mm, noted_by, entered, unit)
             select $1, depot_id, on_day, id, snowfall_mm, $2, entered, unit
             from unnest($3::uuid[], $4::date[], $5::uuid[], $6::float8[], $7::float8[], $8::text[])
                 as d (depot_id, on_day, id, snowfall_mm, entered, unit)",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(person)
        .bind::<Array<SqlUuid>, _>(days.iter().map(|day| day.depot_id).collect::<Vec<_>>())
        .bind::<Array<SqlDate>, _>(
            days.iter()
                .map(|day| day.day.on.to_diesel())
                .collect::<Vec<_>>(),
        )
        .bind::<Array<SqlUuid>, _>(days.iter().map(|_| Uuid::now_v7()).collect::<Vec<_>>())
        .bind::<Array<Double>, _>(
            days.iter()
                .map(|day| day.day.snowfall_mm)
                .collect::<Vec<_>>(),
        )
        .bind::<Array<Nullable<Double>>, _>(
            entered()
                .map(|entered| entered.map(|(value, _)| *value))
                .collect::<Vec<_>>(),
        )
        .bind::<Array<Nullable<Text>>, _>(
            entered()
                .map(|entered| entered.map(|(_, unit)| unit.as_str()))
                .collect::<Vec<_>>(),
        ),
    )
    .execute(&mut tx.connection())
    .await?;
    let mut by_depot: BTreeMap<Uuid, Vec<Date>> = BTreeMap::new();
    for day in days {
        by_depot.entry(day.depot_id).or_default().push(day.day.on);
    }
    for (depot_id, days) in by_depot {
        tx.mark(depot_id);
        let (first, last) = (days.iter().min(), days.iter().max());
        let what = json!({"days": days.len(), "first": first, "last": last});
        tx.audit(depot_id, "note", "snowfall", depot_id, what);
    }
    Ok(())
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct Row {
    #[diesel(sql_type = SqlDate, deserialize_as = jiff_diesel::Date)]
    on_day: Date,
    #[diesel(sql_type = Double)]
    snowfall_mm: f64,
}

/// At most `limit` days of a depot after `after`, in their order, as they count.
///
/// # Errors
/// [`Error::NotFound`] for a depot that is not granted.
pub async fn list(
    tx: &Tx<'_>,
    depot_id: Uuid,
    after: Option<Date>,
    limit: i64,
) -> Result<Vec<SnowDay>> {
    depot::find(tx, depot_id).await?;
    let rows: Vec<Row> = prepared(
        diesel::sql_query(
            "select distinct on (on_day) on_day, snowfall_mm from snowfall
             where org_id = $1 and depot_id = $2 and ($3::date is null or on_day > $3)
             order by on_day, id desc limit $4",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(depot_id)
        .bind::<Nullable<SqlDate>, _>(after.map(|date| date.to_diesel()))
        .bind::<BigInt, _>(limit),
    )
    .load(&mut tx.connection())
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| SnowDay {
            on: row.on_day,
            snowfall_mm: row.snowfall_mm,
        })
        .collect())
}
