//! The first round: depots, their units, and the sheets those are of.

use std::collections::BTreeMap;

use diesel::QueryableByName;
use diesel::sql_types::{
    Array, Bool, Date, Double, Integer, Nullable, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use rimeyard_rules::facts::{DepotFacts, MonthDay, Settings, UnitFacts};
use rimeyard_rules::learn::{Learned, teach_alike};
use rimeyard_rules::sheet::Sheet;
use rimeyard_rules::snowfall::DailySnowfall;
use serde::de::DeserializeOwned;
use uuid::Uuid;

use crate::json::of_word;
use crate::prepared::prepared;
use crate::{Error, Result, Tx};

/// The present sheet of each model, and what was learned if it holds on that, by model.
pub(super) type Sheets = BTreeMap<Uuid, (Sheet, Option<Learned>)>;

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct DepotRow {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Text)]
    name: String,
    #[diesel(sql_type = Text)]
    zone: String,
    #[diesel(sql_type = Text)]
    season_starts: String,
    #[diesel(sql_type = Text)]
    season_ends: String,
    #[diesel(sql_type = Integer)]
    typical_snow_days: i32,
    #[diesel(sql_type = Double)]
    snow_day_mm: f64,
    #[diesel(sql_type = Array<Date>)]
    snow_dates: Vec<jiff_diesel::Date>,
    #[diesel(sql_type = Array<Double>)]
    snowfall_mm: Vec<f64>,
    #[diesel(sql_type = Text)]
    design_storm: String,
    #[diesel(sql_type = Text)]
    duties: String,
    #[diesel(sql_type = Text)]
    operators: String,
}

/// The depots, without storms, sheets and units.
pub(super) async fn depots(tx: &Tx<'_>, depot_ids: &[Uuid]) -> Result<BTreeMap<Uuid, DepotFacts>> {
    let rows: Vec<DepotRow> = prepared(
        diesel::sql_query(
            "select id, name, zone, season_starts, season_ends, typical_snow_days, snow_day_mm,
                    coalesce(snow_dates, '{}') as snow_dates, coalesce(snowfall_mm, '{}') as snowfall_mm,
                    design_storm::text, duties::text, operators::text
             from depot d left join lateral (
                 select array_agg(on_day order by on_day) as snow_dates, array_agg(s.snowfall_mm order by on_day) as snowfall_mm
                 from (
                     select distinct on (on_day) on_day, snowfall_mm from snowfall
                     where org_id = $1 and depot_id = d.id order by on_day, id desc
                 ) s
             ) fallen on true
             where org_id = $1 and id = any($2)",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(depot_ids),
    )
    .load(&mut tx.connection())
    .await?;
    rows.into_iter()
        .map(|row| Ok((row.id, row.facts()?)))
        .collect()
}

impl DepotRow {
    fn facts(self) -> Result<DepotFacts> {
        let id = self.id;
        let unreadable = |column: &str, cause: &dyn std::fmt::Display| {
            Error::internal(format!("{column} of depot {id} cannot be read: {cause}"))
        };
        let day = |column: &str, text: &str| {
            MonthDay::parse(text).map_err(|error| unreadable(column, &error))
        };
        Ok(DepotFacts {
            id,
            zone: TimeZone::get(&self.zone).map_err(|error| unreadable("zone", &error))?,
            season_starts: day("season_starts", &self.season_starts)?,
            season_ends: day("season_ends", &self.season_ends)?,
            typical_snow_days: u32::try_from(self.typical_snow_days)
                .map_err(|error| unreadable("typical_snow_days", &error))?,
            snow_day_mm: self.snow_day_mm,
            snowfall: self
                .snow_dates
                .into_iter()
                .zip(self.snowfall_mm)
                .map(|(on, snowfall_mm)| DailySnowfall {
                    on: on.to_jiff(),
                    snowfall_mm,
                })
                .collect(),
            design_storm: json(&self.design_storm)
                .map_err(|error| unreadable("design_storm", &error))?,
            duties: json(&self.duties).map_err(|error| unreadable("duties", &error))?,
            operators: json(&self.operators).map_err(|error| unreadable("operators", &error))?,
            name: self.name,
            storms: Vec::new(),
            orders: Vec::new(),
            wanted: Vec::new(),
            alerts: Vec::new(),
            sheets: BTreeMap::new(),
            learned: BTreeMap::new(),
            units: Vec::new(),
            settings: Settings::default(),
        })
    }
}

fn json<T: DeserializeOwned>(text: &str) -> serde_json::Result<T> {
    serde_json::from_str(text)
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
pub(super) struct UnitRow {
    #[diesel(sql_type = SqlUuid)]
    pub(super) id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub(super) depot_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub(super) model_id: Uuid,
    #[diesel(sql_type = Text)]
    tag: String,
    #[diesel(sql_type = Text)]
    rigging: String,
    #[diesel(sql_type = Nullable<Text>)]
    away: Option<String>,
    #[diesel(sql_type = Nullable<Date>, deserialize_as = jiff_diesel::NullableDate)]
    acquired_on: Option<jiff::civil::Date>,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    kept_since: Timestamp,
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = jiff_diesel::NullableTimestamp)]
    pub(super) retired_at: Option<Timestamp>,
}

