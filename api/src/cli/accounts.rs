//! The six accounts of `rimeyard local`: one of each role, with random passwords, in DIR/demo-accounts.json. The file
//! is written before the accounts are made and kept: of the passwords, the database has hashes only.

use std::collections::BTreeSet;
use std::fs::{self, OpenOptions};
use std::io::Write;
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;

use rimeyard_store::person::{self, NewPerson, PersonChange};
use rimeyard_store::{Database, Role, Tenant, depot, feed, password};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::Failure;

/// The file's name.
pub const FILE: &str = "demo-accounts.json";

/// One account.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Account {
    /// Its role, in words.
    pub role: String,
    /// The address to sign in with.
    pub email: String,
    /// The password.
    pub password: String,
}

/// A password of 96 random bits.
pub fn random_password() -> String {
    use base64::Engine;
    base64::prelude::BASE64_URL_SAFE_NO_PAD.encode(rand::random::<[u8; 12]>())
}

/// The accounts in the folder's file, made if there is none.
///
/// # Errors
/// A file that cannot be read or written.
pub fn read_or_make(folder: &Path) -> Result<Vec<Account>, Failure> {
    let path = folder.join(FILE);
    if path.exists() {
        let text = fs::read_to_string(&path)?;
        let unreadable = |error| {
            format!(
                "{} cannot be read ({error}); remove it and start again",
                path.display()
            )
        };
        return Ok(serde_json::from_str(&text).map_err(unreadable)?);
    }
    let account = |role: Role| Account {
        role: role.as_str().to_owned(),
        email: format!("{}@rimeyard.example", role.as_str().replace(' ', "-")),
        password: random_password(),
    };
    let accounts: Vec<Account> = Role::ALL.into_iter().map(account).collect();
    // Whole or not at all: the passwords are nowhere else.
    let unfinished = folder.join(format!("{FILE}.unfinished"));
    let mut file = OpenOptions::new()
        .write(true)
        .create(true)
        .truncate(true)
        .mode(0o600)
        .open(&unfinished)?;
    file.write_all(serde_json::to_string_pretty(&accounts)?.as_bytes())?;
    file.sync_all()?;
    fs::rename(&unfinished, &path)?;
    Ok(accounts)
}

/// Gives the accounts to people: of each role to the first there is, else to a new person. A new one who works at one
/// depot is granted the first, if there is one; the others, and everyone where there are no depots yet, are granted
/// all.
///
/// # Errors
/// Those of the store.
pub async fn create(
    database: &Database,
    org_id: Uuid,
    accounts: &[Account],
) -> Result<(), Failure> {
    let house = Tenant::system(org_id);
    let (depots, people) = database
        .read(&house, async |tx| {
            Ok((
                depot::list(tx, None, None, 1).await?,
                person::list(tx, None, None, 200).await?,
            ))
        })
        .await?;
    let mut given = Vec::new();
    for account in accounts {
        let role: Role = account.role.parse()?;
        let person = people.iter().find(|person| person.role == role);
        given.push((
            account,
            role,
            person,
            password::hash(&account.password).await?,
        ));
    }
    feed::write(database, &house, &[org_id], async |tx| {
        for (account, role, person, hashed) in &given {
            let email = Some(account.email.clone());
            if let Some(person) = person {
                let change = PersonChange {
                    email,
                    ..PersonChange::default()
                };
                person::update(tx, person.id, person.rev, &change, Some(hashed)).await?;
                continue;
            }
            let at_one = matches!(role, Role::Operator | Role::DepotLead | Role::DepotSystem);
            let first = depots.iter().map(|depot| depot.id);
            let granted: BTreeSet<Uuid> = first.filter(|_| at_one).collect();
            let new = NewPerson {
                id: None,
                name: account.role.clone(),
                role: *role,
                all_depots: granted.is_empty(),
                depots: granted,
                email,
                // Hashed beside it.
                password: None,
            };
            person::create(tx, &new, Some(hashed)).await?;
        }
        Ok(())
    })
    .await?;
    Ok(())
}
