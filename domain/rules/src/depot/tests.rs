//! A depot's chain from readings to score, on the default sheet. Figures worked out by hand say how.

use std::collections::BTreeMap;

use super::*;
use crate::facts::{FindingFacts, HoldFacts, LimitedUseFacts, StormFacts};
use crate::sheet::{Effect, Work};
use crate::unit::parts::{Advice, PartState};
use crate::unit::standing;

pub(crate) mod builder;
mod kinds;
mod narrow_places;
mod parts;
mod proofs;
mod properties;
mod renew;
mod scores;
mod signals;
mod tasks;

use builder::{MODEL, at, depot, duty, fresh_unit, now, now_plus_days, operators, set_reading};

fn part<'e>(evaluation: &'e Evaluation, part: &str) -> &'e PartState {
    evaluation.units[0]
        .document
        .parts
        .iter()
        .find(|state| state.part == part)
        .expect(part)
}

fn status_of(facts: &DepotFacts) -> Status {
    evaluate(facts, now()).units[0].document.status
}

fn storm(number: u128, starts_at: &str, ends_at: &str) -> StormFacts {
    StormFacts {
        id: Uuid::from_u128(number),
        name: format!("storm {number}"),
        starts_at: at(starts_at),
        ends_at: at(ends_at),
        depth_mm: 250.0,
        reclear_mm: 50.0,
        density_kg_m3: None,
        temperature_c: Some(-6.0),
        low_c: Some(-15.0),
    }
}

fn finding(check: &str, effect: Effect) -> FindingFacts {
    FindingFacts {
        id: Uuid::from_u128(77),
        check: check.to_owned(),
        effect,
        text: "what was found".to_owned(),
        opened_at: at("2025-11-18T16:00:00Z"),
    }
}

/// Section 7: held, stopped, limited, unproven, not ready, doubtful, ready: the first that applies.
#[test]
fn the_first_status_that_applies_counts() {
    let mut facts = depot(vec![fresh_unit(1, 60.0)]);
    let mut seen = Vec::new();
    let unit = |facts: &mut DepotFacts, change: fn(&mut crate::facts::UnitFacts)| {
        change(&mut facts.units[0]);
        status_of(facts)
    };
    seen.push(unit(&mut facts, |_| ()));
    seen.push(unit(&mut facts, |unit| {
        set_reading(unit, "shear_spares", 0.0)
    }));
    seen.push(unit(&mut facts, |unit| {
        set_reading(unit, "friction_ring", 0.0)
    }));
    seen.push(unit(&mut facts, |unit| unit.inspections.clear()));
    seen.push(unit(&mut facts, |unit| {
        unit.limited_uses.push(LimitedUseFacts {
            id: Uuid::from_u128(9),
            reason: "day only".to_owned(),
            named_by: "a lead".to_owned(),
            starts_at: at("2025-11-20T16:00:00Z"),
            ends_at: at("2025-12-20T16:00:00Z"),
            admitted_storm: None,
        });
    }));
    seen.push(unit(&mut facts, |unit| {
        unit.findings.push(finding("spark_plug_gap", Effect::Stop))
    }));
    seen.push(unit(&mut facts, |unit| {
        unit.holds.push(HoldFacts {
            id: Uuid::from_u128(8),
            reason: "recall".to_owned(),
            placed_at: at("2025-11-20T16:00:00Z"),
            placed_by: "a manager".to_owned(),
            finding_id: None,
        });
    }));
    use Status::*;
    assert_eq!(
        seen,
        [Ready, Doubtful, NotReady, Unproven, Limited, Stopped, Held]
    );
    let held = &evaluate(&facts, now()).units[0].document;
    assert_eq!(
        held.summary,
        "Held: hold tag by a manager on 20 Nov 2025: recall"
    );
    assert_eq!(
        (held.chance, held.because[0].chance, held.because[0].share),
        (0.0, 0.0, 0.33)
    );
}