/// The depots' units that are in use, or all.
pub(super) async fn units(tx: &Tx<'_>, depot_ids: &[Uuid], all: bool) -> Result<Vec<UnitRow>> {
    Ok(prepared(
        diesel::sql_query(
            "select id, depot_id, model_id, tag, rigging, away, acquired_on, retired_at,
                    least(created_at,
                          (select min(took_effect_at) from inspection i where i.org_id = u.org_id and i.unit_id = u.id
                             and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)),
                          (select min(took_effect_at) from meter_reading m where m.org_id = u.org_id and m.unit_id = u.id
                             and not exists (select from meter_reading c where c.org_id = m.org_id and c.corrects = m.id))
                    ) as kept_since
             from unit u where org_id = $1 and depot_id = any($2) and ($3 or retired_at is null) order by id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(depot_ids)
        .bind::<Bool, _>(all),
    )
    .load(&mut tx.connection())
    .await?)
}

impl UnitRow {
    /// The unit, with nothing known of its history yet.
    pub(super) fn facts(self) -> Result<UnitFacts> {
        Ok(UnitFacts {
            id: self.id,
            rigging: of_word(self.rigging)?,
            model: self.model_id,
            tag: self.tag,
            away: self.away,
            acquired_on: self.acquired_on,
            kept_since: Some(self.kept_since),
            holds: Vec::new(),
            findings: Vec::new(),
            limited_uses: Vec::new(),
            inspections: Vec::new(),
            starts: Vec::new(),
            start_checks: Vec::new(),
            meter: Vec::new(),
            parts: Vec::new(),
            latest: Vec::new(),
            tasks_done: Vec::new(),
            deferrals: Vec::new(),
        })
    }
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct SheetRow {
    #[diesel(sql_type = SqlUuid)]
    model_id: Uuid,
    #[diesel(sql_type = Text)]
    content: String,
    #[diesel(sql_type = Nullable<Text>)]
    learned: Option<String>,
    /// The sheet that it was learned on, where that is another.
    #[diesel(sql_type = Nullable<Text>)]
    learned_on: Option<String>,
}

/// The present sheets of the models of the depots' units, those in use or all, each with the newest of what was learned:
/// unless the sheet has changed since in what that stands on.
pub(super) async fn sheets(tx: &Tx<'_>, depot_ids: &[Uuid], all: bool) -> Result<Sheets> {
    let rows: Vec<SheetRow> = prepared(
        diesel::sql_query(
            "select m.id as model_id, s.content::text as content, l.content::text as learned, o.content::text as learned_on
             from model m
             join sheet s on s.org_id = m.org_id and s.model_id = m.id and s.version = m.sheet_version
             left join lateral (
                 select content, sheet_version from learned
                 where org_id = $1 and model_id = m.id order by version desc limit 1
             ) l on true
             left join sheet o on o.org_id = m.org_id and o.model_id = m.id and o.version = l.sheet_version
                              and l.sheet_version <> m.sheet_version
             where m.org_id = $1 and m.id in
                 (select u.model_id from unit u where u.org_id = $1 and u.depot_id = any($2) and ($3 or u.retired_at is null))",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(depot_ids)
        .bind::<Bool, _>(all),
    )
    .load(&mut tx.connection())
    .await?;
    rows.into_iter()
        .map(|row| {
            let unreadable = |what: &str, cause: serde_json::Error| {
                let model = row.model_id;
                Error::internal(format!("{what} of model {model} cannot be read: {cause}"))
            };
            let a_sheet = |text: &str| json(text).map_err(|cause| unreadable("the sheet", cause));
            let sheet: Sheet = a_sheet(&row.content)?;
            let learned_on = row.learned_on.as_deref().map(a_sheet).transpose()?;
            if learned_on.is_some_and(|then| !teach_alike(&then, &sheet)) {
                return Ok((row.model_id, (sheet, None)));
            }
            let learned = row.learned.as_deref().map(json).transpose();
            let learned = learned.map_err(|cause| unreadable("what was learned", cause))?;
            Ok((row.model_id, (sheet, learned)))
        })
        .collect()
}
