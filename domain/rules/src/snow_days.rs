//! Days of use, past and to come (sections 2 and 3): which days a depot's machines ran on, or may run on.
//!
//! A scenario is one equally likely future with its own dated days. Without usable winters on record there is one: the
//! depot's typical number of snow days spread evenly over its fixed season, every season.

use jiff::civil::Date;

use crate::facts::MonthDay;
use crate::season::{Season, Winter};

/// Seasons ahead that anything is dated in; what comes later is "not within 10 seasons".
pub const SEASONS_AHEAD: i16 = 10;

/// Winters back that machines' hours are counted over.
const WINTERS_BACK: i16 = 15;

/// A depot's days of use.
#[derive(Debug, Clone)]
pub struct SnowDays {
    today: Date,
    /// The season running, else the next to start.
    pub this_season: Season,
    /// The season after it.
    pub next_season: Season,
    /// Days before today, ascending.
    past: Vec<Date>,
    /// Days from today on, ascending; one list a scenario.
    scenarios: Vec<Vec<Date>>,
}

impl SnowDays {
    /// The one scenario of typical seasons between fixed dates.
    pub fn typical(today: Date, starts: MonthDay, ends: MonthDay, snow_days: u32) -> Self {
        let this_season = Season::this(today, starts, ends);
        let winter = Winter::of(this_season.starts).0;
        let spread = |winters: std::ops::RangeInclusive<i16>| {
            winters.flat_map(|winter| {
                Season::fixed(Winter(winter), starts, ends).spread(snow_days.min(366))
            })
        };
        let mut all: Vec<Date> =
            spread(winter - WINTERS_BACK..=winter + SEASONS_AHEAD - 1).collect();
        // Seasons that touch, end to start, may be given: order must not depend on it.
        all.sort_unstable();
        let from_today = all.partition_point(|day| *day < today);
        let to_come = all.split_off(from_today);
        SnowDays {
            today,
            this_season,
            next_season: this_season.next(starts, ends),
            past: all,
            scenarios: vec![to_come],
        }
    }

    /// How many scenarios there are.
    pub fn scenarios(&self) -> usize {
        self.scenarios.len()
    }

    /// Days of use after `from`, before `until`, in `scenario`; what is past is the same in all.
    pub fn between(&self, scenario: usize, from: Date, until: Date) -> f64 {
        let count = |days: &[Date]| {
            let first = days.partition_point(|day| *day <= from);
            let last = days.partition_point(|day| *day < until);
            last.saturating_sub(first)
        };
        let past = if from < self.today {
            count(&self.past)
        } else {
            0
        };
        let to_come = if until > self.today {
            count(&self.scenarios[scenario])
        } else {
            0
        };
        (past + to_come) as f64
    }

    /// Days of use after `from`, up to and without `until`, in each scenario.
    pub fn each(&self, from: Date, until: Date) -> Vec<f64> {
        (0..self.scenarios())
            .map(|scenario| self.between(scenario, from, until))
            .collect()
    }

    /// The dated days to come of one scenario.
    pub fn to_come(&self, scenario: usize) -> &[Date] {
        &self.scenarios[scenario]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn typical_days_are_counted_in_past_and_coming_seasons() {
        let (starts, ends) = (
            MonthDay::parse("11-15").unwrap(),
            MonthDay::parse("04-10").unwrap(),
        );
        let today = Date::constant(2025, 12, 1);
        let days = SnowDays::typical(today, starts, ends, 24);
        assert_eq!(days.this_season.starts, Date::constant(2025, 11, 15));
        let year = |year| Date::constant(year, 7, 1);
        for winter in [2019, 2025, 2030] {
            assert_eq!(
                days.between(0, year(winter), year(winter + 1)),
                24.0,
                "{winter}"
            );
        }
        let (before, after) = (
            days.between(0, year(2025), today),
            days.between(0, Date::constant(2025, 11, 30), year(2026)),
        );
        assert_eq!(before + after, 24.0);
        assert!(before >= 2.0 && after >= 20.0);
        // A summer's day: this season is the one to come.
        let summer = SnowDays::typical(Date::constant(2025, 8, 1), starts, ends, 24);
        assert_eq!(summer.this_season.starts, Date::constant(2025, 11, 15));
        assert_eq!(summer.to_come(0).len(), 240);
    }
}
