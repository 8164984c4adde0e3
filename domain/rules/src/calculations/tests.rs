//! What each calculation refuses, and what it answers though it is odd. Values are checked in `tests/reference`.

use serde::{Serialize, de::DeserializeOwned};
use serde_json::{Value, json};

use super::*;

mod dues;
mod extremes;
mod fits_of_life;
mod fits_of_wear;
mod plans;

/// The answer, or the field that is wrong.
fn ask<I: DeserializeOwned, O: Serialize>(
    input: Value,
    calculate: fn(&I) -> Result<O, Invalid>,
) -> Result<Value, String> {
    let input: I = serde_json::from_value(input).map_err(|error| format!("JSON: {error}"))?;
    match calculate(&input) {
        Ok(output) => Ok(serde_json::to_value(output).unwrap()),
        Err(fault) => {
            assert!(!fault.problem.is_empty());
            Err(fault.field)
        }
    }
}

/// `input` with the value at a JSON pointer replaced.
fn with(input: &Value, pointer: &str, value: Value) -> Value {
    let mut changed = input.clone();
    *changed.pointer_mut(pointer).unwrap() = value;
    changed
}

fn prior() -> Value {
    json!({"as_new": 6, "as_new_sd": 0.3, "rate": 0.04, "rate_sd": 0.01, "reading_sd": 0.2})
}

#[test]
fn wear_refuses_what_cannot_be() {
    let good = json!({
        "prior": prior(), "readings": [{"hours": 10, "value": 5.6}], "limit": 1.5, "at_hours": [0, 20]
    });
    assert!(ask(good.clone(), wear::calculate).is_ok());
    for (pointer, value, field) in [
        ("/prior/as_new_sd", json!(0), "prior.as_new_sd"),
        ("/prior/rate_sd", json!(-0.1), "prior.rate_sd"),
        ("/prior/reading_sd", json!(0.0), "prior.reading_sd"),
        ("/prior/as_new", json!(1e300), "prior.as_new"),
        ("/readings/0/hours", json!(-1), "readings[0].hours"),
        ("/readings/0/value", json!(-1e13), "readings[0].value"),
        ("/at_hours/1", json!(-2), "at_hours[1]"),
        ("/at_hours", json!(vec![1.0; LIST_MAX + 1]), "at_hours"),
        ("/limit", json!(1e13), "limit"),
    ] {
        let got = ask(with(&good, pointer, value), wear::calculate);
        assert_eq!(got, Err(field.to_owned()));
    }
    let mut input: wear::Input = serde_json::from_value(good).unwrap();
    input.limit = f64::NAN;
    let fault = wear::calculate(&input).unwrap_err();
    assert_eq!(fault.field, "limit");
    assert!(fault.problem.contains("finite"));
}

#[test]
fn wear_answers_what_is_odd_but_real() {
    // Below zero, out of order, asked for before the last reading, and without any reading.
    let odd = json!({
        "prior": prior(), "readings": [{"hours": 90, "value": -0.5}, {"hours": 10, "value": 5.6}],
        "limit": -2, "at_hours": [5]
    });
    let got = ask(odd, wear::calculate).unwrap();
    assert!(got["lasts"][0].as_f64().unwrap() > 0.999);
    let bare = json!({"prior": prior(), "readings": [], "limit": 1.5, "at_hours": []});
    let got = ask(bare, wear::calculate).unwrap();
    assert_eq!(got["as_new"], 6.0);
    assert_eq!(got["lasts"], json!([]));
}

