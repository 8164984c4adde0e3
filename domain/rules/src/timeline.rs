//! A machine's hours over time, from its meter: between readings by interpolation, after the last by its use since.

use jiff::{Timestamp, civil::Date, tz::TimeZone};

use crate::facts::MeterFacts;
use crate::season::day_number;
use crate::snow_days::DaysOfUse;

/// The day of an instant in a zone, as a day number.
pub fn day_in(at: Timestamp, zone: &TimeZone) -> i32 {
    day_number(zone.to_datetime(at).date())
}

/// A machine's running hours over time: its meter's, counted on where a meter was replaced, contradictions left out.
#[derive(Debug, Clone)]
pub struct Timeline {
    /// Ascending in time and hours.
    points: Vec<Point>,
    /// From when a meter showed how many hours less than the machine had run: one for each that was replaced.
    offsets: Vec<(Timestamp, f64)>,
    /// Where hours start if nothing was ever read.
    acquired: Option<i32>,
}

/// A reading that is believed.
#[derive(Debug, Clone, Copy)]
struct Point {
    at: Timestamp,
    day: i32,
    /// Hours the machine has run.
    hours: f64,
    estimated: bool,
}

impl Point {
    fn agrees_with(&self, later: &Point) -> bool {
        agree((self.at, self.hours), (later.at, later.hours))
    }
}

/// Hours are noted to a tenth.
const NOTED: f64 = 0.1 + 1e-9;

/// How many more hours than have passed, between one reading and the next, are left to clocks that differ and to what is
/// noted for a day: a day.
const BESIDE: f64 = 24.0;

/// Whether a machine can have run the hours of both, an instant and the hours then, in this order: no fewer later than
/// before, and no more between them than time has passed, a day beside.
pub fn agree(earlier: (Timestamp, f64), later: (Timestamp, f64)) -> bool {
    agree_within(0.0, earlier, later)
}

fn agree_within(hours: f64, earlier: (Timestamp, f64), later: (Timestamp, f64)) -> bool {
    let passed = (later.0.as_second() - earlier.0.as_second()) as f64 / 3600.0;
    let run = later.1 - earlier.1;
    -hours <= run && run <= passed + BESIDE + hours
}

impl Timeline {
    /// The timeline up to `as_of`; `used` are the hours run from a day to another, in the mean of the sheet: for the
    /// time between the last reading of a meter and its replacement.
    ///
    /// Hours that run backwards, or faster than time, are not believed ([`agree`]), but: an estimate never stands against
    /// the meter, and where two later readings agree with each other and contradict only the one before them, that one
    /// was the slip.
    pub fn new(
        meter: &[MeterFacts],
        acquired_on: Option<Date>,
        as_of: Timestamp,
        zone: &TimeZone,
        used: impl Fn(i32, i32) -> f64,
    ) -> Self {
        let mut readings: Vec<&MeterFacts> = meter
            .iter()
            .filter(|reading| {
                reading.at <= as_of && reading.hours.is_finite() && reading.hours >= 0.0
            })
            .collect();
        // The old meter's last reading comes before the new one's first, though both were noted at one time.
        readings.sort_unstable_by(|left, right| {
            let order = |one: &MeterFacts| (one.at, one.meter_replaced);
            order(left)
                .cmp(&order(right))
                .then(left.hours.total_cmp(&right.hours))
        });
        let mut timeline = Timeline {
            points: Vec::with_capacity(readings.len()),
            offsets: Vec::new(),
            acquired: acquired_on.map(day_number),
        };
        let mut doubted: Option<Point> = None;
        for reading in readings {
            let day = day_in(reading.at, zone);
            if reading.meter_replaced {
                let carried = timeline
                    .last()
                    .map_or(reading.hours, |(from, hours)| hours + used(from, day));
                timeline.offsets.push((reading.at, carried - reading.hours));
                doubted = None;
            }
            let point = Point {
                at: reading.at,
                day,
                hours: reading.hours + timeline.offset_at(reading.at),
                estimated: reading.estimated,
            };
            timeline.take(point, &mut doubted);
        }
        timeline
    }

