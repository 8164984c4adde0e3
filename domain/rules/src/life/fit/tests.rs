//! The fit against plain formulas, its limits, and a known truth. Values of libraries and of the literature are in
//! `tests/reference`.

use super::*;
use proptest::prelude::*;

mod plain;
mod refusals;
mod truth;

fn sound(entry: f64, exit: f64) -> History {
    History {
        entry,
        exit,
        failed: false,
    }
}

fn failed(entry: f64, exit: f64) -> History {
    History {
        entry,
        exit,
        failed: true,
    }
}

fn found(entry: f64, sound: f64, found: f64) -> FoundFailed {
    FoundFailed {
        entry,
        sound,
        found,
    }
}
