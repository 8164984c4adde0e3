//! How figures, instants and states are said on a page.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use rimeyard_rules::unit::standing::Status;

/// A chance in per cent, never said to be surer than it is.
pub fn per_cent(chance: f64) -> String {
    let whole = (chance * 100.0).round();
    format!("{whole:.0} %")
}

/// An instant in a depot's own time: "Thu 26 Nov 2026, 14:00 MST".
pub fn instant(at: Timestamp, zone: &TimeZone) -> String {
    at.to_zoned(zone.clone())
        .strftime("%a %-d %b %Y, %H:%M %Z")
        .to_string()
}

/// The zone of that name; the house's own names were checked when they were stored.
pub fn zone(name: &str) -> TimeZone {
    TimeZone::get(name).unwrap_or(TimeZone::UTC)
}

/// A status for people.
pub fn status(status: Status) -> &'static str {
    match status {
        Status::Held => "held",
        Status::Stopped => "stopped",
        Status::Limited => "limited use",
        Status::Unproven => "unproven",
        Status::NotReady => "not ready",
        Status::Doubtful => "doubtful",
        Status::Ready => "ready",
    }
}
