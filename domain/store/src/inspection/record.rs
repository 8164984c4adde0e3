//! Recording inspections: the one way they get in, one at a time or hundreds.

use std::collections::{BTreeMap, BTreeSet};

use diesel::QueryableByName;
use diesel::sql_types::{Array, Bool, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use rimeyard_rules::sheet::CheckSpec;
use rimeyard_rules::verdict::{Verdict, VerdictInput};
use serde_json::json;
use uuid::Uuid;

use super::consequences::{
    Change, Consequences, Corrected, Event, Moment, Newest, Outcome, Tracked, follow,
};
use super::insert::{insert, insert_readings};
use super::judging::{Case, Judgement, judge_all, sheets};
use super::{Inspection, JudgedReading, NewInspection, ProposedWorkOrder, Reading, Recorded, find};
use crate::doubt::{self, Said};
use crate::feed::{Write, kind};
use crate::finding::Finding;
use crate::hold::Hold;
use crate::machine::{self, Machine, machines, named};
use crate::{Error, Result, Tx, clock, fields, finding, hold, prepared};

/// The most readings one inspection may hold.
pub const READINGS_MAX: usize = 200;
/// The most bytes of notes one inspection may carry in all: it must fit into one document of the feed.
const NOTES_BYTES_MAX: usize = 24 * 1024;

/// The scopes to lock before these are recorded: those of the depots their units stand at, and of what they correct.
///
/// # Errors
/// [`Error::Invalid`] for a unit or a corrected inspection that is not there, or not for this tenant; the field begins
/// with the place in the list: `[0].unit_id`.
pub async fn scopes(tx: &Tx<'_>, new: &[NewInspection]) -> Result<Vec<Uuid>> {
    let units: Vec<Uuid> = new.iter().map(|new| new.unit_id).collect();
    let mut scopes = machine::scopes_of(tx, &units, |index| format!("[{index}].unit_id")).await?;
    let corrected = corrected(tx, new).await?;
    let ids: Vec<Uuid> = corrected.iter().map(|old| old.id).collect();
    // What a corrected inspection opened or closed may have been opened at another depot.
    let concerned = finding::concerned(tx, &[], &ids).await?;
    scopes.extend(corrected.iter().map(|old| old.depot_id));
    scopes.extend(concerned.iter().map(|finding| finding.depot_id));
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
        let moment = moment(inspection);
        let (unit_id, depot_id) = (inspection.unit_id, inspection.depot_id);
        cases.push(Case {
            unit_id,
            depot_id,
            moment,
            sheet,
            readings: &new.readings,
        });
    }
    let judgements = judge_all(tx, &cases, &replaced).await?;

    let told = told_of_corrected(&cases, new, &corrected);
    let events = events(&inspections, &judgements, &told);
    let Consequences { findings, holds } = follow(&events, newest, findings, holds);

    insert(tx, &inspections).await?;
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
    let recorded = inspections.into_iter().enumerate();
    Ok(recorded
        .map(|(event, inspection)| answer(event, inspection, &findings, &holds))
        .collect())
}

/// The inspections as far as they stand without their readings.
struct Draft<'a> {
    received_at: Timestamp,
    inspections: Vec<Inspection<JudgedReading>>,
    said: Vec<Said<'a>>,
}

impl<'a> Draft<'a> {
    fn of(
        tx: &Write<'_>,
        new: &[NewInspection],
        machines: &'a BTreeMap<Uuid, Machine>,
    ) -> Result<Self> {
        let (received_at, performed_by) = (clock::now(), tx.person_id()?);
        let mut draft = Draft {
            received_at,
            inspections: Vec::new(),
            said: Vec::new(),
        };
        for (index, new) in new.iter().enumerate() {
            let at = |field: &str| format!("[{index}].{field}");
            check(new, at)?;
            let machine = named(tx, machines, new.unit_id, &at("unit_id"))?;
            let performed_at = fields::instant(&at("performed_at"), new.performed_at)?;
            draft.said.push(Said {
                machine,
                at: performed_at,
                run_hours: new.run_hours,
                estimated: false,
            });
            draft.inspections.push(Inspection {
                id: fields::id(new.id).map_err(|error| error.within(&format!("[{index}]")))?,
                unit_id: new.unit_id,
                depot_id: machine.depot_id,
                kind: new.kind,
                performed_at,
                received_at,
                performed_by,
                run_hours: new.run_hours,
                model_id: machine.model_id,
                sheet_version: machine.sheet_version,
                checklist_id: machine.checklist_id,
                checklist_version: machine.checklist_version,
                corrects: new.corrects,
                corrected_by: None,
                note: new.note.clone(),
                flags: Vec::new(),
                readings: Vec::new(),
                rev: 1,
            });
        }
        Ok(draft)
    }
}

