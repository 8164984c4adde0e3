//! A depot's chain from readings to score, on the default sheet. Figures worked out by hand say how.

use std::collections::BTreeMap;

use super::*;
use crate::facts::{FindingFacts, HoldFacts, LimitedUseFacts, StormFacts};
use crate::sheet::{Effect, Work};
use crate::unit::parts::{Advice, PartState};
use crate::unit::standing;

mod builder;
mod properties;

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

/// Section 7: every default sheet, freshly inspected within limits and started within 14 days, is ready for the default
/// design storm.
#[test]
fn the_default_sheet_fresh_within_limits_is_ready_for_the_design_storm() {
    for hours in [2.0, 40.0, 90.0, 150.0] {
        for started in ["2025-11-11T16:00:00Z", "2025-11-24T16:00:00Z"] {
            let mut unit = fresh_unit(1, hours);
            unit.starts[0].at = at(started);
            unit.latest
                .iter_mut()
                .filter(|reading| reading.check == "engine_start")
                .for_each(|reading| reading.at = at(started));
            let evaluation = evaluate(&depot(vec![unit]), now());
            let document = &evaluation.units[0].document;
            assert_eq!(
                document.status,
                Status::Ready,
                "{hours} h, started {started}: {:#?}",
                document.because
            );
        }
    }
}

/// Common practice: a belt low in its groove whose take-up is used up sees the winter out and is renewed after it.
#[test]
fn a_low_belt_with_its_take_up_used_up_is_renewed_after_the_season() {
    let mut unit = fresh_unit(1, 40.0);
    set_reading(&mut unit, "auger_belt_ride", -0.6);
    set_reading(&mut unit, "auger_take_up", 5.0);
    let evaluation = evaluate(&depot(vec![unit]), now());
    let belt = part(&evaluation, "auger_belt");
    assert_eq!(belt.advice, Advice::RenewAfterTheSeason, "{belt:?}");
    assert!(
        belt.lasts.this_season >= 0.8 && belt.text.contains("0.6 mm below the rim on 18 Nov 2025"),
        "{belt:?}"
    );
    // Crossing a service limit is not a machine that stops: it is ready.
    assert_eq!(evaluation.units[0].document.status, Status::Ready);
    assert!(belt.text.contains("take-up"), "{}", belt.text);
}

/// Section 4's floors: under 0.95 for the storm now, under 0.80 for a season order or renew after it, else leave.
#[test]
fn advice_grows_more_urgent_as_a_belt_sinks() {
    let advice: Vec<Advice> = [0.3, -0.6, -1.6, -2.7]
        .into_iter()
        .map(|ride| {
            let mut unit = fresh_unit(1, 40.0);
            set_reading(&mut unit, "auger_belt_ride", ride);
            set_reading(&mut unit, "auger_take_up", 95.0);
            part(&evaluate(&depot(vec![unit]), now()), "auger_belt").advice
        })
        .collect();
    assert_eq!(
        advice,
        [
            Advice::Leave,
            Advice::RenewAfterTheSeason,
            Advice::OrderThePart,
            Advice::RenewNow
        ]
    );
}

/// A friction ring at steel on steel does no work: chance 0, whatever the rest.
#[test]
fn a_part_past_where_it_works_is_a_zero() {
    let mut unit = fresh_unit(1, 60.0);
    set_reading(&mut unit, "friction_ring", 0.0);
    let document = &evaluate(&depot(vec![unit]), now()).units[0].document;
    assert_eq!((document.status, document.chance), (Status::NotReady, 0.0));
    assert_eq!(
        (
            document.because[0].factor.as_str(),
            document.because[0].share
        ),
        ("friction_ring", 1.0)
    );
}

