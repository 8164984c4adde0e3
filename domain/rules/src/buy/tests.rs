//! Levels and lines for depots of default throwers.

use jiff::ToSpan;
use jiff::civil::date;

use super::*;
use crate::calculations;
use crate::depot::evaluate;
use crate::depot::tests::builder::{MODEL, depot, fresh_unit, now, set_reading};
use crate::facts::{DepotFacts, StormFacts, WantedPart};
use crate::sheet::{Job, two_stage_thrower};
use crate::snowfall::DailySnowfall;

mod kits;
mod pooling;
mod shelves;

const BELT: Uuid = Uuid::from_u128(501);
const FASTENERS: Uuid = Uuid::from_u128(502);

fn listed(id: Uuid, name: &str) -> Listed {
    Listed {
        id,
        number: format!("P-{name}"),
        name: name.to_owned(),
        unit: "each".to_owned(),
        pack_size: 1,
        lead_time_days: 14,
        price: None,
        shelf_life_days: None,
        kit: Vec::new(),
    }
}

fn catalogue(parts: Vec<Listed>) -> Catalogue {
    Catalogue {
        words: parts
            .iter()
            .map(|part| (part.name.clone(), part.id))
            .collect(),
        parts: parts.into_iter().map(|part| (part.id, part)).collect(),
    }
}

fn belts_and_fasteners() -> Catalogue {
    catalogue(vec![
        listed(BELT, "auger belt"),
        listed(FASTENERS, "shear fastener set"),
    ])
}

/// Snow every day of January and February of these winters; every third day of the mild.
fn snow(winters: &[(i16, bool)]) -> Vec<DailySnowfall> {
    let year = |(winter, hard): &(i16, bool)| {
        let hard = *hard;
        let days = date(*winter, 7, 1).series(1.day());
        let until = date(winter + 1, 7, 1);
        days.take_while(move |day| *day < until)
            .map(move |on| DailySnowfall {
                on,
                snowfall_mm: match on.month() {
                    1 | 2 if hard || on.day() % 3 == 0 => 80.0,
                    _ => 0.0,
                },
            })
    };
    winters.iter().flat_map(year).collect()
}

/// Throwers whose belts sit so low, mm.
fn depot_with_belts(rides: &[f64]) -> DepotFacts {
    let units = (1..).zip(rides).map(|(number, ride)| {
        let mut unit = fresh_unit(number, 40.0);
        set_reading(&mut unit, "auger_belt_ride", *ride);
        unit
    });
    depot(units.collect())
}

fn demand(facts: &DepotFacts, catalogue: &Catalogue) -> DepotDemand {
    DepotDemand::of(facts, now(), catalogue, Horizon::Season)
}

fn buy(facts: &[DepotFacts], lots: &[ShelfLot], catalogue: &Catalogue) -> SeasonBuy {
    let depots: Vec<DepotDemand> = facts.iter().map(|facts| demand(facts, catalogue)).collect();
    season_buy(
        &depots,
        lots,
        catalogue,
        Service::default(),
        &BTreeMap::new(),
    )
}

fn line_of(buy: &SeasonBuy, id: Uuid) -> &BuyLine {
    let mut lines = buy.lines.iter();
    lines
        .find(|line| line.pooled.part_id == id)
        .expect("its line")
}

/// What the `spares` calculation answers to a line's inputs, and what is certain on top.
fn by_hand(line: &SpareLine) -> (i64, f64) {
    let input = line.inputs.as_ref().expect("one break rate");
    let answer = calculations::spares::calculate(input).expect("good input");
    let certain = line.level.certain;
    (answer.stock as i64 + certain, answer.mean + certain as f64)
}

