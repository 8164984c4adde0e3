//! A depot's kinds of work: which ground, which machines, how long they run, and the chance of keeping up.

use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::score_rounded;
use crate::demand::{DutyDemand, needed_rate};
use crate::facts::Duty;
use crate::score::{Score, UnitChance, depot_scores, hours_to_clear};
use crate::sheet::Work;
use crate::unit::model::{NODES, mean_over_nodes};
use crate::unit::{Shared, UnitState, can_work, rate};

/// One kind of work of a depot: duties with a narrowest width are a kind of work of their own.
pub struct WorkOf<'a> {
    pub work: Work,
    pub narrowest_width_mm: Option<f64>,
    pub duties: Vec<&'a Duty>,
    pub operators: Option<u32>,
    /// Its machines, by place in the facts: those rigged for it for which it is the narrowest ground they fit.
    pub members: Vec<usize>,
    pub needed_rate: f64,
    pub cycles: u32,
    /// Running hours of each machine in the storm.
    pub storm_hours: f64,
    /// Area cleared in all cycles together, m2.
    pub work_m2: f64,
}

/// A kind of work as published.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct WorkState {
    /// The kind of work.
    pub work: Work,
    /// Its narrowest place, mm.
    pub narrowest_width_mm: Option<f64>,
    /// The chance of keeping up, 0 to 100, whole; its lower bound where it could not be computed exactly.
    pub score: f64,
    /// Upper bound of the same.
    pub score_at_most: f64,
    /// The same with unproven units at their chance.
    pub score_with_unproven: f64,
    /// Rate needed, m2/h, whole.
    pub needed_rate: f64,
    /// Expected shortfall of the rate, m2/h, whole.
    pub shortfall: f64,
    /// Machines rigged for it.
    pub machines: u32,
    /// Machines that count.
    pub machines_counting: u32,
    /// Operators entered.
    pub operators: Option<u32>,
    /// How often all of it is cleared.
    pub cycles: u32,
    /// Running hours of each machine, to half an hour.
    pub storm_hours: f64,
    /// Expected hours until all cycles are cleared, where anything runs, to half an hour.
    pub hours_to_clear: Option<f64>,
    /// The score without the machine that matters most.
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
    /// Its narrowest place, mm.
    pub narrowest_width_mm: Option<f64>,
    /// Rate needed, m2/h.
    pub needed_rate: f64,
    /// Operators entered.
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
    /// Its rate, m2/h.
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
    pub one_machine_more: Option<f64>,
    pub one_operator_fewer: Option<f64>,
    pub one_operator_more: Option<f64>,
    /// Summed rate of the best machines that count, as many as there are operators.
    pub best_rate: f64,
    pub hours_to_clear: Option<f64>,
}

/// Every kind of work that has duties, the narrow ones first.
pub fn works<'a>(shared: &Shared<'a>) -> Vec<WorkOf<'a>> {
    let facts = shared.facts;
    let mut works: Vec<WorkOf<'a>> = Vec::new();
    for duty in facts.duties.iter().filter(|duty| duty.area_m2 > 0.0) {
        let same = |work: &&mut WorkOf<'a>| {
            work.work == duty.work && work.narrowest_width_mm == duty.narrowest_width_mm
        };
        match works.iter_mut().find(same) {
            Some(work) => work.duties.push(duty),
            None => works.push(WorkOf {
                work: duty.work,
                narrowest_width_mm: duty.narrowest_width_mm,
                duties: vec![duty],
                operators: None,
                members: Vec::new(),
                needed_rate: 0.0,
                cycles: 0,
                storm_hours: 0.0,
                work_m2: 0.0,
            }),
        }
    }
    works.sort_by(|left, right| {
        let width = |work: &WorkOf<'_>| work.narrowest_width_mm.unwrap_or(f64::INFINITY);
        left.work
            .cmp(&right.work)
            .then(width(left).total_cmp(&width(right)))
    });
    for operators in &facts.operators {
        let same = works.iter_mut().find(|work| {
            work.work == operators.work && work.narrowest_width_mm == operators.narrowest_width_mm
        });
        if let Some(work) = same {
            work.operators = Some(
                work.operators
                    .unwrap_or(0)
                    .saturating_add(operators.per_shift),
            );
        }
    }
    for (index, unit) in facts.units.iter().enumerate() {
        let Some(sheet) = facts.sheets.get(&unit.model) else {
            continue;
        };
        let width = sheet.rate.width_mm.value;
        let fits = |work: &&mut WorkOf<'_>| {
            work.work == unit.rigging
                && work
                    .narrowest_width_mm
                    .is_none_or(|narrowest| width <= narrowest)
        };
        if let Some(work) = works.iter_mut().find(fits) {
            work.members.push(index);
        }
    }
    for work in &mut works {
        work.demand(shared);
    }
    works
}

