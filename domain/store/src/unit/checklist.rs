//! The checklist as the person at the machine needs it: the steps in working order, each with its limits as they stand
//! and with the last reading.

use std::collections::BTreeMap;

use diesel::QueryableByName;
use diesel::sql_types::{
    Array, Bool, Double, Integer, Jsonb, Nullable, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use rimeyard_rules::checklist::{Checklist, Step};
use rimeyard_rules::measure::Unit as UnitOfMeasure;
use rimeyard_rules::sheet::{CheckKind, CheckSpec, Effect, Limits, Sheet};
use rimeyard_rules::verdict::Verdict;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::json::{of_json, of_word};
use crate::prepared::prepared;
use crate::{Error, Result, Tx};

/// What is to be looked at on one machine.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct UnitChecklist {
    /// The checklist of its model.
    pub checklist_id: Uuid,
    /// The version in use.
    pub version: i32,
    /// What must be true before any of it.
    pub preconditions: Vec<String>,
    /// Tools to have at hand, those of every step.
    pub tools: Vec<String>,
    /// What can hurt throughout, and who decides.
    pub cautions: Vec<String>,
    /// The steps, in working order; those whose check the model's sheet does not have, or that are about an attachment
    /// which the machine is not rigged with, are left out.
    pub steps: Vec<UnitStep>,
}

/// One step.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct UnitStep {
    /// The check: what a reading names.
    pub check: String,
    /// What a technician calls it.
    pub title: String,
    /// How it is answered.
    pub kind: CheckKind,
    /// The unit of the limits, of a measure; readings may come in others.
    pub unit: Option<UnitOfMeasure>,
    /// The answers to choose from, best first, of a grade or a level.
    pub grades: Option<Vec<String>>,
    /// What each of those answers means.
    pub verdicts: Option<Vec<Verdict>>,
    /// What unserviceable does to the unit.
    pub effect: Effect,
    /// The limits of a measure; empty of anything else.
    pub limits: StepLimits,
    /// The newest reading.
    pub last: Option<LastReading>,
    /// Where on the machine, or how, in a few words.
    pub how: Option<String>,
    /// Tools to have at hand.
    pub tools: Vec<String>,
    /// What must be true before this step.
    pub preconditions: Vec<String>,
    /// What can hurt in this step.
    pub cautions: Vec<String>,
    /// Where the check comes from.
    pub source: String,
}

/// The limits of a measure, or `{}`.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(untagged)]
pub enum StepLimits {
    /// Of a measure.
    Measure(Box<Limits>),
    /// Of what is not measured.
    None(NoLimits),
}

/// No limits: `{}`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NoLimits {}

/// The newest reading of a check, as the person entered it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct LastReading {
    /// The inspection.
    pub inspection_id: Uuid,
    /// Of a measure: the number as entered.
    pub value: Option<f64>,
    /// Of a measure: its unit as entered.
    pub unit: Option<String>,
    /// The grade chosen.
    pub grade: Option<String>,
    /// Whether it worked.
    pub works: Option<bool>,
    /// The level chosen.
    pub level: Option<String>,
    /// What it came to, against the limits of its day.
    pub verdict: Verdict,
    /// What stands beside the verdict.
    pub flags: Vec<String>,
    /// When.
    pub performed_at: Timestamp,
    /// By whom: the person's name.
    pub by: String,
}

/// The checklist of a unit that the tenant may see.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn checklist_of(tx: &Tx<'_>, unit_id: Uuid) -> Result<UnitChecklist> {
    let (plan, mut last) = futures::try_join!(plan(tx, unit_id), last_readings(tx, unit_id))?;
    if !tx.tenant().depots.contains(plan.depot_id) {
        return Err(Error::NotFound { what: "unit" });
    }
    let checklist: Checklist = of_json(plan.checklist)?;
    let sheet: Sheet = of_json(plan.sheet)?;
    let steps: Vec<UnitStep> = checklist
        .steps_for(&sheet, of_word(plan.rigging)?)
        .map(|(step, check)| UnitStep::new(step, check, last.remove(&step.check)))
        .collect();
    let mut tools = Vec::new();
    for tool in steps.iter().flat_map(|step| &step.tools) {
        if !tools.contains(tool) {
            tools.push(tool.clone());
        }
    }
    Ok(UnitChecklist {
        checklist_id: plan.checklist_id,
        version: plan.version,
        preconditions: checklist.preconditions,
        tools,
        cautions: checklist.cautions,
        steps,
    })
}

