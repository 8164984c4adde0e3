//! Hold tags: do not operate. Hung by a person with a reason, or by an unserviceable safety check by itself; lifted by a
//! person who names the inspection that proves the repair: whoever works on machines at the depot, or, where the tag names
//! somebody, they alone.

use diesel::pg::Pg;
use diesel::prelude::*;
use diesel::sql_types::{Array, BigInt, Nullable, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff_diesel::{NullableTimestamp, ToDiesel};
use rimeyard_rules::facts::InspectionKind;
use rimeyard_rules::sheet::Effect;
use rimeyard_rules::verdict::Verdict;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::feed::{Write, kind};
use crate::granted::granted;
use crate::inspection::{self, Inspection, JudgedReading};
use crate::json::json;
use crate::machine::{machines, named};
use crate::schema::hold;
use crate::{Error, Result, Role, Tx, clock, fields, finding, person, prepared, sheet, unit};

/// The longest reason, in characters.
pub const REASON_MAX: usize = 500;

/// A hold tag as readers get it.
#[derive(Debug, Clone, PartialEq, Serialize, Queryable, Selectable)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[diesel(table_name = hold, check_for_backend(Pg))]
pub struct Hold {
    /// Its id.
    pub id: Uuid,
    /// The unit it hangs on.
    pub unit_id: Uuid,
    /// Where the unit stood.
    pub depot_id: Uuid,
    /// Why.
    pub reason: String,
    /// The finding it comes from; null where a person hung it for another reason.
    pub finding_id: Option<Uuid>,
    /// Since when.
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    pub placed_at: Timestamp,
    /// By whom: a person.
    pub placed_by: Uuid,
    /// When it was lifted; null while it hangs.
    #[diesel(deserialize_as = NullableTimestamp)]
    pub lifted_at: Option<Timestamp>,
    /// By whom: a person.
    pub lifted_by: Option<Uuid>,
    /// The inspection that proved the repair.
    pub lifted_inspection: Option<Uuid>,
    /// Its version; the ETag shows the same.
    pub rev: i64,
    /// Who alone may lift it: a person; null for whoever works on machines at the depot.
    pub to_be_lifted_by: Option<Uuid>,
}

/// A hold tag to be hung.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewHold {
    /// A UUID of version 7 made by the client; made here if absent.
    #[cfg_attr(feature = "schema", schema(nullable = false))]
    pub id: Option<Uuid>,
    /// Why the machine must not be operated: 1 to 500 characters.
    pub reason: String,
    /// Who alone may lift it: a person who works on machines at the unit's depot. Absent or null: any of them.
    pub to_be_lifted_by: Option<Uuid>,
}

/// Who may lift a hold tag.
#[derive(Debug, Clone, Copy, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Named {
    /// Who alone may lift it, in place of whom it named: a person who works on machines at the tag's depot. Null: any of
    /// them.
    // Named, so that it must be there.
    #[serde(deserialize_with = "Option::deserialize")]
    #[cfg_attr(feature = "schema", schema(required = true))]
    pub to_be_lifted_by: Option<Uuid>,
}

/// What proves the repair.
#[derive(Debug, Clone, Copy, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = HoldProof))]
#[serde(deny_unknown_fields)]
pub struct Proof {
    /// An inspection of the unit, made after the tag was hung, that has the failed check serviceable; for a tag that
    /// comes from no finding, one made after a repair that read every safety check of the machine as it is rigged, none of
    /// them unserviceable.
    pub inspection_id: Uuid,
}

/// Which hold tags; what is absent does not narrow.
#[derive(Debug, Clone, Copy, Default)]
pub struct Filter {
    /// On this unit.
    pub unit_id: Option<Uuid>,
    /// On units that stood at this depot.
    pub depot_id: Option<Uuid>,
    /// Still hanging, or lifted.
    pub open: Option<bool>,
}

/// At most `limit` hold tags that the tenant may see, ordered by id, those after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    filter: Filter,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<Hold>> {
    let mut query = visible(tx);
    if let Some(unit_id) = filter.unit_id {
        query = query.filter(hold::unit_id.eq(unit_id));
    }
    if let Some(depot_id) = filter.depot_id {
        query = query.filter(hold::depot_id.eq(depot_id));
    }
    match filter.open {
        Some(true) => query = query.filter(hold::lifted_at.is_null()),
        Some(false) => query = query.filter(hold::lifted_at.is_not_null()),
        None => {}
    }
    if let Some(after) = after {
        query = query.filter(hold::id.gt(after));
    }
    let query = query.select(Hold::as_select()).order(hold::id).limit(limit);
    Ok(query.load(&mut tx.connection()).await?)
}

