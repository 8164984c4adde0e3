//! A unit's parts: how long they last, what to do about them, and what their failure would mean (sections 4, 5, 7).

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::model::{Model, PartModel, Until, fitted_age, fitted_hours, life_began};
use super::standing::{Factor, Figure};
use super::{Shared, UnitClock};
use crate::because::{chance_rounded, day_of, measured, odds, two_figures};
use crate::calculations;
use crate::facts::{FittedPartFacts, Settings, UnitFacts};
use crate::hours::{HoursTable, Usage};
use crate::sheet::{CheckSpec, Clock, Measure, WearSpec};
use crate::special::{digamma, trigamma};
use crate::wear::{WearPath, WearPrior, WearReading};

/// What to do about a part.
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
}

/// Three quantiles of when a limit is reached.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Quantiles<T> {
    /// Reached by then with chance 0.1; none: never, or not within ten seasons.
    pub p10: Option<T>,
    /// With chance 0.5.
    pub p50: Option<T>,
    /// With chance 0.9.
    pub p90: Option<T>,
}

/// A part of a unit as published.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PartState {
    /// The part on the sheet.
    pub part: String,
    /// What a technician calls it.
    pub title: String,
    /// What to do about it.
    pub advice: Advice,
    /// Its chances, to 0.01.
    pub lasts: Lasts,
    /// The check that decides, of a measured part.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub check: Option<String>,
    /// Its last reading, SI.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// The limit that must not be reached.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit: Option<f64>,
    /// Which limit: `fails_at` or `unserviceable`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit_is: Option<String>,
    /// Running hours to come until the limit, to five hours from ten on; 0 if past.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hours: Option<Quantiles<f64>>,
    /// Days by which it is reached.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dates: Option<Quantiles<Date>>,
    /// Said for people.
    pub text: String,
}

/// How a unit runs: hours to come, tabulated once for all its parts. Everything counts from the last meter reading.
pub struct Running<'a> {
    shared: &'a Shared<'a>,
    unit: &'a UnitFacts,
    clock: &'a UnitClock,
    usage: Usage,
    base_day: Date,
    base_hours: f64,
    /// Running hours of the storm.
    storm_hours: f64,
    /// Hours from the base until the storm starts.
    before_storm: HoursTable,
    /// Hours from the base until this season's end, without the storm's.
    this_season: HoursTable,
    /// Hours from the base until the next season's end, without the storm's.
    next_season: HoursTable,
    /// Hours on the meter when the storm starts, in the mean.
    hours_at_storm: f64,
}

impl<'a> Running<'a> {
    /// Tabulates a unit's hours for a storm of so many running hours.
    pub fn new(
        shared: &'a Shared<'a>,
        unit: &'a UnitFacts,
        clock: &'a UnitClock,
        storm_hours: f64,
    ) -> Self {
        let (days, storm) = (&shared.snow_days, &shared.storm);
        let usage = clock.usage;
        let (base_day, base_hours) = clock
            .base(&shared.facts.zone)
            .unwrap_or((shared.today, 0.0));
        let after = |day: Date| day.tomorrow().unwrap_or(day);
        let before_storm = days.each(base_day, storm.first_day);
        let rest = days.each(storm.last_day.max(base_day), after(days.this_season.ends));
        let next = days.each(
            days.next_season
                .starts
                .yesterday()
                .unwrap_or(Date::MIN)
                .max(base_day),
            after(days.next_season.ends),
        );
        let this: Vec<f64> = before_storm.iter().zip(&rest).map(|(a, b)| a + b).collect();
        let next: Vec<f64> = this.iter().zip(&next).map(|(a, b)| a + b).collect();
        let before_storm = usage.table(&before_storm);
        Running {
            hours_at_storm: base_hours + before_storm.mean(),
            this_season: usage.table(&this),
            next_season: usage.table(&next),
            before_storm,
            shared,
            unit,
            clock,
            usage,
            base_day,
            base_hours,
            storm_hours,
        }
    }

    /// Hours on the meter when the storm starts, in the mean.
    pub fn hours_at_storm(&self) -> f64 {
        self.hours_at_storm
    }

