//! The jobs that are open at a depot.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use serde::Serialize;
use uuid::Uuid;

use super::renewed::factors_after;
use super::{DAYS_AHEAD, DepotLabour, OpenWork, WorkUnits};
use crate::because::odds;
use crate::depot::{clocks_of, evaluate};
use crate::due::State;
use crate::facts::{DepotFacts, UnitFacts};
use crate::plan::JobId;
use crate::season::{date_of, day_number};
use crate::sheet::{CheckSpec, Effect, Sheet};
use crate::unit::clock::UnitClock;
use crate::unit::open::frozen_check;
use crate::unit::parts::Advice;
use crate::unit::proof::{Lack, unproven};
use crate::unit::standing::Factor;
use crate::unit::{Shared, UnitState};

/// What kind of job it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = FixJobKind))]
pub enum JobKind {
    /// To put an open finding right.
    Finding,
    /// To prove that what a hold tag was hung for is put right, so that it can be lifted.
    Hold,
    /// A task of the sheet.
    Task,
    /// To inspect it.
    Inspection,
    /// To start it.
    Start,
    /// To renew a part.
    Part,
    /// To put spare shear fasteners aboard.
    Fasteners,
}

/// A job that is open.
#[derive(Debug, Clone)]
pub(super) struct OpenJob {
    pub id: JobId,
    pub unit_id: Uuid,
    pub tag: String,
    pub kind: JobKind,
    /// Whether it is for safety: a hold, or a safety task.
    pub safety: bool,
    pub title: String,
    pub minutes: f64,
    /// What it takes from the shelf, in the sheet's words.
    pub words: Vec<String>,
    pub now: f64,
    pub after: f64,
    pub because: String,
    /// The unit's open orders.
    pub orders: Vec<Uuid>,
}

/// Minutes of what no sheet has minutes for (common practice): a full inspection; a start; to put right something small; to
/// fill up a tool box.
const INSPECTION_MINUTES: f64 = 45.0;
const START_MINUTES: f64 = 10.0;
const REPAIR_MINUTES: f64 = 30.0;
const FASTENERS_MINUTES: f64 = 5.0;

/// A factor that rises by less is not worth anybody's way.
const WORTH: f64 = 0.002;

pub(super) fn gather(facts: &DepotFacts, labour: DepotLabour, as_of: Timestamp) -> OpenWork {
    let shared = Shared::of(facts, as_of);
    let evaluation = evaluate(facts, as_of);
    let after = factors_after(facts, as_of);
    let mut jobs = Vec::new();
    let mut rests: BTreeMap<Uuid, f64> = BTreeMap::new();
    let none = Vec::new();
    let clocks = clocks_of(&facts.units, &shared);
    for ((unit, state), clock) in facts.units.iter().zip(&evaluation.units).zip(&clocks) {
        let (Some(sheet), Some(clock)) = (facts.sheets.get(&unit.model), clock) else {
            continue;
        };
        let mut of_unit = OfUnit {
            shared: &shared,
            unit,
            clock,
            sheet,
            state,
            after: after.get(&unit.id).unwrap_or(&none),
            covered: BTreeSet::new(),
            parts: BTreeSet::new(),
            jobs: Vec::new(),
        };
        of_unit.gather();
        rests.insert(unit.id, of_unit.rest());
        jobs.append(&mut of_unit.jobs);
    }
    let today = shared.today;
    let season = shared.snow_days.this_season;
    let storm_on = shared
        .storm
        .starts_at
        .map(|_| date_of(shared.storm.first_day));
    let until = storm_on
        .or(Some(season.starts))
        .filter(|day| *day > today)
        .unwrap_or_else(|| date_of(day_number(today) + DAYS_AHEAD));
    let of_all_widths = |work: &&crate::depot::WorkInputs| work.narrowest_width_mm.is_none();
    let works = evaluation.depot.inputs.works.iter().filter(of_all_widths);
    let works = works.map(|work| WorkUnits {
        needed_rate: work.needed_rate,
        operators: work.operators,
        units: (work.units.iter())
            .map(|unit| {
                let rest = rests.get(&unit.unit_id).copied().unwrap_or(0.0);
                (unit.unit_id, unit.rate, rest)
            })
            .collect(),
    });
    OpenWork {
        depot_id: facts.id,
        name: facts.name.clone(),
        today,
        storm: shared.storm.name.clone(),
        until,
        season_starts: season.starts,
        labour,
        jobs,
        works: works.collect(),
    }
}

struct OfUnit<'a> {
    shared: &'a Shared<'a>,
    unit: &'a UnitFacts,
    clock: &'a UnitClock<'a>,
    sheet: &'a Sheet,
    state: &'a UnitState,
    after: &'a [Factor],
    /// Factors that a job changes.
    covered: BTreeSet<String>,
    /// Parts that a job renews.
    parts: BTreeSet<String>,
    jobs: Vec<OpenJob>,
}

/// A job, but for the unit it is done for.
struct New {
    kind: JobKind,
    /// What makes its id the unit's only one.
    code: String,
    title: String,
    minutes: f64,
    words: Vec<String>,
    now: f64,
    after: f64,
    because: String,
    safety: bool,
}