/// One hold tag that the tenant may see.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<Hold> {
    let query = visible(tx)
        .filter(hold::id.eq(id))
        .select(Hold::as_select());
    Ok(query.first(&mut tx.connection()).await?)
}

fn visible<'a>(tx: &Tx<'_>) -> hold::BoxedQuery<'a, Pg> {
    let mut query = hold::table
        .filter(hold::org_id.eq(tx.org_id()))
        .into_boxed();
    granted!(query, tx, hold);
    query
}

/// Hangs a hold tag on a unit, from now on. Lock its depot's scope.
///
/// # Errors
/// [`Error::NotFound`] where there is no such unit, [`Error::Invalid`], [`Error::Conflict`] for an id that is taken.
pub async fn place(tx: &mut Write<'_>, unit_id: Uuid, new: &NewHold) -> Result<Hold> {
    fields::line("reason", &new.reason, 1..=REASON_MAX)?;
    let id = fields::id(new.id)?;
    let machines = machines(tx, &[unit_id]).await?;
    let machine = machines
        .get(&unit_id)
        .ok_or(Error::NotFound { what: "unit" })?;
    named(tx, &machines, unit_id, "")?;
    let hold = Hold {
        id,
        unit_id,
        depot_id: machine.depot_id,
        reason: new.reason.clone(),
        finding_id: None,
        placed_at: clock::now(),
        placed_by: tx.person_id()?,
        lifted_at: None,
        lifted_by: None,
        lifted_inspection: None,
        rev: 1,
        to_be_lifted_by: new.to_be_lifted_by,
    };
    may_lift(tx, &hold).await?;
    insert(tx, &[&hold]).await?;
    tx.mark(hold.depot_id);
    tx.audit(hold.depot_id, "place", kind::HOLD, hold.id, json(&hold)?);
    Ok(hold)
}

/// Names who alone may lift a hold tag, or nobody. Lock the scope of its depot.
///
/// # Errors
/// [`Error::NotFound`], [`Error::Conflict`] where it is lifted already, [`Error::Invalid`] for somebody who may not lift
/// it.
pub async fn name(tx: &mut Write<'_>, id: Uuid, named: Named) -> Result<Hold> {
    let mut hold = hanging(tx, id).await?;
    hold.to_be_lifted_by = named.to_be_lifted_by;
    hold.rev += 1;
    may_lift(tx, &hold).await?;
    diesel::update(hold::table.find((tx.org_id(), hold.id)))
        .set((
            hold::to_be_lifted_by.eq(hold.to_be_lifted_by),
            hold::rev.eq(hold.rev),
        ))
        .execute(&mut tx.connection())
        .await?;
    publish(tx, &[&hold])?;
    tx.audit(hold.depot_id, "name", kind::HOLD, hold.id, json(&hold)?);
    Ok(hold)
}

/// Lifts a hold tag. Lock the scope of its depot.
///
/// # Errors
/// [`Error::NotFound`], [`Error::Conflict`] where it is lifted already, names somebody else or its finding is open, [`Error::Invalid`]
/// where the inspection does not prove the repair.
pub async fn lift(tx: &mut Write<'_>, id: Uuid, proof: Proof) -> Result<Hold> {
    let mut hold = hanging(tx, id).await?;
    let who = tx.person_id()?;
    if !hold.names(who) {
        return Err(Error::conflict(
            "",
            "the hold tag names somebody else, who alone may lift it (see to_be_lifted_by); ask them, or have a depot \
             lead name another",
        ));
    }
    let inspection = match inspection::find(tx, proof.inspection_id).await {
        Err(Error::NotFound { .. }) => return Err(Error::no_such("inspection_id")),
        found => found?,
    };
    proves(tx, &hold, &inspection).await?;
    hold.lifted_at = Some(clock::now());
    hold.lifted_by = Some(who);
    hold.lifted_inspection = Some(inspection.id);
    hold.rev += 1;
    store_lifted(tx, &[&hold]).await?;
    tx.mark(hold.depot_id);
    tx.audit(hold.depot_id, "lift", kind::HOLD, hold.id, json(&hold)?);
    Ok(hold)
}

