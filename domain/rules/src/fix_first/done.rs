//! A machine as it would be with some jobs done. Like what is put right in a what-if, but job by job.

use std::collections::BTreeSet;

use jiff::Timestamp;
use uuid::Uuid;

use super::job::Draft;
use crate::facts::{
    InspectionFacts, InspectionKind, MeterFacts, StartFacts, TaskDoneFacts, UnitFacts,
};
use crate::sheet::Sheet;
use crate::unit::Shared;
use crate::what_if::repaired::{NOBODY, as_new, meter_hours, renew};

/// The machine with these jobs done at the instant that is evaluated.
pub(super) fn done<'d>(
    unit: &UnitFacts,
    sheet: &Sheet,
    shared: &Shared<'_>,
    jobs: impl Iterator<Item = &'d Draft>,
) -> UnitFacts {
    let as_of = shared.as_of;
    let paths = unit.parts.len();
    let mut unit = unit.clone();
    for job in jobs {
        unit.holds.retain(|hold| !job.holds.contains(&hold.id));
        unit.findings
            .retain(|finding| !job.findings.contains(&finding.id));
        for check in &job.checks {
            found_good(&mut unit, sheet, check, as_of);
        }
        if let Some(part) = &job.renews {
            renew(&mut unit, part, as_of);
            let of_part = |check: &&crate::sheet::CheckSpec| check.part.as_ref() == Some(part);
            for check in sheet.checks.iter().filter(of_part) {
                answer(&mut unit, sheet, &check.check, as_of);
            }
        }
        if job.inspects {
            look_at_everything(&mut unit, sheet, as_of);
        }
        if job.starts {
            unit.starts.push(StartFacts {
                at: as_of,
                started: true,
                by: NOBODY.to_owned(),
            });
        }
        let tasks = job.tasks.iter().map(|task| TaskDoneFacts {
            task: task.clone(),
            at: as_of,
            hours: None,
        });
        unit.tasks_done.extend(tasks);
    }
    if unit.parts.len() > paths {
        // Who fits a part reads the meter: without that its wear would count from the last time somebody did.
        unit.meter.push(MeterFacts {
            at: as_of,
            hours: meter_hours(&unit, sheet, shared),
            estimated: true,
            meter_replaced: false,
        });
    }
    unit
}

/// What was bad is as new, and so is the part that it is about.
fn found_good(unit: &mut UnitFacts, sheet: &Sheet, check: &str, as_of: Timestamp) {
    let spec = sheet.check_spec(check);
    if let Some(part) = spec.and_then(|spec| spec.part.as_ref()) {
        renew(unit, part, as_of);
    }
    answer(unit, sheet, check, as_of);
}

/// The best answer to a check.
fn answer(unit: &mut UnitFacts, sheet: &Sheet, check: &str, as_of: Timestamp) {
    let Some(spec) = sheet.check_spec(check) else {
        return;
    };
    unit.latest.retain(|reading| reading.check != check);
    unit.latest.push(as_new(spec, as_of));
}

/// Every safety and stop check is answered, and nothing new is found. What was measured stays what it was.
fn look_at_everything(unit: &mut UnitFacts, sheet: &Sheet, as_of: Timestamp) {
    unit.inspections.push(InspectionFacts {
        id: Uuid::nil(),
        kind: InspectionKind::AfterRepair,
        at: as_of,
        by: NOBODY.to_owned(),
    });
    let known: BTreeSet<String> = (unit.latest.iter())
        .map(|reading| reading.check.clone())
        .collect();
    let takes_out = |code: &str| {
        let spec = sheet.check_spec(code);
        // A start is a job of its own.
        spec.is_some_and(|check| check.effect.takes_out() && check.check != sheet.start.check)
    };
    for reading in &mut unit.latest {
        if takes_out(&reading.check) {
            reading.at = as_of;
        }
    }
    let checks = sheet.checks.iter();
    for check in checks.filter(|check| takes_out(&check.check) && !known.contains(&check.check)) {
        unit.latest.push(as_new(check, as_of));
    }
}
