//! Whether an order may close: every line done or taken off, every finding on it proved right again.

use rimeyard_rules::order::{Line, Proof, bars_closing};
use rimeyard_rules::verdict::Verdict;

use super::{LineFinding, OrderLine, WorkOrder};
use crate::inspection::{self, Inspection, JudgedReading};
use crate::{Error, Result, Tx};

/// That an order may close.
///
/// # Errors
/// [`Error::Faults`]: each line still to be done, each check still to be proved.
pub(super) async fn may_close(tx: &Tx<'_>, order: &WorkOrder) -> Result<()> {
    let inspection = proof(tx, order).await?;
    let lines: Vec<Line<'_>> = order
        .lines
        .iter()
        .map(|line| Line {
            title: &line.title,
            done: line.done,
            taken_off: line.taken_off.is_some(),
            proof: line.finding.as_ref().map(|finding| Proof {
                check: &finding.check,
                lacks: lacks(line, finding, inspection.as_ref()),
            }),
        })
        .collect();
    Error::of_faults(bars_closing(&lines), "")
}

/// The inspection that the order names as its proof: one of its unit that still counts.
///
/// # Errors
/// [`Error::Invalid`].
pub(super) async fn proof(
    tx: &Tx<'_>,
    order: &WorkOrder,
) -> Result<Option<Inspection<JudgedReading>>> {
    let Some(id) = order.proved_by else {
        return Ok(None);
    };
    let inspection = match inspection::find(tx, id).await {
        Err(Error::NotFound { .. }) => return Err(Error::no_such("proved_by")),
        found => found?,
    };
    if inspection.unit_id != order.unit_id {
        return Err(Error::invalid(
            "proved_by",
            "is an inspection of another unit; name one of this order's",
        ));
    }
    if let Some(correction) = inspection.corrected_by {
        return Err(Error::invalid(
            "proved_by",
            format!("was corrected by inspection {correction}; name that one"),
        ));
    }
    Ok(Some(inspection))
}

/// Why the check of a line is not proved.
fn lacks(
    line: &OrderLine,
    finding: &LineFinding,
    inspection: Option<&Inspection<JudgedReading>>,
) -> Option<String> {
    let Some(inspection) = inspection else {
        return Some(
            "inspect the machine after the work, and name that inspection in proved_by".to_owned(),
        );
    };
    let at = inspection.took_effect_at();
    if at <= finding.opened_at {
        return Some(format!(
            "the inspection was made before it was found at {}",
            finding.opened_at
        ));
    }
    if let Some(done_at) = line.done_at.filter(|done_at| at < *done_at) {
        return Some(format!(
            "the inspection was made before the work was done at {done_at}; inspect the machine again, or say in done_at \
             when the work was done"
        ));
    }
    let reading = inspection
        .readings
        .iter()
        .find(|judged| judged.reading.check == finding.check);
    match reading {
        None => Some("the inspection has no reading of it".to_owned()),
        Some(judged) if judged.reading.verdict != Verdict::Serviceable => Some(format!(
            "the inspection does not have it serviceable: {}",
            judged.text
        )),
        Some(_) if finding.closed_at.is_none() => {
            Some("a later inspection found it unserviceable again".to_owned())
        }
        Some(_) => None,
    }
}
