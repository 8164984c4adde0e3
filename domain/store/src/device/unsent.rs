//! What a phone that was shut out had not sent yet. It is kept as it came, applied to nothing, and waits for a person who
//! enters it by the ordinary way, as their own word, or sets it aside and says why.

use std::collections::BTreeMap;

use diesel::pg::Pg;
use diesel::prelude::*;
use diesel::sql_types::{Array, Nullable, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff_diesel::NullableTimestamp;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use serde_json::value::RawValue;
use uuid::Uuid;

use super::KIND as DEVICE;
use crate::door::Shut;
use crate::feed::{self, Write};
use crate::json::{json, of_word, word};
use crate::schema::{device, unit, unsent};
use crate::{Database, Depots, Error, Result, Tenant, Tx, clock, fields, prepared};

/// What the audit calls it.
const KIND: &str = "unsent";
/// So much comes at a time.
const ENTRIES_MAX: usize = 200;
/// So much is kept of one phone: years of one that works hard.
const KEPT_MAX: i64 = 20_000;
/// Bytes of one entry, as of a document on the feed.
const BODY_MAX: usize = 65_536;

/// Something that a phone had not sent.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewUnsent {
    /// A UUID of version 7 made on the phone: sent again, it is kept once.
    pub id: Uuid,
    /// What it was to become, in the phone's words: 1 to 60 characters.
    #[cfg_attr(feature = "schema", schema(example = "inspections"))]
    pub what: String,
    /// As the phone would have sent it: an object of at most 64 KiB.
    #[cfg_attr(feature = "schema", schema(value_type = Object))]
    pub body: Box<RawValue>,
}

/// Everything that it had not sent, or some of it.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Outbox {
    /// 1 to 200.
    pub entries: Vec<NewUnsent>,
}

/// How much of it is kept now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Received {
    /// So many were new.
    pub kept: usize,
    /// So many were here already.
    pub known: usize,
}

/// What became of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum Outcome {
    /// A person has entered it as their own word.
    #[serde(rename = "entered")]
    Entered,
    /// It is not to be believed, or no longer of use.
    #[serde(rename = "set aside")]
    SetAside,
}

/// What a person made of it.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Settlement {
    /// What became of it.
    pub outcome: Outcome,
    /// Why, or as what: 1 to 500 characters.
    #[cfg_attr(
        feature = "schema",
        schema(example = "asked him: right, entered with the date of the round")
    )]
    pub word: String,
}

/// What a phone had not sent, as it is kept.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Unsent {
    /// Its id, made on the phone.
    pub id: Uuid,
    /// The phone.
    pub device_id: Uuid,
    /// Where the machine stands that it names, else where the phone hangs; none: those who see every depot see to it.
    pub depot_id: Option<Uuid>,
    /// What it was to become.
    pub what: String,
    /// As it came.
    pub body: Value,
    /// When it came.
    pub received_at: Timestamp,
    /// When a person saw to it.
    pub settled_at: Option<Timestamp>,
    /// Who.
    pub settled_by: Option<Uuid>,
    /// What became of it.
    pub outcome: Option<Outcome>,
    /// Why, or as what.
    pub word: Option<String>,
    /// Its version; the ETag shows the same.
    pub rev: i64,
}

/// Which; what is absent does not narrow.
#[derive(Debug, Clone, Copy, Default)]
pub struct Filter {
    /// Of this phone.
    pub device_id: Option<Uuid>,
    /// Of this depot.
    pub depot_id: Option<Uuid>,
    /// Seen to by a person, or not.
    pub settled: Option<bool>,
}

