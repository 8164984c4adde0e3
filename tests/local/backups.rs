//! What `rimeyard local` keeps, backed up while it runs and restored into a new folder.

use std::path::Path;
use std::process::{Command, Output};

use super::lifecycle::{create_depot, depot_names};
use super::{Folder, Local, sign_in};

/// `rimeyard` with this command on a data folder.
fn on(data: &Folder, command: &str, option: &str, backup: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_rimeyard-under-test"))
        .arg(command)
        .arg("--data")
        .arg(data.path())
        .arg(option)
        .arg(backup)
        .output()
        .expect("it runs")
}

#[tokio::test]
async fn a_running_one_is_backed_up_and_restored_into_a_new_folder() {
    let (folder, backups, anew) = (Folder::new(), Folder::new(), Folder::new());
    std::fs::create_dir(backups.path()).expect("a folder");
    let backup = backups.path().join("one");
    let local = Local::start(&folder, &["--empty"]);
    let token = sign_in(&local.base, &folder, "administrator").await;
    create_depot(&local.base, &token, "Before the backup").await;
    let done = on(&folder, "backup", "--to", &backup);
    let said = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{said}");
    create_depot(&local.base, &token, "After the backup").await;

    // Never over what is there.
    assert!(local.interrupt());
    let over = on(&folder, "restore", "--from", &backup);
    let said = String::from_utf8_lossy(&over.stderr);
    assert!(
        !over.status.success() && said.contains("is not empty"),
        "{said}"
    );
    let done = on(&anew, "restore", "--from", &backup);
    let said = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{said}");
    let local = Local::start(&anew, &[]);
    let token = sign_in(&local.base, &folder, "administrator").await;
    assert_eq!(
        depot_names(&local.base, &token).await,
        ["Before the backup"]
    );
    assert!(local.interrupt());
}
