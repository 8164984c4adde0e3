//! Work and warm-up breaks in the cold: the schedule of the ACGIH (threshold limit values for cold stress) as the Province of
//! Saskatchewan issues it, and what cold wind does to bare skin.

use serde::{Deserialize, Serialize};

use crate::because::{number, quantity};
use crate::calculations::wind_chill::{MILE_M, wind_chill_c};

/// What the schedule says of one temperature and wind.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Cell {
    /// One break in four hours, as without cold.
    Normal,
    /// So many minutes at a time at most, and so many breaks in four hours.
    Breaks(u32, u32),
    /// Work that is no emergency stops.
    Stop,
}

use Cell::{Breaks, Normal, Stop};

/// Minutes of a warm-up break.
const BREAK_MINUTES: u32 = 10;

/// Columns after the calm one: up to these winds, mph, which the schedule also calls 8, 16, 24 and 32 km/h.
const WINDS_MPH: [f64; 4] = [5.0, 10.0, 15.0, 20.0];

/// Up to this wind it is not noticeable: under force 2 of the Beaufort scale (WMO), where wind is felt on the face.
const CALM_M_PER_S: f64 = 1.5;

/// Rows by whole degC: the warmest that each is for, and its cells by wind, calm first. A row reaches down to the next. The
/// same steps shift one place with each row.
const ROWS: [(i32, [Cell; 5]); 7] = [
    (-26, [Normal, Normal, STEP_75, STEP_55, STEP_40]),
    (-29, [Normal, STEP_75, STEP_55, STEP_40, STEP_30]),
    (-32, [STEP_75, STEP_55, STEP_40, STEP_30, Stop]),
    (-35, [STEP_55, STEP_40, STEP_30, Stop, Stop]),
    (-38, [STEP_40, STEP_30, Stop, Stop, Stop]),
    (-40, [STEP_30, Stop, Stop, Stop, Stop]),
    (-43, [Stop; 5]),
];

const STEP_75: Cell = Breaks(75, 2);
const STEP_55: Cell = Breaks(55, 3);
const STEP_40: Cell = Breaks(40, 4);
const STEP_30: Cell = Breaks(30, 5);

/// Where the schedule comes from.
pub const SOURCE: &str =
    "work/warm-up schedule for a four-hour shift, ACGIH, as issued by the Province of Saskatchewan";

/// How hard the work is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Effort {
    /// Moderate to heavy: walking behind a machine, shovelling.
    Walking,
    /// Light: sitting or standing at the controls. The schedule is taken one row colder.
    Sitting,
}

/// What to do about the cold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = WarmUpAdvice))]
pub enum Advice {
    /// Breaks as without cold.
    #[serde(rename = "normal breaks")]
    NormalBreaks,
    /// Work in spells with warm-up breaks between them.
    #[serde(rename = "warm-up breaks")]
    WarmUpBreaks,
    /// The wind is stronger than the schedule goes: stricter than its last column, and who answers for the crew decides.
    #[serde(rename = "beyond the schedule")]
    BeyondTheSchedule,
    /// Work that is no emergency stops.
    #[serde(rename = "stop work that is no emergency")]
    Stop,
}

/// Spells of work and breaks in any four hours.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct WarmUp {
    /// What to do.
    pub advice: Advice,
    /// The longest spell of work, minutes; null where the schedule names none.
    pub work_minutes: Option<u32>,
    /// Breaks of ten minutes in a warm place in four hours; null where the schedule names none.
    pub breaks: Option<u32>,
    /// Said for people.
    pub text: String,
}

impl WarmUp {
    /// The schedule's answer. Between its steps the colder and the windier counts.
    pub fn of(temperature_c: f64, wind_m_per_s: f64, effort: Effort) -> Self {
        let whole_c = temperature_c.floor() as i32;
        let known = ROWS
            .iter()
            .rposition(|(warmest_c, _)| whole_c <= *warmest_c);
        let Some(row) = known else {
            return Self::warmer_than_the_schedule(temperature_c, wind_m_per_s);
        };
        let row = match effort {
            Effort::Walking => row,
            Effort::Sitting => (row + 1).min(ROWS.len() - 1),
        };
        let cells = ROWS[row].1;
        match column(wind_m_per_s) {
            Some(column) => Self::from_cell(cells[column]),
            // What stops at 32 km/h does not go on in more.
            None if cells[4] == Stop => Self::from_cell(Stop),
            None => Self::beyond(),
        }
    }

    fn from_cell(cell: Cell) -> Self {
        let (advice, work_minutes, breaks, text) = match cell {
            Normal => (
                Advice::NormalBreaks,
                None,
                Some(1),
                "Normal breaks: one in four hours, in a warm place.".to_owned(),
            ),
            Breaks(minutes, breaks) => (
                Advice::WarmUpBreaks,
                Some(minutes),
                Some(breaks),
                format!(
                    "At most {minutes} minutes outdoors at a time, {breaks} breaks of {BREAK_MINUTES} minutes in a warm \
                     place in four hours."
                ),
            ),
            Stop => (
                Advice::Stop,
                None,
                None,
                "Work that is no emergency stops.".to_owned(),
            ),
        };
        WarmUp {
            advice,
            work_minutes,
            breaks,
            text,
        }
    }

