//! Vibration of an operator's hands and arms over a day: Directive 2002/44/EC, measured as ISO 5349-1 has it.

use serde::{Deserialize, Serialize};

use super::Exposure;
use crate::because::number;
use crate::sheet::Figure;

/// Daily exposure from which it is to be lowered, m/s2 (article 3).
pub const ACTION_M_PER_S2: f64 = 2.5;
/// Daily exposure that must not be exceeded, m/s2.
pub const LIMIT_M_PER_S2: f64 = 5.0;
/// Hours of the day that exposures are put on.
const DAY_H: f64 = 8.0;

/// Daily exposure A(8) of several vibrations, m/s2 for hours each: the root of the sum of a^2 T / 8 h (annex A).
pub fn a8(exposures: &[(f64, f64)]) -> f64 {
    let squares = exposures.iter().map(|(a, hours)| a * a * hours / DAY_H);
    squares.sum::<f64>().sqrt()
}

/// Hours of a vibration `a`, over 0, until the daily exposure is `value`.
pub fn hours_until(a: f64, value: f64) -> f64 {
    DAY_H * (value / a) * (value / a)
}

/// What one operator's hands take in a day behind one kind of machine.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct HandArm {
    /// Vibration total value at the handles, m/s2.
    pub vibration_m_per_s2: f64,
    /// Where that comes from.
    pub source: String,
    /// Daily exposure A(8), m/s2, to a hundredth.
    pub a8_m_per_s2: f64,
    /// Hours to the exposure action value of 2.5 m/s2, rounded down to a tenth; null where a day has fewer.
    pub action_value_after_h: Option<f64>,
    /// Hours to the exposure limit value of 5 m/s2, the same.
    pub limit_value_after_h: Option<f64>,
    /// How it stands to these.
    pub exposure: Exposure,
    /// Said for people.
    pub text: String,
}

impl HandArm {
    /// So many hours of a day at the vibration that a sheet names.
    pub fn of(vibration: &Figure, hours: f64) -> Self {
        let a = vibration.value;
        let daily = a8(&[(a, hours)]);
        let exposure = Exposure::of(daily, ACTION_M_PER_S2, LIMIT_M_PER_S2);
        let after = |value: f64| super::within_a_day(hours_until(a, value));
        let (action_value_after_h, limit_value_after_h) =
            (after(ACTION_M_PER_S2), after(LIMIT_M_PER_S2));
        let mut text = format!(
            "{} m/s2 at the handles for {} h: a daily exposure of {} m/s2, {}.",
            number(a, 2),
            number(hours, 1),
            number(daily, 2),
            match exposure {
                Exposure::Under => "under the action value of 2.5 m/s2",
                Exposure::FromTheActionValue => "at or over the action value of 2.5 m/s2",
                Exposure::OverTheLimit => "over the limit value of 5 m/s2",
            }
        );
        if let Some(hours) = action_value_after_h {
            text.push_str(&format!(
                " One person reaches the action value after {} h",
                number(hours, 1)
            ));
            if let Some(hours) = limit_value_after_h {
                text.push_str(&format!(", the limit value after {} h", number(hours, 1)));
            }
            text.push('.');
        }
        HandArm {
            vibration_m_per_s2: a,
            source: vibration.source.clone(),
            a8_m_per_s2: super::rounded(daily, 100.0),
            action_value_after_h,
            limit_value_after_h,
            exposure,
            text,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(a: f64, hours: f64) -> HandArm {
        let vibration = Figure {
            value: a,
            source: "the maker's declaration".to_owned(),
        };
        HandArm::of(&vibration, hours)
    }

    #[test]
    fn a_day_is_held_against_the_action_and_limit_values() {
        let stands = |a, hours| at(a, hours).exposure;
        assert_eq!(stands(5.0, 1.9), Exposure::Under);
        assert_eq!(stands(5.0, 2.0), Exposure::FromTheActionValue);
        assert_eq!(stands(5.0, 8.0), Exposure::FromTheActionValue);
        assert_eq!(stands(5.0, 8.1), Exposure::OverTheLimit);
        assert_eq!(stands(0.0, 24.0), Exposure::Under);
        let still = at(0.0, 8.0);
        assert_eq!((still.a8_m_per_s2, still.action_value_after_h), (0.0, None));
        assert_eq!(
            at(7.0, 4.5).text,
            "7 m/s2 at the handles for 4.5 h: a daily exposure of 5.25 m/s2, over the limit value of 5 m/s2. One person \
             reaches the action value after 1 h, the limit value after 4 h."
        );
    }
}
