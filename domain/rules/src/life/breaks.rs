//! How often shear fasteners break (section 5): a Poisson number in the hours run, at a rate that is Gamma(alpha, beta).

use serde::{Deserialize, Serialize};

use crate::because::{number, so_many};
use crate::learn::LearnedFrom;
use crate::rate::RateBelief;
use crate::sheet::ShearFasteners;
use crate::special::beta_tails;

/// P(at most `spares` breaks in `hours`) where the rate of breaks an hour is Gamma(`alpha`, `beta`): the negative
/// binomial distribution function, I_p(alpha, spares + 1) with p = beta / (beta + hours).
pub fn breaks_enough(alpha: f64, beta: f64, hours: f64, spares: u32) -> f64 {
    let total = beta + hours;
    beta_tails(alpha, f64::from(spares) + 1.0, beta / total, hours / total).0
}

/// What is believed of how often a model's shear fasteners break, and what that stands on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct LearnedBreaks {
    /// Shape of the Gamma of breaks an hour: breaks it is worth.
    pub alpha: f64,
    /// Its rate parameter: running hours it is worth.
    pub beta_hours: f64,
    /// Whose figures these are.
    pub from: LearnedFrom,
    /// Why, in words and numbers.
    pub because: String,
    /// Breaks that were seen.
    pub breaks: u64,
    /// Running hours in which they were seen.
    pub hours: f64,
}

/// What `breaks` in `hours` of all the fleet teach, where the sheet says `sheet`.
pub fn learn(sheet: &ShearFasteners, breaks: u64, hours: f64) -> LearnedBreaks {
    let prior = RateBelief {
        alpha: sheet.alpha.value,
        beta: sheet.beta_hours.value,
    };
    let said = |belief: RateBelief, from, because| LearnedBreaks {
        alpha: belief.alpha,
        beta_hours: belief.beta,
        from,
        because,
        breaks,
        hours,
    };
    // Breaks without hours would say that they break without end.
    if !(hours > 0.0 && hours.is_finite()) {
        let because = match breaks {
            0 => "the sheet's figures: no running hours since their use is booked".to_owned(),
            _ => format!(
                "the sheet's figures: {} on record, and no running hours beside that",
                so_many(breaks, "break")
            ),
        };
        return said(prior, LearnedFrom::Sheet, because);
    }
    let belief = prior.counted(breaks as f64, hours);
    let because = format!(
        "{} in {}, beside the {} in {} that the sheet is worth",
        so_many(breaks, "break"),
        so_many(number(hours, 0), "running hour"),
        number(prior.alpha, 1),
        number(prior.beta, 0)
    );
    said(belief, LearnedFrom::Fleet, because)
}

#[cfg(test)]
mod tests;
