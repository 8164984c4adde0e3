//! Tasks of a unit: what counts as doing one, what is owed in storage, and what a safety task that is overdue does.

use super::builder::{fresh_unit, now_plus_days};
use super::*;
use crate::alerts::{AlertKind, Severity};
use crate::due::State;
use crate::facts::{
    DeferralFacts, Fitting, InspectionFacts, InspectionKind, StartFacts, TaskDoneFacts, UnitFacts,
};
use crate::unit::tasks::TaskState;

fn task_at(unit: &UnitFacts, task: &str, as_of: jiff::Timestamp) -> TaskState {
    let evaluation = evaluate(&depot(vec![unit.clone()]), as_of);
    let tasks = &evaluation.units[0].document.tasks;
    let found = tasks.iter().find(|one| one.task == task);
    found.unwrap_or_else(|| panic!("no {task}")).clone()
}

fn task(unit: &UnitFacts, name: &str) -> TaskState {
    task_at(unit, name, now())
}

fn done(task: &str, at: jiff::Timestamp) -> TaskDoneFacts {
    TaskDoneFacts {
        task: task.to_owned(),
        at,
        hours: None,
    }
}

#[test]
fn hours_bring_a_date_with_its_doubt() {
    // Looked at in the inspection, at 100 h; every 50 h.
    let look = task(&fresh_unit(1, 100.0), "spark_plug_look");
    assert_eq!((look.state, look.at_hours), (State::NotDue, Some(150.0)));
    let (early, on, late) = (look.early.unwrap(), look.on.unwrap(), look.late.unwrap());
    assert!(
        now().to_zoned(jiff::tz::TimeZone::UTC).date() < early && early < on && on < late,
        "{look:?}"
    );
    assert!(
        look.text.contains("at 150 h, about ") && look.text.contains("every 50 h"),
        "{}",
        look.text
    );
}

#[test]
fn a_dead_meter_silences_no_calendar() {
    let mut unit = fresh_unit(1, 0.0);
    assert!(task(&unit, "spark_plug_look").state <= State::Coming);
    // A year after it was delivered and its window of 36 days, not one hour on the meter.
    let plug = task(&unit, "spark_plug");
    assert_eq!(plug.state, State::Overdue, "{}", plug.text);
    assert_eq!(plug.on, Some(jiff::civil::date(2025, 10, 1)));

    // A new plug is the task done.
    let old = unit
        .parts
        .iter_mut()
        .find(|path| path.part == "spark_plug")
        .unwrap();
    let mut new = old.clone();
    old.removed_at = Some(at("2025-11-20T16:00:00Z"));
    (new.how, new.fitted_at) = (Fitting::Renewed, Some(at("2025-11-20T16:00:00Z")));
    unit.parts.push(new);
    let plug = task(&unit, "spark_plug");
    assert_eq!(plug.state, State::NotDue, "{}", plug.text);
    assert!(
        plug.text.ends_with("last done 20 Nov 2025"),
        "{}",
        plug.text
    );
}

#[test]
fn in_storage_only_storage_tasks_are_owed_until_it_is_seen_to_run_again() {
    let mut unit = fresh_unit(1, 100.0);
    // Half a year on the fuel, looked at every two months, is long overdue.
    let later = now_plus_days(182);
    assert_eq!(task_at(&unit, "fuel", later).state, State::LongOverdue);
    unit.inspections.push(InspectionFacts {
        id: uuid::Uuid::from_u128(6),
        kind: InspectionKind::Storage,
        at: now_plus_days(150),
        by: "a technician".to_owned(),
    });
    let fuel = task_at(&unit, "fuel", later);
    assert_eq!(
        (fuel.state, fuel.on),
        (State::NotDue, None),
        "{}",
        fuel.text
    );
    assert_eq!(task_at(&unit, "put_away", later).state, State::LongOverdue);
    unit.starts.push(StartFacts {
        at: now_plus_days(180),
        started: true,
        by: "an operator".to_owned(),
    });
    assert_eq!(task_at(&unit, "fuel", later).state, State::LongOverdue);
}

