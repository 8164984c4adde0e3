//! `rimeyard migrate`

use rimeyard_store::migrate::migrate;

use super::Failure;
use crate::settings::Settings;

pub async fn run(settings: Settings) -> Result<(), Failure> {
    let login_url = settings.database_url()?;
    let owner_url = settings
        .migrate_database_url
        .as_deref()
        .unwrap_or(login_url);
    let done = migrate(owner_url, login_url).await?;
    match done.as_slice() {
        [] => println!("nothing to do: the database is up to date"),
        names => names.iter().for_each(|name| println!("ran {name}")),
    }
    Ok(())
}
