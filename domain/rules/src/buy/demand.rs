//! What one depot's machines may ask for, part by part and winter by winter.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use jiff::civil::Date;
use uuid::Uuid;

use super::{Catalogue, Horizon, last_day};
use crate::depot::storm_hours;
use crate::due::State;
use crate::facts::{DepotFacts, UnitFacts};
use crate::season::{Season, Winter, day_number};
use crate::sheet::{PartSpec, Sheet};
use crate::spares::BreakRate;
use crate::unit::Shared;
use crate::unit::clock::UnitClock;
use crate::unit::model::{self, Model};
use crate::unit::parts::Running;
use crate::unit::parts::ahead::{Ahead, WearOut};
use crate::unit::tasks::tasks;

/// What a depot may need of the parts of the list.
#[derive(Debug, Clone)]
pub struct DepotDemand {
    /// The depot.
    pub depot_id: Uuid,
    /// Its name.
    pub name: String,
    /// How many machines it has.
    pub machines: usize,
    /// Its civil date.
    pub today: Date,
    /// The season running, else the next.
    pub season: Season,
    /// What its sheets name in their parts' jobs and the list does not have.
    pub not_listed: BTreeSet<String>,
    /// The past winter of each scenario; none where its days of use are typical ones, in one scenario.
    pub(super) winters: Vec<Winter>,
    pub(super) parts: BTreeMap<Uuid, PartDemand>,
    horizon: Horizon,
}

/// What a depot may need of one part.
#[derive(Debug, Clone, Default)]
pub(super) struct PartDemand {
    /// Whether a unit stands without it.
    pub stops: bool,
    /// How many parts are fitted that take it and no order stands for.
    pub fitted: u32,
    /// How many of them nobody ever measured.
    pub never_measured: u32,
    /// In each scenario the chance of each of them to wear out.
    pub wear_out: Vec<Vec<f64>>,
    /// Of each model that breaks it how often.
    pub breaking: BTreeMap<Uuid, Breaking>,
    /// What open orders want.
    pub orders: i64,
    /// Of a kit: how many tasks take, for certain.
    pub kits: i64,
}

/// A model's shear fasteners.
#[derive(Debug, Clone)]
pub(super) struct Breaking {
    pub rate: BreakRate,
    pub machines: u32,
    /// In each scenario the running hours to come of all of them.
    pub hours: Vec<f64>,
}

/// What a model's sheet takes, in parts of the list.
struct Takes {
    /// By the place of the part on the sheet.
    parts: Vec<Vec<Uuid>>,
    /// At each break of a shear fastener.
    breaks: Vec<Uuid>,
    /// Kits, by the task that takes them.
    kits: Vec<(String, Uuid)>,
}

impl DepotDemand {
    /// What the depot's machines may need as it stands at `as_of`.
    pub fn of(
        facts: &DepotFacts,
        as_of: Timestamp,
        catalogue: &Catalogue,
        horizon: Horizon,
    ) -> Self {
        let shared = Shared::of(facts, as_of);
        let units = facts.units.iter();
        let clocks: Vec<Option<UnitClock<'_>>> = units
            .map(|unit| {
                let sheet = facts.sheets.get(&unit.model)?;
                Some(UnitClock::new(unit, sheet, &shared))
            })
            .collect();
        let models = model::models(&shared, &clocks);
        let mut demand = DepotDemand {
            depot_id: facts.id,
            name: facts.name.clone(),
            machines: facts.units.len(),
            today: shared.today,
            season: shared.snow_days.this_season,
            not_listed: BTreeSet::new(),
            winters: shared.snow_days.winters.clone(),
            parts: BTreeMap::new(),
            horizon,
        };
        let takes: BTreeMap<Uuid, Takes> = facts
            .sheets
            .iter()
            .map(|(id, sheet)| (*id, demand.takes(sheet, catalogue)))
            .collect();
        let mut wanted: BTreeMap<(Uuid, Uuid), i64> = BTreeMap::new();
        for part in &facts.wanted {
            demand.order(part.part_id, part.wanted, catalogue);
            for (unit_id, quantity) in &part.by_unit {
                *wanted.entry((*unit_id, part.part_id)).or_default() += quantity;
            }
        }
        // Days that something must last to, each once.
        let mut last_days: Vec<Date> = takes
            .values()
            .flat_map(Takes::all)
            .map(|id| demand.last_day(catalogue, id))
            .collect();
        last_days.sort_unstable();
        last_days.dedup();
        let storm_hours = storm_hours(&shared);
        for ((unit, clock), storm_hours) in facts.units.iter().zip(&clocks).zip(storm_hours) {
            let (Some(clock), Some(model), Some(takes)) =
                (clock, models.get(&unit.model), takes.get(&unit.model))
            else {
                continue;
            };
            let running = Running::new(&shared, unit, clock, storm_hours);
            let mut of_unit = OfUnit {
                unit,
                model,
                ahead: running.ahead(last_days.iter().map(|day| day_number(*day))),
                running: &running,
                last_days: &last_days,
                wanted: &mut wanted,
            };
            demand.add_parts(&mut of_unit, takes, catalogue);
            demand.add_breaks(&of_unit, takes, catalogue);
            demand.add_kits(&shared, &of_unit, clock, takes, catalogue);
        }
        demand
    }

