//! A unit's parts: how long they last, what to do about them, and what their failure would mean (sections 4, 5, 7).

use std::cell::RefCell;
use std::fmt::{self, Display};

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::Shared;
use super::clock::{Moment, UnitClock};
use super::model::Model;
use super::standing::Factor;
use crate::because::{chance_rounded, odds};
use crate::facts::{Settings, UnitFacts};
use crate::hours::{HoursTable, Node, Usage};
use crate::season::day_number;

pub(crate) mod ahead;
mod dates;
mod lived;
mod measured;

pub(crate) use dates::{DatedStorm, Dates};

/// What to do about a part, most urgent first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum Advice {
    /// It may not see the storm out.
    #[serde(rename = "renew now")]
    RenewNow,
    /// It may not see this season out: have the part at hand.
    #[serde(rename = "order the part")]
    OrderThePart,
    /// It will see this season out and may not the next.
    #[serde(rename = "renew after the season")]
    RenewAfterTheSeason,
    /// Nobody knows: its age is unknown and it was not measured.
    #[serde(rename = "measure")]
    Measure,
    /// It will see the next season out.
    #[serde(rename = "leave")]
    Leave,
}

impl Advice {
    /// The words, as on the wire.
    pub fn words(self) -> &'static str {
        match self {
            Advice::RenewNow => "renew now",
            Advice::OrderThePart => "order the part",
            Advice::RenewAfterTheSeason => "renew after the season",
            Advice::Measure => "measure",
            Advice::Leave => "leave",
        }
    }

    fn of(lasts: &Lasts, settings: &Settings) -> Self {
        if lasts.storm < settings.renew_now_under {
            Advice::RenewNow
        } else if lasts.this_season < settings.season_under {
            Advice::OrderThePart
        } else if lasts.next_season < settings.season_under {
            Advice::RenewAfterTheSeason
        } else {
            Advice::Leave
        }
    }
}

/// The chances of a part.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Lasts {
    /// To see the storm out.
    pub storm: f64,
    /// To see this season out, the storm in it.
    pub this_season: f64,
    /// To see the next season out too.
    pub next_season: f64,
}

impl Lasts {
    fn of([storm, this_season, next_season]: [f64; 3]) -> Self {
        Lasts {
            storm,
            this_season,
            next_season,
        }
    }

    fn least(self, other: Self) -> Self {
        Lasts {
            storm: self.storm.min(other.storm),
            this_season: self.this_season.min(other.this_season),
            next_season: self.next_season.min(other.next_season),
        }
    }

    fn rounded(self) -> Self {
        Lasts {
            storm: chance_rounded(self.storm),
            this_season: chance_rounded(self.this_season),
            next_season: chance_rounded(self.next_season),
        }
    }

    /// The three as people say them; the farther ones only as far as they say something new.
    fn words(self) -> impl Display {
        let Lasts {
            storm,
            this_season,
            next_season,
        } = self;
        fmt::from_fn(move |text| {
            if chance_rounded(next_season) >= 1.0 {
                return text.write_str("as good as certain to see next season out too");
            }
            let (storm, this, next) = (odds(storm), odds(this_season), odds(next_season));
            write!(
                text,
                "{storm} to see out this storm, {this} this season, {next} next season"
            )
        })
    }
}

/// Three quantiles of when a limit is reached.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Quantiles<T> {
    /// Reached by then with chance 0.1; none: never, or not within ten seasons.
    #[cfg_attr(feature = "schema", schema(inline))]
    pub p10: Option<T>,
    /// With chance 0.5.
    #[cfg_attr(feature = "schema", schema(inline))]
    pub p50: Option<T>,
    /// With chance 0.9.
    #[cfg_attr(feature = "schema", schema(inline))]
    pub p90: Option<T>,
}

/// A part of a unit as published.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct PartState {
    /// The part on the sheet.
    pub part: String,
    /// What a technician calls it.
    pub title: String,
    /// What to do about it.
    pub advice: Advice,
    /// Its chances, to 0.01.
    pub lasts: Lasts,
    /// What was measured, of a measured part.
    // Option or not: its fields stand among these, and none of them has to be there.
    #[cfg_attr(feature = "schema", schema(value_type = MeasuredState))]
    #[serde(flatten, default, skip_serializing_if = "Option::is_none")]
    pub measured: Option<MeasuredState>,
    /// Said for people.
    pub text: String,
}

