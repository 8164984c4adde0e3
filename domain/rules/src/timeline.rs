//! A machine's hours over time, from its meter: between readings by interpolation, after the last by its use since.

use jiff::{Timestamp, civil::Date, tz::TimeZone};

use crate::facts::MeterFacts;
use crate::snow_days::SnowDays;

/// A machine's hour meter, its contradictions left out.
#[derive(Debug, Clone)]
pub struct Timeline {
    /// Ascending in both.
    points: Vec<(Timestamp, f64)>,
    /// Where hours start if nothing was ever read.
    acquired_on: Option<Date>,
}

impl Timeline {
    /// The timeline up to `as_of`. Hours that are more than a later reading says are left out: the later one is
    /// nearer to what the meter shows now.
    pub fn new(meter: &[MeterFacts], acquired_on: Option<Date>, as_of: Timestamp) -> Self {
        let mut points: Vec<(Timestamp, f64)> = meter
            .iter()
            .filter(|reading| {
                reading.at <= as_of && reading.hours.is_finite() && reading.hours >= 0.0
            })
            .map(|reading| (reading.at, reading.hours))
            .collect();
        points
            .sort_unstable_by(|left, right| left.0.cmp(&right.0).then(left.1.total_cmp(&right.1)));
        let mut least = f64::INFINITY;
        let mut kept = points.len();
        for index in (0..points.len()).rev() {
            if points[index].1 <= least {
                least = points[index].1;
                kept -= 1;
                points.swap(index, kept);
            }
        }
        points.drain(..kept);
        Timeline {
            points,
            acquired_on,
        }
    }

    /// The last trusted reading: day and hours; else the day the machine came, at no hours.
    pub fn last(&self, zone: &TimeZone) -> Option<(Date, f64)> {
        match self.points.last() {
            Some((at, hours)) => Some((zone.to_datetime(*at).date(), *hours)),
            None => self.acquired_on.map(|day| (day, 0.0)),
        }
    }

    /// Whether any meter reading stands.
    pub fn is_read(&self) -> bool {
        !self.points.is_empty()
    }

    /// Hours run between the first reading and the last, and the days of use in that time.
    pub fn use_so_far(&self, snow_days: &SnowDays, zone: &TimeZone) -> (f64, f64) {
        match (self.points.first(), self.points.last()) {
            (Some(first), Some(last)) if last.0 > first.0 => {
                let day = |at| zone.to_datetime(at).date();
                (
                    last.1 - first.1,
                    snow_days.between(0, day(first.0), day(last.0)),
                )
            }
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
        let day = |at| zone.to_datetime(at).date();
        let after = self.points.partition_point(|point| point.0 <= at);
        match (
            after.checked_sub(1).map(|before| self.points[before]),
            self.points.get(after),
        ) {
            (Some((from, hours)), Some((to, next))) => {
                let share = (at.as_second() - from.as_second()) as f64
                    / ((to.as_second() - from.as_second()) as f64).max(1.0);
                hours + (next - hours) * share.clamp(0.0, 1.0)
            }
            (Some((from, hours)), None) => {
                hours + hours_per_day * snow_days.between(0, day(from), day(at))
            }
            (None, Some((to, next))) => {
                (next - hours_per_day * snow_days.between(0, day(at), day(*to))).max(0.0)
            }
            (None, None) => match self.acquired_on {
                Some(from) => hours_per_day * snow_days.between(0, from, day(at)),
                None => 0.0,
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
        let as_of = at("2025-12-01T00:00:00Z");
        let line = Timeline::new(&meter, None, as_of);
        let parse = |text| crate::facts::MonthDay::parse(text).unwrap();
        let days = SnowDays::typical(
            Date::constant(2025, 12, 1),
            parse("11-15"),
            parse("04-10"),
            24,
        );
        let zone = TimeZone::UTC;
        assert_eq!(line.last(&zone), Some((Date::constant(2025, 3, 1), 120.0)));
        let middle = line.at(at("2025-01-30T12:00:00Z"), 1.5, &days, &zone);
        assert!((middle - 110.0).abs() < 1e-9, "{middle}");
        // Snow days since the last reading, at one and a half hours each.
        let since = days.between(0, Date::constant(2025, 3, 1), Date::constant(2025, 12, 1));
        assert_eq!(line.at(as_of, 1.5, &days, &zone), 120.0 + 1.5 * since);
        assert!(since > 5.0);
    }
}
