//! The truths that are played.

use rimeyard_rules::sheet::Sheet;

use super::depot::Case;
use super::figures::Population;
use super::setting::Twist;
use super::sky::{Climate, Coming};

/// The sheet that all depots have entered.
pub fn sheet() -> Sheet {
    let sheet = Sheet::from_toml(include_str!("sheet.toml")).expect("a sheet");
    sheet.check().expect("a sheet that makes sense");
    sheet
}

/// The sheet is right, the winters on record come again, the storm is now: all as the model takes it.
pub fn well_specified() -> Case {
    let sheet = sheet();
    Case {
        name: "well specified",
        population: Population::of(&sheet),
        sheet,
        twist: Twist::default(),
        climate: Climate {
            severity_shape: 9.0,
        },
        coming: Coming::OnRecord,
        storm_ahead: false,
        machines: (4, 8),
        depots: 1,
    }
}

/// New winters of the same climate come, and this one goes on as severe as it began.
pub fn new_winters() -> Case {
    Case {
        name: "new winters",
        coming: Coming::New,
        ..well_specified()
    }
}

/// Winters that differ much, and large depots: what all machines share weighs more than what each has of its own.
pub fn hard_winters() -> Case {
    Case {
        name: "winters that differ much",
        climate: Climate {
            severity_shape: 2.0,
        },
        machines: (20, 30),
        ..well_specified()
    }
}

/// A storm is named one to eight days ahead, and the machines go on working until then.
pub fn storm_ahead() -> Case {
    Case {
        name: "a storm some days ahead",
        storm_ahead: true,
        ..well_specified()
    }
}

/// The sheet is wrong: everything wears, dies and is used faster than the depots have entered.
pub fn wrong_sheet() -> Case {
    let mut case = Case {
        name: "the sheet is wrong",
        depots: FLEET,
        ..well_specified()
    };
    let population = &mut case.population;
    population.use_hours *= 1.4;
    population.dead_beta /= 2.0;
    population.break_hours /= 1.5;
    population.wears().for_each(|wear| wear.rate *= 1.5);
    population.lives().for_each(|life| life.scale *= 0.6);
    case
}

/// Depots of a fleet where that matters.
const FLEET: usize = 6;

fn twisted(name: &'static str, twist: Twist) -> Case {
    Case {
        name,
        twist,
        ..well_specified()
    }
}

/// Wear that speeds up: half the usual rate on a new part, one and a half times it at the limit.
pub fn speeding_up() -> Case {
    let twist = Twist {
        bend: 0.5,
        ..Twist::default()
    };
    twisted("wear that speeds up", twist)
}

/// One batch of parts in seven wears twice as fast.
pub fn bad_batches() -> Case {
    let twist = Twist {
        bad_batches: Some((1.0 / 7.0, 2.0)),
        ..Twist::default()
    };
    twisted("bad batches", twist)
}

/// In one depot of six everything wears, breaks and goes dead twice as fast.
pub fn bad_depot() -> Case {
    let twist = Twist {
        bad_depot: Some(2.0),
        ..Twist::default()
    };
    Case {
        depots: FLEET,
        ..twisted("one bad depot of six", twist)
    }
}

/// A measured part that gives up at work is noticed there.
pub fn noticed() -> Case {
    let twist = Twist {
        notices: true,
        ..Twist::default()
    };
    twisted("parts worn out at work are noticed", twist)
}

/// What fails by the calendar is not seen before the machine is wanted.
pub fn unseen() -> Case {
    let twist = Twist {
        unseen: true,
        ..Twist::default()
    };
    twisted("failures by the calendar are not seen", twist)
}

/// Hours are noted in the evening of each snow day.
pub fn daily_hours() -> Case {
    let twist = Twist {
        daily_hours: true,
        ..Twist::default()
    };
    twisted("hours noted each evening", twist)
}

/// Only inspections' starts are on record.
pub fn unrecorded_starts() -> Case {
    let twist = Twist {
        unrecorded_starts: true,
        ..Twist::default()
    };
    twisted("the day's starts are not on record", twist)
}

/// All of them.
pub fn all() -> Vec<Case> {
    vec![
        well_specified(),
        new_winters(),
        hard_winters(),
        storm_ahead(),
        wrong_sheet(),
        speeding_up(),
        bad_batches(),
        bad_depot(),
        noticed(),
        unseen(),
        daily_hours(),
        unrecorded_starts(),
    ]
}
