//! `start-fit`: what tests of machines that stood teach about the rate of going dead.

use serde::{Deserialize, Serialize};

use super::starts::rate;
use super::{list, not_negative, one};
use crate::Invalid;
use crate::start::StartTest;

/// What is asked. Every test counts; tests within 2 days of a run tell of starting at once and are better left out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = StartFitInput))]
pub struct Input {
    /// Shape of the Gamma distribution of the rate before the tests.
    pub alpha: f64,
    /// Its rate parameter.
    pub beta: f64,
    /// Power of the days; 1 if absent.
    #[serde(default = "one")]
    pub shape: f64,
    /// Chance of starting at once; 1 if absent.
    #[serde(default = "one")]
    pub at_once: f64,
    /// Factor on days^shape of every test; 1 if absent.
    #[serde(default = "one")]
    pub factor: f64,
    /// The tests, possibly none.
    pub tests: Vec<Test>,
}

/// One test.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = StartFitTest))]
pub struct Test {
    /// Days since the last proven run.
    pub days: f64,
    /// Whether it started.
    pub started: bool,
}

/// What is answered: the Gamma distribution of the posterior's mean and variance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = StartFitOutput))]
pub struct Output {
    /// Its shape.
    pub alpha: f64,
    /// Its rate parameter.
    pub beta: f64,
}

/// Answers it.
///
/// # Errors
/// The first field that cannot be.
pub fn calculate(input: &Input) -> Result<Output, Invalid> {
    let rate = rate(input.alpha, input.beta, input.shape, input.at_once)?;
    not_negative("factor", input.factor)?;
    list("tests", &input.tests)?;
    for (index, test) in input.tests.iter().enumerate() {
        not_negative(format_args!("tests[{index}].days"), test.days)?;
        let stood = input.factor * test.days.powf(input.shape);
        if !test.started && input.at_once >= 1.0 && stood <= 0.0 {
            return Err(Invalid::new(
                format!("tests[{index}].days"),
                "a failed start without having stood cannot be where at_once is 1; give the days it stood, or at_once under 1",
            ));
        }
    }
    let tests: Vec<StartTest> = input
        .tests
        .iter()
        .map(|test| StartTest {
            days: test.days,
            started: test.started,
            factor: input.factor,
        })
        .collect();
    let learned = rate.learn(&tests);
    Ok(Output {
        alpha: learned.alpha,
        beta: learned.beta,
    })
}
