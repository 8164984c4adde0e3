use proptest::prelude::*;
use serde_json::json;

use super::annual::{annual_costs, best, capital_recovery, marginal_cost, present_worth};
use super::trend::{Stated, Trend, Winters};
use super::words::money;
use crate::calculations::renew::{Input, Output, Verdict, calculate};

#[track_caller]
fn close(got: f64, expected: f64, tolerance: f64) {
    assert!(
        (got - expected).abs() <= tolerance,
        "{got} is not {expected}"
    );
}

/// Compound interest tables as engineering economy texts print them (Newnan, Eschenbach & Lavelle, Engineering Economic
/// Analysis, appendix; the same to every digit in others), from memory: rate, years, (A/P) and (P/F).
#[test]
fn factors_are_those_of_the_published_tables() {
    for (rate, years, recovery, worth) in [
        (0.01, 12, 0.0888, 0.8874),
        (0.04, 15, 0.0899, 0.5553),
        (0.05, 30, 0.0651, 0.2314),
        (0.06, 10, 0.1359, 0.5584),
        (0.08, 10, 0.1490, 0.4632),
        (0.10, 1, 1.1000, 0.9091),
        (0.10, 5, 0.2638, 0.6209),
        (0.10, 20, 0.1175, 0.1486),
        (0.12, 5, 0.2774, 0.5674),
        (0.15, 10, 0.1993, 0.2472),
    ] {
        close(capital_recovery(rate, years), recovery, 5.1e-5);
        close(present_worth(rate, years), worth, 5.1e-5);
    }
}

/// Replacement without interest: a machine of 6,000 whose running costs are 1,000, 1,200, 1,400, 1,800, 2,300, 2,800, 3,400
/// and 4,000 a year and which fetches 3,000, 1,500, 750, 375 and then 200 is replaced after the fifth year, at 2,700 a year
/// (Kanti Swarup, Gupta & Man Mohan, Operations Research, chapter on replacement; from memory, the averages by hand).
#[test]
fn a_machine_is_replaced_when_its_average_cost_is_least() {
    let running = [
        1000.0, 1200.0, 1400.0, 1800.0, 2300.0, 2800.0, 3400.0, 4000.0,
    ];
    let resale = [3000.0, 1500.0, 750.0, 375.0, 200.0, 200.0, 200.0, 200.0];
    let costs = annual_costs(6000.0, &running, |years| resale[years as usize - 1], 0.0);
    let expected = [4000.0, 3350.0, 2950.0, 2756.25, 2700.0, 16_300.0 / 6.0];
    for (got, expected) in costs.iter().zip(expected) {
        close(*got, expected, 1e-9);
    }
    assert_eq!(best(&costs).map(|(years, _)| years), Some(5));
}

/// Park, Contemporary Engineering Economics, chapter on replacement, from memory. The economic life of a lift truck of 18,000:
/// 1,000 in the first year and 15 % more each next one, overhauls of 3,000 and 4,500 in the fifth and seventh, 10,000 got
/// back after a year and a quarter less each next one, at 15 %: six years.
#[test]
fn a_lift_truck_lives_six_years() {
    let overhauls = [0.0, 0.0, 0.0, 0.0, 3000.0, 0.0, 4500.0];
    let costs: Vec<f64> = (0..7)
        .map(|year| 1000.0 * 1.15f64.powi(year) + overhauls[year as usize])
        .collect();
    let resale = |years: u32| 10_000.0 * 0.75f64.powi(years as i32 - 1);
    let lives = annual_costs(18_000.0, &costs, resale, 0.15);
    let expected = [
        11_700.0, 8_653.0, 7_406.0, 6_678.0, 6_642.0, 6_258.0, 6_394.0,
    ];
    for (got, expected) in lives.iter().zip(expected) {
        close(*got, expected, 1.0);
    }
    assert_eq!(best(&lives).map(|(years, _)| years), Some(6));
}

