//! Alerts: opened, raised, told to the district and cleared by the worker, from what the rules make of the facts;
//! acknowledged by a person, with a word.

use std::collections::BTreeMap;

use diesel::pg::Pg;
use diesel::prelude::*;
use diesel::upsert::excluded;
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff_diesel::{NullableTimestamp, ToDiesel};
use rimeyard_rules::alerts::{self, AlertKind, Next, OpenAlert, Severity};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::feed::{self, Write, kind};
use crate::json::{json, of_word, word};
use crate::schema::alert;
use crate::{Database, Error, Result, Tenant, Tx, clock, fields};

/// An alert, as readers get it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Alert {
    /// Its id.
    pub id: Uuid,
    /// The depot.
    pub depot_id: Uuid,
    /// What it is about.
    pub kind: AlertKind,
    /// The unit, depot, work order or part it is about.
    pub subject_id: Uuid,
    /// The unit, if it is about one.
    pub unit_id: Option<Uuid>,
    /// How bad it is.
    pub severity: Severity,
    /// Said for people.
    pub text: String,
    /// When it was opened.
    pub opened_at: Timestamp,
    /// When it was opened or last got worse.
    pub raised_at: Timestamp,
    /// When the district was told, because nobody had taken it up in its time.
    pub escalated_at: Option<Timestamp>,
    /// When somebody took it up; null again once it gets worse.
    pub acknowledged_at: Option<Timestamp>,
    /// Who: a person.
    pub acknowledged_by: Option<Uuid>,
    /// With which word.
    pub acknowledged_with: Option<String>,
    /// When the facts cleared it.
    pub cleared_at: Option<Timestamp>,
    /// Its version; the ETag shows the same.
    pub rev: i64,
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = alert, check_for_backend(Pg))]
struct Row {
    id: Uuid,
    depot_id: Uuid,
    kind: String,
    subject_id: Uuid,
    unit_id: Option<Uuid>,
    severity: String,
    text: String,
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    opened_at: Timestamp,
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    raised_at: Timestamp,
    #[diesel(deserialize_as = NullableTimestamp)]
    escalated_at: Option<Timestamp>,
    #[diesel(deserialize_as = NullableTimestamp)]
    acknowledged_at: Option<Timestamp>,
    acknowledged_by: Option<Uuid>,
    acknowledged_with: Option<String>,
    #[diesel(deserialize_as = NullableTimestamp)]
    cleared_at: Option<Timestamp>,
    rev: i64,
}

impl Row {
    fn alert(self) -> Result<Alert> {
        Ok(Alert {
            id: self.id,
            depot_id: self.depot_id,
            kind: of_word(self.kind)?,
            subject_id: self.subject_id,
            unit_id: self.unit_id,
            severity: of_word(self.severity)?,
            text: self.text,
            opened_at: self.opened_at,
            raised_at: self.raised_at,
            escalated_at: self.escalated_at,
            acknowledged_at: self.acknowledged_at,
            acknowledged_by: self.acknowledged_by,
            acknowledged_with: self.acknowledged_with,
            cleared_at: self.cleared_at,
            rev: self.rev,
        })
    }
}

/// The word with which an alert is taken up.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Acknowledgement {
    /// What is done about it: 1 to 500 characters.
    #[cfg_attr(
        feature = "schema",
        schema(example = "belt is on the bench, back on Friday")
    )]
    pub word: String,
}

/// Which alerts; what is absent does not narrow.
#[derive(Debug, Clone, Copy, Default)]
pub struct Filter {
    /// Of this depot.
    pub depot_id: Option<Uuid>,
    /// About this unit.
    pub unit_id: Option<Uuid>,
    /// Of this kind.
    pub kind: Option<AlertKind>,
    /// Open, or cleared.
    pub open: Option<bool>,
    /// Told to the district, or not.
    pub escalated: Option<bool>,
    /// Taken up by a person, or not.
    pub acknowledged: Option<bool>,
}

/// At most `limit` alerts that the tenant may see, ordered by id, which is by when they were opened; those after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    filter: Filter,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<Alert>> {
    let mut query = narrowed(tx, filter)?;
    if let Some(after) = after {
        query = query.filter(alert::id.gt(after));
    }
    let query = query.select(Row::as_select()).order(alert::id).limit(limit);
    let rows: Vec<Row> = query.load(&mut tx.connection()).await?;
    rows.into_iter().map(Row::alert).collect()
}

/// At most `limit` alerts that the tenant may see, the worst first and of those the latest.
///
/// # Errors
/// Those of the database.
pub async fn worst(tx: &Tx<'_>, filter: Filter, limit: i64) -> Result<Vec<Alert>> {
    use diesel::dsl::case_when;
    use diesel::sql_types::Integer;

    let rank = case_when::<_, _, Integer>(alert::severity.eq(Severity::Urgent.as_str()), 0)
        .when(alert::severity.eq(Severity::Warning.as_str()), 1)
        .otherwise(2);
    let query = narrowed(tx, filter)?.select(Row::as_select());
    let query = query.order((rank, alert::raised_at.desc(), alert::id));
    let rows: Vec<Row> = query.limit(limit).load(&mut tx.connection()).await?;
    rows.into_iter().map(Row::alert).collect()
}

