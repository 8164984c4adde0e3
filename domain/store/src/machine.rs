//! What must be known of a unit to note a fact about it: where it stands, what it is, and since when.

use std::collections::BTreeMap;

use diesel::QueryableByName;
use diesel::sql_types::{Array, Date, Integer, Nullable, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff::civil;
use jiff::tz::TimeZone;
use uuid::Uuid;

use crate::feed::Write;
use crate::{Error, Result, Tx, prepared};

/// A unit with what it is read against.
#[derive(Debug, Clone, QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
pub(crate) struct Machine {
    #[diesel(sql_type = SqlUuid)]
    pub(crate) unit_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub(crate) depot_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub(crate) model_id: Uuid,
    #[diesel(sql_type = Integer)]
    pub(crate) sheet_version: i32,
    #[diesel(sql_type = SqlUuid)]
    pub(crate) checklist_id: Uuid,
    #[diesel(sql_type = Integer)]
    pub(crate) checklist_version: i32,
    #[diesel(sql_type = Text)]
    zone: String,
    #[diesel(sql_type = Nullable<Date>, deserialize_as = jiff_diesel::NullableDate)]
    acquired_on: Option<civil::Date>,
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = jiff_diesel::NullableTimestamp)]
    pub(crate) retired_at: Option<Timestamp>,
}

impl Machine {
    /// When the agency got it: the first instant of that day at its depot.
    pub(crate) fn acquired_at(&self) -> Result<Option<Timestamp>> {
        let Some(day) = self.acquired_on else {
            return Ok(None);
        };
        let zone = TimeZone::get(&self.zone).map_err(Error::internal)?;
        let first = day.to_zoned(zone).map_err(Error::internal)?;
        Ok(Some(first.timestamp()))
    }
}

/// Those of these units that the tenant may see, by id.
pub(crate) async fn machines(tx: &Tx<'_>, unit_ids: &[Uuid]) -> Result<BTreeMap<Uuid, Machine>> {
    let rows: Vec<Machine> = prepared(
        diesel::sql_query(
            "select u.id as unit_id, u.depot_id, u.model_id, m.sheet_version, m.checklist_id,
                    c.version as checklist_version, d.zone, u.acquired_on, u.retired_at
             from unit u
             join depot d on d.org_id = u.org_id and d.id = u.depot_id
             join model m on m.org_id = u.org_id and m.id = u.model_id
             join checklist c on c.org_id = m.org_id and c.id = m.checklist_id
             where u.org_id = $1 and u.id = any($2) and ($3::uuid[] is null or u.depot_id = any($3))",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(unit_ids)
        .bind::<Nullable<Array<SqlUuid>>, _>(tx.tenant().depots.as_filter()),
    )
    .load(&mut tx.connection())
    .await?;
    Ok(rows
        .into_iter()
        .map(|machine| (machine.unit_id, machine))
        .collect())
}

/// The unit `field` names, for a write that has locked its depot's scope.
///
/// # Errors
/// [`Error::Invalid`] where there is none, [`Error::Moved`] where it moved to another depot since the scope was
/// chosen.
pub(crate) fn named<'a>(
    tx: &Write<'_>,
    machines: &'a BTreeMap<Uuid, Machine>,
    unit_id: Uuid,
    field: &str,
) -> Result<&'a Machine> {
    let machine = machines
        .get(&unit_id)
        .ok_or_else(|| Error::no_such(field))?;
    tx.must_hold(machine.depot_id)?;
    Ok(machine)
}

/// Where these units stand: the scopes to lock for facts about them. `field` names the one that is not there, by its
/// place in the list.
///
/// # Errors
/// [`Error::Invalid`].
pub(crate) async fn scopes_of(
    tx: &Tx<'_>,
    unit_ids: &[Uuid],
    field: impl Fn(usize) -> String,
) -> Result<Vec<Uuid>> {
    let machines = machines(tx, unit_ids).await?;
    unit_ids
        .iter()
        .enumerate()
        .map(|(index, unit_id)| {
            let machine = machines
                .get(unit_id)
                .ok_or_else(|| Error::no_such(field(index)))?;
            Ok(machine.depot_id)
        })
        .collect()
}
