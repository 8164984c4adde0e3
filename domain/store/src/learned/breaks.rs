//! What the ledgers of shelves say of shear fasteners that broke.

use std::collections::{BTreeMap, BTreeSet};

use diesel::QueryableByName;
use diesel::pg::Pg;
use diesel::sql_types::{Array, BigInt, Nullable, Timestamptz, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use rimeyard_rules::learn::Booked;
use rimeyard_rules::sheet::Sheet;
use uuid::Uuid;

use crate::{Result, Tx, part, prepared};

/// The part of the list that a break takes, by model: of those that the sheet's job for spares names the first that the
/// list has. A break takes one of each, so any of them tells how many there were.
pub(super) async fn parts(
    tx: &Tx<'_>,
    sheets: &BTreeMap<Uuid, Sheet>,
) -> Result<BTreeMap<Uuid, Uuid>> {
    let jobs = sheets.values().filter_map(Sheet::spares_job);
    let names: BTreeSet<&String> = jobs.flat_map(|job| &job.parts).collect();
    let names: Vec<String> = names.into_iter().cloned().collect();
    let listed = part::named(tx, &names).await?;
    let parts = sheets.iter().filter_map(|(model, sheet)| {
        let mut names = sheet.spares_job()?.parts.iter();
        Some((*model, *names.find_map(|name| listed.get(name))?))
    });
    Ok(parts.collect())
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct Row {
    #[diesel(sql_type = SqlUuid)]
    part_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = BigInt)]
    used: i64,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    since: Timestamp,
}

/// What depots have booked of these parts, by part and depot.
///
/// A depot counts from when it booked the use of anything and had the part in its ledger: whoever books nothing that it uses
/// says nothing of breaks by that. What was used at that very instant began the count, and is not in it. Nor is what came out
/// of a kit, which is taken for a task and not for a break, nor what an order took for a shortage that the first inspection
/// of a machine found: that is how it came. Spares that stock a machine otherwise cannot be told from breaks.
pub(super) async fn booked(
    tx: &Tx<'_>,
    parts: &BTreeMap<Uuid, Uuid>,
) -> Result<BTreeMap<(Uuid, Uuid), Booked>> {
    let ids: BTreeSet<Uuid> = parts.values().copied().collect();
    let rows: Vec<Row> = prepared(
        diesel::sql_query(
            "with standing as (
                 select s.* from stock_move s
                 where s.org_id = $1 and ($3::uuid[] is null or s.depot_id = any($3))
                   and not exists (select from stock_move c where c.org_id = s.org_id and c.corrects = s.id)
             ), books as (
                 select depot_id, min(took_effect_at) as since
                 from standing where move = 'used' and quantity > 0 group by depot_id
             ), keeps as (
                 select s.part_id, d.depot_id, min(s.took_effect_at) as since
                 from standing s
                 cross join lateral (values (s.depot_id), (s.to_depot_id)) as d (depot_id)
                 where s.part_id = any($2) and d.depot_id is not null
                 group by s.part_id, d.depot_id
             ), counts as (
                 select k.part_id, depot_id, greatest(k.since, b.since) as since
                 from keeps k join books b using (depot_id)
             )
             select n.part_id, n.depot_id, n.since, coalesce(sum(s.quantity), 0)::bigint as used
             from counts n
             left join standing s
               on s.part_id = n.part_id and s.depot_id = n.depot_id and s.move = 'used' and s.kit_id is null
              and s.took_effect_at > n.since
              and not exists (
                  select from work_order_line l
                  join finding f on f.org_id = l.org_id and f.id = l.finding_id
                  join inspection i on i.org_id = f.org_id and i.id = f.inspection_id
                  where l.org_id = $1 and l.work_order_id = s.work_order_id
                    and not exists (
                        select from inspection e
                        where e.org_id = i.org_id and e.unit_id = i.unit_id
                          and (e.took_effect_at, e.id) < (i.took_effect_at, i.id)
                          and not exists (select from inspection c where c.org_id = e.org_id and c.corrects = e.id)
                    )
              )
             group by n.part_id, n.depot_id, n.since",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(ids.into_iter().collect::<Vec<_>>())
        .bind::<Nullable<Array<SqlUuid>>, _>(tx.tenant().depots.as_filter()),
    )
    .load(&mut tx.connection())
    .await?;
    let booked = rows.into_iter().map(|row| {
        let booked = Booked {
            used: row.used.unsigned_abs(),
            since: row.since,
        };
        ((row.part_id, row.depot_id), booked)
    });
    Ok(booked.collect())
}