/// One alert that the tenant may see.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<Alert> {
    let query = visible(tx)
        .filter(alert::id.eq(id))
        .select(Row::as_select());
    let row: Row = query.first(&mut tx.connection()).await?;
    row.alert()
}

fn narrowed<'a>(tx: &Tx<'_>, filter: Filter) -> Result<alert::BoxedQuery<'a, Pg>> {
    let mut query = visible(tx);
    if let Some(depot_id) = filter.depot_id {
        query = query.filter(alert::depot_id.eq(depot_id));
    }
    if let Some(unit_id) = filter.unit_id {
        query = query.filter(alert::unit_id.eq(unit_id));
    }
    if let Some(kind) = filter.kind {
        query = query.filter(alert::kind.eq(word(&kind)?));
    }
    query = match filter.open {
        Some(true) => query.filter(alert::cleared_at.is_null()),
        Some(false) => query.filter(alert::cleared_at.is_not_null()),
        None => query,
    };
    query = match filter.escalated {
        Some(true) => query.filter(alert::escalated_at.is_not_null()),
        Some(false) => query.filter(alert::escalated_at.is_null()),
        None => query,
    };
    query = match filter.acknowledged {
        Some(true) => query.filter(alert::acknowledged_at.is_not_null()),
        Some(false) => query.filter(alert::acknowledged_at.is_null()),
        None => query,
    };
    Ok(query)
}

fn visible<'a>(tx: &Tx<'_>) -> alert::BoxedQuery<'a, Pg> {
    let mut query = alert::table
        .filter(alert::org_id.eq(tx.org_id()))
        .into_boxed();
    // Of its depot alone, unlike the facts about units: whoever has the unit now has that depot's alerts of it.
    if let Some(granted) = tx.tenant().depots.as_filter() {
        query = query.filter(alert::depot_id.eq_any(granted));
    }
    query
}

/// Takes an alert up. Lock the scope of its depot.
///
/// # Errors
/// [`Error::NotFound`], [`Error::Invalid`], [`Error::Conflict`] where it is cleared or somebody has taken it up.
pub async fn acknowledge(tx: &mut Write<'_>, id: Uuid, new: &Acknowledgement) -> Result<Alert> {
    fields::line("word", &new.word, 1..=500)?;
    let mut found = find(tx, id).await?;
    tx.must_hold(found.depot_id)?;
    if let Some(cleared_at) = found.cleared_at {
        return Err(Error::conflict(
            "",
            format!("the alert was cleared at {cleared_at}; nothing is left to take up"),
        ));
    }
    if let Some(at) = found.acknowledged_at {
        return Err(Error::conflict(
            "",
            format!("the alert was taken up at {at}; see acknowledged_by"),
        ));
    }
    found.acknowledged_at = Some(clock::now());
    found.acknowledged_by = Some(tx.person_id()?);
    found.acknowledged_with = Some(new.word.clone());
    found.rev += 1;
    write(tx, std::slice::from_ref(&found)).await?;
    tx.publish(found.depot_id, kind::ALERT, found.id, found.rev, &found)?;
    // Whoever recomputes the depot just now has not seen it.
    tx.mark(found.depot_id);
    let detail = json(&found)?;
    tx.audit(found.depot_id, "acknowledge", kind::ALERT, found.id, detail);
    Ok(found)
}

/// The open alerts of these depots, by depot, oldest first.
pub(crate) async fn open(
    tx: &Tx<'_>,
    depot_ids: &[Uuid],
) -> Result<BTreeMap<Uuid, Vec<OpenAlert>>> {
    let rows: Vec<Row> = visible(tx)
        .filter(alert::depot_id.eq_any(depot_ids))
        .filter(alert::cleared_at.is_null())
        .select(Row::as_select())
        .order(alert::id)
        .load(&mut tx.connection())
        .await?;
    let mut open = BTreeMap::<Uuid, Vec<OpenAlert>>::new();
    for row in rows {
        let alert = row.alert()?;
        open.entry(alert.depot_id).or_default().push(OpenAlert {
            id: alert.id,
            kind: alert.kind,
            subject_id: alert.subject_id,
            severity: alert.severity,
            text: alert.text,
            raised_at: alert.raised_at,
            acknowledged: alert.acknowledged_at.is_some(),
            escalated_at: alert.escalated_at,
        });
    }
    Ok(open)
}