    /// Every part of the model: its state, and the factors its failure puts into the unit's chance.
    pub fn parts(&self, model: &Model<'_>) -> (Vec<PartState>, Vec<Factor>) {
        let mut states = Vec::with_capacity(model.parts.len());
        let mut factors = Vec::with_capacity(model.parts.len() + 4);
        let mut readings = Vec::with_capacity(16);
        for part in &model.parts {
            let measured = self.measured(part, &mut readings);
            let sudden = measured.is_some();
            if let Some((state, factor)) = measured {
                states.push(state);
                factors.extend(factor);
            }
            if let Some((state, factor)) = self.living(part, sudden) {
                // Of a measured part the measures say what to do; its breakage is only a factor.
                if !sudden {
                    states.push(state);
                }
                factors.extend(factor);
            }
        }
        states.sort_by_key(|state| state.advice);
        (states, factors)
    }

    /// A part that is measured: the worst of its measures, and its factor where a functional limit is known.
    fn measured(
        &self,
        part: &PartModel<'_>,
        readings: &mut Vec<WearReading>,
    ) -> Option<(PartState, Option<Factor>)> {
        let path = self
            .unit
            .parts
            .iter()
            .filter(|path| path.part == part.spec.part && path.removed_at.is_none())
            .max_by_key(|path| path.fitted_at);
        let mut worst: Option<Measured<'_>> = None;
        let mut factor: Option<Factor> = None;
        let mut renew_after = false;
        for (check, measure, wear) in &part.wear {
            let one = self.measure(check, measure, wear, path, readings);
            if measure.backed_by.is_some() {
                // A used-up take-up is no end of a belt: it says to renew before the next season.
                renew_after |=
                    !one.unknown && one.lasts.next_season < self.shared.facts.settings.season_under;
                continue;
            }
            if one.fails && part.spec.effect.takes_out() {
                let chance = if one.past { 0.0 } else { one.lasts.storm };
                if factor.as_ref().is_none_or(|factor| chance < factor.chance) {
                    factor = Some(Factor {
                        factor: part.spec.part.clone(),
                        chance,
                        text: one.text(&part.spec.title),
                        figure: (!one.past)
                            .then(|| Figure::Wear(self.wear_input(&one, measure, readings))),
                    });
                }
            }
            worst = Some(match worst {
                Some(worst) if worst.lasts.this_season <= one.lasts.this_season => Measured {
                    lasts: worst.lasts.least(one.lasts),
                    ..worst
                },
                Some(worst) => Measured {
                    lasts: worst.lasts.least(one.lasts),
                    ..one
                },
                None => one,
            });
        }
        let worst = worst?;
        let mut advice = if worst.unknown {
            Advice::Measure
        } else {
            Advice::of(&worst.lasts, &self.shared.facts.settings)
        };
        let mut text = worst.text(&part.spec.title);
        if renew_after && advice > Advice::RenewAfterTheSeason {
            advice = Advice::RenewAfterTheSeason;
        }
        if renew_after {
            text.push_str("; its take-up is nearly used");
        }
        let state = PartState {
            part: part.spec.part.clone(),
            title: part.spec.title.clone(),
            advice,
            lasts: worst.lasts.rounded(),
            check: Some(worst.check.check.clone()),
            value: worst.last.map(|last| last.value),
            limit: Some(worst.limit),
            limit_is: Some(
                if worst.fails {
                    "fails_at"
                } else {
                    "unserviceable"
                }
                .to_owned(),
            ),
            hours: Some(worst.hours),
            dates: Some(worst.dates),
            text,
        };
        Some((state, factor))
    }

