//! Imports as readers get them: their own, those that are about depots granted once that is known, and everybody's for
//! whoever is granted every depot.

use diesel::QueryableByName;
use diesel::sql_types::{
    Array, BigInt, Bool, Integer, Jsonb, Nullable, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use serde_json::json;
use uuid::Uuid;

use super::{Fault, Import, State, fault};
use crate::feed::Write;
use crate::json::{of_json, of_word};
use crate::{Error, Result, Tx, prepared};

/// How many faults an import shows by itself.
const FIRST_FAULTS: i64 = 20;

/// At most `limit` imports that the tenant may see, ordered by id, those after `after`; without their faults.
///
/// # Errors
/// Those of the database.
pub async fn list(tx: &Tx<'_>, after: Option<Uuid>, limit: i64) -> Result<Vec<Import>> {
    let rows = select(tx, None, after, limit).await?;
    rows.into_iter()
        .map(|row| row.into_import(Vec::new()))
        .collect()
}

/// One import that the tenant may see.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<Import> {
    let mut rows = select(tx, Some(id), None, 1).await?;
    let row = rows.pop().ok_or(Error::NotFound { what: "import" })?;
    let faults = if row.fault_count > 0 {
        fault::select(tx, id, 0, FIRST_FAULTS).await?
    } else {
        Vec::new()
    };
    row.into_import(faults)
}

/// Has a checked import applied, or a halted one go on, in the name of whoever asks.
///
/// # Errors
/// [`Error::NotFound`]; [`Error::Conflict`] for one in any other state.
pub async fn apply(tx: &mut Write<'_>, id: Uuid) -> Result<Import> {
    let import = find(tx, id).await?;
    let advice = match import.state {
        State::Checked | State::Halted => None,
        State::Receiving | State::Checking => Some("wait until it is checked"),
        State::Refused => Some("correct the rows at fault and send the table again"),
        State::Applying | State::Applied => Some("there is nothing left to do"),
        State::Abandoned => Some("send the table again"),
    };
    if let Some(advice) = advice {
        let state = crate::json::word(&import.state)?;
        return Err(Error::conflict("state", format!("is {state}: {advice}")));
    }
    let clear = prepared(
        // One that was halted while it was checked keeps what was found and is checked on.
        diesel::sql_query(
            "delete from import_fault where org_id = $1 and import_id = $2
             and exists (select from import where org_id = $1 and id = $2 and checked_at is not null)",
        )
            .bind::<SqlUuid, _>(tx.org_id())
            .bind::<SqlUuid, _>(id),
    );
    let begin = prepared(
        diesel::sql_query(
            "update import set state = case when checked_at is null then 'checking' else 'applying' end, applied_by = $3,
                 changed_at = now(), fault_count = case when checked_at is null then fault_count else 0 end,
                 halted_because = null, attempts = 0, retry_at = null, last_error = null
             where org_id = $1 and id = $2 and state in ('checked', 'halted')",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(id)
        .bind::<SqlUuid, _>(tx.person_id()?),
    );
    let (cleared, begun) = futures::join!(
        clear.execute(&mut tx.connection()),
        begin.execute(&mut tx.connection())
    );
    cleared?;
    if begun? == 0 {
        return Err(Error::Contended);
    }
    tx.audit(
        tx.org_id(),
        "apply",
        "import",
        id,
        json!({"what": import.what, "rows": import.rows}),
    );
    find(tx, id).await
}

async fn select(
    tx: &Tx<'_>,
    id: Option<Uuid>,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<Row>> {
    Ok(prepared(
        diesel::sql_query(
            "select id, what, state, dry_run, dates, decimal_mark, header, created_by, applied_by, created_at, changed_at,
                    checked_at, applied_at, row_count, checked_count, applied_count, fault_count, halted_because
             from import
             where org_id = $1 and ($2::uuid is null or id = $2) and ($3::uuid is null or id > $3)
               and ($4::uuid[] is null or created_by = $5 or checked_at is not null and state <> 'refused' and depots <@ $4)
             order by id limit $6",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Nullable<SqlUuid>, _>(id)
        .bind::<Nullable<SqlUuid>, _>(after)
        .bind::<Nullable<Array<SqlUuid>>, _>(tx.tenant().depots.as_filter())
        .bind::<Nullable<SqlUuid>, _>(tx.tenant().person_id)
        .bind::<BigInt, _>(limit),
    )
    .load(&mut tx.connection())
    .await?)
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct Row {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Text)]
    what: String,
    #[diesel(sql_type = Text)]
    state: String,
    #[diesel(sql_type = Bool)]
    dry_run: bool,
    #[diesel(sql_type = Nullable<Text>)]
    dates: Option<String>,
    #[diesel(sql_type = Text)]
    decimal_mark: String,
    #[diesel(sql_type = Jsonb)]
    header: serde_json::Value,
    #[diesel(sql_type = SqlUuid)]
    created_by: Uuid,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    applied_by: Option<Uuid>,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    created_at: Timestamp,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    changed_at: Timestamp,
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = jiff_diesel::NullableTimestamp)]
    checked_at: Option<Timestamp>,
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = jiff_diesel::NullableTimestamp)]
    applied_at: Option<Timestamp>,
    #[diesel(sql_type = Integer)]
    row_count: i32,
    #[diesel(sql_type = Integer)]
    checked_count: i32,
    #[diesel(sql_type = Integer)]
    applied_count: i32,
    #[diesel(sql_type = Integer)]
    fault_count: i32,
    #[diesel(sql_type = Nullable<Text>)]
    halted_because: Option<String>,
}

impl Row {
    fn into_import(self, first_faults: Vec<Fault>) -> Result<Import> {
        Ok(Import {
            id: self.id,
            what: of_word(self.what)?,
            state: of_word(self.state)?,
            dry_run: self.dry_run,
            dates: self.dates.map(of_word).transpose()?,
            decimal: of_word(self.decimal_mark)?,
            columns: of_json(self.header)?,
            created_by: self.created_by,
            applied_by: self.applied_by,
            created_at: self.created_at,
            changed_at: self.changed_at,
            checked_at: self.checked_at,
            applied_at: self.applied_at,
            rows: self.row_count,
            rows_checked: self.checked_count,
            rows_applied: self.applied_count,
            faults: self.fault_count,
            first_faults,
            halted_because: self.halted_because,
        })
    }
}