/// What is impossible in itself; each reading is judged for itself later.
fn check(new: &NewInspection, at: impl Fn(&str) -> String) -> Result<()> {
    fields::optional_number(&at("run_hours"), new.run_hours, fields::RUN_HOURS)?;
    fields::count(&at("readings"), &new.readings, READINGS_MAX)?;
    if let Some(note) = &new.note {
        fields::lines(&at("note"), note, 0..=2_000)?;
    }
    let notes = new
        .readings
        .iter()
        .filter_map(|reading| reading.note.as_ref());
    let bytes = notes.chain(&new.note).map(String::len).sum::<usize>();
    if bytes > NOTES_BYTES_MAX {
        return Err(Error::invalid(
            at("readings"),
            format!(
                "carry {bytes} bytes of notes; an inspection holds at most {NOTES_BYTES_MAX}, so shorten them"
            ),
        ));
    }
    for (place, reading) in new.readings.iter().enumerate() {
        if let Some(note) = &reading.note {
            fields::lines(&at(&format!("readings[{place}].note")), note, 0..=2_000)?;
        }
    }
    Ok(())
}

/// The inspections that these correct.
///
/// # Errors
/// [`Error::Invalid`] where one is not there, not for this tenant, or of another unit; [`Error::Conflict`] where it is
/// corrected already.
async fn corrected(tx: &Tx<'_>, new: &[NewInspection]) -> Result<Vec<Inspection<Reading>>> {
    let ids: Vec<Uuid> = new.iter().filter_map(|new| new.corrects).collect();
    let found = find::with_ids(tx, &ids).await?;
    let mut named = BTreeSet::new();
    for (index, new) in new.iter().enumerate() {
        let Some(corrects) = new.corrects else {
            continue;
        };
        let field = format!("[{index}].corrects");
        let Some(old) = found.iter().find(|old| old.id == corrects) else {
            return Err(Error::no_such(field));
        };
        if old.unit_id != new.unit_id {
            return Err(Error::invalid(
                field,
                "is of another unit; a correction is of the same one",
            ));
        }
        if let Some(correction) = old.corrected_by {
            return Err(Error::conflict(
                field,
                format!("was corrected already; correct {correction}"),
            ));
        }
        if !named.insert(corrects) {
            return Err(Error::conflict(
                field,
                "is corrected twice at once; give one correction",
            ));
        }
    }
    Ok(found)
}

/// The checks whose newest reading may change.
fn pairs(new: &[NewInspection], corrected: &[Inspection<Reading>]) -> BTreeSet<(Uuid, String)> {
    let read = new.iter().flat_map(|new| {
        new.readings
            .iter()
            .map(|reading| (new.unit_id, reading.check.clone()))
    });
    let was = corrected.iter().flat_map(|old| {
        old.readings
            .iter()
            .map(|reading| (old.unit_id, reading.check.clone()))
    });
    read.chain(was).collect()
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct NewestRow {
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = Text)]
    check_code: String,
    #[diesel(embed)]
    moment: Moment,
    #[diesel(sql_type = Bool)]
    unserviceable: bool,
}

/// The newest reading of each of these checks that counts, without those of `replaced`.
async fn newest(
    tx: &Tx<'_>,
    pairs: &BTreeSet<(Uuid, String)>,
    replaced: &[Uuid],
) -> Result<Newest> {
    let rows: Vec<NewestRow> = prepared(
        diesel::sql_query(
            "select n.unit_id, n.check_code, l.*
             from unnest($2::uuid[], $3::text[]) as n (unit_id, check_code)
             cross join lateral (
                 select least(i.performed_at, i.received_at) as at, i.received_at, i.id,
                        r.verdict = 'unserviceable' as unserviceable
                 from reading r
                 join inspection i on i.org_id = r.org_id and i.id = r.inspection_id
                 where r.org_id = $1 and r.unit_id = n.unit_id and r.check_code = n.check_code and i.id <> all($4)
                   and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)
                 order by 1 desc, 2 desc, 3 desc limit 1
             ) l",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(pairs.iter().map(|(unit_id, _)| *unit_id).collect::<Vec<_>>())
        .bind::<Array<Text>, _>(pairs.iter().map(|(_, check)| check.as_str()).collect::<Vec<_>>())
        .bind::<Array<SqlUuid>, _>(replaced),
    )
    .load(&mut tx.connection())
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| {
            (
                (row.unit_id, row.check_code),
                (row.moment, row.unserviceable),
            )
        })
        .collect())
}

