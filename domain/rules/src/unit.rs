//! One unit's chain (sections 3 to 7): its hours, its parts, its start, and where it stands for a storm.

use jiff::{Timestamp, civil::Date, tz::TimeZone};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::battery;
use crate::because::{Reason, chance_rounded, day, day_of, minute_of, number, odds};
use crate::calculations;
use crate::facts::{DepotFacts, InspectionKind, LatestReading, UnitFacts};
use crate::hours::Usage;
use crate::life::breaks_enough;
use crate::season::{Winter, days_between};
use crate::sheet::{Derived, Effect, Work};
use crate::snow_days::SnowDays;
use crate::storm::Storm;
use crate::timeline::Timeline;
use crate::verdict::Verdict;

pub mod model;
pub mod parts;
pub mod standing;

use model::{GAUSS_LEGENDRE, Model, NODES, usage_prior};
use parts::{PartState, Running};
use standing::{Factor, Figure, Floors, Limited, Status};

/// What all units of a depot share in one evaluation.
#[derive(Debug, Clone)]
pub struct Shared<'a> {
    /// The depot.
    pub facts: &'a DepotFacts,
    /// The instant that is evaluated.
    pub as_of: Timestamp,
    /// The depot's civil date then.
    pub today: Date,
    /// Its days of use.
    pub snow_days: SnowDays,
    /// The storm to meet.
    pub storm: Storm,
}

/// A unit's own time: its meter, its use, its starts.
#[derive(Debug, Clone)]
pub struct UnitClock {
    /// Its meter.
    pub timeline: Timeline,
    /// Its use.
    pub usage: Usage,
    /// Attempts to start up to now, ascending; a good one after a bad one of the same instant.
    pub starts: Vec<(Timestamp, bool)>,
}

impl UnitClock {
    /// The clock of a unit; without its sheet, nothing is known of its use and it is taken as unused.
    pub fn new(
        unit: &UnitFacts,
        facts: &DepotFacts,
        snow_days: &SnowDays,
        as_of: Timestamp,
    ) -> Option<Self> {
        let sheet = facts.sheets.get(&unit.model)?;
        let timeline = Timeline::new(&unit.meter, unit.acquired_on, as_of);
        let (run_hours, days) = timeline.use_so_far(snow_days, &facts.zone);
        let mut starts: Vec<(Timestamp, bool)> = unit
            .starts
            .iter()
            .map(|start| (start.at, start.started))
            .collect();
        // The loader may leave the newest reading of the start check among the readings only.
        let proof = unit
            .latest
            .iter()
            .find(|reading| reading.check == sheet.start.check);
        starts.extend(proof.and_then(|reading| Some((reading.at, reading.works?))));
        starts.retain(|start| start.0 <= as_of);
        starts.sort_unstable();
        starts.dedup();
        Some(UnitClock {
            timeline,
            usage: Usage::new(&usage_prior(sheet), run_hours, days),
            starts,
        })
    }

    /// The day and hours that hours to come are counted from.
    pub fn base(&self, zone: &TimeZone) -> Option<(Date, f64)> {
        self.timeline.last(zone)
    }

    /// Hours on the meter at an instant, in the mean.
    pub fn hours_at(&self, at: Timestamp, snow_days: &SnowDays, zone: &TimeZone) -> f64 {
        self.timeline
            .at(at, self.usage.hours_per_day(), snow_days, zone)
    }

    /// The last good start.
    fn last_run(&self) -> Option<Timestamp> {
        self.starts
            .iter()
            .rev()
            .find(|start| start.1)
            .map(|start| start.0)
    }

    /// Whether the last attempt failed.
    fn is_dead(&self) -> bool {
        self.starts.last().is_some_and(|start| !start.1)
    }
}

