//! What makes a machine go dead sooner than by standing alone (section 6): the sheet's factors on t^k, by what its
//! checks were found to be.

use jiff::Timestamp;

use super::Shared;
use crate::facts::UnitFacts;
use crate::measure::Quantity;
use crate::sheet::{Measure, Sheet, StartFactor};
use crate::timeline::day_in;
use crate::verdict::Verdict;

/// What a check was found to be.
#[derive(Debug, Clone, Copy)]
struct Found {
    /// The day, as a day number.
    day: i32,
    verdict: Verdict,
    value: Option<f64>,
}

/// What is known of one unit's factors.
#[derive(Debug, Clone)]
pub struct GoingDead<'a> {
    /// The sheet's factors, each with the measure it is of, if it is one.
    factors: Vec<(&'a StartFactor, Option<&'a Measure>)>,
    /// Check, when, and what it was found to be.
    found: Vec<(&'a str, Timestamp, Found)>,
}

impl<'a> GoingDead<'a> {
    /// Of a unit of that sheet.
    pub fn of(unit: &'a UnitFacts, sheet: &'a Sheet, shared: &Shared<'_>) -> Self {
        let factors = sheet.start.factors.iter();
        let counts = |check: &str| {
            let mut factors = sheet.start.factors.iter();
            factors.any(|factor| {
                factor.check == check || factor.kept_by.as_ref().is_some_and(|by| by.check == check)
            })
        };
        let before = unit.start_checks.iter();
        let before = before.map(|one| (one.check.as_str(), one.at, one.verdict, one.value));
        let latest = unit.latest.iter();
        let latest = latest.map(|one| (one.check.as_str(), one.at, one.verdict, one.value));
        let found = before.chain(latest).filter(|one| counts(one.0));
        GoingDead {
            factors: factors
                .map(|factor| {
                    let check = sheet.check_spec(&factor.check);
                    (factor, check.and_then(|check| check.measure()))
                })
                .collect(),
            found: found
                .map(|(check, at, verdict, value)| {
                    let day = day_in(at, &shared.facts.zone);
                    let found = Found {
                        day,
                        verdict,
                        value,
                    };
                    (check, at, found)
                })
                .collect(),
        }
    }

    /// The product of the factors on `day`, by what was known at `at`. A check that nobody had answered yet counts as
    /// in order, both where the rate of going dead is learned and where it is used.
    pub fn factor(&self, at: Timestamp, day: i32) -> f64 {
        let found = |check: &str| {
            let known = self
                .found
                .iter()
                .filter(|one| one.0 == check && one.1 <= at);
            known
                .max_by_key(|one| (one.1, one.2.verdict))
                .map(|one| one.2)
        };
        let factors = self.factors.iter();
        factors
            .map(|(factor, measure)| {
                let seen = found(&factor.check);
                match seen.map(|seen| on_that_day(factor, *measure, seen, day, &found)) {
                    Some(Verdict::Marginal) => factor.marginal.value,
                    Some(Verdict::Unserviceable) => factor.unserviceable.value,
                    Some(Verdict::Serviceable) | None => 1.0,
                }
            })
            .product()
    }
}

/// What a check found then is on that day: an age in days goes on growing, in a tank as on a shelf.
fn on_that_day(
    factor: &StartFactor,
    measure: Option<&Measure>,
    seen: Found,
    day: i32,
    found: &impl Fn(&str) -> Option<Found>,
) -> Verdict {
    let ages = measure.filter(|measure| measure.unit.quantity() == Quantity::CalendarTime);
    let (Some(limits), Some(value)) = (ages.map(|measure| &measure.limits), seen.value) else {
        return seen.verdict;
    };
    let Some(high) = &limits.high else {
        return seen.verdict;
    };
    let kept = factor.kept_by.as_ref().filter(|kept| {
        found(&kept.check)
            .is_some_and(|kept| kept.day >= seen.day && kept.verdict == Verdict::Serviceable)
    });
    let kept_days = kept.map_or(0.0, |kept| kept.days.value);
    let age = value + (f64::from((day - seen.day).max(0)) - kept_days).max(0.0);
    let by_age = if age >= high.unserviceable_at.value {
        Verdict::Unserviceable
    } else if age >= high.marginal_at.value {
        Verdict::Marginal
    } else {
        Verdict::Serviceable
    };
    by_age.max(seen.verdict)
}