#[test]
fn fields_that_are_unknown_absent_or_of_another_kind_are_refused() {
    let good = json!({"alpha": 2, "beta": 300, "days": 10});
    assert!(ask(good.clone(), starts::calculate).is_ok());
    let mut more = good.clone();
    more["dayz"] = json!(1);
    assert!(ask(more, starts::calculate).unwrap_err().contains("dayz"));
    let mut less = good.clone();
    less.as_object_mut().unwrap().remove("beta");
    assert!(ask(less, starts::calculate).unwrap_err().contains("beta"));
    let text = with(&good, "/days", json!("ten"));
    assert!(ask(text, starts::calculate).unwrap_err().contains("JSON"));
    let mut reading = json!({"prior": prior(), "readings": [{"hours": 1, "value": 2, "unit": "mm"}], "limit": 1, "at_hours": []});
    assert!(
        ask(reading.clone(), wear::calculate)
            .unwrap_err()
            .contains("unit")
    );
    reading["readings"] = json!(null);
    assert!(ask(reading, wear::calculate).unwrap_err().contains("JSON"));
}

fn season_input() -> Value {
    json!({
        "prior": prior(), "readings": [], "limit": 1.5, "from_hours": 30,
        "usage": {"shape": 1, "prior_days": 10, "prior_hours_per_day": 3, "run_hours": 30, "snow_days": 10},
        "scenarios": [10, 25]
    })
}

#[test]
fn wear_season_refuses_what_cannot_be() {
    let good = season_input();
    assert!(ask(good.clone(), wear_season::calculate).is_ok());
    for (pointer, value, field) in [
        ("/from_hours", json!(-1), "from_hours"),
        ("/usage/shape", json!(0), "usage.shape"),
        ("/usage/prior_days", json!(0), "usage.prior_days"),
        ("/usage/run_hours", json!(-3), "usage.run_hours"),
        ("/usage/snow_days", json!(1e6), "usage.snow_days"),
        ("/scenarios", json!([]), "scenarios"),
        ("/scenarios/1", json!(-1), "scenarios[1]"),
    ] {
        let got = ask(with(&good, pointer, value), wear_season::calculate);
        assert_eq!(got, Err(field.to_owned()));
    }
}

#[test]
fn wear_season_answers_what_is_odd_but_real() {
    // No days to come: as now. Hours on no snow days so far.
    let none = with(&season_input(), "/scenarios", json!([0]));
    let none = with(&none, "/usage/snow_days", json!(0));
    let got = ask(none, wear_season::calculate).unwrap();
    let now = json!({"prior": prior(), "readings": [], "limit": 1.5, "at_hours": [30]});
    let now = ask(now, wear::calculate).unwrap();
    let (got_lasts, now_lasts) = (
        got["lasts"].as_f64().unwrap(),
        now["lasts"][0].as_f64().unwrap(),
    );
    assert!((got_lasts - now_lasts).abs() < 1e-11);
    // Past the limit: nothing left.
    let past = with(&season_input(), "/from_hours", json!(500));
    assert_eq!(ask(past, wear_season::calculate).unwrap()["hours_p90"], 0.0);
    // A rate that may be nothing: nine in ten is never reached.
    let never = with(&season_input(), "/prior/rate_sd", json!(0.08));
    let got = ask(never, wear_season::calculate).unwrap();
    assert_eq!(got["hours_p90"], Value::Null);
    assert!(got["hours_p10"].as_f64().unwrap() > 0.0);
}

#[test]
fn running_hours_on_no_days_are_none() {
    let good = json!({
        "shape": 1, "prior_days": 10, "prior_hours_per_day": 3, "run_hours": 30, "snow_days": 0,
        "future_days": 0, "at_hours": 0
    });
    let got = ask(good.clone(), running_hours::calculate).unwrap();
    assert_eq!((&got["at_most"], &got["p90"]), (&json!(1.0), &json!(0.0)));
    let negative = with(&good, "/at_hours", json!(-1));
    assert_eq!(
        ask(negative, running_hours::calculate),
        Err("at_hours".into())
    );
    let negative = with(&good, "/future_days", json!(-1));
    assert_eq!(
        ask(negative, running_hours::calculate),
        Err("future_days".into())
    );
}

