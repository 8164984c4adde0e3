//! Recording inspections: the one way they get in, one at a time or hundreds.

use std::collections::{BTreeMap, BTreeSet};

use rimeyard_rules::sheet::{CheckSpec, Sheet};
use rimeyard_rules::verdict::Verdict;
use serde_json::json;
use uuid::Uuid;

use super::consequences::{
    Change, Consequences, Corrected, Event, Moment, Outcome, Tracked, follow,
};
use super::draft::Draft;
use super::insert::{insert, insert_readings};
use super::judging::{Case, Judgement, judge_all, sheets};
use super::known::{corrected, newest, pairs};
use super::{Inspection, JudgedReading, NewInspection, ProposedWorkOrder, Reading, Recorded};
use crate::doubt;
use crate::feed::{Write, kind};
use crate::finding::Finding;
use crate::hold::Hold;
use crate::machine::{self, machines};
use crate::work_order::{self, Found};
use crate::{Error, Result, Tx, finding, hold};

/// The scopes to lock before these are recorded: those of the depots their units stand at, and of what they correct.
///
/// # Errors
/// [`Error::Invalid`] for a unit or a corrected inspection that is not there, or not for this tenant; the field begins
/// with the place in the list: `[0].unit_id`.
pub async fn scopes(tx: &Tx<'_>, new: &[NewInspection]) -> Result<Vec<Uuid>> {
    let units: Vec<Uuid> = new.iter().map(|new| new.unit_id).collect();
    let mut scopes = machine::scopes_of(tx, &units, |index| format!("[{index}].unit_id")).await?;
    let corrected = corrected(tx, new).await?;
    if !corrected.is_empty() {
        // What a corrected inspection opened or closed may have been opened at another depot.
        let ids: Vec<Uuid> = corrected.iter().map(|old| old.id).collect();
        let concerned = finding::concerned(tx, &[], &ids).await?;
        scopes.extend(corrected.iter().map(|old| old.depot_id));
        scopes.extend(concerned.iter().map(|finding| finding.depot_id));
    }
    Ok(scopes)
}

/// Records one inspection. Lock its [`scopes`].
///
/// # Errors
/// As [`record_many`], the fields named without the place in the list.
pub async fn record(tx: &mut Write<'_>, new: &NewInspection) -> Result<Recorded> {
    let recorded = record_many(tx, std::slice::from_ref(new))
        .await
        .map_err(Error::of_the_first)?;
    recorded
        .into_iter()
        .next()
        .ok_or_else(|| Error::internal("one inspection was given and none recorded"))
}

/// Records inspections, hundreds at a time if need be, in any order; the person is the tenant. The result is the same
/// as of recording them one by one, oldest first. Lock their [`scopes`]. A correction and what it corrects do not go
/// into the same call.
///
/// # Errors
/// [`Error::Invalid`] for what is impossible in itself and for ids that are not there; the field begins with the place
/// in the list: `[3].readings[0].value`. [`Error::Conflict`] for an id that is taken or an inspection that is corrected
/// already.
pub async fn record_many(tx: &mut Write<'_>, new: &[NewInspection]) -> Result<Vec<Recorded>> {
    let unit_ids: Vec<Uuid> = new.iter().map(|new| new.unit_id).collect();
    let (machines, corrected) = futures::try_join!(machines(tx, &unit_ids), corrected(tx, new))?;
    let draft = Draft::of(tx, new, &machines)?;

    let replaced: Vec<Uuid> = corrected.iter().map(|old| old.id).collect();
    let versions: Vec<(Uuid, i32)> = draft
        .inspections
        .iter()
        .map(|new| (new.model_id, new.sheet_version))
        .collect();
    let pairs = pairs(new, &corrected);
    let (sheets, flags, newest, findings, holds) = futures::try_join!(
        sheets(tx, &versions),
        doubt::flags(tx, &draft.said, draft.received_at, &replaced),
        newest(tx, &pairs, &replaced),
        finding::concerned(tx, &unit_ids, &replaced),
        hold::hanging_for_findings(tx, &unit_ids),
    )?;
    let mut inspections = draft.inspections;
    for (inspection, flags) in inspections.iter_mut().zip(flags) {
        inspection.flags = flags;
    }

    let mut cases = Vec::with_capacity(new.len());
    for (inspection, new) in inspections.iter().zip(new) {
        let sheet = sheets
            .get(&(inspection.model_id, inspection.sheet_version))
            .ok_or_else(|| {
                Error::internal(format!("model {} has no sheet", inspection.model_id))
            })?;
        cases.push(Case {
            unit_id: inspection.unit_id,
            depot_id: inspection.depot_id,
            moment: Moment::from(inspection),
            sheet,
            readings: &new.readings,
        });
    }
    let judgements = judge_all(tx, &cases, &replaced).await?;

    let events: Vec<Event<'_>> = inspections
        .iter()
        .zip(&cases)
        .zip(&judgements)
        .map(|((inspection, case), judgements)| {
            event(inspection, case.sheet, judgements, &corrected)
        })
        .collect();
    let Consequences { findings, holds } = follow(&events, newest, findings, holds);

    let shown = cases.iter().zip(&judgements);
    let shown: Vec<String> = shown
        .map(|(case, judgements)| tasks_shown(case.sheet, judgements))
        .collect();
    insert(tx, &inspections, &shown).await?;
    let fitted = insert_readings(tx, &inspections, &judgements).await?;
    store_consequences(tx, &findings, &holds).await?;
    for (inspection, judgements) in inspections.iter_mut().zip(judgements) {
        let id = inspection.id;
        let told = |judgement: Judgement<'_>| {
            let part = fitted.get(&(id, judgement.check.check.clone())).copied();
            judgement.told(part)
        };
        inspection.readings = judgements.into_iter().map(told).collect();
    }
    publish(tx, &inspections, corrected)?;
    let orders = work_order::follow(tx, &machines, &found(&inspections, &cases, &findings)).await?;
    let recorded = inspections.into_iter().zip(&cases).enumerate();
    Ok(recorded
        .map(|(event, (inspection, case))| {
            let followed = Followed {
                findings: &findings,
                holds: &holds,
                orders: &orders,
            };
            followed.answer(event, inspection, case.sheet)
        })
        .collect())
}

