//! Daily snowfall, and what of it makes a winter on record (section 2 of the computation).

use jiff::civil::Date;

use crate::season::{Winter, day_number, days_between, window};

/// Share of a winter's days that must have been observed for it to be on record.
pub const OBSERVED_MIN: f64 = 0.9;

/// Winters that count, the latest: as many years as a climate is told by (WMO-No. 1203, standard normals). Of the 118 winters
/// of Grand Rapids older ones would have made the forecasts worse (tests/reference/real_winters.rs).
pub const WINTERS_MAX: usize = 30;

/// New snow of one civil day at the depot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DailySnowfall {
    /// The day.
    pub on: Date,
    /// New snow, mm; 0 where none fell. A day that was not observed has no entry.
    pub snowfall_mm: f64,
}

/// A winter on record: its days of snow, 1 July to 30 June.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PastWinter {
    /// Which.
    pub winter: Winter,
    /// Its snow days as days from 1 July on, ascending, each once.
    pub snow_days: Vec<i32>,
}

impl PastWinter {
    /// First and last snow day, from 1 July as day 0; `None` for a winter without snow.
    pub fn first_and_last(&self) -> Option<(f64, f64)> {
        let (first, last) = (self.snow_days.first()?, self.snow_days.last()?);
        Some((f64::from(*first), f64::from(*last)))
    }
}

/// The winters on record: those over by `today` with nine tenths of their days observed, the latest [`WINTERS_MAX`] of
/// them, oldest first. A day with at least `threshold_mm` of new snow is a snow day. Of two observations of a day the later in the list counts.
pub fn past_winters(observed: &[DailySnowfall], threshold_mm: f64, today: Date) -> Vec<PastWinter> {
    let days = in_order(observed);
    let mut winters: Vec<PastWinter> = days
        .chunk_by(|a, b| a.0 == b.0)
        .filter_map(|days| {
            let winter = days.first()?.0;
            let length = days_between(winter.starts(), winter.next().starts());
            (winter < Winter::of(today) && enough(days.len(), length)).then(|| PastWinter {
                winter,
                snow_days: snow_days(days, threshold_mm),
            })
        })
        .collect();
    winters.split_off(winters.len().saturating_sub(WINTERS_MAX))
}

/// The snow days so far of the winter that `today` is in, as days from 1 July on; `None` unless nine tenths of its days up
/// to `today` were observed.
pub fn this_winter(observed: &[DailySnowfall], threshold_mm: f64, today: Date) -> Option<Vec<i32>> {
    let winter = Winter::of(today);
    let days: Vec<Day> = in_order(observed)
        .into_iter()
        .filter(|(of, day, _)| *of == winter && *day <= winter.day(today))
        .collect();
    enough(days.len(), winter.day(today) + 1).then(|| snow_days(&days, threshold_mm))
}

/// A day observed: its winter, its number from 1 July on, its snow.
type Day = (Winter, i32, f64);

fn in_order(observed: &[DailySnowfall]) -> Vec<Day> {
    let mut days: Vec<Day> = observed
        .iter()
        .map(|day| {
            let winter = Winter::of(day.on);
            (winter, winter.day(day.on), day.snowfall_mm)
        })
        .collect();
    // Stable, so that of one day the last stays the last.
    days.sort_by_key(|(winter, day, _)| (*winter, *day));
    days.reverse();
    days.dedup_by_key(|(winter, day, _)| (*winter, *day));
    days.reverse();
    days
}

fn enough(observed: usize, of: i32) -> bool {
    observed as f64 >= OBSERVED_MIN * f64::from(of)
}

fn snow_days(days: &[Day], threshold_mm: f64) -> Vec<i32> {
    days.iter()
        .filter(|(_, _, snowfall_mm)| *snowfall_mm >= threshold_mm)
        .map(|(_, day, _)| *day)
        .collect()
}

