//! What lives say of a Weibull distribution by themselves, without a prior (section 5 of the computation): shape and scale
//! by maximum likelihood, of parts that failed at a known age, that are sound still (right-censored), that came to us used
//! (left-truncated), or that were found failed at an inspection (interval-censored).
//!
//! The scale has a closed form at each shape, or nearly so, and the shape is where the slope of what is left comes to 0;
//! in 1 / shape that is nearly a straight line. What has no largest likelihood is refused in words ([`Unfit`]).

#[cfg(test)]
pub(super) mod draws;
mod likelihood;
mod root;
mod span;

use serde::{Deserialize, Serialize};

use super::{FoundFailed, History};
pub(super) use likelihood::Lives;
use likelihood::Profile;
use root::{Slope, rising_root};

/// Shapes that are looked for. Below, nearly all fails at once or never; above, all to the ten-thousandth of an age.
pub const SHAPE_LEAST: f64 = 1e-2;
/// See [`SHAPE_LEAST`].
pub const SHAPE_MOST: f64 = 1e4;

/// A Weibull distribution fitted to lives.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = LifeFitOutput))]
pub struct WeibullFit {
    /// Its shape.
    pub shape: f64,
    /// Its scale: the age at which 63 % have failed.
    pub scale: f64,
    /// Logarithm of the largest likelihood, with all constants: densities of dated failures, chances of all else, given
    /// that the part was sound at entry.
    pub log_likelihood: f64,
    /// How well both are known.
    pub standard_errors: StandardErrors,
    /// Failures, dated or found.
    pub failures: usize,
    /// Lives, failed or sound.
    pub histories: usize,
}

/// Standard errors from the curvature of the likelihood at its top (the observed information). With few failures they
/// are too small, and a likelihood ratio says more.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = LifeFitStandardErrors))]
pub struct StandardErrors {
    /// Of the shape.
    pub shape: f64,
    /// Of the scale.
    pub scale: f64,
}

/// Why lives have no fit, and what to do about it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Unfit {
    /// Nothing failed.
    #[error(
        "none of them failed, so that nothing says how long they last at most; give lives that ended by a failure"
    )]
    NoFailures,
    /// A part failed at age 0.
    #[error(
        "a part failed at age 0, where a Weibull life cannot end; leave out what was dead on arrival, or give its age"
    )]
    FailedAsNew,
    /// No part was seen sound for any time.
    #[error(
        "no part was seen sound for any time before it failed; give an entry, or a sound age, before its end"
    )]
    NeverSound,
    /// Nothing was sound at an age by which another had failed.
    #[error(
        "no part outlasted one that failed, so that all may fail at one age and the shape grows without end; give parts \
         that failed at different ages, or that were sound at an age over that of a failure"
    )]
    NoneOutlasted,
    /// The shape is over [`SHAPE_MOST`].
    #[error(
        "the parts failed at so nearly one age that the shape is over 10000; give parts that failed at different ages"
    )]
    ShapeGrows,
    /// The shape is under [`SHAPE_LEAST`].
    #[error(
        "failures grow rarer with age than any Weibull distribution has it, with a shape under 0.01; give lives from their \
         beginning, or more of those that failed late"
    )]
    ShapeShrinks,
    /// The scale is beyond any number, or what is known of it is.
    #[error(
        "the scale is beyond any number that can be held, so few failed for such ages; give more lives that failed"
    )]
    NotHeld,
}

/// Fits the distribution to lives in any order.
///
/// # Errors
/// Why it cannot be fitted.
pub fn fit(histories: &[History], found_failed: &[FoundFailed]) -> Result<WeibullFit, Unfit> {
    Lives::new(histories, found_failed)?.fit()
}

/// Step of the scan over shapes, as a factor: a top is wider, since a factor of 1.6 in shape moves every chance.
const SCAN: f64 = 1.6;

impl Lives {
    /// The best fit to them.
    ///
    /// # Errors
    /// Why there is none.
    pub fn fit(&self) -> Result<WeibullFit, Unfit> {
        if self.profile(SHAPE_MOST).slope >= 0.0 {
            return Err(Unfit::ShapeGrows);
        }
        if self.profile(SHAPE_LEAST).slope <= 0.0 {
            return Err(Unfit::ShapeShrinks);
        }
        let tops = if self.has_one_top() {
            vec![self.top(SHAPE_LEAST, SHAPE_MOST, 1.0)]
        } else {
            self.tops()
        };
        let likeliest = tops
            .into_iter()
            .max_by(|a, b| a.1.log_likelihood.total_cmp(&b.1.log_likelihood));
        likeliest.map_or(Err(Unfit::NotHeld), |(shape, profile)| {
            self.described(shape, &profile)
        })
    }

    /// The top between two shapes, the likelihood rising at the first and falling at the second.
    fn top(&self, low: f64, high: f64, start: f64) -> (f64, Profile) {
        // The slope is nearly a straight line in 1 / shape, and rises in it.
        let by_inverse = |inverse: f64| {
            let profile = self.profile(1.0 / inverse);
            let [shape, across, rate] = profile.curvature;
            Slope {
                value: profile.slope,
                slope: -(shape - across * across / rate) / (inverse * inverse),
            }
        };
        let shape = 1.0 / rising_root(1.0 / high, 1.0 / low, 1.0 / start, by_inverse);
        (shape, self.profile(shape))
    }

    /// Every top that a scan over all shapes finds.
    fn tops(&self) -> Vec<(f64, Profile)> {
        let mut tops = Vec::new();
        let (mut low, mut rises) = (SHAPE_LEAST, true);
        while low < SHAPE_MOST {
            let high = (low * SCAN).min(SHAPE_MOST);
            let rises_there = high < SHAPE_MOST && self.profile(high).slope > 0.0;
            if rises && !rises_there {
                tops.push(self.top(low, high, (low * high).sqrt()));
            }
            (low, rises) = (high, rises_there);
        }
        tops
    }

    fn described(&self, shape: f64, profile: &Profile) -> Result<WeibullFit, Unfit> {
        let ln_over_unit = -profile.ln_rate / shape;
        let scale = self.unit * ln_over_unit.exp();
        // The inverse of the information on the shape and ln L; ln scale = -ln L / shape.
        let [shapes, across, rates] = profile.curvature;
        let determinant = shapes * rates - across * across;
        let [var_shape, covariance, var_rate] =
            [-rates, across, -shapes].map(|entry| entry / determinant);
        let [by_shape, by_rate] = [-ln_over_unit / shape, -1.0 / shape];
        let var_ln_scale = by_shape * by_shape * var_shape
            + 2.0 * by_shape * by_rate * covariance
            + by_rate * by_rate * var_rate;
        let fit = WeibullFit {
            shape,
            scale,
            log_likelihood: profile.log_likelihood,
            standard_errors: StandardErrors {
                shape: var_shape.sqrt(),
                scale: scale * var_ln_scale.sqrt(),
            },
            failures: self.failures() as usize,
            histories: self.histories,
        };
        let figures = [
            fit.scale,
            fit.log_likelihood,
            fit.standard_errors.shape,
            fit.standard_errors.scale,
        ];
        if scale > 0.0 && figures.iter().all(|figure| figure.is_finite()) {
            Ok(fit)
        } else {
            Err(Unfit::NotHeld)
        }
    }
}

#[cfg(test)]
mod tests;