#[test]
fn a_safety_task_that_is_overdue_leaves_the_unit_unproven_whatever_was_put_off() {
    let mut unit = fresh_unit(1, 100.0);
    let later = now_plus_days(105);
    unit.starts.push(StartFacts {
        at: now_plus_days(100),
        started: true,
        by: "an operator".to_owned(),
    });
    for task in ["auger_release", "controls", "guards"] {
        unit.deferrals.push(DeferralFacts {
            id: uuid::Uuid::from_u128(7),
            task: task.to_owned(),
            until: jiff::civil::date(2026, 6, 1),
            by: "a lead".to_owned(),
            reason: "no time".to_owned(),
        });
    }
    let evaluation = evaluate(&depot(vec![unit.clone()]), later);
    let document = &evaluation.units[0].document;
    assert_eq!(document.status, Status::Unproven, "{}", document.summary);
    let told = evaluation
        .signals
        .iter()
        .find(|one| one.kind == AlertKind::SafetyTaskOverdue);
    let severity = told
        .and_then(|one| one.raised.as_ref())
        .map(|raised| raised.0);
    assert_eq!(severity, Some(Severity::Urgent));
    let released = task_at(&unit, "auger_release", later);
    assert!(
        released
            .text
            .contains("although put off until 1 Jun 2026 by a lead: no time"),
        "{}",
        released.text
    );

    let safety = document.tasks.iter().filter(|task| task.safety);
    let again = safety.map(|task| done(&task.task, now_plus_days(101)));
    let again: Vec<TaskDoneFacts> = again.collect();
    unit.tasks_done.extend(again);
    let evaluation = evaluate(&depot(vec![unit]), later);
    let document = &evaluation.units[0].document;
    assert_ne!(document.status, Status::Unproven, "{}", document.summary);
}

#[test]
fn what_was_done_after_the_instant_that_is_asked_about_does_not_count() {
    let mut unit = fresh_unit(1, 100.0);
    let before = task(&unit, "engine_oil");
    unit.tasks_done.push(done("engine_oil", now_plus_days(3)));
    assert_eq!(task(&unit, "engine_oil"), before);
}

/// Every date that is shown can be had from what it shows beside it, of a machine with much behind it too.
#[test]
fn what_is_owed_is_worked_out_again_from_its_inputs() {
    let mut used = fresh_unit(2, 230.0);
    for (name, days) in [
        ("engine_oil", -200),
        ("engine_oil", -20),
        ("auger_release", -90),
    ] {
        used.tasks_done.push(done(name, now_plus_days(days)));
    }
    let mut facts = depot(vec![fresh_unit(1, 100.0), used]);
    facts.storms = vec![
        storm(1, "2025-11-20T00:00:00Z", "2025-11-21T00:00:00Z"),
        storm(2, "2025-11-27T00:00:00Z", "2025-11-28T12:00:00Z"),
    ];
    let evaluation = evaluate(&facts, now());
    for unit in &evaluation.units {
        let owed = crate::depot::owed(&facts, unit.unit_id, now()).expect("of the depot");
        let states: Vec<&TaskState> = owed.tasks.iter().map(|task| &task.state).collect();
        assert_eq!(states, unit.document.tasks.iter().collect::<Vec<_>>());
        let mut by_hours = 0;
        for task in &owed.tasks {
            let input = crate::calculations::due::Input {
                hours_ahead: Some(owed.hours_ahead.clone()),
                ..task.inputs.clone()
            };
            let again = crate::calculations::due::calculate(&input).expect("answered");
            assert_eq!(again.state, task.state.state, "{}", task.state.task);
            let decides = again
                .triggers
                .iter()
                .flatten()
                .find(|owed| owed.on == task.state.on);
            let Some(decides) = decides else {
                assert_eq!(task.state.on, None, "{}", task.state.task);
                continue;
            };
            assert_eq!(
                (decides.early, decides.late),
                (task.state.early, task.state.late)
            );
            by_hours += usize::from(decides.at_hours.is_some());
        }
        assert!(by_hours > 0);
    }
    assert_eq!(crate::depot::owed(&facts, Uuid::from_u128(4), now()), None);
}
