//! What a fleet's readings say of how its parts wear (section 4 of the computation): the mixed model with an independent
//! random intercept and slope for each part,
//!
//! value = (A + a) - (B + b) hours + e, a ~ N(0, s_A^2), b ~ N(0, s_B^2), e ~ N(0, s^2),
//!
//! by REML or maximum likelihood, profiled over s_A/s and s_B/s (Bates, Maechler, Bolker & Walker 2015, Fitting Linear
//! Mixed-Effects Models Using lme4, Journal of Statistical Software 67(1)). A reading that is the mean of n has s^2/n.
//!
//! A spread may come out as exactly none. What has no fit is refused in words ([`Unfit`]): above all readings that lie on
//! lines to the last digit, under which the likelihood grows without bound as s goes to none.

mod bend;
mod likelihood;
mod search;
mod standard_errors;
mod sums;

use serde::{Deserialize, Serialize};

pub use bend::Bend;
pub use standard_errors::StandardErrors;

use likelihood::Ratios;
use search::search;
use sums::Sums;

/// A reading of a part, or the mean of several made at once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanReading {
    /// Running hours since the part was fitted.
    pub hours: f64,
    /// The value read.
    pub value: f64,
    /// How many readings it is the mean of; 0 counts as 1.
    pub repeats: u32,
}

impl MeanReading {
    fn weight(&self) -> f64 {
        f64::from(self.repeats.max(1))
    }
}

/// What is made as large as can be.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = WearFitMethod))]
#[serde(rename_all = "lowercase")]
pub enum Method {
    /// The restricted likelihood: spreads are not made small by the line having been fitted to them.
    #[default]
    Reml,
    /// The likelihood.
    Ml,
}

/// How the parts of a fleet wear, from their readings.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = WearFitOutput))]
pub struct WearFit {
    /// Mean value as new.
    pub as_new: f64,
    /// Its standard deviation from part to part; 0 where the readings show none beside their own doubt.
    pub as_new_sd: f64,
    /// Mean wear an hour, positive where it goes the way it was said to.
    pub rate: f64,
    /// Its standard deviation from part to part; 0 as above.
    pub rate_sd: f64,
    /// Standard deviation of one reading.
    pub reading_sd: f64,
    /// Logarithm of the largest likelihood, or restricted likelihood, with all constants.
    pub log_likelihood: f64,
    /// How well each is known.
    pub standard_errors: StandardErrors,
    /// Groups that have readings.
    pub groups: usize,
    /// Their readings.
    pub readings: usize,
    /// Whether the parts' paths bend; null where too few readings are left over to tell.
    pub bend: Option<Bend>,
}

/// Why there is no fit, and what to do about it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Unfit {
    /// Not every number is finite, and small enough to be squared.
    #[error("not every reading is a finite number; leave out those that are not")]
    NotFinite,
    /// Under two groups with readings.
    #[error("how parts differ takes at least two of them with readings; give more groups")]
    TooFewGroups,
    /// All hours are one, as near as matters.
    #[error(
        "all readings were made at the same hours, so that they show no wear; give readings at different hours"
    )]
    HoursAlike,
    /// The three spreads cannot be told apart by any number of such readings.
    #[error(
        "the readings cannot tell how parts differ as new, how their rates differ and the doubt of a reading apart; give \
         more groups of at least three readings at different hours"
    )]
    NotToldApart,
    /// The doubt of a reading comes out as none.
    #[error(
        "the readings lie on straight lines exactly, so that the doubt of a reading comes out as none and the likelihood \
         has no bound; give readings as they were made, and of one group at least three"
    )]
    NoScatter,
    /// The search did not settle.
    #[error("the likelihood has no largest value that the search settles on; give more readings")]
    NotSettled,
}

/// Fits the model to groups of readings, in any order; groups without readings say nothing. Values fall with hours, or grow.
///
/// # Errors
/// Why it cannot be fitted.
pub fn fit<G: AsRef<[MeanReading]>>(
    groups: &[G],
    grows: bool,
    method: Method,
) -> Result<WearFit, Unfit> {
    let sign = if grows { -1.0 } else { 1.0 };
    let sums = Sums::new(groups, sign)?;
    if !sums.told_apart() {
        return Err(Unfit::NotToldApart);
    }
    let found = search(&sums, method)?;
    let profile = &found.profile;
    let (hours, value) = (sums.hours_unit, sums.value_unit);
    let sd = profile.variance.sqrt();
    let [as_new_ratio, rate_ratio]: Ratios = found.ratios;
    // Twice the logarithm of the units: of s in each reading that counts, of X'V^-1 X in hours.
    let of_units = match method {
        Method::Reml => profile.counted * (value * value).ln() + (hours * hours).ln(),
        Method::Ml => profile.counted * (value * value).ln(),
    };
    let constants = profile.counted * (1.0 + std::f64::consts::TAU.ln()) - sums.ln_weights;
    let fit = WearFit {
        as_new: sign * (sums.as_new + value * profile.as_new),
        as_new_sd: value * sd * as_new_ratio.sqrt(),
        rate: sums.rate + value * profile.rate / hours,
        rate_sd: value * sd * rate_ratio.sqrt() / hours,
        reading_sd: value * sd,
        log_likelihood: -0.5 * (profile.deviance + of_units + constants),
        standard_errors: StandardErrors::of(&found, hours, value),
        groups: sums.groups.len(),
        readings: sums.readings,
        bend: Bend::of(&sums, &found, sign),
    };
    let figures = [
        fit.as_new,
        fit.as_new_sd,
        fit.rate,
        fit.rate_sd,
        fit.reading_sd,
        fit.log_likelihood,
        fit.standard_errors.as_new,
        fit.standard_errors.rate,
    ];
    if figures.iter().all(|figure| figure.is_finite()) {
        Ok(fit)
    } else {
        Err(Unfit::NotSettled)
    }
}

impl Sums {
    /// Whether the three variances can be told apart at all: what they contribute to the covariance of the residuals is
    /// linearly independent, by the determinant of its Gram matrix tr(P V_j P V_k), scaled to a diagonal of 1.
    fn told_apart(&self) -> bool {
        if self.readings < 5 {
            return false;
        }
        let none = [0.0, 0.0];
        let line = self.profile(Method::Reml, none);
        let traces = self.traces(Method::Reml, none, line.inverse);
        let [aa, ab, bb] = traces.twice;
        let doubt = line.counted;
        if !(aa > 0.0 && bb > 0.0) {
            return false;
        }
        let (a, b) = (
            traces.once[0] / (aa * doubt).sqrt(),
            traces.once[1] / (bb * doubt).sqrt(),
        );
        let c = ab / (aa * bb).sqrt();
        1.0 + 2.0 * a * b * c - a * a - b * b - c * c > 1e-9
    }
}

#[cfg(test)]
mod tests;
