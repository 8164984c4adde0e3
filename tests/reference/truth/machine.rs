//! A machine and its parts, as they are and as its depot has noted them.

use super::figures::Wear;
use super::sky::Day;

/// Why the depot looks at its machines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Round {
    PreSeason,
    MidSeason,
    Storage,
}

/// A measure of one part: it starts at `start` and moves by `rate` an hour towards its limit.
#[derive(Debug, Clone, Copy)]
pub struct Line {
    pub start: f64,
    pub rate: f64,
}

/// Hours as they wear: `bend` slows them down first and speeds them up later, so that the usual part reaches its limit
/// after the same hours.
pub fn bent(hours: f64, bend: f64, usual_hours: f64) -> f64 {
    hours * (1.0 - bend) + bend * hours * hours / usual_hours
}

impl Line {
    /// The value after so many hours.
    pub fn at(&self, wear: &Wear, bend: f64, hours: f64) -> f64 {
        self.start + wear.way * self.rate * bent(hours, bend, wear.usual_hours())
    }

    /// Whether the limit is reached after so many hours.
    pub fn reached(&self, wear: &Wear, bend: f64, hours: f64) -> bool {
        wear.way * (self.at(wear, bend, hours) - wear.limit) >= 0.0
    }

    /// The hours after which the limit is reached; infinite where it never is.
    pub fn reached_after(&self, wear: &Wear, bend: f64) -> f64 {
        if self.rate <= 0.0 {
            return f64::INFINITY;
        }
        let worn = wear.way * (wear.limit - self.start) / self.rate;
        if worn <= 0.0 || bend == 0.0 {
            return worn.max(0.0);
        }
        let (linear, square) = (1.0 - bend, bend / wear.usual_hours());
        ((linear * linear + 4.0 * square * worn).sqrt() - linear) / (2.0 * square)
    }
}

/// A reading of a measure.
#[derive(Debug, Clone, Copy)]
pub struct Reading {
    pub day: Day,
    /// On the meter.
    pub hours: f64,
    pub value: f64,
    /// Of so many readings it is the mean.
    pub repeats: u32,
}

/// How a part ended.
#[derive(Debug, Clone, Copy)]
pub struct Removed {
    pub day: Day,
    /// Hour of the day.
    pub hour: i8,
    pub hours: f64,
    pub failed: bool,
}

/// A part, from its fitting on.
#[derive(Debug, Clone)]
pub struct Fitted {
    pub day: Day,
    pub hours: f64,
    pub line: Option<Line>,
    /// The age on its clock at which it fails.
    pub fails_at: f64,
    pub removed: Option<Removed>,
    /// The last inspection on it.
    pub inspected: Option<Day>,
    /// The last day on which it did its work.
    pub sound: Day,
    pub readings: Vec<Reading>,
}

/// An attempt to start.
#[derive(Debug, Clone, Copy)]
pub struct Attempt {
    pub day: Day,
    /// Hour of the day.
    pub hour: i8,
    pub started: bool,
    /// Days stood, and how much sooner it goes dead for how it was stored.
    pub stood: i32,
    pub factor: f64,
}

/// A machine up to today.
#[derive(Debug, Clone)]
pub struct Machine {
    pub model: usize,
    /// The rate of its hours of use.
    pub theta: f64,
    /// Since when its depot keeps a record of it; what was before nobody knows, unless it came then.
    pub since: Day,
    pub imported: bool,
    /// Hours it has run by today.
    pub hours: f64,
    /// Each part's, the one that is on it now last.
    pub parts: Vec<Vec<Fitted>>,
    pub meter: Vec<(Day, f64)>,
    pub attempts: Vec<Attempt>,
    pub rounds: Vec<(Day, Round)>,
    /// Whether its storage jobs were found done.
    pub stored_well: Vec<(Day, bool)>,
    /// Spare shear fasteners aboard, and when they were counted.
    pub spares: u32,
    pub counted: Option<Day>,
    pub last_run: Day,
    /// How much sooner it goes dead now for how it was stored.
    pub factor: f64,
    /// Hours it will run on each snow day to come.
    pub to_come: Vec<(Day, f64)>,
}

impl Machine {
    /// The part that is on it now.
    pub fn part(&self, place: usize) -> &Fitted {
        self.parts[place].last().expect("a part")
    }

    /// Whether the depot knows when a part came on.
    pub fn is_known(&self, part: &Fitted) -> bool {
        !(self.imported && part.day < self.since)
    }
}