/// Tells of a depot whose recomputation is parked, or that it still is: its other alerts stay as they are. The next
/// recomputation that succeeds clears it.
///
/// # Errors
/// Those of the database.
pub async fn tell_parked(
    database: &Database,
    org_id: Uuid,
    depot_id: Uuid,
    as_of: Timestamp,
) -> Result<()> {
    let tenant = Tenant::system(org_id);
    feed::write(database, &tenant, &[depot_id], async |tx| {
        let mut open = open(tx, &[depot_id])
            .await?
            .remove(&depot_id)
            .unwrap_or_default();
        open.retain(|alert| alert.kind == AlertKind::Parked);
        let next = alerts::next(&open, &[alerts::parked(depot_id)], as_of);
        apply(tx, depot_id, &next, as_of).await
    })
    .await
}

/// Writes and publishes what became of a depot's alerts at `as_of`. Lock its scope.
pub(crate) async fn apply(
    tx: &mut Write<'_>,
    depot_id: Uuid,
    next: &Next,
    as_of: Timestamp,
) -> Result<()> {
    if next.is_empty() {
        return Ok(());
    }
    let gone: Vec<Uuid> = next.cleared.clone();
    let touched: Vec<Uuid> = next
        .changed
        .iter()
        .map(|alert| alert.id)
        .chain(gone)
        .collect();
    let rows: Vec<Row> = visible(tx)
        .filter(alert::id.eq_any(&touched))
        .select(Row::as_select())
        .load(&mut tx.connection())
        .await?;
    let mut written = Vec::with_capacity(rows.len() + next.opened.len());
    for row in rows {
        let mut now = row.alert()?;
        now.rev += 1;
        match next.changed.iter().find(|changed| changed.id == now.id) {
            Some(changed) => {
                now.severity = changed.severity;
                now.text.clone_from(&changed.text);
                now.raised_at = changed.raised_at;
                now.escalated_at = changed.escalated_at;
                if !changed.acknowledged {
                    now.acknowledged_at = None;
                    now.acknowledged_by = None;
                    now.acknowledged_with = None;
                }
                tx.publish(depot_id, kind::ALERT, now.id, now.rev, &now)?;
            }
            None => {
                now.cleared_at = Some(as_of);
                tx.remove(depot_id, kind::ALERT, now.id, now.rev)?;
            }
        }
        written.push(now);
    }
    for signal in &next.opened {
        let Some((severity, text)) = signal.raised.clone() else {
            continue;
        };
        let opened = Alert {
            id: Uuid::now_v7(),
            depot_id,
            kind: signal.kind,
            subject_id: signal.subject_id,
            unit_id: signal.unit_id,
            severity,
            text,
            opened_at: as_of,
            raised_at: as_of,
            escalated_at: None,
            acknowledged_at: None,
            acknowledged_by: None,
            acknowledged_with: None,
            cleared_at: None,
            rev: 1,
        };
        tx.publish(depot_id, kind::ALERT, opened.id, opened.rev, &opened)?;
        written.push(opened);
    }
    write(tx, &written).await
}

/// Writes alerts, new and old, in one statement.
async fn write(tx: &Tx<'_>, alerts: &[Alert]) -> Result<()> {
    let rows = alerts.iter().map(|one| {
        Ok((
            alert::org_id.eq(tx.org_id()),
            alert::id.eq(one.id),
            alert::depot_id.eq(one.depot_id),
            alert::kind.eq(word(&one.kind)?),
            alert::subject_id.eq(one.subject_id),
            alert::unit_id.eq(one.unit_id),
            alert::severity.eq(word(&one.severity)?),
            alert::text.eq(&one.text),
            alert::opened_at.eq(one.opened_at.to_diesel()),
            alert::raised_at.eq(one.raised_at.to_diesel()),
            alert::escalated_at.eq(NullableTimestamp::from(one.escalated_at)),
            alert::acknowledged_at.eq(NullableTimestamp::from(one.acknowledged_at)),
            alert::acknowledged_by.eq(one.acknowledged_by),
            alert::acknowledged_with.eq(&one.acknowledged_with),
            alert::cleared_at.eq(NullableTimestamp::from(one.cleared_at)),
            alert::rev.eq(one.rev),
        ))
    });
    let rows = rows.collect::<Result<Vec<_>>>()?;
    diesel::insert_into(alert::table)
        .values(rows)
        .on_conflict((alert::org_id, alert::id))
        .do_update()
        .set((
            alert::severity.eq(excluded(alert::severity)),
            alert::text.eq(excluded(alert::text)),
            alert::raised_at.eq(excluded(alert::raised_at)),
            alert::escalated_at.eq(excluded(alert::escalated_at)),
            alert::acknowledged_at.eq(excluded(alert::acknowledged_at)),
            alert::acknowledged_by.eq(excluded(alert::acknowledged_by)),
            alert::acknowledged_with.eq(excluded(alert::acknowledged_with)),
            alert::cleared_at.eq(excluded(alert::cleared_at)),
            alert::rev.eq(excluded(alert::rev)),
        ))
        .execute(&mut tx.connection())
        .await?;
    Ok(())
}