    /// Takes a reading in, the latest so far. `doubted` is the last one that was not believed.
    fn take(&mut self, point: Point, doubted: &mut Option<Point>) {
        let points = &mut self.points;
        let contradicts = |last: Option<&Point>| last.is_some_and(|last| !last.agrees_with(&point));
        // Not to be taken back: what a replaced meter was counted on from.
        let fixed = self.offsets.last().map(|offset| offset.0);
        let slip = |last: &Point| fixed.is_none_or(|fixed| last.at > fixed);
        if !point.estimated {
            let wrong = |one: &&Point| one.estimated && contradicts(Some(one)) && slip(one);
            let left = points.len() - points.iter().rev().take_while(wrong).count();
            if !contradicts(points[..left].last()) {
                points.truncate(left);
            }
        }
        if !contradicts(points.last()) {
            points.push(point);
            *doubted = None;
            return;
        }
        let agreed = doubted
            .filter(|doubted| !point.estimated && doubted.agrees_with(&point))
            .filter(|doubted| {
                let before = points.len().checked_sub(2).map(|index| points[index]);
                before.is_none_or(|before| before.agrees_with(doubted))
                    && points.last().is_some_and(slip)
            });
        if let Some(agreed) = agreed {
            points.pop();
            points.extend([agreed, point]);
            *doubted = None;
        } else if !point.estimated {
            *doubted = Some(point);
        }
    }

    /// Hours run that the meter of that time did not show.
    fn offset_at(&self, at: Timestamp) -> f64 {
        let before = self.offsets.partition_point(|offset| offset.0 <= at);
        before
            .checked_sub(1)
            .map_or(0.0, |before| self.offsets[before].1)
    }

    /// Hours run where somebody noted those on the meter at `at`; none where that contradicts what is believed.
    pub fn noted(&self, at: Timestamp, meter_hours: f64) -> Option<f64> {
        let hours = meter_hours + self.offset_at(at);
        let after = self.points.partition_point(|point| point.at < at);
        // Of what was noted at one time all but the last may be less.
        let before = after.checked_sub(1).map(|before| self.points[before]);
        let next = self.points[after..].iter().find(|point| point.at > at);
        let now = (at, hours);
        (before.is_none_or(|before| agree_within(NOTED, (before.at, before.hours), now))
            && next.is_none_or(|next| agree_within(NOTED, now, (next.at, next.hours))))
        .then_some(hours)
    }

    /// What the meter showed at the last trusted reading, if any stands.
    pub fn on_the_meter(&self) -> Option<f64> {
        let last = self.points.last()?;
        Some((last.hours - self.offset_at(last.at)).max(0.0))
    }

    /// The last trusted reading: day and hours; else the day the machine came, at no hours.
    pub fn last(&self) -> Option<(i32, f64)> {
        match self.points.last() {
            Some(point) => Some((point.day, point.hours)),
            None => self.acquired.map(|day| (day, 0.0)),
        }
    }

    /// Hours run between the first reading and the last, and the days of use in that time.
    pub fn use_so_far(&self, days: DaysOfUse<'_>) -> (f64, f64) {
        match (self.points.first(), self.points.last()) {
            (Some(first), Some(last)) => (
                last.hours - first.hours,
                f64::from(days.between(0, first.day, last.day)),
            ),
            _ => (0.0, 0.0),
        }
    }

