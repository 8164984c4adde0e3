//! Noise at an operator's ear over a day: 29 CFR 1910.95.

use serde::{Deserialize, Serialize};

use super::Exposure;
use crate::because::number;
use crate::sheet::Figure;

/// Quieter sound does not count (29 CFR 1910.95(d)(2)(i), Table G-16a).
const COUNTS_FROM_DB_A: f64 = 80.0;
/// Over this, Table G-16 permits no time at all.
const PERMITTED_MAX_DB_A: f64 = 115.0;
/// Dose from which hearing is to be conserved, per cent: the action level.
pub const ACTION_PERCENT: f64 = 50.0;
/// Dose that is permitted, per cent.
pub const LIMIT_PERCENT: f64 = 100.0;

/// Reference duration T of a sound level, h: 8 / 2^((L - 90) / 5), the footnote to Table G-16a.
pub fn reference_hours(level_db_a: f64) -> f64 {
    8.0 / ((level_db_a - 90.0) / 5.0).exp2()
}

/// Dose of a day's exposures, hours at a level each, per cent: 100 times the sum of C / T (appendix A).
pub fn dose_percent(exposures: &[(f64, f64)]) -> f64 {
    let counted = exposures
        .iter()
        .filter(|(_, level)| *level >= COUNTS_FROM_DB_A);
    let shares = counted.map(|(hours, level)| hours / reference_hours(*level));
    100.0 * shares.sum::<f64>()
}

/// The level that gives a dose in eight hours, dBA: 16.61 log10(D / 100) + 90 (appendix A); none of no dose.
pub fn twa_db_a(dose_percent: f64) -> Option<f64> {
    (dose_percent > 0.0).then(|| 16.61 * (dose_percent / 100.0).log10() + 90.0)
}

/// What one operator hears in a day behind one kind of machine.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = NoiseOfADay))]
pub struct Noise {
    /// Sound level at the ear, dBA.
    pub level_db_a: f64,
    /// Where that comes from.
    pub source: String,
    /// Dose, per cent, to a tenth.
    pub dose_percent: f64,
    /// The level that gives the same dose in eight hours, dBA, to a tenth; null without a dose.
    pub twa_db_a: Option<f64>,
    /// Hours to a dose of 50 %, the action level, rounded down to a tenth; null where a day has fewer.
    pub action_level_after_h: Option<f64>,
    /// Hours to a dose of 100 %, the same; 0 over 115 dBA, where no time is permitted.
    pub limit_after_h: Option<f64>,
    /// How it stands to these.
    pub exposure: Exposure,
    /// Said for people.
    pub text: String,
}

impl Noise {
    /// So many hours of a day at the level that a sheet names.
    pub fn of(level: &Figure, hours: f64) -> Self {
        let level_db_a = level.value;
        let dose = dose_percent(&[(hours, level_db_a)]);
        let barred = level_db_a > PERMITTED_MAX_DB_A && hours > 0.0;
        let exposure = if barred {
            Exposure::OverTheLimit
        } else {
            Exposure::of(dose, ACTION_PERCENT, LIMIT_PERCENT)
        };
        let after = |percent: f64| {
            let counts = level_db_a >= COUNTS_FROM_DB_A;
            let hours = reference_hours(level_db_a) * percent / 100.0;
            super::within_a_day(hours).filter(|_| counts)
        };
        let action_level_after_h = after(ACTION_PERCENT);
        let limit_after_h = if level_db_a > PERMITTED_MAX_DB_A {
            Some(0.0)
        } else {
            after(LIMIT_PERCENT)
        };
        let mut text = format!(
            "{} dBA at the ear for {} h: a noise dose of {} %, {}.",
            number(level_db_a, 1),
            number(hours, 1),
            number(dose, 1),
            match exposure {
                Exposure::Under => "under the action level of 50 %",
                Exposure::FromTheActionValue => "at or over the action level of 50 %",
                Exposure::OverTheLimit if barred => "and over 115 dBA no time is permitted",
                Exposure::OverTheLimit => "over the permitted 100 %",
            }
        );
        if let Some(hours) = action_level_after_h {
            text.push_str(&format!(
                " One person reaches the action level after {} h",
                number(hours, 1)
            ));
            if let Some(hours) = limit_after_h.filter(|hours| *hours > 0.0) {
                text.push_str(&format!(", 100 % after {} h", number(hours, 1)));
            }
            text.push('.');
        }
        Noise {
            level_db_a,
            source: level.source.clone(),
            dose_percent: super::rounded(dose, 10.0),
            twa_db_a: twa_db_a(dose).map(|level| super::rounded(level, 10.0)),
            action_level_after_h,
            limit_after_h,
            exposure,
            text,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(level_db_a: f64, hours: f64) -> Noise {
        let level = Figure {
            value: level_db_a,
            source: "the maker's declaration".to_owned(),
        };
        Noise::of(&level, hours)
    }

    #[test]
    fn a_day_is_held_against_the_action_level_and_what_is_permitted() {
        let stands = |level, hours| at(level, hours).exposure;
        assert_eq!(stands(85.0, 7.9), Exposure::Under);
        assert_eq!(stands(85.0, 8.0), Exposure::FromTheActionValue);
        assert_eq!(stands(90.0, 8.0), Exposure::FromTheActionValue);
        assert_eq!(stands(90.0, 8.1), Exposure::OverTheLimit);
        assert_eq!(stands(79.9, 24.0), Exposure::Under);
        assert_eq!(stands(116.0, 0.01), Exposure::OverTheLimit);
        assert_eq!(stands(116.0, 0.0), Exposure::Under);
    }

    #[test]
    fn hours_are_rounded_to_the_safe_side() {
        let loud = at(91.0, 7.5);
        // T = 8 / 2^0.2 = 6.964 h: 7.5 / 6.964 is 107.7 %.
        assert_eq!(
            (loud.action_level_after_h, loud.limit_after_h),
            (Some(3.4), Some(6.9))
        );
        assert_eq!((loud.dose_percent, loud.twa_db_a), (107.7, Some(90.5)));
        assert_eq!(
            loud.text,
            "91 dBA at the ear for 7.5 h: a noise dose of 107.7 %, over the permitted 100 %. One person reaches the action \
             level after 3.4 h, 100 % after 6.9 h."
        );
        // 16 h to the action level and 32 h, more than a day, to the limit.
        let quiet = at(80.0, 2.0);
        assert_eq!(
            (quiet.action_level_after_h, quiet.limit_after_h),
            (Some(16.0), None)
        );
        let silent = at(60.0, 12.0);
        assert_eq!(
            (
                silent.dose_percent,
                silent.twa_db_a,
                silent.action_level_after_h
            ),
            (0.0, None, None)
        );
        assert_eq!(at(120.0, 1.0).limit_after_h, Some(0.0));
    }
}
