//! Wind chill, tyre pressure and season dates against published figures.

use rimeyard_rules::calculations::season::{Fixed, From, Input, WinterInput, calculate};
use rimeyard_rules::calculations::wind_chill::{self, wind_chill_c};
use rimeyard_rules::season::quantile_7;
use rimeyard_rules::tyre::pressure_at;

fn celsius(degrees_f: f64) -> f64 {
    (degrees_f - 32.0) / 1.8
}

/// U.S. National Weather Service, wind chill chart of 1 November 2001, degF and mph, from memory but for 0 degF at
/// 15 mph (-19) and 10 degF at 15 mph (-7), which trade notes repeat.
#[test]
fn wind_chill_is_that_of_the_weather_service() {
    for (air_f, wind_mph, chill_f) in [
        (0.0, 15.0, -19.0),
        (10.0, 15.0, -7.0),
        (40.0, 5.0, 36.0),
        (30.0, 10.0, 21.0),
        (-10.0, 30.0, -39.0),
        (-45.0, 60.0, -98.0),
    ] {
        let got = wind_chill_c(celsius(air_f), wind_mph * 0.44704) * 1.8 + 32.0;
        assert_eq!(got.round(), chill_f, "{air_f} degF, {wind_mph} mph: {got}");
    }
}

#[test]
fn wind_chill_is_the_air_where_the_formula_does_not_hold() {
    assert_eq!(wind_chill_c(-20.0, 0.0), -20.0);
    assert_eq!(wind_chill_c(-20.0, 3.0 * 0.44704), -20.0);
    assert_eq!(wind_chill_c(15.0, 10.0), 15.0);
    let input = |temperature_c, wind_m_per_s| wind_chill::Input {
        temperature_c,
        wind_m_per_s,
    };
    assert_eq!(
        wind_chill::calculate(&input(-10.0, -1.0))
            .unwrap_err()
            .field,
        "wind_m_per_s"
    );
    assert_eq!(
        wind_chill::calculate(&input(f64::NAN, 1.0))
            .unwrap_err()
            .field,
        "temperature_c"
    );
}

/// The gas law on absolute pressure: (17 + 14.7) psi x 10/529.67 is 0.6 psi. The road rule of 1 psi per 10 degF fits a
/// 35 psi tyre: (35 + 14.7) x 10/529.67 is 0.94 psi. Filled to 17 psi at 70 degF and used at 20 degF: about 14 psi.
#[test]
fn a_thrower_tyre_loses_six_tenths_of_a_psi_in_ten_degrees() {
    let psi = 6.894_757;
    let loss = |gauge_psi: f64, from_f: f64, to_f: f64| {
        gauge_psi - pressure_at(gauge_psi * psi, celsius(from_f), celsius(to_f)) / psi
    };
    assert!((loss(17.0, 70.0, 60.0) - 0.60).abs() < 0.005);
    assert!((loss(35.0, 70.0, 60.0) - 0.94).abs() < 0.005);
    assert!((17.0 - loss(17.0, 70.0, 20.0) - 14.0).abs() < 0.05);
    assert!(loss(17.0, 50.0, 50.0).abs() < 1e-12);
}

/// Hyndman & Fan 1996, definition 7, on 1..=10 by hand: place 9 p, so 10 % is 1.9 and 90 % is 9.1.
#[test]
fn quantiles_are_of_definition_seven() {
    let ten: Vec<f64> = (1..=10).map(f64::from).collect();
    assert!((quantile_7(&ten, 0.1) - 1.9).abs() < 1e-12);
    assert!((quantile_7(&ten, 0.9) - 9.1).abs() < 1e-12);
    assert_eq!(quantile_7(&[5.0], 0.9), 5.0);
}

fn winter(first_day: Option<f64>, last_day: Option<f64>) -> WinterInput {
    WinterInput {
        first_day,
        last_day,
    }
}

#[test]
fn a_season_falls_back_on_fixed_dates_and_says_so() {
    let snow = winter(Some(140.0), Some(260.0));
    let bare = winter(None, None);
    let fixed = Some(Fixed {
        start_day: 137.0,
        end_day: 283.0,
    });
    let ask = |winters: Vec<WinterInput>| calculate(&Input { winters, fixed }).unwrap();
    // Too few winters.
    let got = ask(vec![snow; 4]);
    assert_eq!(
        (got.from, got.start_day, got.winters),
        (From::FixedDates, 137.0, 4)
    );
    let got = ask(vec![]);
    assert_eq!(
        (got.from, got.end_day, got.winters),
        (From::FixedDates, 283.0, 0)
    );
    // Enough.
    let got = ask(vec![snow; 5]);
    assert_eq!(
        (got.from, got.start_day, got.end_day),
        (From::History, 140.0, 260.0)
    );
    // One bare winter of ten is not touched by the 10 % quantile of first days (place 0.9, neighbours 0 and 1), nor by
    // the 90 % of last days.
    let mut winters = vec![snow; 9];
    winters.push(bare);
    assert_eq!(ask(winters).from, From::History);
    // Nine of ten: the second neighbour is infinite.
    let mut winters = vec![bare; 9];
    winters.push(snow);
    assert_eq!(ask(winters).from, From::FixedDates);
    // Ten of eleven: place 1 exactly, infinite.
    let mut winters = vec![bare; 10];
    winters.push(snow);
    assert_eq!(ask(winters).from, From::FixedDates);
    // All bare: infinity less infinity is no day.
    assert_eq!(ask(vec![bare; 12]).from, From::FixedDates);
}

#[test]
fn a_season_that_cannot_be_is_refused_by_its_field() {
    let snow = winter(Some(140.0), Some(260.0));
    let field = |winters, fixed| calculate(&Input { winters, fixed }).unwrap_err().field;
    assert_eq!(field(vec![snow; 4], None), "fixed");
    assert_eq!(
        field(vec![snow, winter(Some(140.0), None)], None),
        "winters[1].last_day"
    );
    assert_eq!(
        field(vec![winter(None, Some(1.0))], None),
        "winters[0].first_day"
    );
    assert_eq!(
        field(vec![winter(Some(200.0), Some(100.0))], None),
        "winters[0].last_day"
    );
    assert_eq!(
        field(vec![winter(Some(-1.0), Some(100.0))], None),
        "winters[0].first_day"
    );
    let fixed = Some(Fixed {
        start_day: 283.0,
        end_day: 137.0,
    });
    assert_eq!(field(vec![], fixed), "fixed.end_day");
    let absent = serde_json::from_str::<Input>(r#"{"winters":[{"first_day":140}]}"#).unwrap_err();
    assert!(absent.to_string().contains("last_day"), "{absent}");
}
