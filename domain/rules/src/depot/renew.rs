//! Repair or renew, machine by machine of a depot, with how it did in season: from the depot's facts and what its machines
//! cost.
//!
//! Other machines that a machine is held against are those of its model at its depot: whoever may see the machine may see
//! these, so everybody gets the same answer.

use std::collections::BTreeMap;

use jiff::Timestamp;
use jiff::civil::Date;
use serde::Serialize;
use uuid::Uuid;

use super::clocks_of;
use crate::Invalid;
use crate::availability::{DaysInSeason, Out, compliance};
use crate::calculations::renew::{Expected, FleetWinters, Input, Output, WinterCosts, calculate};
use crate::facts::{DepotFacts, MonthDay, UnitFacts};
use crate::renew::Assumption;
use crate::renew::currency::minor_units;
use crate::renew::words::of_any_machine;
use crate::season::{Season, Winter, date_of};
use crate::timeline::day_in;
use crate::unit::Shared;
use crate::unit::clock::UnitClock;
use crate::unit::tasks::{Kept, kept};

/// Winters back that costs are counted over at most.
pub const WINTERS_MAX: i16 = 30;

/// What the machines of a depot cost.
#[derive(Debug, Clone, Default)]
pub struct DepotCosts {
    /// The models that its machines are of.
    pub models: BTreeMap<Uuid, ModelPrice>,
    /// When its first work order was opened: no cost is on record from before.
    pub recorded_since: Option<Timestamp>,
    /// Of each machine; none of one that cost nothing.
    pub units: BTreeMap<Uuid, UnitCosts>,
}

/// A model by name, and what a new one costs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ModelPrice {
    /// The model's name.
    pub name: String,
    /// In minor units, and of which currency.
    pub price: Option<(i64, String)>,
}

/// What one machine cost. Money is in minor units of its model's currency.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct UnitCosts {
    /// What its work took, by winter.
    pub work: BTreeMap<Winter, Work>,
    /// What its open orders want still.
    pub waits_for: Work,
    /// When it was out.
    pub out: Vec<Out>,
    /// Hours that it ran in a winter, where meter readings of that one and of the one before say so.
    pub run_hours: BTreeMap<Winter, f64>,
}

/// What work takes.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Work {
    /// Parts at the list's present price.
    pub parts_minor: f64,
    /// Parts used that have no price in the model's currency.
    pub unpriced: i64,
    /// Labour.
    pub minutes: f64,
}

/// What is asked with; what is absent is assumed as the `renew` calculation says.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Terms {
    /// An hour of labour.
    pub labour_per_hour: Option<f64>,
    /// A stand-in's hire for a day.
    pub hire_per_day: Option<f64>,
    /// A year.
    pub discount_rate: Option<f64>,
    /// A year.
    pub resale_kept: Option<f64>,
    /// At most.
    pub years: Option<f64>,
}

impl Terms {
    /// The calculation's input with these and nothing else.
    pub fn input(&self) -> Input {
        Input {
            price: None,
            currency: None,
            age: None,
            resale_now: None,
            resale_kept: self.resale_kept,
            discount_rate: self.discount_rate,
            years: self.years,
            repair_now: 0.0,
            labour_per_hour: self.labour_per_hour,
            hire_per_day: self.hire_per_day,
            without_per_hour: None,
            expected: Expected::default(),
            winters: Vec::new(),
            fleet: Vec::new(),
        }
    }
}

/// What is taken to be so whatever machine is asked about, and where it is from.
pub fn assumed(terms: &Terms) -> Vec<Assumption> {
    of_any_machine(&terms.input())
}

