//! From a depot's facts to its documents.

use jiff::Timestamp;
use rimeyard_rules::alerts;
use rimeyard_rules::depot;
use rimeyard_rules::facts::DepotFacts;
use rimeyard_store::state::{Computed, DepotResult};
use rimeyard_store::{Error, Result};
use serde::Serialize;

/// Computes a depot and its units as they stand at `as_of`: the same facts and instant give the same texts.
///
/// # Errors
/// [`Error::Internal`] for a result that does not hold beyond `as_of`: it would be due again at once, for ever.
pub fn recompute(facts: &DepotFacts, as_of: Timestamp) -> Result<DepotResult> {
    let evaluated = depot::evaluate(facts, as_of);
    if evaluated.valid_until <= as_of {
        return Err(Error::internal(format!(
            "what holds at {as_of} holds only until {}",
            evaluated.valid_until
        )));
    }
    let units = evaluated.units.iter().map(|unit| {
        let tasks = unit.document.tasks.iter();
        let computed = Computed {
            document: text(&unit.document)?,
            status: word(&unit.document.status)?,
            inputs: text(&unit.inputs)?,
            tasks: text(&unit.document.tasks)?,
            owed: tasks.map(|task| task.state.rank()).max().unwrap_or(0),
        };
        Ok((unit.unit_id, computed))
    });
    Ok(DepotResult {
        depot_id: facts.id,
        as_of,
        valid_until: evaluated.valid_until,
        depot: Computed {
            document: text(&evaluated.depot.document)?,
            status: String::new(),
            inputs: text(&evaluated.depot.inputs)?,
            tasks: String::new(),
            owed: 0,
        },
        units: units.collect::<Result<_>>()?,
        alerts: alerts::next(&facts.alerts, &evaluated.signals, as_of),
    })
}

fn text(value: &impl Serialize) -> Result<String> {
    serde_json::to_string(value).map_err(Error::internal)
}

/// A word of the rules, as on the wire.
fn word(value: &impl Serialize) -> Result<String> {
    let quoted = text(value)?;
    Ok(quoted.trim_matches('"').to_owned())
}
