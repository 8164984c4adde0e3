//! A depot's kinds of work: which ground, which machines, how long they run, and the chance of keeping up.

use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::score_rounded;
use crate::score::{Score, depot_scores, hours_to_clear};
use crate::sheet::{RateUnit, Work};
use crate::unit::model::{NODES, mean_over_nodes};
use crate::unit::{Shared, UnitState, can_work, rate};

/// One kind of work of a depot, as far as machines of one width get.
///
/// A narrow place bars wider machines, but the machines that pass it serve wide ground too. So there is one of these for
/// each width that bars a machine: all ground up to that width, against all machines that fit it; the widest is all
/// ground against all machines. If at each of them the machines bring the sum of the rates needed, then all is kept up:
/// each place takes its own rate from machines that fit, and what they have left goes to wider ground. A machine more
/// that works makes none of these less likely, so the product of their chances is a lower bound of the chance that all
/// hold (Harris's inequality, 1960), and the least of them an upper one.
pub struct WorkOf<'a> {
    pub work: Work,
    /// The widest machine that fits; none: all do.
    pub narrowest_width_mm: Option<f64>,
    pub operators: Option<u32>,
    /// Its machines, by place in the facts: those rigged for it that fit.
    pub members: Vec<usize>,
    pub needed_rate: f64,
    pub cycles: u32,
    /// Running hours of each machine in the storm.
    pub storm_hours: f64,
    /// What each cycle asks for: m2 cleared, or kg spread.
    pub amount: f64,
    /// From the first cycle's snow to the last's, h.
    pub last_cycle_after_h: f64,
    /// The longest time within which any of it must be clear, h.
    pub(super) longest_h: f64,
    pub(super) shared: &'a Shared<'a>,
}

/// A kind of work as published.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct WorkState {
    /// The kind of work.
    pub work: Work,
    /// Its places and machines are those up to this width, mm; none: all.
    pub narrowest_width_mm: Option<f64>,
    /// The chance of keeping up, 0 to 100, whole; its lower bound where it could not be computed exactly.
    pub score: f64,
    /// Upper bound of the same.
    pub score_at_most: f64,
    /// The same with unproven units at their chance.
    pub score_with_unproven: f64,
    /// What its rates are counted in.
    #[serde(default)]
    pub rate_unit: RateUnit,
    /// Rate needed, narrower places in it, in `rate_unit`: whole m2/h, tenths of a kg/h.
    pub needed_rate: f64,
    /// Expected shortfall of the rate, the same.
    pub shortfall: f64,
    /// Machines rigged for it that fit.
    pub machines: u32,
    /// Machines that count.
    pub machines_counting: u32,
    /// Operators entered for it, those of narrower places among them.
    pub operators: Option<u32>,
    /// How often all of it is cleared.
    pub cycles: u32,
    /// Running hours of each machine, to half an hour.
    pub storm_hours: f64,
    /// Expected hours until all cycles are cleared, where anything runs, to half an hour.
    pub hours_to_clear: Option<f64>,
    /// The score without the machine that brings most, its rate times its chance.
    pub one_machine_fewer: Option<f64>,
    /// The score with another like it.
    pub one_machine_more: Option<f64>,
    /// The score with an operator fewer.
    pub one_operator_fewer: Option<f64>,
    /// The score with an operator more.
    pub one_operator_more: Option<f64>,
}

/// What a kind of work was computed from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WorkInputs {
    /// The kind of work.
    pub work: Work,
    /// Its places and machines are those up to this width, mm; none: all.
    pub narrowest_width_mm: Option<f64>,
    /// What its rates are counted in.
    #[serde(default)]
    pub rate_unit: RateUnit,
    /// Rate needed, narrower places in it.
    pub needed_rate: f64,
    /// Operators entered for it, those of narrower places among them.
    pub operators: Option<u32>,
    /// Running hours of each machine.
    pub storm_hours: f64,
    /// Its machines.
    pub units: Vec<WorkUnit>,
}

/// A machine in a kind of work.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WorkUnit {
    /// The unit.
    pub unit_id: Uuid,
    /// Its rate, in the work's unit.
    pub rate: f64,
    /// Whether it counts.
    pub counts: bool,
    /// Its chance at each node.
    pub works: Vec<f64>,
}