/// Repair or renew, of one machine.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct UnitRenewal {
    /// The unit.
    pub unit_id: Uuid,
    /// The number on its tag.
    pub tag: String,
    /// Its depot.
    pub depot_id: Uuid,
    /// Its model.
    pub model_id: Uuid,
    /// That model's name.
    pub model: String,
    /// When the agency got it; its winters are counted from there.
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = Date))]
    pub acquired_on: Option<Date>,
    /// How it did in the season running, else in the last one.
    pub in_season: InSeason,
    /// What keeping it costs against a new one.
    pub renew: Output,
    /// How its costs were counted, and what could not be.
    pub counted: Vec<String>,
    /// What `renew` was worked out from: the `renew` calculation's input.
    pub inputs: Input,
}

/// How a machine did in a season.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct InSeason {
    /// The season.
    pub season: Season,
    /// Up to this day.
    #[cfg_attr(feature = "schema", schema(value_type = String, format = Date))]
    pub until: Date,
    /// Its days until then, from the day that the machine was first known.
    pub days: i32,
    /// Days on which it was out: held, stopped by an open finding, or down by a work order; if only for an hour.
    pub days_out: i32,
    /// The share of the days on which it was not out; null where there are no days.
    pub availability: Option<f64>,
    /// Tasks that fell due from the winter's 1 July to its 30 June, up to today.
    pub tasks_fallen_due: u64,
    /// Those of them that were done inside their window; or before it, where a season or a storm asks for them.
    pub tasks_done_inside: u64,
    /// The share of them; null where none fell due.
    pub compliance: Option<f64>,
    /// Proven starts in that time.
    pub starts_proven: usize,
    /// Inspections in that time.
    pub inspections: usize,
}

/// Of each machine of the depot, in the facts' order.
///
/// # Errors
/// What the calculation refuses of `terms`.
pub fn renew(
    facts: &DepotFacts,
    costs: &DepotCosts,
    terms: &Terms,
    as_of: Timestamp,
) -> Result<Vec<UnitRenewal>, Invalid> {
    let shared = Shared::of(facts, as_of);
    let clocks = clocks_of(&facts.units, &shared);
    let seasons = Seasons::of(&shared);
    let none = UnitCosts::default();
    let of = |unit: &UnitFacts| costs.units.get(&unit.id).unwrap_or(&none);
    let unit_costs: Vec<&UnitCosts> = facts.units.iter().map(of).collect();
    let mut inputs = Vec::with_capacity(facts.units.len());
    let mut unpriced = Vec::with_capacity(facts.units.len());
    for (unit, costs_of) in facts.units.iter().zip(&unit_costs) {
        let since = unit.kept_since.zip(costs.recorded_since);
        let since = since.map(|(known, noted)| known.max(noted));
        let (input, left_out) = input(&shared, unit, costs, costs_of, since, &seasons, terms);
        inputs.push(input);
        unpriced.push(left_out);
    }
    let fleets = fleets(facts, &inputs);
    let mut answered = Vec::with_capacity(inputs.len());
    for (index, unit) in facts.units.iter().enumerate() {
        let own = inputs[index].clone();
        let input = Input {
            fleet: fleets
                .get(&unit.model)
                .map_or_else(Vec::new, |fleet| fleet.without(&own)),
            ..own
        };
        let model = costs.models.get(&unit.model);
        answered.push(UnitRenewal {
            unit_id: unit.id,
            tag: unit.tag.clone(),
            depot_id: facts.id,
            model_id: unit.model,
            model: model.map_or_else(String::new, |model| model.name.clone()),
            acquired_on: unit.acquired_on,
            in_season: in_season(
                &shared,
                unit,
                clocks[index].as_ref(),
                unit_costs[index],
                &seasons,
            ),
            renew: calculate(&input)?,
            counted: counted(unpriced[index], &input),
            inputs: input,
        });
    }
    Ok(answered)
}

/// The seasons that are asked about.
struct Seasons {
    starts: MonthDay,
    ends: MonthDay,
    /// The season running, else the last one, between those before and after it.
    around: [Season; 3],
    /// The last day of it that is over or runs.
    until: Date,
    /// The same of its winter: what puts a machine away is owed after the season.
    winter_until: Date,
}

