//! A fleet's depots: what is drawn of each, and what it has noted.

use jiff::Timestamp;
use rimeyard_rules::facts::DepotFacts;
use rimeyard_rules::sheet::Sheet;

use super::chance::Chance;
use super::facts;
use super::figures::Population;
use super::ground::Ground;
use super::living;
use super::machine::{Machine, Round};
use super::setting::{Rates, Setting, Twist};
use super::sky::{Climate, Coming, Day, Sky, THIS_WINTER, july};

/// A truth, and the sheet that the depots have entered.
#[derive(Debug, Clone)]
pub struct Case {
    pub name: &'static str,
    /// What is drawn from.
    pub population: Population,
    /// What the depots have entered.
    pub sheet: Sheet,
    pub twist: Twist,
    pub climate: Climate,
    pub coming: Coming,
    /// Whether a storm is named some days ahead, or the design storm comes now.
    pub storm_ahead: bool,
    /// Machines of a depot, from and to.
    pub machines: (i32, i32),
    /// Depots in a fleet: they share its rates and, where that is learned, what it teaches.
    pub depots: usize,
}

impl Case {
    /// Fleets that come to about so many depots, fewer where depots are large.
    pub fn fleets(&self, depots: u64) -> u64 {
        let usual = 8;
        (depots * usual / self.machines.1 as u64).div_ceil(self.depots as u64)
    }
}

/// A storm that is named: it snows from morning to evening of a day.
#[derive(Debug, Clone, Copy)]
pub struct Storm {
    pub day: Day,
}

/// Width of the second model, mm; the first's is the sheet's.
const NARROW_MM: f64 = 600.0;

/// A depot.
pub struct Depot {
    pub facts: DepotFacts,
    pub as_of: Timestamp,
    pub sky: Sky,
    pub machines: Vec<Machine>,
    pub ground: Ground,
    pub storm: Option<Storm>,
    /// How long each machine runs in the storm.
    pub storm_hours: f64,
    /// Nobody sees these.
    pub rates: Rates,
    /// How much faster than elsewhere parts wear here.
    pub times: f64,
    pub after: Chance,
}

/// Draws a fleet.
pub fn fleet(case: &Case, seed: u64, number: u64) -> Vec<Depot> {
    let mut chance = Chance::new(seed, number);
    let rates = Rates::draw(&case.population, &mut chance);
    // What is learned of a fleet is learned as of one instant.
    let from = match chance.whole(0, 3) {
        0 => chance.whole(88, 100),
        1 => chance.whole(140, 165),
        _ => chance.whole(195, 240),
    };
    (0..case.depots)
        .map(|number| {
            let times = match case.twist.bad_depot {
                Some(times) if number == 0 => times,
                _ => 1.0,
            };
            depot(case, &rates.faster(times), times, from, &mut chance)
        })
        .collect()
}

fn depot(case: &Case, rates: &Rates, times: f64, from: i32, chance: &mut Chance) -> Depot {
    let winters = chance.whole(8, 14) as usize;
    let sky = Sky::draw(chance, case.climate, winters, from, case.coming);
    let share = case.twist.bad_batches.map_or(0.0, |(share, _)| share);
    let batches = |chance: &mut Chance| (0..=winters).map(|_| chance.happens(share)).collect();
    let bad_batches = case
        .population
        .parts
        .iter()
        .map(|_| batches(chance))
        .collect();
    let rounds = rounds(&sky, chance);
    let setting = Setting {
        population: &case.population,
        twist: case.twist,
        rates,
        times,
        sky: &sky,
        bad_batches,
        rounds,
    };
    let count = chance.whole(case.machines.0, case.machines.1);
    let machines: Vec<Machine> = (0..count).map(|_| living::draw(&setting, chance)).collect();
    let ground = Ground::draw(&machines, chance);
    let storm = case.storm_ahead.then(|| Storm {
        day: sky.today + chance.whole(1, 8),
    });
    let mut narrow = case.sheet.clone();
    narrow.rate.width_mm.value = NARROW_MM;
    let sheets = [case.sheet.clone(), narrow];
    let facts = facts::depot(
        &sheets,
        &case.population,
        &sky,
        &machines,
        &ground,
        storm,
        chance,
    );
    Depot {
        facts,
        as_of: facts::as_of(&sky),
        storm_hours: ground.storm_hours(&machines),
        sky,
        machines,
        ground,
        storm,
        rates: rates.clone(),
        times,
        after: chance.aside(),
    }
}

/// The days on which a depot begins its rounds: before each season, in the middle of most, after most.
fn rounds(sky: &Sky, chance: &mut Chance) -> Vec<(Day, Round)> {
    let mut rounds = Vec::new();
    for ago in (0..=sky.record.len() as i32).rev() {
        let july = july(THIS_WINTER - ago);
        rounds.push((july + chance.whole(82, 122), Round::PreSeason));
        if chance.happens(0.6) {
            rounds.push((july + chance.whole(195, 225), Round::MidSeason));
        }
        if chance.happens(0.85) {
            rounds.push((july + chance.whole(300, 325), Round::Storage));
        }
    }
    rounds
}
