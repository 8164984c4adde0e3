//! Lists of facts on a table that many winters have filled: Postgres itself counts what it reads for a page.

use rimeyard_store::meter_reading::{self, Filter};
use rimeyard_store::{Depots, Error, Tenant, Tx};
use uuid::Uuid;

use super::{House, owner};

const DEPOTS: i32 = 60;
const UNITS: i32 = 20;
const READINGS: i32 = 60_000;

/// Depots with units and readings of theirs, past the foreign keys. Answers with the depots and a unit of the first.
async fn filled(house: &House) -> (Vec<Uuid>, Uuid) {
    let client = owner(&house.name).await;
    client
        .batch_execute("set session_replication_role = replica")
        .await
        .expect("a superuser");
    let fill = format!(
        "create temporary table place as select gen_random_uuid() as depot_id, d from generate_series(1, {DEPOTS}) d;
         create temporary table machine as select gen_random_uuid() as unit_id, depot_id, d, u from place, generate_series(1, {UNITS}) u;
         insert into unit (org_id, id, depot_id, model_id, tag, rigging)
             select '{org}', unit_id, depot_id, gen_random_uuid(), d || '-' || u, 'blow' from machine;
         insert into meter_reading (org_id, id, unit_id, depot_id, read_at, read_by, run_hours)
             select '{org}', gen_random_uuid(), unit_id, depot_id, now() - make_interval(hours => n), gen_random_uuid(), n
             from generate_series(1, {READINGS}) n join machine on d = n % {DEPOTS} + 1 and u = n / {DEPOTS} % {UNITS} + 1;
         analyze unit, meter_reading",
        org = house.org_id()
    );
    client.batch_execute(&fill).await.expect("filled");
    let depots = client
        .query("select depot_id from place order by d", &[])
        .await
        .expect("asked");
    let depots: Vec<Uuid> = depots.iter().map(|row| row.get(0)).collect();
    let unit = client
        .query_one("select unit_id from machine where d = 1 and u = 1", &[])
        .await
        .expect("there");
    (depots, unit.get(0))
}

#[derive(diesel::QueryableByName)]
struct Read {
    #[diesel(sql_type = diesel::sql_types::BigInt)]
    read: i64,
}

/// The count goes on from whatever the connection did before.
async fn counted(tx: &Tx<'_>) -> Result<i64, Error> {
    let read = diesel::sql_query(
        "select (seq_tup_read + coalesce(idx_tup_fetch, 0)) as read from pg_stat_xact_user_tables where relname = 'meter_reading'",
    );
    let read = diesel_async::RunQueryDsl::get_result::<Read>(read, &mut tx.connection());
    Ok(read.await?.read)
}

#[tokio::test]
async fn a_page_of_facts_reads_a_depots_worth_and_not_the_organisations() {
    let house = House::new().await;
    let (depots, unit) = filled(&house).await;
    let page = async |granted: &[Uuid], filter: Filter, after: Option<Uuid>| {
        let tenant = Tenant {
            depots: Depots::Some(granted.iter().copied().collect()),
            ..house.tenant.clone()
        };
        house
            .database
            .read(&tenant, async |tx| {
                let before = counted(tx).await?;
                let page = meter_reading::list(tx, filter, after, 100).await?;
                Ok((page, counted(tx).await? - before))
            })
            .await
            .expect("listed")
    };
    let week = jiff::Timestamp::now() - jiff::SignedDuration::from_hours(24 * 7);
    let of_depot = i64::from(READINGS / DEPOTS);
    let of_unit = of_depot / i64::from(UNITS);
    // The first and the last page; how much is read at most. Without a filter readings go by in the order of their ids
    // until a page is full, one in sixty of them being the depot's.
    let start = None;
    let end = Some(Uuid::from_u128(0xff80 << 112));
    for (what, filter, most) in [
        ("all", Filter::default(), i64::from(READINGS) / 4),
        (
            "of a unit",
            Filter {
                unit_id: Some(unit),
                ..Filter::default()
            },
            3 * of_unit,
        ),
        (
            "of the depot",
            Filter {
                depot_id: Some(depots[0]),
                ..Filter::default()
            },
            2 * of_depot,
        ),
        (
            "of a week",
            Filter {
                read_from: Some(week),
                ..Filter::default()
            },
            2 * of_depot,
        ),
    ] {
        for after in [start, end] {
            let (shown, read) = page(&depots[..1], filter, after).await;
            assert!(
                shown.iter().all(|reading| reading.depot_id == depots[0]),
                "{what}"
            );
            assert!(after.is_some() || !shown.is_empty(), "{what}");
            assert!(
                read <= most,
                "{what}, after {after:?}: {read} of {READINGS} read for {}",
                shown.len()
            );
        }
    }
}