impl WorkOf<'_> {
    fn demand(&mut self, shared: &Shared<'_>) {
        let storm = &shared.storm;
        let duties: Vec<DutyDemand> = self
            .duties
            .iter()
            .map(|duty| DutyDemand {
                area_m2: duty.area_m2,
                clear_within_h: duty.clear_within_h.max(0.01),
            })
            .collect();
        let demand = needed_rate(storm.hours, storm.depth_mm, storm.reclear_mm, &duties);
        let area: f64 = duties.iter().map(|duty| duty.area_m2).sum();
        let longest = duties
            .iter()
            .map(|duty| duty.clear_within_h)
            .fold(0.0, f64::max);
        self.needed_rate = demand.needed_rate;
        self.cycles = demand.cycles;
        self.work_m2 = f64::from(demand.cycles) * area;
        let able = self
            .members
            .iter()
            .map(|index| &shared.facts.units[*index])
            .filter(|unit| can_work(unit, shared));
        let together = self.best(able.map(|unit| rate(unit, shared)).collect());
        let alone = storm.hours + longest;
        self.storm_hours = if together > 0.0 {
            alone.min(self.work_m2 / together)
        } else {
            alone
        };
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
        let counting = self
            .members
            .iter()
            .map(|index| &units[*index])
            .filter(|unit| unit.inputs.counts(with_unproven));
        counting
            .map(|unit| (unit.document.rate, unit.works))
            .unzip()
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
        let weight = |index: &usize| rates[*index] * mean_over_nodes(&works[*index]);
        let first = (0..rates.len()).max_by(|left, right| weight(left).total_cmp(&weight(right)));
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
        let mean_units: Vec<UnitChance> = rates
            .iter()
            .zip(&works)
            .map(|(rate, works)| UnitChance {
                works: mean_over_nodes(works),
                rate: *rate,
            })
            .collect();
        Scored {
            score,
            with_unproven,
            one_machine_fewer: first.map(without),
            one_machine_more: first.map(with_twin),
            one_operator_fewer: self
                .operators
                .and_then(|operators| operators.checked_sub(1))
                .map(with_operators),
            one_operator_more: self
                .operators
                .map(|operators| with_operators(operators.saturating_add(1))),
            best_rate: self.best(rates.clone()),
            hours_to_clear: hours_to_clear(&mean_units, self.work_m2, self.operators)
                .expected_hours,
        }
    }

    pub fn state(&self, scored: &Scored, units: &[UnitState]) -> WorkState {
        let counting = self
            .members
            .iter()
            .filter(|index| units[**index].document.counts)
            .count();
        let half_hours = |hours: f64| (hours * 2.0).round() / 2.0;
        WorkState {
            work: self.work,
            narrowest_width_mm: self.narrowest_width_mm,
            score: score_rounded(scored.score.at_least),
            score_at_most: score_rounded(scored.score.at_most),
            score_with_unproven: score_rounded(scored.with_unproven),
            needed_rate: self.needed_rate.round(),
            shortfall: scored.score.shortfall.round(),
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
