//! Days of use, past and to come (sections 2 and 3): which days a depot's machines ran on, or may run on. Throwers run on
//! snow days; brooms, sprayers and blowers on the weekdays of the season.
//!
//! A scenario is one equally likely future with its own dated days. Without usable winters on record there is one: the
//! depot's typical number of snow days spread evenly over its fixed season, every season. Weekdays are the same in all:
//! Monday to Friday from the first to the last day of the season, whose dates are the same every winter. Days are counted
//! by [`day_number`], and how many came before each is tabulated, so that a count is two look-ups.

use jiff::civil::Date;

use crate::depot::SeasonInputs;
use crate::facts::MonthDay;
use crate::season::{Season, Winter, date_of, day_number};
use crate::sheet::Exposure;
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
    /// The season before this.
    pub last_season: Season,
    /// The season running, else the next to start.
    pub this_season: Season,
    /// The season after it.
    pub next_season: Season,
    /// Of each scenario the winter on record that it begins with; none where all is typical.
    pub winters: Vec<Winter>,
    /// Snow days of each scenario; the past is the same in all.
    snow: Counted,
    /// Weekdays of a season, the same in any scenario.
    weekdays: Counted,
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
        let snow = (0..record.winters.len().max(1)).map(|scenario| {
            let future = winters()
                .skip_while(|winter| *winter < now)
                .flat_map(|winter| to_come(scenario, winter))
                .filter(|day| *day > today);
            counted(first, end, past.iter().copied().chain(future))
        });
        let weekdays = winters().flat_map(|winter| {
            let season = Season::fixed(winter, starts, ends);
            (day_number(season.starts)..=day_number(season.ends)).filter(|day| is_weekday(*day))
        });
        let of_this_winter = (0..record.winters.len().max(1))
            .map(|scenario| to_come(scenario, Winter(winter)).len() as u32)
            .collect();
        SnowDays {
            last_season: Season::fixed(Winter(winter).before(), starts, ends),
            this_season,
            next_season: this_season.next(starts, ends),
            winters: record.winters.iter().map(|past| past.winter).collect(),
            snow: Counted::new(first, snow.collect()),
            weekdays: Counted::new(first, vec![counted(first, end, weekdays)]),
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
            weekdays: self.of(Exposure::SeasonWeekdays).between(
                0,
                day_number(season.starts) - 1,
                day_number(season.ends) + 1,
            ),
        }
    }

    /// The days that hours of such an exposure are counted against.
    pub fn of(&self, exposure: Exposure) -> DaysOfUse<'_> {
        DaysOfUse {
            scenarios: self.scenarios(),
            of: match exposure {
                Exposure::SnowDays => &self.snow,
                Exposure::SeasonWeekdays => &self.weekdays,
            },
        }
    }

    /// How many scenarios there are.
    pub fn scenarios(&self) -> usize {
        self.snow.counts.len()
    }
}

/// The days of some scenarios, counted.
#[derive(Debug, Clone)]
pub(crate) struct Counted {
    /// The first day that counts.
    first: i32,
    /// Of each scenario, how many there are before each day from the first on.
    counts: Vec<Vec<u32>>,
    /// Those of any scenario, ascending.
    days: Vec<i32>,
}

impl Counted {
    /// Each scenario's as [`counted`] from the day `first` on, all to the same day.
    pub(crate) fn new(first: i32, counts: Vec<Vec<u32>>) -> Self {
        let mut any = vec![false; counts.first().map_or(0, Vec::len)];
        for counts in &counts {
            for (any, count) in any.iter_mut().zip(counts.windows(2)) {
                *any |= count[0] < count[1];
            }
        }
        let days = (first..)
            .zip(any)
            .filter_map(|(day, any)| any.then_some(day));
        Counted {
            first,
            days: days.collect(),
            counts,
        }
    }

    /// As days of use.
    pub(crate) fn days(&self) -> DaysOfUse<'_> {
        DaysOfUse {
            scenarios: self.counts.len(),
            of: self,
        }
    }
}

/// The days of use of one exposure.
#[derive(Debug, Clone, Copy)]
pub struct DaysOfUse<'a> {
    scenarios: usize,
    /// Of each scenario, or one of all.
    of: &'a Counted,
}

impl<'a> DaysOfUse<'a> {
    /// Those of any scenario after the day `after`, ascending.
    pub(crate) fn after(self, after: i32) -> &'a [i32] {
        let days = &self.of.days;
        &days[days.partition_point(|day| *day <= after)..]
    }

    /// The days of use of each scenario after the day `after`; those of one, where all have the same.
    pub fn dated(self, after: i32) -> Vec<Vec<Date>> {
        let of = |scenario| {
            let days = after + 1..=self.horizon();
            let used = days.filter(move |day| self.between(scenario, day - 1, day + 1) > 0);
            used.map(date_of).collect()
        };
        (0..self.of.counts.len()).map(of).collect()
    }

    /// How many scenarios there are.
    pub fn scenarios(self) -> usize {
        self.scenarios
    }

    /// Days of use after `from` and before `until`, day numbers, in `scenario`.
    pub fn between(self, scenario: usize, from: i32, until: i32) -> u32 {
        let counts = &self.of.counts[scenario.min(self.of.counts.len() - 1)];
        let before = |day: i32| {
            counts[(day.saturating_sub(self.of.first).max(0) as usize).min(counts.len() - 1)]
        };
        before(until).saturating_sub(before(from.saturating_add(1)))
    }

    /// The same in each scenario.
    pub fn each(self, from: i32, until: i32) -> Vec<f64> {
        (0..self.scenarios)
            .map(|scenario| f64::from(self.between(scenario, from, until)))
            .collect()
    }

    /// The last day that anything is dated on.
    pub fn horizon(self) -> i32 {
        self.of.first + self.of.counts[0].len() as i32 - 1
    }
}

/// How many of `days` there are before each day from `first` to `end`.
pub(crate) fn counted(first: i32, end: i32, days: impl Iterator<Item = i32>) -> Vec<u32> {
    let mut counts = vec![0_u32; (end - first).max(0) as usize + 1];
    for day in days {
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
}

/// Whether a day is from Monday to Friday: day number 0, 1 March of the year 0, is a Wednesday.
fn is_weekday(day_number: i32) -> bool {
    (day_number + 2).rem_euclid(7) < 5
}

#[cfg(test)]
mod tests;