/// With a storm that has a date, the season of a machine's own page is the horizon here: the one chance is 1 less the other,
/// to the rounding of the page.
#[test]
fn chances_are_those_of_the_machines_page() {
    let mut facts = depot_with_belts(&[-0.5]);
    facts.storms = vec![StormFacts {
        id: Uuid::from_u128(9),
        name: "first storm".to_owned(),
        starts_at: "2025-11-27T13:00:00Z".parse().unwrap(),
        ends_at: "2025-11-28T01:00:00Z".parse().unwrap(),
        depth_mm: 250.0,
        reclear_mm: 50.0,
        density_kg_m3: None,
        temperature_c: None,
        low_c: None,
    }];
    facts.snowfall = snow(&[(2021, false), (2022, true), (2023, false), (2024, true)]);
    let sheet = two_stage_thrower();
    let names = sheet.parts.iter().filter_map(|part| part.job.as_ref());
    let names: BTreeMap<String, Uuid> = names
        .flat_map(|job| job.parts.first().cloned())
        .zip((600..).map(Uuid::from_u128))
        .collect();
    let parts = names.iter().map(|(name, id)| listed(*id, name)).collect();
    let demand = demand(&facts, &catalogue(parts));
    let document = &evaluate(&facts, now()).units[0].document;
    let mut seen = 0;
    for state in &document.parts {
        let spec = sheet.part(&state.part).unwrap();
        let word = &spec.job.as_ref().unwrap().parts[0];
        let part = &demand.parts[&names[word]];
        assert_eq!(part.wear_out.len(), 4, "a chance a winter");
        let means = part.wear_out.iter().map(|winter| winter[0]);
        let chance = means.sum::<f64>() / 4.0;
        let off = chance - (1.0 - state.lasts.this_season);
        let sudden = state.measured.is_some() && spec.life.is_some();
        if sudden {
            // Its breakage comes on top.
            assert!((-0.006..0.05).contains(&off), "{}: {off}", state.part);
        } else {
            assert!(off.abs() <= 0.006, "{}: {off}", state.part);
        }
        seen += 1;
    }
    assert_eq!(seen, sheet.parts.len());
}

/// Sixty belts that mostly see a mild winter out and hardly a hard one: the level is that of the calculation fed winter by
/// winter, and well over what the mean of each chance would say.
#[test]
fn all_machines_share_the_winter() {
    let mut facts = depot_with_belts(&[-1.9; 60]);
    facts.snowfall = snow(&[(2021, false), (2022, false), (2023, false), (2024, true)]);
    let buy = buy(std::slice::from_ref(&facts), &[], &belts_and_fasteners());
    let line = line_of(&buy, BELT);
    let (stock, mean) = by_hand(&line.pooled);
    assert_eq!(line.pooled.level.stock, stock);
    assert!((line.pooled.level.mean - mean).abs() < 0.005 + 1e-9);
    let input = line.pooled.inputs.as_ref().unwrap();
    let winters = input.winters.as_ref().unwrap();
    assert!(
        winters[3].wear_out[0] > 2.0 * winters[0].wear_out[0],
        "{winters:?}"
    );
    let place = |unit: usize| {
        winters
            .iter()
            .map(|winter| winter.wear_out[unit])
            .sum::<f64>()
            / 4.0
    };
    let apart = calculations::spares::Input {
        wear_out: Some((0..60).map(place).collect()),
        winters: None,
        ..input.clone()
    };
    let apart = calculations::spares::calculate(&apart).unwrap();
    assert!(stock > apart.stock as i64 + 8, "{stock} {apart:?}");
    let worst = line.pooled.level.worst_winter.as_ref().unwrap();
    assert_eq!(worst.winter, "2024/25");
    // Alone, pooled is local.
    assert_eq!((line.local[0].level.stock, line.pooling_saves), (stock, 0));
}

