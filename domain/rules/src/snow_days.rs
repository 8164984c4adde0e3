//! Days of use, past and to come (sections 2 and 3): which days a depot's machines ran on, or may run on.
//!
//! A scenario is one equally likely future with its own dated days. Without usable winters on record there is one: the
//! depot's typical number of snow days spread evenly over its fixed season, every season. Days are counted by
//! [`day_number`], and how many came before each is tabulated, so that a count is two look-ups.

use jiff::civil::Date;

use crate::depot::SeasonInputs;
use crate::facts::MonthDay;
use crate::season::{Season, Winter, day_number};
use crate::snowfall::{PastWinter, season_window};

/// Seasons ahead that anything is dated in; what comes later is "not within 10 seasons".
pub const SEASONS_AHEAD: i16 = 10;

/// Winters back that machines' hours are counted over.
const WINTERS_BACK: i16 = 15;

/// A season's days are told in a winter without a leap day; in one with it, days from March on are a day later.
const ANY_WINTER: Winter = Winter(2022);

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
    /// Whether the season's dates are from winters on record.
    from_history: bool,
    /// Snow days of each scenario in the winter of this season, those that are over too.
    of_this_winter: Vec<u32>,
}

/// A depot's own season, where no snowfall on record tells another.
#[derive(Debug, Clone, Copy)]
pub struct FixedSeason {
    /// First day.
    pub starts: MonthDay,
    /// Last day.
    pub ends: MonthDay,
    /// Snow days in a typical winter.
    pub snow_days: u32,
}

/// Snowfall on record.
#[derive(Debug, Clone, Copy, Default)]
pub struct OnRecord<'a> {
    /// The winters that are over, oldest first.
    pub winters: &'a [PastWinter],
    /// The snow days of the winter under way up to today, as days from 1 July on; `None` where it is not observed.
    pub this_winter: Option<&'a [i32]>,
}

impl SnowDays {
    /// Each winter on record is one equally likely future: its dated days for this season, those of the winter after it
    /// for the next, and so on around. The past is what was observed, typical days where nothing was. The season is from
    /// history where five winters tell it. Without a winter on record, every season is typical.
    pub fn new(today: Date, fixed: FixedSeason, record: OnRecord<'_>) -> Self {
        let told = season_window(record.winters, ANY_WINTER).map(|(starts, ends)| {
            let day = MonthDay::of;
            (day(starts), day(ends))
        });
        let (starts, ends) = told.unwrap_or((fixed.starts, fixed.ends));
        let this_season = Season::this(today, starts, ends);
        let winter = Winter::of(this_season.starts).0;
        let first = day_number(Winter(winter - WINTERS_BACK).starts());
        let end = day_number(Winter(winter + SEASONS_AHEAD).starts());
        let typical = |winter: Winter| {
            Season::fixed(winter, fixed.starts, fixed.ends)
                .spread_numbers(fixed.snow_days.min(366))
                .collect::<Vec<i32>>()
        };
        let dated = |winter: Winter, days: &[i32]| {
            let july = day_number(winter.starts());
            days.iter().map(|day| july + day).collect::<Vec<i32>>()
        };
        let (today, now) = (day_number(today), Winter::of(today));
        let observed = |winter: Winter| {
            let past = record.winters.iter().find(|past| past.winter == winter);
            match (past, record.this_winter) {
                (Some(past), _) => dated(winter, &past.snow_days),
                (None, Some(days)) if winter == now => dated(winter, days),
                _ => typical(winter),
            }
        };
        let to_come = |scenario: usize, of: Winter| match record.winters.len() {
            0 => typical(of),
            count => {
                let place = scenario as i64 + i64::from(of.0 - winter);
                let past = &record.winters[place.rem_euclid(count as i64) as usize];
                dated(of, &past.snow_days)
            }
        };
        let winters = || (winter - WINTERS_BACK..winter + SEASONS_AHEAD).map(Winter);
        let past: Vec<i32> = winters()
            .take_while(|winter| *winter <= now)
            .flat_map(observed)
            .filter(|day| *day <= today)
            .collect();
        let counts = (0..record.winters.len().max(1)).map(|scenario| {
            let future = winters()
                .skip_while(|winter| *winter < now)
                .flat_map(|winter| to_come(scenario, winter))
                .filter(|day| *day > today);
            let mut counts = vec![0_u32; (end - first).max(0) as usize + 1];
            for day in past.iter().copied().chain(future) {
                // Counted from the day after.
                if let Some(count) = counts.get_mut((day - first + 1).max(0) as usize) {
                    *count += 1;
                }
            }
            let mut sum = 0;
            for count in &mut counts {
                sum += *count;
                *count = sum;
            }
            counts
        });
        let of_this_winter = (0..record.winters.len().max(1))
            .map(|scenario| to_come(scenario, Winter(winter)).len() as u32)
            .collect();
        SnowDays {
            this_season,
            next_season: this_season.next(starts, ends),
            first,
            counts: counts.collect(),
            from_history: told.is_some(),
            of_this_winter,
        }
    }

