//! What a fleet's lives teach about a part of a model; and where they teach too little: then the sheet's figures stand,
//! and it is said why.
//!
//! The scale is always learned: the sheet's prior counts as so many failures beside the fleet's. The shape is the sheet's
//! until [`FAILURES_MIN`] failures reject it by a likelihood-ratio test.

use serde::{Deserialize, Serialize};

use super::fit::{Lives, WeibullFit};
use super::{FoundFailed, History, Life, SHAPES};
use crate::because::{small_chance, two_figures};
use crate::learn::LearnedFrom;
use crate::sheet::{Clock, LifeSpec};
use crate::special::chi_square_upper;

/// Failures, dated or found, that it takes to question the sheet's shape.
pub const FAILURES_MIN: usize = 10;

/// The sheet's shape is rejected where lives would speak so much against a true one with a chance under this.
pub const REJECTED_UNDER: f64 = 0.01;

/// The lives that were learned from.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct LivesSeen {
    /// Lives, ended and running.
    pub histories: u64,
    /// Those of them that ended by a failure.
    pub failures: u64,
    /// Those of the failures that were found at an inspection, and lie somewhere before it.
    pub found_failed: u64,
    /// What all of them lived under observation, in whole units of the clock.
    pub age: u64,
}

impl LivesSeen {
    /// Of these lives.
    pub fn of(histories: &[History], found_failed: &[FoundFailed]) -> Self {
        let dated = histories.iter().map(|life| life.exit - life.entry);
        let found = found_failed.iter().map(|life| life.found - life.entry);
        LivesSeen {
            histories: (histories.len() + found_failed.len()) as u64,
            failures: (histories.iter().filter(|life| life.failed).count() + found_failed.len())
                as u64,
            found_failed: found_failed.len() as u64,
            age: dated.chain(found).sum::<f64>() as u64,
        }
    }
}

/// The sheet's shape against the one that fits best.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct ShapeTest {
    /// The fleet's lives fitted by themselves.
    pub fit: WeibullFit,
    /// Twice the logarithm of how much likelier they are so than with the sheet's shape and its best scale.
    pub ratio: f64,
    /// The chance of so much or more were the sheet's shape true: chi-square of one degree of freedom.
    pub chance: f64,
}

/// What is believed of the life of a part, and what that stands on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct LearnedLife {
    /// What to compute with.
    pub life: Life,
    /// Whose shape it has.
    pub shape_from: LearnedFrom,
    /// Why, in words and numbers.
    pub because: String,
    /// From how much.
    pub seen: LivesSeen,
    /// The test of the sheet's shape; absent where there were too few failures for one, or no fit.
    pub shape_test: Option<ShapeTest>,
}

/// What the lives of a part of one model teach, where the sheet says `sheet`.
pub fn learn(sheet: &LifeSpec, histories: &[History], found_failed: &[FoundFailed]) -> LearnedLife {
    let seen = LivesSeen::of(histories, found_failed);
    let shape = Shape::of(sheet, histories, found_failed, &seen);
    let prior = Life::new(
        shape.value,
        sheet.prior_scale.value,
        sheet.prior_weight.value,
        histories,
    );
    LearnedLife {
        life: prior.found_failed(found_failed),
        shape_from: shape.from,
        because: format!("{}; {}", said(sheet, &seen), shape.because),
        seen,
        shape_test: shape.test,
    }
}

fn said(sheet: &LifeSpec, seen: &LivesSeen) -> String {
    let clock = match sheet.clock {
        Clock::Hours => "running hours",
        Clock::Days => "days",
    };
    let found = match seen.found_failed {
        0 => String::new(),
        found => format!(" ({found} of them found so at an inspection)"),
    };
    match seen.histories {
        0 => "no life on record: the sheet's scale".to_owned(),
        1 => format!(
            "1 life on record, {} {clock} long, {}{found}",
            seen.age,
            if seen.failures == 0 {
                "still sound at its end"
            } else {
                "ended by a failure"
            }
        ),
        lives => format!(
            "{} of {lives} lives on record, {} {clock} in all, ended by a failure{found}",
            seen.failures, seen.age
        ),
    }
}

/// The shape to compute with.
struct Shape {
    value: f64,
    from: LearnedFrom,
    because: String,
    test: Option<ShapeTest>,
}

impl Shape {
    fn of(
        sheet: &LifeSpec,
        histories: &[History],
        found_failed: &[FoundFailed],
        seen: &LivesSeen,
    ) -> Self {
        let value = sheet.shape.value;
        let stands = |why: String, test| Shape {
            value,
            from: LearnedFrom::Sheet,
            because: format!("the sheet's shape, {}, stands: {why}", two_figures(value)),
            test,
        };
        if seen.failures < FAILURES_MIN as u64 {
            return stands(
                format!("it takes {FAILURES_MIN} failures to question it"),
                None,
            );
        }
        let tested = Lives::new(histories, found_failed).and_then(|lives| {
            let fit = lives.fit()?;
            let ratio = 2.0 * (fit.log_likelihood - lives.profile(value).log_likelihood);
            // The last digits may make the best less likely than what is as good as the best.
            let ratio = ratio.max(0.0);
            Ok(ShapeTest {
                fit,
                ratio,
                chance: chi_square_upper(ratio),
            })
        });
        let test = match tested {
            Ok(test) => test,
            Err(unfit) => return stands(unfit.to_string(), None),
        };
        let fitted = test.fit.shape;
        let against = format!(
            "{} fits best, and were the sheet's true, lives would differ from it so much with a chance of {}",
            two_figures(fitted),
            small_chance(test.chance)
        );
        if test.chance >= REJECTED_UNDER {
            let why = format!("{against}, which is not under {REJECTED_UNDER}");
            return stands(why, Some(test));
        }
        if !SHAPES.contains(&fitted) {
            let why = format!(
                "{against}, but {} is no shape that a sheet may have",
                two_figures(fitted)
            );
            return stands(why, Some(test));
        }
        Shape {
            value: fitted,
            from: LearnedFrom::Fleet,
            because: format!(
                "the fleet's shape, {} (standard error {}), in place of the sheet's {}: {against}",
                two_figures(fitted),
                two_figures(test.fit.standard_errors.shape),
                two_figures(value)
            ),
            test: Some(test),
        }
    }
}

#[cfg(test)]
mod tests;