/// A unit's readiness as published; `as_of` and `valid_until` are put beside it by whoever answers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct UnitDocument {
    /// The unit.
    pub unit_id: Uuid,
    /// The number on its tag.
    pub tag: String,
    /// Its depot.
    pub depot_id: Uuid,
    /// Where it stands.
    pub status: Status,
    /// The chance that it gets through the storm, to 0.01.
    pub chance: f64,
    /// Its rate of clearing, m2/h, in whole tens, open findings in it.
    pub rate: f64,
    /// Its standing in a sentence.
    pub summary: String,
    /// Why, worst first.
    pub because: Vec<Reason>,
    /// What proves it.
    pub proof: Proof,
    /// What it is rigged for.
    pub work: Work,
    /// Where it is, if not at its depot.
    pub away: Option<String>,
    /// Whether its chance counts in the depot's score.
    pub counts: bool,
    /// Hours on its meter: the last trusted reading.
    pub meter_hours: Option<f64>,
    /// Findings open.
    pub findings: Vec<OpenFinding>,
    /// Its parts and what to do about them, most urgent first.
    pub parts: Vec<PartState>,
}

/// A finding as a unit's readiness shows it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OpenFinding {
    /// The finding.
    pub id: Uuid,
    /// The check.
    pub check: String,
    /// What it does to the unit.
    pub effect: Effect,
    /// What was found.
    pub text: String,
    /// When.
    pub opened_at: Timestamp,
}

/// What proves a unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Proof {
    /// Its last good start.
    pub started_at: Option<Timestamp>,
    /// Its last inspection, storage ones apart.
    pub inspected_at: Option<Timestamp>,
    /// Who started it; else who inspected it.
    pub by: Option<String>,
    /// When standing alone makes it fall out of ready, or its inspection and start no longer count; none where nothing
    /// is proven.
    pub runs_out_at: Option<Timestamp>,
}

/// A unit's computed state.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitState {
    /// The unit.
    pub unit_id: Uuid,
    /// What is published.
    pub document: UnitDocument,
    /// What it was computed from: the `unit` calculation's input, unrounded.
    pub inputs: standing::Input,
    /// Its chance at each node of the shared doubt about start rates, unrounded; held, stopped and the like aside.
    pub(crate) works: [f64; NODES],
}

/// Whether a unit can work at all, before its chance is asked: a depot's work is shared among those that can.
pub fn can_work(unit: &UnitFacts, shared: &Shared<'_>) -> bool {
    unit.away.is_none() && held(unit, shared).is_empty() && stopped(unit, shared).is_empty()
}

/// A unit's rate, m2/h, in whole tens (section 8): what its width and speed give, or what it can throw, times the factor
/// of each open finding that degrades it.
pub fn rate(unit: &UnitFacts, shared: &Shared<'_>) -> f64 {
    let Some(sheet) = shared.facts.sheets.get(&unit.model) else {
        return 0.0;
    };
    let (figures, storm) = (&sheet.rate, &shared.storm);
    let covered = figures.width_mm.value / 1000.0
        * (1.0 - figures.overlap.value)
        * figures.speed_m_per_h.value
        * figures.efficiency.value;
    let lying_kg_m2 = storm.depth_mm.min(storm.reclear_mm) / 1000.0 * storm.density_kg_m3;
    let thrown = if lying_kg_m2 > 0.0 {
        figures.rating_kg_per_h.value / lying_kg_m2
    } else {
        f64::INFINITY
    };
    let degraded: f64 = unit
        .findings
        .iter()
        .filter(|finding| finding.effect == Effect::Degrade)
        .map(|finding| {
            let own = sheet
                .check_spec(&finding.check)
                .and_then(|check| check.rate_factor.as_ref());
            own.unwrap_or(&figures.degrade_factor).value
        })
        .product();
    (covered.min(thrown) * degraded / 10.0 + 1e-9).floor() * 10.0
}

