//! Stored texts, put together.

use std::fmt::Write;

use rimeyard_store::state::{Shown, ShownDepot, ShownUnit};
use serde_json::json;
use sha2::{Digest, Sha256};

/// What a reader is told of a depot or a unit that the worker has not got to yet.
const BEING_COMPUTED: &str = "It is being computed; ask again in a moment.";

/// `document` with the instants in front: `{"as_of":..,"valid_until":..,` and the rest of it, its last brace left out,
/// so that more can follow.
pub fn open(out: &mut String, shown: &Shown) {
    let Shown {
        as_of, valid_until, ..
    } = shown;
    open_text(
        out,
        &shown.document,
        &format_args!(r#"{{"as_of":"{as_of}","valid_until":"{valid_until}","#),
    );
}

fn open_text(out: &mut String, document: &str, front: &std::fmt::Arguments<'_>) {
    let inner = document
        .strip_prefix('{')
        .and_then(|rest| rest.strip_suffix('}'))
        .unwrap_or_default();
    out.reserve(inner.len() + 128);
    let _ = out.write_fmt(*front);
    out.push_str(inner);
}

/// A machine of a depot: as of the same instant as the depot itself.
pub fn machine(out: &mut String, depot: &Shown, document: &str) {
    let Shown {
        as_of, valid_until, ..
    } = depot;
    open_text(
        out,
        document,
        &format_args!(r#"{{"as_of":"{as_of}","valid_until":"{valid_until}","#),
    );
    out.push('}');
}

/// A depot that has never been computed, its last brace left out.
pub fn open_uncomputed_depot(out: &mut String, depot: &ShownDepot) {
    let counts = json!({
        "ready": 0, "doubtful": 0, "not_ready": 0, "unproven": 0, "limited": 0, "stopped": 0, "held": 0, "away": 0
    });
    let value = json!({
        "as_of": null,
        "valid_until": null,
        "depot_id": depot.depot_id,
        "name": depot.name,
        "score": null,
        "score_with_unproven": null,
        "storm": {"id": null, "name": "design storm", "starts_at": null, "ends_at": null},
        "needed_rate": null,
        "needed_kg_per_h": null,
        "units": counts,
        "operators": null,
        "because": [{"text": BEING_COMPUTED}],
        "works": [],
    });
    push_open(out, &value);
}

/// A unit that has never been computed, its last brace left out.
pub fn open_uncomputed_unit(out: &mut String, unit: &ShownUnit) {
    let value = json!({
        "as_of": null,
        "valid_until": null,
        "unit_id": unit.unit_id,
        "tag": unit.tag,
        "depot_id": unit.depot_id,
        "status": "unproven",
        "chance": null,
        "rate": null,
        "rate_unit": null,
        "summary": BEING_COMPUTED,
        "because": [{"factor": "computation", "chance": 1.0, "share": 0.0, "text": BEING_COMPUTED}],
        "proof": {"started_at": null, "inspected_at": null, "by": null, "runs_out_at": null},
        "work": null,
        "away": null,
        "counts": false,
        "meter_hours": null,
        "findings": [],
        "parts": [],
        "tasks": [],
    });
    push_open(out, &value);
}

fn push_open(out: &mut String, value: &serde_json::Value) {
    let text = value.to_string();
    out.push_str(&text[..text.len() - 1]);
}

/// Makes a strong ETag of what an answer is put together from, which is much less than the answer: the checks of the
/// documents and the instants they are shown with.
#[derive(Default)]
pub struct Version(Sha256);

impl Version {
    /// A document with its instants; `None` for one that has never been computed.
    pub fn add(&mut self, shown: Option<&Shown>) {
        match shown {
            None => self.0.update([0]),
            Some(shown) => {
                self.0.update([1]);
                self.add_check(shown.check);
                self.0.update(shown.as_of.as_nanosecond().to_be_bytes());
                self.0
                    .update(shown.valid_until.as_nanosecond().to_be_bytes());
            }
        }
    }

    /// A document's check, or anything else that tells versions apart.
    pub fn add_check(&mut self, check: i64) {
        self.0.update(check.to_be_bytes());
    }

    /// Text that is shown as it is.
    pub fn add_text(&mut self, text: &str) {
        self.0.update((text.len() as u64).to_be_bytes());
        self.0.update(text);
    }

    /// The ETag.
    pub fn etag(self) -> String {
        let hash = self.0.finalize();
        let mut etag = String::with_capacity(26);
        etag.push('"');
        for byte in &hash[..12] {
            let _ = write!(etag, "{byte:02x}");
        }
        etag.push('"');
        etag
    }
}
