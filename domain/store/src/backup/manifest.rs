//! What a database holds, in few words: enough to see that another holds the same.

use std::collections::BTreeMap;

use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use tokio_postgres::Client;

use crate::Result;
use crate::migrate::failed;

/// What a database held when a backup was made.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Manifest {
    /// When.
    pub made_at: Timestamp,
    /// Every table by its name.
    pub tables: BTreeMap<String, Table>,
    /// Scopes of the feed whose digest is not that of their entries: 0, unless the database had been damaged before.
    pub damaged_scopes: i64,
}

/// What a table held.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Table {
    /// How many rows.
    pub rows: i64,
    /// The sum of the rows' digests, whatever their order: of each the first 8 bytes of its text's MD5, as a number. It
    /// is to find faults and not forgers.
    pub digest: String,
}

impl Manifest {
    /// Of the database as the connection sees it now.
    pub(super) async fn of(client: &Client) -> Result<Manifest> {
        // Rows are compared as text.
        client
            .batch_execute("set timezone = 'UTC'; set datestyle = 'ISO'; set extra_float_digits = 1; set bytea_output = 'hex'")
            .await
            .map_err(failed)?;
        let names = client
            .query(
                "select table_name::text, format('%I', table_name) from information_schema.tables
                 where table_schema = 'public' and table_type = 'BASE TABLE' order by 1",
                &[],
            )
            .await
            .map_err(failed)?;
        let mut tables = BTreeMap::new();
        for row in names {
            let (name, quoted): (String, String) = (row.get(0), row.get(1));
            let held = client
                .query_one(
                    &format!(
                        "select count(*), coalesce(sum(('x' || left(md5(t::text), 16))::bit(64)::bigint::numeric), 0)::text
                         from public.{quoted} t"
                    ),
                    &[],
                )
                .await
                .map_err(failed)?;
            let table = Table {
                rows: held.get(0),
                digest: held.get(1),
            };
            tables.insert(name, table);
        }
        Ok(Manifest {
            made_at: Timestamp::now(),
            tables,
            damaged_scopes: damaged_scopes(client).await?,
        })
    }

    /// What another database holds differently, a sentence each.
    pub(super) fn differences(&self, found: &Manifest) -> Vec<String> {
        let names = self.tables.keys().chain(found.tables.keys());
        let names: std::collections::BTreeSet<_> = names.collect();
        let mut wrong: Vec<String> = names
            .into_iter()
            .filter_map(
                |name| match (self.tables.get(name), found.tables.get(name)) {
                    (Some(held), Some(holds)) if held == holds => None,
                    (Some(held), Some(holds)) if held.rows == holds.rows => Some(format!(
                        "{name}: of its {} rows some are not as they were",
                        held.rows
                    )),
                    (Some(held), Some(holds)) => {
                        Some(format!("{name}: {} rows, not {}", holds.rows, held.rows))
                    }
                    (Some(_), None) => Some(format!("{name}: is missing")),
                    (None, _) => Some(format!("{name}: was not in the backup")),
                },
            )
            .collect();
        if found.damaged_scopes != self.damaged_scopes {
            wrong.push(format!(
                "{} scopes of the feed have another digest than their entries, not {}",
                found.damaged_scopes, self.damaged_scopes
            ));
        }
        wrong
    }
}

/// Works out each scope's digest from the documents themselves, as a reader does (see `feed::write`).
async fn damaged_scopes(client: &Client) -> Result<i64> {
    let row = client
        .query_one(
            "select count(*) from feed_scope s
             left join (
                 select org_id, scope_id, bit_xor(('x' || encode(substr(sha256(convert_to(
                     kind || ':' || object_id || ':' || rev || ':' || doc, 'UTF8')), 1, 8), 'hex'))::bit(64)::bigint) as digest
                 from feed_entry where not deleted group by org_id, scope_id
             ) e using (org_id, scope_id)
             where s.digest <> coalesce(e.digest, 0)",
            &[],
        )
        .await
        .map_err(failed)?;
    Ok(row.get(0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn held(tables: &[(&str, i64, &str)]) -> Manifest {
        let tables = tables.iter().map(|(name, rows, digest)| {
            let table = Table {
                rows: *rows,
                digest: (*digest).to_owned(),
            };
            ((*name).to_owned(), table)
        });
        Manifest {
            made_at: Timestamp::UNIX_EPOCH,
            tables: tables.collect(),
            damaged_scopes: 0,
        }
    }

    #[test]
    fn whatever_differs_is_named() {
        let whole = held(&[("a", 1, "7"), ("b", 2, "8"), ("c", 3, "9")]);
        assert!(whole.differences(&whole).is_empty());
        let found = held(&[("a", 1, "6"), ("b", 1, "8"), ("d", 0, "0")]);
        let damaged = Manifest {
            damaged_scopes: 1,
            ..found
        };
        let wrong = whole.differences(&damaged);
        let named: Vec<_> = wrong.iter().map(|text| &text[..1]).collect();
        assert_eq!(named, ["a", "b", "c", "d", "1"], "{wrong:?}");
    }
}
