//! When a result that holds until some instant is computed again.

use jiff::{SignedDuration, Timestamp};
use rimeyard_rules::facts::DepotFacts;
use uuid::Uuid;

/// Midnights are spread over so long, seconds: else every depot of a zone would be due at once.
const SPREAD_S: u64 = 3600;

/// The instant itself where something happens then (a storm begins, a limited use ends). A midnight is only where
/// civil dates move on: it may wait for up to an hour, each depot for its own while.
pub fn due_at(facts: &DepotFacts, valid_until: Timestamp) -> Timestamp {
    let local = valid_until.to_zoned(facts.zone.clone());
    let is_midnight = local
        .start_of_day()
        .is_ok_and(|midnight| midnight.timestamp() == valid_until);
    let storms = facts
        .storms
        .iter()
        .flat_map(|storm| [storm.starts_at, storm.ends_at]);
    let uses = facts
        .units
        .iter()
        .flat_map(|unit| &unit.limited_uses)
        .flat_map(|limited| [limited.starts_at, limited.ends_at]);
    if is_midnight && !storms.chain(uses).any(|instant| instant == valid_until) {
        valid_until + spread(facts.id)
    } else {
        valid_until
    }
}

/// The same for a depot every night; the random part of its id decides.
fn spread(depot_id: Uuid) -> SignedDuration {
    let random = depot_id.as_u64_pair().1;
    SignedDuration::from_secs((random % SPREAD_S) as i64)
}
