//! How fast a fleet's wear is learned: REML of 200 parts with 8 readings each. The aim: under 20 ms on one core.
//!
//! `cargo bench -p rimeyard-tests --bench wear_fit`. With RIMEYARD_PYTHON, a Python that has statsmodels
//! (tests/reference/requirements.txt), wear_fit.py beside this file fits the same readings, and the ratio is printed.

use std::hint::black_box;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

use criterion::{Criterion, criterion_group, criterion_main};
use rimeyard_rules::calculations::wear::Reading;
use rimeyard_rules::calculations::wear_fit::{Group, Input, calculate};
use rimeyard_rules::special::normal_quantile;
use rimeyard_rules::wear::fit::Method;
use serde_json::Value;

const PARTS: usize = 200;
const READINGS: usize = 8;

/// Evenly spread over 0 to 1, in an order that is not seen: multiples of an irrational number.
fn spread(number: usize, of: f64) -> f64 {
    ((number + 1) as f64 * of.sqrt()).fract()
}

/// Parts that wear from 6 by 0.04 an hour or so, each read at hours of its own up to 80.
fn fleet() -> Input {
    let part = |part: usize| {
        let as_new = 6.0 + 0.3 * normal_quantile(spread(part, 2.0));
        let rate = 0.04 + 0.01 * normal_quantile(spread(part, 3.0));
        let reading = |place: usize| {
            let number = part * READINGS + place;
            let hours = 80.0 * spread(number, 7.0);
            Reading {
                hours,
                value: as_new - rate * hours + 0.2 * normal_quantile(spread(number, 5.0)),
            }
        };
        Group {
            readings: (0..READINGS).map(reading).collect(),
        }
    };
    Input {
        groups: (0..PARTS).map(part).collect(),
        method: Method::Reml,
        grows: false,
    }
}

fn reml(criterion: &mut Criterion) {
    let fleet = fleet();
    criterion.bench_function("REML of 200 parts with 8 readings each", |bencher| {
        bencher.iter(|| calculate(black_box(&fleet)));
    });
    if let Some(python) = std::env::var_os("RIMEYARD_PYTHON") {
        beside_statsmodels(Path::new(&python), &fleet);
    }
}

fn beside_statsmodels(python: &Path, fleet: &Input) {
    let mut times: Vec<f64> = (0..101)
        .map(|_| {
            let began = Instant::now();
            black_box(calculate(black_box(fleet))).expect("a fit");
            began.elapsed().as_secs_f64()
        })
        .collect();
    times.sort_by(f64::total_cmp);
    let ours = times[times.len() / 2];
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/wear_fit.py");
    let mut child = Command::new(python)
        .arg(script)
        // One core, as ours.
        .envs([("OMP_NUM_THREADS", "1"), ("OPENBLAS_NUM_THREADS", "1")])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("RIMEYARD_PYTHON runs");
    let mut input = child.stdin.take().expect("a pipe");
    serde_json::to_writer(&mut input, fleet).expect("written");
    input.flush().expect("written");
    drop(input);
    let output = child.wait_with_output().expect("it ends");
    assert!(output.status.success(), "wear_fit.py fails");
    let theirs: Value = serde_json::from_slice(&output.stdout).expect("wear_fit.py writes JSON");
    // Faster at something else would be no comparison.
    let fit = serde_json::to_value(calculate(fleet).expect("a fit")).expect("JSON");
    for name in ["as_new", "as_new_sd", "rate", "rate_sd", "reading_sd"] {
        let (ours, theirs) = (fit[name].as_f64().unwrap(), theirs[name].as_f64().unwrap());
        assert!(
            (ours / theirs - 1.0).abs() < 1e-3,
            "{name}: {ours} and {theirs}"
        );
    }
    let seconds = theirs["seconds"].as_f64().expect("a time");
    println!(
        "ours {:.3} ms, {} {:.1} ms: {:.0} times",
        1e3 * ours,
        theirs["made_by"].as_str().unwrap_or("?"),
        1e3 * seconds,
        seconds / ours
    );
}

criterion_group!(benches, reml);
criterion_main!(benches);
