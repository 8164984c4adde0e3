//! What every default sheet and checklist must be.

use super::*;
use crate::due::Trigger;
use crate::sheet::{Attachment, Effect, Figure, TaskSpec, Work};

fn all() -> Vec<(Sheet, Checklist)> {
    default_kinds()
        .map(|kind| {
            (
                default_sheet(kind).unwrap(),
                default_checklist(kind).unwrap(),
            )
        })
        .collect()
}

#[test]
fn every_kind_has_a_sound_sheet_and_checklist_of_its_name() {
    let kinds: Vec<&str> = default_kinds().collect();
    assert_eq!(kinds.len(), 7);
    for (kind, (sheet, checklist)) in kinds.iter().zip(all()) {
        assert_eq!(
            (sheet.kind.as_str(), checklist.kind.as_str()),
            (*kind, *kind)
        );
        assert_eq!(sheet.check(), Ok(()), "{kind}");
        assert_eq!(checklist.check(), Ok(()), "{kind}");
        assert!(!checklist.cautions.is_empty() && !checklist.preconditions.is_empty());
        // What keeps a machine from its work, or slows it, has a job that puts it right.
        for check in sheet
            .checks
            .iter()
            .filter(|check| check.effect > Effect::Note)
        {
            assert!(sheet.job_for(check).is_some(), "{kind}: {}", check.check);
        }
        // As the store keeps it, and back.
        let kept = serde_json::to_value(&sheet).unwrap();
        assert_eq!(serde_json::from_value::<Sheet>(kept).unwrap(), sheet);
    }
    assert!(default_sheet("bulldozer").is_none() && default_checklist("bulldozer").is_none());
}

/// Every check has its step, whatever the machine is rigged for; but for a battery, which not every model has, no step is
/// without its check.
#[test]
fn every_checklist_covers_its_sheet() {
    for (sheet, checklist) in all() {
        let steps: Vec<&str> = checklist
            .steps
            .iter()
            .map(|step| step.check.as_str())
            .collect();
        for check in &sheet.checks {
            assert!(
                steps.contains(&check.check.as_str()),
                "{}: {}",
                sheet.kind,
                check.check
            );
        }
        for step in steps {
            let known = sheet.check_spec(step).is_some() || step.starts_with("battery_");
            assert!(known, "{}: {step}", sheet.kind);
        }
    }
}

/// A unit is shown the steps of the attachment that it has, and none of the other's.
#[test]
fn a_checklist_leaves_out_the_attachment_that_is_not_fitted() {
    let sheet = default_sheet("sidewalk tractor").unwrap();
    let checklist = default_checklist("sidewalk tractor").unwrap();
    let steps = |work| {
        let steps = checklist.steps_for(&sheet, work);
        steps
            .map(|(step, _)| step.check.clone())
            .collect::<Vec<String>>()
    };
    let (blower, broom) = (steps(Work::Clear), steps(Work::Blow));
    let has = |steps: &[String], check: &str| steps.iter().any(|step| step == check);
    for (check, on_blower, on_broom) in [
        ("hydraulic_leak", true, true),
        ("presence_switch", true, true),
        ("pto_guard", true, false),
        ("shear_fasteners", true, false),
        ("bristle_length", false, true),
        ("contact_strip", false, true),
    ] {
        assert_eq!(
            (has(&blower, check), has(&broom, check)),
            (on_blower, on_broom),
            "{check}"
        );
    }
}

/// Safety functions are holds, and what runs by itself is stopped by its operator: each machine with an engine has a
/// safety task that tests that, and every machine what a season asks for.
#[test]
fn every_sheet_has_its_holds_and_its_tasks() {
    for (sheet, _) in all() {
        let kind = &sheet.kind;
        let holds = sheet
            .checks
            .iter()
            .filter(|check| check.effect == Effect::Hold);
        assert!(holds.clone().count() >= 2, "{kind}");
        let has = |triggers: fn(&Trigger) -> bool| {
            let mut tasks = sheet.tasks.iter();
            tasks.any(|task| task.triggers.iter().any(triggers))
        };
        assert!(
            has(|one| matches!(one, Trigger::BeforeSeason { lead_days: 42 })),
            "{kind}"
        );
        assert!(
            has(|one| matches!(one, Trigger::BeforeSeason { lead_days: 14 })),
            "{kind}"
        );
        assert!(
            has(|one| matches!(one, Trigger::AfterStorm { .. })),
            "{kind}"
        );
        assert!(
            has(|one| matches!(one, Trigger::AfterSeason { .. })),
            "{kind}"
        );
        assert!(has(|one| matches!(one, Trigger::Hours { .. })), "{kind}");
        assert!(sheet.tasks.iter().any(|task| task.storage), "{kind}");
        let engine = sheet.part("engine").is_some();
        let tests_holds = |task: &&TaskSpec| {
            let effect = |check: &String| sheet.check_spec(check).unwrap().effect;
            task.safety
                && task
                    .checks
                    .iter()
                    .any(|check| effect(check) == Effect::Hold)
        };
        assert!(
            !engine || sheet.tasks.iter().any(|task| tests_holds(&task)),
            "{kind}"
        );
        if engine {
            assert!(
                sheet.check_spec("stop_switch").unwrap().effect == Effect::Hold,
                "{kind}"
            );
        }
        // What prepares the season asks for every check without which the machine is not inspected, whatever is fitted.
        let prepared = sheet.task("pre_season").unwrap();
        for check in &sheet.checks {
            if check.effect.takes_out()
                && check.only_for.is_none()
                && check.check != sheet.start.check
            {
                assert!(
                    prepared.checks.contains(&check.check),
                    "{kind}: {}",
                    check.check
                );
            }
        }
    }
}