/// The scores of a kind of work, as chances.
pub struct Scored {
    pub score: Score,
    pub with_unproven: f64,
    pub one_machine_fewer: Option<f64>,
    /// Which machine that is, by place in the facts.
    pub brings_most: Option<usize>,
    pub one_machine_more: Option<f64>,
    pub one_operator_fewer: Option<f64>,
    pub one_operator_more: Option<f64>,
    /// Summed rate of the best machines that count, as many as there are operators.
    pub best_rate: f64,
    pub hours_to_clear: Option<f64>,
}

impl WorkOf<'_> {
    /// Rate that is lost at most because operators are few and some of them must take narrow machines: as many as narrow
    /// ground may need, each in the slowest narrow machine.
    ///
    /// Whoever of the wide machines works, the slowest of those that would go out give way, and of the n-th fastest that
    /// works the rate is at most that of the n-th fastest there is. With fewer wide machines than operators the last
    /// operators have narrow ones anyhow, and nothing is lost to them.
    pub(super) fn lost_to(&self, narrow: &WorkOf<'_>) -> f64 {
        let Some(operators) = self.operators.map(|most| most as usize) else {
            return 0.0;
        };
        let rate_of = |index: usize| rate(&self.shared.facts.units[index], self.shared);
        let rates = narrow.able().map(rate_of);
        let slowest = rates
            .filter(|rate| *rate > 0.0)
            .fold(f64::INFINITY, f64::min);
        if operators >= self.able().count() || slowest.is_infinite() {
            return 0.0;
        }
        let most = narrow.operators.unwrap_or(u32::MAX).min(operators as u32);
        let needed = (narrow.needed_rate / slowest).ceil().min(f64::from(most)) as usize;
        let wide = self.able().filter(|index| !narrow.members.contains(index));
        let mut wide: Vec<f64> = wide.map(rate_of).collect();
        wide.sort_unstable_by(|left, right| right.total_cmp(left));
        let give_way = wide.iter().take(operators).skip(operators - needed);
        give_way.map(|rate| (rate - slowest).max(0.0)).sum()
    }

    /// Its machines that can work at all.
    fn able(&self) -> impl Iterator<Item = usize> {
        let units = &self.shared.facts.units;
        let members = self.members.iter().copied();
        members.filter(|index| can_work(&units[*index], self.shared))
    }

    /// Running hours of each machine: as long as the best together need for all of it, at most until the last is due.
    pub(super) fn running_hours(&self) -> f64 {
        let units = &self.shared.facts.units;
        let rates = self.able().map(|index| rate(&units[index], self.shared));
        let together = self.best(rates.collect());
        let alone = self.shared.storm.hours + self.longest_h;
        if together > 0.0 {
            alone.min(f64::from(self.cycles) * self.amount / together)
        } else {
            alone
        }
    }

    /// Hours from the first snow until all of it is done at `rate`, over 0. Kept busy, either all the work
    /// takes that long, or the last cycle's, which is not there before its snow.
    fn hours_at(&self, rate: f64) -> f64 {
        let cycle = self.amount / rate;
        (f64::from(self.cycles) * cycle).max(self.last_cycle_after_h + cycle)
    }

    /// Summed rate of the best, as many as there are operators.
    fn best(&self, mut rates: Vec<f64>) -> f64 {
        rates.sort_unstable_by(|left, right| right.total_cmp(left));
        let most = self
            .operators
            .map_or(usize::MAX, |operators| operators as usize);
        rates.iter().take(most).sum()
    }

    /// Rates and chances at each node of the units that count; with the unproven if asked.
    fn counting(&self, units: &[UnitState], with_unproven: bool) -> (Vec<f64>, Vec<[f64; NODES]>) {
        self.who_counts(units, with_unproven)
            .map(|index| (units[index].document.rate, units[index].works))
            .unzip()
    }

    fn who_counts(&self, units: &[UnitState], with_unproven: bool) -> impl Iterator<Item = usize> {
        let members = self.members.iter().copied();
        members.filter(move |index| units[*index].inputs.counts(with_unproven))
    }

    pub fn scored(&self, units: &[UnitState]) -> Scored {
        let (rates, works) = self.counting(units, false);
        let chance = |rates: &[f64], works: &[[f64; NODES]], operators: Option<u32>| {
            mean_over_nodes(
                &depot_scores(rates, works, self.needed_rate, operators)
                    .map(|score| score.at_least),
            )
        };
        let nodes = depot_scores(&rates, &works, self.needed_rate, self.operators);
        let mean = |of: fn(&Score) -> f64| mean_over_nodes(&nodes.map(|score| of(&score)));
        let at_least = mean(|score| score.at_least).clamp(0.0, 1.0);
        let score = Score {
            score: 100.0 * at_least,
            at_least,
            at_most: mean(|score| score.at_most).clamp(at_least, 1.0),
            shortfall: mean(|score| score.shortfall),
        };
        let (all_rates, all_works) = self.counting(units, true);
        let with_unproven = if all_rates.len() == rates.len() {
            at_least
        } else {
            chance(&all_rates, &all_works, self.operators).clamp(0.0, 1.0)
        };
        // By the chance as it is told, and of those alike the first: it is named, and is not to change with what nobody
        // can see.
        let brings = |index: &usize| units[*index].document.rate * units[*index].document.chance;
        let first = self
            .who_counts(units, false)
            .enumerate()
            .min_by(|(_, left), (_, right)| brings(right).total_cmp(&brings(left)));
        let brings_most = first.map(|(_, index)| index);
        let first = first.map(|(place, _)| place);
        let without = |index: usize| {
            let (mut rates, mut works) = (rates.clone(), works.clone());
            rates.remove(index);
            works.remove(index);
            chance(&rates, &works, self.operators)
        };
        let with_twin = |index: usize| {
            let (mut rates, mut works) = (rates.clone(), works.clone());
            rates.push(rates[index]);
            works.push(works[index]);
            chance(&rates, &works, self.operators)
        };
        let with_operators = |operators: u32| chance(&rates, &works, Some(operators));
        Scored {
            score,
            with_unproven,
            one_machine_fewer: first.map(without),
            brings_most,
            one_machine_more: first.map(with_twin),
            one_operator_fewer: self
                .operators
                .and_then(|operators| operators.checked_sub(1))
                .map(with_operators),
            one_operator_more: self
                .operators
                .map(|operators| with_operators(operators.saturating_add(1))),
            best_rate: self.best(rates.clone()),
            hours_to_clear: self.hours_to_clear(&rates, &works),
        }
    }

    /// Expected hours until all is cleared, over the outcomes in which anything runs.
    fn hours_to_clear(&self, rates: &[f64], works: &[[f64; NODES]]) -> Option<f64> {
        let nodes = hours_to_clear(rates, works, self.operators, |rate| self.hours_at(rate));
        let runs = mean_over_nodes(&nodes.map(|node| node.runs));
        (runs > 0.0).then(|| mean_over_nodes(&nodes.map(|node| node.hours)) / runs)
    }

    pub fn state(&self, scored: &Scored, units: &[UnitState]) -> WorkState {
        let counting = self
            .members
            .iter()
            .filter(|index| units[**index].document.counts)
            .count();
        let unit = self.work.rate_unit();
        let half_hours = |hours: f64| (hours * 2.0).round() / 2.0;
        WorkState {
            work: self.work,
            narrowest_width_mm: self.narrowest_width_mm,
            score: score_rounded(scored.score.at_least),
            score_at_most: score_rounded(scored.score.at_most),
            score_with_unproven: score_rounded(scored.with_unproven),
            rate_unit: unit,
            needed_rate: unit.rounded(self.needed_rate),
            shortfall: unit.rounded(scored.score.shortfall),
            machines: self.members.len() as u32,
            machines_counting: counting as u32,
            operators: self.operators,
            cycles: self.cycles,
            storm_hours: half_hours(self.storm_hours),
            hours_to_clear: scored.hours_to_clear.map(half_hours),
            one_machine_fewer: scored.one_machine_fewer.map(score_rounded),
            one_machine_more: scored.one_machine_more.map(score_rounded),
            one_operator_fewer: scored.one_operator_fewer.map(score_rounded),
            one_operator_more: scored.one_operator_more.map(score_rounded),
        }
    }

    pub fn inputs(&self, units: &[UnitState]) -> WorkInputs {
        WorkInputs {
            work: self.work,
            narrowest_width_mm: self.narrowest_width_mm,
            rate_unit: self.work.rate_unit(),
            needed_rate: self.needed_rate,
            operators: self.operators,
            storm_hours: self.storm_hours,
            units: self
                .members
                .iter()
                .map(|index| &units[*index])
                .map(|unit| WorkUnit {
                    unit_id: unit.unit_id,
                    rate: unit.document.rate,
                    counts: unit.document.counts,
                    works: unit.works.to_vec(),
                })
                .collect(),
        }
    }
}
