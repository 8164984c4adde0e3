//! Scores, worked out by hand, and who counts.

use super::*;

/// Five duties' worth by hand: 5000 m2 within 3 h, 12 h of snow, 250 mm cleared at each 50 mm: five cycles 2.4 h apart.
/// Owed by 3, 5.4, ... 12.6 h: the worst is all five by 12.6 h, 25000 / 12.6 = 1984\u{202f}m2/h. Two machines of 1070 m2/h bring
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
            .starts_with("clearing: 1984\u{202f}m2/h needed for design storm"),
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

/// Both are needed. Alike, the first is named; with its spare shear fasteners gone the other brings more.
#[test]
fn the_machine_that_brings_most_is_named() {
    let named = |first_spares: Option<f64>| {
        let mut units = vec![fresh_unit(1, 60.0), fresh_unit(2, 60.0)];
        if let Some(spares) = first_spares {
            set_reading(&mut units[0], "shear_spares", spares);
        }
        let ids = [units[0].id, units[1].id];
        let document = evaluate(&depot(units), now()).depot.document;
        let mut reasons = document.because.into_iter();
        let losing = reasons.find(|reason| reason.text.contains("losing"));
        let losing = losing.expect("one machine cannot do it");
        let score = document.score.expect("a score");
        let takes = format!(", the machine that brings most, takes {score} points");
        assert!(losing.text.ends_with(&takes), "{}", losing.text);
        let place = ids.iter().position(|id| losing.unit_id == Some(*id));
        (losing.text.contains("losing T-001"), place)
    };
    assert_eq!(named(None), (true, Some(0)));
    assert_eq!(named(Some(0.0)), (false, Some(1)));
}

/// The mean over the nodes is the closed form's mean over the doubt, as near as eight nodes come where a quantile runs off
/// to infinity.
#[test]
fn a_units_chance_is_the_mean_over_the_nodes() {
    let unit = &evaluate(&depot(vec![fresh_unit(1, 60.0)]), now()).units[0];
    assert!((model::mean_over_nodes(&unit.works) - unit.inputs.chance()).abs() < 1e-4);
}

/// Six of ten machines clear 5000 m2 in 5000 / 6420 h, but the last of five cycles begins 9.6 h after the first: 10.4 h,
/// however fast. Of two machines that stood for most of a year both are needed: 25000 m2 take 11.7 h and the last cycle is
/// clear at 9.6 + 2.3 h; one alone takes 23.4 h. Who starts is doubtful for both alike, so each node is averaged by itself.
#[test]
fn hours_to_clear_by_hand() {
    let ten = (1..=10).map(|number| fresh_unit(number, 60.0)).collect();
    let work = &evaluate(&depot(ten), now()).depot.document.works[0];
    assert_eq!(work.hours_to_clear, Some(10.5));
    let mut facts = depot((1..=2).map(|number| fresh_unit(number, 60.0)).collect());
    // Failures teach that such machines go dead, and the proof is that of this season.
    let sheet = facts.sheets.get_mut(&MODEL).unwrap();
    (sheet.start.alpha.value, sheet.start.beta.value) = (0.3, 10.0);
    let evaluation = evaluate(&facts, now());
    let inputs = &evaluation.depot.inputs;
    let (mut hours, mut runs) = (0.0, 0.0);
    for (weight, p) in inputs.weights.iter().zip(&inputs.works[0].units[0].works) {
        let (both, one) = (p * p, 2.0 * p * (1.0 - p));
        hours += weight * (both * (9.6 + 5000.0 / 2140.0) + one * (25_000.0 / 1070.0));
        runs += weight * (both + one);
    }
    let by_hand = hours / runs;
    let published = evaluation.depot.document.works[0].hours_to_clear.unwrap();
    assert!(
        (published - by_hand).abs() <= 0.25 + 1e-9,
        "{published} {by_hand}"
    );
    // Not told apart from the means' figure, this would show nothing.
    let p = model::mean_over_nodes(&evaluation.units[0].works);
    let (both, one) = (p * p, 2.0 * p * (1.0 - p));
    let of_means = (both * (9.6 + 5000.0 / 2140.0) + one * (25_000.0 / 1070.0)) / (both + one);
    assert!((of_means - by_hand).abs() > 0.5, "{of_means} {by_hand}");
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