/// What a unit's GET shows under `inputs` gives, by the `unit` calculation, what the GET answers.
#[test]
fn the_unit_calculation_gives_what_is_published() {
    let mut stood = fresh_unit(2, 150.0);
    stood.starts[0].at = now_plus_days(-120);
    stood
        .latest
        .retain(|reading| reading.check != "engine_start");
    let mut held = fresh_unit(3, 20.0);
    held.findings.push(finding("auger_stops", Effect::Hold));
    let mut away = fresh_unit(4, 20.0);
    away.away = Some("a shop".to_owned());
    // A ring nearly worn out and a storm weeks ahead: its chance is over the hours until then.
    let mut worn = fresh_unit(5, 60.0);
    set_reading(&mut worn, "friction_ring", 1.5);
    let mut facts = depot(vec![fresh_unit(1, 60.0), stood, held, away, worn]);
    facts
        .storms
        .push(storm(1, "2026-01-05T00:00:00Z", "2026-01-05T12:00:00Z"));
    let evaluation = evaluate(&facts, now());
    let ring = evaluation.units[4].inputs.factors.iter();
    let mut ring = ring.filter(|factor| factor.factor == "friction_ring");
    let chance = ring.next().unwrap().chance;
    assert!((0.3..0.999).contains(&chance), "{chance}");
    for unit in evaluation.units {
        let wire = serde_json::to_string(&unit.inputs).unwrap();
        let answer = standing::calculate(&serde_json::from_str(&wire).unwrap()).unwrap();
        let document = &unit.document;
        assert_eq!(
            (answer.status, answer.chance, &answer.because),
            (document.status, document.chance, &document.because)
        );
        assert!(!document.because.is_empty());
        let shares: f64 = document.because.iter().map(|reason| reason.share).sum();
        assert!(shares <= 1.05, "{:?}", document.because);
        // Each factor's own calculation gives its chance.
        for factor in &unit.inputs.factors {
            let chance = match factor.figure.as_ref().expect("a figure") {
                standing::Figure::Starts(input) => {
                    crate::calculations::starts::calculate(input)
                        .unwrap()
                        .starts
                }
                standing::Figure::WearSeason(input) => {
                    crate::calculations::wear_season::calculate(input)
                        .unwrap()
                        .lasts
                }
                standing::Figure::Life(input) => {
                    crate::calculations::life::calculate(input).unwrap().lasts
                }
                standing::Figure::Breaks(input) => {
                    crate::calculations::breaks::calculate(input)
                        .unwrap()
                        .enough
                }
            };
            assert!(
                (chance - factor.chance).abs() < 1e-6,
                "{}: {chance} {}",
                factor.factor,
                factor.chance
            );
        }
    }
}

