//! What a fleet's readings teach about the parts of a model, for one check; and when they teach too little: then the
//! sheet's figures stand, and it is said why.
//!
//! Every part of known fitting date that was read at all is in the likelihood, once [`PARTS_MIN`] of them were read
//! [`READINGS_MIN`] times. Taking only these would pick the slow wearers, since fast ones are gone before a third reading;
//! parts of unknown date would bring a false start.

use serde::{Deserialize, Serialize};

use super::WearPrior;
use super::fit::{MeanReading, Method, WearFit, fit};
use crate::because::{quantity, small_chance, so_many, two_figures};
use crate::learn::LearnedFrom;
use crate::measure::Unit;

/// Parts of known fitting date that must have [`READINGS_MIN`] readings.
pub const PARTS_MIN: usize = 8;

/// Readings that so many parts must have.
pub const READINGS_MIN: usize = 3;

/// A mean rate is at least so many of its standard deviations from part to part, as on a sheet: six parts in a thousand
/// would heal by the normal distribution that the computation gives them, and no more may.
pub const RATE_SDS_MIN: f64 = 2.5;

/// A mean rate is at least so many of its standard errors, or the fleet does not show that its parts wear.
const RATE_ERRORS_MIN: f64 = 2.5;

/// One part of the fleet, from its fitting on.
#[derive(Debug, Clone, PartialEq)]
pub struct PartPath {
    /// Whether it is known when it was fitted, so that hours count from there.
    pub fitting_known: bool,
    /// Its readings of the check, in any order.
    pub readings: Vec<MeanReading>,
}

/// What is believed of a part's wear before it is read, and what that stands on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct LearnedWear {
    /// The unit of the figures of `prior` and `fit`; those of rates are in so many an hour. Null in what was learned before
    /// units were kept.
    #[serde(default)]
    pub unit: Option<Unit>,
    /// What to compute with.
    pub prior: WearPrior,
    /// Whose figures those are.
    pub from: LearnedFrom,
    /// Why, in words and numbers.
    pub because: String,
    /// That the parts do not wear along straight lines, in words; absent while nothing shows it.
    pub bends: Option<String>,
    /// The fit with its standard errors, as it came out; absent where there is none. It may have been set aside.
    pub fit: Option<WearFit>,
    /// Parts of known fitting date that were read.
    pub parts: usize,
    /// Those of them that were read at least three times.
    pub parts_read_thrice: usize,
    /// Readings of the parts of known fitting date.
    pub readings: usize,
    /// Parts left out because nobody knows when they were fitted.
    pub parts_of_unknown_date: usize,
}

/// What the parts of a model teach, where the sheet says `sheet`; values are in `unit`.
pub fn learn(parts: &[PartPath], sheet: &WearPrior, unit: Unit) -> LearnedWear {
    let known: Vec<&[MeanReading]> = parts
        .iter()
        .filter(|part| part.fitting_known && !part.readings.is_empty())
        .map(|part| part.readings.as_slice())
        .collect();
    let thrice = known
        .iter()
        .filter(|readings| readings.len() >= READINGS_MIN)
        .count();
    let mut learned = LearnedWear {
        unit: Some(unit),
        prior: *sheet,
        from: LearnedFrom::Sheet,
        because: String::new(),
        bends: None,
        fit: None,
        parts: known.len(),
        parts_read_thrice: thrice,
        readings: known.iter().map(|readings| readings.len()).sum(),
        parts_of_unknown_date: parts.iter().filter(|part| !part.fitting_known).count(),
    };
    if thrice < PARTS_MIN {
        learned.because = format!(
            "the sheet's figures: {} of known fitting date {} read {READINGS_MIN} times or more, and it takes {PARTS_MIN}",
            so_many(thrice, "part"),
            if thrice == 1 { "was" } else { "were" }
        );
        return learned;
    }
    let fitted = match fit(&known, sheet.grows, Method::Reml) {
        Ok(fitted) => fitted,
        Err(unfit) => {
            learned.because = format!("the sheet's figures: {unfit}");
            return learned;
        }
    };
    learned.fit = Some(fitted);
    learned.bends = bends(&fitted, sheet.grows);
    let prior = prior_of(&fitted, sheet);
    if let Some(fault) = fault(&fitted, &prior, unit) {
        learned.because = format!("the sheet's figures: {fault}");
        return learned;
    }
    learned.prior = prior;
    learned.from = LearnedFrom::Fleet;
    learned.because = words(&fitted, sheet.grows, unit);
    learned
}

/// The fit as a prior. Where a spread comes out as none the readings only say that it is small beside their doubt, not
/// that all parts are alike to the last digit: the sheet's stays.
fn prior_of(fitted: &WearFit, sheet: &WearPrior) -> WearPrior {
    let or = |fitted: f64, sheet: f64| if fitted > 0.0 { fitted } else { sheet };
    WearPrior {
        as_new: fitted.as_new,
        as_new_sd: or(fitted.as_new_sd, sheet.as_new_sd),
        rate: fitted.rate,
        rate_sd: or(fitted.rate_sd, sheet.rate_sd),
        reading_sd: fitted.reading_sd,
        grows: sheet.grows,
    }
}

/// Why a fit is no prior that a sheet could have.
fn fault(fitted: &WearFit, prior: &WearPrior, unit: Unit) -> Option<String> {
    let said = |value: String| quantity(value, unit.symbol_of_a_difference());
    let error = fitted.standard_errors.rate;
    if fitted.rate <= 0.0 {
        return Some(format!(
            "its parts come out as not wearing at all (rate {} an hour, standard error {})",
            said(signed(fitted.rate)),
            said(two_figures(error))
        ));
    }
    if fitted.rate < RATE_ERRORS_MIN * error {
        return Some(format!(
            "a wear of {} an hour with a standard error of {} is not told from none",
            said(two_figures(fitted.rate)),
            said(two_figures(error))
        ));
    }
    (prior.rate < RATE_SDS_MIN * prior.rate_sd).then(|| {
        format!(
            "rates of {} an hour that differ by {} from part to part would have parts heal; a mean rate is at least \
             {RATE_SDS_MIN} times its spread",
            said(two_figures(prior.rate)),
            said(two_figures(prior.rate_sd))
        )
    })
}

fn words(fitted: &WearFit, grows: bool, unit: Unit) -> String {
    let said = |value| quantity(two_figures(value), unit.symbol_of_a_difference());
    let moving = if grows { "gaining" } else { "losing" };
    let mut words = format!(
        "learned from {} parts with {} readings: {moving} {} an hour (standard error {})",
        fitted.groups,
        fitted.readings,
        said(fitted.rate),
        said(fitted.standard_errors.rate)
    );
    for (spread, of) in [
        (fitted.as_new_sd, "as new"),
        (fitted.rate_sd, "in their rate"),
    ] {
        if spread <= 0.0 {
            words.push_str(&format!(
                "; how parts differ {of} is too little to tell beside the doubt of a reading, so the sheet's figure stays"
            ));
        }
    }
    words
}

fn bends(fitted: &WearFit, grows: bool) -> Option<String> {
    let bend = fitted.bend.filter(|bend| bend.bends)?;
    let how = if (bend.curvature > 0.0) == grows {
        "quickens"
    } else {
        "slackens"
    };
    Some(format!(
        "wear {how} with hours, and the computation takes it for even: straight paths would look so bent with a chance \
         of {}",
        small_chance(bend.chance)
    ))
}

fn signed(value: f64) -> String {
    let minus = if value < 0.0 { "-" } else { "" };
    format!("{minus}{}", two_figures(value.abs()))
}

#[cfg(test)]
mod tests;