impl OfUnit<'_> {
    fn gather(&mut self) {
        self.findings();
        self.holds();
        self.tasks();
        self.proof();
        self.worn_parts();
        self.fasteners();
    }

    /// Its chance but for what jobs change: nothing while it is away, or used under limits that nobody admitted.
    fn rest(&self) -> f64 {
        let inputs = &self.state.inputs;
        let admitted = inputs
            .limited
            .as_ref()
            .is_none_or(|limited| limited.admitted);
        if inputs.away.is_some() || !admitted {
            return 0.0;
        }
        let factors = inputs.factors.iter();
        let rest = factors.filter(|factor| !self.covered.contains(&factor.factor));
        rest.map(|factor| factor.chance).product()
    }

    fn add(&mut self, job: New) {
        let orders = self.shared.facts.orders.iter();
        let orders = orders.filter(|order| order.unit_id == self.unit.id);
        self.jobs.push(OpenJob {
            id: JobId::Text(format!("{}:{}", self.unit.id, job.code)),
            unit_id: self.unit.id,
            tag: self.unit.tag.clone(),
            kind: job.kind,
            safety: job.safety,
            title: job.title,
            minutes: job.minutes,
            words: job.words,
            now: job.now,
            after: job.after.max(job.now),
            because: job.because,
            orders: orders.map(|order| order.id).collect(),
        });
    }

    /// The product of the factors that `is` picks, now and once all is done.
    fn factors(&self, is: impl Fn(&str) -> bool) -> (f64, f64) {
        let product = |factors: &[Factor]| -> f64 {
            let own = factors.iter().filter(|factor| is(&factor.factor));
            own.map(|factor| factor.chance).product()
        };
        (product(&self.state.inputs.factors), product(self.after))
    }

    /// The same of a part, which a job renews from here on.
    fn renewed(&mut self, part: &str) -> (f64, f64) {
        if !self.parts.insert(part.to_owned()) {
            return (1.0, 1.0);
        }
        let sudden = format!("{part} ");
        let is = |name: &str| name == part || name.starts_with(&sudden);
        let names = self
            .state
            .inputs
            .factors
            .iter()
            .map(|factor| &factor.factor);
        self.covered.extend(names.filter(|name| is(name)).cloned());
        self.factors(is)
    }

    /// The part that the job of a check renews, if it does.
    fn part_of(&self, check: &CheckSpec) -> Option<String> {
        let part = check.part.as_ref()?;
        let renews = check.job.is_none() && self.sheet.part(part)?.job.is_some();
        renews.then(|| part.clone())
    }

    fn repair(
        &mut self,
        code: String,
        check: Option<&CheckSpec>,
        because: String,
        bars: bool,
        safety: bool,
    ) {
        let job = check.and_then(|check| self.sheet.job_for(check));
        let title = match (job, check) {
            (Some(job), _) => job.title.clone(),
            (None, Some(check)) => format!("Put right: {}", check.title),
            (None, None) => "Put right what was found".to_owned(),
        };
        let part = check.and_then(|check| self.part_of(check));
        let (now, after) = part.map_or((1.0, 1.0), |part| self.renewed(&part));
        self.add(New {
            kind: JobKind::Finding,
            code,
            title,
            minutes: job.map_or(REPAIR_MINUTES, |job| job.minutes.value),
            words: job.map_or_else(Vec::new, |job| job.parts.clone()),
            now: if bars { 0.0 } else { now },
            after,
            because,
            safety,
        });
    }

    fn findings(&mut self) {
        let findings = self.unit.findings.iter();
        let concern =
            findings.filter(|one| self.sheet.check_concerns(&one.check, self.unit.rigging));
        let mut concern: Vec<_> = concern.collect();
        concern.sort_by_key(|finding| (finding.opened_at, finding.id));
        for finding in concern {
            let check = self.sheet.check_spec(&finding.check);
            let code = format!("finding:{}", finding.id);
            let safety = finding.effect == Effect::Hold;
            self.repair(
                code,
                check,
                finding.text.clone(),
                finding.effect.takes_out(),
                safety,
            );
        }
        if let Some((check, because)) = frozen_check(self.unit, self.shared) {
            let check = self.sheet.check_spec(&check);
            self.repair("frozen".to_owned(), check, because, true, false);
        }
    }

    /// Tags that an open finding does not stand for.
    fn holds(&mut self) {
        let open: BTreeSet<Uuid> = self
            .unit
            .findings
            .iter()
            .map(|finding| finding.id)
            .collect();
        let tags = self.unit.holds.iter();
        let alone = tags.filter(|hold| hold.finding_id.is_none_or(|id| !open.contains(&id)));
        for hold in alone {
            self.add(New {
                kind: JobKind::Hold,
                code: format!("hold:{}", hold.id),
                title: "Put right what the hold tag says, inspect, and have it lifted".to_owned(),
                minutes: self.inspection_minutes(),
                words: Vec::new(),
                now: 0.0,
                after: 1.0,
                because: format!("hold tag by {}: {}", hold.placed_by, hold.reason),
                safety: true,
            });
        }
    }

    fn tasks(&mut self) {
        let due = self.state.document.tasks.iter();
        for task in due.filter(|task| task.state >= State::Due) {
            let Some(spec) = self.sheet.task(&task.task) else {
                continue;
            };
            let (now, after) = match &spec.renews {
                Some(part) => self.renewed(part),
                None => (1.0, 1.0),
            };
            let bars = task.safety && task.state >= State::Overdue;
            self.add(New {
                kind: JobKind::Task,
                code: format!("task:{}", task.task),
                title: task.title.clone(),
                minutes: task.minutes,
                words: spec.parts.clone(),
                now: if bars { 0.0 } else { now },
                after,
                because: task.text.clone(),
                safety: task.safety,
            });
        }
    }

    /// What an inspection takes: the task of the sheet that answers most checks, where it has one.
    fn inspection_minutes(&self) -> f64 {
        let tasks = self.sheet.tasks.iter().filter(|task| task.checks.len() > 1);
        let fullest = tasks.max_by_key(|task| task.checks.len());
        fullest.map_or(INSPECTION_MINUTES, |task| {
            task.minutes.value.max(START_MINUTES)
        })
    }

    fn proof(&mut self) {
        let lacks = unproven(self.unit, self.clock, self.shared);
        let said = |of: fn(&Lack) -> Option<&String>| -> Option<String> {
            let texts: Vec<&str> = lacks
                .iter()
                .filter_map(|lack| of(lack).map(String::as_str))
                .collect();
            (!texts.is_empty()).then(|| texts.join("; "))
        };
        let look = said(|lack| match lack {
            Lack::Look(text) => Some(text),
            Lack::Start(_) => None,
        });
        let start = said(|lack| match lack {
            Lack::Start(text) => Some(text),
            Lack::Look(_) => None,
        });
        if let Some(because) = look {
            self.add(New {
                kind: JobKind::Inspection,
                code: "inspection".to_owned(),
                title: "Inspect it".to_owned(),
                minutes: self.inspection_minutes(),
                words: Vec::new(),
                now: 0.0,
                after: 1.0,
                because,
                safety: false,
            });
        }
        let (now, after) = self.factors(|name| name == START);
        if start.is_none() && after - now < WORTH {
            return;
        }
        self.covered.insert(START.to_owned());
        let known = self
            .state
            .inputs
            .factors
            .iter()
            .find(|factor| factor.factor == START);
        let known = known.map_or_else(String::new, |factor| factor.text.clone());
        let task = (self.sheet.tasks.iter())
            .find(|task| task.checks.as_slice() == [self.sheet.start.check.clone()]);
        self.add(New {
            kind: JobKind::Start,
            code: START.to_owned(),
            title: "Start it, and put right what keeps it from starting".to_owned(),
            minutes: task.map_or(START_MINUTES, |task| task.minutes.value),
            words: Vec::new(),
            now: if start.is_some() { 0.0 } else { now },
            after,
            because: start.unwrap_or(known),
            safety: false,
        });
    }

    /// Parts that may not see the season out.
    fn worn_parts(&mut self) {
        for part in &self.state.document.parts {
            if !matches!(part.advice, Advice::RenewNow | Advice::OrderThePart)
                || self.parts.contains(&part.part)
            {
                continue;
            }
            let Some(job) = self
                .sheet
                .part(&part.part)
                .and_then(|spec| spec.job.as_ref())
            else {
                continue;
            };
            let (now, after) = self.renewed(&part.part);
            self.add(New {
                kind: JobKind::Part,
                code: format!("part:{}", part.part),
                title: job.title.clone(),
                minutes: job.minutes.value,
                words: job.parts.clone(),
                now,
                after,
                because: part.text.clone(),
                safety: false,
            });
        }
    }

    fn fasteners(&mut self) {
        let Some(shear) = &self.sheet.shear_fasteners else {
            return;
        };
        let (now, after) = self.factors(|name| name == FASTENERS);
        if after - now < WORTH {
            return;
        }
        self.covered.insert(FASTENERS.to_owned());
        let check = self.sheet.check_spec(&shear.spares_check);
        let job = check.and_then(|check| self.sheet.job_for(check));
        self.add(New {
            kind: JobKind::Fasteners,
            code: "fasteners".to_owned(),
            title: job.map_or_else(|| "Put spare shear fasteners aboard".to_owned(), |job| job.title.clone()),
            minutes: job.map_or(FASTENERS_MINUTES, |job| job.minutes.value),
            words: job.map_or_else(Vec::new, |job| job.parts.clone()),
            now,
            after,
            because: format!(
                "{} that the spare shear fasteners aboard are enough for this storm, {} with {} aboard",
                odds(now),
                odds(after),
                shear.carried.value
            ),
            safety: false,
        });
    }
}

/// The names of these factors.
const START: &str = "start";
const FASTENERS: &str = "shear fasteners";
