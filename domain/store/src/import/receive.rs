//! Keeping a table as it arrives: [`begin`], [`add`] for each batch of rows, [`end`].

use diesel::QueryableByName;
use diesel::sql_types::{Array, BigInt, Bool, Integer, Jsonb, Nullable, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use rimeyard_rules::table::header::Column;
use rimeyard_rules::table::reader::Row;
use rimeyard_rules::table::{Conventions, What};
use serde_json::json as object;
use uuid::Uuid;

use super::{Import, UNDER_WAY_MAX, find};
use crate::feed::Write;
use crate::json::{json, word};
use crate::{Error, Result, Tx, prepared};

/// A table that begins to arrive.
#[derive(Debug, Clone)]
pub struct NewImport {
    /// Its id.
    pub id: Uuid,
    /// What its rows are.
    pub what: What,
    /// Whether it waits to be applied once it is checked.
    pub dry_run: bool,
    /// What was said of it.
    pub conventions: Conventions,
    /// Its columns.
    pub columns: Vec<Column>,
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct Count {
    #[diesel(sql_type = BigInt)]
    count: i64,
}

/// Opens an import. One that stopped arriving ten minutes ago is abandoned by that.
///
/// # Errors
/// [`Error::Conflict`] where too many of the organisation's are under way.
pub async fn begin(tx: &mut Write<'_>, new: &NewImport) -> Result<()> {
    prepared(
        diesel::sql_query(
            "update import set state = 'abandoned', changed_at = now()
             where org_id = $1 and state = 'receiving' and changed_at < now() - interval '10 minutes'",
        )
        .bind::<SqlUuid, _>(tx.org_id()),
    )
    .execute(&mut tx.connection())
    .await?;
    let under_way: Count = prepared(
        diesel::sql_query(
            "select count(*) as count from import where org_id = $1 and state in ('receiving', 'checking', 'applying')",
        )
        .bind::<SqlUuid, _>(tx.org_id()),
    )
    .get_result(&mut tx.connection())
    .await?;
    if under_way.count >= UNDER_WAY_MAX {
        return Err(Error::conflict(
            "what",
            format!(
                "would be one import more than the {UNDER_WAY_MAX} that may be under way at a time; wait until one has ended"
            ),
        ));
    }
    prepared(
        diesel::sql_query(
            "insert into import (org_id, id, what, state, dry_run, dates, decimal_mark, header, created_by)
             values ($1, $2, $3, 'receiving', $4, $5, $6, $7, $8)",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(new.id)
        .bind::<Text, _>(new.what.word())
        .bind::<Bool, _>(new.dry_run)
        .bind::<Nullable<Text>, _>(new.conventions.dates.as_ref().map(word).transpose()?)
        .bind::<Text, _>(word(&new.conventions.decimal)?)
        .bind::<Jsonb, _>(json(&new.columns)?)
        .bind::<SqlUuid, _>(tx.person_id()?),
    )
    .execute(&mut tx.connection())
    .await?;
    Ok(())
}

/// Keeps a batch of rows.
///
/// # Errors
/// [`Error::Conflict`] where the import stopped arriving for so long that it was given up.
pub async fn add(tx: &Tx<'_>, id: Uuid, rows: &[Row]) -> Result<()> {
    let numbers: Vec<i32> = rows.iter().map(|row| row.number.cast_signed()).collect();
    let cells = rows
        .iter()
        .map(|row| serde_json::to_string(&row.cells).map_err(Error::internal))
        .collect::<Result<Vec<_>>>()?;
    let insert = prepared(
        diesel::sql_query(
            "insert into import_row (org_id, import_id, row, cells)
             select $1, $2, row, cells from unnest($3::integer[], $4::text[]) as r (row, cells)",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(id)
        .bind::<Array<Integer>, _>(numbers)
        .bind::<Array<Text>, _>(cells),
    );
    let count = prepared(
        diesel::sql_query(
            "update import set row_count = row_count + $3, changed_at = now()
             where org_id = $1 and id = $2 and state = 'receiving'",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(id)
        .bind::<Integer, _>(i32::try_from(rows.len()).unwrap_or(i32::MAX)),
    );
    let (inserted, counted) = futures::join!(
        insert.execute(&mut tx.connection()),
        count.execute(&mut tx.connection())
    );
    inserted?;
    still_receiving(counted?)
}

/// Ends the arrival: from here on the workers have it.
///
/// # Errors
/// As [`add`]; [`Error::Invalid`] for a table without rows.
pub async fn end(tx: &mut Write<'_>, id: Uuid) -> Result<Import> {
    let ended = prepared(
        diesel::sql_query(
            "update import set state = 'checking', changed_at = now()
             where org_id = $1 and id = $2 and state = 'receiving'",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(id),
    )
    .execute(&mut tx.connection())
    .await?;
    still_receiving(ended)?;
    let import = find::find(tx, id).await?;
    if import.rows == 0 {
        return Err(Error::invalid(
            "row 2",
            "is missing: the table has a header and no rows",
        ));
    }
    let what = object!({"what": import.what, "rows": import.rows, "dry_run": import.dry_run});
    tx.audit(tx.org_id(), "receive", "import", id, what);
    Ok(import)
}

/// Gives up what will not arrive whole.
///
/// # Errors
/// Those of the database.
pub async fn abandon(tx: &Tx<'_>, id: Uuid) -> Result<()> {
    prepared(
        diesel::sql_query(
            "update import set state = 'abandoned', changed_at = now()
             where org_id = $1 and id = $2 and state = 'receiving'",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(id),
    )
    .execute(&mut tx.connection())
    .await?;
    Ok(())
}

fn still_receiving(updated: usize) -> Result<()> {
    if updated == 1 {
        Ok(())
    } else {
        Err(Error::conflict(
            "what",
            "took too long to arrive and was given up; send it again",
        ))
    }
}