/// The same book's defender and challenger, at 15 %. The old machine fetches 5,000, after a year 4,000 and 1,000 less each next
/// one; it needs 1,200 now, and costs 2,000 in the first year and 1,500 more each next one. A new one is 10,000, fetches 6,000
/// after a year and 15 % less each next one, and costs 2,000 and 800 more each next year. The old one is kept: 5,116 a
/// year for two years against 5,826 for four; its third year by itself costs more than that, 6,450.
#[test]
fn a_defender_is_kept_for_two_years_against_its_challenger() {
    let rate = 0.15;
    let costs: Vec<f64> = (0..5)
        .map(|year| 2000.0 + 1500.0 * f64::from(year))
        .collect();
    let worth = |years: u32| 5000.0 - 1000.0 * f64::from(years);
    let defender = annual_costs(5000.0 + 1200.0, &costs, worth, rate);
    for (got, expected) in defender
        .iter()
        .zip([5130.0, 5116.0, 5500.0, 5961.0, 6434.0])
    {
        close(*got, expected, 1.0);
    }
    let new_costs: Vec<f64> = (0..5)
        .map(|year| 2000.0 + 800.0 * f64::from(year))
        .collect();
    let new_worth = |years: u32| 6000.0 * 0.85f64.powi(years as i32 - 1);
    let challenger = annual_costs(10_000.0, &new_costs, new_worth, rate);
    for (got, expected) in challenger
        .iter()
        .zip([7500.0, 6151.0, 5857.0, 5826.0, 5897.0])
    {
        close(*got, expected, 1.0);
    }
    assert_eq!(best(&defender).map(|(years, _)| years), Some(2));
    assert_eq!(best(&challenger).map(|(years, _)| years), Some(4));
    // By hand: 3000 x 1.15 - 2000 + 5000.
    close(
        marginal_cost(worth(2), worth(3), costs[2], rate),
        6450.0,
        1e-9,
    );
}

#[test]
fn nothing_costs_nothing_and_a_loan_without_interest_is_repaid_in_equal_shares() {
    assert_eq!(capital_recovery(0.0, 4), 0.25);
    assert_eq!(capital_recovery(0.0, 1), 1.0);
    close(capital_recovery(1e-12, 4), 0.25, 1e-9);
    assert_eq!(annual_costs(0.0, &[0.0, 0.0], |_| 0.0, 0.04), [0.0, 0.0]);
    assert_eq!(best(&[]), None);
    assert_eq!(best(&[2.0, 1.0, 1.0]), Some((2, 1.0)));
}

fn stated() -> Stated {
    Stated {
        first: (60.0, 60.0),
        rise: (30.0, 30.0),
        scatter: 120.0,
    }
}

/// By hand: the stated precisions are 120^2 / 60^2 = 4 and 120^2 / 30^2 = 16; a first winter of 560 bears on the first figure
/// only: (4 x 60 + 560) / 5 = 160.
#[test]
fn one_winter_moves_the_line_a_little() {
    let trend = Trend::stated(stated());
    close(trend.scatter(), 120.0, 1e-9);
    close(trend.cost_of(3.0), 120.0, 1e-12);
    let trend = trend.after([Winters::one(1.0, 560.0)].into_iter());
    close(trend.first(), 160.0, 1e-12);
    close(trend.rise(), 30.0, 1e-12);
    // Scatter: inverse gamma of shape 2 + 1/2 and scale 14400 + (400^2 + 4 x 100^2) / 2.
    close(
        trend.scatter(),
        ((14_400.0 + 100_000.0) / 1.5f64).sqrt(),
        1e-9,
    );
}

/// Many winters: least squares, whatever was stated. 100 in the first, 300 in the fifth: 100 and 50 a winter.
#[test]
fn many_winters_decide() {
    let rows = [(1.0, 100.0), (5.0, 300.0)];
    let rows = rows.map(|(winter, mean)| Winters {
        winter,
        count: 1e6,
        mean,
        squares: 1e6 * 400.0,
    });
    let trend = Trend::stated(stated()).after(rows.into_iter());
    close(trend.first(), 100.0, 1e-3);
    close(trend.rise(), 50.0, 1e-3);
    close(trend.scatter(), 20.0, 1e-2);
    assert!(trend.rise_sd() < 0.02);
    // One machine of that fleet differs as stated, however well the fleet is known.
    let one = trend.of_one(stated());
    close(one.first(), trend.first(), 1e-9);
    assert!((one.rise_sd() / 30.0 - 1.0).abs() < 0.01 + (4.0f64 / 2.0).sqrt());
}

