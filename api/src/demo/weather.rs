//! The hidden weather: which days it snowed at a depot, and how much. The program is never told; it sees only what
//! the snow did to the hours.

use std::collections::BTreeMap;

use jiff::ToSpan;
use jiff::civil::Date;

use super::calendar::Calendar;
use super::draw::Draw;

/// Snowfall of one winter's season, mm, by day; all of it, also what is still to come.
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
