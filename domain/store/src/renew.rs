//! What machines cost, for the question whether to repair or to renew them: parts booked and labour worked for their
//! orders, when they were out, the hours they ran, what a new one costs.

use std::collections::BTreeMap;

use diesel::QueryableByName;
use diesel::pg::Pg;
use diesel::sql_types::{
    Array, BigInt, Double, Nullable, SmallInt, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use rimeyard_rules::availability::Out;
use rimeyard_rules::depot::renew::{DepotCosts, ModelPrice, UnitCosts, WINTERS_MAX, Work};
use rimeyard_rules::facts::DepotFacts;
use rimeyard_rules::season::Winter;
use uuid::Uuid;

use crate::{Error, Result, Tx, prepared};

/// Winters back that running hours are told for.
const WINTERS_OF_HOURS: i16 = 10;

/// What the machines in use of these depots cost up to `as_of`, by depot; facts as [`crate::facts::load`] has them, which
/// leaves out what is not granted.
///
/// # Errors
/// Those of the database.
pub async fn costs(
    tx: &Tx<'_>,
    depots: &[DepotFacts],
    as_of: Timestamp,
) -> Result<BTreeMap<Uuid, DepotCosts>> {
    let winters = Winters::of(depots, as_of)?;
    let ids: Vec<Uuid> = depots.iter().map(|depot| depot.id).collect();
    let (models, since, work, waits, out, hours) = futures::try_join!(
        models(tx, &ids),
        recorded_since(tx, &ids),
        work(tx, &winters),
        waits(tx, &ids),
        out(tx, &ids),
        hours(tx, &winters),
    )?;
    let mut costs: BTreeMap<Uuid, DepotCosts> = BTreeMap::new();
    let mut zones: BTreeMap<Uuid, &TimeZone> = BTreeMap::new();
    for depot in depots {
        costs.insert(depot.id, DepotCosts::default());
        zones.insert(depot.id, &depot.zone);
    }
    for row in models {
        if let Some(depot) = costs.get_mut(&row.depot_id) {
            let model = ModelPrice {
                name: row.name,
                price: row.price_minor.zip(row.currency),
            };
            depot.models.insert(row.model_id, model);
        }
    }
    for row in since {
        if let Some(depot) = costs.get_mut(&row.depot_id) {
            depot.recorded_since = Some(row.at);
        }
    }
    for row in work {
        if let Some(unit) = unit(&mut costs, row.depot_id, row.unit_id) {
            let took = unit.work.entry(Winter(row.winter)).or_default();
            took.parts_minor += row.parts_minor;
            took.unpriced += row.unpriced;
            took.minutes += row.minutes;
        }
    }
    for row in waits {
        if let Some(unit) = unit(&mut costs, row.depot_id, row.unit_id) {
            unit.waits_for = Work {
                parts_minor: row.parts_minor,
                unpriced: row.unpriced,
                minutes: row.minutes,
            };
        }
    }
    for row in out {
        let Some(zone) = zones.get(&row.depot_id) else {
            continue;
        };
        let day = |at: Timestamp| zone.to_datetime(at).date();
        if let Some(unit) = unit(&mut costs, row.depot_id, row.unit_id) {
            unit.out.push(Out {
                from: day(row.from_at),
                until: row.until_at.map(day),
            });
        }
    }
    let mut before: Option<HoursRow> = None;
    for row in hours {
        let follows = before
            .as_ref()
            .filter(|before| before.unit_id == row.unit_id && before.winter + 1 == row.winter);
        let run = follows.map(|before| row.hours - before.hours);
        // Hours that run backwards say nothing.
        if let Some(run) = run.filter(|run| *run >= 0.0)
            && let Some(unit) = unit(&mut costs, row.depot_id, row.unit_id)
        {
            unit.run_hours.insert(Winter(row.winter), run);
        }
        before = Some(row);
    }
    Ok(costs)
}

fn unit(
    costs: &mut BTreeMap<Uuid, DepotCosts>,
    depot_id: Uuid,
    unit_id: Uuid,
) -> Option<&mut UnitCosts> {
    let depot = costs.get_mut(&depot_id)?;
    Some(depot.units.entry(unit_id).or_default())
}

/// The winters of each depot, from the one running back, as parallel arrays: days begin in the depot's zone.
#[derive(Default)]
struct Winters {
    depot_ids: Vec<Uuid>,
    winters: Vec<i16>,
    from: Vec<jiff_diesel::Timestamp>,
    until: Vec<jiff_diesel::Timestamp>,
    /// How many of the last ones hours are told for.
    with_hours: Vec<bool>,
}

impl Winters {
    fn of(depots: &[DepotFacts], as_of: Timestamp) -> Result<Self> {
        let mut all = Winters::default();
        for depot in depots {
            let now = Winter::of(depot.zone.to_datetime(as_of).date());
            let begins = |winter: Winter| {
                let begins = winter.starts().to_zoned(depot.zone.clone());
                begins.map(|at| jiff_diesel::Timestamp::from(at.timestamp()))
            };
            for back in 0..=WINTERS_MAX {
                let winter = Winter(now.0 - back);
                all.depot_ids.push(depot.id);
                all.winters.push(winter.0);
                all.from.push(begins(winter).map_err(Error::internal)?);
                all.until
                    .push(begins(winter.next()).map_err(Error::internal)?);
                all.with_hours.push(back <= WINTERS_OF_HOURS);
            }
        }
        Ok(all)
    }
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct ModelRow {
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    model_id: Uuid,
    #[diesel(sql_type = Text)]
    name: String,
    #[diesel(sql_type = Nullable<BigInt>)]
    price_minor: Option<i64>,
    #[diesel(sql_type = Nullable<Text>)]
    currency: Option<String>,
}

async fn models(tx: &Tx<'_>, depot_ids: &[Uuid]) -> Result<Vec<ModelRow>> {
    let rows = prepared(
        diesel::sql_query(
            "select u.depot_id, m.id as model_id, m.name, m.price_minor, m.currency
             from (select distinct depot_id, model_id from unit
                   where org_id = $1 and depot_id = any($2) and retired_at is null) u
             join model m on m.org_id = $1 and m.id = u.model_id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(depot_ids),
    )
    .load(&mut tx.connection())
    .await?;
    Ok(rows)
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct SinceRow {
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    at: Timestamp,
}

/// When the first order of each depot was opened.
async fn recorded_since(tx: &Tx<'_>, depot_ids: &[Uuid]) -> Result<Vec<SinceRow>> {
    let rows = prepared(
        diesel::sql_query(
            "select depot_id, min(opened_at) as at from work_order
             where org_id = $1 and depot_id = any($2) group by depot_id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(depot_ids),
    )
    .load(&mut tx.connection())
    .await?;
    Ok(rows)
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct WorkRow {
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = SmallInt)]
    winter: i16,
    #[diesel(sql_type = Double)]
    parts_minor: f64,
    #[diesel(sql_type = BigInt)]
    unpriced: i64,
    #[diesel(sql_type = Double)]
    minutes: f64,
}

/// What the orders of each machine took in each winter: parts as the ledger has them, at the list's present price, and
/// labour.
async fn work(tx: &Tx<'_>, winters: &Winters) -> Result<Vec<WorkRow>> {
    let rows = prepared(
        diesel::sql_query(
            "with w as (
                 select * from unnest($2::uuid[], $3::smallint[], $4::timestamptz[], $5::timestamptz[])
                     as w (depot_id, winter, from_at, until_at)
             ), o as (
                 select u.depot_id, u.id as unit_id, m.currency, o.id, o.ended_at
                 from unit u
                 join model m on m.org_id = u.org_id and m.id = u.model_id
                 join work_order o on o.org_id = u.org_id and o.unit_id = u.id
                 where u.org_id = $1 and u.depot_id = any($2) and u.retired_at is null
             ), took as (
                 select o.depot_id, o.unit_id, s.took_effect_at as at,
                        case when p.currency = o.currency then s.quantity::float8 * p.price_minor else 0 end as parts_minor,
                        case when p.currency = o.currency then 0 else s.quantity end as unpriced, 0::float8 as minutes
                 from o
                 join stock_move s on s.org_id = $1 and s.work_order_id = o.id and s.move = 'used'
                 join part p on p.org_id = $1 and p.id = s.part_id
                 where not exists (select from stock_move c where c.org_id = $1 and c.corrects = s.id)
                 union all
                 select o.depot_id, o.unit_id, coalesce(l.done_at, o.ended_at), 0, 0,
                        coalesce(l.minutes_worked, case when l.done_at is not null then l.minutes_planned end, 0)
                 from o
                 join work_order_line l on l.org_id = $1 and l.work_order_id = o.id
                 where coalesce(l.done_at, o.ended_at) is not null
             )
             select t.depot_id, t.unit_id, w.winter, sum(t.parts_minor) as parts_minor,
                    sum(t.unpriced)::int8 as unpriced, sum(t.minutes) as minutes
             from took t
             join w on w.depot_id = t.depot_id and t.at >= w.from_at and t.at < w.until_at
             group by t.depot_id, t.unit_id, w.winter",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(&winters.depot_ids)
        .bind::<Array<SmallInt>, _>(&winters.winters)
        .bind::<Array<Timestamptz>, _>(&winters.from)
        .bind::<Array<Timestamptz>, _>(&winters.until),
    )
    .load(&mut tx.connection())
    .await?;
    Ok(rows)
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct WaitsRow {
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = Double)]
    parts_minor: f64,
    #[diesel(sql_type = BigInt)]
    unpriced: i64,
    #[diesel(sql_type = Double)]
    minutes: f64,
}

/// What the open orders of each machine want still: parts less what was used for them, and labour of lines not done.
async fn waits(tx: &Tx<'_>, depot_ids: &[Uuid]) -> Result<Vec<WaitsRow>> {
    let rows = prepared(
        diesel::sql_query(
            "with o as (
                 select u.depot_id, u.id as unit_id, m.currency, o.id, o.needs
                 from unit u
                 join model m on m.org_id = u.org_id and m.id = u.model_id
                 join work_order o on o.org_id = u.org_id and o.unit_id = u.id and o.ended_at is null
                 where u.org_id = $1 and u.depot_id = any($2) and u.retired_at is null
             ), wants as (
                 select o.depot_id, o.unit_id, o.currency, n.part_id,
                        greatest(n.quantity - coalesce(s.used, 0), 0) as quantity
                 from o
                 cross join lateral jsonb_to_recordset(o.needs) as n (part_id uuid, quantity bigint)
                 left join lateral (
                     select sum(quantity) as used from stock_move m
                     where m.org_id = $1 and m.work_order_id = o.id and m.part_id = n.part_id and m.move = 'used'
                       and not exists (select from stock_move c where c.org_id = $1 and c.corrects = m.id)
                 ) s on true
             ), all_wants as (
                 select w.depot_id, w.unit_id,
                        case when p.currency = w.currency then w.quantity::float8 * p.price_minor else 0 end as parts_minor,
                        case when p.currency = w.currency then 0 else w.quantity end as unpriced, 0::float8 as minutes
                 from wants w
                 join part p on p.org_id = $1 and p.id = w.part_id
                 union all
                 select o.depot_id, o.unit_id, 0, 0, coalesce(l.minutes_planned, 0)
                 from o
                 join work_order_line l on l.org_id = $1 and l.work_order_id = o.id
                 where l.done_at is null and l.taken_off is null
             )
             select depot_id, unit_id, sum(parts_minor) as parts_minor, sum(unpriced)::int8 as unpriced,
                    sum(minutes) as minutes
             from all_wants group by depot_id, unit_id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(depot_ids),
    )
    .load(&mut tx.connection())
    .await?;
    Ok(rows)
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct OutRow {
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    from_at: Timestamp,
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = jiff_diesel::NullableTimestamp)]
    until_at: Option<Timestamp>,
}

/// When each machine was out: down by an order, held, or stopped by a finding.
async fn out(tx: &Tx<'_>, depot_ids: &[Uuid]) -> Result<Vec<OutRow>> {
    let rows = prepared(
        diesel::sql_query(
            "select u.depot_id, u.id as unit_id, s.from_at, s.until_at
             from unit u
             cross join lateral (
                 select d.\"from\" as from_at, coalesce(d.\"to\", o.ended_at) as until_at
                 from work_order o
                 cross join lateral jsonb_to_recordset(o.downtime) as d (\"from\" timestamptz, \"to\" timestamptz)
                 where o.org_id = $1 and o.unit_id = u.id
                 union all
                 select placed_at, lifted_at from hold h where h.org_id = $1 and h.unit_id = u.id
                 union all
                 select opened_at, closed_at from finding f
                 where f.org_id = $1 and f.unit_id = u.id and f.effect = 'stop'
             ) s
             where u.org_id = $1 and u.depot_id = any($2) and u.retired_at is null",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(depot_ids),
    )
    .load(&mut tx.connection())
    .await?;
    Ok(rows)
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct HoursRow {
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = SmallInt)]
    winter: i16,
    #[diesel(sql_type = Double)]
    hours: f64,
}

/// The most that each machine's meter said in each winter, in order; nothing of a machine whose meter was replaced.
async fn hours(tx: &Tx<'_>, winters: &Winters) -> Result<Vec<HoursRow>> {
    let rows = prepared(
        diesel::sql_query(
            "select u.depot_id, u.id as unit_id, w.winter, h.hours
             from unnest($2::uuid[], $3::smallint[], $4::timestamptz[], $5::timestamptz[], $6::bool[])
                 as w (depot_id, winter, from_at, until_at, with_hours)
             join unit u on u.org_id = $1 and u.depot_id = w.depot_id and u.retired_at is null
             cross join lateral (
                 select max(r.run_hours) as hours from (
                     select m.run_hours from meter_reading m
                     where m.org_id = $1 and m.unit_id = u.id
                       and m.took_effect_at >= w.from_at and m.took_effect_at < w.until_at and m.flags = '{}'
                       and not exists (select from meter_reading c where c.org_id = $1 and c.corrects = m.id)
                     union all
                     select i.run_hours from inspection i
                     where i.org_id = $1 and i.unit_id = u.id
                       and i.took_effect_at >= w.from_at and i.took_effect_at < w.until_at and i.flags = '{}'
                       and not exists (select from inspection c where c.org_id = $1 and c.corrects = i.id)
                 ) r
             ) h
             where w.with_hours and h.hours is not null
               and not exists (select from meter_reading m where m.org_id = $1 and m.unit_id = u.id and m.meter_replaced)
             order by u.id, w.winter",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(&winters.depot_ids)
        .bind::<Array<SmallInt>, _>(&winters.winters)
        .bind::<Array<Timestamptz>, _>(&winters.from)
        .bind::<Array<Timestamptz>, _>(&winters.until)
        .bind::<Array<diesel::sql_types::Bool>, _>(&winters.with_hours),
    )
    .load(&mut tx.connection())
    .await?;
    Ok(rows)
}