impl UnitStep {
    fn new(step: &Step, check: &CheckSpec, last: Option<LastReading>) -> Self {
        let mut cautions = step.cautions.clone();
        for caution in &check.cautions {
            if !cautions.contains(caution) {
                cautions.push(caution.clone());
            }
        }
        let measure = check.measure();
        let grades = check.grades();
        UnitStep {
            check: check.check.clone(),
            title: check.title.clone(),
            kind: check.kind(),
            unit: measure.map(|measure| measure.unit),
            grades: grades.map(|list| list.iter().map(|grade| grade.grade.clone()).collect()),
            verdicts: grades.map(|list| list.iter().map(|grade| grade.verdict).collect()),
            effect: check.effect,
            limits: measure.map_or(StepLimits::None(NoLimits {}), |measure| {
                StepLimits::Measure(Box::new(measure.limits.clone()))
            }),
            last,
            how: step.how.clone(),
            tools: step.tools.clone(),
            preconditions: step.preconditions.clone(),
            cautions,
            source: check.source.clone(),
        }
    }
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct Plan {
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = Text)]
    rigging: String,
    #[diesel(sql_type = SqlUuid)]
    checklist_id: Uuid,
    #[diesel(sql_type = Integer)]
    version: i32,
    #[diesel(sql_type = Jsonb)]
    checklist: serde_json::Value,
    #[diesel(sql_type = Jsonb)]
    sheet: serde_json::Value,
}

async fn plan(tx: &Tx<'_>, unit_id: Uuid) -> Result<Plan> {
    Ok(prepared(
        diesel::sql_query(
            "select u.depot_id, u.rigging, c.id as checklist_id, c.version, v.content as checklist, s.content as sheet
             from unit u
             join model m on m.org_id = u.org_id and m.id = u.model_id
             join sheet s on s.org_id = m.org_id and s.model_id = m.id and s.version = m.sheet_version
             join checklist c on c.org_id = m.org_id and c.id = m.checklist_id
             join checklist_version v on v.org_id = c.org_id and v.checklist_id = c.id and v.version = c.version
             where u.org_id = $1 and u.id = $2",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(unit_id),
    )
    .get_result(&mut tx.connection())
    .await?)
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct LastRow {
    #[diesel(sql_type = Text)]
    check_code: String,
    #[diesel(sql_type = SqlUuid)]
    inspection_id: Uuid,
    #[diesel(sql_type = Nullable<Double>)]
    entered: Option<f64>,
    #[diesel(sql_type = Nullable<Text>)]
    unit: Option<String>,
    #[diesel(sql_type = Nullable<Text>)]
    grade: Option<String>,
    #[diesel(sql_type = Nullable<Bool>)]
    works: Option<bool>,
    #[diesel(sql_type = Nullable<Text>)]
    level: Option<String>,
    #[diesel(sql_type = Text)]
    verdict: String,
    #[diesel(sql_type = Array<Text>)]
    flags: Vec<String>,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    performed_at: Timestamp,
    #[diesel(sql_type = Text)]
    by: String,
}

/// The newest reading of each check, corrected inspections left out.
async fn last_readings(tx: &Tx<'_>, unit_id: Uuid) -> Result<BTreeMap<String, LastReading>> {
    let rows: Vec<LastRow> = prepared(
        diesel::sql_query(
            "select distinct on (r.check_code)
                 r.check_code, r.inspection_id, r.entered, r.unit, r.grade, r.works, r.level, r.verdict, r.flags,
                 i.performed_at, p.name as by
             from reading r
             join inspection i on i.org_id = r.org_id and i.id = r.inspection_id
             join person p on p.org_id = i.org_id and p.id = i.performed_by
             where r.org_id = $1 and r.unit_id = $2
               and not exists (select 1 from inspection c where c.org_id = i.org_id and c.corrects = i.id)
             order by r.check_code, i.took_effect_at desc, i.id desc",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(unit_id),
    )
    .load(&mut tx.connection())
    .await?;
    let read = |row: LastRow| {
        let reading = LastReading {
            inspection_id: row.inspection_id,
            value: row.entered,
            unit: row.unit,
            grade: row.grade,
            works: row.works,
            level: row.level,
            verdict: of_word(row.verdict)?,
            flags: row.flags,
            performed_at: row.performed_at,
            by: row.by,
        };
        Ok((row.check_code, reading))
    };
    rows.into_iter().map(read).collect()
}
