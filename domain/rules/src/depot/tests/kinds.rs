//! Every kind of machine: its default sheet through the whole chain, attachments, weekdays, kilograms.

use proptest::prelude::*;

use super::builder::fresh_unit_of;
use super::*;
use crate::facts::{Duty, Operators, UnitFacts};
use crate::sheet::{Exposure, RateUnit, Sheet, default_kinds, default_sheet};

fn sheet_of(kind: &str) -> Sheet {
    default_sheet(kind).expect(kind)
}

/// A duty of any work: 2000 m2 within three hours, spread with 20 g/m2.
fn duty_of(work: Work) -> Duty {
    Duty {
        work,
        dose_g_m2: (work == Work::Spread).then_some(20.0),
        ..duty("walks", 2000.0, None)
    }
}

/// A depot with machines of one sheet and a duty of one work.
fn depot_of(sheet: &Sheet, work: Work, units: Vec<UnitFacts>) -> DepotFacts {
    let mut facts = depot(units);
    facts.sheets = [(MODEL, sheet.clone())].into();
    facts.duties = vec![duty_of(work)];
    facts.operators = vec![Operators {
        work,
        ..operators(6)
    }];
    facts
}

/// Section 7: every default sheet, freshly inspected within limits and started within 14 days, is ready for the default
/// design storm, whatever it is rigged for: new, at home in its second winter, and old.
#[test]
fn every_default_sheet_fresh_within_limits_is_ready_for_the_design_storm() {
    let mut seen = 0;
    for kind in default_kinds() {
        let sheet = sheet_of(kind);
        for work in sheet.works.clone() {
            for hours in [2.0, 40.0, 90.0, 150.0] {
                for started in ["2025-11-11T16:00:00Z", "2025-11-24T16:00:00Z"] {
                    let mut unit = fresh_unit_of(&sheet, work, 1, hours);
                    unit.starts[0].at = at(started);
                    unit.latest
                        .iter_mut()
                        .filter(|reading| reading.check == sheet.start.check)
                        .for_each(|reading| reading.at = at(started));
                    let evaluation = evaluate(&depot_of(&sheet, work, vec![unit]), now());
                    let document = &evaluation.units[0].document;
                    assert_eq!(
                        document.status,
                        Status::Ready,
                        "{kind} for {work:?}, {hours} h, started {started}: {} {:#?}",
                        document.summary,
                        document.because
                    );
                    assert!(document.rate > 0.0 && document.rate_unit == work.rate_unit());
                    seen += 1;
                }
            }
        }
    }
    assert_eq!(seen, 8 * 8, "seven kinds, one of them with two attachments");
}

/// A tractor of that rigging with its broom's bristles worn out and found so, and a broom fault that is a matter of safety.
fn tractor_with_a_bad_broom(rigging: Work) -> crate::unit::UnitDocument {
    let sheet = sheet_of("sidewalk tractor");
    let mut unit = fresh_unit_of(&sheet, rigging, 1, 40.0);
    unit.findings = vec![
        finding("bristle_length", Effect::Stop),
        finding("broom_hood", Effect::Hold),
        finding("contact_strip", Effect::Degrade),
    ];
    let evaluation = evaluate(&depot_of(&sheet, rigging, vec![unit]), now());
    evaluation.units[0].document.clone()
}