#[test]
fn the_unit_calculation_refuses_what_is_no_chance() {
    let input = |chance: f64| -> standing::Input {
        serde_json::from_value(
            serde_json::json!({"factors": [{"factor": "a", "chance": chance, "text": ""}]}),
        )
        .unwrap()
    };
    assert_eq!(
        standing::calculate(&input(1.2)).unwrap_err().field,
        "factors[0].chance"
    );
    let answer = standing::calculate(&input(0.7)).unwrap();
    assert_eq!((answer.status, answer.chance), (Status::Doubtful, 0.7));
    assert!(serde_json::from_str::<standing::Input>(r#"{"factors": [], "colour": 1}"#).is_err());
}

/// A battery that freezes at the forecast low is a stop, from the storm's low and not the day's (1.150 freezes at +5 degF).
#[test]
fn a_battery_that_will_freeze_stops_the_machine() {
    let mut unit = fresh_unit(1, 60.0);
    let mut reading = unit.latest[0].clone();
    (reading.check, reading.value, reading.works) =
        ("battery_charge".to_owned(), Some(1.150), None);
    let mut cells = reading.clone();
    (cells.check, cells.value) = ("battery_cells".to_owned(), Some(0.0));
    unit.latest.extend([reading, cells]);
    let mut facts = depot(vec![unit]);
    facts
        .sheets
        .get_mut(&MODEL)
        .unwrap()
        .checks
        .extend(crate::sheet::battery_checks());
    facts.design_storm.low_c = Some(-14.0);
    assert_eq!(status_of(&facts), Status::Ready);
    facts.design_storm.low_c = Some(-16.0);
    assert_eq!(status_of(&facts), Status::Stopped);
}

/// In progress, else the nearest ahead, else the design storm.
#[test]
fn the_storm_that_counts() {
    let mut facts = depot(vec![fresh_unit(1, 60.0)]);
    let name = |facts: &DepotFacts| evaluate(facts, now()).depot.document.storm;
    assert_eq!(
        (name(&facts).name.as_str(), name(&facts).id),
        ("design storm", None)
    );
    facts
        .storms
        .push(storm(1, "2025-12-05T00:00:00Z", "2025-12-05T12:00:00Z"));
    facts
        .storms
        .push(storm(2, "2025-11-28T00:00:00Z", "2025-11-28T12:00:00Z"));
    facts
        .storms
        .push(storm(3, "2025-11-01T00:00:00Z", "2025-11-02T00:00:00Z"));
    assert_eq!(name(&facts).name, "storm 2");
    facts
        .storms
        .push(storm(4, "2025-11-25T00:00:00Z", "2025-11-25T20:00:00Z"));
    assert_eq!(name(&facts).name, "storm 4");
}

/// The next instant named, at the latest the next local midnight: seven hours after midnight UTC here.
#[test]
fn a_result_holds_until_the_next_named_instant() {
    let mut facts = depot(vec![fresh_unit(1, 60.0)]);
    let until = |facts: &DepotFacts| evaluate(facts, now()).valid_until;
    assert_eq!(until(&facts), at("2025-11-26T07:00:00Z"));
    facts
        .storms
        .push(storm(1, "2025-11-26T02:00:00Z", "2025-11-26T12:00:00Z"));
    assert_eq!(until(&facts), at("2025-11-26T02:00:00Z"));
    facts.units[0].limited_uses.push(LimitedUseFacts {
        id: Uuid::from_u128(9),
        reason: "day only".to_owned(),
        named_by: "a lead".to_owned(),
        starts_at: at("2025-11-20T16:00:00Z"),
        ends_at: at("2025-11-25T18:00:00Z"),
        admitted_storm: None,
    });
    assert_eq!(until(&facts), at("2025-11-25T18:00:00Z"));
}

/// Until then nothing changes; nor, for a fleet at rest, does much of it overnight.
#[test]
fn within_a_day_the_documents_stand_still() {
    let units: Vec<_> = (0..10)
        .map(|number| fresh_unit(number, 10.0 * number as f64))
        .collect();
    let mut facts = depot(units);
    let (early, late) = (
        evaluate(&facts, at("2025-11-25T07:00:00Z")),
        evaluate(&facts, at("2025-11-26T06:59:59Z")),
    );
    assert_eq!((&early.depot, &early.units), (&late.depot, &late.units));
    let changed = |facts: &DepotFacts, nights: i64| {
        let over_night = |night: i64| {
            let (before, after) = (
                evaluate(facts, now_plus_days(night - 1)),
                evaluate(facts, now_plus_days(night)),
            );
            before
                .units
                .iter()
                .zip(&after.units)
                .filter(|(before, after)| before.document != after.document)
                .count()
        };
        (1..=nights).map(over_night).sum::<usize>()
    };
    // The design storm is always today's: what stands a day longer starts a little worse, by 0.01 in some nights; and a task
    // comes, falls due, is overdue.
    let documents = 28 * 10;
    assert!(
        changed(&facts, 28) < documents * 7 / 10,
        "{} of {documents}",
        changed(&facts, 28)
    );
    // For a storm with a date nothing moves until it is there, but the hours to come, which are counted from now: they
    // are fewer after a typical day of use, of which two lie in these fortnight's nights (25 spread over 147 days).
    facts
        .storms
        .push(storm(1, "2025-12-10T00:00:00Z", "2025-12-10T12:00:00Z"));
    // The monthly look at the tyres, and what is in the middle of the season, come on one night each.
    assert!((1..=4 * 10).contains(&changed(&facts, 14)));
}

/// Documents stay far under the feed's 64 KiB.
#[test]
fn documents_are_small_and_shaped_as_readers_rely_on() {
    let mut facts = depot(
        (1..=100)
            .map(|number| fresh_unit(number, number as f64))
            .collect(),
    );
    for unit in &mut facts.units[..50] {
        unit.inspections.clear();
    }
    let evaluation = evaluate(&facts, now());
    let depot = serde_json::to_string(&evaluation.depot.document).unwrap();
    let unit = serde_json::to_string(&evaluation.units[60].document).unwrap();
    assert!(
        depot.len() < 16_000 && unit.len() < 24_000,
        "{} {}",
        depot.len(),
        unit.len()
    );
    let depot: serde_json::Value = serde_json::from_str(&depot).unwrap();
    for field in [
        "depot_id",
        "name",
        "score",
        "score_with_unproven",
        "storm",
        "needed_rate",
        "units",
        "operators",
        "because",
    ] {
        assert!(depot.get(field).is_some(), "{field}");
    }
    for field in ["id", "name", "starts_at", "ends_at"] {
        assert!(depot["storm"].get(field).is_some(), "{field}");
    }
    for field in [
        "ready",
        "doubtful",
        "not_ready",
        "unproven",
        "limited",
        "stopped",
        "held",
    ] {
        assert!(depot["units"][field].is_u64(), "{field}");
    }
    let unit: serde_json::Value = serde_json::from_str(&unit).unwrap();
    for field in [
        "unit_id", "tag", "depot_id", "status", "chance", "rate", "because", "proof",
    ] {
        assert!(unit.get(field).is_some(), "{field}");
    }
    for field in ["factor", "chance", "share", "text"] {
        assert!(unit["because"][0].get(field).is_some(), "{field}");
    }
    for field in ["started_at", "inspected_at", "by", "runs_out_at"] {
        assert!(unit["proof"].get(field).is_some(), "{field}");
    }
    assert!(unit.get("as_of").is_none() && depot.get("valid_until").is_none());
}
