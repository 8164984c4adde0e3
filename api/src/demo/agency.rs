//! The generator: an instant and a seed give an agency, the same every time.

use std::collections::BTreeMap;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use rimeyard_rules::checklist::Checklist;
use rimeyard_rules::sheet::{Sheet, default_checklist, default_kinds};
use rimeyard_store::Role;
use rimeyard_store::part::NewPart;
use uuid::Uuid;

use super::calendar::Calendar;
use super::cases::{self, Case};
use super::draw::Draw;
use super::fleet::{AGENCY, DEPOTS, DepotPlan, MODELS, PRICES_MINOR, rigging, sheet};
use super::ground::new_depot;
use super::machine::Machine;
use super::people::{of_role, people};
use super::plan::{self, Agency, Model, Person, Storm, Truth};
use super::present::present;
use super::shelves::{Shelves, parts, transfer};
use super::tasks;
use super::truth::{self, Days, Nature};
use super::weather::{on_record, snow_days};
use super::years::Years;

const DAY: SignedDuration = SignedDuration::from_hours(24);

/// Winters of history before the one that runs; of half the machines one winter less was ever written down.
const WINTERS_BEFORE: i16 = 3;

/// Share of the machines of whose early years no papers are left.
const PAPERS_LOST: f64 = 0.15;

/// Bench time that a technician has for a machine, minutes a week.
const MINUTES_A_MACHINE: i32 = 25;

/// How long before its start the storm is known.
const STORM_AHEAD_H: i64 = 30;

/// The agency as it stands at `now`, and the truth behind it. Facts lie before `now`, the storm after it.
pub fn generate(now: Timestamp, seed: u64) -> (Agency, Vec<Truth>) {
    let draw = &mut Draw::new(seed, "agency");
    let founded = now - DAY * 365 * 4;
    let checklists: Vec<(Uuid, Checklist)> = default_kinds()
        .filter_map(|kind| Some((draw.id(founded), default_checklist(kind)?)))
        .collect();
    let models = MODELS.iter().enumerate().map(|(model, (name, kind))| {
        let checklist = checklists.iter().find(|(_, content)| content.kind == *kind);
        Model {
            id: draw.id(founded),
            name,
            checklist: checklist.expect("a checklist of each kind").0,
            sheet: sheet(model),
            price_minor: PRICES_MINOR[model],
        }
    });
    let models: Vec<Model> = models.collect();
    let people = people(draw, founded);
    let parts = parts(draw, founded);
    let storm = storm(draw.id(now), now);
    let mut truths = Vec::new();
    let depots = (1..).zip(&DEPOTS).map(|(number, plan)| {
        let depot = new_depot(draw.id(founded), plan);
        let zone = TimeZone::get(plan.zone).unwrap_or(TimeZone::UTC);
        let calendar = Calendar {
            now,
            zone,
            season_starts: depot.season.starts,
            season_ends: depot.season.ends,
        };
        let making = Making {
            seed,
            number,
            plan,
            calendar: &calendar,
            models: &models,
            people: &people,
            storm: &storm,
        };
        let (machines, truth): (Vec<_>, Vec<_>) = making.machines().into_iter().unzip();
        truths.extend(truth);
        let shelves = Shelves {
            number,
            calendar: &calendar,
            list: &parts,
            machines: counts(plan, &models),
            first: calendar.winter() - WINTERS_BEFORE,
        };
        let stock = shelves.moves(&mut Draw::new(seed, &format!("shelf {}", plan.name)));
        let labour = labour(&machines, &calendar);
        plan::Depot {
            depot,
            machines,
            stock,
            travel_minutes: plan.travel_minutes,
            labour,
            snowfall: on_record(
                &calendar,
                seed,
                plan.name,
                plan.snow_days,
                number == DEPOTS.len(),
            ),
        }
    });
    let mut depots: Vec<plan::Depot> = depots.collect();
    lend(draw, &mut depots, &parts, now);
    (
        Agency {
            name: AGENCY,
            now,
            seed,
            checklists,
            models,
            parts,
            people,
            depots,
            storm,
        },
        truths,
    )
}

/// Cold, long and deep enough that a depot a few machines down is short.
fn storm(id: Uuid, now: Timestamp) -> Storm {
    let hour = now.as_second().div_euclid(3600) + STORM_AHEAD_H;
    let starts_at = Timestamp::from_second(hour * 3600).unwrap_or(now);
    Storm {
        id,
        name: "Long Lantern",
        starts_at,
        ends_at: starts_at + SignedDuration::from_hours(16),
        depth_mm: 280.0,
        reclear_mm: 100.0,
        temperature_c: -11.0,
        low_c: -24.0,
    }
}

/// How many machines of each sheet a depot has.
fn counts<'a>(plan: &DepotPlan, models: &'a [Model]) -> Vec<(&'a Sheet, usize)> {
    let counts = plan.machines.iter().chain(&plan.others);
    models
        .iter()
        .zip(counts)
        .map(|(model, count)| (&model.sheet, usize::from(*count)))
        .collect()
}

/// Its technicians' hours: the more machines they see to, the more.
fn labour(machines: &[plan::Machine], calendar: &Calendar) -> Vec<(usize, Date, i32)> {
    let from = Date::constant(calendar.winter() - WINTERS_BEFORE, 8, 1);
    let mut hours = BTreeMap::new();
    for machine in machines {
        *hours.entry(machine.technician).or_insert(0) += MINUTES_A_MACHINE;
    }
    hours
        .into_iter()
        .map(|(technician, minutes)| (technician, from, minutes))
        .collect()
}