#[test]
fn life_and_breaks_refuse_what_cannot_be() {
    let good = json!({
        "shape": 2, "prior_scale": 100, "prior_weight": 1, "age": 10, "next": 5,
        "histories": [{"entry": 0, "exit": 0, "failed": true}, {"entry": 5, "exit": 50, "failed": false}]
    });
    assert_eq!(ask(good.clone(), life::calculate).unwrap()["alpha"], 2.0);
    assert!(ask(with(&good, "/histories", json!([])), life::calculate).is_ok());
    for (pointer, value, field) in [
        ("/shape", json!(0), "shape"),
        ("/shape", json!(21), "shape"),
        ("/prior_scale", json!(-1), "prior_scale"),
        ("/prior_weight", json!(0), "prior_weight"),
        ("/histories/1/entry", json!(60), "histories[1].exit"),
        ("/histories/1/entry", json!(-1), "histories[1].entry"),
        ("/age", json!(-1), "age"),
        ("/next", json!(-1), "next"),
    ] {
        assert_eq!(
            ask(with(&good, pointer, value), life::calculate),
            Err(field.to_owned())
        );
    }
    let good = json!({"alpha": 2, "beta": 40, "hours": 8, "spares": 4.0});
    assert!(ask(good.clone(), breaks::calculate).is_ok());
    for (pointer, value, field) in [
        ("/alpha", json!(0), "alpha"),
        ("/hours", json!(-1), "hours"),
        ("/spares", json!(-1), "spares"),
        ("/spares", json!(1.5), "spares"),
    ] {
        assert_eq!(
            ask(with(&good, pointer, value), breaks::calculate),
            Err(field.to_owned())
        );
    }
}

#[test]
fn starts_refuse_what_cannot_be() {
    let good =
        json!({"alpha": 2, "beta": 300, "days": 0, "shape": 1, "at_once": 0.97, "factor": 1});
    assert_eq!(
        ask(good.clone(), starts::calculate).unwrap()["starts"],
        0.97
    );
    for (pointer, value, field) in [
        ("/beta", json!(0), "beta"),
        ("/days", json!(-1), "days"),
        ("/shape", json!(0), "shape"),
        ("/at_once", json!(1.1), "at_once"),
        ("/factor", json!(-1), "factor"),
    ] {
        assert_eq!(
            ask(with(&good, pointer, value), starts::calculate),
            Err(field.to_owned())
        );
    }
    let good = json!({"alpha": 2, "beta": 300, "tests": [{"days": 30, "started": true}, {"days": 0, "started": false}]});
    // That it failed at once cannot be where it always starts at once.
    assert_eq!(
        ask(good.clone(), start_fit::calculate),
        Err("tests[1].days".into())
    );
    let mut doubtful = good.clone();
    doubtful["at_once"] = json!(0.9);
    assert_eq!(
        ask(doubtful, start_fit::calculate).unwrap(),
        json!({"alpha": 2.0, "beta": 330.0})
    );
    let none = with(&good, "/tests", json!([]));
    assert_eq!(
        ask(none, start_fit::calculate).unwrap(),
        json!({"alpha": 2.0, "beta": 300.0})
    );
}

#[test]
fn a_depot_refuses_what_cannot_be() {
    let good =
        json!({"units": [{"works": 0.9, "rate": 1000}], "needed_rate": 1000, "operators": 1});
    assert!(
        (ask(good.clone(), depot::calculate).unwrap()["score"]
            .as_f64()
            .unwrap()
            - 90.0)
            .abs()
            < 1e-9
    );
    for (pointer, value, field) in [
        ("/units/0/works", json!(1.1), "units[0].works"),
        ("/units/0/rate", json!(-1), "units[0].rate"),
        ("/needed_rate", json!(-1), "needed_rate"),
        ("/operators", json!(-1), "operators"),
        ("/operators", json!(0.5), "operators"),
    ] {
        assert_eq!(
            ask(with(&good, pointer, value), depot::calculate),
            Err(field.to_owned())
        );
    }
    let none = json!({"units": [], "needed_rate": 0});
    assert_eq!(ask(none, depot::calculate).unwrap()["score"], 100.0);
}

