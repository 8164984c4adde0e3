//! Seasons (section 2 of the computation): winters from 1 July, the season's window, and a typical winter's snow days.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::facts::MonthDay;

/// A winter, 1 July to 30 June, by the year it begins in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Winter(pub i16);

impl Winter {
    /// The winter that `date` is in.
    pub fn of(date: Date) -> Self {
        Winter(if date.month() >= 7 {
            date.year()
        } else {
            date.year() - 1
        })
    }

    /// Its 1 July, day 0.
    pub fn starts(self) -> Date {
        Date::new(self.0, 7, 1).unwrap_or(Date::MIN)
    }

    /// The winter after.
    pub fn next(self) -> Self {
        Winter(self.0 + 1)
    }

    /// The winter before.
    pub fn before(self) -> Self {
        Winter(self.0 - 1)
    }

    /// `date` counted from 1 July, day 0.
    pub fn day(self, date: Date) -> i32 {
        days_between(self.starts(), date)
    }
}

/// Days from `from` to `to`, negative if it is earlier.
pub fn days_between(from: Date, to: Date) -> i32 {
    day_number(to) - day_number(from)
}

/// Days since 1 March of the year 0 of the proleptic Gregorian calendar, for counting: with years that begin in March
/// the leap day is the last one and month lengths follow a line (the reckoning of the Julian day number).
pub fn day_number(date: Date) -> i32 {
    let (month, day) = (i32::from(date.month()), i32::from(date.day()));
    let year = i32::from(date.year()) - i32::from(month <= 2);
    let month = (month + 9) % 12;
    let leap_days = year.div_euclid(4) - year.div_euclid(100) + year.div_euclid(400);
    365 * year + leap_days + (153 * month + 2) / 5 + day - 1
}

/// The date of a day number; `Date::MIN` or `Date::MAX` beyond what a date can be.
pub fn date_of(day_number: i32) -> Date {
    const FOUR_CENTURIES: i32 = 146_097;
    const CENTURY: i32 = 36_524;
    const FOUR_YEARS: i32 = 1_461;
    let day = day_number.rem_euclid(FOUR_CENTURIES);
    // What leap days made of four years, a century, four centuries is taken out first.
    let leap_days = day / (FOUR_YEARS - 1) - day / CENTURY + day / (FOUR_CENTURIES - 1);
    let year = (day - leap_days) / 365;
    let of_year = day - (365 * year + year / 4 - year / 100);
    let month = (5 * of_year + 2) / 153;
    let of_month = of_year - (153 * month + 2) / 5 + 1;
    let (month, next) = if month < 10 {
        (month + 3, 0)
    } else {
        (month - 9, 1)
    };
    let year = 400 * day_number.div_euclid(FOUR_CENTURIES) + year + next;
    let date = i16::try_from(year)
        .ok()
        .and_then(|year| Date::new(year, month as i8, of_month as i8).ok());
    date.unwrap_or(if day_number < 0 { Date::MIN } else { Date::MAX })
}

/// First and last day of one season.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = DatedSeason))]
pub struct Season {
    /// First day.
    #[cfg_attr(feature = "schema", schema(value_type = String, format = Date))]
    pub starts: Date,
    /// Last day.
    #[cfg_attr(feature = "schema", schema(value_type = String, format = Date))]
    pub ends: Date,
}

impl Season {
    /// The season of `winter` by a depot's fixed dates.
    pub fn fixed(winter: Winter, starts: MonthDay, ends: MonthDay) -> Self {
        let date = |day: MonthDay| {
            day.in_year(if day.month() >= 7 {
                winter.0
            } else {
                winter.0 + 1
            })
        };
        Season {
            starts: date(starts),
            ends: date(ends),
        }
    }

    /// This season: the one running on `today`, else the next to start.
    pub fn this(today: Date, starts: MonthDay, ends: MonthDay) -> Self {
        let season = Season::fixed(Winter::of(today), starts, ends);
        if season.ends < today {
            season.next(starts, ends)
        } else {
            season
        }
    }

    /// The season after this one.
    pub fn next(self, starts: MonthDay, ends: MonthDay) -> Self {
        Season::fixed(Winter::of(self.starts).next(), starts, ends)
    }

    /// Whether it is running on `date`.
    pub fn runs_on(self, date: Date) -> bool {
        self.starts <= date && date <= self.ends
    }

    /// Days from first to last, both counted.
    pub fn days(self) -> i32 {
        days_between(self.starts, self.ends) + 1
    }

    /// `snow_days` snow days spread evenly over the season: the one scenario where no winter is on record.
    pub fn spread(self, snow_days: u32) -> Vec<Date> {
        self.spread_numbers(snow_days).map(date_of).collect()
    }

    /// The same as day numbers.
    pub fn spread_numbers(self, snow_days: u32) -> impl Iterator<Item = i32> {
        let (starts, days) = (day_number(self.starts), self.days().max(1));
        (0..snow_days).map(move |index| {
            let day = (f64::from(index) + 0.5) / f64::from(snow_days) * f64::from(days);
            starts + day as i32
        })
    }

    /// How many of `snow_days` spread over the season fall on `from` or later, up to and without `until`.
    pub fn snow_days_between(self, snow_days: u32, from: Date, until: Date) -> u32 {
        let dates = self.spread(snow_days);
        dates
            .iter()
            .filter(|date| from <= **date && **date < until)
            .count() as u32
    }
}

