//! Whether what was learned on one version of a sheet holds on another.

use super::learned::Learned;
use crate::measure::Unit;
use crate::sheet::{Clock, Sheet};

/// Whether machines teach on one sheet what they teach on the other: what is believed before anything is seen is the same,
/// and so is what counts as evidence. Then what was learned on either is computed with on both, whatever else they say.
pub fn teach_alike(one: &Sheet, other: &Sheet) -> bool {
    Learned::nothing(one) == Learned::nothing(other) && Counts::of(one) == Counts::of(other)
}

/// What makes a machine go dead sooner: the check, its factors, and the check that keeps it and for how many days.
type Factor<'a> = (&'a str, f64, f64, Option<(&'a str, f64)>);

/// What counts as evidence, and of what.
#[derive(PartialEq)]
struct Counts<'a> {
    kind: &'a str,
    start: (&'a str, f64),
    going_dead: Vec<Factor<'a>>,
    lives: Vec<(&'a str, Clock)>,
    /// The part, the check that measures it, in what, and whether that is what is left to adjust.
    wear: Vec<(&'a str, &'a str, Unit, bool)>,
    at_a_break: Option<&'a [String]>,
}

impl<'a> Counts<'a> {
    fn of(sheet: &'a Sheet) -> Self {
        let parts = sheet.parts.iter();
        let lives = parts.clone().filter_map(|part| {
            let life = part.life.as_ref()?;
            Some((part.part.as_str(), life.clock))
        });
        let wear = parts.flat_map(|part| {
            let checks = sheet.wear_checks(&part.part);
            checks.map(|(check, measure, _)| {
                let take_up = measure.backed_by.is_some();
                let (part, check) = (part.part.as_str(), check.check.as_str());
                (part, check, measure.unit, take_up)
            })
        });
        let factors = sheet.start.factors.iter();
        let going_dead = factors.map(|factor| {
            let (marginal, unserviceable) = (factor.marginal.value, factor.unserviceable.value);
            let kept = factor.kept_by.as_ref();
            let kept = kept.map(|kept| (kept.check.as_str(), kept.days.value));
            (factor.check.as_str(), marginal, unserviceable, kept)
        });
        Counts {
            kind: &sheet.kind,
            start: (&sheet.start.check, sheet.start.at_once_weight.value),
            going_dead: going_dead.collect(),
            lives: lives.collect(),
            wear: wear.collect(),
            at_a_break: sheet.spares_job().map(|job| job.parts.as_slice()),
        }
    }
}
