//! Starts, and what proves a machine.

use super::*;
use crate::facts::{Fault, InspectionFacts, InspectionKind, OrderFacts, StartFacts};

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

/// A machine at 20 hours, started on 18 November with fuel 15 days old; `treated` or nobody knows.
fn fuelled(treated: bool) -> DepotFacts {
    let mut unit = fresh_unit(1, 20.0);
    if !treated {
        unit.latest
            .retain(|reading| reading.check != "fuel_stabiliser");
    }
    depot(vec![unit])
}

/// Proof of start, by hand: the first day d after the start with rest x 0.99 (1900 / (1900 + f d))^4 under 0.9. Fuel of
/// 15 days is 30 days old on day 15 and 90 on day 75 (the sheet's limits: f = 1.5, then 3), unless it is treated.
#[test]
fn a_proof_runs_out_on_the_day_worked_out_by_hand() {
    for treated in [true, false] {
        let facts = fuelled(treated);
        let unit = evaluate(&facts, now()).units.remove(0);
        let proof = &unit.document.proof;
        assert_eq!(
            (proof.by.as_deref(), proof.started_at),
            (Some("a technician"), Some(at("2025-11-18T16:00:00Z")))
        );
        let others = unit.inputs.factors.iter();
        let rest: f64 = others
            .filter(|factor| factor.factor != "start")
            .map(|factor| factor.chance)
            .product();
        let rest = (rest * 100.0).floor() / 100.0;
        let falls_on = (0..300).find(|d| {
            let factor = match d {
                ..15 => 1.0,
                15..75 => 1.5,
                75.. => 3.0,
            };
            let factor = if treated { 1.0 } else { factor };
            rest * 0.99 * (1900.0_f64 / (1900.0 + factor * f64::from(*d))).powi(4) < 0.9
        });
        // Midnight at the depot is seven hours after midnight UTC.
        let midnight = at("2025-11-18T07:00:00Z");
        let by_hand = midnight
            .checked_add((24 * falls_on.unwrap()).hours())
            .unwrap();
        assert_eq!(proof.runs_out_at, Some(by_hand), "treated {treated}");
    }
}

fn start_chance(facts: &DepotFacts, as_of: &str) -> f64 {
    evaluate(facts, at(as_of)).units[0].inputs.factors[0].chance
}

