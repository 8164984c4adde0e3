//! A machine's hours over time, from its meter: between readings by interpolation, after the last by its use since.

use jiff::{Timestamp, civil::Date, tz::TimeZone};

use crate::facts::MeterFacts;
use crate::season::day_number;
use crate::snow_days::SnowDays;

/// The day of an instant in a zone, as a day number.
pub fn day_in(at: Timestamp, zone: &TimeZone) -> i32 {
    day_number(zone.to_datetime(at).date())
}

/// A machine's hour meter, its contradictions left out.
#[derive(Debug, Clone)]
pub struct Timeline {
    /// Instant, its day, and hours, ascending in all.
    points: Vec<(Timestamp, i32, f64)>,
    /// Where hours start if nothing was ever read.
    acquired: Option<i32>,
}

impl Timeline {
    /// The timeline up to `as_of`. Hours that are more than a later reading says are left out: the later one is
    /// nearer to what the meter shows now.
    pub fn new(
        meter: &[MeterFacts],
        acquired_on: Option<Date>,
        as_of: Timestamp,
        zone: &TimeZone,
    ) -> Self {
        let mut points: Vec<(Timestamp, i32, f64)> = meter
            .iter()
            .filter(|reading| {
                reading.at <= as_of && reading.hours.is_finite() && reading.hours >= 0.0
            })
            .map(|reading| (reading.at, 0, reading.hours))
            .collect();
        points
            .sort_unstable_by(|left, right| left.0.cmp(&right.0).then(left.2.total_cmp(&right.2)));
        let mut least = f64::INFINITY;
        let mut kept = points.len();
        for index in (0..points.len()).rev() {
            if points[index].2 <= least {
                least = points[index].2;
                kept -= 1;
                points[kept] = points[index];
                points[kept].1 = day_in(points[kept].0, zone);
            }
        }
        points.drain(..kept);
        Timeline {
            points,
            acquired: acquired_on.map(day_number),
        }
    }

    /// The last trusted reading: day and hours; else the day the machine came, at no hours.
    pub fn last(&self) -> Option<(i32, f64)> {
        match self.points.last() {
            Some((_, day, hours)) => Some((*day, *hours)),
            None => self.acquired.map(|day| (day, 0.0)),
        }
    }

    /// Whether any meter reading stands.
    pub fn is_read(&self) -> bool {
        !self.points.is_empty()
    }

    /// Hours run between the first reading and the last, and the days of use in that time.
    pub fn use_so_far(&self, snow_days: &SnowDays) -> (f64, f64) {
        match (self.points.first(), self.points.last()) {
            (Some(first), Some(last)) => (
                last.2 - first.2,
                f64::from(snow_days.between(0, first.1, last.1)),
            ),
            _ => (0.0, 0.0),
        }
    }

    /// Hours on the meter at an instant, in the mean: outside the readings by `hours_per_day` of use.
    pub fn at(
        &self,
        at: Timestamp,
        hours_per_day: f64,
        snow_days: &SnowDays,
        zone: &TimeZone,
    ) -> f64 {
        let used =
            |from: i32, until: i32| hours_per_day * f64::from(snow_days.between(0, from, until));
        let after = self.points.partition_point(|point| point.0 <= at);
        match (
            after.checked_sub(1).map(|before| self.points[before]),
            self.points.get(after),
        ) {
            (Some((from, _, hours)), Some((to, _, next))) => {
                let share = (at.as_second() - from.as_second()) as f64
                    / ((to.as_second() - from.as_second()) as f64).max(1.0);
                hours + (next - hours) * share.clamp(0.0, 1.0)
            }
            (Some((_, from, hours)), None) => hours + used(from, day_in(at, zone)),
            (None, Some((_, to, next))) => (next - used(day_in(at, zone), *to)).max(0.0),
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

    #[test]
    fn hours_are_interpolated_and_contradictions_left_out() {
        let at = |text: &str| text.parse::<Timestamp>().unwrap();
        let read = |text: &str, hours| MeterFacts {
            at: at(text),
            hours,
            estimated: false,
        };
        let meter = [
            read("2025-03-01T00:00:00Z", 120.0),
            read("2025-01-01T00:00:00Z", 100.0),
            // A slip of the thumb, and a time to come.
            read("2025-02-01T00:00:00Z", 1100.0),
            read("2027-01-01T00:00:00Z", 900.0),
        ];
        let (zone, as_of) = (TimeZone::UTC, at("2025-12-01T00:00:00Z"));
        let line = Timeline::new(&meter, None, as_of, &zone);
        let parse = |text| MonthDay::parse(text).unwrap();
        let days = SnowDays::typical(
            Date::constant(2025, 12, 1),
            parse("11-15"),
            parse("04-10"),
            24,
        );
        let march = day_number(Date::constant(2025, 3, 1));
        assert_eq!(line.last(), Some((march, 120.0)));
        let middle = line.at(at("2025-01-30T12:00:00Z"), 1.5, &days, &zone);
        assert!((middle - 110.0).abs() < 1e-9, "{middle}");
        // Snow days since the last reading, at one and a half hours each.
        let since = f64::from(days.between(0, march, day_number(Date::constant(2025, 12, 1))));
        assert_eq!(line.at(as_of, 1.5, &days, &zone), 120.0 + 1.5 * since);
        assert!(since > 5.0);
        assert_eq!(line.use_so_far(&days).0, 20.0);
    }

    #[test]
    fn a_machine_without_a_meter_runs_from_the_day_it_came() {
        let (zone, as_of) = (
            TimeZone::UTC,
            "2025-12-01T00:00:00Z".parse::<Timestamp>().unwrap(),
        );
        let parse = |text| MonthDay::parse(text).unwrap();
        let days = SnowDays::typical(
            Date::constant(2025, 12, 1),
            parse("11-15"),
            parse("04-10"),
            24,
        );
        let came = Date::constant(2024, 7, 1);
        let line = Timeline::new(&[], Some(came), as_of, &zone);
        assert_eq!(
            (line.last(), line.is_read()),
            (Some((day_number(came), 0.0)), false)
        );
        assert!(line.at(as_of, 1.0, &days, &zone) >= 24.0);
        assert_eq!(
            Timeline::new(&[], None, as_of, &zone).at(as_of, 1.0, &days, &zone),
            0.0
        );
    }
}