/// A hold tag that hangs.
async fn hanging(tx: &Write<'_>, id: Uuid) -> Result<Hold> {
    let hold = find(tx, id).await?;
    tx.must_hold(hold.depot_id)?;
    match hold.lifted_at {
        None => Ok(hold),
        Some(lifted_at) => Err(Error::conflict(
            "",
            format!("the hold tag was lifted at {lifted_at}; nothing of it can be changed"),
        )),
    }
}

impl Hold {
    /// Whether this person may lift it, as far as it names anybody.
    pub(crate) fn names(&self, person_id: Uuid) -> bool {
        self.to_be_lifted_by.is_none_or(|named| named == person_id)
    }
}

/// That whoever it names is there, works on machines, and is granted the depot.
async fn may_lift(tx: &Tx<'_>, hold: &Hold) -> Result<()> {
    let Some(named) = hold.to_be_lifted_by else {
        return Ok(());
    };
    let may = person::acting(tx, named).await?.is_some_and(|person| {
        Role::MECHANICS.contains(&person.role) && person.depots.contains(hold.depot_id)
    });
    if may {
        return Ok(());
    }
    Err(Error::invalid(
        "to_be_lifted_by",
        "names nobody who works on machines at this depot; name a technician, a depot lead, a district manager or an \
         administrator who is granted it",
    ))
}

async fn proves(tx: &Tx<'_>, hold: &Hold, inspection: &Inspection<JudgedReading>) -> Result<()> {
    let not = |why: String| Err(Error::invalid("inspection_id", why));
    if inspection.unit_id != hold.unit_id {
        return not(
            "is an inspection of another unit; name one of the unit the tag hangs on".to_owned(),
        );
    }
    if let Some(correction) = inspection.corrected_by {
        return not(format!(
            "was corrected by inspection {correction}; name that one"
        ));
    }
    if inspection.took_effect_at() <= hold.placed_at {
        return not(format!(
            "was performed before the tag was hung at {}; inspect the machine again",
            hold.placed_at
        ));
    }
    let Some(finding_id) = hold.finding_id else {
        if inspection.kind != InspectionKind::AfterRepair {
            return not(
                "is not of kind after_repair; inspect the machine after its repair".to_owned(),
            );
        }
        if inspection.readings.is_empty() {
            return not(
                "has no readings, so it proves nothing; read what was repaired, and the safety checks"
                    .to_owned(),
            );
        }
        let mut unread = Vec::new();
        for check in safety_checks(tx, inspection.unit_id).await? {
            let mut readings = inspection.readings.iter();
            match readings.find(|judged| judged.reading.check == check) {
                None => unread.push(check),
                Some(judged) if judged.reading.verdict == Verdict::Unserviceable => {
                    return not(format!("has a safety check unserviceable: {}", judged.text));
                }
                Some(_) => {}
            }
        }
        if unread.is_empty() {
            return Ok(());
        }
        return not(format!(
            "did not read every safety check; read what was repaired, and {}",
            unread.join(", ")
        ));
    };
    let finding = finding::find(tx, finding_id).await?;
    let reading = inspection
        .readings
        .iter()
        .find(|judged| judged.reading.check == finding.check);
    match reading {
        None => not(format!(
            "has no reading of {}, the check that failed; read it",
            finding.check
        )),
        Some(judged) if judged.reading.verdict != Verdict::Serviceable => not(format!(
            "does not have the failed check serviceable: {}",
            judged.text
        )),
        Some(_) if finding.closed_at.is_none() => Err(Error::conflict(
            "inspection_id",
            format!(
                "is not the newest word on {}: a later inspection found it unserviceable",
                finding.check
            ),
        )),
        Some(_) => Ok(()),
    }
}

