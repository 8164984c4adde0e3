//! Starts of a kind of machine, as evidence of how it goes dead (section 6).

use crate::start::StartTest;
use crate::unit::clock::UnitClock;

/// A machine's starts, each after the days since the good one before. Of attempts one after the other that fail only the
/// first is a test: the machine was dead then already.
pub(crate) fn start_tests(clock: &UnitClock<'_>) -> impl Iterator<Item = StartTest> {
    let mut last_good: Option<i32> = None;
    clock.starts.iter().filter_map(move |attempt| {
        let test = last_good.map(|run| StartTest {
            days: f64::from((attempt.day - run).max(0)),
            started: attempt.started,
            factor: attempt.factor,
        });
        last_good = attempt.started.then_some(attempt.day);
        test
    })
}