    /// Hours run by an instant, in the mean: outside the readings by `hours_per_day` of use.
    pub fn at(
        &self,
        at: Timestamp,
        hours_per_day: f64,
        days: DaysOfUse<'_>,
        zone: &TimeZone,
    ) -> f64 {
        let used = |from: i32, until: i32| hours_per_day * f64::from(days.between(0, from, until));
        let after = self.points.partition_point(|point| point.at <= at);
        match (
            after.checked_sub(1).map(|before| self.points[before]),
            self.points.get(after),
        ) {
            (Some(from), Some(to)) => {
                let share = (at.as_second() - from.at.as_second()) as f64
                    / ((to.at.as_second() - from.at.as_second()) as f64).max(1.0);
                from.hours + (to.hours - from.hours) * share.clamp(0.0, 1.0)
            }
            (Some(from), None) => from.hours + used(from.day, day_in(at, zone)),
            (None, Some(to)) => (to.hours - used(day_in(at, zone), to.day)).max(0.0),
            (None, None) => self
                .acquired
                .map_or(0.0, |from| used(from, day_in(at, zone))),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::MonthDay;
    use crate::sheet::Exposure;
    use crate::snow_days::{FixedSeason, OnRecord, SnowDays};

    fn days_of(today: Date) -> SnowDays {
        let parse = |text| MonthDay::parse(text).unwrap();
        let fixed = FixedSeason {
            starts: parse("11-15"),
            ends: parse("04-10"),
            snow_days: 24,
        };
        SnowDays::new(today, fixed, OnRecord::default())
    }

    /// Readings on the 1st of January, February and so on, at noon; `~` marks an estimate, `new` a replaced meter. What is
    /// believed of them, in hours run.
    fn believed(readings: &[(&str, f64)]) -> (Vec<f64>, Timeline) {
        let meter: Vec<MeterFacts> = readings
            .iter()
            .enumerate()
            .map(|(index, (how, hours))| MeterFacts {
                at: format!("2025-{:02}-01T12:00:00Z", index + 1)
                    .parse()
                    .unwrap(),
                hours: *hours,
                estimated: *how == "~",
                meter_replaced: *how == "new",
            })
            .collect();
        let as_of = "2025-12-31T00:00:00Z".parse().unwrap();
        // A quarter of an hour a day between an old meter's last reading and the new one.
        let used = |from: i32, to: i32| 0.25 * f64::from(to - from);
        let line = Timeline::new(&meter, None, as_of, &TimeZone::UTC, used);
        (line.points.iter().map(|point| point.hours).collect(), line)
    }

    /// What a loader hands over, contradictions and all.
    #[test]
    fn two_that_agree_outweigh_the_slip_before_them() {
        let hours = |readings: &[(&str, f64)]| believed(readings).0;
        let read = |hours: &[f64]| -> Vec<(&str, f64)> {
            hours.iter().map(|hours| ("", *hours)).collect()
        };
        // One reading against one: the first stands, until another agrees with the second.
        assert_eq!(hours(&read(&[100.0, 700.0, 120.0])), [100.0, 700.0]);
        assert_eq!(
            hours(&read(&[100.0, 700.0, 120.0, 121.0, 130.0])),
            [100.0, 120.0, 121.0, 130.0]
        );
        // Too low a slip stands against nobody.
        assert_eq!(hours(&read(&[100.0, 12.0, 120.0])), [100.0, 120.0]);
        // Two that contradict each other prove nothing, nor do two against two: a meter changed without a word.
        assert_eq!(hours(&read(&[100.0, 700.0, 121.0, 120.0])), [100.0, 700.0]);
        assert_eq!(hours(&read(&[100.0, 110.0, 3.0, 4.0])), [100.0, 110.0]);
    }

    /// January has 744 hours, and a day beside.
    #[test]
    fn hours_do_not_run_faster_than_time() {
        let hours = |readings: &[(&str, f64)]| believed(readings).0;
        let read = |hours: &[f64]| -> Vec<(&'static str, f64)> {
            hours.iter().map(|hours| ("", *hours)).collect()
        };
        assert_eq!(hours(&read(&[100.0, 868.0])), [100.0, 868.0]);
        assert_eq!(hours(&read(&[100.0, 868.1])), [100.0]);
        // The reading after it decides: with the one before, or with it against the one before.
        assert_eq!(hours(&read(&[243.0, 9999.0, 250.0])), [243.0, 250.0]);
        assert_eq!(hours(&read(&[243.0, 9999.0, 10_020.0])), [9999.0, 10_020.0]);
        // An estimate that is too low gives way to the meter, and one that is too high is not believed.
        assert_eq!(hours(&[("~", 10.0), ("", 9999.0)]), [9999.0]);
        assert_eq!(hours(&[("", 10.0), ("~", 9999.0)]), [10.0]);
        let (_, line) = believed(&read(&[100.0, 110.0]));
        let noted = |text: &str, hours| line.noted(text.parse().unwrap(), hours);
        assert_eq!(noted("2025-02-02T12:00:00Z", 158.1), Some(158.1));
        assert_eq!(noted("2025-02-02T12:00:00Z", 158.2), None);
        assert_eq!(noted("2024-12-31T12:00:00Z", 52.0), Some(52.0));
        assert_eq!(noted("2024-12-31T12:00:00Z", 51.8), None);
    }

    #[test]
    fn an_estimate_never_stands_against_the_meter() {
        let hours = |readings: &[(&str, f64)]| believed(readings).0;
        assert_eq!(
            hours(&[("", 100.0), ("~", 150.0), ("", 120.0)]),
            [100.0, 120.0]
        );
        // Nor does a slip take it away.
        assert_eq!(
            hours(&[("", 100.0), ("~", 150.0), ("", 12.0)]),
            [100.0, 150.0]
        );
        assert_eq!(
            hours(&[("", 100.0), ("", 130.0), ("~", 110.0), ("~", 115.0)]),
            [100.0, 130.0]
        );
    }

    /// 400 hours on 1 February, replaced on 1 March: 28 days at a quarter of an hour are 7 hours more; the new meter
    /// began at 2 hours and shows 20 on 1 April: the machine has run 407 + 18.
    #[test]
    fn hours_are_counted_on_where_a_meter_is_replaced() {
        let (hours, line) = believed(&[("", 390.0), ("", 400.0), ("new", 2.0), ("", 20.0)]);
        assert_eq!(hours, [390.0, 400.0, 407.0, 425.0]);
        assert_eq!(line.on_the_meter(), Some(20.0));
        let at = |text: &str| text.parse::<Timestamp>().unwrap();
        // Noted on the old meter, and on the new one.
        assert_eq!(line.noted(at("2025-01-15T12:00:00Z"), 395.0), Some(395.0));
        assert_eq!(line.noted(at("2025-03-15T12:00:00Z"), 10.0), Some(415.0));
        assert_eq!(line.noted(at("2025-03-15T12:00:00Z"), 400.0), None);
        assert_eq!(line.noted(at("2025-04-15T12:00:00Z"), 21.0), Some(426.0));
        // Slips on the new meter do not reach back over its change.
        let (hours, _) = believed(&[("", 400.0), ("new", 5.0), ("", 3.0), ("", 4.0)]);
        assert_eq!(hours, [400.0, 407.75]);
    }

    #[test]
    fn hours_are_interpolated_and_run_on() {
        let at = |text: &str| text.parse::<Timestamp>().unwrap();
        let read = |text: &str, hours| MeterFacts {
            at: at(text),
            hours,
            estimated: false,
            meter_replaced: false,
        };
        let meter = [
            read("2025-03-01T00:00:00Z", 120.0),
            read("2025-01-01T00:00:00Z", 100.0),
            // A time to come.
            read("2027-01-01T00:00:00Z", 900.0),
        ];
        let (zone, as_of) = (TimeZone::UTC, at("2025-12-01T00:00:00Z"));
        let line = Timeline::new(&meter, None, as_of, &zone, |_, _| 0.0);
        let days = days_of(Date::constant(2025, 12, 1));
        let days = days.of(Exposure::SnowDays);
        let march = day_number(Date::constant(2025, 3, 1));
        assert_eq!(line.last(), Some((march, 120.0)));
        let middle = line.at(at("2025-01-30T12:00:00Z"), 1.5, days, &zone);
        assert!((middle - 110.0).abs() < 1e-9, "{middle}");
        // Snow days since the last reading, at one and a half hours each.
        let since = f64::from(days.between(0, march, day_number(Date::constant(2025, 12, 1))));
        assert_eq!(line.at(as_of, 1.5, days, &zone), 120.0 + 1.5 * since);
        assert!(since > 5.0);
        assert_eq!(line.use_so_far(days).0, 20.0);
    }

    #[test]
    fn a_machine_without_a_meter_runs_from_the_day_it_came() {
        let (zone, as_of) = (
            TimeZone::UTC,
            "2025-12-01T00:00:00Z".parse::<Timestamp>().unwrap(),
        );
        let days = days_of(Date::constant(2025, 12, 1));
        let days = days.of(Exposure::SnowDays);
        let came = Date::constant(2024, 7, 1);
        let line = Timeline::new(&[], Some(came), as_of, &zone, |_, _| 0.0);
        assert_eq!(
            (line.last(), line.on_the_meter()),
            (Some((day_number(came), 0.0)), None)
        );
        assert!(line.at(as_of, 1.0, days, &zone) >= 24.0);
        assert_eq!(
            Timeline::new(&[], None, as_of, &zone, |_, _| 0.0).at(as_of, 1.0, days, &zone),
            0.0
        );
    }
}
