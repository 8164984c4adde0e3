//! `rimeyard rotate-keys`

use std::time::Duration;

use clap::Args;
use rimeyard_store::{Database, Sizes, door};

use super::Failure;
use crate::settings::Settings;
use crate::token::{Kind, new_key};

#[derive(Debug, Args)]
pub struct Options {
    /// A key was stolen: take no token that the keys before have signed. Clients refresh; pages ask to sign in again.
    #[arg(long)]
    at_once: bool,
    #[command(flatten)]
    settings: Settings,
}

pub async fn run(options: Options) -> Result<(), Failure> {
    let sizes = Sizes {
        app: 1,
        door: 1,
        clock: 1,
    };
    let database = Database::connect(options.settings.database_url()?, sizes).await?;
    let life = if options.at_once {
        Duration::ZERO
    } else {
        Duration::from_secs(Kind::Page.life_s().unsigned_abs())
    };
    let key = new_key()?;
    door::rotate_keys(&database, &key, life).await?;
    println!(
        "key {} signs within seconds; those before it are taken for {} more hours",
        key.kid,
        life.as_secs() / 3600
    );
    Ok(())
}
