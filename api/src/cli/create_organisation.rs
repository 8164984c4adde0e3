//! `rimeyard create-organisation`

use clap::Args;
use rimeyard_store::person::NewPerson;
use rimeyard_store::{Database, Role, Sizes, organisation, password};

use super::Failure;
use super::accounts::random_password;
use crate::settings::Settings;

#[derive(Debug, Args)]
pub struct Options {
    /// The organisation's name.
    #[arg(long)]
    name: String,
    /// The address its first administrator signs in with.
    #[arg(long)]
    email: String,
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
    let secret = random_password();
    let administrator = NewPerson {
        id: None,
        name: "Administrator".to_owned(),
        role: Role::Administrator,
        all_depots: true,
        depots: Default::default(),
        email: Some(options.email.clone()),
        // Hashed beside it.
        password: None,
    };
    let hashed = password::hash(&secret).await?;
    let first = Some((&administrator, &hashed));
    let org_id = organisation::create(&database, &options.name, first).await?;
    println!(
        "organisation {org_id}: sign in as {} with the password {secret}",
        options.email
    );
    println!("It is shown only now. Change it with PATCH /v1/people/{{person_id}}.");
    Ok(())
}