    /// One measure of a part.
    fn measure<'s>(
        &self,
        check: &'s CheckSpec,
        measure: &'s Measure,
        wear: &WearSpec,
        path: Option<&FittedPartFacts>,
        readings: &mut Vec<WearReading>,
    ) -> Measured<'s>
    where
        'a: 's,
    {
        let (facts, days) = (self.shared.facts, &self.shared.snow_days);
        let grows = measure.limits.high.is_some();
        let side = if grows {
            &measure.limits.high
        } else {
            &measure.limits.low
        };
        let (fails_at, unserviceable_at) =
            side.as_ref()
                .map_or((None, measure.limits.as_new.value), |side| {
                    (
                        side.fails_at.as_ref().map(|figure| figure.value),
                        side.unserviceable_at.value,
                    )
                });
        let limit = fails_at.unwrap_or(unserviceable_at);
        let as_new = measure.limits.as_new.value;
        let mut prior = WearPrior {
            as_new,
            as_new_sd: wear.as_new_sd.value,
            rate: wear.rate.value,
            rate_sd: wear.rate_sd.value,
            reading_sd: measure
                .repeatability
                .value
                .max(measure.resolution.value / 12f64.sqrt()),
            grows,
        };
        readings.clear();
        let mut last: Option<LastReading> = None;
        let mut first_hours = f64::INFINITY;
        for reading in path.iter().flat_map(|path| &path.readings) {
            if reading.check != check.check
                || reading.at > self.shared.as_of
                || !reading.value.is_finite()
            {
                continue;
            }
            let hours = reading
                .hours
                .unwrap_or_else(|| self.clock.hours_at(reading.at, days, &facts.zone));
            first_hours = first_hours.min(hours);
            // The mean of n readings has n times the weight of one.
            for _ in 0..reading.repeats.clamp(1, 100) {
                readings.push(WearReading {
                    hours,
                    value: reading.value,
                });
            }
            if last.is_none_or(|last| last.at <= reading.at) {
                last = Some(LastReading {
                    at: reading.at,
                    value: reading.value,
                });
            }
        }
        let fitted = path.and_then(|path| fitted_hours(path, self.clock, facts, days));
        if fitted.is_none() {
            // Unknown fitting date: it may be anything between new and worn out.
            prior.as_new = (as_new + limit) / 2.0;
            prior.as_new_sd = (as_new - limit).abs();
        }
        let origin = fitted.unwrap_or(if first_hours.is_finite() {
            first_hours
        } else {
            self.base_hours
        });
        for reading in readings.iter_mut() {
            reading.hours = (reading.hours - origin).max(0.0);
        }
        let posterior = WearPath::new(&prior, readings);
        let from = (self.base_hours - origin).max(0.0);
        let storm = from + self.storm_hours;
        let past = fails_at.is_some_and(|fails_at| {
            last.is_some_and(|last| {
                if grows {
                    last.value >= fails_at
                } else {
                    last.value <= fails_at
                }
            })
        });
        let lasts = Lasts {
            storm: posterior.lasts_over(limit, storm, &self.before_storm),
            this_season: posterior.lasts_over(limit, storm, &self.this_season),
            next_season: posterior.lasts_over(limit, storm, &self.next_season),
        };
        let now = from + self.before_storm.mean();
        let hours = |p| posterior.hours_until(limit, now, p).map(coarse_hours);
        let dates = self.dates(&posterior, limit, from);
        Measured {
            check,
            measure,
            lasts,
            hours: Quantiles {
                p10: hours(0.1),
                p50: hours(0.5),
                p90: hours(0.9),
            },
            dates,
            rate: posterior.rate,
            last,
            limit,
            fails: fails_at.is_some(),
            past,
            unknown: fitted.is_none() && readings.is_empty(),
            prior,
            at: now + self.storm_hours,
            zone: &facts.zone,
        }
    }

    /// Days by which the limit is reached with chance 0.1, 0.5 and 0.9: the hours of each day's count of days of use
    /// are taken as lognormal with the exact mean and variance of their logarithm (for a date that is near enough).
    fn dates(&self, posterior: &WearPath, limit: f64, from: f64) -> Quantiles<Date> {
        /// Gauss-Hermite nodes and weights for the standard normal, n = 3.
        const NODES: [(f64, f64); 3] = [
            (-1.732_050_807_568_877_2, 1.0 / 6.0),
            (0.0, 2.0 / 3.0),
            (1.732_050_807_568_877_2, 1.0 / 6.0),
        ];
        let days = &self.shared.snow_days;
        let (shape, a, b) = self.usage.parameters();
        let (centre, trigamma_a) = (b.ln() - digamma(a), trigamma(a));
        let reached = |date: Date| {
            let until = date.tomorrow().unwrap_or(date);
            let sum: f64 = (0..days.scenarios())
                .map(|scenario| {
                    let count = days.between(scenario, self.base_day, until);
                    if count <= 0.0 {
                        return 1.0 - posterior.lasts(limit, from);
                    }
                    let mean = digamma(shape * count) + centre;
                    let sd = (trigamma(shape * count) + trigamma_a).sqrt();
                    NODES
                        .iter()
                        .map(|(x, weight)| {
                            weight * (1.0 - posterior.lasts(limit, from + (mean + sd * x).exp()))
                        })
                        .sum()
                })
                .sum();
            sum / days.scenarios() as f64
        };
        let first = self.base_day;
        let horizon = (0..days.scenarios())
            .filter_map(|scenario| days.to_come(scenario).last().copied())
            .max();
        let span = horizon.map_or(0, |last| crate::season::days_between(first, last).max(0));
        let day = |offset: i32| {
            first
                .checked_add(jiff::Span::new().days(offset))
                .unwrap_or(first)
        };
        let by = |p: f64, from: i32| {
            if span == 0 || reached(day(span)) < p {
                return None;
            }
            let (mut low, mut high) = (from, span);
            while low < high {
                let middle = (low + high) / 2;
                if reached(day(middle)) >= p {
                    high = middle;
                } else {
                    low = middle + 1;
                }
            }
            Some(high)
        };
        let p10 = by(0.1, 0);
        let p50 = p10.and_then(|from| by(0.5, from));
        let p90 = p50.and_then(|from| by(0.9, from));
        Quantiles {
            p10: p10.map(day),
            p50: p50.map(day),
            p90: p90.map(day),
        }
    }

    /// The `wear` calculation's input for a factor: at the storm's end in the mean.
    fn wear_input(
        &self,
        one: &Measured<'_>,
        measure: &Measure,
        readings: &[WearReading],
    ) -> calculations::wear::Input {
        calculations::wear::Input {
            prior: calculations::wear::Prior {
                as_new: one.prior.as_new,
                as_new_sd: one.prior.as_new_sd,
                rate: one.prior.rate,
                rate_sd: one.prior.rate_sd,
                reading_sd: one.prior.reading_sd,
            },
            readings: readings
                .iter()
                .map(|reading| calculations::wear::Reading {
                    hours: reading.hours,
                    value: reading.value,
                })
                .collect(),
            limit: one.limit,
            at_hours: vec![one.at],
            grows: measure.limits.high.is_some(),
        }
    }

    /// A part that has a life: unmeasured, or, `sudden`, how a measured one breaks.
    fn living(&self, part: &PartModel<'_>, sudden: bool) -> Option<(PartState, Option<Factor>)> {
        let (spec, life) = part.life.as_ref()?;
        let (facts, days, storm) = (
            self.shared.facts,
            &self.shared.snow_days,
            &self.shared.storm,
        );
        let began = life_began(self.unit, &part.spec.part);
        let until = Until {
            day: storm.first_day,
            hours: self.hours_at_storm,
        };
        let known = began.and_then(|path| fitted_age(spec, path, self.clock, facts, days, until));
        let own = || match spec.clock {
            Clock::Hours => self.clock.base(&facts.zone).map(|_| self.hours_at_storm),
            Clock::Days => self
                .unit
                .acquired_on
                .map(|day| f64::from(crate::season::days_between(day, storm.first_day).max(0))),
        };
        let (age, whence) = match known {
            Some(age) => {
                let fitted = began
                    .and_then(|path| path.fitted_at)
                    .map(|at| format!("fitted {}", day_of(at, &facts.zone)));
                (
                    age,
                    fitted.unwrap_or_else(|| "age from the meter".to_owned()),
                )
            }
            None => match own() {
                Some(age) => (age, "age unknown, taken as the machine's".to_owned()),
                None => (
                    spec.prior_scale.value / 2.0,
                    "age unknown, taken as half its usual life".to_owned(),
                ),
            },
        };
        let (next, this_season, next_season) = match spec.clock {
            Clock::Hours => {
                let over = |table: &HoursTable| {
                    table.average(|hours| {
                        life.lasts(
                            (age - self.before_storm.mean()).max(0.0),
                            hours + self.storm_hours,
                        )
                    })
                };
                (
                    self.storm_hours,
                    over(&self.this_season),
                    over(&self.next_season),
                )
            }
            Clock::Days => {
                let next = storm.hours / 24.0;
                let until = |end: Date| {
                    f64::from(crate::season::days_between(storm.first_day, end).max(0)).max(next)
                };
                (
                    next,
                    life.lasts(age, until(days.this_season.ends)),
                    life.lasts(age, until(days.next_season.ends)),
                )
            }
        };
        let storm = life.lasts(age, next);
        let this_season = this_season.min(storm);
        let lasts = Lasts {
            storm,
            this_season,
            next_season: next_season.min(this_season),
        };
        let title = &part.spec.title;
        let text = if sudden {
            format!(
                "{title}, {whence}: {} that it does not {} all of a sudden in this storm",
                odds(lasts.storm),
                spec.failure
            )
        } else {
            format!(
                "{title}, {whence}: {} to see out this storm, {} this season, {} next season",
                odds(lasts.storm),
                odds(lasts.this_season),
                odds(lasts.next_season)
            )
        };
        let factor = part.spec.effect.takes_out().then(|| Factor {
            factor: if sudden {
                format!("{} {}", part.spec.part, spec.failure)
            } else {
                part.spec.part.clone()
            },
            chance: lasts.storm,
            text: text.clone(),
            figure: Some(Figure::Life(calculations::life::Input {
                shape: life.shape,
                prior_scale: (life.beta / life.alpha).powf(1.0 / life.shape),
                prior_weight: life.alpha,
                histories: Vec::new(),
                age,
                next,
            })),
        });
        let state = PartState {
            part: part.spec.part.clone(),
            title: title.clone(),
            advice: Advice::of(&lasts, &facts.settings),
            lasts: lasts.rounded(),
            check: None,
            value: None,
            limit: None,
            limit_is: None,
            hours: None,
            dates: None,
            text,
        };
        Some((state, factor))
    }
}

