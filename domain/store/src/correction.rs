//! Facts are corrected by later facts: which correction can stand.

use std::collections::BTreeSet;

use uuid::Uuid;

use crate::{Error, Result};

/// A fact that may be corrected, once.
pub(crate) trait Fact {
    /// Its id.
    fn id(&self) -> Uuid;
    /// The unit it is about.
    fn unit_id(&self) -> Uuid;
    /// What corrects it already.
    fn corrected_by(&self) -> Option<Uuid>;
}

/// Checks corrections: of each new fact the unit and what it corrects. `old` are those of the corrected that the tenant
/// may see. A fault's field begins with the place in the list: `[0].corrects`.
///
/// # Errors
/// [`Error::Invalid`] where the corrected fact is not there, not for this tenant, or of another unit;
/// [`Error::Conflict`] where it is corrected already.
pub(crate) fn check(
    new: impl Iterator<Item = (Uuid, Option<Uuid>)>,
    old: &[impl Fact],
) -> Result<()> {
    let mut corrected = BTreeSet::new();
    for (index, (unit_id, corrects)) in new.enumerate() {
        let Some(corrects) = corrects else { continue };
        let field = format!("[{index}].corrects");
        let Some(old) = old.iter().find(|old| old.id() == corrects) else {
            return Err(Error::no_such(field));
        };
        if old.unit_id() != unit_id {
            return Err(Error::invalid(
                field,
                "is of another unit; a correction is of the same one",
            ));
        }
        if let Some(correction) = old.corrected_by() {
            return Err(Error::conflict(
                field,
                format!("was corrected already; correct {correction}"),
            ));
        }
        if !corrected.insert(corrects) {
            return Err(Error::conflict(
                field,
                "is corrected twice at once; give one correction",
            ));
        }
    }
    Ok(())
}
