//! What the jobs of a machine do to its chance: the chain is computed again with each of them done.

use std::collections::BTreeMap;

use super::UnitWork;
use super::done::done;
use super::job::{Draft, Job, MinutesFrom};
use crate::facts::UnitFacts;
use crate::unit::clock::UnitClock;
use crate::unit::model::Model;
use crate::unit::standing::Input;
use crate::unit::{self, Shared, UnitState};

/// Of a job of which nobody has said how long it takes, minutes (common practice: a job at a bench, more than a look).
const ASSUMED_MINUTES: f64 = 30.0;

/// A factor that rises by less is not worth anybody's way.
const WORTH: f64 = 0.002;

/// A machine, and what its chain is computed from.
pub(super) struct OfUnit<'a> {
    pub(super) shared: &'a Shared<'a>,
    pub(super) unit: &'a UnitFacts,
    pub(super) clock: &'a UnitClock<'a>,
    pub(super) model: &'a Model<'a>,
    pub(super) storm_hours: f64,
    pub(super) state: &'a UnitState,
}

impl OfUnit<'_> {
    /// Where it would stand with these jobs done. What the fleet has taught stays as it is.
    fn standing(&self, drafts: &[Draft], is_done: impl Fn(usize) -> bool) -> Input {
        let sheet = self.model.sheet;
        let jobs = drafts.iter().enumerate();
        let jobs = jobs.filter(|(place, draft)| draft.touches && is_done(*place));
        let unit = done(self.unit, sheet, self.shared, jobs.map(|(_, draft)| draft));
        let clock = UnitClock::new(&unit, sheet, self.shared);
        unit::evaluate(self.shared, &unit, &clock, self.model, self.storm_hours).inputs
    }
}

/// The jobs with their factors.
pub(super) fn weigh(of: &OfUnit<'_>, drafts: Vec<Draft>) -> UnitWork {
    let now = &of.state.inputs;
    let work: Vec<usize> = (0..drafts.len())
        .filter(|place| drafts[*place].touches)
        .collect();
    let all = if work.is_empty() {
        now.clone()
    } else {
        of.standing(&drafts, |_| true)
    };
    let mut factors: Vec<(f64, f64)> = vec![(1.0, 1.0); drafts.len()];
    let rest = if all.counts(false) {
        let without: BTreeMap<usize, BTreeMap<String, f64>> = match work[..] {
            // Without the only one it is as it stands.
            [only] => BTreeMap::from([(only, chances(now))]),
            _ => (work.iter())
                .map(|place| (*place, chances(&of.standing(&drafts, |one| one != *place))))
                .collect(),
        };
        let rest = share_out(now, &all, &without, &mut factors);
        if !now.counts(false) {
            for place in bars(of, &drafts, &work) {
                factors[place].0 = 0.0;
            }
        }
        rest
    } else {
        0.0
    };
    let remains = (!all.counts(false)).then(|| what_bars(&all)).flatten();
    let jobs = drafts.into_iter().zip(factors);
    UnitWork {
        id: of.unit.id,
        tag: of.unit.tag.clone(),
        rest,
        remains,
        jobs: jobs
            .map(|(draft, (now, after))| Job {
                id: draft.key.id(of.unit.id),
                minutes: draft.minutes.unwrap_or(ASSUMED_MINUTES),
                draft: Draft {
                    minutes_from: match draft.minutes {
                        Some(_) => draft.minutes_from,
                        None => MinutesFrom::Assumed,
                    },
                    ..draft
                },
                now,
                after,
            })
            .collect(),
    }
}

/// The first that keeps it from counting.
fn what_bars(input: &Input) -> Option<String> {
    let open = input.held.iter().chain(&input.stopped);
    let limited = input.limited.iter().map(|limited| &limited.text);
    open.chain(limited).chain(&input.unproven).next().cloned()
}

/// The factors by name.
fn chances(input: &Input) -> BTreeMap<String, f64> {
    let mut chances = BTreeMap::new();
    for factor in &input.factors {
        *chances.entry(factor.factor.clone()).or_insert(1.0) *= factor.chance;
    }
    chances
}

/// Gives each factor that the jobs change to the one without which it falls most; answers with the product of the others.
fn share_out(
    now: &Input,
    all: &Input,
    without: &BTreeMap<usize, BTreeMap<String, f64>>,
    factors: &mut [(f64, f64)],
) -> f64 {
    let now = chances(now);
    let mut rest = 1.0;
    for (name, after) in chances(all) {
        let before = now.get(&name).copied().unwrap_or(1.0);
        let falls = |place: &usize| {
            let left = without[place].get(&name).copied().unwrap_or(1.0);
            (after - left).abs()
        };
        // Of several that fall alike the first.
        let most = without
            .keys()
            .rev()
            .max_by(|one, other| falls(one).total_cmp(&falls(other)));
        match most {
            Some(place) if (after - before).abs() > WORTH => {
                factors[*place].0 *= before;
                factors[*place].1 *= after;
            }
            _ => rest *= before,
        }
    }
    rest
}

/// Jobs that must all be done for the machine to count, as few as need be: one after another is left out, the longest first, as
/// long as it counts all the same.
fn bars(of: &OfUnit<'_>, drafts: &[Draft], work: &[usize]) -> Vec<usize> {
    let mut must = work.to_vec();
    let mut by_minutes = work.to_vec();
    by_minutes.sort_by(|one, other| {
        let minutes = |place: usize| drafts[place].minutes.unwrap_or(ASSUMED_MINUTES);
        minutes(*other).total_cmp(&minutes(*one))
    });
    for place in by_minutes {
        if must.len() == 1 {
            break;
        }
        let counts = of.standing(drafts, |one| one != place && must.contains(&one));
        if counts.counts(false) {
            must.retain(|one| *one != place);
        }
    }
    must
}