/// What is on an attachment says nothing of a machine rigged with the other, but a hold tag does.
#[test]
fn a_worn_broom_does_not_take_out_a_tractor_with_its_blower() {
    let (blower, broom) = (
        tractor_with_a_bad_broom(Work::Clear),
        tractor_with_a_bad_broom(Work::Blow),
    );
    assert_eq!((blower.status, broom.status), (Status::Ready, Status::Held));
    // 1.27 m x 0.9 x 4000 m/h x 0.7 = 3200 m2/h with the blower; 1.3 x 0.9 x 5000 x 0.7 = 4095 with the broom, in 50 mm
    // of 67 kg/m3 (3.35 kg/m2) at most 15 t/h / 3.35 = 4477; its bad strip makes of 4095 eight tenths, 3276.
    assert_eq!((blower.rate, broom.rate), (3200.0, 3270.0));
    let parts = |document: &crate::unit::UnitDocument| {
        let names = document.parts.iter().map(|part| part.part.clone());
        names.collect::<Vec<String>>()
    };
    let has = |document, part: &str| parts(document).iter().any(|one| one == part);
    assert!(has(&blower, "blower_chain") && !has(&blower, "bristles"));
    assert!(has(&broom, "bristles") && !has(&broom, "blower_chain"));
    assert!(has(&blower, "engine") && has(&broom, "engine"));
    let about_shear = |document: &crate::unit::UnitDocument| {
        let mut because = document.because.iter();
        because.any(|reason| reason.factor == "shear fasteners")
    };
    assert!(!about_shear(&broom));

    let sheet = sheet_of("sidewalk tractor");
    let mut tagged = fresh_unit_of(&sheet, Work::Clear, 1, 40.0);
    tagged.findings = vec![finding("broom_hood", Effect::Hold)];
    tagged.holds = vec![HoldFacts {
        id: Uuid::from_u128(8),
        reason: "hood gone".to_owned(),
        placed_at: at("2025-11-20T16:00:00Z"),
        placed_by: "a technician".to_owned(),
        finding_id: Some(Uuid::from_u128(77)),
    }];
    let facts = depot_of(&sheet, Work::Clear, vec![tagged]);
    assert_eq!(status_of(&facts), Status::Held);
}

/// A machine changed over to its other attachment has not had that one inspected.
#[test]
fn an_attachment_that_was_not_inspected_leaves_the_machine_unproven() {
    let sheet = sheet_of("sidewalk tractor");
    let mut unit = fresh_unit_of(&sheet, Work::Clear, 1, 40.0);
    unit.rigging = Work::Blow;
    let evaluation = evaluate(&depot_of(&sheet, Work::Blow, vec![unit]), now());
    let document = &evaluation.units[0].document;
    assert_eq!(document.status, Status::Unproven);
    let expected = "Broom bristles, share of their new length";
    assert!(document.summary.contains(expected), "{}", document.summary);
}

/// Kilograms by hand. The default spreader passes over 0.914 m x 4000 m/h x 0.5 = 1828 m2/h; at 20 g/m2 that is 36.56 kg/h,
/// 36.5 in whole quarters. 2000 m2 x 20 g/m2 are 40 kg, five times in 12 h, each within 3 h: owed by 3, 5.4, .. 12.6 h, the
/// worst is all 200 kg by 12.6 h, 15.873\u{202f}kg/h; the ground alone would be 793.65 m2/h. Running hours: 200 / 73 with two
/// machines, 2.74 h.
#[test]
fn spreading_is_counted_in_kilograms() {
    let sheet = sheet_of("spreader");
    let units = (1..=2).map(|number| fresh_unit_of(&sheet, Work::Spread, number, 40.0));
    let facts = depot_of(&sheet, Work::Spread, units.collect());
    let evaluation = evaluate(&facts, now());
    let document = &evaluation.depot.document;
    let work = &document.works[0];
    assert_eq!(
        (work.rate_unit, work.needed_rate),
        (RateUnit::Material, 15.9)
    );
    assert_eq!(
        (document.needed_rate, document.needed_kg_per_h),
        (0.0, 15.9)
    );
    let inputs = &evaluation.depot.inputs.works[0];
    assert!((inputs.needed_rate - 200.0 / 12.6).abs() < 1e-9);
    assert!((inputs.storm_hours - 200.0 / 73.0).abs() < 1e-9);
    assert!(inputs.units.iter().all(|unit| unit.rate == 36.5));
    let text = &document.because[0].text;
    let expected = "spreading: 15.9\u{202f}kg/h needed for design storm; the machines that count bring 73\u{202f}kg/h with 6 operators";
    assert!(text.starts_with(expected), "{text}");
    // One of two is enough: 1 - (1 - c)^2, over the nodes of the shared doubt.
    let enough = crate::unit::model::mean_over_nodes(
        &evaluation.units[0]
            .works
            .map(|works| 1.0 - (1.0 - works).powi(2)),
    );
    assert!((work.score - (100.0 * enough).round()).abs() <= 1.0);
}