    /// Where they come from, for whoever checks a result.
    pub fn inputs(&self) -> SeasonInputs {
        let season = &self.this_season;
        SeasonInputs {
            from: if self.from_history {
                "history".to_owned()
            } else {
                "fixed dates".to_owned()
            },
            starts: season.starts,
            ends: season.ends,
            snow_days: self.of_this_winter.clone(),
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
        let fixed = FixedSeason {
            starts,
            ends,
            snow_days: 24,
        };
        let days = SnowDays::new(Date::constant(2025, 12, 1), fixed, OnRecord::default());
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
        let summer = SnowDays::new(Date::constant(2025, 8, 1), fixed, OnRecord::default());
        assert_eq!(summer.this_season.starts, Date::constant(2025, 11, 15));
    }
    /// Winters with 2, 3 and 4 snow days each ten days from day 150 (28 November) on.
    fn winters() -> Vec<PastWinter> {
        (0..3)
            .map(|index| PastWinter {
                winter: Winter(2020 + index),
                snow_days: (0..i32::from(index) + 2)
                    .map(|day| 150 + 10 * day)
                    .collect(),
            })
            .collect()
    }

    #[test]
    fn each_winter_on_record_is_one_future_and_the_one_after_it_the_next() {
        let fixed = FixedSeason {
            starts: MonthDay::parse("11-15").unwrap(),
            ends: MonthDay::parse("04-10").unwrap(),
            snow_days: 24,
        };
        let winters = winters();
        let record = OnRecord {
            winters: &winters,
            this_winter: Some(&[140, 155]),
        };
        // Day 161 of the winter of 2025 is 9 December: two snow days are over.
        let today = Date::constant(2025, 12, 9);
        let days = SnowDays::new(today, fixed, record);
        let day = |year| day_number(Winter(year).starts());
        let now = day_number(today);
        assert_eq!(days.scenarios(), 3);
        // To come after day 161 of 150, 160, 170, 180: none, one, two.
        assert_eq!(days.each(now, day(2026)), [0.0, 1.0, 2.0]);
        assert_eq!(
            days.each(day(2026) - 1, day(2027)),
            [3.0, 4.0, 2.0],
            "the winter after"
        );
        assert_eq!(
            days.each(day(2027) - 1, day(2028)),
            [4.0, 2.0, 3.0],
            "and around"
        );
        // The past is the same in all: what was observed, typical days where nothing was.
        assert_eq!(days.each(day(2025) - 1, now + 1), [2.0; 3]);
        assert_eq!(days.each(day(2021) - 1, day(2022)), [3.0; 3]);
        assert_eq!(days.each(day(2023) - 1, day(2024)), [24.0; 3]);
        // Three winters do not tell the season's dates.
        assert_eq!(days.inputs().from, "fixed dates");
        assert_eq!(days.inputs().snow_days, [2, 3, 4]);
    }

    #[test]
    fn five_winters_tell_the_season() {
        let winters: Vec<PastWinter> = (0..5)
            .map(|index| PastWinter {
                winter: Winter(2015 + index),
                snow_days: vec![120 + 10 * i32::from(index), 240 + 10 * i32::from(index)],
            })
            .collect();
        let fixed = FixedSeason {
            starts: MonthDay::parse("11-15").unwrap(),
            ends: MonthDay::parse("04-10").unwrap(),
            snow_days: 24,
        };
        let record = OnRecord {
            winters: &winters,
            this_winter: None,
        };
        let days = SnowDays::new(Date::constant(2025, 8, 1), fixed, record);
        // Days 124 and 276, as in snowfall's own test: 2 November and 3 April.
        assert_eq!(days.inputs().from, "history");
        assert_eq!(
            (days.this_season.starts, days.this_season.ends),
            (Date::constant(2025, 11, 2), Date::constant(2026, 4, 3))
        );
        assert_eq!(days.next_season.starts, Date::constant(2026, 11, 2));
    }
}
