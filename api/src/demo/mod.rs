//! The demo: an invented mountain transit agency.

use rimeyard_store::{Database, Result, organisation};
use uuid::Uuid;

/// Loads the demo into a database in which there is no one yet, and answers with its organisation. `progress` is told
/// what is being done.
///
/// # Errors
/// Those of the database.
pub async fn load(database: &Database, progress: &impl Fn(&str)) -> Result<Uuid> {
    progress("making the organisation");
    organisation::create(database, "High Valleys Transit").await
}
