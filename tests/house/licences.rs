//! Every crate in the lock file can be used under a licence that asks for no source in return.

use super::metadata;
use spdx::{Expression, LicenseReq};

/// Licences that this project accepts in what it is built from.
const ACCEPTED: &[&str] = &[
    "0BSD",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "CDLA-Permissive-2.0",
    "ISC",
    "MIT",
    "MIT-0",
    "PostgreSQL",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

fn accepted(requirement: &LicenseReq) -> bool {
    requirement
        .license
        .id()
        .is_some_and(|licence| ACCEPTED.contains(&licence.name))
}

#[test]
fn every_crate_is_free_to_use() {
    let packages = metadata()["packages"].as_array().expect("packages");
    let mut refused = Vec::new();
    for package in packages {
        let name = package["name"].as_str().expect("name");
        let Some(text) = package["license"].as_str() else {
            refused.push(format!("{name}: no licence named"));
            continue;
        };
        // Some older crates write a slash for OR.
        let fits = Expression::parse(&text.replace('/', " OR "))
            .is_ok_and(|licence| licence.evaluate(accepted));
        if !fits {
            refused.push(format!("{name}: {text}"));
        }
    }
    assert!(packages.len() > 100, "the lock file was read");
    assert!(
        refused.is_empty(),
        "not under an accepted licence: {refused:#?}"
    );
}