/// The break rate is the model's, its hours all machines' together: 60 machines of 25 typical days at their mean hours.
#[test]
fn breaks_are_of_all_machines_hours_together() {
    let facts = depot_with_belts(&[0.3; 6]);
    let demand = demand(&facts, &belts_and_fasteners());
    let breaking = &demand.parts[&FASTENERS].breaking[&MODEL];
    assert_eq!((breaking.machines, breaking.hours.len()), (6, 1));
    // Read at 40 h on 18 November; 25 days are spread over 147, those after 18 November are to come.
    let season = demand.season.spread(25);
    let to_come = season
        .iter()
        .filter(|day| **day > date(2025, 11, 18))
        .count() as f64;
    let days_so_far = 25.0 + 25.0 - to_come;
    let an_hour = (8.0 * 1.5 + 40.0) / (8.0 + days_so_far);
    let expected = 6.0 * to_come * an_hour;
    assert!(
        (breaking.hours[0] - expected).abs() < 1e-9 * expected,
        "{} {expected}",
        breaking.hours[0]
    );
    let buy = season_buy(
        &[demand],
        &[],
        &belts_and_fasteners(),
        Service::default(),
        &BTreeMap::new(),
    );
    let line = line_of(&buy, FASTENERS);
    assert_eq!(
        (line.pooled.level.stock, line.pooled.stops),
        (by_hand(&line.pooled).0, true)
    );
    assert!((line.pooled.level.mean - expected * 2.0 / 60.0).abs() < 0.006);
}

/// What an order wants is certain and stands for the unit's worst part: the belt is not counted twice.
#[test]
fn an_open_order_stands_for_the_part_it_renews() {
    let mut facts = depot_with_belts(&[-2.9, 0.3, 0.3]);
    let before = buy(std::slice::from_ref(&facts), &[], &belts_and_fasteners());
    let before = &line_of(&before, BELT).pooled;
    assert_eq!((before.fitted, before.level.certain), (3, 0));
    facts.wanted = vec![WantedPart {
        part_id: BELT,
        title: "auger belt".to_owned(),
        wanted: 2,
        by_unit: vec![(facts.units[0].id, 1), (Uuid::from_u128(77), 1)],
        on_hand: 0,
    }];
    let after = buy(std::slice::from_ref(&facts), &[], &belts_and_fasteners());
    let after = &line_of(&after, BELT).pooled;
    assert_eq!((after.fitted, after.level.certain), (2, 2));
    let (stock, mean) = by_hand(after);
    assert_eq!(after.level.stock, stock);
    assert!((after.level.mean - mean).abs() < 0.006 && mean > 2.0);
    assert!(
        after.because.contains("; open orders want 2; "),
        "{}",
        after.because
    );
}

/// The lack of what stops a unit is borne once in a hundred times, of what does not once in twenty.
#[test]
fn what_stops_a_unit_is_kept_with_more_certainty() {
    let spring = listed(Uuid::from_u128(503), "idler spring");
    let mut facts = depot_with_belts(&[-1.5; 20]);
    for unit in &mut facts.units {
        set_reading(unit, "idler_spring_length", 4.6);
    }
    let list = catalogue(vec![listed(BELT, "auger belt"), spring.clone()]);
    let buy = buy(std::slice::from_ref(&facts), &[], &list);
    assert_eq!(line_of(&buy, BELT).pooled.service_level, 0.99);
    let spring = &line_of(&buy, spring.id).pooled;
    assert_eq!((spring.service_level, spring.stops), (0.95, false));
    assert!(buy.not_listed.contains(&"friction ring".to_owned()));
    assert!(!buy.not_listed.contains(&"auger belt".to_owned()));
}

