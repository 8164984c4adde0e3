//! What was foretold of each fleet, beside what happened and what the forecaster foresaw that knows the truth.

use jiff::ToSpan;
use rimeyard_rules::depot::evaluate;
use rimeyard_rules::unit::parts::Advice;

use super::Learn;
use super::after::Lasted;
use super::chance::Chance;
use super::depot::{Case, fleet};
use super::oracle::Knows;
use super::sky;
use super::spares::{Stocked, stocked};
use super::told::Told;

/// What is foretold with a chance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    WornStorm,
    WornSeason,
    WornNext,
    /// Of a part whose fitting date nobody knows.
    UnknownSeason,
    LivedStorm,
    LivedSeason,
    LivedNext,
    /// Of a part whose age nobody knows.
    UnknownLived,
    Starts,
    Fasteners,
    Unit,
    Depot,
}

impl Kind {
    pub const ALL: [Kind; 12] = [
        Kind::WornStorm,
        Kind::WornSeason,
        Kind::WornNext,
        Kind::LivedStorm,
        Kind::LivedSeason,
        Kind::LivedNext,
        Kind::Starts,
        Kind::Fasteners,
        Kind::Unit,
        Kind::Depot,
        Kind::UnknownSeason,
        Kind::UnknownLived,
    ];

    pub fn title(self) -> &'static str {
        match self {
            Kind::WornStorm => "measured part lasts the storm",
            Kind::WornSeason => "measured part lasts this season",
            Kind::WornNext => "measured part lasts next season",
            Kind::UnknownSeason => "  the same, fitting date unknown",
            Kind::LivedStorm => "part with a life lasts the storm",
            Kind::LivedSeason => "part with a life lasts this season",
            Kind::LivedNext => "part with a life lasts next season",
            Kind::UnknownLived => "  this season, age unknown",
            Kind::Starts => "starts after standing",
            Kind::Fasteners => "shear fasteners aboard are enough",
            Kind::Unit => "unit gets through the storm",
            Kind::Depot => "depot keeps up with the storm",
        }
    }
}

/// One forecast and what came of it.
#[derive(Debug, Clone, Copy)]
pub struct Forecast {
    pub kind: Kind,
    /// The depot, and so the winter.
    pub depot: u64,
    pub chance: f64,
    /// Chances of who knows the populations, and of who knows the fleet's rates too; no number of who was not asked.
    pub knowing: [f64; 2],
    pub happened: bool,
    /// The one forecast of its kind, by lot, that stands for its depot and winter.
    pub alone: bool,
}

/// Quantiles that are foretold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantile {
    /// Hours of use on the days of use there are.
    HoursOfUse,
    /// Hours until a limit.
    HoursLeft,
    /// The day on which it is reached.
    DayLeft,
}

impl Quantile {
    pub const ALL: [Quantile; 3] = [Quantile::HoursOfUse, Quantile::HoursLeft, Quantile::DayLeft];

    pub fn title(self) -> &'static str {
        match self {
            Quantile::HoursOfUse => "hours run on the season's snow days",
            Quantile::HoursLeft => "hours until a part's limit",
            Quantile::DayLeft => "day of a part's limit",
        }
    }
}

/// Three quantiles, and whether what came was at or under each.
#[derive(Debug, Clone, Copy)]
pub struct Under {
    pub of: Quantile,
    pub under: [bool; 3],
    pub alone: bool,
}

/// What was advised for a part, and whether it lasted this season and the next.
#[derive(Debug, Clone, Copy)]
pub struct Advised {
    pub advice: Advice,
    /// The chance foretold to last this season.
    pub season: f64,
    pub lasted: Lasted,
    /// Whether its readings were said to bend, where there are readings at four ages or more.
    pub bends: Option<bool>,
    /// Whether its depot is the bad one.
    pub bad: bool,
}

/// All of a case.
#[derive(Debug, Default)]
pub struct Judged {
    pub forecasts: Vec<Forecast>,
    pub unders: Vec<Under>,
    pub advised: Vec<Advised>,
    pub stocked: Vec<Stocked>,
}

impl Judged {
    fn add(&mut self, other: Judged) {
        self.forecasts.extend(other.forecasts);
        self.unders.extend(other.unders);
        self.advised.extend(other.advised);
        self.stocked.extend(other.stocked);
    }
}

/// How a case is played.
#[derive(Clone, Copy)]
pub struct Play {
    pub seed: u64,
    pub fleets: u64,
    /// What is made of a fleet's facts before anything is foretold.
    pub learn: Learn,
    /// Who else is asked: nobody, who knows the populations, who knows the fleets' rates too.
    pub ask: &'static [Knows],
}

/// Plays a case, on all processors.
pub fn play(case: &Case, play: Play) -> Judged {
    let workers = std::thread::available_parallelism().map_or(1, usize::from) as u64;
    std::thread::scope(|scope| {
        let started: Vec<_> = (0..workers)
            .map(|worker| {
                scope.spawn(move || {
                    let mut judged = Judged::default();
                    for number in (worker..play.fleets).step_by(workers as usize) {
                        judged.add(judge(case, play, number));
                    }
                    judged
                })
            })
            .collect();
        let mut all = Judged::default();
        for worker in started {
            all.add(worker.join().expect("a worker ends"));
        }
        all
    })
}

fn judge(case: &Case, play: Play, number: u64) -> Judged {
    let depots = fleet(case, play.seed, number);
    let mut facts: Vec<_> = depots.iter().map(|depot| depot.facts.clone()).collect();
    (play.learn)(&mut facts, depots[0].as_of);
    let mut all = Judged::default();
    for (place, (depot, facts)) in depots.iter().zip(&facts).enumerate() {
        let evaluation = evaluate(facts, depot.as_of);
        // The season that the forecasts are about, as they say themselves.
        let this = evaluation.depot.inputs.season.ends;
        let ends = [this, this.saturating_add(1.year())].map(sky::day);
        let happened = depot.happens(&case.population, case.twist, ends);
        let number = number * case.depots as u64 + place as u64;
        let mut judged = Judged {
            stocked: stocked(case, depot, &evaluation, &happened, ends[0]),
            ..Judged::default()
        };
        let told = Told {
            case,
            depot,
            happened: &happened,
            number,
            bad: case.twist.bad_depot.is_some() && place == 0,
        };
        told.judge(&evaluation, ends, play.ask, &mut judged);
        judged.pick(&mut Chance::new(play.seed ^ 0xA10E, number));
        all.add(judged);
    }
    all
}

impl Judged {
    /// Draws the lot of one forecast of each kind that stands for its depot.
    fn pick(&mut self, chance: &mut Chance) {
        for kind in Kind::ALL {
            let of_kind = self.forecasts.iter_mut().filter(|one| one.kind == kind);
            let mut of_kind: Vec<&mut Forecast> = of_kind.collect();
            if !of_kind.is_empty() {
                let place = chance.place(of_kind.len());
                of_kind[place].alone = true;
            }
        }
        for quantile in Quantile::ALL {
            let of_kind = self.unders.iter_mut().filter(|one| one.of == quantile);
            let mut of_kind: Vec<&mut Under> = of_kind.collect();
            if !of_kind.is_empty() {
                let place = chance.place(of_kind.len());
                of_kind[place].alone = true;
            }
        }
    }
}