fn moment<R>(inspection: &Inspection<R>) -> Moment {
    Moment {
        at: inspection.took_effect_at(),
        received_at: inspection.received_at,
        id: inspection.id,
    }
}

/// For each correction, what to say of a check of the corrected inspection that an older reading has unserviceable.
fn told_of_corrected<'a>(
    cases: &[Case<'a>],
    new: &[NewInspection],
    corrected: &[Inspection<Reading>],
) -> Vec<Vec<(&'a CheckSpec, String)>> {
    let told = |(case, new): (&Case<'a>, &NewInspection)| {
        let old = corrected.iter().find(|old| Some(old.id) == new.corrects);
        let checks = old.into_iter().flat_map(|old| &old.readings);
        checks
            .filter_map(|reading| case.sheet.check_spec(&reading.check))
            .map(|check| {
                (
                    check,
                    format!("{}: {}", check.title, Verdict::Unserviceable.word()),
                )
            })
            .collect()
    };
    cases.iter().zip(new).map(told).collect()
}

fn events<'a>(
    inspections: &[Inspection<JudgedReading>],
    judgements: &'a [Vec<Judgement<'_>>],
    told: &'a [Vec<(&CheckSpec, String)>],
) -> Vec<Event<'a>> {
    let event = |((inspection, judgements), told): (
        (&Inspection<JudgedReading>, &'a Vec<Judgement<'_>>),
        &'a Vec<(&CheckSpec, String)>,
    )| {
        let outcome = |judgement: &'a Judgement<'_>| Outcome {
            check: &judgement.check.check,
            unserviceable: judgement.judged.verdict == Verdict::Unserviceable,
            effect: judgement.check.effect,
            text: &judgement.judged.text,
        };
        let taken_back = |(check, text): &'a (&CheckSpec, String)| Outcome {
            check: &check.check,
            unserviceable: true,
            effect: check.effect,
            text,
        };
        Event {
            unit_id: inspection.unit_id,
            depot_id: inspection.depot_id,
            moment: moment(inspection),
            by: inspection.performed_by,
            outcomes: judgements.iter().map(outcome).collect(),
            corrects: inspection.corrects.map(|id| Corrected {
                id,
                checks: told.iter().map(taken_back).collect(),
            }),
        }
    };
    inspections
        .iter()
        .zip(judgements)
        .zip(told)
        .map(event)
        .collect()
}

impl Judgement<'_> {
    /// The reading as it is answered.
    fn told(self, fitted_part_id: Option<Uuid>) -> JudgedReading {
        let Judgement {
            check,
            input,
            context,
            judged,
        } = self;
        JudgedReading {
            reading: Reading {
                check: check.check.clone(),
                verdict: judged.verdict,
                flags: judged
                    .flags
                    .iter()
                    .map(|flag| flag.words().to_owned())
                    .collect(),
                value: input.value,
                unit: input.unit.clone(),
                value_si: judged.value_si,
                grade: input.grade.clone(),
                works: input.works,
                level: input.level.clone(),
                temperature_c: input.temperature_c,
                full_charge: input.full_charge,
                repeats: input.repeats.filter(|&repeats| repeats > 1),
                fitted_part_id,
                note: input.note.clone(),
            },
            judged_value: judged.judged_value,
            limits: judged.limits,
            text: judged.text,
            inputs: VerdictInput {
                check: check.clone(),
                reading: input,
                context,
            },
        }
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

fn answer(
    event: usize,
    inspection: Inspection<JudgedReading>,
    findings: &[Tracked<Finding>],
    holds: &[Tracked<Hold>],
) -> Recorded {
    let open = |check: &str| {
        let open = findings
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
        let job = judged.inputs.check.job.as_ref()?;
        Some(ProposedWorkOrder {
            finding_id: open(&judged.reading.check)?,
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
        findings: by(event, findings),
        holds: by(event, holds),
        inspection,
    }
}

fn by<T: Clone>(event: usize, tracked: &[Tracked<T>]) -> Vec<T> {
    tracked
        .iter()
        .filter(|tracked| tracked.by.contains(&event))
        .map(|tracked| tracked.object.clone())
        .collect()
}
