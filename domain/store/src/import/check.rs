//! Checking an import: a few thousand rows at a time, then the whole of it against itself.

use std::collections::BTreeSet;

use diesel::QueryableByName;
use diesel::sql_types::{Array, BigInt, Double, Integer, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use rimeyard_rules::table::What;
use uuid::Uuid;

use super::item::{self, Checked};
use super::step::Work;
use super::{
    FAULTS_MAX, Fault, Step, fault, inspections, meter_readings, parts, snow, stock, units,
};
use crate::feed;
use crate::{Database, Error, Result, Tenant, Tx, prepared};

/// Rows that are checked at a time.
const ROWS: i64 = 2_000;

/// A row as it came.
pub(super) struct Row {
    pub(super) number: i32,
    pub(super) cells: Vec<String>,
}

pub(super) async fn chunk(database: &Database, tenant: &Tenant, work: &Work) -> Result<Step> {
    let (rows, checked) = database
        .read(tenant, async |tx| {
            let rows = load(tx, work).await?;
            if rows.is_empty() {
                return Ok((rows, Checked::default()));
            }
            let layout = &work.layout;
            let checked = match work.what {
                What::Units => units::check(tx, layout, &rows).await?,
                What::Inspections => inspections::check(tx, layout, &rows).await?,
                What::MeterReadings => meter_readings::check(tx, layout, &rows).await?,
                What::Snowfall => snow::check(tx, layout, &rows).await?,
                What::Parts => parts::check(tx, layout, &rows).await?,
                What::Stock => stock::check(tx, layout, &rows).await?,
            };
            Ok((rows, checked))
        })
        .await?;
    let Some(last) = rows.last() else {
        return finish(database, tenant, work).await;
    };
    let to = last.number;
    let Checked {
        items,
        depots,
        mut faults,
    } = checked;
    let found = faults.len();
    faults.sort_by_key(|fault| fault.number);
    faults.truncate(usize::try_from(FAULTS_MAX - work.fault_count).unwrap_or(0));
    // One fault anywhere, and nothing will be applied: nothing need be kept for it.
    let keep = found == 0 && work.fault_count == 0;
    feed::write(database, tenant, &[], async |tx| {
        if keep {
            item::insert(tx, work.claim.id, &items).await?;
        }
        fault::insert(tx, work.claim.id, &faults).await?;
        advance(tx, work, (to, rows.len(), found), &depots).await
    })
    .await?;
    Ok(Step::On(rows.len()))
}

#[derive(QueryableByName)]
struct Stored {
    #[diesel(sql_type = Integer, column_name = row)]
    number: i32,
    #[diesel(sql_type = Text)]
    cells: String,
}

async fn load(tx: &Tx<'_>, work: &Work) -> Result<Vec<Row>> {
    let rows: Vec<Stored> = prepared(
        diesel::sql_query(
            "select row, cells from import_row where org_id = $1 and import_id = $2 and row > $3 order by row limit $4",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(work.claim.id)
        .bind::<Integer, _>(work.checked_to)
        .bind::<BigInt, _>(ROWS),
    )
    .load(&mut tx.connection())
    .await?;
    rows.into_iter()
        .map(|Stored { number, cells }| {
            let cells = serde_json::from_str(&cells).map_err(Error::internal)?;
            Ok(Row { number, cells })
        })
        .collect()
}

async fn advance(
    tx: &Tx<'_>,
    work: &Work,
    (to, rows, faults): (i32, usize, usize),
    depots: &BTreeSet<Uuid>,
) -> Result<()> {
    let count = |count: usize| i32::try_from(count).unwrap_or(i32::MAX);
    let advanced = prepared(
        diesel::sql_query(
            "update import set checked_to = $5, checked_count = checked_count + $6, fault_count = fault_count + $7,
                 depots = (select coalesce(array_agg(distinct d), '{}') from unnest(depots || $9) d),
                 changed_at = now(), attempts = 0, retry_at = null, leased_until = now() + make_interval(secs => $8)
             where org_id = $1 and id = $2 and lease_token = $3 and state = 'checking' and checked_to = $4",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(work.claim.id)
        .bind::<SqlUuid, _>(work.claim.lease_token)
        .bind::<Integer, _>(work.checked_to)
        .bind::<Integer, _>(to)
        .bind::<Integer, _>(count(rows))
        .bind::<Integer, _>(count(faults))
        .bind::<Double, _>(work.lease.as_secs_f64())
        .bind::<Array<SqlUuid>, _>(depots.iter().copied().collect::<Vec<_>>()),
    )
    .execute(&mut tx.connection())
    .await?;
    if advanced == 1 {
        Ok(())
    } else {
        Err(Error::Stale)
    }
}

/// All rows have been looked at: what remains is where they contradict each other.
async fn finish(database: &Database, tenant: &Tenant, work: &Work) -> Result<Step> {
    feed::write(database, tenant, &[], async |tx| {
        let mut faults = repeated(tx, work).await?;
        match work.what {
            What::Inspections => faults.extend(at_odds(tx, work).await?),
            What::Parts => faults.extend(named_alike(tx, work).await?),
            _ => {}
        }
        let found = faults.len();
        faults.sort_by_key(|fault| fault.number);
        faults.truncate(usize::try_from(FAULTS_MAX - work.fault_count).unwrap_or(0));
        fault::insert(tx, work.claim.id, &faults).await?;
        let finished = prepared(
            diesel::sql_query(
                "update import set fault_count = fault_count + $4, checked_at = now(), changed_at = now(), attempts = 0,
                     retry_at = null,
                     state = case when fault_count + $4 > 0 then 'refused'
                                  when dry_run and applied_by is null then 'checked' else 'applying' end,
                     applied_by = case when fault_count + $4 = 0 and not dry_run then coalesce(applied_by, created_by)
                                       else applied_by end
                 where org_id = $1 and id = $2 and lease_token = $3 and state = 'checking'",
            )
            .bind::<SqlUuid, _>(tx.org_id())
            .bind::<SqlUuid, _>(work.claim.id)
            .bind::<SqlUuid, _>(work.claim.lease_token)
            .bind::<Integer, _>(i32::try_from(found).unwrap_or(i32::MAX)),
        )
        .execute(&mut tx.connection())
        .await?;
        if finished == 1 { Ok(()) } else { Err(Error::Stale) }
    })
    .await?;
    Ok(Step::On(0))
}

#[derive(QueryableByName)]
struct Pair {
    #[diesel(sql_type = Integer, column_name = row)]
    number: i32,
    #[diesel(sql_type = Integer)]
    first: i32,
}

/// Rows that say the same thing as an earlier one, of each the rows after the first.
async fn repeated(tx: &Tx<'_>, work: &Work) -> Result<Vec<Fault>> {
    let pairs: Vec<Pair> = prepared(
        diesel::sql_query(
            // No join: Postgres knows nothing yet of rows that came a moment ago, and would plan for a few.
            "select row, first from (
                 select row, min(row) over (partition by key) as first from import_item
                 where org_id = $1 and import_id = $2 and key is not null
             ) keyed where row > first order by row limit $3",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(work.claim.id)
        .bind::<BigInt, _>(i64::from(FAULTS_MAX)),
    )
    .load(&mut tx.connection())
    .await?;
    let (field, same) = match work.what {
        What::Units => ("tag", "is already in"),
        What::Inspections => ("check", "was read for the same machine, time and kind in"),
        What::MeterReadings => ("read_at", "says the same of the same machine and time as"),
        What::Snowfall => ("day", "is already given for the same depot in"),
        What::Parts => ("number", "is already in"),
        What::Stock => (
            "quantity",
            "is already given for the same depot, part, lot and time in",
        ),
    };
    let fault = |Pair { number, first }| Fault {
        number,
        field: field.to_owned(),
        problem: format!("{same} row {first}; leave one of the two"),
    };
    Ok(pairs.into_iter().map(fault).collect())
}

/// Parts of one name, in whatever letters.
async fn named_alike(tx: &Tx<'_>, work: &Work) -> Result<Vec<Fault>> {
    let pairs: Vec<Pair> = prepared(
        diesel::sql_query(
            "select row, first from (
                 select row, min(row) over (partition by lower(content::jsonb->>'name')) as first from import_item
                 where org_id = $1 and import_id = $2
             ) named where row > first order by row limit $3",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(work.claim.id)
        .bind::<BigInt, _>(i64::from(FAULTS_MAX)),
    )
    .load(&mut tx.connection())
    .await?;
    let fault = |Pair { number, first }| Fault {
        number,
        field: "name".to_owned(),
        problem: format!("is already in row {first}; leave one of the two, or name it otherwise"),
    };
    Ok(pairs.into_iter().map(fault).collect())
}

/// Rows of one inspection that disagree about its running hours.
async fn at_odds(tx: &Tx<'_>, work: &Work) -> Result<Vec<Fault>> {
    let pairs: Vec<Pair> = prepared(
        diesel::sql_query(
            "with hours as (
                 select row, substring(place for length(place) - 4) as inspection, content::jsonb->>'run_hours' as hours
                 from import_item where org_id = $1 and import_id = $2
             ), compared as (
                 select row, hours, first_value(row) over same as first, first_value(hours) over same as first_hours
                 from hours where hours is not null
                 window same as (partition by inspection order by row)
             )
             select row, first from compared where hours <> first_hours order by row limit $3",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(work.claim.id)
        .bind::<BigInt, _>(i64::from(FAULTS_MAX)),
    )
    .load(&mut tx.connection())
    .await?;
    let fault = |Pair { number, first }| Fault {
        number,
        field: "run_hours".to_owned(),
        problem: format!("are others than in row {first} of the same inspection; make them equal"),
    };
    Ok(pairs.into_iter().map(fault).collect())
}