/// Section 6 with fuel that ages in the tank, by hand. On 18 February the machine has stood 92 days; fuel of 20 days on
/// 18 November is 112 days old then, f = 3. Treated it keeps a year: on 3 December 2026 it counts as 20 + 380 - 365 =
/// 35 days old, f = 1.5. Later readings of the fuel begin afresh.
#[test]
fn fuel_goes_on_ageing_in_the_tank() {
    let by_hand = |factor: f64, days: f64| 0.99 * (1900.0_f64 / (1900.0 + factor * days)).powi(4);
    let [mut treated, mut not] = [true, false].map(fuelled);
    for facts in [&mut treated, &mut not] {
        set_reading(&mut facts.units[0], "fuel_age", 20.0);
    }
    let close = |chance: f64, by_hand: f64| {
        assert!((chance - by_hand).abs() < 1e-12, "{chance} {by_hand}");
    };
    close(
        start_chance(&not, "2026-02-18T16:00:00Z"),
        by_hand(3.0, 92.0),
    );
    close(
        start_chance(&not, "2025-11-27T16:00:00Z"),
        by_hand(1.0, 9.0),
    );
    close(
        start_chance(&not, "2025-11-28T16:00:00Z"),
        by_hand(1.5, 10.0),
    );
    close(
        start_chance(&treated, "2026-02-18T16:00:00Z"),
        by_hand(1.0, 92.0),
    );
    close(
        start_chance(&treated, "2026-12-03T16:00:00Z"),
        by_hand(1.5, 380.0),
    );
    let fuel = not.units[0]
        .latest
        .iter_mut()
        .find(|reading| reading.check == "fuel_age");
    let fuel = fuel.expect("its fuel");
    (fuel.at, fuel.value) = (at("2026-02-10T16:00:00Z"), Some(1.0));
    close(
        start_chance(&not, "2026-02-18T16:00:00Z"),
        by_hand(1.0, 92.0),
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

/// The depot's own starts teach its machines' start rate, by hand. A good start after 90 days on fuel past its limit
/// (f = 3) and one after 53 days on good fuel (26 September to 18 November): beta = 1900 + 3 x 90 + 53. A failed one after
/// 90 days: the posterior l^3 e^(-1900 l) (1 - 0.99 e^(-c l)) is a difference of two Gammas, c = 90 f, taken as the Gamma
/// of its mean and variance; the start after it stands by itself.
#[test]
fn the_depots_own_starts_teach_its_start_rate() {
    let start = |at, started| crate::facts::StartFacts {
        at,
        started,
        by: "an operator".to_owned(),
    };
    let taught = |started: bool, fuel: Option<crate::verdict::Verdict>| {
        let mut facts = depot((1..=2).map(|number| fresh_unit(number, 60.0)).collect());
        let unit = &mut facts.units[1];
        unit.starts.push(start(now_plus_days(-150), true));
        unit.starts.push(start(now_plus_days(-60), started));
        unit.start_checks
            .extend(fuel.map(|verdict| crate::facts::CheckFound {
                check: "fuel_age".to_owned(),
                at: now_plus_days(-60),
                verdict,
                value: Some(100.0),
            }));
        let chance = evaluate(&facts, now()).units[0].inputs.factors[0].chance;
        chance / 0.99
    };
    let chance = |alpha: f64, beta: f64| (beta / (beta + 7.0)).powf(alpha);
    let past = Some(crate::verdict::Verdict::Unserviceable);
    for (fuel, factor) in [(None, 1.0), (past, 3.0)] {
        let good = taught(true, fuel);
        let by_hand = chance(4.0, 1900.0 + factor * 90.0 + 53.0);
        assert!((good - by_hand).abs() < 1e-12, "{good} {by_hand}");
        let c = 90.0 * factor;
        let moment = |order: i32| {
            let power = -4 - order;
            1900.0_f64.powi(power) - 0.99 * (1900.0 + c).powi(power)
        };
        let mean = 4.0 * moment(1) / moment(0);
        let variance = 20.0 * moment(2) / moment(0) - mean * mean;
        let failed = taught(false, fuel);
        let by_hand = chance(mean * mean / variance, mean / variance);
        assert!((failed - by_hand).abs() < 1e-8, "{failed} {by_hand}");
    }
}

/// A look at one thing is no inspection: what can hurt or stop must all have been answered since 1 July.
#[test]
fn an_inspection_proves_once_every_safety_and_stop_check_is_answered() {
    let missing = |change: &dyn Fn(&mut crate::facts::UnitFacts)| {
        let mut unit = fresh_unit(1, 20.0);
        change(&mut unit);
        evaluate(&depot(vec![unit]), now()).units[0]
            .inputs
            .unproven
            .clone()
    };
    assert_eq!(missing(&|_| ()), Vec::<String>::new());
    // Of the year before.
    let old = at("2025-06-30T16:00:00Z");
    let before = missing(&|unit| {
        for reading in &mut unit.latest {
            if reading.check == "guards" || reading.check == "stop_switch" {
                reading.at = old;
            }
        }
    });
    assert_eq!(
        before,
        [
            "not inspected in full this season; not answered since 1 Jul 2025: Guards, belt cover, chute safety and labels \
          present and tight; Key or stop switch kills the engine"
        ]
    );
    // What only slows a machine down, and the proof start, are not asked for here.
    let slows = ["axle_play", "auger_flights", "lamp", "engine_start"];
    let fine = missing(&|unit| {
        unit.latest
            .retain(|reading| !slows.contains(&reading.check.as_str()))
    });
    assert_eq!(fine, Vec::<String>::new());
    let one_step = missing(&|unit| unit.latest.retain(|reading| reading.check == "recoil"));
    assert!(
        one_step.len() == 1 && one_step[0].ends_with(" more"),
        "{one_step:?}"
    );
}

/// A battery under its limit makes a machine go dead sooner, by the factor that comes with its checks: by hand, 7 days at
/// f = 1.5.
#[test]
fn a_half_charged_battery_makes_a_machine_go_dead_sooner() {
    let mut facts = depot(vec![fresh_unit(1, 20.0)]);
    let sheet = facts.sheets.get_mut(&MODEL).unwrap();
    sheet.checks.extend(crate::sheet::battery_checks());
    sheet
        .start
        .factors
        .extend(crate::sheet::battery_start_factors());
    assert_eq!(sheet.check(), Ok(()));
    let mut reading = facts.units[0].latest[0].clone();
    (reading.check, reading.verdict) = (
        "battery_charge".to_owned(),
        crate::verdict::Verdict::Marginal,
    );
    facts.units[0].latest.push(reading);
    let chance = evaluate(&facts, now()).units[0].inputs.factors[0].chance;
    let by_hand = 0.99 * (1900.0_f64 / (1900.0 + 1.5 * 7.0)).powi(4);
    assert!((chance - by_hand).abs() < 1e-12, "{chance} {by_hand}");
}

#[test]
fn a_fault_that_somebody_reports_takes_the_proof_until_it_is_looked_at() {
    let unit = fresh_unit(1, 100.0);
    let mut facts = depot(vec![unit.clone()]);
    facts.duties = vec![duty("walks", 500.0, None)];
    let before = evaluate(&facts, now());
    facts.orders = vec![OrderFacts {
        id: uuid::Uuid::from_u128(8),
        unit_id: unit.id,
        tag: unit.tag.clone(),
        title: "will not throw".to_owned(),
        planned_for: None,
        opened_at: at("2025-11-24T12:00:00Z"),
        fault: Some(Fault {
            symptom: "will not throw".to_owned(),
            at: at("2025-11-24T11:00:00Z"),
        }),
    }];
    let state = |facts: &DepotFacts| evaluate(facts, now());
    let reported = state(&facts);
    let document = &reported.units[0].document;
    assert_eq!(document.status, Status::Unproven);
    assert!(
        document
            .summary
            .contains("reported on 24 Nov 2025: will not throw; not inspected since"),
        "{}",
        document.summary
    );
    assert!(reported.depot.document.score < before.depot.document.score);

    // What would not start is not ready, and that is known.
    let mut dead = facts.clone();
    dead.units[0].starts.push(StartFacts {
        at: at("2025-11-24T11:00:00Z"),
        started: false,
        by: "an operator".to_owned(),
    });
    assert_eq!(state(&dead).units[0].document.status, Status::NotReady);
    // Another machine's fault is not this one's.
    let mut other = facts.clone();
    other.orders[0].unit_id = uuid::Uuid::from_u128(9);
    assert_eq!(state(&other).units[0].document.status, Status::Ready);
    // Looked at, it stands as the readings say.
    facts.units[0].inspections.push(InspectionFacts {
        id: uuid::Uuid::from_u128(6),
        kind: InspectionKind::AfterRepair,
        at: at("2025-11-24T18:00:00Z"),
        by: "a technician".to_owned(),
    });
    assert_eq!(state(&facts).units[0].document.status, Status::Ready);
}