/// A unit for a storm of `storm_hours` running hours.
pub fn evaluate(
    shared: &Shared<'_>,
    unit: &UnitFacts,
    clock: &UnitClock,
    model: &Model<'_>,
    storm_hours: f64,
) -> UnitState {
    let running = Running::new(shared, unit, clock, storm_hours);
    let (parts, mut factors) = running.parts(model);
    let start = Start::of(shared, unit, clock, model);
    let rest: f64 = {
        factors.extend(shear_factor(unit, model, storm_hours));
        factors.iter().map(|factor| factor.chance).product()
    };
    factors.insert(0, start.factor(shared, model));
    let settings = &shared.facts.settings;
    let inputs = standing::Input {
        held: held(unit, shared),
        stopped: stopped(unit, shared),
        limited: limited(unit, shared),
        unproven: unproven(unit, clock, shared),
        away: unit
            .away
            .as_ref()
            .map(|place| format!("away: {place}; it does not count at this depot")),
        factors,
        floors: Floors {
            not_ready_under: settings.not_ready_under,
            doubtful_under: settings.doubtful_under,
        },
    };
    let works = std::array::from_fn(|node| rest * start.chance_at(model, model.dead_rates[node]));
    let because = inputs.because();
    let status = inputs.status();
    let chance = chance_rounded(inputs.chance());
    let document = UnitDocument {
        unit_id: unit.id,
        tag: unit.tag.clone(),
        depot_id: shared.facts.id,
        status,
        chance,
        rate: rate(unit, shared),
        summary: summary(&inputs, status, chance, &because, &shared.storm.name),
        because,
        proof: proof(shared, unit, clock, model, &start, rest),
        work: unit.rigging,
        away: unit.away.clone(),
        counts: inputs.counts(false),
        meter_hours: clock
            .timeline
            .is_read()
            .then(|| clock.base(&shared.facts.zone))
            .flatten()
            .map(|base| (base.1 * 10.0).round() / 10.0),
        findings: unit
            .findings
            .iter()
            .map(|finding| OpenFinding {
                id: finding.id,
                check: finding.check.clone(),
                effect: finding.effect,
                text: finding.text.clone(),
                opened_at: finding.opened_at,
            })
            .collect(),
        parts,
    };
    UnitState {
        unit_id: unit.id,
        document,
        inputs,
        works,
    }
}

/// A unit whose model has no sheet: nothing can be said of it, so it does not work.
pub fn without_a_sheet(shared: &Shared<'_>, unit: &UnitFacts) -> UnitState {
    let text = "its model has no sheet: enter one".to_owned();
    let inputs = standing::Input {
        stopped: vec![text],
        ..standing::Input::default()
    };
    let because = inputs.because();
    let status = inputs.status();
    let document = UnitDocument {
        unit_id: unit.id,
        tag: unit.tag.clone(),
        depot_id: shared.facts.id,
        status,
        chance: 0.0,
        rate: 0.0,
        summary: summary(&inputs, status, 0.0, &because, &shared.storm.name),
        because,
        proof: Proof {
            started_at: None,
            inspected_at: None,
            by: None,
            runs_out_at: None,
        },
        work: unit.rigging,
        away: unit.away.clone(),
        counts: false,
        meter_hours: None,
        findings: Vec::new(),
        parts: Vec::new(),
    };
    UnitState {
        unit_id: unit.id,
        document,
        inputs,
        works: [0.0; NODES],
    }
}

/// The mean of something over the nodes of the shared doubt.
pub fn mean_over_nodes(works: &[f64; NODES]) -> f64 {
    GAUSS_LEGENDRE
        .iter()
        .zip(works)
        .map(|((_, weight), works)| weight * works)
        .sum()
}

fn held(unit: &UnitFacts, shared: &Shared<'_>) -> Vec<String> {
    let zone = &shared.facts.zone;
    let tags = unit.holds.iter().map(|hold| {
        format!(
            "hold tag by {} on {}: {}",
            hold.placed_by,
            day_of(hold.placed_at, zone),
            hold.reason
        )
    });
    // A tag hung for a finding says it already.
    let findings = unit
        .findings
        .iter()
        .filter(|finding| {
            finding.effect == Effect::Hold
                && !unit
                    .holds
                    .iter()
                    .any(|hold| hold.finding_id == Some(finding.id))
        })
        .map(|finding| {
            format!(
                "found {}: {}",
                day_of(finding.opened_at, zone),
                finding.text
            )
        });
    tags.chain(findings).collect()
}