    fn beyond() -> Self {
        WarmUp {
            advice: Advice::BeyondTheSchedule,
            work_minutes: None,
            breaks: None,
            text: "The schedule ends at a wind of 32 km/h (20 mph). Stronger wind asks for shorter spells than it names: \
                   who answers for the crew decides, and work that can wait waits."
                .to_owned(),
        }
    }

    /// Over -26 degC the schedule says nothing: breaks are the normal ones, unless wind beyond it freezes bare skin.
    fn warmer_than_the_schedule(temperature_c: f64, wind_m_per_s: f64) -> Self {
        let chill_c = wind_chill_c(temperature_c, wind_m_per_s);
        if column(wind_m_per_s).is_none() && Frostbite::at(chill_c).is_some() {
            return Self::beyond();
        }
        WarmUp {
            text: "Normal breaks: the schedule begins at -26 degC (-15 degF). Whoever is cold warms up."
                .to_owned(),
            ..Self::from_cell(Normal)
        }
    }
}

/// The column of a wind, calm first: the first that is not weaker. None beyond the last.
fn column(wind_m_per_s: f64) -> Option<usize> {
    if wind_m_per_s <= CALM_M_PER_S {
        return Some(0);
    }
    let wind_mph = wind_m_per_s * 3600.0 / MILE_M;
    let found = WINDS_MPH.iter().position(|wind| wind_mph <= *wind + 1e-9)?;
    Some(found + 1)
}

/// How soon bare skin freezes: wind chill hazards of Environment and Climate Change Canada, by whole degC of wind chill.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Frostbite {
    /// At the soonest after so many minutes.
    pub least_minutes: u32,
    /// At the latest after so many.
    pub most_minutes: u32,
    /// Said for people.
    pub text: String,
}

/// From this wind chill down, bare skin freezes within so many minutes.
const FREEZES: [(f64, u32, u32); 4] = [
    (-28.0, 10, 30),
    (-40.0, 5, 10),
    (-48.0, 2, 5),
    (-55.0, 0, 2),
];

impl Frostbite {
    /// What a wind chill does; none where the risk is low.
    pub fn at(wind_chill_c: f64) -> Option<Self> {
        let chill_c = wind_chill_c.round();
        let (_, least, most) = FREEZES.iter().rfind(|(from_c, ..)| chill_c <= *from_c)?;
        let within = match least {
            0 => format!("in less than {most} minutes"),
            least => format!("in {least} to {most} minutes"),
        };
        Some(Frostbite {
            least_minutes: *least,
            most_minutes: *most,
            text: format!(
                "At a wind chill of {} bare skin can freeze {within}, sooner in wind over {}: cover all of it, and look at each \
                 other's faces.",
                quantity(number(chill_c, 0), "degC"),
                quantity(50, "km/h")
            ),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Colder or windier, or at lighter work, the schedule is never laxer.
    #[test]
    fn colder_or_windier_is_never_laxer() {
        let strictness = |temperature_c: f64, wind: f64, effort| {
            let said = WarmUp::of(temperature_c, wind, effort);
            (said.advice, 1000 - said.work_minutes.unwrap_or(0).min(1000))
        };
        // Of advice alone: a spell's minutes are compared where both have some.
        let not_laxer = |a: (Advice, u32), b: (Advice, u32)| {
            a.0 < b.0 || (a.0 == b.0 && (a.0 != Advice::WarmUpBreaks || a.1 <= b.1))
        };
        let temperatures: Vec<f64> = (-120..=20).map(|half| f64::from(half) / 2.0).collect();
        let winds: Vec<f64> = (0..=60).map(|half| f64::from(half) / 2.0).collect();
        for pair in temperatures.windows(2) {
            for wind in &winds {
                for effort in [Effort::Walking, Effort::Sitting] {
                    let (colder, warmer) = (pair[0], pair[1]);
                    assert!(
                        not_laxer(
                            strictness(warmer, *wind, effort),
                            strictness(colder, *wind, effort)
                        ),
                        "{colder} degC, {wind} m/s"
                    );
                }
                assert!(not_laxer(
                    strictness(pair[0], *wind, Effort::Walking),
                    strictness(pair[0], *wind, Effort::Sitting)
                ));
            }
        }
        for temperature in &temperatures {
            for pair in winds.windows(2) {
                let at = |wind| strictness(*temperature, wind, Effort::Walking);
                assert!(
                    not_laxer(at(pair[0]), at(pair[1])),
                    "{temperature} degC, {pair:?} m/s"
                );
            }
        }
    }

    #[test]
    fn what_the_schedule_does_not_reach_is_said() {
        let walking = |temperature_c, wind| WarmUp::of(temperature_c, wind, Effort::Walking);
        let mild = walking(-6.0, 12.0);
        assert_eq!((mild.advice, mild.breaks), (Advice::NormalBreaks, Some(1)));
        assert!(mild.text.contains("begins at -26"), "{}", mild.text);
        assert_eq!(walking(-25.0, 20.0).advice, Advice::BeyondTheSchedule);
        assert_eq!(walking(-27.0, 10.0).advice, Advice::BeyondTheSchedule);
        assert_eq!(walking(-27.0, 10.0).work_minutes, None);
        assert_eq!(walking(-33.0, 10.0).advice, Advice::Stop);
    }
}