/// First and last day of the season of `winter` by the winters on record; `None` where they do not tell (see
/// [`window`]). A quantile between two days takes in both.
pub fn season_window(winters: &[PastWinter], winter: Winter) -> Option<(Date, Date)> {
    let days: Vec<_> = winters.iter().map(PastWinter::first_and_last).collect();
    let (first, last) = window(&days)?;
    let date = |day: f64| crate::season::date_of(day_number(winter.starts()) + day as i32);
    Some((date(first.floor()), date(last.ceil())))
}

#[cfg(test)]
mod tests {
    use jiff::ToSpan;
    use jiff::civil::date;

    use super::*;

    /// Every day of a winter, dry but for these.
    fn observed(winter: i16, snow: &[(Date, f64)]) -> Vec<DailySnowfall> {
        date(winter, 7, 1)
            .series(1.day())
            .take_while(|on| *on < date(winter + 1, 7, 1))
            .map(|on| DailySnowfall {
                on,
                snowfall_mm: snow.iter().find(|day| day.0 == on).map_or(0.0, |day| day.1),
            })
            .collect()
    }

    #[test]
    fn a_winter_is_on_record_once_it_is_over_and_nine_tenths_were_observed() {
        let snow = [
            (date(2023, 11, 20), 25.0),
            (date(2024, 1, 5), 24.9),
            (date(2024, 2, 29), 120.0),
        ];
        let mut days = observed(2023, &snow);
        let expected = PastWinter {
            winter: Winter(2023),
            // 31 + 31 + 30 + 31 + 19 = 142; 31 January and 28 more days after 1 January (184) are 243.
            snow_days: vec![142, 243],
        };
        assert_eq!(days.len(), 366);
        assert_eq!(
            past_winters(&days, 25.0, date(2024, 7, 1)),
            std::slice::from_ref(&expected)
        );
        assert_eq!(past_winters(&days, 25.0, date(2024, 6, 30)), []);
        let so_far = |today| this_winter(&days, 25.0, today);
        assert_eq!(so_far(date(2024, 2, 28)), Some(vec![142]));
        assert_eq!(so_far(date(2024, 2, 29)), Some(vec![142, 243]));
        assert_eq!(
            so_far(date(2024, 7, 1)),
            None,
            "of the winter after, nothing was observed"
        );
        assert_eq!(expected.first_and_last(), Some((142.0, 243.0)));
        // Without summer days: 330 of 366 are enough (329.4), 329 are not.
        days.drain(..36);
        assert_eq!(past_winters(&days, 25.0, date(2024, 7, 1)).len(), 1);
        days.drain(..1);
        assert_eq!(past_winters(&days, 25.0, date(2024, 7, 1)).len(), 0);
    }

    #[test]
    fn of_one_day_the_later_observation_counts_and_order_does_not() {
        let mut days = observed(2023, &[(date(2023, 12, 1), 80.0)]);
        days.reverse();
        days.push(DailySnowfall {
            on: date(2023, 12, 1),
            snowfall_mm: 0.0,
        });
        days.push(DailySnowfall {
            on: date(2023, 12, 2),
            snowfall_mm: 30.0,
        });
        let winters = past_winters(&days, 25.0, date(2024, 8, 1));
        assert_eq!(winters[0].snow_days, [154]);
        assert_eq!(winters.len(), 1);
    }

    /// Five winters' first days 120, 130, .., 160: the quantile 0.1 is 120 + 0.4 x 10 = 124; last days 240, 250, .., 280:
    /// 0.9 is 270 + 0.6 x 10 = 276 (Hyndman & Fan 1996, definition 7).
    #[test]
    fn the_season_is_from_the_tenth_of_the_firsts_to_the_ninetieth_of_the_lasts() {
        let winters: Vec<PastWinter> = (0..5)
            .map(|index| PastWinter {
                winter: Winter(2015 + index),
                snow_days: vec![120 + 10 * i32::from(index), 240 + 10 * i32::from(index)],
            })
            .collect();
        // Day 124 is 2 November, day 276 of a winter with a leap day is 2 April.
        assert_eq!(
            season_window(&winters, Winter(2023)),
            Some((date(2023, 11, 2), date(2024, 4, 2)))
        );
        assert_eq!(season_window(&winters[1..], Winter(2023)), None);
    }
}
