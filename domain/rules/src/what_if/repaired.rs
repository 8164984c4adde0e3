//! A machine that is supposed to have been put right.

use jiff::Timestamp;
use uuid::Uuid;

use crate::facts::{
    FittedPartFacts, Fitting, InspectionFacts, InspectionKind, LatestReading, MeterFacts,
    StartFacts, TaskDoneFacts, UnitFacts,
};
use crate::season::{Winter, day_number};
use crate::sheet::{CheckSpec, Reads, Sheet};
use crate::timeline::day_in;
use crate::unit::Shared;
use crate::unit::clock::UnitClock;
use crate::verdict::Verdict;

/// Who did what is only supposed.
pub(crate) const NOBODY: &str = "nobody, as supposed";

/// Makes it a machine that is here, that was started and inspected after its repair now, with nothing found. What was found
/// unserviceable is new, and so is a part that wears and was never measured. The rest stays as it was: a part goes on wearing,
/// fuel goes on ageing. `real` is the depot as it is.
pub fn put_right(unit: &mut UnitFacts, sheet: &Sheet, real: &Shared<'_>) {
    let (zone, as_of) = (&real.facts.zone, real.as_of);
    let meter_hours = meter_hours(unit, sheet, real);
    let paths = unit.parts.len();
    unit.away = None;
    unit.holds.clear();
    unit.findings.clear();
    unit.limited_uses.clear();
    unit.inspections.push(InspectionFacts {
        id: Uuid::nil(),
        kind: InspectionKind::AfterRepair,
        at: as_of,
        by: NOBODY.to_owned(),
    });
    unit.starts.push(StartFacts {
        at: as_of,
        started: true,
        by: NOBODY.to_owned(),
    });
    let began = day_number(Winter::of(real.today).starts());
    let (checks, rigging) = (sheet.checks.iter(), unit.rigging);
    for check in checks.filter(|check| sheet.check_concerns(&check.check, rigging)) {
        let place = unit
            .latest
            .iter()
            .position(|reading| reading.check == check.check);
        let reading = place.map(|place| &unit.latest[place]);
        let bad = reading.is_some_and(|reading| reading.verdict == Verdict::Unserviceable);
        let answered = reading.is_some_and(|reading| day_in(reading.at, zone) >= began);
        let wears = check
            .measure()
            .is_some_and(|measure| measure.wear.is_some());
        let unseen = check.effect.takes_out() && !answered || wears && reading.is_none();
        if !bad && !unseen {
            continue;
        }
        let found = match reading.filter(|_| !bad) {
            Some(reading) => LatestReading {
                at: as_of,
                by: NOBODY.to_owned(),
                ..reading.clone()
            },
            None => {
                let wears = check
                    .measure()
                    .is_some_and(|measure| measure.wear.is_some());
                if let Some(part) = check.part.as_ref().filter(|_| bad || wears) {
                    renew(unit, part, as_of);
                }
                as_new(check, as_of)
            }
        };
        match place {
            Some(place) => unit.latest[place] = found,
            None => unit.latest.push(found),
        }
    }
    if unit.parts.len() > paths {
        // Who fits a part reads the meter: without that its wear would count from the last time somebody did.
        unit.meter.push(MeterFacts {
            at: as_of,
            hours: meter_hours,
            estimated: true,
            meter_replaced: false,
        });
    }
    let safety = sheet.tasks.iter().filter(|task| task.safety);
    unit.tasks_done.extend(safety.map(|task| TaskDoneFacts {
        task: task.task.clone(),
        at: as_of,
        hours: None,
    }));
}

/// What its meter should show now: the last reading, and what it ran since in the mean.
pub(crate) fn meter_hours(unit: &UnitFacts, sheet: &Sheet, real: &Shared<'_>) -> f64 {
    let clock = UnitClock::new(unit, sheet, real);
    let base = clock.base().map_or(0.0, |base| base.hours);
    let since = (clock.hours_at(real.as_of, real) - base).max(0.0);
    clock.meter_hours().unwrap_or(0.0) + since
}

/// The part is a new one from now on.
pub(crate) fn renew(unit: &mut UnitFacts, part: &str, as_of: Timestamp) {
    let mut paths = unit.parts.iter();
    if paths.any(|path| path.part == part && path.fitted_at == Some(as_of)) {
        // Two of its checks were bad.
        return;
    }
    for path in unit.parts.iter_mut().filter(|path| path.part == part) {
        path.removed_at.get_or_insert(as_of);
    }
    unit.parts.push(FittedPartFacts {
        id: Uuid::nil(),
        part: part.to_owned(),
        how: Fitting::Renewed,
        fitted_at: Some(as_of),
        fitted_hours: None,
        removed_at: None,
        removed_hours: None,
        failed: None,
        sound_at: None,
        readings: Vec::new(),
    });
}

/// The best answer to a check.
pub(crate) fn as_new(check: &CheckSpec, as_of: Timestamp) -> LatestReading {
    let (value, grade, works) = match &check.reads {
        Reads::Measure(measure) => (Some(measure.limits.as_new.value), None, None),
        Reads::Grade(grades) | Reads::Level(grades) => {
            (None, grades.first().map(|best| best.grade.clone()), None)
        }
        Reads::Function => (None, None, Some(true)),
    };
    LatestReading {
        check: check.check.clone(),
        at: as_of,
        by: NOBODY.to_owned(),
        verdict: Verdict::Serviceable,
        value,
        grade,
        works,
        temperature_c: None,
        full_charge: None,
    }
}