/// Keeps what a phone that was shut out had not sent.
///
/// # Errors
/// [`Error::Invalid`]; [`Error::Conflict`] where too much of it is here.
pub async fn receive(
    database: &Database,
    phone: Shut,
    outbox: &Outbox,
    request_id: Option<Uuid>,
) -> Result<Received> {
    if outbox.entries.is_empty() {
        return Err(Error::invalid("entries", "must have 1 to 200 items"));
    }
    fields::count("entries", &outbox.entries, ENTRIES_MAX)?;
    for (index, entry) in outbox.entries.iter().enumerate() {
        let field = |name: &str| format!("entries[{index}].{name}");
        if entry.id.get_version_num() != 7 {
            return Err(Error::invalid(
                field("id"),
                "must be a UUID of version 7 (RFC 9562)",
            ));
        }
        fields::line(&field("what"), &entry.what, 1..=60)?;
        let body = entry.body.get();
        // It is shown again as a value, so it must be readable as one.
        let readable = serde_json::from_str::<Value>(body).is_ok_and(|value| value.is_object());
        if body.len() > BODY_MAX || !readable || body.contains("\\u0000") {
            return Err(Error::invalid(
                field("body"),
                format!("must be an object of at most {BODY_MAX} bytes, without NUL"),
            ));
        }
    }
    // Whoever shut the phone out stands for what is kept of it.
    let tenant = Tenant {
        person_id: Some(phone.revoked_by),
        request_id,
        ..Tenant::system(phone.org_id)
    };
    feed::write(database, &tenant, &[phone.org_id], async |tx| {
        keep(tx, phone.device_id, &outbox.entries).await
    })
    .await
}

async fn keep(tx: &mut Write<'_>, device_id: Uuid, entries: &[NewUnsent]) -> Result<Received> {
    let here: i64 = unsent::table
        .filter(unsent::org_id.eq(tx.org_id()))
        .filter(unsent::device_id.eq(device_id))
        .count()
        .get_result(&mut tx.connection())
        .await?;
    if here + entries.len() as i64 > KEPT_MAX {
        return Err(Error::conflict(
            "entries",
            format!("of one phone at most {KEPT_MAX} are kept, and {here} are here"),
        ));
    }
    let named = |entry: &NewUnsent| {
        let body: Value = serde_json::from_str(entry.body.get()).ok()?;
        body.get("unit_id")?.as_str()?.parse().ok()
    };
    let units: Vec<Option<Uuid>> = entries.iter().map(named).collect();
    let stand: Vec<(Uuid, Uuid)> = unit::table
        .filter(unit::org_id.eq(tx.org_id()))
        .filter(unit::id.eq_any(units.iter().flatten()))
        .select((unit::id, unit::depot_id))
        .load(&mut tx.connection())
        .await?;
    let stand: BTreeMap<Uuid, Uuid> = stand.into_iter().collect();
    let hangs: Option<Uuid> = device::table
        .find((tx.org_id(), device_id))
        .select(device::depot_id)
        .first(&mut tx.connection())
        .await?;
    let depots = units
        .iter()
        .map(|unit| unit.and_then(|unit| stand.get(&unit).copied()).or(hangs));
    let kept = prepared(
        diesel::sql_query(
            "insert into unsent (org_id, id, device_id, depot_id, what, body)
             select $1, e.id, $2, e.depot_id, e.what, e.body
             from unnest($3::uuid[], $4::uuid[], $5::text[], $6::text[]) as e (id, depot_id, what, body)
             on conflict (org_id, id) do nothing",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(device_id)
        .bind::<Array<SqlUuid>, _>(entries.iter().map(|entry| entry.id).collect::<Vec<_>>())
        .bind::<Array<Nullable<SqlUuid>>, _>(depots.collect::<Vec<_>>())
        .bind::<Array<Text>, _>(entries.iter().map(|entry| &entry.what).collect::<Vec<_>>())
        .bind::<Array<Text>, _>(entries.iter().map(|entry| entry.body.get()).collect::<Vec<_>>()),
    )
    .execute(&mut tx.connection())
    .await?;
    let received = Received {
        kept,
        known: entries.len() - kept,
    };
    tx.audit(
        tx.org_id(),
        "keep unsent",
        DEVICE,
        device_id,
        json(&received)?,
    );
    Ok(received)
}

/// At most `limit` that the tenant may see, ordered by id, those after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    filter: Filter,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<Unsent>> {
    let mut query = visible(tx);
    if let Some(device_id) = filter.device_id {
        query = query.filter(unsent::device_id.eq(device_id));
    }
    if let Some(depot_id) = filter.depot_id {
        query = query.filter(unsent::depot_id.eq(depot_id));
    }
    match filter.settled {
        Some(true) => query = query.filter(unsent::settled_at.is_not_null()),
        Some(false) => query = query.filter(unsent::settled_at.is_null()),
        None => {}
    }
    if let Some(after) = after {
        query = query.filter(unsent::id.gt(after));
    }
    let rows: Vec<Row> = query
        .select(Row::as_select())
        .order(unsent::id)
        .limit(limit)
        .load(&mut tx.connection())
        .await?;
    rows.into_iter().map(Row::unsent).collect()
}