    /// The last day that this part must last to here.
    pub(super) fn last_day(&self, catalogue: &Catalogue, id: Uuid) -> Date {
        let part = catalogue.parts.get(&id);
        let lead_time_days = part.map_or(0, |part| part.lead_time_days);
        last_day(self.horizon, self.today, self.season.ends, lead_time_days)
    }

    /// How many scenarios there are.
    pub(super) fn scenarios(&self) -> usize {
        self.winters.len().max(1)
    }

    fn takes(&mut self, sheet: &Sheet, catalogue: &Catalogue) -> Takes {
        let mut listed = |words: &[String]| {
            let mut ids: Vec<Uuid> = Vec::new();
            for word in words {
                match catalogue.words.get(word) {
                    Some(id) if !ids.contains(id) => ids.push(*id),
                    Some(_) => {}
                    None => drop(self.not_listed.insert(word.clone())),
                }
            }
            ids
        };
        let job = |part: &PartSpec| part.job.as_ref().map(|job| job.parts.clone());
        let parts = sheet
            .parts
            .iter()
            .map(|part| listed(&job(part).unwrap_or_default()));
        let parts = parts.collect();
        let breaks = sheet
            .spares_job()
            .map_or(Vec::new(), |job| listed(&job.parts));
        let is_kit = |id: &Uuid| {
            catalogue
                .parts
                .get(id)
                .is_some_and(|part| !part.kit.is_empty())
        };
        let kits = sheet.tasks.iter().flat_map(|task| {
            let named = task
                .parts
                .iter()
                .filter_map(|word| catalogue.words.get(word));
            named
                .filter(|id| is_kit(id))
                .map(|id| (task.task.clone(), *id))
        });
        Takes {
            parts,
            breaks,
            kits: kits.collect(),
        }
    }

    /// What an order wants; a kit is wanted as its contents.
    fn order(&mut self, id: Uuid, quantity: i64, catalogue: &Catalogue) {
        let kit = catalogue.parts.get(&id).map_or(&[][..], |part| &part.kit);
        if kit.is_empty() {
            let orders = &mut self.parts.entry(id).or_default().orders;
            *orders = orders.saturating_add(quantity);
        }
        for (content, each) in kit {
            let orders = &mut self.parts.entry(*content).or_default().orders;
            *orders = orders.saturating_add(each.saturating_mul(quantity));
        }
    }

    fn add_parts(&mut self, of_unit: &mut OfUnit<'_, '_>, takes: &Takes, catalogue: &Catalogue) {
        let mut own: BTreeMap<Uuid, Vec<(bool, WearOut)>> = BTreeMap::new();
        for (place, part) in of_unit.model.parts.iter().enumerate() {
            if !of_unit.unit.rigging.concerned(part.spec.only_for) {
                // It is on an attachment that is not fitted.
                continue;
            }
            let mut known: BTreeMap<usize, WearOut> = BTreeMap::new();
            for id in &takes.parts[place] {
                let end = of_unit.end(self.last_day(catalogue, *id));
                let wear_out = known.entry(end).or_insert_with(|| {
                    let running = of_unit.running;
                    running.wears_out(place, part, &of_unit.ahead, end)
                });
                let stops = part.spec.effect.takes_out();
                own.entry(*id).or_default().push((stops, wear_out.clone()));
            }
        }
        for (id, mut fitted) in own {
            // The likeliest are those that the orders are for.
            let sum = |one: &WearOut| one.chances.iter().sum::<f64>();
            fitted.sort_by(|(_, one), (_, other)| sum(other).total_cmp(&sum(one)));
            let ordered = of_unit.ordered(id, fitted.len(), catalogue);
            let scenarios = self.scenarios();
            let demand = self.parts.entry(id).or_default();
            demand.stops |= fitted.iter().any(|(stops, _)| *stops);
            demand.wear_out.resize(scenarios, Vec::new());
            for (_, wear_out) in fitted.into_iter().skip(ordered) {
                demand.fitted += 1;
                demand.never_measured += u32::from(wear_out.never_measured);
                for (all, chance) in demand.wear_out.iter_mut().zip(wear_out.chances) {
                    all.push(chance);
                }
            }
        }
    }