/// The tasks of the sheet whose checks were answered, none of them unserviceable, joined by commas.
fn tasks_shown(sheet: &Sheet, judgements: &[Judgement<'_>]) -> String {
    let passed = judgements
        .iter()
        .filter(|one| one.judged.verdict != Verdict::Unserviceable);
    let passed: BTreeSet<&str> = passed.map(|one| one.check.check.as_str()).collect();
    let tasks = sheet.tasks.iter().filter(|task| !task.checks.is_empty());
    let shown = tasks.filter(|task| task.checks.iter().all(|one| passed.contains(one.as_str())));
    let shown: Vec<&str> = shown.map(|task| task.task.as_str()).collect();
    shown.join(",")
}

/// The findings that these bear on, as their units' orders are told of them.
fn found<'a>(
    inspections: &[Inspection<JudgedReading>],
    cases: &[Case<'a>],
    findings: &'a [Tracked<Finding>],
) -> Vec<Found<'a>> {
    let sheets: BTreeMap<Uuid, &Sheet> = cases
        .iter()
        .map(|case| (case.unit_id, case.sheet))
        .collect();
    let unserviceable: BTreeSet<(Uuid, &str)> = inspections
        .iter()
        .flat_map(|inspection| {
            let bad = inspection
                .readings
                .iter()
                .filter(|judged| judged.reading.verdict == Verdict::Unserviceable);
            bad.map(|judged| (inspection.unit_id, judged.reading.check.as_str()))
        })
        .collect();
    findings
        .iter()
        .filter_map(|tracked| {
            let finding = &tracked.object;
            let changed = tracked.change != Change::Nothing;
            Some(Found {
                finding,
                sheet: sheets.get(&finding.unit_id)?,
                changed,
                said: changed || unserviceable.contains(&(finding.unit_id, finding.check.as_str())),
            })
        })
        .collect()
}

fn event<'a>(
    inspection: &Inspection<JudgedReading>,
    sheet: &'a Sheet,
    judgements: &'a [Judgement<'_>],
    corrected: &[Inspection<Reading>],
) -> Event<'a> {
    let outcome = |judgement: &'a Judgement<'_>| Outcome {
        check: &judgement.check.check,
        unserviceable: judgement.judged.verdict == Verdict::Unserviceable,
        effect: judgement.check.effect,
        text: &judgement.judged.text,
    };
    let of_old = |check: &'a CheckSpec| Outcome {
        check: &check.check,
        unserviceable: true,
        effect: check.effect,
        text: &check.title,
    };
    let old = corrected
        .iter()
        .find(|old| Some(old.id) == inspection.corrects);
    Event {
        unit_id: inspection.unit_id,
        depot_id: inspection.depot_id,
        moment: Moment::from(inspection),
        received_at: inspection.received_at,
        by: inspection.performed_by,
        outcomes: judgements.iter().map(outcome).collect(),
        corrects: old.map(|old| Corrected {
            id: old.id,
            checks: old
                .readings
                .iter()
                .filter_map(|reading| sheet.check_spec(&reading.check))
                .map(of_old)
                .collect(),
        }),
    }
}

