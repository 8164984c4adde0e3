//! What an order of what to fix first is made from: the facts of depots with the lines of their open orders, the parts that
//! their jobs name, and where these, the ways and the people are. Set by set, however many depots and machines.

use std::collections::{BTreeMap, BTreeSet};

use diesel::QueryableByName;
use diesel::pg::Pg;
use diesel::sql_types::{
    Array, Bool, Date as SqlDate, Double, Integer, Nullable, Text, Uuid as SqlUuid,
};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff::civil::Date;
use rimeyard_rules::buy::Catalogue;
use rimeyard_rules::facts::DepotFacts;
use rimeyard_rules::fix_first::{OpenLine, Place, Supply, words};
use rimeyard_rules::plan::ready::Hours;
use uuid::Uuid;

use crate::{Result, Tx, facts, part, prepared, spares};

/// The facts of these depots as of an instant, and the lines of their open orders.
///
/// # Errors
/// Those of [`facts::load`].
pub async fn work(
    tx: &Tx<'_>,
    depot_ids: &[Uuid],
    as_of: Timestamp,
) -> Result<(Vec<DepotFacts>, Vec<OpenLine>)> {
    futures::try_join!(facts::load(tx, depot_ids, as_of), lines(tx, depot_ids))
}

/// Every word by which these depots' sheets and orders name what is taken.
pub fn named(depots: &[DepotFacts], lines: &[OpenLine]) -> BTreeSet<String> {
    let sheets = depots.iter().flat_map(|depot| depot.sheets.values());
    let on_sheets = sheets.flat_map(words).cloned();
    on_sheets
        .chain(lines.iter().flat_map(|line| line.takes.iter().cloned()))
        .collect()
}

/// The parts that these words name, where they are, and the ways and the technicians of all depots that are granted.
///
/// # Errors
/// Those of the database.
pub async fn supply(tx: &Tx<'_>, names: &BTreeSet<String>) -> Result<Supply> {
    let names: Vec<String> = names.iter().cloned().collect();
    let words = part::named(tx, &names).await?;
    let mut parts = spares::listed(tx, words.values().copied().collect()).await?;
    let in_kits = parts.values().flat_map(|part| &part.kit).map(|(id, _)| *id);
    let in_kits: BTreeSet<Uuid> = in_kits.filter(|id| !parts.contains_key(id)).collect();
    parts.extend(spares::listed(tx, in_kits).await?);
    let places = places(tx).await?;
    let depot_ids: Vec<Uuid> = places.keys().copied().collect();
    let part_ids: Vec<Uuid> = parts.keys().copied().collect();
    Ok(Supply {
        lots: spares::shelves(tx, &depot_ids, &part_ids).await?,
        catalogue: Catalogue { parts, words },
        places,
    })
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct LineRow {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    order_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = Text)]
    title: String,
    #[diesel(sql_type = Nullable<Double>)]
    minutes_planned: Option<f64>,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    finding_id: Option<Uuid>,
    #[diesel(sql_type = Nullable<Text>)]
    task: Option<String>,
    #[diesel(sql_type = Nullable<Text>)]
    part: Option<String>,
    #[diesel(sql_type = Array<Text>)]
    takes: Vec<String>,
    #[diesel(sql_type = Array<SqlUuid>)]
    needed: Vec<Uuid>,
    #[diesel(sql_type = Bool)]
    done: bool,
}

/// The lines of orders that are neither closed nor dropped, those taken off aside.
async fn lines(tx: &Tx<'_>, depot_ids: &[Uuid]) -> Result<Vec<OpenLine>> {
    let granted = depot_ids.iter().copied();
    let granted: Vec<Uuid> = granted
        .filter(|id| tx.tenant().depots.contains(*id))
        .collect();
    let rows: Vec<LineRow> = prepared(
        diesel::sql_query(
            "select l.id, o.id as order_id, o.unit_id, l.title, l.minutes_planned, l.finding_id, l.task, l.part,
                    l.takes, l.done_at is not null as done,
                    array(select n.part_id from jsonb_to_recordset(o.needs) as n (part_id uuid) order by 1) as needed
             from work_order o
             join work_order_line l on l.org_id = o.org_id and l.work_order_id = o.id
             where o.org_id = $1 and o.depot_id = any($2) and o.ended_at is null and l.taken_off is null
             order by o.id, l.id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(granted),
    )
    .load(&mut tx.connection())
    .await?;
    let line = |row: LineRow| OpenLine {
        id: row.id,
        order_id: row.order_id,
        unit_id: row.unit_id,
        title: row.title,
        minutes: row.minutes_planned,
        finding_id: row.finding_id,
        task: row.task,
        part: row.part,
        takes: row.takes,
        needed: row.needed,
        done: row.done,
    };
    Ok(rows.into_iter().map(line).collect())
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct PlaceRow {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Text)]
    name: String,
    #[diesel(sql_type = Integer)]
    travel_minutes: i32,
    #[diesel(sql_type = Nullable<SqlDate>, deserialize_as = jiff_diesel::NullableDate)]
    from_day: Option<Date>,
    #[diesel(sql_type = Nullable<SqlDate>, deserialize_as = jiff_diesel::NullableDate)]
    until_day: Option<Date>,
    #[diesel(sql_type = Nullable<Integer>)]
    weekly_minutes: Option<i32>,
}

/// The depots that are granted: a row for each time that a technician has hours there, one without where nobody has.
async fn places(tx: &Tx<'_>) -> Result<BTreeMap<Uuid, Place>> {
    let rows: Vec<PlaceRow> = prepared(
        diesel::sql_query(
            "select d.id, d.name, d.travel_minutes, h.from_day, h.until_day, h.weekly_minutes
             from depot d
             left join technician_hours h on h.org_id = d.org_id and h.depot_id = d.id
             where d.org_id = $1 and ($2::uuid[] is null or d.id = any($2))
             order by d.id, h.person_id, h.from_day",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Nullable<Array<SqlUuid>>, _>(tx.tenant().depots.as_filter()),
    )
    .load(&mut tx.connection())
    .await?;
    let mut places: BTreeMap<Uuid, Place> = BTreeMap::new();
    for row in rows {
        let place = places.entry(row.id).or_insert_with(|| Place {
            name: row.name,
            travel_minutes: row.travel_minutes.into(),
            hours: Vec::new(),
        });
        if let (Some(from), Some(minutes)) = (row.from_day, row.weekly_minutes) {
            place.hours.push(Hours {
                from,
                until: row.until_day,
                weekly_minutes: minutes.unsigned_abs(),
            });
        }
    }
    Ok(places)
}
