//! What rows name: machines by tag, depots by name or id, models by name.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use diesel::QueryableByName;
use diesel::sql_types::{Array, Bool, Nullable, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::tz::TimeZone;
use uuid::Uuid;

use crate::{Error, Result, Tx, prepared};

/// A machine with what its rows are read against.
pub(super) struct Machine {
    pub(super) unit_id: Uuid,
    pub(super) depot_id: Uuid,
    pub(super) model_id: Uuid,
    pub(super) zone: TimeZone,
}

/// A depot.
pub(super) struct Depot {
    pub(super) id: Uuid,
    pub(super) zone: TimeZone,
}

#[derive(QueryableByName)]
struct MachineRow {
    #[diesel(sql_type = Text)]
    tag: String,
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    model_id: Uuid,
    #[diesel(sql_type = Text)]
    zone: String,
}

/// Zones by name, each looked up once.
#[derive(Default)]
struct Zones(BTreeMap<String, TimeZone>);

impl Zones {
    fn get(&mut self, name: String) -> Result<TimeZone> {
        if let Some(zone) = self.0.get(&name) {
            return Ok(zone.clone());
        }
        let zone = TimeZone::get(&name).map_err(Error::internal)?;
        self.0.insert(name, zone.clone());
        Ok(zone)
    }
}

/// Those of these tags that the tenant may see.
pub(super) async fn machines(
    tx: &Tx<'_>,
    tags: BTreeSet<&str>,
) -> Result<HashMap<String, Machine>> {
    let rows: Vec<MachineRow> = prepared(
        diesel::sql_query(
            "select u.tag, u.id, u.depot_id, u.model_id, d.zone from unit u
             join depot d on d.org_id = u.org_id and d.id = u.depot_id
             where u.org_id = $1 and u.tag = any($2) and ($3::uuid[] is null or u.depot_id = any($3))",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<Text>, _>(tags.into_iter().collect::<Vec<_>>())
        .bind::<Nullable<Array<SqlUuid>>, _>(tx.tenant().depots.as_filter()),
    )
    .load(&mut tx.connection())
    .await?;
    let mut zones = Zones::default();
    rows.into_iter()
        .map(|row| {
            let machine = Machine {
                unit_id: row.id,
                depot_id: row.depot_id,
                model_id: row.model_id,
                zone: zones.get(row.zone)?,
            };
            Ok((row.tag, machine))
        })
        .collect()
}

#[derive(QueryableByName)]
struct DepotRow {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Text)]
    name: String,
    #[diesel(sql_type = Text)]
    zone: String,
}

/// Those of these depots that are granted, by what they were named by.
pub(super) async fn depots(tx: &Tx<'_>, named: BTreeSet<&str>) -> Result<HashMap<String, Depot>> {
    let ids: Vec<Uuid> = named.iter().filter_map(|text| text.parse().ok()).collect();
    let rows: Vec<DepotRow> = prepared(
        diesel::sql_query(
            "select id, name, zone from depot
             where org_id = $1 and (name = any($2) or id = any($3)) and ($4::uuid[] is null or id = any($4))",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<Text>, _>(named.iter().copied().collect::<Vec<_>>())
        .bind::<Array<SqlUuid>, _>(ids)
        .bind::<Nullable<Array<SqlUuid>>, _>(tx.tenant().depots.as_filter()),
    )
    .load(&mut tx.connection())
    .await?;
    let mut zones = Zones::default();
    let mut depots = HashMap::new();
    for row in rows {
        let zone = zones.get(row.zone)?;
        let by_id = named.iter().filter(|text| text.parse() == Ok(row.id));
        let names = by_id.copied().chain([row.name.as_str()]);
        for name in names.map(str::to_owned).collect::<Vec<_>>() {
            let zone = zone.clone();
            depots.insert(name, Depot { id: row.id, zone });
        }
    }
    Ok(depots)
}

#[derive(QueryableByName)]
struct Named {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Text)]
    name: String,
}

/// Those of these models that exist.
pub(super) async fn models(tx: &Tx<'_>, names: BTreeSet<&str>) -> Result<HashMap<String, Uuid>> {
    let rows: Vec<Named> = prepared(
        diesel::sql_query("select id, name from model where org_id = $1 and name = any($2)")
            .bind::<SqlUuid, _>(tx.org_id())
            .bind::<Array<Text>, _>(names.into_iter().collect::<Vec<_>>()),
    )
    .load(&mut tx.connection())
    .await?;
    Ok(rows.into_iter().map(|row| (row.name, row.id)).collect())
}

/// A part of the list.
#[derive(Clone, Copy)]
pub(super) struct Part {
    pub(super) id: Uuid,
    pub(super) is_kit: bool,
}

#[derive(QueryableByName)]
struct PartRow {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Text)]
    number: String,
    #[diesel(sql_type = Text)]
    name: String,
    #[diesel(sql_type = Bool)]
    is_kit: bool,
}

/// Those of these parts that are listed, by number and by name in small letters.
pub(super) async fn parts(tx: &Tx<'_>, named: BTreeSet<&str>) -> Result<HashMap<String, Part>> {
    let lower: Vec<String> = named.iter().map(|name| name.to_lowercase()).collect();
    let rows: Vec<PartRow> = prepared(
        diesel::sql_query(
            "select id, number, lower(name) as name, kit is not null as is_kit from part
             where org_id = $1 and (number = any($2) or lower(name) = any($3))",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<Text>, _>(named.into_iter().collect::<Vec<_>>())
        .bind::<Array<Text>, _>(lower),
    )
    .load(&mut tx.connection())
    .await?;
    let part = |row: &PartRow| Part {
        id: row.id,
        is_kit: row.is_kit,
    };
    // Where one part's number is another's name, the number counts.
    let by_name = rows.iter().map(|row| (row.name.clone(), part(row)));
    let by_number = rows.iter().map(|row| (row.number.clone(), part(row)));
    Ok(by_name.chain(by_number).collect())
}

/// Those of these tags that are taken, by whomever.
pub(super) async fn tags_taken(tx: &Tx<'_>, tags: BTreeSet<&str>) -> Result<BTreeSet<String>> {
    let rows: Vec<Named> = prepared(
        diesel::sql_query("select id, tag as name from unit where org_id = $1 and tag = any($2)")
            .bind::<SqlUuid, _>(tx.org_id())
            .bind::<Array<Text>, _>(tags.into_iter().collect::<Vec<_>>()),
    )
    .load(&mut tx.connection())
    .await?;
    Ok(rows.into_iter().map(|row| row.name).collect())
}