/// The second depot lends the eighth a belt.
fn lend(draw: &mut Draw, depots: &mut [plan::Depot], parts: &[NewPart], now: Timestamp) {
    let (from, to) = (1, 7);
    let Some(borrower) = depots.get(to).and_then(|depot| depot.depot.id) else {
        return;
    };
    if let Some(lender) = depots.get_mut(from) {
        let calendar = Calendar {
            now,
            zone: TimeZone::get(&lender.depot.zone).unwrap_or(TimeZone::UTC),
            season_starts: lender.depot.season.starts,
            season_ends: lender.depot.season.ends,
        };
        lender
            .stock
            .push(transfer(draw, parts, borrower, &calendar));
    }
}

/// What the machines of one depot are made from.
struct Making<'a> {
    seed: u64,
    number: usize,
    plan: &'a DepotPlan,
    calendar: &'a Calendar,
    models: &'a [Model],
    people: &'a [Person],
    storm: &'a Storm,
}

impl Making<'_> {
    fn machines(&self) -> Vec<(plan::Machine, Truth)> {
        let current = self.calendar.winter();
        let snow: BTreeMap<_, _> = (current - WINTERS_BEFORE..=current)
            .map(|winter| {
                (
                    winter,
                    snow_days(
                        self.calendar,
                        self.seed,
                        self.plan.name,
                        winter,
                        self.plan.snow_days,
                    ),
                )
            })
            .collect();
        let counts = self.plan.machines.iter().chain(&self.plan.others);
        let models = counts.enumerate();
        let models =
            models.flat_map(|(model, count)| std::iter::repeat_n(model, usize::from(*count)));
        (1..)
            .zip(models)
            .map(|(number, model)| self.machine(number, model, &snow))
            .collect()
    }

    fn machine(
        &self,
        number: usize,
        model: usize,
        snow: &super::years::Snow,
    ) -> (plan::Machine, Truth) {
        let rigging = rigging(model, self.number);
        let model = &self.models[model];
        let tag = cases::tag(self.number, number);
        let case = cases::case(self.number, number);
        let mut draw = Draw::new(self.seed, &tag);
        let current = self.calendar.winter();
        let winters = match case {
            Some(Case::BeltLow) => 5,
            Some(Case::PastItsTime) => 9,
            _ => draw.between(1.0, 9.0) as i16,
        };
        let acquired_on = Date::constant(current - winters, 8, 1 + draw.between(0.0, 28.0) as i8);
        let acquired = self.calendar.at(acquired_on, 12.0);
        let shorter = case != Some(Case::BeltLow) && draw.chance(0.5);
        let written_winters = WINTERS_BEFORE - i16::from(shorter);
        let first = current - winters.min(written_winters);
        let kept = matches!(case, Some(Case::BeltLow | Case::PastItsTime));
        let papers = kept || !draw.chance(PAPERS_LOST);
        let (technician, operator) = self.man(number);
        let written = plan::Machine {
            id: draw.id(acquired),
            tag,
            model: model.id,
            rigging,
            away: match case {
                Some(Case::Away(place)) => Some(place),
                _ => None,
            },
            acquired_on: papers.then_some(acquired_on),
            technician,
            operator,
            fittings: Vec::new(),
            inspections: Vec::new(),
            meter: Vec::new(),
            tasks: Vec::new(),
            limited_use: None,
        };
        let sheet: &Sheet = &model.sheet;
        let kind = truth::kind(&sheet.kind);
        let nature = Nature::new(&mut draw, kind);
        let mut machine = Machine::new(draw, self.calendar, sheet, (kind, nature), written);
        if case == Some(Case::BeltLow) {
            machine.nature.hours_a_day = 1.5;
        }
        let before = winters - written_winters;
        if before > 0 {
            let days = match kind.days {
                Days::Snow => f64::from(self.plan.snow_days),
                Days::Weekdays => kind.runs_on * self.calendar.weekdays(current).len() as f64,
            };
            let typical = days * machine.nature.hours_a_day;
            machine.first_hours = machine.draw.lognormal(f64::from(before) * typical, 0.15);
        }
        let begins = self.calendar.at(Date::constant(first, 8, 31), 12.0);
        if !kind.metered {
            machine.meter_dead_from = Some(acquired);
        }
        if case == Some(Case::DeadMeter) {
            machine.meter_dead_from =
                Some(self.calendar.at(Date::constant(current - 1, 12, 1), 8.0));
        }
        if case == Some(Case::SafetyOverdue) {
            machine.untested_from = Some(self.calendar.at(Date::constant(current, 1, 15), 0.0));
        }
        let until = match case {
            Some(Case::Stood240Days) => self.storm.starts_at - DAY * 240,
            _ => self.calendar.now,
        };
        let years = Years {
            seed: self.seed,
            snow,
            first,
            until,
            case,
        };
        years.equip(&mut machine, acquired, begins);
        years.run(&mut machine);
        years.prepare(&mut machine, begins, self.plan.snow_days);
        years.live(&mut machine);
        present(&mut machine, case, self.storm);
        tasks::done(&mut machine, self.seed, case);
        machine.done()
    }

    /// Who sees to a machine: one of two technicians who share the depot, and its operator.
    fn man(&self, machine: usize) -> (usize, usize) {
        let technicians = of_role(self.people, Role::Technician, self.number - 1);
        let operators = of_role(self.people, Role::Operator, self.number - 1);
        (
            technicians[(self.number + machine % 2) % technicians.len()],
            operators[0],
        )
    }
}
