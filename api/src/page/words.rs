//! How figures, instants and states are said on a page.

use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use maud::{Markup, html};
use rimeyard_rules::unit::standing::Status;
use rimeyard_store::state::Shown;

/// For so long after it ran out a result may wait to be computed anew: midnights are spread over an hour.
const RENEWED_WITHIN: SignedDuration = SignedDuration::from_mins(90);

/// What is to be known of a result that should have been computed anew and was not.
pub fn stale(shown: &Shown, zone: &TimeZone) -> Option<String> {
    (shown.valid_until + RENEWED_WITHIN < Timestamp::now()).then(|| {
        format!(
            "Not computed anew since {}: what has changed with time is not in it. Tell whoever runs the server that its worker stands.",
            instant(shown.as_of, zone)
        )
    })
}

/// Of when a result is, and until when it holds.
pub fn how_old(shown: &Shown, zone: &TimeZone) -> Markup {
    html! {
        @match stale(shown, zone) {
            Some(stale) => p { strong { (stale) } },
            None => p.faint { "As of " (instant(shown.as_of, zone)) "; holds until " (instant(shown.valid_until, zone)) " unless something is reported." },
        }
    }
}

/// A chance in per cent, never said to be surer than it is.
pub fn per_cent(chance: f64) -> String {
    match (chance * 100.0).round() {
        whole if whole >= 100.0 && chance < 1.0 => "over 99 %".to_owned(),
        whole if whole <= 0.0 && chance > 0.0 => "under 1 %".to_owned(),
        whole => format!("{whole:.0} %"),
    }
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
