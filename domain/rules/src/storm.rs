//! The storm that readiness is computed for, and the weight of its snow (section 8).

use jiff::{Timestamp, civil::Date, tz::TimeZone};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::facts::{DepotFacts, DesignStorm, StormFacts};
use crate::season::day_number;
use crate::timeline::day_in;

/// Deepest storm that is computed with: ten metres, more than any on record in a day or two. With the least re-clear
/// depth of 1 mm it bounds the cycles to ten thousand.
const DEPTH_MAX_MM: f64 = 10_000.0;

/// A storm to meet.
#[derive(Debug, Clone, PartialEq)]
pub struct Storm {
    /// The storm; none for the design storm.
    pub id: Option<Uuid>,
    /// Its name.
    pub name: String,
    /// When snow begins; none for the design storm.
    pub starts_at: Option<Timestamp>,
    /// When it ends.
    pub ends_at: Option<Timestamp>,
    /// The day it starts, as a day number; today for the design storm.
    pub first_day: i32,
    /// The last day of it: its hours stand for the days of use from the first to this one. The design storm, which is
    /// not of this winter, comes on top of them all: its last day is the one before it starts.
    pub last_day: i32,
    /// How long it snows, h.
    pub hours: f64,
    /// How much falls, mm.
    pub depth_mm: f64,
    /// At how much lying snow ground is cleared again, mm.
    pub reclear_mm: f64,
    /// Density of the snow, kg/m3.
    pub density_kg_m3: f64,
    /// Air temperature while it snows, degC.
    pub temperature_c: Option<f64>,
    /// Lowest temperature before and during it, degC.
    pub low_c: Option<f64>,
}

/// A storm as a depot's answer names it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct StormName {
    /// The storm; none for the design storm.
    pub id: Option<Uuid>,
    /// Its name.
    pub name: String,
    /// When snow begins.
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = DateTime))]
    pub starts_at: Option<Timestamp>,
    /// When it ends.
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = DateTime))]
    pub ends_at: Option<Timestamp>,
}

/// A storm with the figures that are computed with.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct StormFigures {
    /// Its name and times.
    #[serde(flatten)]
    pub named: StormName,
    /// How long it snows, h.
    pub hours: f64,
    /// How much falls, mm.
    pub depth_mm: f64,
    /// At how much lying snow ground is cleared again, mm.
    pub reclear_mm: f64,
    /// Density of the snow, kg/m3: as entered, else by the temperature.
    pub density_kg_m3: f64,
    /// Air temperature while it snows, degC.
    pub temperature_c: Option<f64>,
    /// Lowest temperature before and during it, degC.
    pub low_c: Option<f64>,
}

impl Storm {
    /// The storm in progress, else the nearest ahead, else the design storm. Of several in progress the one that ends
    /// last counts; whatever else is alike, the smaller id.
    pub fn of(facts: &DepotFacts, as_of: Timestamp, today: Date) -> Self {
        let in_progress = facts
            .storms
            .iter()
            .filter(|storm| storm.starts_at <= as_of && as_of < storm.ends_at)
            .min_by_key(|storm| (std::cmp::Reverse(storm.ends_at), storm.id));
        let ahead = || {
            facts
                .storms
                .iter()
                .filter(|storm| storm.starts_at > as_of && storm.ends_at > storm.starts_at)
                .min_by_key(|storm| (storm.starts_at, storm.id))
        };
        match in_progress.or_else(ahead) {
            Some(storm) => Storm::entered(storm, &facts.zone),
            None => Storm::design(&facts.design_storm, today),
        }
    }

    /// The storm of that id, unless it is over.
    pub fn with_id(facts: &DepotFacts, id: Uuid, as_of: Timestamp) -> Option<Self> {
        let mut storms = facts.storms.iter();
        let storm = storms.find(|storm| storm.id == id && storm.ends_at > as_of)?;
        Some(Storm::entered(storm, &facts.zone))
    }