/// An imported machine, fitting dates unknown and never measured: nobody knows, so it says measure.
#[test]
fn a_part_of_unknown_age_that_was_never_measured_is_to_be_measured() {
    let mut unit = fresh_unit(1, 60.0);
    for path in &mut unit.parts {
        (path.fitted_at, path.fitted_hours) = (None, None);
        path.readings.clear();
    }
    let evaluation = evaluate(&depot(vec![unit]), now());
    assert_eq!(part(&evaluation, "scraper_bar").advice, Advice::Measure);
    assert!(
        part(&evaluation, "engine")
            .text
            .contains("taken as the machine's")
    );
}

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
    for unit in evaluate(&depot(vec![fresh_unit(1, 60.0), stood, held, away]), now()).units {
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
        // Each factor's own calculation gives its chance; wear's is over the hours in the mean.
        for factor in &unit.inputs.factors {
            let chance = match factor.figure.as_ref().expect("a figure") {
                standing::Figure::Starts(input) => {
                    crate::calculations::starts::calculate(input)
                        .unwrap()
                        .starts
                }
                standing::Figure::Wear(input) => {
                    crate::calculations::wear::calculate(input).unwrap().lasts[0]
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
                (chance - factor.chance).abs() < 1e-4,
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
    unit.latest.push(reading);
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
    // The design storm is always today's: what stands a day longer starts a little worse, by 0.01 in some nights.
    let documents = 28 * 10;
    assert!(
        changed(&facts, 28) < documents * 6 / 10,
        "{} of {documents}",
        changed(&facts, 28)
    );
    // For a storm with a date nothing moves until it is there.
    facts
        .storms
        .push(storm(1, "2025-12-10T00:00:00Z", "2025-12-10T12:00:00Z"));
    assert_eq!(changed(&facts, 14), 0);
}

/// Five duties' worth by hand: 5000 m2 within 3 h, 12 h of snow, 250 mm cleared at each 50 mm: five cycles 2.4 h apart.
/// Owed by 3, 5.4, ... 12.6 h: the worst is all five by 12.6 h, 25000 / 12.6 = 1984 m2/h. Two machines of 1070 m2/h bring
/// 2140, one does not: the score is the square of the chance. Running hours: 25000 m2 at 2140 m2/h, 11.7 h.
#[test]
fn the_score_of_two_machines_by_hand() {
    let units = vec![fresh_unit(1, 60.0), fresh_unit(2, 60.0)];
    let evaluation = evaluate(&depot(units), now());
    let document = &evaluation.depot.document;
    let work = &document.works[0];
    assert_eq!(
        (work.cycles, work.needed_rate, work.storm_hours),
        (5, 1984.0, 11.5)
    );
    assert_eq!(evaluation.units[0].document.rate, 1070.0);
    let inputs = &evaluation.depot.inputs;
    let both = |nodes: &[f64]| -> f64 {
        inputs
            .weights
            .iter()
            .zip(nodes)
            .map(|(weight, works)| weight * works * works)
            .sum()
    };
    let by_hand = (100.0 * both(&inputs.works[0].units[0].works)).round();
    assert_eq!(
        (document.score, Some(work.score)),
        (Some(by_hand), Some(by_hand))
    );
    assert!((80.0..98.0).contains(&by_hand), "{by_hand}");
    // One fewer cannot; a third makes it nearly sure; operators are six, so one fewer changes nothing.
    assert_eq!(work.one_machine_fewer, Some(0.0));
    assert!(work.one_machine_more.unwrap() > by_hand);
    assert_eq!(work.one_operator_fewer, Some(by_hand));
    assert!(
        document.because[0]
            .text
            .starts_with("clear: 1984 m2/h needed for design storm"),
        "{:?}",
        document.because
    );
    // At each node the depot calculation gives the same: averaged, the score.
    let mean: f64 =
        inputs
            .weights
            .iter()
            .enumerate()
            .map(|(node, weight)| {
                let units = inputs.works[0].units.iter().map(|unit| {
                    crate::calculations::depot::UnitInput {
                        works: unit.works[node],
                        rate: unit.rate,
                    }
                });
                let input = crate::calculations::depot::Input {
                    units: units.collect(),
                    needed_rate: inputs.works[0].needed_rate,
                    operators: inputs.works[0].operators.map(f64::from),
                };
                weight * crate::calculations::depot::calculate(&input).unwrap().score
            })
            .sum();
    assert_eq!(mean.round(), by_hand);
}

/// The mean over the nodes is the closed form's mean over the doubt, as near as eight nodes come where a quantile runs off
/// to infinity.
#[test]
fn a_units_chance_is_the_mean_over_the_nodes() {
    let unit = &evaluate(&depot(vec![fresh_unit(1, 60.0)]), now()).units[0];
    assert!((model::mean_over_nodes(&unit.works) - unit.inputs.chance()).abs() < 1e-4);
}

#[test]
fn short_of_machines_or_of_operators() {
    let mut facts = depot(vec![fresh_unit(1, 60.0)]);
    let short = evaluate(&facts, now()).depot.document;
    assert_eq!(short.score, Some(0.0));
    assert!(
        short
            .because
            .iter()
            .any(|reason| reason.text.contains("one more machine adds")),
        "{:?}",
        short.because
    );
    assert!(
        short
            .because
            .iter()
            .any(|reason| reason.text.contains("short by")),
        "{:?}",
        short.because
    );
    facts.units = (1..=3).map(|number| fresh_unit(number, 60.0)).collect();
    facts.operators = vec![operators(1)];
    let short = evaluate(&facts, now()).depot.document;
    assert_eq!((short.score, short.operators), (Some(0.0), Some(1)));
    assert!(
        short
            .because
            .iter()
            .any(|reason| reason.text.contains("one more operator adds")),
        "{:?}",
        short.because
    );
    facts.operators = vec![operators(0)];
    assert_eq!(evaluate(&facts, now()).depot.document.score, Some(0.0));
    // No operators entered: no limit.
    facts.operators.clear();
    let free = evaluate(&facts, now()).depot.document;
    assert!(
        free.score > Some(90.0) && free.operators.is_none(),
        "{free:?}"
    );
}

/// Places 900 mm wide are a kind of work of their own; a wider machine cannot go there, a narrower one does.
#[test]
fn narrow_ground_is_a_kind_of_work_of_its_own() {
    let wide = Uuid::from_u128(3);
    let mut facts = depot((1..=4).map(|number| fresh_unit(number, 60.0)).collect());
    let mut sheet = facts.sheets[&MODEL].clone();
    sheet.rate.width_mm.value = 1100.0;
    facts.sheets.insert(wide, sheet);
    facts.units[2].model = wide;
    facts.units[3].model = wide;
    facts.duties.push(duty("footbridge", 400.0, Some(900.0)));
    let document = evaluate(&facts, now()).depot.document;
    let works: Vec<(Option<f64>, u32)> = document
        .works
        .iter()
        .map(|work| (work.narrowest_width_mm, work.machines))
        .collect();
    assert_eq!(works, [(Some(900.0), 2), (None, 2)]);
    let product = document
        .works
        .iter()
        .map(|work| work.score / 100.0)
        .product::<f64>()
        * 100.0;
    assert!(
        (document.score.unwrap() - product).abs() <= 1.0,
        "{document:?}"
    );
    // With no machine that fits, the narrow ground cannot be kept.
    facts.units.drain(..2);
    let document = evaluate(&facts, now()).depot.document;
    assert_eq!(document.score, Some(0.0));
    assert!(
        document.because[0]
            .text
            .contains("no machine is rigged for it and fits"),
        "{:?}",
        document.because
    );
}

#[test]
fn away_machines_do_not_count_and_say_so() {
    let mut facts = depot((1..=3).map(|number| fresh_unit(number, 60.0)).collect());
    facts.units[0].away = Some("the north shop".to_owned());
    let evaluation = evaluate(&facts, now());
    let counts = evaluation.depot.document.units;
    assert_eq!((counts.ready, counts.away), (2, 1));
    assert!(!evaluation.units[0].document.counts);
    assert!(
        evaluation.units[0]
            .document
            .because
            .iter()
            .any(|reason| reason.text.contains("the north shop"))
    );
    assert!(evaluation.depot.document.because.iter().any(
        |reason| reason.text == "T-001: away: the north shop; it does not count at this depot"
    ));
}

/// Limited use counts only once admitted for this very storm.
#[test]
fn limited_use_counts_once_admitted_for_this_storm() {
    let mut facts = depot((1..=2).map(|number| fresh_unit(number, 60.0)).collect());
    facts
        .storms
        .push(storm(7, "2025-11-28T00:00:00Z", "2025-11-28T12:00:00Z"));
    let score = |facts: &DepotFacts| evaluate(facts, now()).depot.document.score.unwrap();
    assert!(score(&facts) > 80.0);
    facts.units[0].limited_uses.push(LimitedUseFacts {
        id: Uuid::from_u128(9),
        reason: "day only: lamp dark".to_owned(),
        named_by: "a lead".to_owned(),
        starts_at: at("2025-11-20T16:00:00Z"),
        ends_at: at("2025-12-20T16:00:00Z"),
        admitted_storm: Some(Uuid::from_u128(6)),
    });
    assert_eq!(score(&facts), 0.0);
    facts.units[0].limited_uses[0].admitted_storm = Some(Uuid::from_u128(7));
    assert!(score(&facts) > 80.0);
    assert_eq!(status_of(&facts), Status::Limited);
}

#[test]
fn without_duties_or_machines_there_is_no_score_and_it_says_why() {
    let mut facts = depot(Vec::new());
    let document = evaluate(&facts, now()).depot.document;
    assert_eq!((document.score, document.because.is_empty()), (None, false));
    facts.units.push(fresh_unit(1, 60.0));
    facts.duties.clear();
    let document = evaluate(&facts, now()).depot.document;
    assert_eq!(document.score, None);
    assert!(
        document.because[0].text.contains("no duties"),
        "{:?}",
        document.because
    );
    facts.sheets = BTreeMap::new();
    let evaluation = evaluate(&facts, now());
    assert_eq!(evaluation.units[0].document.status, Status::Stopped);
}

/// The rate by hand: 0.711 m x 0.9 x 2400 m/h x 0.7 = 1075 m2/h; in 50 mm of 320 kg/m3 a rating of 10 t/h throws
/// 10000 / 16 = 625; each degrading finding takes a fifth. Whole tens, rounded down.
#[test]
fn a_rate_is_what_it_covers_or_what_it_can_throw() {
    let mut facts = depot(vec![fresh_unit(1, 60.0)]);
    let rate = |facts: &DepotFacts| evaluate(facts, now()).units[0].document.rate;
    assert_eq!(rate(&facts), 1070.0);
    facts.units[0]
        .findings
        .push(finding("scraper_edge", Effect::Degrade));
    assert_eq!(rate(&facts), 860.0);
    facts.units[0].findings.clear();
    facts.design_storm.density_kg_m3 = Some(320.0);
    facts
        .sheets
        .get_mut(&MODEL)
        .unwrap()
        .rate
        .rating_kg_per_h
        .value = 10_000.0;
    assert_eq!(rate(&facts), 620.0);
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

/// Parts that failed young teach the depot that such parts live shorter: three failures beside a prior worth three, at
/// ages that add nearly nothing, double the doubt.
#[test]
fn failed_parts_teach_the_depot() {
    let mut facts = depot((1..=4).map(|number| fresh_unit(number, 60.0)).collect());
    let cable = |facts: &DepotFacts| {
        let evaluation = evaluate(facts, now());
        evaluation.units[0]
            .inputs
            .factors
            .iter()
            .find(|factor| factor.factor == "auger_cable")
            .unwrap()
            .chance
    };
    let before = cable(&facts);
    for unit in &mut facts.units[1..] {
        let path = unit
            .parts
            .iter_mut()
            .find(|path| path.part == "auger_cable")
            .unwrap();
        let mut renewed = path.clone();
        (path.removed_at, path.removed_hours, path.failed) =
            (Some(at("2025-02-01T00:00:00Z")), Some(15.0), Some(true));
        (renewed.id, renewed.how) = (
            Uuid::from_u128(renewed.id.as_u128() + 500),
            crate::facts::Fitting::Renewed,
        );
        (renewed.fitted_at, renewed.fitted_hours) = (Some(at("2025-02-01T00:00:00Z")), Some(15.0));
        unit.parts.push(renewed);
    }
    let ratio = (1.0 - cable(&facts)) / (1.0 - before);
    assert!((1.9..2.05).contains(&ratio), "{ratio}");
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
        depot.len() < 16_000 && unit.len() < 16_000,
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
