mod bend;
mod closed_forms;
mod dense;
mod refusals;
mod truth;

use super::*;

fn reading(hours: f64, value: f64) -> MeanReading {
    MeanReading {
        hours,
        value,
        repeats: 1,
    }
}

#[track_caller]
fn close(got: f64, expected: f64) {
    let off = (got - expected).abs() / expected.abs().max(1e-3);
    assert!(off < 1e-9, "{got} is not {expected}: {off:e}");
}