/// One that the tenant may see.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<Unsent> {
    let query = visible(tx)
        .filter(unsent::id.eq(id))
        .select(Row::as_select());
    query.first::<Row>(&mut tx.connection()).await?.unsent()
}

fn visible<'a>(tx: &Tx<'_>) -> unsent::BoxedQuery<'a, Pg> {
    let query = unsent::table
        .filter(unsent::org_id.eq(tx.org_id()))
        .into_boxed();
    match &tx.tenant().depots {
        Depots::All => query,
        Depots::Some(granted) => {
            let granted: Vec<Uuid> = granted.iter().copied().collect();
            query.filter(unsent::depot_id.eq_any(granted))
        }
    }
}

/// Notes what a person made of it. Lock the organisation's scope.
///
/// # Errors
/// [`Error::NotFound`]; [`Error::Invalid`]; [`Error::Conflict`] where somebody has seen to it.
pub async fn settle(tx: &mut Write<'_>, id: Uuid, how: &Settlement) -> Result<Unsent> {
    fields::line("word", &how.word, 1..=500)?;
    let mut one = find(tx, id).await?;
    if let Some(at) = one.settled_at {
        return Err(Error::conflict("", format!("somebody saw to it at {at}")));
    }
    one.settled_at = Some(clock::now());
    one.settled_by = Some(tx.person_id()?);
    one.outcome = Some(how.outcome);
    one.word = Some(how.word.clone());
    one.rev += 1;
    diesel::update(unsent::table.find((tx.org_id(), id)))
        .set((
            unsent::settled_at.eq(NullableTimestamp::from(one.settled_at)),
            unsent::settled_by.eq(one.settled_by),
            unsent::outcome.eq(word(&how.outcome)?),
            unsent::word.eq(&one.word),
            unsent::rev.eq(one.rev),
        ))
        .execute(&mut tx.connection())
        .await?;
    tx.audit(tx.org_id(), "settle", KIND, id, json(&one)?);
    Ok(one)
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = unsent, check_for_backend(Pg))]
struct Row {
    id: Uuid,
    device_id: Uuid,
    depot_id: Option<Uuid>,
    what: String,
    body: String,
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    received_at: Timestamp,
    #[diesel(deserialize_as = NullableTimestamp)]
    settled_at: Option<Timestamp>,
    settled_by: Option<Uuid>,
    outcome: Option<String>,
    word: Option<String>,
    rev: i64,
}

impl Row {
    fn unsent(self) -> Result<Unsent> {
        Ok(Unsent {
            id: self.id,
            device_id: self.device_id,
            depot_id: self.depot_id,
            what: self.what,
            body: serde_json::from_str(&self.body).map_err(Error::internal)?,
            received_at: self.received_at,
            settled_at: self.settled_at,
            settled_by: self.settled_by,
            outcome: self.outcome.map(of_word).transpose()?,
            word: self.word,
            rev: self.rev,
        })
    }
}
