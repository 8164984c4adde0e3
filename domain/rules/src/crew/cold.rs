//! The cold that a crew works in.

use serde::{Deserialize, Serialize};

use super::Asked;
use super::warm_up::{Effort, Frostbite, WarmUp};
use crate::calculations::wind_chill::wind_chill_c;
use crate::storm::Storm;

/// Where the temperature comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum TemperatureFrom {
    /// It was asked for.
    #[serde(rename = "asked")]
    Asked,
    /// The storm's while it snows.
    #[serde(rename = "storm")]
    Storm,
    /// The lowest of the storm: no other is known.
    #[serde(rename = "storm's low")]
    StormsLow,
}

/// The cold, and spells of work in it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Cold {
    /// Air temperature, degC.
    pub temperature_c: f64,
    /// Where it comes from.
    pub temperature_from: TemperatureFrom,
    /// Wind at 10 m height.
    pub wind_m_per_s: f64,
    /// Wind chill (U.S. National Weather Service, 2001), degC, to a tenth; the air's temperature where the formula does not
    /// hold.
    pub wind_chill_c: f64,
    /// How soon bare skin freezes; null where the risk is low.
    pub frostbite: Option<Frostbite>,
    /// Spells of moderate to heavy work: walking behind a machine, shovelling.
    pub walking: WarmUp,
    /// Spells of light work: sitting or standing at the controls, out in the cold.
    pub sitting: WarmUp,
    /// Where the spells come from.
    pub source: String,
}

impl Cold {
    /// The cold of what was asked, else of the storm; what to ask where it is not known.
    pub(super) fn of(storm: &Storm, asked: &Asked) -> Result<Self, &'static str> {
        let known = [
            (asked.temperature_c, TemperatureFrom::Asked),
            (storm.temperature_c, TemperatureFrom::Storm),
            (storm.low_c, TemperatureFrom::StormsLow),
        ];
        let known = known
            .into_iter()
            .find_map(|(value, from)| Some((value?, from)));
        let (temperature_c, temperature_from) = known.ok_or(
            "The storm has no temperature: ask again with temperature_c for the wind chill and the warm-up breaks.",
        )?;
        let wind_m_per_s = asked.wind_m_per_s.ok_or(
            "The wind is not known: ask again with wind_m_per_s for the wind chill and the warm-up breaks.",
        )?;
        let chill_c = wind_chill_c(temperature_c, wind_m_per_s);
        Ok(Cold {
            temperature_c,
            temperature_from,
            wind_m_per_s,
            wind_chill_c: super::rounded(chill_c, 10.0),
            frostbite: Frostbite::at(chill_c),
            walking: WarmUp::of(temperature_c, wind_m_per_s, Effort::Walking),
            sitting: WarmUp::of(temperature_c, wind_m_per_s, Effort::Sitting),
            source: super::warm_up::SOURCE.to_owned(),
        })
    }
}
