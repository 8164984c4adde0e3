//! Truth by simulation: fleets are drawn whose truth is known, their depots' notes go through the rules, and what is
//! foretold is held against what happens.
//!
//! The generator ([`depot`], [`living`], [`after`]) calls nothing of the rules: it draws winters, machines, parts, readings,
//! failures and starts, day by day, from figures read off a sheet. From the same draws come the facts, as the loader would
//! hand them over ([`facts`]). [`judge`] evaluates these and sets each forecast beside what happens; [`oracle`] is the forecaster
//! that knows what was drawn from; [`bands`] says whether forecasts hold.
//!
//! What is held:
//! - One forecast of each kind, by lot, of a depot and its winter: of each tenth of forecast chance as many happen as 99.9 %
//!   binomial bands allow. All forecasts of a depot share its winter and its fleet's rates; taken together even right ones
//!   fall outside such bands.
//! - All forecasts of whole fleets, by a bootstrap over depots.
//! - Brier skill of at least 95 % of that of the oracle. It has seen what the depots have noted, no more, and knows the
//!   populations that parts, machines, fleets and winters are drawn from, and how; it does not know any part's, machine's or
//!   fleet's own figures. So where the sheet is right both know the same, and what the rules lose is what they approximate.
//!
//! `cargo bench -p rimeyard-tests --bench truth` plays all [`cases`] with many depots; the tests play fewer.

use std::collections::BTreeMap;

use jiff::Timestamp;
use rimeyard_rules::facts::DepotFacts;
use rimeyard_rules::learn::{Fasteners, Fleet};

pub mod after;
pub mod bands;
pub mod cases;
pub mod chance;
pub mod depot;
pub mod facts;
pub mod figures;
pub mod ground;
pub mod judge;
pub mod living;
pub mod machine;
pub mod oracle;
pub mod setting;
pub mod sky;
pub mod spares;
pub mod table;
pub mod told;

/// What is made of the facts of a fleet's depots before anything is foretold from them: where something is learned of the
/// whole fleet, what was learned is put here in place of what the sheets say.
pub type Learn = fn(&mut [DepotFacts], Timestamp);

/// What the depots of a fleet teach together, but for breaks of fasteners: no ledger of parts is drawn.
pub fn of_the_fleet(depots: &mut [DepotFacts], as_of: Timestamp) {
    let sheets = depots.iter().flat_map(|facts| facts.sheets.clone());
    let mut fleet = Fleet::new(sheets.collect(), Fasteners::default());
    for facts in &*depots {
        fleet.look_at(facts, &BTreeMap::new(), as_of);
    }
    let mut learned = fleet.teach();
    for learned in learned.values_mut() {
        learned.breaks = None;
    }
    for facts in depots {
        facts.learned.clone_from(&learned);
    }
}

/// Nothing: the sheets stand as the depots have entered them.
pub fn as_entered(_: &mut [DepotFacts], _: Timestamp) {}
