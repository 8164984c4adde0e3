//! What is owed of machines, across depots and by date: the tasks of units as they were last computed.

use diesel::QueryableByName;
use diesel::sql_types::{
    Array, BigInt, Date, Nullable, SmallInt, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff_diesel::ToDiesel;
use rimeyard_rules::due::State;
use rimeyard_rules::unit::tasks::TaskState;
use serde::Serialize;
use uuid::Uuid;

use crate::{Error, Result, Tx, prepared};

/// A task of a unit, as last computed.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct UnitTask {
    /// The unit.
    pub unit_id: Uuid,
    /// The number on its tag.
    pub tag: String,
    /// Where it stands.
    pub depot_id: Uuid,
    /// As of when this was computed.
    pub as_of: Timestamp,
    /// The task.
    #[serde(flatten)]
    pub task: TaskState,
}

/// Which tasks; what is absent does not narrow.
#[derive(Debug, Clone, Copy, Default)]
pub struct Filter {
    /// Of units at this depot.
    pub depot_id: Option<Uuid>,
    /// Of this unit.
    pub unit_id: Option<Uuid>,
    /// That stand so.
    pub state: Option<State>,
    /// Whose date (p50 where running hours decide) is at latest this one.
    pub until: Option<jiff::civil::Date>,
}

/// Where a task stands in the list: by date, those without one last, then by unit and task.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// Its date.
    pub on: Option<jiff::civil::Date>,
    /// The unit.
    pub unit_id: Uuid,
    /// The task on its sheet.
    pub task: String,
}

impl UnitTask {
    /// Where it stands in the list.
    pub fn place(&self) -> Place {
        Place {
            on: self.task.on,
            unit_id: self.unit_id,
            task: self.task.task.clone(),
        }
    }
}

/// The date of what has none, in the order of dates as ISO 8601 writes them.
const NEVER: &str = "9999-12-31";

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct Row {
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = Text)]
    tag: String,
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    as_of: Timestamp,
    #[diesel(sql_type = Text)]
    task: String,
}

/// At most `limit` tasks of the machines that the tenant may see, in the order of [`Place`], those after `after`. Between
/// two pages a recomputation may move a task from one to the other.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    filter: Filter,
    after: Option<&Place>,
    limit: i64,
) -> Result<Vec<UnitTask>> {
    let after_on = after.map(|place| place.on.map_or(NEVER.to_owned(), |on| on.to_string()));
    let rows: Vec<Row> = prepared(
        diesel::sql_query(
            "select s.unit_id, u.tag, s.depot_id, s.as_of, t.task::text as task
             from unit_state s
             join unit u on u.org_id = s.org_id and u.id = s.unit_id and u.retired_at is null
             cross join lateral jsonb_array_elements(s.tasks::jsonb) as t (task)
             cross join lateral (select coalesce(t.task ->> 'on', '9999-12-31') collate \"C\" as by_date,
                                        (t.task ->> 'task') collate \"C\" as name) k
             where s.org_id = $1 and ($2::uuid[] is null or s.depot_id = any($2))
               and ($3::uuid is null or s.depot_id = $3) and ($4::uuid is null or s.unit_id = $4)
               and ($5::smallint is null or s.owed >= $5) and ($6::text is null or t.task ->> 'state' = $6)
               and ($7::date is null or (t.task ->> 'on')::date <= $7)
               and ($8::text is null or (k.by_date, s.unit_id, k.name) > ($8, $9, $10))
             order by k.by_date, s.unit_id, k.name limit $11",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Nullable<Array<SqlUuid>>, _>(tx.tenant().depots.as_filter())
        .bind::<Nullable<SqlUuid>, _>(filter.depot_id)
        .bind::<Nullable<SqlUuid>, _>(filter.unit_id)
        .bind::<Nullable<SmallInt>, _>(filter.state.map(State::rank))
        .bind::<Nullable<Text>, _>(filter.state.map(State::as_str))
        .bind::<Nullable<Date>, _>(filter.until.map(|until| until.to_diesel()))
        .bind::<Nullable<Text>, _>(after_on)
        .bind::<Nullable<SqlUuid>, _>(after.map(|place| place.unit_id))
        .bind::<Nullable<Text>, _>(after.map(|place| place.task.as_str()))
        .bind::<BigInt, _>(limit),
    )
    .load(&mut tx.connection())
    .await?;
    let tasks = rows.into_iter().map(|row| {
        Ok(UnitTask {
            unit_id: row.unit_id,
            tag: row.tag,
            depot_id: row.depot_id,
            as_of: row.as_of,
            task: serde_json::from_str(&row.task).map_err(Error::internal)?,
        })
    });
    tasks.collect()
}