fn stopped(unit: &UnitFacts, shared: &Shared<'_>) -> Vec<String> {
    let zone = &shared.facts.zone;
    let findings = unit
        .findings
        .iter()
        .filter(|finding| finding.effect == Effect::Stop)
        .map(|finding| {
            format!(
                "found {}: {}",
                day_of(finding.opened_at, zone),
                finding.text
            )
        });
    findings.chain(frozen(unit, shared)).collect()
}

/// Whether its battery will freeze at the storm's forecast low.
fn frozen(unit: &UnitFacts, shared: &Shared<'_>) -> Option<String> {
    let low_c = shared.storm.low_c?;
    let sheet = shared.facts.sheets.get(&unit.model)?;
    let reading = unit.latest.iter().find(|reading| {
        let measure = sheet
            .check_spec(&reading.check)
            .and_then(|check| check.measure());
        measure.is_some_and(|measure| measure.derived == Some(Derived::Battery))
    })?;
    let freezes_at_c = battery::freezes_at_c(reading.value?);
    (freezes_at_c >= low_c).then(|| {
        format!(
            "its battery, read {}, freezes at {} degC; {} degC is forecast",
            day_of(reading.at, &shared.facts.zone),
            number(freezes_at_c, 0),
            number(low_c, 0)
        )
    })
}

/// Use under stated limits that is in force now: the one that ends last.
fn limited(unit: &UnitFacts, shared: &Shared<'_>) -> Option<Limited> {
    let in_force = unit
        .limited_uses
        .iter()
        .filter(|one| one.starts_at <= shared.as_of && shared.as_of < one.ends_at);
    let one = in_force.max_by_key(|one| (one.ends_at, one.id))?;
    let admitted = shared.storm.id.is_some() && one.admitted_storm == shared.storm.id;
    let admission = if admitted {
        "admitted for this storm"
    } else {
        "not admitted for this storm, so it does not count"
    };
    let until = minute_of(one.ends_at, &shared.facts.zone);
    Some(Limited {
        text: format!(
            "limited use by {} until {until}: {}; {admission}",
            one.named_by, one.reason
        ),
        admitted,
    })
}

/// What has not been shown since 1 July, or since it was stored.
fn unproven(unit: &UnitFacts, clock: &UnitClock, shared: &Shared<'_>) -> Vec<String> {
    let zone = &shared.facts.zone;
    let began = Winter::of(shared.today).starts();
    let mut missing = Vec::new();
    let inspected = last_inspection(unit, shared.as_of);
    if inspected.is_none_or(|(at, _)| zone.to_datetime(at).date() < began) {
        missing.push(match inspected {
            Some((at, _)) => format!("not inspected this season: last on {}", day_of(at, zone)),
            None => "not inspected this season, nor on record before".to_owned(),
        });
    }
    let stored = unit
        .inspections
        .iter()
        .filter(|inspection| {
            inspection.kind == InspectionKind::Storage && inspection.at <= shared.as_of
        })
        .map(|inspection| inspection.at)
        .max();
    let since = stored
        .map(|at| zone.to_datetime(at).date())
        .filter(|day| *day > began);
    let proven = clock.last_run().is_some_and(|at| {
        zone.to_datetime(at).date() >= began && stored.is_none_or(|stored| at > stored)
    });
    if !proven {
        let last = match clock.last_run() {
            Some(at) => format!("last started {}", day_of(at, zone)),
            None => "no start on record".to_owned(),
        };
        missing.push(match since {
            Some(day_stored) => format!(
                "no proof start since it was stored on {}: {last}",
                day(day_stored)
            ),
            None => format!("no proof start since {}: {last}", day(began)),
        });
    }
    missing
}

