//! Starts, and what proves a machine.

use super::*;

/// Section 6 by hand: alpha 4, beta 1900 days, 0.99 at once; 240 days of standing.
#[test]
fn a_machine_that_stood_240_days_is_unproven_and_its_chance_is_said() {
    let mut unit = fresh_unit(1, 60.0);
    unit.latest
        .retain(|reading| reading.check != "engine_start");
    unit.starts[0].at = now_plus_days(-240);
    let evaluation = evaluate(&depot(vec![unit]), now());
    let unit = &evaluation.units[0];
    assert_eq!(unit.document.status, Status::Unproven);
    let start = unit
        .inputs
        .factors
        .iter()
        .find(|factor| factor.factor == "start")
        .unwrap();
    let by_hand = 0.99 * (1900.0_f64 / (1900.0 + 240.0)).powi(4);
    assert!(
        (start.chance - by_hand).abs() < 1e-12,
        "{} {by_hand}",
        start.chance
    );
    assert_eq!(unit.document.proof.runs_out_at, None);
    // Unproven counts as nothing; with it at its chance the score is more.
    let depot = &evaluation.depot.document;
    assert_eq!(depot.score, Some(0.0));
    // One machine of 1070 m2/h against 5000 m2 five times over.
    assert_eq!(depot.score_with_unproven, Some(0.0));
}

#[test]
fn a_machine_that_did_not_start_is_dead_until_it_does() {
    let mut unit = fresh_unit(1, 60.0);
    unit.starts.push(crate::facts::StartFacts {
        at: at("2025-11-20T16:00:00Z"),
        started: false,
        by: "an operator".to_owned(),
    });
    let dead = evaluate(&depot(vec![unit.clone()]), now());
    assert_eq!(
        (dead.units[0].document.status, dead.units[0].document.chance),
        (Status::NotReady, 0.0)
    );
    assert_eq!(
        dead.units[0].document.because[0].text,
        "did not start on 20 Nov 2025"
    );
    unit.starts.push(crate::facts::StartFacts {
        at: at("2025-11-21T16:00:00Z"),
        started: true,
        by: "an operator".to_owned(),
    });
    assert_eq!(status_of(&depot(vec![unit])), Status::Ready);
}

/// Proof of start: it runs out on the day from which standing alone takes it out of ready.
#[test]
fn a_proof_runs_out() {
    let facts = depot(vec![fresh_unit(1, 20.0)]);
    let evaluation = evaluate(&facts, now());
    let proof = &evaluation.units[0].document.proof;
    assert_eq!(
        (proof.by.as_deref(), proof.started_at),
        (Some("a technician"), Some(at("2025-11-18T16:00:00Z")))
    );
    let runs_out_at = proof.runs_out_at.unwrap();
    let day_before = runs_out_at.checked_sub(24.hours()).unwrap();
    assert_eq!(
        evaluate(&facts, day_before).units[0].document.status,
        Status::Ready,
        "{runs_out_at}"
    );
    let weeks_after = runs_out_at.checked_add((24 * 21).hours()).unwrap();
    assert_eq!(
        evaluate(&facts, weeks_after).units[0].document.status,
        Status::Doubtful,
        "{runs_out_at}"
    );
}

/// A storage inspection ends the proof: a start before it no longer counts, nor does the storage inspection prove.
#[test]
fn storage_ends_the_proof() {
    let mut facts = depot(vec![fresh_unit(1, 60.0)]);
    facts.units[0]
        .inspections
        .push(crate::facts::InspectionFacts {
            id: Uuid::from_u128(6),
            kind: crate::facts::InspectionKind::Storage,
            at: at("2025-11-20T16:00:00Z"),
            by: "a technician".to_owned(),
        });
    let document = evaluate(&facts, now()).units[0].document.clone();
    assert_eq!(document.status, Status::Unproven);
    assert!(
        document
            .summary
            .contains("no proof start since it was stored on 20 Nov 2025"),
        "{}",
        document.summary
    );
}

/// The depot's own starts teach its machines' start rate: many failures after standing lower the chance of the rest.
#[test]
fn failed_starts_teach_the_depot() {
    let start = |at, started| crate::facts::StartFacts {
        at,
        started,
        by: "an operator".to_owned(),
    };
    let mut facts = depot((1..=6).map(|number| fresh_unit(number, 60.0)).collect());
    let before = evaluate(&facts, now()).units[0].inputs.factors[0].chance;
    for unit in &mut facts.units[1..] {
        unit.starts.push(start(now_plus_days(-150), true));
        unit.starts.push(start(now_plus_days(-60), false));
    }
    let after = evaluate(&facts, now()).units[0].inputs.factors[0].chance;
    assert!(after < before - 0.002, "{before} {after}");
}