impl Seasons {
    fn of(shared: &Shared<'_>) -> Self {
        let days = &shared.snow_days;
        let starts = MonthDay::of(days.this_season.starts);
        let ends = MonthDay::of(days.this_season.ends);
        let running = days.this_season.starts <= shared.today;
        let season = if running {
            days.this_season
        } else {
            days.last_season
        };
        let winter = Winter::of(season.starts);
        let before = Season::fixed(winter.before(), starts, ends);
        let ends_on = winter.next().starts().yesterday().unwrap_or(Date::MAX);
        Seasons {
            starts,
            ends,
            around: [before, season, season.next(starts, ends)],
            until: season.ends.min(shared.today),
            winter_until: ends_on.min(shared.today),
        }
    }

    fn of_winter(&self, winter: Winter) -> Season {
        Season::fixed(winter, self.starts, self.ends)
    }
}

/// The calculation's input of a unit, other machines aside, and how many parts have no price in it.
fn input(
    shared: &Shared<'_>,
    unit: &UnitFacts,
    costs: &DepotCosts,
    own: &UnitCosts,
    since: Option<Timestamp>,
    seasons: &Seasons,
    terms: &Terms,
) -> (Input, i64) {
    let price = costs
        .models
        .get(&unit.model)
        .and_then(|model| model.price.as_ref());
    let minor = price.map_or(100.0, |(_, currency)| minor_units(currency));
    let now = Winter::of(shared.today);
    let first = unit.acquired_on.map(Winter::of);
    // Its so-manieth winter; a machine is never in its winter before the first.
    let number = |winter: Winter| Some(f64::from(winter.0 - first?.0 + 1)).filter(|it| *it >= 1.0);
    let since = since.map(|since| date_of(day_in(since, &shared.facts.zone)));
    let mut unpriced = own.waits_for.unpriced;
    let past = (1..=WINTERS_MAX).map(|back| Winter(now.0 - back));
    let winters = past.filter_map(|winter| {
        let season = seasons.of_winter(winter);
        // A winter counts if its costs were noted from its season's start on.
        since.filter(|since| *since <= season.starts)?;
        let work = own.work.get(&winter).copied().unwrap_or_default();
        let days = DaysInSeason::of(season, &own.out, season.ends);
        let number = number(winter)?;
        unpriced += work.unpriced;
        Some(WinterCosts {
            winter: number,
            parts: work.parts_minor / minor,
            labour_minutes: work.minutes,
            out_days: days.map_or(0.0, |days| days.out.into()),
            out_hours: 0.0,
            run_hours: own.run_hours.get(&winter).copied(),
        })
    });
    let mut winters: Vec<WinterCosts> = winters.collect();
    winters.reverse();
    let terms = terms.input();
    let waits = own.waits_for;
    let input = Input {
        price: price.map(|(amount, _)| *amount as f64 / minor),
        currency: price.map(|(_, currency)| currency.clone()),
        // Beyond a hundred winters nobody counts.
        age: first.map(|first| f64::from((now.0 - first.0).clamp(0, 100))),
        repair_now: waits.parts_minor / minor + waits.minutes / 60.0 * terms.labour(),
        winters,
        ..terms
    };
    (input, unpriced)
}

/// What winters of one model's machines cost, by age.
#[derive(Default)]
struct Fleet {
    by_age: BTreeMap<u32, Vec<f64>>,
}

fn fleets(facts: &DepotFacts, inputs: &[Input]) -> BTreeMap<Uuid, Fleet> {
    let mut fleets: BTreeMap<Uuid, Fleet> = BTreeMap::new();
    for (unit, input) in facts.units.iter().zip(inputs) {
        let fleet = fleets.entry(unit.model).or_default();
        for (age, cost) in costs_by_age(input) {
            fleet.by_age.entry(age).or_default().push(cost);
        }
    }
    fleets
}

fn costs_by_age(input: &Input) -> impl Iterator<Item = (u32, f64)> {
    let winters = input.winters.iter();
    winters.filter_map(|winter| Some((winter.winter as u32, input.cost_of(winter)?)))
}

