//! Days of use, past and to come (sections 2 and 3): which days a depot's machines ran on, or may run on.
//!
//! A scenario is one equally likely future with its own dated days. Without usable winters on record there is one: the
//! depot's typical number of snow days spread evenly over its fixed season, every season. Days are counted by
//! [`day_number`], and how many came before each is tabulated, so that a count is two look-ups.

use jiff::civil::Date;

use crate::depot::SeasonInputs;
use crate::facts::MonthDay;
use crate::season::{Season, Winter, day_number};

/// Seasons ahead that anything is dated in; what comes later is "not within 10 seasons".
pub const SEASONS_AHEAD: i16 = 10;

/// Winters back that machines' hours are counted over.
const WINTERS_BACK: i16 = 15;

/// A depot's days of use.
#[derive(Debug, Clone)]
pub struct SnowDays {
    /// The season running, else the next to start.
    pub this_season: Season,
    /// The season after it.
    pub next_season: Season,
    /// The first day that counts.
    first: i32,
    /// Of each scenario, how many days of use there are before each day from the first on; the past is the same in all.
    counts: Vec<Vec<u32>>,
}

impl SnowDays {
    /// The one scenario of typical seasons between fixed dates.
    pub fn typical(today: Date, starts: MonthDay, ends: MonthDay, snow_days: u32) -> Self {
        let this_season = Season::this(today, starts, ends);
        let winter = Winter::of(this_season.starts).0;
        let first = day_number(Winter(winter - WINTERS_BACK).starts());
        let end = day_number(Winter(winter + SEASONS_AHEAD).starts());
        let mut counts = vec![0_u32; (end - first).max(0) as usize + 1];
        for winter in winter - WINTERS_BACK..winter + SEASONS_AHEAD {
            for day in
                Season::fixed(Winter(winter), starts, ends).spread_numbers(snow_days.min(366))
            {
                // Counted from the day after.
                if let Some(count) = counts.get_mut((day - first + 1).max(0) as usize) {
                    *count += 1;
                }
            }
        }
        let mut sum = 0;
        for count in &mut counts {
            sum += *count;
            *count = sum;
        }
        SnowDays {
            this_season,
            next_season: this_season.next(starts, ends),
            first,
            counts: vec![counts],
        }
    }

    /// Where they come from, for whoever checks a result.
    pub fn inputs(&self) -> SeasonInputs {
        let season = &self.this_season;
        let winter = Winter::of(season.starts);
        let (from, until) = (
            day_number(winter.starts()),
            day_number(Winter(winter.0 + 1).starts()),
        );
        SeasonInputs {
            from: "fixed dates".to_owned(),
            starts: season.starts,
            ends: season.ends,
            snow_days: (0..self.scenarios())
                .map(|scenario| self.between(scenario, from - 1, until))
                .collect(),
        }
    }

    /// How many scenarios there are.
    pub fn scenarios(&self) -> usize {
        self.counts.len()
    }

    /// Days of use after `from` and before `until`, day numbers, in `scenario`.
    pub fn between(&self, scenario: usize, from: i32, until: i32) -> u32 {
        let counts = &self.counts[scenario];
        let before = |day: i32| {
            counts[(day.saturating_sub(self.first).max(0) as usize).min(counts.len() - 1)]
        };
        before(until).saturating_sub(before(from.saturating_add(1)))
    }

    /// The same in each scenario.
    pub fn each(&self, from: i32, until: i32) -> Vec<f64> {
        (0..self.scenarios())
            .map(|scenario| f64::from(self.between(scenario, from, until)))
            .collect()
    }

    /// The last day that anything is dated on.
    pub fn horizon(&self) -> i32 {
        self.first + self.counts[0].len() as i32 - 1
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
        let day = |year, month, date| day_number(Date::constant(year, month, date));
        let days = SnowDays::typical(Date::constant(2025, 12, 1), starts, ends, 24);
        assert_eq!(days.this_season.starts, Date::constant(2025, 11, 15));
        let inputs = days.inputs();
        assert_eq!(
            (inputs.from.as_str(), inputs.snow_days),
            ("fixed dates", vec![24])
        );
        assert_eq!(inputs.ends, Date::constant(2026, 4, 10));
        for winter in [2010, 2019, 2025, 2034] {
            assert_eq!(
                days.between(0, day(winter, 7, 1), day(winter + 1, 7, 1)),
                24,
                "{winter}"
            );
        }
        assert_eq!(days.between(0, day(2035, 7, 1), day(2040, 7, 1)), 0);
        let (before, after) = (
            days.between(0, day(2025, 7, 1), day(2025, 12, 1)),
            days.between(0, day(2025, 11, 30), day(2026, 7, 1)),
        );
        assert_eq!(before + after, 24);
        assert!(before >= 2 && after >= 20);
        // After the 18th, on which the first falls; a day is not between itself and itself.
        assert_eq!(days.between(0, day(2025, 11, 14), day(2025, 11, 19)), 1);
        assert_eq!(days.between(0, day(2025, 11, 18), day(2025, 11, 19)), 0);
        // A summer's day: this season is the one to come.
        let summer = SnowDays::typical(Date::constant(2025, 8, 1), starts, ends, 24);
        assert_eq!(summer.this_season.starts, Date::constant(2025, 11, 15));
    }
}