/// The measure that decides about a part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct MeasuredState {
    /// The check.
    #[cfg_attr(feature = "schema", schema(required = false))]
    pub check: String,
    /// Its last reading, SI.
    pub value: Option<f64>,
    /// The limit that must not be reached.
    #[cfg_attr(feature = "schema", schema(required = false))]
    pub limit: f64,
    /// Which limit.
    #[cfg_attr(feature = "schema", schema(required = false))]
    pub limit_is: LimitKind,
    /// Running hours to come from now until the limit, to five hours from ten on; 0 if past.
    #[cfg_attr(feature = "schema", schema(required = false))]
    pub hours: Quantiles<f64>,
    /// Days by which it is reached; the day it was read to be past.
    #[cfg_attr(feature = "schema", schema(required = false))]
    pub dates: Quantiles<Date>,
    /// Whether its readings bend away from a line by more than their doubt: then what is foretold is to be doubted too.
    #[cfg_attr(feature = "schema", schema(required = false))]
    pub bends: bool,
}

/// Which limit a part's chances are about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum LimitKind {
    /// Beyond which it no longer does its work.
    FailsAt,
    /// From which it is to be renewed.
    Unserviceable,
}

/// Hours to come until some days.
pub(crate) struct ToCome<const N: usize> {
    table: HoursTable<N>,
    /// The same at few nodes, for what changes little between them.
    nodes: Vec<Node<N>>,
    /// Nearly the most that they may be.
    most: [f64; N],
}

impl<const N: usize> ToCome<N> {
    fn new(usage: &Usage, scenarios: [&[f64]; N]) -> Self {
        let table = usage.tables(scenarios);
        ToCome {
            nodes: table.coarse(),
            most: table.nearly_most(),
            table,
        }
    }
}

/// How a unit runs: hours to come, tabulated once for all its parts. Everything counts from the last meter reading.
pub struct Running<'a> {
    shared: &'a Shared<'a>,
    unit: &'a UnitFacts,
    clock: &'a UnitClock<'a>,
    usage: Usage,
    base: Moment,
    /// Running hours of the storm.
    storm_hours: f64,
    /// When the storm starts, hours in the mean.
    storm: Moment,
    /// Days of use from the base until the storm starts, in each scenario.
    before_storm: Vec<f64>,
    /// Hours from the base until the storm starts, and, without the storm's, until this season's end and the next's.
    to_come: ToCome<3>,
    dates: RefCell<Dates<'a>>,
}

impl<'a> Running<'a> {
    /// Tabulates a unit's hours for a storm of so many running hours.
    pub fn new(
        shared: &'a Shared<'a>,
        unit: &'a UnitFacts,
        clock: &'a UnitClock<'a>,
        storm_hours: f64,
    ) -> Self {
        let (seasons, storm) = (&shared.snow_days, &shared.storm);
        let days = clock.days_of_use(shared);
        let usage = clock.usage;
        let base = clock.base().unwrap_or(Moment {
            day: day_number(shared.today),
            hours: 0.0,
        });
        let sum = |left: &[f64], right: Vec<f64>| {
            left.iter()
                .zip(right)
                .map(|(left, right)| left + right)
                .collect::<Vec<_>>()
        };
        let next = (day_number(seasons.next_season.starts) - 1).max(base.day);
        let before_storm = days.each(base.day, storm.first_day);
        let this_season = sum(
            &before_storm,
            days.each(
                storm.last_day.max(base.day),
                day_number(seasons.this_season.ends) + 1,
            ),
        );
        let next_season = sum(
            &this_season,
            days.each(next, day_number(seasons.next_season.ends) + 1),
        );
        let to_come = ToCome::new(&usage, [&before_storm, &this_season, &next_season]);
        let dated_storm = storm.starts_at.map(|_| DatedStorm {
            first_day: storm.first_day.max(base.day + 1),
            last_day: storm.last_day.max(base.day),
            hours: storm_hours,
        });
        Running {
            shared,
            unit,
            clock,
            usage,
            base,
            storm_hours,
            storm: Moment {
                day: storm.first_day,
                hours: base.hours + to_come.table.mean()[0],
            },
            before_storm,
            to_come,
            dates: RefCell::new(Dates::new(usage, days, base.day, dated_storm)),
        }
    }

    /// Every part of the model: its state, most urgent first, and the factors its failure puts into the unit's chance.
    pub fn parts(&self, model: &Model<'_>) -> (Vec<PartState>, Vec<Factor>) {
        let mut states = Vec::with_capacity(model.parts.len());
        let mut factors = Vec::with_capacity(model.parts.len() + 4);
        for (place, part) in model.parts.iter().enumerate() {
            if !self.unit.rigging.concerned(part.spec.only_for) {
                // It is on an attachment that is not fitted.
                continue;
            }
            let measured = self.measured(place, part);
            let is_measured = measured.is_some();
            if let Some((state, factor)) = measured {
                states.push(state);
                factors.extend(factor);
            }
            if let Some((state, factor)) = self.lived(place, part, is_measured) {
                // Of a measured part the measures say what to do; its breakage is only a factor.
                if !is_measured {
                    states.push(state);
                }
                factors.extend(factor);
            }
        }
        states.sort_by_key(|state| state.advice);
        (states, factors)
    }
}