fn asked(input: serde_json::Value) -> Output {
    let input: Input = serde_json::from_value(input).unwrap_or_else(|fault| panic!("{fault}"));
    calculate(&input).unwrap_or_else(|fault| panic!("{fault}"))
}

/// By hand, without interest: a new one of 1,000 that loses all its value, 30 in the first winter and 15 more each next: after n
/// years 1000 / n + 30 + 7.5 (n - 1), least at 12 (195.83; 11: 195.91). An old one worth nothing in its eighth winter: 30 + 7 x
/// 15 = 135 for one year. Its winters cost over 195.83 from 30 + 15 (a - 1) on: the twelfth costs 195, the thirteenth 210.
#[test]
fn by_hand_without_interest() {
    let output = asked(json!({
        "price": 1000, "currency": "USD", "age": 7, "resale_kept": 0, "discount_rate": 0,
    }));
    let (keep, new) = (output.keep.unwrap(), output.new.unwrap());
    close(keep.annual_cost, 135.0, 1e-9);
    assert_eq!((keep.years, new.years), (1, 12));
    close(new.annual_cost, 1000.0 / 12.0 + 30.0 + 7.5 * 11.0, 1e-9);
    assert_eq!(output.verdict, Some(Verdict::Repair));
    assert_eq!(output.turns_at_winter, Some(13));
    assert_eq!(
        output.text,
        "Keeping it costs about 135 USD a year, a new one 196: repair; from about its 13th winter on a new one is cheaper"
    );
    close(
        output.renewing_saves.unwrap(),
        135.0 - new.annual_cost,
        1e-9,
    );
    assert!(output.lacking.is_empty());
    // A tenth costs 165, with a scale of 48.9: 30.8 under, of Student with 4 degrees of freedom, has a chance of 0.72.
    let output = asked(json!({"price": 1000, "age": 9, "resale_kept": 0, "discount_rate": 0}));
    close(output.chance_keeping_is_cheaper.unwrap(), 0.72, 0.01);
    assert_eq!(
        output.text,
        "Keeping it costs about 165 a year, a new one 196: repair; from about its 13th winter on a new one is cheaper; it is close: \
         keeping is cheaper with odds of 7 in 10"
    );
    // In its fifteenth winter it costs 240, and a repair of 100 comes on top.
    let output = asked(json!({
        "price": 1000, "age": 14, "resale_kept": 0, "discount_rate": 0, "repair_now": 100, "years": 20,
    }));
    assert_eq!(output.verdict, Some(Verdict::Renew));
    assert_eq!(output.turns_at_winter, None);
    // 100 / n + 240 + 7.5 (n - 1) is least at n = 4: 25 + 262.5.
    let keep = output.keep.unwrap();
    close(keep.annual_cost, 287.5, 1e-9);
    assert_eq!(keep.years, 4);
    assert!(
        output.text.contains("a year, a new one 196: renew"),
        "{}",
        output.text
    );
}