/// Nothing is said to be a maker's limit: where nobody publishes one, the source says so.
#[test]
fn limits_that_nobody_publishes_say_so() {
    let mut said = 0;
    for (sheet, _) in all() {
        for measure in sheet.checks.iter().filter_map(|check| check.measure()) {
            for side in [&measure.limits.low, &measure.limits.high]
                .into_iter()
                .flatten()
            {
                for figure in [&side.marginal_at, &side.unserviceable_at] {
                    said += usize::from(figure.source.starts_with("no published limit"));
                }
            }
        }
    }
    assert!(said > 30, "{said}");
}

/// Sheets from before attachments, tasks, doses and noise are read as they were written.
#[test]
fn older_sheets_are_read() {
    let mut kept = serde_json::to_value(two_stage_thrower()).unwrap();
    for new in ["tasks", "attachments", "noise_db_a"] {
        kept.as_object_mut().unwrap().remove(new);
    }
    let sheet: Sheet = serde_json::from_value(kept).unwrap();
    assert!(sheet.attachments.is_empty() && sheet.tasks.is_empty());
    assert_eq!(sheet.check(), Ok(()));
    assert_eq!(sheet.rate_for(Work::Clear), &sheet.rate);
    assert!(sheet.noise_db_a.is_none() && sheet.hand_arm_m_per_s2.is_none());
}

#[test]
fn faults_of_noise_and_vibration_are_named() {
    let figure = |value: f64, source: &str| {
        let source = source.to_owned();
        Some(Figure { value, source })
    };
    let thrower = |noise: f64, vibration: f64, source: &str| {
        fields_at_fault("two-stage thrower", |sheet| {
            sheet.noise_db_a = figure(noise, source);
            sheet.hand_arm_m_per_s2 = figure(vibration, source);
        })
    };
    assert!(
        thrower(30.0, 0.0, "declared").is_empty() && thrower(140.0, 100.0, "declared").is_empty()
    );
    for (noise, vibration) in [(29.0, -0.1), (141.0, 100.1), (f64::NAN, f64::NAN)] {
        let faults = thrower(noise, vibration, "declared");
        assert_eq!(faults, ["noise_db_a.value", "hand_arm_m_per_s2.value"]);
    }
    let unsourced = thrower(90.0, 4.0, " ");
    assert_eq!(unsourced, ["noise_db_a.source", "hand_arm_m_per_s2.source"]);
}

fn fields_at_fault(kind: &str, change: impl FnOnce(&mut Sheet)) -> Vec<String> {
    let mut sheet = default_sheet(kind).unwrap();
    change(&mut sheet);
    let faults = sheet.check().err().unwrap_or_default();
    faults.into_iter().map(|fault| fault.field).collect()
}

#[test]
fn faults_of_works_and_attachments_are_named() {
    let tractor = |change: fn(&mut Sheet)| fields_at_fault("sidewalk tractor", change);
    let of_work = tractor(|sheet| sheet.attachments[0].work = Work::Spread);
    assert_eq!(
        of_work,
        ["attachments[0].work", "attachments[0].rate.dose_g_m2"]
    );
    let twice = tractor(|sheet| {
        let again: Attachment = sheet.attachments[0].clone();
        sheet.attachments.push(again);
    });
    assert_eq!(twice, ["attachments[1].work"]);
    assert_eq!(tractor(|sheet| sheet.works.push(Work::Clear)), ["works[2]"]);
    assert_eq!(
        tractor(|sheet| sheet.works.push(Work::Spread)),
        ["attachments"]
    );
    let many = tractor(|sheet| sheet.works = vec![Work::Clear; 4]);
    assert_eq!(many, ["works"]);
    let speed = tractor(|sheet| sheet.attachments[0].rate.speed_m_per_h.value = 0.0);
    assert_eq!(speed, ["attachments[0].rate.speed_m_per_h.value"]);
    let start = tractor(|sheet| {
        let start = sheet.checks.iter_mut();
        let mut start = start.filter(|check| check.check == "engine_start");
        start.next().unwrap().only_for = Some(Work::Clear);
    });
    assert_eq!(start, ["start.check"]);
    let nobody = tractor(|sheet| sheet.parts[2].only_for = Some(Work::Spread));
    assert_eq!(nobody, ["parts[2].only_for"]);

    let spreader = |change: fn(&mut Sheet)| fields_at_fault("spreader", change);
    assert_eq!(
        spreader(|sheet| sheet.rate.dose_g_m2 = None),
        ["rate.dose_g_m2"]
    );
    let thrower = fields_at_fault("two-stage thrower", |sheet| {
        sheet.rate.dose_g_m2 = Some(sheet.rate.overlap.clone());
    });
    assert_eq!(thrower, ["rate.dose_g_m2"]);
}
