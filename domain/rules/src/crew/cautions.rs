//! What can hurt a crew on the road in a storm, and where that is said.

use serde::{Deserialize, Serialize};

/// A caution.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Caution {
    /// What to do, and why.
    pub text: String,
    /// Where it comes from.
    pub source: String,
}

/// What cautions depend on.
#[derive(Debug, Clone, Copy, Default)]
pub struct Situation {
    /// A machine that goes out has an engine.
    pub engines: bool,
    /// One throws snow.
    pub throws: bool,
    /// One spreads.
    pub spreads: bool,
    /// One sweeps or blows.
    pub blows: bool,
    /// Noise is at the action level, or nobody knows.
    pub loud: bool,
    /// Vibration is at the action value, or nobody knows.
    pub vibrates: bool,
    /// It is under 0 degC, or nobody knows.
    pub cold: bool,
    /// Machines run longer than one person works.
    pub long: bool,
}

/// Hours that one person works.
pub const SHIFT_H: f64 = 8.0;

/// Those that belong to a situation, what injures most first.
pub fn cautions(situation: &Situation) -> Vec<Caution> {
    let Situation {
        engines,
        throws,
        spreads,
        blows,
        loud,
        vibrates,
        cold,
        long,
    } = *situation;
    let rows = [
        (
            throws,
            "Never clear a chute or an auger by hand: engine stopped, wait until everything stands, then the clean-out tool. \
             Most injuries come from that.",
            "Consumer Product Safety Commission, safety alert, publication 5117",
        ),
        (
            throws,
            "A jammed auger holds wind-up after the engine has stopped, and turns when it comes free: shear fasteners out \
             first.",
            "common practice of repair shops",
        ),
        (
            throws,
            "Aim the chute away from people, glass and traffic; nobody in front of the machine.",
            "operator manuals",
        ),
        (
            engines,
            "Engines run outdoors only. In a shed carbon monoxide passes the ceiling within minutes, open doors or not.",
            "NIOSH publication 96-118",
        ),
        (
            engines,
            "Refuel outdoors, never a hot or running engine.",
            "Consumer Product Safety Commission, safety alert, publication 5117",
        ),
        (
            blows,
            "Brooms and blowers throw stones and wire: eye protection, nobody in front or beside.",
            "operator manuals",
        ),
        (
            spreads,
            "Salt, its dust and brine burn skin and eyes: goggles, gloves, water to wash with at hand.",
            "common practice",
        ),
        (
            loud,
            "Hearing protection for everybody at these machines, and turns: what a dose of noise takes does not come back.",
            "29 CFR 1910.95",
        ),
        (
            vibrates,
            "Cold and wet hands take more harm from vibration: dry gloves, warm hands, turns.",
            "common practice; Directive 2002/44/EC",
        ),
        (
            cold,
            "Warm-up breaks are for people in dry clothes: whoever is wet goes in and changes. A warm place and hot drinks at \
             hand, nobody out alone.",
            super::warm_up::SOURCE,
        ),
        (
            long,
            "Machines can go around the clock and people cannot: let operators take turns, and note who rests when.",
            "common practice",
        ),
    ];
    rows.into_iter()
        .filter(|(belongs, ..)| *belongs)
        .map(|(_, text, source)| Caution {
            text: text.to_owned(),
            source: source.to_owned(),
        })
        .collect()
}
