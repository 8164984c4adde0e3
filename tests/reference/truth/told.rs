//! What is foretold of one depot, taken from its evaluation, beside what happens.

use rimeyard_rules::calculations::running_hours;
use rimeyard_rules::depot::Evaluation;
use rimeyard_rules::sheet::Clock;
use rimeyard_rules::unit::UnitState;
use rimeyard_rules::unit::parts::PartState;
use rimeyard_rules::unit::standing::Figure;

use super::after::{Happened, Lasted};
use super::depot::{Case, Depot};
use super::judge::{Advised, Forecast, Judged, Kind, Quantile, Under};
use super::machine::Machine;
use super::oracle::{Foreseen, Knows, foresee};
use super::sky::{Day, date};

/// What those who know foresee of a machine, by what is asked of it.
type Knowing<'a> = dyn Fn(&dyn Fn(&Foreseen) -> f64) -> [f64; 2] + 'a;

/// A depot that is being judged.
pub struct Told<'a> {
    pub case: &'a Case,
    pub depot: &'a Depot,
    pub happened: &'a [Happened],
    pub number: u64,
    pub bad: bool,
}

impl Told<'_> {
    /// Adds what there is to say of it.
    pub fn judge(
        &self,
        evaluation: &Evaluation,
        ends: [Day; 2],
        ask: &[Knows],
        judged: &mut Judged,
    ) {
        let asked = |knows: Knows| {
            ask.contains(&knows)
                .then(|| foresee(self.case, self.depot, ends, knows))
        };
        let knowing = [Knows::Populations, Knows::Rates].map(asked);
        let machines = evaluation
            .units
            .iter()
            .zip(&self.depot.machines)
            .zip(self.happened);
        for (number, ((unit, machine), happened)) in machines.enumerate() {
            let foreseen = |of: &dyn Fn(&Foreseen) -> f64| {
                let [first, second] = &knowing;
                let of = |one: &Option<(Vec<Foreseen>, f64)>| {
                    one.as_ref().map_or(f64::NAN, |one| of(&one.0[number]))
                };
                [of(first), of(second)]
            };
            self.judge_unit(unit, machine, happened, &foreseen, judged);
        }
        // All machines are inspected once the season runs; before that the score counts them as nothing.
        if let Some(score) = evaluation.depot.document.score_with_unproven {
            let machines = self.depot.machines.iter().zip(self.happened);
            let working = machines.filter(|one| one.1.works).map(|one| one.0.model);
            let kept_up = self.depot.ground.is_kept_up(working);
            let knowing = knowing.map(|one| one.map_or(f64::NAN, |one| one.1));
            judged
                .forecasts
                .push(self.forecast(Kind::Depot, score / 100.0, knowing, kept_up));
        }
    }

    fn forecast(&self, kind: Kind, chance: f64, knowing: [f64; 2], happened: bool) -> Forecast {
        Forecast {
            kind,
            depot: self.number,
            chance,
            knowing,
            happened,
            alone: false,
        }
    }

    fn judge_unit(
        &self,
        unit: &UnitState,
        machine: &Machine,
        happened: &Happened,
        foreseen: &Knowing<'_>,
        judged: &mut Judged,
    ) {
        let factor = |name: &str| {
            let factors = unit.inputs.factors.iter();
            factors
                .clone()
                .find(|factor| factor.factor == name)
                .map(|factor| factor.chance)
        };
        let mut say =
            |kind: Kind, chance: Option<f64>, of: &dyn Fn(&Foreseen) -> f64, happened: bool| {
                if let Some(chance) = chance {
                    judged
                        .forecasts
                        .push(self.forecast(kind, chance, foreseen(of), happened));
                }
            };
        say(
            Kind::Starts,
            factor("start"),
            &|one| one.starts,
            happened.starts,
        );
        let enough = factor("shear fasteners");
        say(
            Kind::Fasteners,
            enough,
            &|one| one.fasteners,
            happened.fasteners,
        );
        say(
            Kind::Unit,
            Some(unit.inputs.chance()),
            &|one| one.works,
            happened.works,
        );
        let parts = self.case.population.parts.iter().enumerate();
        for (place, figures) in parts {
            let known = machine.is_known(machine.part(place));
            let state = unit
                .document
                .parts
                .iter()
                .find(|state| state.part == figures.part);
            let Some(state) = state else { continue };
            let three = [
                state.lasts.storm,
                state.lasts.this_season,
                state.lasts.next_season,
            ];
            let came = |lasted: Lasted| [lasted.storm, lasted.season, lasted.next_season];
            if figures.wear.is_some() {
                let kinds = [Kind::WornStorm, Kind::WornSeason, Kind::WornNext];
                let came = came(happened.wear[place]);
                for (at, kind) in kinds.into_iter().enumerate() {
                    let kind = match (known, kind) {
                        (true, kind) => kind,
                        (false, Kind::WornSeason) => Kind::UnknownSeason,
                        _ => continue,
                    };
                    say(kind, Some(three[at]), &|one| one.wear[place][at], came[at]);
                }
                if let Some(life) = &figures.life
                    && life.clock == Clock::Hours
                    && known
                {
                    // How a measured part breaks all of a sudden.
                    let breaks = unit.inputs.factors.iter();
                    let mut breaks =
                        breaks.filter(|one| one.factor.starts_with(&format!("{} ", figures.part)));
                    let chance = breaks.next().map(|factor| factor.chance);
                    say(
                        Kind::LivedStorm,
                        chance,
                        &|one| one.life[place][0],
                        happened.life[place].storm,
                    );
                }
            } else if figures.life.is_some() {
                let kinds = [Kind::LivedStorm, Kind::LivedSeason, Kind::LivedNext];
                let came = came(happened.life[place]);
                for (at, kind) in kinds.into_iter().enumerate() {
                    let kind = match (known, kind) {
                        (true, kind) => kind,
                        (false, Kind::LivedSeason) => Kind::UnknownLived,
                        _ => continue,
                    };
                    say(kind, Some(three[at]), &|one| one.life[place][at], came[at]);
                }
            }
        }
        self.judge_quantiles(unit, machine, happened, judged);
    }

    fn judge_quantiles(
        &self,
        unit: &UnitState,
        machine: &Machine,
        happened: &Happened,
        judged: &mut Judged,
    ) {
        let mut say = |of: Quantile, under: [bool; 3]| {
            judged.unders.push(Under {
                of,
                under,
                alone: false,
            });
        };
        let usage = unit
            .inputs
            .factors
            .iter()
            .find_map(|factor| match &factor.figure {
                Some(Figure::WearSeason(input)) => Some(input.usage),
                _ => None,
            });
        let (hours, days) = happened.season_hours;
        if let Some(usage) = usage.filter(|_| days > 0) {
            let foretold = running_hours::calculate(&running_hours::Input {
                shape: usage.shape,
                prior_days: usage.prior_days,
                prior_hours_per_day: usage.prior_hours_per_day,
                run_hours: usage.run_hours,
                snow_days: usage.snow_days,
                future_days: days as f64,
                at_hours: hours,
            });
            let foretold = foretold.expect("hours");
            let under = [foretold.p10, foretold.p50, foretold.p90].map(|most| hours <= most);
            say(Quantile::HoursOfUse, under);
        }
        for (place, figures) in self.case.population.parts.iter().enumerate() {
            let part = machine.part(place);
            let state = unit
                .document
                .parts
                .iter()
                .find(|state| state.part == figures.part);
            let measured = state.and_then(|state: &PartState| state.measured.as_ref());
            let (Some(state), Some(measured), true) = (state, measured, machine.is_known(part))
            else {
                continue;
            };
            let mut ages: Vec<f64> = part.readings.iter().map(|reading| reading.hours).collect();
            ages.dedup();
            judged.advised.push(Advised {
                advice: state.advice,
                season: state.lasts.this_season,
                lasted: happened.wear[place],
                bends: (ages.len() >= 4).then_some(measured.bends),
                bad: self.bad,
            });
            let hours = &measured.hours;
            // What may be past already has no place among quantiles; nor has what may never come.
            if let (Some(p10), Some(p50), Some(p90)) = (hours.p10, hours.p50, hours.p90)
                && p10 > 0.0
            {
                let left = happened.hours_left[place];
                judged.unders.push(Under {
                    of: Quantile::HoursLeft,
                    under: [p10, p50, p90].map(|most| left <= most),
                    alone: false,
                });
            }
            let dates = &measured.dates;
            let today = date(self.depot.sky.today);
            if let (Some(p10), Some(p50), Some(p90)) = (dates.p10, dates.p50, dates.p90)
                && p10 > today
            {
                let came = happened.day_left[place].map(date);
                judged.unders.push(Under {
                    of: Quantile::DayLeft,
                    under: [p10, p50, p90].map(|by| came.is_some_and(|came| came <= by)),
                    alone: false,
                });
            }
        }
    }
}
