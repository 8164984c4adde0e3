//! What makes a sheet sensible.

use super::Sheet;
use crate::Invalid;

/// Every fault of the sheet.
pub fn check(_sheet: &Sheet) -> Result<(), Vec<Invalid>> {
    Ok(())
}