impl Fleet {
    /// All but the winters of one of its machines.
    fn without(&self, own: &Input) -> Vec<FleetWinters> {
        let own: BTreeMap<u32, f64> = costs_by_age(own).collect();
        let by_age = self.by_age.iter().filter_map(|(age, costs)| {
            let mut left = costs.clone();
            if let Some(cost) = own.get(age) {
                let place = left.iter().position(|other| other == cost)?;
                left.remove(place);
            }
            let count = left.len() as f64;
            let mean = left.iter().sum::<f64>() / count;
            let squares: f64 = left.iter().map(|cost| (cost - mean).powi(2)).sum();
            (count > 0.0).then_some(FleetWinters {
                winter: f64::from(*age),
                count,
                mean,
                sd: (squares / count).sqrt(),
            })
        });
        by_age.collect()
    }
}

fn in_season(
    shared: &Shared<'_>,
    unit: &UnitFacts,
    clock: Option<&UnitClock<'_>>,
    costs: &UnitCosts,
    seasons: &Seasons,
) -> InSeason {
    let [before, season, after] = seasons.around;
    let until = seasons.until;
    let known = unit.kept_since.map_or(season.starts, |known| {
        date_of(day_in(known, &shared.facts.zone))
    });
    let counted = Season {
        starts: season.starts.max(known),
        ends: season.ends,
    };
    let days = DaysInSeason::of(counted, &costs.out, until);
    let sheet = shared.facts.sheets.get(&unit.model);
    let kept = clock
        .zip(sheet)
        .map_or_else(Kept::default, |(clock, sheet)| {
            let around = [before, season, after];
            kept(shared, unit, clock, sheet, around, seasons.winter_until)
        });
    let first = Winter::of(season.starts).starts();
    let inside = |at: Timestamp| {
        let day = date_of(day_in(at, &shared.facts.zone));
        first <= day && day <= seasons.winter_until
    };
    let starts = clock.map_or(0, |clock| {
        let good = clock.starts.iter().filter(|start| start.started);
        good.filter(|start| inside(start.at)).count()
    });
    InSeason {
        season,
        until,
        days: days.map_or(0, |days| days.days),
        days_out: days.map_or(0, |days| days.out),
        availability: days.map(DaysInSeason::availability),
        tasks_fallen_due: kept.fallen_due,
        tasks_done_inside: kept.inside,
        compliance: compliance(kept.inside, kept.fallen_due),
        starts_proven: starts,
        inspections: unit.inspections.iter().filter(|one| inside(one.at)).count(),
    }
}

/// How the costs were counted.
fn counted(unpriced: i64, input: &Input) -> Vec<String> {
    let mut said = vec![
        "Parts booked for its work orders, at the list's present price.".to_owned(),
        "Labour worked on its orders' lines; planned where a line is done and says none.".to_owned(),
        "Days in season on which it was held, stopped by a finding or down by an order, as if a stand-in was hired."
            .to_owned(),
        "Winters that are over, 1 July to 30 June, from the first whose season began after the depot's first order and \
         the machine's first record; the winter running is left out."
            .to_owned(),
        "Other machines are those of its model in use at its depot. What was once paid for it is spent either way; fuel and \
         operators cost the same for both, and are left out."
            .to_owned(),
    ];
    if input.repair_now > 0.0 {
        said.push("The repair it waits for is what its open orders still want.".to_owned());
    }
    if unpriced > 0 {
        let parts = if unpriced == 1 {
            "part that has"
        } else {
            "parts that have"
        };
        said.push(format!(
            "Left out: {unpriced} {parts} no price in its model's currency on the list."
        ));
    }
    if input.price.is_none() {
        said.push(
            "The price of a new one is entered with its model (PATCH /v1/models).".to_owned(),
        );
    }
    if input.age.is_none() {
        said.push("Its age is counted from acquired_on (PATCH /v1/units).".to_owned());
    }
    said
}
