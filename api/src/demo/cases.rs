//! The machines of the demo that are not simply in order, by their tags: what a reader of the documentation looks up,
//! and what makes depots differ. Everything else in the demo is drawn.

/// A machine whose auger belt rides low in its groove with its take-up used up, and that will see the winter out:
/// marginal; to be renewed after the season.
pub const BELT_LOW: &str = "T-0107";
/// A machine with a bolt from the hardware shelf in place of the maker's shear fastener: held.
pub const WRONG_SHEAR_BOLT: &str = "T-0203";
/// A machine that by the coming storm will have stood 240 days: unproven, with about six chances in ten to start.
pub const STOOD_240_DAYS: &str = "T-0305";
/// A machine whose scraper is worn past its limit: it works, at a lower rate.
pub const WORN_SCRAPER: &str = "T-0406";
/// A machine whose hour meter was read lower than before: the reading is kept and marked suspect.
pub const METER_BACKWARDS: &str = "T-0508";
/// A machine whose battery will freeze at the coming storm's low: stopped.
pub const BATTERY_FLAT: &str = "T-0619";
/// A machine to be used by day only, since its lamp is dark; admitted for the coming storm.
pub const DAY_ONLY: &str = "T-0709";
/// A machine that was inspected and started this season, but whose hidden safety functions nobody has tested since the
/// last: a safety task overdue.
pub const SAFETY_OVERDUE: &str = "T-0217";
/// A machine whose change of oil is owed and was put off, with a name, a day and a reason.
pub const DEFERRED: &str = "T-0503";
/// The task that was put off, as the sheet has it.
pub const DEFERRED_TASK: &str = "engine_oil";
/// A machine whose hour meter has been dead since last winter: its hours are estimates.
pub const DEAD_METER: &str = "T-0123";
/// A machine in its tenth winter whose engine is to be rebuilt: by what that costs a new one is cheaper.
pub const PAST_ITS_TIME: &str = "T-0403";
/// A machine whose friction ring is worn out, and for which there is no other on its depot's shelf.
pub const PART_SHORT: &str = "T-0810";
/// The number, from 1, of the depot that is one machine short for the coming storm.
pub const ONE_MACHINE_SHORT: usize = 11;
/// The number of the depot that is one operator short.
pub const ONE_OPERATOR_SHORT: usize = 9;

/// What is out of the ordinary with a machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Case {
    /// See [`BELT_LOW`].
    BeltLow,
    /// See [`WRONG_SHEAR_BOLT`].
    WrongShearBolt,
    /// See [`STOOD_240_DAYS`].
    Stood240Days,
    /// See [`WORN_SCRAPER`].
    WornScraper,
    /// See [`METER_BACKWARDS`].
    MeterBackwards,
    /// See [`BATTERY_FLAT`].
    BatteryFlat,
    /// See [`DAY_ONLY`].
    DayOnly,
    /// See [`DEAD_METER`].
    DeadMeter,
    /// See [`SAFETY_OVERDUE`].
    SafetyOverdue,
    /// See [`DEFERRED`].
    Deferred,
    /// See [`PAST_ITS_TIME`].
    PastItsTime,
    /// Not at its depot.
    Away(&'static str),
    /// Not inspected this season.
    NotInspected,
    /// No shear fasteners left aboard: one strike and it stands.
    NoSpares,
    /// The augers are rusted fast to their shaft: it would throw snow, and wreck its gearbox at the first strike.
    AugerSeized,
    /// Its friction ring is down to its plates.
    RingWornOut,
    /// Its clean-out tool is gone.
    NoCleanOutTool,
    /// It would not start yesterday.
    WouldNotStart,
}

/// Depot, machine and what is out of the ordinary with it.
const CASES: [(u8, u8, Case); 48] = [
    (1, 7, Case::BeltLow),
    (1, 12, Case::NotInspected),
    (1, 15, Case::Away("at the rebuild shop")),
    (1, 18, Case::NoSpares),
    (1, 23, Case::DeadMeter),
    (1, 28, Case::NotInspected),
    (2, 3, Case::WrongShearBolt),
    (2, 9, Case::NotInspected),
    (2, 14, Case::AugerSeized),
    (2, 17, Case::SafetyOverdue),
    (2, 21, Case::WouldNotStart),
    (3, 5, Case::Stood240Days),
    (3, 10, Case::NoSpares),
    (3, 13, Case::RingWornOut),
    (3, 17, Case::NotInspected),
    (3, 20, Case::NoCleanOutTool),
    (4, 3, Case::PastItsTime),
    (4, 6, Case::WornScraper),
    (4, 8, Case::NotInspected),
    (4, 11, Case::WouldNotStart),
    (4, 16, Case::NoSpares),
    (5, 3, Case::Deferred),
    (5, 8, Case::MeterBackwards),
    (5, 12, Case::NotInspected),
    (5, 15, Case::RingWornOut),
    (5, 18, Case::NoSpares),
    (6, 4, Case::NotInspected),
    (6, 9, Case::NotInspected),
    (6, 11, Case::AugerSeized),
    (6, 19, Case::BatteryFlat),
    (7, 9, Case::DayOnly),
    (7, 12, Case::NotInspected),
    (7, 14, Case::NoCleanOutTool),
    (7, 17, Case::NotInspected),
    (8, 5, Case::NotInspected),
    (8, 10, Case::RingWornOut),
    (8, 13, Case::NoSpares),
    (9, 6, Case::NotInspected),
    (9, 11, Case::DeadMeter),
    (10, 7, Case::NotInspected),
    (10, 9, Case::AugerSeized),
    (10, 12, Case::Away("lent for the footbridge works")),
    (11, 4, Case::NotInspected),
    (11, 8, Case::WouldNotStart),
    (11, 10, Case::NoSpares),
    (12, 3, Case::NotInspected),
    (12, 5, Case::NoSpares),
    (12, 9, Case::NotInspected),
];

/// The tag of a machine: number of the depot, number in the depot, both from 1.
pub fn tag(depot: usize, machine: usize) -> String {
    format!("T-{depot:02}{machine:02}")
}

/// What is out of the ordinary with that machine, if anything.
pub fn case(depot: usize, machine: usize) -> Option<Case> {
    CASES
        .iter()
        .find(|(of, number, _)| (usize::from(*of), usize::from(*number)) == (depot, machine))
        .map(|(_, _, case)| *case)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tags_in_the_constants_are_those_of_their_cases() {
        let found = |wanted: &str| {
            CASES
                .iter()
                .find(|(depot, number, _)| tag((*depot).into(), (*number).into()) == wanted)
                .map(|case| case.2)
        };
        assert_eq!(found(BELT_LOW), Some(Case::BeltLow));
        assert_eq!(found(WRONG_SHEAR_BOLT), Some(Case::WrongShearBolt));
        assert_eq!(found(STOOD_240_DAYS), Some(Case::Stood240Days));
        assert_eq!(found(WORN_SCRAPER), Some(Case::WornScraper));
        assert_eq!(found(METER_BACKWARDS), Some(Case::MeterBackwards));
        assert_eq!(found(BATTERY_FLAT), Some(Case::BatteryFlat));
        assert_eq!(found(DAY_ONLY), Some(Case::DayOnly));
        assert_eq!(found(SAFETY_OVERDUE), Some(Case::SafetyOverdue));
        assert_eq!(found(DEFERRED), Some(Case::Deferred));
        assert_eq!(found(PAST_ITS_TIME), Some(Case::PastItsTime));
        assert_eq!(found(DEAD_METER), Some(Case::DeadMeter));
        assert_eq!(found(PART_SHORT), Some(Case::RingWornOut));
    }
}
