//! What stands stored of depots' recomputations, to be held against a fresh one.

use std::collections::BTreeMap;

use diesel::QueryableByName;
use diesel::sql_types::{Array, Bool, Nullable, SmallInt, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use rimeyard_rules::alerts::Next;
use uuid::Uuid;

use super::{Computed, DepotResult};
use crate::{Result, Tx, prepared};

/// A depot as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Stored {
    /// The depot.
    pub depot_id: Uuid,
    /// Whether it is marked as due, or being recomputed right now: then what is stored is known to be out of date.
    pub due: bool,
    /// Whether it is parked.
    pub parked: bool,
    /// What was computed last; a document that is missing is empty. `None` if nothing ever was.
    pub result: Option<DepotResult>,
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct DepotRow {
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = Bool)]
    due: bool,
    #[diesel(sql_type = Bool)]
    parked: bool,
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = jiff_diesel::NullableTimestamp)]
    as_of: Option<Timestamp>,
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = jiff_diesel::NullableTimestamp)]
    valid_until: Option<Timestamp>,
    #[diesel(sql_type = Text)]
    inputs: String,
    #[diesel(sql_type = Text)]
    document: String,
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct UnitRow {
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = Text)]
    status: String,
    #[diesel(sql_type = Text)]
    inputs: String,
    #[diesel(sql_type = Text)]
    tasks: String,
    #[diesel(sql_type = SmallInt)]
    owed: i16,
    #[diesel(sql_type = Text)]
    document: String,
}

/// The depots among `depot_ids` that exist, ordered by id.
///
/// # Errors
/// Those of the database.
pub async fn stored(tx: &Tx<'_>, depot_ids: &[Uuid]) -> Result<Vec<Stored>> {
    let depots = prepared(
        diesel::sql_query(
            "select m.depot_id, m.parked_at is not null as parked,
                    m.due_at <= now() or coalesce(m.leased_until > now(), false) as due,
                    s.as_of, s.valid_until, coalesce(s.inputs, '') as inputs, coalesce(e.doc, '') as document
             from mark m
             left join depot_state s on s.org_id = m.org_id and s.depot_id = m.depot_id
             left join feed_entry e on e.org_id = m.org_id and e.scope_id = m.depot_id and e.kind = 'depot-state'
                  and e.object_id = m.depot_id and not e.deleted
             where m.org_id = $1 and m.depot_id = any($2)
             order by m.depot_id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(depot_ids),
    );
    // From both sides: a row without a document and a document without a row are faults to be shown.
    let units = prepared(
        diesel::sql_query(
            "select coalesce(s.depot_id, e.scope_id) as depot_id, coalesce(s.unit_id, e.object_id) as unit_id,
                    coalesce(s.status, '') as status, coalesce(s.inputs, '') as inputs,
                    coalesce(s.tasks, '') as tasks, coalesce(s.owed, 0::smallint) as owed, coalesce(e.doc, '') as document
             from (select * from unit_state where org_id = $1 and depot_id = any($2)) s
             full join (select * from feed_entry where org_id = $1 and scope_id = any($2) and kind = 'unit-state'
                        and not deleted) e
                  on e.scope_id = s.depot_id and e.object_id = s.unit_id
             order by unit_id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(depot_ids),
    );
    let (depots, rows): (Vec<DepotRow>, Vec<UnitRow>) = futures::try_join!(
        depots.load(&mut tx.connection()),
        units.load(&mut tx.connection())
    )?;
    let mut units: BTreeMap<Uuid, Vec<(Uuid, Computed)>> = BTreeMap::new();
    for row in rows {
        let computed = Computed {
            document: row.document,
            status: row.status,
            inputs: row.inputs,
            tasks: row.tasks,
            owed: row.owed,
        };
        units
            .entry(row.depot_id)
            .or_default()
            .push((row.unit_id, computed));
    }
    let stored = depots.into_iter().map(|row| Stored {
        depot_id: row.depot_id,
        due: row.due,
        parked: row.parked,
        result: row
            .as_of
            .zip(row.valid_until)
            .map(|(as_of, valid_until)| DepotResult {
                depot_id: row.depot_id,
                as_of,
                valid_until,
                depot: Computed {
                    document: row.document,
                    status: String::new(),
                    inputs: row.inputs,
                    tasks: String::new(),
                    owed: 0,
                },
                alerts: Next::default(),
                units: units.remove(&row.depot_id).unwrap_or_default(),
            }),
    });
    Ok(stored.collect())
}
