//! The calculations and special functions against scipy and numpy.

use rimeyard_rules::calculations::{
    breaks, depot, life, life_fit, needed_rate, plan, renew, running_hours, season, spares,
    start_fit, starts, wear, wear_fit, wear_season,
};
use rimeyard_rules::life::{FoundFailed, Life};
use rimeyard_rules::special;
use serde::{Serialize, de::DeserializeOwned};
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::LazyLock;

pub(super) static EXPECTED: LazyLock<Value> = LazyLock::new(|| {
    serde_json::from_str(include_str!("expected.json")).expect("expected.json is JSON")
});

/// The answer to `input`, from JSON to JSON.
fn answer<I: DeserializeOwned, O: Serialize>(
    input: &Value,
    calculate: impl Fn(&I) -> Result<O, rimeyard_rules::Invalid>,
) -> Value {
    let input: I = serde_json::from_value(input.clone()).unwrap_or_else(|e| panic!("{input}: {e}"));
    let output = calculate(&input).unwrap_or_else(|e| panic!("{e}"));
    serde_json::to_value(output).expect("an output is JSON")
}

pub(super) fn answer_of(name: &str, input: &Value) -> Value {
    match name {
        "breaks" => answer(input, breaks::calculate),
        "depot" => answer(input, depot::calculate),
        "life" => answer(input, life::calculate),
        "life-fit" => answer(input, life_fit::calculate),
        "needed-rate" => answer(input, needed_rate::calculate),
        "plan" => answer(input, plan::calculate),
        "renew" => answer(input, renew::calculate),
        "running-hours" => answer(input, running_hours::calculate),
        "season" => answer(input, season::calculate),
        "spares" => answer(input, spares::calculate),
        "start-fit" => answer(input, start_fit::calculate),
        "starts" => answer(input, starts::calculate),
        "wear" => answer(input, wear::calculate),
        "wear-fit" => answer(input, wear_fit::calculate),
        "wear-season" => answer(input, wear_season::calculate),
        _ => panic!("no calculation {name}"),
    }
}

/// How far `got` is from `expected`: the largest difference of two numbers, relative where they are over 1e-3 in size.
/// Anything else must be equal.
pub(super) fn distance(expected: &Value, got: &Value) -> f64 {
    match (expected, got) {
        (Value::Number(expected), Value::Number(got)) => {
            let (expected, got) = (expected.as_f64().unwrap(), got.as_f64().unwrap());
            (got - expected).abs() / expected.abs().max(1e-3)
        }
        (Value::Array(expected), Value::Array(got)) if expected.len() == got.len() => expected
            .iter()
            .zip(got)
            .map(|(expected, got)| distance(expected, got))
            .fold(0.0, f64::max),
        (Value::Object(expected), Value::Object(got)) => expected
            .iter()
            .map(|(key, value)| distance(value, got.get(key).unwrap_or(&Value::Null)))
            .fold(0.0, f64::max),
        _ if expected == got => 0.0,
        _ => f64::INFINITY,
    }
}

/// The promise is 1e-6, and 1e-4 where a quadrature is used; what is held is far closer, so that a slip shows.
#[test]
fn calculations_answer_as_scipy_and_numpy_do() {
    let mut worst: BTreeMap<&str, (f64, usize)> = BTreeMap::new();
    for case in EXPECTED["calculations"].as_array().unwrap() {
        let name = case["name"].as_str().unwrap();
        let got = answer_of(name, &case["input"]);
        let distance = distance(&case["output"], &got);
        let held = match name {
            "wear-season" | "start-fit" => 1e-6,
            // What milp takes for whole is whole to 1e-6 of a job.
            "plan" => 1e-6,
            _ => 1e-9,
        };
        assert!(
            distance <= held,
            "{name} of {}\nshould be {}\nand is   {got}: {distance:e}",
            case["input"],
            case["output"]
        );
        let entry = worst.entry(name).or_default();
        *entry = (entry.0.max(distance), entry.1 + 1);
    }
    assert_eq!(worst.len(), 15, "{worst:?}");
    assert!(
        worst.values().all(|(_, cases)| *cases >= 12),
        "too few cases: {worst:?}"
    );
    println!("worst differences and cases: {worst:?}");
}

fn rows(name: &str) -> Vec<Vec<f64>> {
    serde_json::from_value(EXPECTED["special"][name].clone()).expect("rows of numbers")
}

fn hold(name: &str, relative: f64, function: impl Fn(&[f64]) -> f64) {
    let rows = rows(name);
    assert!(rows.len() >= 9);
    for row in rows {
        let (expected, given) = row.split_last().unwrap();
        let got = function(given);
        assert!(
            (got - expected).abs() <= relative * expected.abs(),
            "{name}({given:?}) should be {expected:e} and is {got:e}"
        );
    }
}

#[test]
fn special_functions_keep_ten_digits_over_all_shapes_and_tails() {
    hold("beta_inc", 1e-10, |v| special::beta_inc(v[0], v[1], v[2]));
    hold("beta_quantile", 1e-10, |v| {
        special::beta_quantile(v[0], v[1], v[2])
    });
    hold("gamma_quantile", 1e-10, |v| {
        special::gamma_quantile(v[0], v[1], v[2])
    });
    hold("normal_cdf", 1e-10, |v| special::normal_cdf(v[0]));
    hold("normal_quantile", 1e-10, |v| special::normal_quantile(v[0]));
    hold("student_cdf", 1e-10, |v| special::student_cdf(v[0], v[1]));
    hold("ln_gamma", 1e-12, |v| special::ln_gamma(v[0]));
}

#[test]
fn parts_found_failed_teach_what_quadrature_says() {
    let cases = EXPECTED["found_failed"].as_array().unwrap();
    assert!(cases.len() >= 10);
    for case in cases {
        let (prior, found): ([f64; 3], Vec<[f64; 3]>) = (
            serde_json::from_value(Value::from(case[0].as_array().unwrap()[..3].to_vec())).unwrap(),
            serde_json::from_value(case[0][3].clone()).unwrap(),
        );
        let expected: [f64; 2] = serde_json::from_value(case[1].clone()).unwrap();
        let found: Vec<FoundFailed> = found
            .iter()
            .map(|[entry, sound, found]| FoundFailed {
                entry: *entry,
                sound: *sound,
                found: *found,
            })
            .collect();
        let life = Life::new(prior[0], prior[1], prior[2], &[]).found_failed(&found);
        assert!((life.alpha / expected[0] - 1.0).abs() < 1e-7, "{case}");
        assert!((life.beta / expected[1] - 1.0).abs() < 1e-7, "{case}");
    }
}