async fn store_consequences(
    tx: &mut Write<'_>,
    findings: &[Tracked<Finding>],
    holds: &[Tracked<Hold>],
) -> Result<()> {
    finding::store(
        tx,
        &those(findings, Change::Changed),
        &those(findings, Change::Created),
    )
    .await?;
    hold::insert(tx, &those(holds, Change::Created)).await?;
    let touched = holds
        .iter()
        .filter(|hold| hold.change != Change::Nothing)
        .map(|hold| &hold.object);
    let lifted: Vec<&Hold> = touched.filter(|hold| hold.lifted_at.is_some()).collect();
    hold::store_lifted(tx, &lifted).await
}

fn those<T>(tracked: &[Tracked<T>], change: Change) -> Vec<&T> {
    tracked
        .iter()
        .filter(|tracked| tracked.change == change)
        .map(|tracked| &tracked.object)
        .collect()
}

fn publish(
    tx: &mut Write<'_>,
    inspections: &[Inspection<JudgedReading>],
    corrected: Vec<Inspection<Reading>>,
) -> Result<()> {
    for mut old in corrected {
        old.corrected_by = inspections
            .iter()
            .find(|new| new.corrects == Some(old.id))
            .map(|new| new.id);
        old.rev = 2;
        tx.must_hold(old.depot_id)?;
        tx.publish(old.depot_id, kind::INSPECTION, old.id, old.rev, &old)?;
    }
    for inspection in inspections {
        let readings: Vec<Reading> = inspection
            .readings
            .iter()
            .map(|judged| judged.reading.clone())
            .collect();
        let document = inspection.clone().with(readings);
        tx.publish(
            document.depot_id,
            kind::INSPECTION,
            document.id,
            document.rev,
            &document,
        )?;
        tx.mark(document.depot_id);
        let detail = json!({
            "unit_id": document.unit_id,
            "kind": document.kind,
            "performed_at": document.performed_at,
            "readings": document.readings.len(),
            "corrects": document.corrects,
            "flags": document.flags,
        });
        tx.audit(
            document.depot_id,
            "record",
            kind::INSPECTION,
            document.id,
            detail,
        );
    }
    Ok(())
}

/// What followed from inspections.
struct Followed<'a> {
    findings: &'a [Tracked<Finding>],
    holds: &'a [Tracked<Hold>],
    /// The open order that each finding is on.
    orders: &'a BTreeMap<Uuid, Uuid>,
}

impl Followed<'_> {
    fn answer(
        &self,
        event: usize,
        inspection: Inspection<JudgedReading>,
        sheet: &Sheet,
    ) -> Recorded {
        let open = |check: &str| {
            let open = self
                .findings
                .iter()
                .map(|finding| &finding.object)
                .find(|finding| {
                    finding.unit_id == inspection.unit_id
                        && finding.check == check
                        && finding.closed_at.is_none()
                });
            open.map(|finding| finding.id)
        };
        let propose = |judged: &JudgedReading| {
            let job = sheet.job_for(&judged.inputs.check)?;
            let finding_id = open(&judged.reading.check)?;
            Some(ProposedWorkOrder {
                finding_id,
                work_order_id: self.orders.get(&finding_id).copied(),
                check: judged.reading.check.clone(),
                job: job.title.clone(),
                minutes: job.minutes.value,
                parts: job.parts.clone(),
            })
        };
        let unserviceable = inspection
            .readings
            .iter()
            .filter(|judged| judged.reading.verdict == Verdict::Unserviceable);
        Recorded {
            proposed_work_orders: unserviceable.filter_map(propose).collect(),
            findings: by(event, self.findings),
            holds: by(event, self.holds),
            inspection,
        }
    }
}

fn by<T: Clone>(event: usize, tracked: &[Tracked<T>]) -> Vec<T> {
    tracked
        .iter()
        .filter(|tracked| tracked.by.contains(&event))
        .map(|tracked| tracked.object.clone())
        .collect()
}
