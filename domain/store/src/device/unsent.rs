//! What a phone that is no longer welcome had not sent yet, and a shared one of an operator who may no longer act on it. It
//! is kept as it came, applied to nothing, and waits for a person who enters it by the ordinary way, as their own word, or
//! sets it aside and says why.

mod receive;

pub use receive::receive;

use diesel::pg::Pg;
use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff_diesel::NullableTimestamp;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use serde_json::value::RawValue;
use uuid::Uuid;

use crate::feed::Write;
use crate::json::{json, of_word, word};
use crate::schema::unsent;
use crate::{Depots, Error, Result, Tx, clock, fields};

/// What the audit calls it.
const KIND: &str = "unsent";
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
    /// On a phone that operators share: who had it in their hands. A phone that is welcome hands in what it has of those who
    /// may no longer act on it, and nothing else.
    pub operator_id: Option<Uuid>,
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
    /// Who had the phone in their hands, if operators share it: as it says.
    pub operator_id: Option<Uuid>,
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
    let scope = one.depot_id.unwrap_or(tx.org_id());
    tx.audit(scope, "settle", KIND, id, json(&one)?);
    Ok(one)
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = unsent, check_for_backend(Pg))]
struct Row {
    id: Uuid,
    device_id: Uuid,
    depot_id: Option<Uuid>,
    operator_id: Option<Uuid>,
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
            operator_id: self.operator_id,
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