/// Square metres and kilograms stand apart, and the score is of both.
#[test]
fn clearing_and_spreading_stand_apart() {
    let (thrower, spreader) = (sheet_of("two-stage thrower"), sheet_of("spreader"));
    let mut salting = fresh_unit_of(&spreader, Work::Spread, 2, 40.0);
    salting.model = Uuid::from_u128(3);
    let mut facts = depot(vec![fresh_unit(1, 40.0), salting]);
    facts.sheets = [(MODEL, thrower), (Uuid::from_u128(3), spreader)].into();
    facts.duties = vec![duty("platforms", 1000.0, None), duty_of(Work::Spread)];
    let document = evaluate(&facts, now()).depot.document;
    // 5 x 1000 m2 by 12.6 h; 200 kg by 12.6 h.
    assert_eq!(
        (document.needed_rate, document.needed_kg_per_h),
        (397.0, 15.9)
    );
    let scores: Vec<f64> = document.works.iter().map(|work| work.score).collect();
    let score = document.score.unwrap();
    assert!(
        (score - scores[0] * scores[1] / 100.0).abs() <= 1.0,
        "{score} of {scores:?}"
    );
}

/// The dose asked for, as far as the machine can put it down; of several the least.
#[test]
fn a_dose_makes_the_rate() {
    let sheet = sheet_of("spreader");
    let unit = fresh_unit_of(&sheet, Work::Spread, 1, 40.0);
    let mut facts = depot_of(&sheet, Work::Spread, vec![unit]);
    let mut rate = |doses: &[f64]| {
        facts.duties = doses
            .iter()
            .map(|dose| Duty {
                dose_g_m2: Some(*dose),
                ..duty_of(Work::Spread)
            })
            .collect();
        evaluate(&facts, now()).units[0].document.rate
    };
    // 1828 m2/h at 10, 40, and no more than 100 g/m2; a gate lets out 250 kg/h.
    assert_eq!(rate(&[10.0]), 18.25);
    assert_eq!(rate(&[40.0]), 73.0);
    assert_eq!(rate(&[100.0]), 182.75);
    assert_eq!(rate(&[500.0]), 182.75);
    assert_eq!(rate(&[40.0, 10.0]), 18.25);
    facts.duties.clear();
    assert_eq!(evaluate(&facts, now()).units[0].document.rate, 182.75);
    facts
        .sheets
        .get_mut(&MODEL)
        .unwrap()
        .rate
        .rating_kg_per_h
        .value = 100.0;
    assert_eq!(evaluate(&facts, now()).units[0].document.rate, 100.0);
}

/// A broom's hours are counted against weekdays of the season: with 20 h on 30 of them it runs 20 + 12 (the prior's 30 days
/// at 0.4 h) hours on 60 days, 0.533 h a weekday.
#[test]
fn a_broom_runs_on_weekdays() {
    let sheet = sheet_of("power broom");
    assert_eq!(sheet.usage.exposure.value, Exposure::SeasonWeekdays);
    let mut unit = fresh_unit_of(&sheet, Work::Blow, 1, 20.0);
    // From Sunday 16 November to Monday 29 December, neither counted, are six weeks of five weekdays.
    unit.meter[0].at = at("2025-11-16T16:00:00Z");
    unit.meter[1].at = at("2025-12-29T16:00:00Z");
    unit.acquired_on = None;
    let as_of = at("2026-01-05T16:00:00Z");
    let facts = depot_of(&sheet, Work::Blow, vec![unit]);
    let evaluation = evaluate(&facts, as_of);
    // Saturday 15 November 2025 to Friday 10 April 2026: 21 weeks.
    assert_eq!(evaluation.depot.inputs.season.weekdays, 105);
    // Hours now: on 30, 31 December, 1 and 2 January it ran as it does in the mean.
    let since = 4.0 * (20.0 + 30.0 * 0.4) / (30.0 + 30.0);
    let shared = crate::unit::Shared::of(&facts, as_of);
    let clock = crate::unit::clock::UnitClock::new(&facts.units[0], &sheet, &shared);
    let hours = clock.hours_at(as_of, &shared);
    assert!((hours - (20.0 + since)).abs() < 1e-9, "{hours}");
}

/// A machine of some kind, rigged for one of its works, at so many hours.
fn some_machine() -> impl Strategy<Value = (usize, usize, f64)> {
    (0usize..7, 0usize..2, 0.0f64..200.0)
}