fn last_inspection(unit: &UnitFacts, as_of: Timestamp) -> Option<(Timestamp, &str)> {
    unit.inspections
        .iter()
        .filter(|inspection| inspection.kind != InspectionKind::Storage && inspection.at <= as_of)
        .max_by_key(|inspection| (inspection.at, inspection.id))
        .map(|inspection| (inspection.at, inspection.by.as_str()))
}

/// Enough matching spare shear fasteners aboard for the breaks of a storm.
fn shear_factor(unit: &UnitFacts, model: &Model<'_>, storm_hours: f64) -> Option<Factor> {
    let shear = model.sheet.shear_fasteners.as_ref()?;
    let counted = latest(unit, &shear.spares_check).and_then(|reading| reading.value);
    let spares = counted.map_or(shear.carried.value, |count| count.clamp(0.0, 1e6) as u32);
    let (alpha, beta) = (shear.alpha.value, shear.beta_hours.value);
    let chance = breaks_enough(alpha, beta, storm_hours, spares);
    let aboard = if counted.is_some() {
        "counted aboard"
    } else {
        "taken to be aboard, not counted"
    };
    Some(Factor {
        factor: "shear fasteners".to_owned(),
        chance,
        text: format!(
            "{spares} spare shear fasteners {aboard}: {} that they are enough for this storm",
            odds(chance)
        ),
        figure: Some(Figure::Breaks(calculations::breaks::Input {
            alpha,
            beta,
            hours: storm_hours,
            spares: f64::from(spares),
        })),
    })
}

fn latest<'u>(unit: &'u UnitFacts, check: &str) -> Option<&'u LatestReading> {
    unit.latest.iter().find(|reading| reading.check == check)
}

/// How a unit starts for the storm after standing.
struct Start {
    /// Its last good start.
    run: Option<Timestamp>,
    /// By whom.
    by: Option<String>,
    /// The last attempt, if it failed.
    dead_at: Option<Timestamp>,
    /// Days from the last run to the storm.
    days: f64,
    /// The sheet's factors, of its checks' verdicts.
    factor: f64,
}

impl Start {
    fn of(shared: &Shared<'_>, unit: &UnitFacts, clock: &UnitClock, model: &Model<'_>) -> Self {
        let run = clock.last_run();
        let from = match run {
            Some(at) => shared.facts.zone.to_datetime(at).date(),
            // Never started: from 1 July of last year.
            None => Winter::of(shared.today).before().starts(),
        };
        let factor = model
            .sheet
            .start
            .factors
            .iter()
            .map(
                |factor| match latest(unit, &factor.check).map(|reading| reading.verdict) {
                    Some(Verdict::Marginal) => factor.marginal.value,
                    Some(Verdict::Unserviceable) => factor.unserviceable.value,
                    _ => 1.0,
                },
            )
            .product();
        let by = run.and_then(|at| {
            let start = unit
                .starts
                .iter()
                .find(|start| start.at == at && start.started)
                .map(|start| start.by.clone());
            start.or_else(|| {
                latest(unit, &model.sheet.start.check).map(|reading| reading.by.clone())
            })
        });
        Start {
            run,
            by,
            dead_at: clock
                .is_dead()
                .then(|| clock.starts.last().map(|start| start.0))
                .flatten(),
            days: f64::from(days_between(from, shared.storm.first_day).max(0)),
            factor,
        }
    }

    fn chance(&self, model: &Model<'_>) -> f64 {
        if self.dead_at.is_some() {
            0.0
        } else {
            model.start.chance(self.days, self.factor)
        }
    }

    /// The chance where the rate of going dead is known.
    fn chance_at(&self, model: &Model<'_>, dead_rate: f64) -> f64 {
        if self.dead_at.is_some() {
            0.0
        } else {
            model
                .start
                .chance_at_rate(dead_rate, self.days, self.factor)
        }
    }

