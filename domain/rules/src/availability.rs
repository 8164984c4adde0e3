//! How often to test what hides its failure, and how much of the time machines are fit for work.

use jiff::civil::Date;

use crate::season::{Season, day_number};

/// How often to test a safety function that hides its failure, in the unit of `mean_time_to_failure`: 2 x allowed
/// unavailability x mean time to failure (failure-finding interval; Moubray, RCM II, chapter 8). A function that fails
/// between two tests is, in the mean, out for half of that time.
///
/// A straight line for what is a curve, good for an unavailability up to 5 %: there what is allowed is kept to, with 3 % to
/// spare at most. `None` for what is no unavailability in that range, or no time.
pub fn failure_finding_interval(
    allowed_unavailability: f64,
    mean_time_to_failure: f64,
) -> Option<f64> {
    let fits = allowed_unavailability > 0.0
        && allowed_unavailability <= 0.05
        && mean_time_to_failure > 0.0
        && mean_time_to_failure.is_finite();
    fits.then_some(2.0 * allowed_unavailability * mean_time_to_failure)
}

/// The share of the time that something is up, of what it would be if nothing but its own failures and their repair took it
/// down: MTBF / (MTBF + MTTR) (inherent availability; MIL-STD-721C, TM 5-698-1). `None` where either is negative or no
/// number, or both are 0.
pub fn inherent_availability(
    mean_time_between_failures: f64,
    mean_time_to_repair: f64,
) -> Option<f64> {
    let total = mean_time_between_failures + mean_time_to_repair;
    let fits = mean_time_between_failures >= 0.0
        && mean_time_to_repair >= 0.0
        && total > 0.0
        && total.is_finite();
    fits.then(|| mean_time_between_failures / total)
}

/// Tasks done inside their window, of those that fell due (section 9 of the computation); `None` where none did.
pub fn compliance(done_inside: u64, fallen_due: u64) -> Option<f64> {
    (fallen_due > 0 && done_inside <= fallen_due).then(|| done_inside as f64 / fallen_due as f64)
}

/// Days on which a machine was out, from the first to the last of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Out {
    /// The first day.
    pub from: Date,
    /// The last day; none: it is out still.
    pub until: Option<Date>,
}

/// The days of a season up to some day, and those of them on which a machine was out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DaysInSeason {
    /// All of them, at least one.
    pub days: i32,
    /// Those on which it was out.
    pub out: i32,
}

impl DaysInSeason {
    /// The days of a season up to `today`. Days out of season do not count, and a day counts once, however many things
    /// kept the machine out. `None` before the season.
    pub fn of(season: Season, out: &[Out], today: Date) -> Option<Self> {
        let first = day_number(season.starts);
        let last = day_number(season.ends.min(today));
        if last < first {
            return None;
        }
        let mut spans: Vec<(i32, i32)> = out
            .iter()
            .map(|out| {
                let until = out.until.map_or(last, |until| day_number(until).min(last));
                (day_number(out.from).max(first), until)
            })
            .filter(|(from, until)| from <= until)
            .collect();
        spans.sort_unstable();
        let (mut days_out, mut counted_to) = (0, first - 1);
        for (from, until) in spans {
            days_out += (until - from.max(counted_to + 1) + 1).max(0);
            counted_to = counted_to.max(until);
        }
        Some(DaysInSeason {
            days: last - first + 1,
            out: days_out,
        })
    }

    /// The share of them on which it was not out: up time over up and down time, in days (availability; IEC 60050-192,
    /// MIL-STD-721C).
    pub fn availability(self) -> f64 {
        f64::from(self.days - self.out) / f64::from(self.days)
    }
}

/// The share of a season's days up to `today` on which a machine was not out. `None` before the season.
pub fn availability_in_season(season: Season, out: &[Out], today: Date) -> Option<f64> {
    Some(DaysInSeason::of(season, out, today)?.availability())
}

#[cfg(test)]
mod tests;
