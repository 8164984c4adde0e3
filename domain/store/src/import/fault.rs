//! What is wrong with an import, row by row.

use std::collections::BTreeMap;

use diesel::QueryableByName;
use diesel::sql_types::{Array, BigInt, Bool, Integer, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use rimeyard_rules::Invalid;
use serde::Serialize;
use uuid::Uuid;

use super::find;
use crate::{Error, Result, Tx, prepared};

/// A fault of an import.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, QueryableByName)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = ImportFault))]
pub struct Fault {
    /// The row, as spreadsheets count.
    #[diesel(sql_type = Integer, column_name = row)]
    #[serde(rename = "row")]
    pub number: i32,
    /// The column.
    #[diesel(sql_type = Text)]
    pub field: String,
    /// What is wrong and what to do.
    #[diesel(sql_type = Text)]
    pub problem: String,
}

/// A row of an import with what is wrong with it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = ImportRow))]
pub struct RowReport {
    /// Its number, as spreadsheets count.
    pub row: i32,
    /// Its cells, as sent.
    pub cells: Vec<String>,
    /// What is wrong with it, by column.
    pub faults: Vec<Invalid>,
}

#[derive(QueryableByName)]
struct Row {
    #[diesel(sql_type = Integer, column_name = row)]
    number: i32,
    #[diesel(sql_type = Text)]
    cells: String,
}

/// At most `limit` rows of an import after row `after`; only those at fault where that is asked.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn rows(
    tx: &Tx<'_>,
    id: Uuid,
    at_fault: bool,
    after: i32,
    limit: i64,
) -> Result<Vec<RowReport>> {
    find::find(tx, id).await?;
    let rows: Vec<Row> = prepared(
        diesel::sql_query(
            "select row, cells from import_row r
             where org_id = $1 and import_id = $2 and row > $3
               and (not $4 or exists (select from import_fault f where f.org_id = $1 and f.import_id = $2 and f.row = r.row))
             order by row limit $5",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(id)
        .bind::<Integer, _>(after)
        .bind::<Bool, _>(at_fault)
        .bind::<BigInt, _>(limit),
    )
    .load(&mut tx.connection())
    .await?;
    let numbers: Vec<i32> = rows.iter().map(|row| row.number).collect();
    let faults: Vec<Fault> = prepared(
        diesel::sql_query(
            "select row, field, problem from import_fault
             where org_id = $1 and import_id = $2 and row = any($3) order by row, place",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(id)
        .bind::<Array<Integer>, _>(numbers),
    )
    .load(&mut tx.connection())
    .await?;
    let mut by_row: BTreeMap<i32, Vec<Invalid>> = BTreeMap::new();
    for Fault {
        number,
        field,
        problem,
    } in faults
    {
        by_row
            .entry(number)
            .or_default()
            .push(Invalid::new(field, problem));
    }
    rows.into_iter()
        .map(|Row { number, cells }| {
            Ok(RowReport {
                row: number,
                cells: serde_json::from_str(&cells).map_err(Error::internal)?,
                faults: by_row.remove(&number).unwrap_or_default(),
            })
        })
        .collect()
}

/// The faults of an import that are kept.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn faults(tx: &Tx<'_>, id: Uuid) -> Result<Vec<Fault>> {
    find::find(tx, id).await?;
    select(tx, id, 0, i64::MAX).await
}

pub(super) async fn select(tx: &Tx<'_>, id: Uuid, after: i32, limit: i64) -> Result<Vec<Fault>> {
    Ok(prepared(
        diesel::sql_query(
            "select row, field, problem from import_fault
             where org_id = $1 and import_id = $2 and row > $3 order by row, place limit $4",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(id)
        .bind::<Integer, _>(after)
        .bind::<BigInt, _>(limit),
    )
    .load(&mut tx.connection())
    .await?)
}

/// Keeps faults. The place of one among those of its row follows from the list, in which a row's stand together.
pub(super) async fn insert(tx: &Tx<'_>, id: Uuid, faults: &[Fault]) -> Result<()> {
    if faults.is_empty() {
        return Ok(());
    }
    let all = || faults.iter();
    prepared(
        diesel::sql_query(
            "insert into import_fault (org_id, import_id, row, place, field, problem)
             select $1, $2, row, row_number() over (partition by row order by place), field, problem
             from unnest($3::integer[], $4::text[], $5::text[]) with ordinality as f (row, field, problem, place)",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(id)
        .bind::<Array<Integer>, _>(all().map(|fault| fault.number).collect::<Vec<_>>())
        .bind::<Array<Text>, _>(all().map(|fault| fault.field.as_str()).collect::<Vec<_>>())
        .bind::<Array<Text>, _>(all().map(|fault| fault.problem.as_str()).collect::<Vec<_>>()),
    )
    .execute(&mut tx.connection())
    .await?;
    Ok(())
}