#[derive(Debug, Clone, Copy)]
struct LastReading {
    at: jiff::Timestamp,
    value: f64,
}

/// One measure of a part, worked out.
struct Measured<'s> {
    check: &'s CheckSpec,
    measure: &'s Measure,
    lasts: Lasts,
    hours: Quantiles<f64>,
    dates: Quantiles<Date>,
    rate: f64,
    last: Option<LastReading>,
    limit: f64,
    fails: bool,
    past: bool,
    unknown: bool,
    prior: WearPrior,
    at: f64,
    zone: &'s jiff::tz::TimeZone,
}

impl Measured<'_> {
    fn text(&self, title: &str) -> String {
        let decimals = if self.measure.resolution.value >= 1.0 {
            0
        } else {
            2
        };
        let state = match self.last {
            Some(last) => format!(
                "{} on {}",
                measured(self.measure, last.value, decimals),
                day_of(last.at, self.zone)
            ),
            None => "not measured yet".to_owned(),
        };
        if self.past {
            return format!("{title}: {state}, past the point where it works");
        }
        let moving = if self.measure.limits.high.is_some() {
            "gaining"
        } else {
            "losing"
        };
        format!(
            "{title}: {state}, {moving} {} {} an hour; {} to see out this storm, {} this season, {} next season",
            two_figures(self.rate),
            self.measure.unit.symbol(),
            odds(self.lasts.storm),
            odds(self.lasts.this_season),
            odds(self.lasts.next_season)
        )
    }
}

/// Hours as published: whole up to ten, then to five, so that they change when a plan would.
fn coarse_hours(hours: f64) -> f64 {
    if hours < 10.0 {
        hours.round()
    } else {
        (hours / 5.0).round() * 5.0
    }
}