fn mixed(machines: &[(usize, usize, f64)]) -> DepotFacts {
    let sheets: Vec<Sheet> = default_kinds().map(sheet_of).collect();
    let model = |kind: usize| Uuid::from_u128(100 + kind as u128);
    let units = machines.iter().enumerate();
    let units = units.map(|(number, (kind, work, hours))| {
        let sheet = &sheets[*kind];
        let work = sheet.works[work % sheet.works.len()];
        UnitFacts {
            model: model(*kind),
            ..fresh_unit_of(sheet, work, number as u128, *hours)
        }
    });
    let mut facts = depot(units.collect());
    facts.sheets = sheets
        .into_iter()
        .enumerate()
        .map(|(kind, sheet)| (model(kind), sheet))
        .collect();
    facts.operators.clear();
    facts
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    /// Whatever stands in a depot and whatever is asked of it: the score is the product of its kinds of work, more ground or
    /// a larger share of it never helps, another machine never hurts.
    #[test]
    fn a_mixed_depot_is_scored_by_its_kinds_of_work(
        machines in prop::collection::vec(some_machine(), 1..7), another in some_machine(),
        areas in [100.0f64..9000.0, 100.0..9000.0, 100.0..9000.0], dose in 1.0f64..200.0, more in 1.0f64..3.0,
    ) {
        let works = [Work::Clear, Work::Spread, Work::Blow];
        let with = |machines: &[(usize, usize, f64)], more: f64| {
            let mut facts = mixed(machines);
            let duties = works.iter().zip(areas);
            let duties = duties.map(|(work, area)| Duty {
                area_m2: area * more,
                dose_g_m2: (*work == Work::Spread).then_some(dose),
                ..duty_of(*work)
            });
            facts.duties = duties.collect();
            evaluate(&facts, now()).depot.document
        };
        let document = with(&machines, 1.0);
        let score = |document: &DepotDocument| document.score.unwrap_or(0.0);
        let product: f64 = document.works.iter().map(|work| work.score / 100.0).product();
        prop_assert!((score(&document) - 100.0 * product).abs() <= 2.0);
        prop_assert_eq!(document.works.len(), 3);
        prop_assert!(score(&with(&machines, more)) <= score(&document));
        let larger: Vec<_> = machines.iter().copied().chain([another]).collect();
        prop_assert!(score(&with(&larger, 1.0)) >= score(&document));
    }

    /// Odd duties and findings of any check break nothing, whatever the machine is rigged for.
    #[test]
    fn odd_ground_breaks_nothing(
        machines in prop::collection::vec(some_machine(), 0..5), rigging in 0usize..3,
        area in prop_oneof![Just(0.0), -1e3f64..1e3, Just(1e9)], dose in prop::option::of(prop_oneof![Just(0.0), -5.0f64..5.0, Just(1e9)]),
        found in 0usize..40, effect in 0usize..4,
    ) {
        let works = [Work::Clear, Work::Spread, Work::Blow];
        let mut facts = mixed(&machines);
        if let Some(unit) = facts.units.first_mut() {
            let checks = &facts.sheets[&unit.model].checks;
            let effect = [Effect::Note, Effect::Degrade, Effect::Stop, Effect::Hold][effect];
            unit.findings = vec![finding(&checks[found % checks.len()].check, effect)];
            unit.rigging = works[rigging];
        }
        facts.duties = works.iter().map(|work| Duty { area_m2: area, dose_g_m2: dose, ..duty_of(*work) }).collect();
        let evaluation = evaluate(&facts, now());
        let document = &evaluation.depot.document;
        prop_assert!(document.score.is_none_or(|score| (0.0..=100.0).contains(&score)));
        prop_assert!(document.needed_rate.is_finite() && document.needed_kg_per_h.is_finite());
        for unit in &evaluation.units {
            prop_assert!(unit.document.rate >= 0.0 && unit.document.rate.is_finite());
            prop_assert_eq!(unit.document.rate % unit.document.rate_unit.quantum(), 0.0);
        }
        let wire = serde_json::to_string(document).unwrap();
        prop_assert_eq!(&serde_json::from_str::<DepotDocument>(&wire).unwrap(), document);
    }
}