#[test]
fn what_is_lacking_is_said_and_the_rest_is_answered() {
    let winters = json!([
        {"winter": 1, "parts": 40, "labour_minutes": 60, "run_hours": 25},
        {"winter": 2, "parts": 0, "labour_minutes": 0, "run_hours": 25},
    ]);
    let output = asked(json!({"price": null, "winters": winters}));
    assert_eq!(output.lacking, ["the price of a new one", "its age"]);
    assert_eq!(output.cost_per_running_hour, Some(2.0));
    assert_eq!(
        output.text,
        "Not to be said without the price of a new one and its age"
    );
    assert_eq!((output.verdict, output.new), (None, None));
    // A day without it has no price where a new one has none.
    let output = asked(json!({"price": null, "winters": [{"winter": 1, "out_days": 1}]}));
    assert_eq!(
        output.lacking.last().unwrap(),
        "what a day without it costs"
    );
    // What a new one costs is known without the machine's age.
    let output = asked(json!({"price": 1000}));
    assert!(output.new.is_some() && output.keep.is_none() && output.verdict.is_none());
    assert!(output.by_years.iter().all(|years| years.keep.is_none()));
    // Nothing on record: no cost an hour; and none from hours that were not run.
    assert_eq!(output.cost_per_running_hour, None);
    let idle = json!({"price": null, "winters": [{"winter": 1, "parts": 9, "run_hours": 0}]});
    assert_eq!(asked(idle).cost_per_running_hour, None);
    // One year only.
    let output = asked(json!({"price": 1000, "age": 0, "years": 1}));
    assert_eq!(output.by_years.len(), 1);
    assert_eq!(output.turns_at_winter, None);
    let said = &output.text;
    assert!(
        said.contains("repair; it stays cheaper up to its 1st winter"),
        "{said}"
    );
    // One that has grown as old as it is to is looked at for one year.
    let output = asked(json!({"price": 1000, "age": 30}));
    assert_eq!(
        output
            .by_years
            .iter()
            .filter(|years| years.keep.is_some())
            .count(),
        1
    );
}

/// What is lacking is not assumed, and what is assumed is said.
#[test]
fn every_assumption_is_listed_with_where_it_is_from() {
    let output = asked(json!({"price": 1000, "age": 3, "labour_per_hour": 55}));
    let from = |what: &str| {
        let found = output
            .assumptions
            .iter()
            .find(|one| one.what.contains(what));
        found.unwrap_or_else(|| panic!("{what}")).from.as_str()
    };
    assert_eq!(from("price of a new one"), "given");
    assert_eq!(from("labour"), "given");
    assert!(from("rate of discount").starts_with("assumed"));
    assert!(from("hire").starts_with("assumed"));
    assert!(from("resale value today").starts_with("by the price"));
    let hour = asked(
        json!({"price": 1000, "without_per_hour": 9, "winters": [{"winter": 1, "out_days": 9, "out_hours": 2}]}),
    );
    assert!(
        hour.assumptions
            .iter()
            .any(|one| one.what == "being without it in season" && one.value == 9.0)
    );
}

#[test]
fn what_cannot_be_is_refused_by_field() {
    let winter = |winter: f64| json!([{"winter": winter}]);
    for (field, input) in [
        ("price", json!({"price": 0})),
        ("price", json!({"price": -5})),
        ("currency", json!({"currency": ""})),
        ("age", json!({"age": 2.5})),
        ("age", json!({"age": 101})),
        ("resale_now", json!({"resale_now": -1})),
        ("resale_kept", json!({"resale_kept": 1.1})),
        ("discount_rate", json!({"discount_rate": -0.01})),
        ("years", json!({"years": 0})),
        ("years", json!({"years": 51})),
        ("repair_now", json!({"repair_now": -1})),
        ("labour_per_hour", json!({"labour_per_hour": -1})),
        (
            "without_per_hour",
            json!({"hire_per_day": 9, "without_per_hour": 1}),
        ),
        (
            "expected.rise",
            json!({"expected": {"first": 0.1, "rise": 0, "scatter": 0.1}}),
        ),
        ("winters[0].winter", json!({"winters": winter(0.0)})),
        (
            "winters[0].winter",
            json!({"age": 3, "winters": winter(4.0)}),
        ),
        (
            "winters[1].winter",
            json!({"winters": [{"winter": 1}, {"winter": 1}]}),
        ),
        (
            "winters[0].out_days",
            json!({"winters": [{"winter": 1, "out_days": -1}]}),
        ),
        (
            "fleet[0].count",
            json!({"fleet": [{"winter": 1, "count": 0, "mean": 1}]}),
        ),
        (
            "fleet[0].sd",
            json!({"fleet": [{"winter": 1, "count": 2, "mean": 1, "sd": -1}]}),
        ),
        (
            "winters",
            json!({"winters": vec![json!({"winter": 1}); 101]}),
        ),
    ] {
        let mut stated = json!({"price": null});
        stated
            .as_object_mut()
            .unwrap()
            .extend(input.as_object().unwrap().clone());
        let asked: Input = serde_json::from_value(stated).unwrap();
        let fault = calculate(&asked).expect_err(&input.to_string());
        assert_eq!(fault.field, field, "{input}");
    }
}

