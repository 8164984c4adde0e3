//! What a depot has noted of its machines by today, as the loader would hand it over.

use std::collections::BTreeMap;

use jiff::tz::TimeZone;
use jiff::{Timestamp, civil::Date};
use rimeyard_rules::facts::{
    DepotFacts, DesignStorm, Duty, MonthDay, Operators, Settings, StormFacts,
};
use rimeyard_rules::sheet::{Sheet, Work};
use rimeyard_rules::snowfall::DailySnowfall;
use uuid::Uuid;

use super::chance::Chance;
use super::depot::Storm;
use super::figures::Population;
use super::ground::Ground;
use super::machine::Machine;
use super::sky::{Day, Sky, date};

mod unit;

use unit::unit;

/// The two models, which differ in width alone.
pub const MODELS: [Uuid; 2] = [Uuid::from_u128(1), Uuid::from_u128(2)];

const HOURS_BEHIND_UTC: i8 = 7;

/// An instant of a day at the depot.
pub fn at(day: Day, hour: i8) -> Timestamp {
    TimeZone::fixed(jiff::tz::offset(-HOURS_BEHIND_UTC))
        .to_timestamp(date(day).at(hour, 0, 0, 0))
        .expect("an instant")
}

/// The instant that is evaluated: the evening of today.
pub fn as_of(sky: &Sky) -> Timestamp {
    at(sky.today, 20)
}

/// The depot.
pub fn depot(
    sheets: &[Sheet; 2],
    population: &Population,
    sky: &Sky,
    machines: &[Machine],
    ground: &Ground,
    storm: Option<Storm>,
    chance: &mut Chance,
) -> DepotFacts {
    let design = DesignStorm::default();
    let month_day = |text| MonthDay::parse(text).expect("a day");
    DepotFacts {
        id: Uuid::from_u128(3),
        name: "a simulated depot".to_owned(),
        zone: TimeZone::fixed(jiff::tz::offset(-HOURS_BEHIND_UTC)),
        season_starts: month_day("11-15"),
        season_ends: month_day("04-10"),
        typical_snow_days: 26,
        snow_day_mm: 25.0,
        snowfall: snowfall(sky, chance),
        design_storm: DesignStorm {
            low_c: None,
            ..design
        },
        duties: ground
            .duties
            .iter()
            .map(|duty| Duty {
                name: "ground".to_owned(),
                work: Work::Clear,
                class: "1".to_owned(),
                area_m2: duty.area,
                clear_within_h: duty.within_h,
                narrowest_width_mm: None,
                dose_g_m2: None,
            })
            .collect(),
        operators: vec![Operators {
            work: Work::Clear,
            narrowest_width_mm: None,
            per_shift: ground.operators as u32,
        }],
        storms: storm
            .map(|storm| StormFacts {
                id: Uuid::from_u128(4),
                name: "the storm".to_owned(),
                starts_at: at(storm.day, 6),
                ends_at: at(storm.day, 18),
                depth_mm: design.depth_mm,
                reclear_mm: design.reclear_mm,
                density_kg_m3: None,
                temperature_c: design.temperature_c,
                low_c: None,
            })
            .into_iter()
            .collect(),
        sheets: BTreeMap::from([
            (MODELS[0], sheets[0].clone()),
            (MODELS[1], sheets[1].clone()),
        ]),
        units: machines
            .iter()
            .enumerate()
            .map(|(number, machine)| unit(number as u128, population, machine))
            .collect(),
        orders: Vec::new(),
        wanted: Vec::new(),
        alerts: Vec::new(),
        learned: [].into(),
        settings: Settings::default(),
    }
}

/// Each day of the winters on record and of this one up to today.
fn snowfall(sky: &Sky, chance: &mut Chance) -> Vec<DailySnowfall> {
    let first: Date = date(sky.first());
    let days = first
        .series(jiff::Span::new().days(1))
        .zip(sky.first()..=sky.today);
    days.map(|(on, day)| {
        let snowfall_mm = if sky.snowed(day) {
            25.0 + (80.0 * chance.exponential()).round()
        } else if chance.happens(0.1) {
            f64::from(chance.whole(1, 24))
        } else {
            0.0
        };
        DailySnowfall { on, snowfall_mm }
    })
    .collect()
}