/// Until the next review and its delivery: each part by its own lead time; a longer horizon never asks for less.
#[test]
fn a_horizon_of_lead_time_and_review() {
    let facts = depot_with_belts(&[-1.9; 20]);
    let mut slow = listed(FASTENERS, "shear fastener set");
    slow.lead_time_days = 60;
    let list = catalogue(vec![listed(BELT, "auger belt"), slow]);
    let until = |days| {
        let horizon = Horizon::Review { days };
        let demand = DepotDemand::of(&facts, now(), &list, horizon);
        season_buy(&[demand], &[], &list, Service::default(), &BTreeMap::new())
    };
    let buy = until(16);
    assert_eq!(line_of(&buy, BELT).pooled.until, date(2025, 12, 25));
    assert_eq!(line_of(&buy, FASTENERS).pooled.until, date(2026, 2, 9));
    let mut last = 0.0;
    for days in [0, 16, 60, 122, 366] {
        let mean = line_of(&until(days), BELT).pooled.level.mean;
        assert!(mean >= last, "{days}: {mean} {last}");
        last = mean;
    }
    // 14 days and 122 end with the season, on 10 April.
    let to_season = self::buy(std::slice::from_ref(&facts), &[], &list);
    assert_eq!(
        line_of(&until(122), BELT).pooled.level,
        line_of(&to_season, BELT).pooled.level
    );
}

/// Nobody knows what was never measured, and the line says how many that is.
#[test]
fn what_was_never_measured_is_told() {
    let mut facts = depot_with_belts(&[0.3, 0.3]);
    let belt = facts.units[0]
        .parts
        .iter_mut()
        .find(|path| path.part == "auger_belt");
    let belt = belt.unwrap();
    belt.readings.clear();
    (belt.fitted_at, belt.fitted_hours) = (None, None);
    let buy = buy(std::slice::from_ref(&facts), &[], &belts_and_fasteners());
    let line = &line_of(&buy, BELT).pooled;
    assert_eq!((line.fitted, line.never_measured), (2, 1));
    assert!(
        line.because
            .contains("1 of them never measured, so look first"),
        "{}",
        line.because
    );
}

#[test]
fn a_line_says_why() {
    let mut facts = depot_with_belts(&[-1.9; 12]);
    facts.snowfall = snow(&[(2021, false), (2022, false), (2023, false), (2024, true)]);
    let mut belt = listed(BELT, "auger belt");
    let mut wait = belt.clone();
    wait.lead_time_days = 42;
    (belt.pack_size, belt.shelf_life_days) = (5, Some(2191));
    belt.price = Some(Cost {
        amount_minor: 2850,
        currency: "USD".to_owned(),
    });
    let lot = |made_on, quantity| ShelfLot {
        depot_id: facts.id,
        part_id: BELT,
        made_on: Some(made_on),
        quantity,
    };
    let lots = [lot(date(2020, 1, 13), 1), lot(date(2024, 3, 12), 1)];
    let list = catalogue(vec![belt]);
    let buy = buy(std::slice::from_ref(&facts), &lots, &list);
    let line = &line_of(&buy, BELT).pooled;
    assert_eq!(
        line.because,
        "Buy 15 (3 packs of 5): of 12 fitted, 12 may not last to 10 Apr 2026 (mean 3.9, 11.8 in a winter like 2024/25; no \
         more with 99 % chance, as a machine stands without it); 2 on hand, 1 of them past its date after 12 Jan 2026; lead \
         time 14 days"
    );
    assert_eq!(
        line.level.cost.as_ref().unwrap().amount_minor,
        2850 * line.level.order
    );

    // In August it says by when; what takes too long says that.
    let august = |part: Listed, at: &str| {
        let list = catalogue(vec![part]);
        let demand = DepotDemand::of(&facts, at.parse().unwrap(), &list, Horizon::Season);
        let none = BTreeMap::new();
        let buy = season_buy(&[demand], &[], &list, Service::default(), &none);
        line_of(&buy, BELT).pooled.clone()
    };
    let line = august(wait.clone(), "2026-08-10T12:00:00Z");
    assert_eq!(line.order_by, Some(date(2026, 10, 4)));
    assert!(
        line.because
            .ends_with("; none on hand; lead time 42 days, so order by 4 Oct 2026"),
        "{}",
        line.because
    );
    let late = august(wait, "2026-10-10T12:00:00Z").because;
    assert!(
        late.ends_with("; lead time 42 days, so it comes after the season begins"),
        "{late}"
    );
}