#[test]
fn money_is_said_as_people_say_it() {
    for (amount, said) in [
        (0.0, "0"),
        (2.375, "2.38"),
        (9.999, "10"),
        (87.4, "87"),
        (999.6, "1,000"),
        (1143.0, "1,140"),
        (-1143.0, "-1,140"),
        (1_234_567.0, "1,234,570"),
    ] {
        assert_eq!(money(amount), said);
    }
}

fn any_input() -> impl Strategy<Value = Input> {
    let winter = (0.0..3000.0f64, 0.0..2000.0f64, 0.0..40.0f64);
    (
        100.0..20_000.0f64,
        0u32..30,
        0.0..=1.0f64,
        0.0..0.3f64,
        1u32..=30,
        0.0..2000.0f64,
        prop::collection::vec(winter, 0..8),
    )
        .prop_map(|(price, age, kept, rate, years, repair, winters)| {
            let costs = winters.into_iter().take(age as usize).enumerate();
            let costs: Vec<_> = costs
                .map(|(index, (parts, minutes, days))| {
                    json!({"winter": age as usize - index, "parts": parts, "labour_minutes": minutes,
                           "out_days": days, "run_hours": days})
                })
                .collect();
            let input = json!({
                "price": price, "age": age, "resale_kept": kept, "discount_rate": rate, "years": years,
                "repair_now": repair, "winters": costs,
                "fleet": [{"winter": 1, "count": 3, "mean": price / 30.0, "sd": price / 50.0},
                          {"winter": 6, "count": 2, "mean": price / 9.0, "sd": 0}],
            });
            serde_json::from_value(input).unwrap()
        })
}

