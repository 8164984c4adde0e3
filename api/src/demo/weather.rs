//! The weather: which days it snowed at a depot, and how much. Its people note it, rounded; what the snow did to the
//! hours of each machine is hidden.

use std::collections::BTreeMap;

use jiff::ToSpan;
use jiff::civil::Date;
use rimeyard_store::snowfall::SnowDay;

use super::calendar::Calendar;
use super::draw::Draw;

/// Winters of snowfall on record: six that are over, enough to tell a season by, and the one that runs.
const WINTERS_ON_RECORD: i16 = 6;
/// The same of a depot that has opened only lately: its season is still its fixed dates.
const WINTERS_OF_A_YOUNG_DEPOT: i16 = 2;

/// Snow days of one winter's season with their snowfall, mm; all of it, also what is still to come.
pub fn snow_days(
    calendar: &Calendar,
    seed: u64,
    depot: &str,
    winter: i16,
    typical_days: i32,
) -> BTreeMap<Date, f64> {
    let draw = &mut Draw::new(seed, &format!("snow {depot} {winter}"));
    let (first, last) = calendar.season(winter);
    let length_days = f64::from(last.duration_since(first).as_hours() as i32 / 24);
    // Winters differ by about a fifth from one another.
    let wanted = draw
        .gamma(25.0, f64::from(typical_days))
        .round()
        .clamp(4.0, length_days / 2.0) as usize;
    let mut days = BTreeMap::new();
    while days.len() < wanted {
        // The middle of the season is its heart: the sum of two even draws.
        let share = (draw.unit() + draw.unit()) / 2.0;
        let day = first.saturating_add(((share * length_days) as i64).days());
        days.insert(day, 25.0 + draw.weibull_after(1.1, 70.0, 0.0));
    }
    days
}

/// What the depot's people noted, every day up to yesterday: whole millimetres.
pub fn on_record(
    calendar: &Calendar,
    seed: u64,
    depot: &str,
    typical_days: i32,
    young: bool,
) -> Vec<SnowDay> {
    let current = calendar.winter();
    let winters = if young {
        WINTERS_OF_A_YOUNG_DEPOT
    } else {
        WINTERS_ON_RECORD
    };
    let today = calendar.today();
    (current - winters..=current)
        .flat_map(|winter| {
            let snow = snow_days(calendar, seed, depot, winter, typical_days);
            let mut draw = Draw::new(seed, &format!("flurries {depot} {winter}"));
            let (first, last) = calendar.season(winter);
            // Flurries come before the season and after it, too, but do not lie.
            let flurries = first.saturating_sub(25.days())..=last.saturating_add(20.days());
            let july = Date::constant(winter, 7, 1);
            let next_july = Date::constant(winter + 1, 7, 1);
            july.series(1.day())
                .take_while(move |on| *on < next_july && *on < today)
                .map(move |on| {
                    let flurry = flurries.contains(&on) && draw.chance(0.18);
                    let light = if flurry { draw.between(1.0, 22.0) } else { 0.0 };
                    let fell = snow.get(&on).copied().unwrap_or(light);
                    SnowDay {
                        on,
                        snowfall_mm: fell.round(),
                    }
                })
        })
        .collect()
}