    fn factor(&self, shared: &Shared<'_>, model: &Model<'_>) -> Factor {
        let zone = &shared.facts.zone;
        let chance = self.chance(model);
        let mut text = match (self.dead_at, self.run) {
            (Some(at), _) => format!("did not start on {}", day_of(at, zone)),
            (None, Some(at)) => {
                let by = self.by.as_deref().unwrap_or("somebody");
                format!(
                    "last started {} by {by}: {} to start for this storm",
                    day_of(at, zone),
                    odds(chance)
                )
            }
            (None, None) => format!(
                "no start on record: {} to start for this storm",
                odds(chance)
            ),
        };
        if self.factor > 1.0 && self.dead_at.is_none() {
            text.push_str("; its fuel, battery or storage make it go dead sooner");
        }
        let crate::start::StartRate {
            alpha,
            beta,
            shape,
            at_once,
        } = model.start;
        Factor {
            factor: "start".to_owned(),
            chance,
            text,
            figure: self
                .dead_at
                .is_none()
                .then_some(Figure::Starts(calculations::starts::Input {
                    alpha,
                    beta,
                    days: self.days,
                    shape,
                    at_once,
                    factor: self.factor,
                })),
        }
    }
}

fn proof(
    shared: &Shared<'_>,
    unit: &UnitFacts,
    clock: &UnitClock,
    model: &Model<'_>,
    start: &Start,
    rest: f64,
) -> Proof {
    let inspected = last_inspection(unit, shared.as_of);
    let is_proven = unproven(unit, clock, shared).is_empty();
    Proof {
        started_at: start.run,
        inspected_at: inspected.map(|(at, _)| at),
        by: start
            .by
            .clone()
            .or_else(|| inspected.map(|(_, by)| by.to_owned())),
        runs_out_at: if is_proven {
            runs_out_at(shared, model, start, rest)
        } else {
            None
        },
    }
}

/// The day on which standing alone takes the chance under the floor of ready, at the latest the next 1 July. The chance
/// of all else enters rounded down to 0.01, so that the day does not move with every hour run.
fn runs_out_at(
    shared: &Shared<'_>,
    model: &Model<'_>,
    start: &Start,
    rest: f64,
) -> Option<Timestamp> {
    let midnight = |day: Date| {
        shared
            .facts
            .zone
            .to_timestamp(day.to_datetime(jiff::civil::Time::midnight()))
            .ok()
    };
    let season_ends = Winter::of(shared.today).next().starts();
    let run = shared.facts.zone.to_datetime(start.run?).date();
    let rest = (rest * 100.0 + 1e-9).floor() / 100.0;
    let bearable = rest * model.start.at_once / shared.facts.settings.doubtful_under;
    if start.dead_at.is_some() || bearable < 1.0 {
        // Other things keep it from ready: standing changes nothing.
        return midnight(season_ends);
    }
    // p0 rest (beta / (beta + f t^k))^alpha = floor.
    let exposure = model.start.beta * (bearable.powf(1.0 / model.start.alpha) - 1.0) / start.factor;
    let days = exposure.powf(1.0 / model.start.shape).min(3660.0) as i32;
    let day = run
        .checked_add(jiff::Span::new().days(days + 1))
        .unwrap_or(season_ends);
    midnight(day.min(season_ends))
}

fn summary(
    inputs: &standing::Input,
    status: Status,
    chance: f64,
    because: &[Reason],
    storm: &str,
) -> String {
    let worst = || {
        because
            .iter()
            .find(|reason| reason.chance < 1.0)
            .or(because.first())
            .map_or("", |reason| reason.text.as_str())
    };
    match status {
        Status::Held => format!("Held: {}", inputs.held.join("; ")),
        Status::Stopped => format!("Stopped: {}", inputs.stopped.join("; ")),
        Status::Limited => format!(
            "Limited: {}",
            inputs
                .limited
                .as_ref()
                .map_or("", |limited| limited.text.as_str())
        ),
        Status::Unproven => format!("Unproven: {}", inputs.unproven.join("; ")),
        Status::NotReady => format!("Not ready for {storm}, {}: {}", odds(chance), worst()),
        Status::Doubtful => format!("Doubtful for {storm}, {}: {}", odds(chance), worst()),
        Status::Ready => format!("Ready for {storm}: {} to get through it", odds(chance)),
    }
}