/// The checks of a machine as it is rigged whose failing hangs a tag, by its present sheet: a tag that says only that
/// something is wrong may be about any of them.
async fn safety_checks(tx: &Tx<'_>, unit_id: Uuid) -> Result<Vec<String>> {
    let unit = unit::find(tx, unit_id).await?;
    let sheets = sheet::present(tx, &[unit.model_id]).await?;
    let sheet = sheets
        .get(&unit.model_id)
        .ok_or(Error::NotFound { what: "model" })?;
    let safety = sheet.checks.iter().filter(|check| {
        check.effect == Effect::Hold && sheet.check_concerns(&check.check, unit.rigging)
    });
    Ok(safety.map(|check| check.check.clone()).collect())
}

/// The tags that hang on these units because of a finding.
pub(crate) async fn hanging_for_findings(tx: &Tx<'_>, unit_ids: &[Uuid]) -> Result<Vec<Hold>> {
    let query = hold::table
        .filter(hold::org_id.eq(tx.org_id()))
        .filter(hold::unit_id.eq_any(unit_ids))
        .filter(hold::lifted_at.is_null())
        .filter(hold::finding_id.is_not_null())
        .select(Hold::as_select());
    Ok(query.load(&mut tx.connection()).await?)
}

/// Stores new hold tags and publishes them.
pub(crate) async fn insert(tx: &mut Write<'_>, holds: &[&Hold]) -> Result<()> {
    if holds.is_empty() {
        return Ok(());
    }
    prepared(
        diesel::sql_query(
            "insert into hold (org_id, id, unit_id, depot_id, reason, finding_id, placed_at, placed_by, rev,
                               to_be_lifted_by)
             select $1, * from unnest($2::uuid[], $3::uuid[], $4::uuid[], $5::text[], $6::uuid[], $7::timestamptz[],
                                      $8::uuid[], $9::bigint[], $10::uuid[])",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(column(holds, |hold| hold.id))
        .bind::<Array<SqlUuid>, _>(column(holds, |hold| hold.unit_id))
        .bind::<Array<SqlUuid>, _>(column(holds, |hold| hold.depot_id))
        .bind::<Array<Text>, _>(column(holds, |hold| hold.reason.clone()))
        .bind::<Array<Nullable<SqlUuid>>, _>(column(holds, |hold| hold.finding_id))
        .bind::<Array<Timestamptz>, _>(column(holds, |hold| hold.placed_at.to_diesel()))
        .bind::<Array<SqlUuid>, _>(column(holds, |hold| hold.placed_by))
        .bind::<Array<BigInt>, _>(column(holds, |hold| hold.rev))
        .bind::<Array<Nullable<SqlUuid>>, _>(column(holds, |hold| hold.to_be_lifted_by)),
    )
    .execute(&mut tx.connection())
    .await?;
    publish(tx, holds)
}

/// Stores that these hold tags are lifted and publishes it.
pub(crate) async fn store_lifted(tx: &mut Write<'_>, holds: &[&Hold]) -> Result<()> {
    if holds.is_empty() {
        return Ok(());
    }
    prepared(
        diesel::sql_query(
            "update hold h
             set lifted_at = l.lifted_at, lifted_by = l.lifted_by, lifted_inspection = l.lifted_inspection, rev = l.rev
             from unnest($2::uuid[], $3::timestamptz[], $4::uuid[], $5::uuid[], $6::bigint[])
                 as l (id, lifted_at, lifted_by, lifted_inspection, rev)
             where h.org_id = $1 and h.id = l.id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(column(holds, |hold| hold.id))
        .bind::<Array<Nullable<Timestamptz>>, _>(column(holds, |hold| hold.lifted_at.map(ToDiesel::to_diesel)))
        .bind::<Array<Nullable<SqlUuid>>, _>(column(holds, |hold| hold.lifted_by))
        .bind::<Array<Nullable<SqlUuid>>, _>(column(holds, |hold| hold.lifted_inspection))
        .bind::<Array<BigInt>, _>(column(holds, |hold| hold.rev)),
    )
    .execute(&mut tx.connection())
    .await?;
    publish(tx, holds)
}

fn column<T>(holds: &[&Hold], value: impl Fn(&Hold) -> T) -> Vec<T> {
    holds.iter().map(|hold| value(hold)).collect()
}

fn publish(tx: &mut Write<'_>, holds: &[&Hold]) -> Result<()> {
    for hold in holds {
        tx.publish(hold.depot_id, kind::HOLD, hold.id, hold.rev, hold)?;
    }
    Ok(())
}