proptest! {
    /// An equal sum a year is worth what it stands for.
    #[test]
    fn an_annual_cost_is_worth_what_it_stands_for(
        first in 0.0..1e5f64,
        costs in prop::collection::vec(0.0..1e4f64, 1..30),
        back in 0.0..1e4f64,
        rate in 0.0..0.5f64,
    ) {
        let got = annual_costs(first, &costs, |_| back, rate);
        for (index, annual) in got.iter().enumerate() {
            let years = index as u32 + 1;
            let worth = |amount: f64, year: u32| amount * (1.0 + rate).powi(-(year as i32));
            let paid: f64 = (1..=years).map(|year| worth(costs[year as usize - 1], year)).sum();
            let stood_for = first + paid - worth(back, years);
            let equal: f64 = (1..=years).map(|year| worth(*annual, year)).sum();
            prop_assert!((equal - stood_for).abs() < 1e-9 * (1.0 + first + paid + back), "{equal} {stood_for}");
        }
    }

    /// The marginal costs of the years, one by one, are worth what the annual cost is.
    #[test]
    fn years_one_by_one_cost_what_they_cost_together(
        costs in prop::collection::vec(0.0..1e4f64, 1..20),
        worth in 0.0..1e4f64,
        kept in 0.0..=1.0f64,
        rate in 0.0..0.5f64,
    ) {
        let after = |years: u32| worth * kept.powf(years.into());
        let together = annual_costs(worth, &costs, after, rate);
        let years = costs.len() as u32;
        let each = (1..=years).map(|year| {
            let cost = marginal_cost(after(year - 1), after(year), costs[year as usize - 1], rate);
            cost * present_worth(rate, year)
        });
        let each = each.sum::<f64>() * capital_recovery(rate, years);
        let expected = together.last().unwrap();
        prop_assert!((each - expected).abs() < 1e-9 * (1.0 + expected.abs()), "{each} {expected}");
    }

    /// Winters told one by one or together, in whatever order, teach the same.
    #[test]
    fn winters_teach_the_same_however_they_are_told(costs in prop::collection::vec((1u8..12, 0.0..5e3f64), 1..40)) {
        let one_by_one = costs.iter().map(|(winter, cost)| Winters::one(f64::from(*winter), *cost));
        let trend = Trend::stated(stated()).after(one_by_one.clone());
        let backwards = Trend::stated(stated()).after(one_by_one.rev());
        let by_age = (1..12u8).filter_map(|age| {
            let own: Vec<f64> = costs.iter().filter(|(winter, _)| *winter == age).map(|(_, cost)| *cost).collect();
            let count = own.len() as f64;
            let mean = own.iter().sum::<f64>() / count;
            let squares = own.iter().map(|cost| (cost - mean).powi(2)).sum();
            (count > 0.0).then_some(Winters { winter: age.into(), count, mean, squares })
        });
        let together = Trend::stated(stated()).after(by_age);
        for other in [backwards, together] {
            for (a, b) in [
                (trend.first(), other.first()), (trend.rise(), other.rise()),
                (trend.rise_sd(), other.rise_sd()), (trend.scatter(), other.scatter()),
            ] {
                prop_assert!((a - b).abs() < 1e-6 * (1.0 + a.abs()), "{a} {b}");
            }
        }
    }

    /// Figures are figures, the verdict is that of the two costs, and what it will turn at is still to come.
    #[test]
    fn a_verdict_is_that_of_its_costs(input in any_input()) {
        let output = calculate(&input).unwrap();
        let (keep, new) = (output.keep.unwrap(), output.new.unwrap());
        let renew = output.verdict == Some(Verdict::Renew);
        prop_assert_eq!(renew, keep.annual_cost > new.annual_cost);
        let chance = output.chance_keeping_is_cheaper.unwrap();
        prop_assert!((0.0..=1.0).contains(&chance));
        prop_assert_eq!(renew, chance < 0.5, "{}", chance);
        let least = output.by_years.iter().filter_map(|years| years.keep).fold(f64::INFINITY, f64::min);
        prop_assert_eq!(keep.annual_cost, least);
        let first_turn = input.age.unwrap() as u32 + keep.years;
        prop_assert!(output.turns_at_winter.is_none_or(|winter| winter > first_turn && !renew));
        prop_assert!(output.lacking.is_empty());
        let text = serde_json::to_string(&output).unwrap();
        prop_assert!(!text.contains("NaN") && text.len() < 16_384);
    }

    /// Cents or dollars: what is done is the same, and every sum is so many times as large.
    #[test]
    fn it_does_not_matter_what_money_is_counted_in(input in any_input(), times in 0.01..100.0f64) {
        let mut scaled = input.clone();
        scaled.price = input.price.map(|price| price * times);
        scaled.repair_now *= times;
        scaled.labour_per_hour = Some(60.0 * times);
        for winter in &mut scaled.winters {
            winter.parts *= times;
        }
        for of_age in &mut scaled.fleet {
            of_age.mean *= times;
            of_age.sd *= times;
        }
        let (one, other) = (calculate(&input).unwrap(), calculate(&scaled).unwrap());
        let (a, b) = (one.renewing_saves.unwrap() * times, other.renewing_saves.unwrap());
        prop_assert!((a - b).abs() < 1e-6 * times * input.price.unwrap(), "{} {}", a, b);
        let (a, b) = (one.chance_keeping_is_cheaper.unwrap(), other.chance_keeping_is_cheaper.unwrap());
        prop_assert!((a - b).abs() < 1e-6);
    }

    /// A dearer repair never speaks for repairing.
    #[test]
    fn a_dearer_repair_speaks_for_renewing(input in any_input(), more in 0.0..5000.0f64) {
        let mut dearer = input.clone();
        dearer.repair_now += more;
        let saves = |input: &Input| calculate(input).unwrap().renewing_saves.unwrap();
        prop_assert!(saves(&dearer) >= saves(&input) - 1e-9 * input.price.unwrap());
    }
}