/// The largest input answers, if with bounds.
#[test]
fn ten_thousand_machines_are_scored() {
    let units: Vec<Value> = (0..LIST_MAX)
        .map(|i| json!({"works": 0.9, "rate": 500 + (i * 7919) % 1000}))
        .collect();
    let input = json!({"units": units, "needed_rate": 5_000_000, "operators": 6000});
    let got = ask(input, depot::calculate).unwrap();
    assert!(got["at_least"].as_f64().unwrap() <= got["at_most"].as_f64().unwrap());
}

#[test]
fn spares_refuse_what_cannot_be() {
    let good = json!({"wear_out": [0.5], "breaks": {"alpha": 1, "beta": 10, "hours": 5}, "service_level": 0.95});
    assert!(ask(good.clone(), spares::calculate).is_ok());
    let winters = json!({
        "winters": [{"wear_out": [0.5], "hours": 5}], "breaks": {"alpha": 1, "beta": 10}, "service_level": 0.95
    });
    assert!(ask(winters.clone(), spares::calculate).is_ok());
    let mut both = good.clone();
    both["winters"] = winters["winters"].clone();
    for (input, field) in [
        (with(&good, "/wear_out/0", json!(1.5)), "wear_out[0]"),
        (with(&good, "/service_level", json!(1)), "service_level"),
        (with(&good, "/service_level", json!(0)), "service_level"),
        (
            with(&good, "/breaks", json!({"alpha": 1, "beta": 10})),
            "breaks.hours",
        ),
        (with(&good, "/breaks/hours", json!(1e9)), "breaks.hours"),
        (
            with(
                &winters,
                "/breaks",
                json!({"alpha": 1, "beta": 10, "hours": 5}),
            ),
            "breaks.hours",
        ),
        (with(&winters, "/winters", json!([])), "winters"),
        (
            with(&winters, "/winters/0/hours", json!(-1)),
            "winters[0].hours",
        ),
        (json!({"service_level": 0.95}), "wear_out"),
        (both, "winters"),
    ] {
        assert_eq!(ask(input, spares::calculate), Err(field.to_owned()));
    }
}

/// Winters without breaks: what wears out, averaged over them. Two parts of 0.5 in one winter, none in the other:
/// P(demand <= 1) = (0.75 + 1) / 2 = 0.875, P(demand <= 0) = (0.25 + 1) / 2 = 0.625, mean 0.5.
#[test]
fn spares_need_no_breaks_beside_winters() {
    let input = |level: f64| {
        json!({
            "winters": [{"wear_out": [0.5, 0.5], "hours": 40}, {"wear_out": [], "hours": 10}], "service_level": level
        })
    };
    for (level, stock) in [(0.62, 0), (0.63, 1), (0.87, 1), (0.88, 2)] {
        let got = ask(input(level), spares::calculate).unwrap();
        assert_eq!(
            (&got["stock"], &got["mean"]),
            (&json!(stock), &json!(0.5)),
            "{level}"
        );
    }
}

/// A rate known so badly that the tail is all: P(demand > S) is alpha E1(S beta / hours) for tiny alpha; 1e-8 over 1e-6 is
/// E1(x) = 0.01, x = 3.21 (Abramowitz & Stegun, table 5.1: E1(3.2) = 0.0101330): S = 3.21e6. Known worse, it is refused.
#[test]
fn spares_for_a_rate_hardly_known_are_counted_or_refused() {
    let input = |hours: f64| json!({"wear_out": [], "breaks": {"alpha": 1e-6, "beta": 1, "hours": hours}, "service_level": 0.99999999});
    let stock = ask(input(1e6), spares::calculate).unwrap()["stock"]
        .as_f64()
        .unwrap();
    assert!((stock / 3.2105e6 - 1.0).abs() < 0.001, "{stock:e}");
    assert_eq!(
        ask(input(1e12), spares::calculate),
        Err("breaks.hours".to_owned())
    );
}