/// Quantile of `sorted` values (ascending, not empty), definition 7 of Hyndman & Fan 1996. A value next to the quantile
/// counts only with a weight over 0, so an infinite neighbour that is not touched is not.
pub fn quantile_7(sorted: &[f64], p: f64) -> f64 {
    let place = (sorted.len() - 1) as f64 * p;
    let below = place.floor();
    let share = place - below;
    let low = sorted[below as usize];
    if share <= 0.0 {
        return low;
    }
    let high = sorted[(below as usize + 1).min(sorted.len() - 1)];
    if low == high {
        return low;
    }
    low + share * (high - low)
}

/// Winters on record at least, for a season's dates to come from history.
pub const WINTERS_MIN: usize = 5;

/// First and last day of the season, from 1 July as day 0, by past winters' first and last snow days (`None`: no snow):
/// the 10 % quantile of the first and the 90 % quantile of the last. `None` where history does not tell: fewer than 5
/// winters, or a quantile that touches a winter without snow (whose first day never comes, and last never was).
pub fn window(winters: &[Option<(f64, f64)>]) -> Option<(f64, f64)> {
    if winters.len() < WINTERS_MIN {
        return None;
    }
    let quantile = |day: fn(&(f64, f64)) -> f64, without: f64, p: f64| {
        let mut days: Vec<f64> = winters
            .iter()
            .map(|winter| winter.as_ref().map_or(without, day))
            .collect();
        days.sort_unstable_by(f64::total_cmp);
        Some(quantile_7(&days, p)).filter(|day| day.is_finite())
    };
    let starts = quantile(|days| days.0, f64::INFINITY, 0.1)?;
    let ends = quantile(|days| days.1, f64::NEG_INFINITY, 0.9)?;
    Some((starts, ends))
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn day(text: &str) -> MonthDay {
        MonthDay::parse(text).unwrap()
    }

    #[test]
    fn winters_run_from_july_to_june() {
        assert_eq!(Winter::of(date(2025, 6, 30)), Winter(2024));
        assert_eq!(Winter::of(date(2025, 7, 1)), Winter(2025));
        assert_eq!(Winter(2025).day(date(2025, 7, 1)), 0);
        // 31 + 31 + 30 + 31 + 14 days after 1 July is 15 November.
        assert_eq!(Winter(2025).day(date(2025, 11, 15)), 137);
        assert_eq!(Winter(2023).day(date(2024, 6, 30)), 365);
    }

    #[test]
    fn this_season_is_the_one_running_or_else_the_next() {
        let (starts, ends) = (day("11-15"), day("04-10"));
        let this = |today| Season::this(today, starts, ends).starts;
        assert_eq!(this(date(2025, 11, 25)), date(2025, 11, 15));
        assert_eq!(this(date(2026, 4, 10)), date(2025, 11, 15));
        assert_eq!(this(date(2026, 4, 11)), date(2026, 11, 15));
        assert_eq!(this(date(2026, 8, 1)), date(2026, 11, 15));
        let season = Season::this(date(2025, 8, 1), starts, ends);
        assert_eq!(season.next(starts, ends).ends, date(2027, 4, 10));
        assert!(season.runs_on(date(2026, 4, 10)) && !season.runs_on(date(2026, 4, 11)));
    }

    /// A season from 1 January: still the winter it belongs to, not the next one's.
    #[test]
    fn a_season_may_start_after_new_year() {
        let season = Season::this(date(2026, 2, 1), day("01-05"), day("03-01"));
        assert_eq!(season.starts, date(2026, 1, 5));
        assert_eq!(
            season.next(day("01-05"), day("03-01")).starts,
            date(2027, 1, 5)
        );
    }

    #[test]
    fn typical_snow_days_are_spread_over_the_season_once_each() {
        let season = Season::fixed(Winter(2025), day("11-15"), day("04-10"));
        assert_eq!(season.days(), 147);
        let dates = season.spread(21);
        assert_eq!(dates.len(), 21);
        assert!(
            dates
                .windows(2)
                .all(|pair| days_between(pair[0], pair[1]) == 7)
        );
        assert!(season.runs_on(dates[0]) && season.runs_on(dates[20]));
        assert_eq!(
            season.snow_days_between(21, season.starts, date(2026, 7, 1)),
            21
        );
        let middle = date(2026, 1, 20);
        let before = season.snow_days_between(21, season.starts, middle);
        let after = season.snow_days_between(21, middle, date(2026, 7, 1));
        assert_eq!(before + after, 21);
        assert!(season.spread(0).is_empty());
    }

    /// Against the calendar of jiff, an independent one, day by day over four centuries and at the ends of time.
    #[test]
    fn day_numbers_count_days() {
        let mut date = Date::constant(1799, 12, 25);
        let mut number = day_number(date);
        while date.year() < 2210 {
            assert_eq!((day_number(date), date_of(number)), (number, date));
            date = date.tomorrow().unwrap();
            number += 1;
        }
        assert_eq!(date_of(i32::MAX), Date::MAX);
        assert_eq!(date_of(i32::MIN), Date::MIN);
        assert_eq!(
            date_of(day_number(Date::constant(-1, 2, 28))),
            Date::constant(-1, 2, 28)
        );
    }
}