    fn design(design: &DesignStorm, today: Date) -> Self {
        Storm {
            id: None,
            name: "design storm".to_owned(),
            starts_at: None,
            ends_at: None,
            first_day: day_number(today),
            last_day: day_number(today) - 1,
            hours: design.hours.clamp(0.1, 1000.0),
            depth_mm: design.depth_mm.clamp(0.0, DEPTH_MAX_MM),
            reclear_mm: design.reclear_mm.max(1.0),
            density_kg_m3: density(design.density_kg_m3, design.temperature_c),
            temperature_c: design.temperature_c,
            low_c: design.low_c,
        }
    }

    fn entered(storm: &StormFacts, zone: &TimeZone) -> Self {
        let seconds = (storm.ends_at.as_second() - storm.starts_at.as_second()) as f64;
        Storm {
            id: Some(storm.id),
            name: storm.name.clone(),
            starts_at: Some(storm.starts_at),
            ends_at: Some(storm.ends_at),
            first_day: day_in(storm.starts_at, zone),
            last_day: day_in(storm.ends_at, zone),
            hours: (seconds / 3600.0).clamp(0.1, 1000.0),
            depth_mm: storm.depth_mm.clamp(0.0, DEPTH_MAX_MM),
            reclear_mm: storm.reclear_mm.max(1.0),
            density_kg_m3: density(storm.density_kg_m3, storm.temperature_c),
            temperature_c: storm.temperature_c,
            low_c: storm.low_c,
        }
    }

    /// Its name and times.
    pub fn named(&self) -> StormName {
        StormName {
            id: self.id,
            name: self.name.clone(),
            starts_at: self.starts_at,
            ends_at: self.ends_at,
        }
    }

    /// The same with its figures.
    pub fn figures(&self) -> StormFigures {
        StormFigures {
            named: self.named(),
            hours: self.hours,
            depth_mm: self.depth_mm,
            reclear_mm: self.reclear_mm,
            density_kg_m3: self.density_kg_m3,
            temperature_c: self.temperature_c,
            low_c: self.low_c,
        }
    }
}

fn density(given: Option<f64>, temperature_c: Option<f64>) -> f64 {
    given
        .filter(|density| *density > 0.0)
        .unwrap_or_else(|| fresh_snow_kg_m3(temperature_c))
}

/// Density of fresh snow by air temperature: the table of new snowfall to melt water of the U.S. National Climatic Data
/// Center's surface observation key (figure 11-8), in whole degF; over 34 degF wet snow at 5 to 1, the heavy end of
/// published ratios. Without a temperature, 10 to 1.
pub fn fresh_snow_kg_m3(temperature_c: Option<f64>) -> f64 {
    let Some(temperature_c) = temperature_c else {
        return 100.0;
    };
    match (temperature_c * 1.8 + 32.0).round() as i32 {
        35.. => 200.0,
        28..=34 => 100.0,
        20..=27 => 67.0,
        15..=19 => 50.0,
        10..=14 => 33.0,
        0..=9 => 25.0,
        -20..=-1 => 20.0,
        _ => 10.0,
    }
}

#[cfg(test)]
mod tests {
    use super::fresh_snow_kg_m3;

    /// Ratios 10, 15, 20, 30, 40, 50 and 100 to 1 of the NCDC key, at the middle of each of its ranges of degF.
    #[test]
    fn density_follows_the_published_table() {
        for (f, ratio) in [
            (31.0, 10.0),
            (24.0, 15.0),
            (17.0, 20.0),
            (12.0, 30.0),
            (5.0, 40.0),
            (-10.0, 50.0),
            (-30.0, 100.0),
        ] {
            let density = fresh_snow_kg_m3(Some((f - 32.0) / 1.8));
            assert!(
                (density - 1000.0 / ratio).abs() < 0.5,
                "{f} degF: {density}"
            );
        }
    }
}
