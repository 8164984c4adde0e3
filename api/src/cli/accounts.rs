//! The six accounts of `rimeyard local`: one of each role, with random passwords, in DIR/demo-accounts.json. The file
//! is what holds: it is made once and kept, and the accounts are made to match it.

use std::fs::{self, OpenOptions};
use std::io::Write;
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;

use rimeyard_store::Role;
use serde::{Deserialize, Serialize};

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

/// The accounts in the folder's file, and whether they were there before.
pub fn read_or_make(folder: &Path) -> Result<(Vec<Account>, bool), Failure> {
    let path = folder.join(FILE);
    if path.exists() {
        let text = fs::read_to_string(&path)?;
        let accounts = serde_json::from_str(&text)
            .map_err(|error| format!("{} cannot be read ({error}); remove it to have new passwords made", path.display()))?;
        return Ok((accounts, true));
    }
    let accounts: Vec<Account> = Role::ALL
        .into_iter()
        .map(|role| Account {
            role: role.as_str().to_owned(),
            email: format!("{}@rimeyard.example", role.as_str().replace(' ', "-")),
            password: random_password(),
        })
        .collect();
    let unfinished = folder.join(format!("{FILE}.unfinished"));
    let mut file = OpenOptions::new().write(true).create(true).truncate(true).mode(0o600).open(&unfinished)?;
    file.write_all(serde_json::to_string_pretty(&accounts)?.as_bytes())?;
    file.sync_all()?;
    fs::rename(&unfinished, &path)?;
    Ok((accounts, false))
}
