//! Levels of stock and orders against handbooks and textbooks. Poisson's probabilities are in any table of them.

use rimeyard_rules::buy::{ShelfLot, on_hand, order};
use rimeyard_rules::spares::{BreakRate, Breaks, WinterDemand, stock};
use uuid::Uuid;

/// The stock for Poisson demand: breaks at a rate that is known almost exactly.
fn poisson_stock(mean: f64, service_level: f64) -> u64 {
    let rate = BreakRate {
        alpha: 1e9,
        beta: 1e9,
    };
    let winter = WinterDemand {
        wear_out: Vec::new(),
        breaks: Some(Breaks { rate, hours: mean }),
    };
    stock(&[winter], service_level).stock
}

/// Spares by the Poisson rule (MIL-HDBK-338B; Blanchard, Logistics Engineering and Management: from memory, the values
/// worked out): ten depots that need half a part each in the mean hold twenty at 95 %, one store for all of them nine.
#[test]
fn one_store_holds_less_than_ten_shelves() {
    assert_eq!(10 * poisson_stock(0.5, 0.95), 20);
    assert_eq!(poisson_stock(5.0, 0.95), 9);
}

/// Order up to a level (Cachon & Terwiesch, Matching Supply with Demand, an exercise of the chapter on it): demand of 1.5
/// a day, three days from order to delivery, orders every day. So the level covers four days, 6 in the mean, and 8 leave
/// 15 in 100 that a day ends short: 1 - 0.8472.
#[test]
fn lead_time_and_review_make_the_mean() {
    let mean = 1.5 * (3.0 + 1.0);
    assert_eq!(poisson_stock(mean, 0.847), 8);
    assert_eq!(poisson_stock(mean, 0.848), 9);
}

/// A textbook exercise on reorder points (a university's operations lecture): 10,000 a year of 311 days, ten days' lead
/// time: reorder at 321.5. That is the level that is enough every other time; for 95 in 100 it takes 1.645 standard
/// deviations more.
#[test]
fn a_reorder_point_is_the_mean_and_a_margin() {
    let mean = 10_000.0 / 311.0 * 10.0;
    assert!((mean - 321.5_f64).abs() < 0.05);
    let level = |service_level| poisson_stock(mean, service_level) as f64;
    assert!((level(0.5) - mean).abs() <= 1.0);
    assert!((level(0.95) - (mean + 1.645 * mean.sqrt())).abs() <= 1.0);
}

/// Requisitioning objective = operating level + safety level + what is used between order and delivery; ordered is what it
/// is short of, less what is due in, and with what is due out (the arithmetic of DA PAM 710-2-1, from memory). The example
/// is that of a state's operations manual (California, Department Operations Manual, 22030.10.5.7): 720 a year, so 2 a
/// day; 60 days from order to delivery, 60 of operation, 15 of safety: the objective is 270, at 150 left 120 are ordered.
#[test]
fn an_order_is_the_objective_less_what_is_there_and_due_in() {
    let a_day = (720.0_f64 / 365.0).round() as i64;
    assert_eq!(a_day, 2);
    let objective = a_day * (60 + 60 + 15);
    assert_eq!(objective, 270);
    let reorder_point = a_day * (60 + 15);
    assert_eq!(order(objective, reorder_point, 0, 1), 120);
    assert_eq!(order(objective, reorder_point, 30, 1), 90);
    let due_out = 7;
    assert_eq!(order(objective + due_out, reorder_point, 30, 1), 97);
    assert_eq!(order(objective, 400, 0, 1), 0);
    // Enough for one repair at least (an Army technical manual's stock list): three to a set are three, never one.
    assert_eq!(order(1, 0, 0, 3), 3);
}

/// Rubber keeps 6 to 8 years below 30 degC, and half as long for each 8 degC more (belt makers' storage notes, common
/// practice): a belt of March 2020 is good to March 2026, in a hot loft to March 2023.
#[test]
fn rubber_ages_on_the_shelf() {
    let lot = ShelfLot {
        depot_id: Uuid::nil(),
        part_id: Uuid::nil(),
        made_on: Some(jiff::civil::date(2020, 3, 12)),
        quantity: 4,
    };
    let six_years = 2191;
    let good = |shelf_life_days, last_day: &str| {
        on_hand(
            [&lot],
            Some(shelf_life_days),
            last_day.parse().expect("a day"),
        )
        .good
    };
    assert_eq!(good(six_years, "2026-03-12"), 4);
    assert_eq!(good(six_years, "2026-03-13"), 0);
    assert_eq!(good(six_years / 2, "2023-03-12"), 4);
    assert_eq!(good(six_years / 2, "2023-03-13"), 0);
}