    fn add_breaks(&mut self, of_unit: &OfUnit<'_, '_>, takes: &Takes, catalogue: &Catalogue) {
        let OfUnit { unit, model, .. } = of_unit;
        let Some(shear) = &model.sheet.shear_fasteners else {
            return;
        };
        if !model
            .sheet
            .check_concerns(&shear.fitted_check, unit.rigging)
        {
            return;
        }
        for id in &takes.breaks {
            let end = of_unit.end(self.last_day(catalogue, *id));
            let scenarios = self.scenarios();
            let demand = self.parts.entry(*id).or_default();
            // Without a fastener of its maker nothing turns.
            demand.stops = true;
            let breaking = demand
                .breaking
                .entry(unit.model)
                .or_insert_with(|| Breaking {
                    rate: model.break_rate(shear),
                    machines: 0,
                    hours: vec![0.0; scenarios],
                });
            breaking.machines += 1;
            for (sum, hours) in breaking.hours.iter_mut().zip(of_unit.ahead.mean_hours(end)) {
                *sum += hours;
            }
        }
    }

    fn add_kits(
        &mut self,
        shared: &Shared<'_>,
        of_unit: &OfUnit<'_, '_>,
        clock: &UnitClock<'_>,
        takes: &Takes,
        catalogue: &Catalogue,
    ) {
        if takes.kits.is_empty() {
            return;
        }
        let (unit, sheet) = (of_unit.unit, of_unit.model.sheet);
        for task in tasks(shared, unit, clock, sheet, of_unit.running) {
            for (_, id) in takes.kits.iter().filter(|(code, _)| *code == task.task) {
                let last_day = self.last_day(catalogue, *id);
                let falls_due = match task.state {
                    State::Deferred => task.deferred_until.is_some_and(|until| until < last_day),
                    State::Due | State::Overdue | State::LongOverdue => true,
                    State::NotDue | State::Coming => task.late.is_some_and(|late| late <= last_day),
                };
                if falls_due {
                    self.parts.entry(*id).or_default().kits += 1;
                }
            }
        }
    }
}

/// The words by which a sheet names what is kept for its machines: what its parts' jobs take, its shear fasteners, and what
/// its tasks take, among which kits may be.
pub fn words(sheet: &Sheet) -> impl Iterator<Item = &String> {
    let jobs = sheet.parts.iter().filter_map(|part| part.job.as_ref());
    let jobs = jobs.chain(sheet.spares_job()).flat_map(|job| &job.parts);
    jobs.chain(sheet.tasks.iter().flat_map(|task| &task.parts))
}

impl Takes {
    fn all(&self) -> impl Iterator<Item = Uuid> {
        let parts = self.parts.iter().flatten().chain(&self.breaks).copied();
        parts.chain(self.kits.iter().map(|(_, id)| *id))
    }
}

/// One unit, as its parts are counted.
struct OfUnit<'a, 's> {
    unit: &'a UnitFacts,
    model: &'a Model<'s>,
    running: &'a Running<'a>,
    ahead: Ahead,
    /// The days of `ahead`, in order.
    last_days: &'a [Date],
    /// What open orders want for each unit of each part, less what was counted.
    wanted: &'a mut BTreeMap<(Uuid, Uuid), i64>,
}

impl OfUnit<'_, '_> {
    fn end(&self, last_day: Date) -> usize {
        self.last_days.partition_point(|day| *day < last_day)
    }

    /// For how many of the unit's parts that take this one an open order stands, at most so many. An order wants a kit as
    /// its contents.
    fn ordered(&mut self, id: Uuid, most: usize, catalogue: &Catalogue) -> usize {
        let kit = catalogue.parts.get(&id).map_or(&[][..], |part| &part.kit);
        let one = [(id, 1)];
        let contents = if kit.is_empty() { &one[..] } else { kit };
        let wanted = |part: &Uuid| self.wanted.get(&(self.unit.id, *part)).copied();
        let whole = contents
            .iter()
            .map(|(part, each)| wanted(part).unwrap_or(0) / each.max(&1));
        let ordered = whole.min().unwrap_or(0).clamp(0, most as i64);
        for (part, each) in contents {
            if let Some(left) = self.wanted.get_mut(&(self.unit.id, *part)) {
                *left -= ordered * each;
            }
        }
        ordered as usize
    }
}
