//! Turns what was sent into verdicts, against the present sheet of each machine's model.

use std::collections::{BTreeMap, HashSet};

use diesel::QueryableByName;
use diesel::sql_types::{
    Array, BigInt, Double, Integer, Jsonb, Nullable, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff_diesel::ToDiesel;
use rimeyard_rules::Invalid;
use rimeyard_rules::measure::Unit;
use rimeyard_rules::sheet::{CheckSpec, Derived, Sheet};
use rimeyard_rules::verdict::{Context, Judged, ReadingInput, Verdict, VerdictInput, judge};
use uuid::Uuid;

use super::consequences::Moment;
use super::{JudgedReading, NewReading, Reading};
use crate::json::{of_json, of_word};
use crate::{Error, Result, Tx, prepared};

/// How far ahead of an inspection a storm may begin for its low to count; nobody forecasts further.
const FORECAST_DAYS: i32 = 14;

/// An inspection's readings, to be judged together.
pub(super) struct Case<'a> {
    pub(super) unit_id: Uuid,
    pub(super) depot_id: Uuid,
    pub(super) moment: Moment,
    pub(super) sheet: &'a Sheet,
    pub(super) readings: &'a [NewReading],
}

/// One reading, judged.
#[derive(Debug)]
pub(super) struct Judgement<'a> {
    pub(super) check: &'a CheckSpec,
    pub(super) input: ReadingInput,
    pub(super) context: Context,
    pub(super) judged: Judged,
}

impl Judgement<'_> {
    /// The reading as it is answered.
    pub(super) fn told(self, fitted_part_id: Option<Uuid>) -> JudgedReading {
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

/// Judges every reading of every case. `replaced` are inspections that no longer count.
///
/// # Errors
/// [`Error::Invalid`] with the place in the lists: `[0].readings[3].value`.
pub(super) async fn judge_all<'a>(
    tx: &Tx<'_>,
    cases: &[Case<'a>],
    replaced: &[Uuid],
) -> Result<Vec<Vec<Judgement<'a>>>> {
    let checks = cases
        .iter()
        .enumerate()
        .map(|(index, case)| checks_of(index, case))
        .collect::<Result<Vec<_>>>()?;
    let asked = Asked::of(cases, &checks);
    let (lows, backings) = futures::try_join!(lows(tx, &asked), backings(tx, &asked, replaced))?;

    // Oldest first, so that a verdict that backs a later one is there when it is asked for.
    let mut order: Vec<usize> = (0..cases.len()).collect();
    order.sort_by_key(|&index| cases[index].moment);
    let mut newest = backings;
    let mut judgements: Vec<Vec<Judgement<'a>>> = cases.iter().map(|_| Vec::new()).collect();
    for index in order {
        let case = &cases[index];
        let low_c = lows.get(&index).copied();
        let mut verdicts: BTreeMap<&str, Verdict> = BTreeMap::new();
        let mut judged: Vec<Option<Judgement<'a>>> = case.readings.iter().map(|_| None).collect();
        // What backs others is judged before what is backed.
        for backed in [false, true] {
            for (place, &check) in checks[index].iter().enumerate() {
                let backing = backing_of(check);
                if backing.is_some() != backed {
                    continue;
                }
                let backed_by = backing.and_then(|backing| {
                    let here = verdicts.get(backing).copied();
                    here.or_else(|| newest_before(&newest, (case.unit_id, backing), case.moment))
                });
                let context = Context {
                    low_c: low_c.filter(|_| is_battery(check)),
                    backed_by,
                };
                let judgement = judge_one(check, &case.readings[place], context)
                    .map_err(|fault| at(index, place, fault))?;
                verdicts.insert(&check.check, judgement.judged.verdict);
                judged[place] = Some(judgement);
            }
        }
        for (check, verdict) in verdicts {
            newest
                .entry((case.unit_id, check.to_owned()))
                .or_default()
                .push((case.moment, verdict));
        }
        judgements[index] = judged.into_iter().flatten().collect();
    }
    Ok(judgements)
}

/// The check of each reading.
fn checks_of<'a>(index: usize, case: &Case<'a>) -> Result<Vec<&'a CheckSpec>> {
    let mut seen = HashSet::new();
    case.readings
        .iter()
        .enumerate()
        .map(|(place, reading)| {
            let fault = |problem: String| at(index, place, Invalid::new("check", problem));
            let check = case.sheet.check_spec(&reading.check).ok_or_else(|| {
                let shown: String = reading.check.chars().take(60).collect();
                fault(format!("{shown:?} is not on the sheet of this machine's model; its checklist has those that are"))
            })?;
            if seen.insert(&check.check) {
                Ok(check)
            } else {
                Err(fault(format!("{} is read twice; give one reading of it, the mean if it was repeated", check.check)))
            }
        })
        .collect()
}

fn judge_one<'a>(
    check: &'a CheckSpec,
    reading: &NewReading,
    context: Context,
) -> Result<Judgement<'a>, Invalid> {
    let input = reading.input()?;
    let judged = judge(check, &input, &context)?;
    Ok(Judgement {
        check,
        input,
        context,
        judged,
    })
}

fn at(index: usize, place: usize, fault: Invalid) -> Error {
    let fault = fault.within(&format!("[{index}].readings[{place}]"));
    Error::invalid(fault.field, fault.problem)
}

impl NewReading {
    /// The verdict on this reading by itself.
    ///
    /// # Errors
    /// What the reading of this check cannot be.
    pub(crate) fn judge_alone(&self, check: &CheckSpec) -> Result<Verdict, Invalid> {
        Ok(judge(check, &self.input()?, &Context::default())?.verdict)
    }

    /// The reading as the rules take it: its temperature in degC.
    fn input(&self) -> Result<ReadingInput, Invalid> {
        let temperature_c = match (
            self.temperature_c,
            self.temperature,
            self.temperature_unit.as_deref(),
        ) {
            (given, None, None) => given,
            (None, Some(temperature), Some(symbol)) => {
                let unit = Unit::parse(symbol)
                    .filter(|unit| matches!(unit, Unit::Celsius | Unit::Fahrenheit));
                let unit =
                    unit.ok_or_else(|| Invalid::new("temperature_unit", "must be degC or degF"))?;
                Some(unit.to_si(temperature))
            }
            (Some(_), _, _) => {
                return Err(Invalid::new(
                    "temperature",
                    "is given beside temperature_c; give one of the two",
                ));
            }
            (None, Some(_), None) => {
                return Err(Invalid::new(
                    "temperature_unit",
                    "is missing: give degC or degF with temperature",
                ));
            }
            (None, None, Some(_)) => {
                return Err(Invalid::new(
                    "temperature",
                    "is missing: temperature_unit says in which unit it is",
                ));
            }
        };
        Ok(ReadingInput {
            check: self.check.clone(),
            value: self.value,
            unit: self.unit.clone(),
            grade: self.grade.clone(),
            works: self.works,
            level: self.level.clone(),
            temperature_c,
            full_charge: self.full_charge,
            repeats: self.repeats,
            note: self.note.clone(),
        })
    }
}

fn is_battery(check: &CheckSpec) -> bool {
    check
        .measure()
        .is_some_and(|measure| matches!(measure.derived, Some(Derived::Battery)))
}

fn backing_of(check: &CheckSpec) -> Option<&str> {
    check.measure()?.backed_by.as_deref()
}

/// Verdicts by unit and check, each with when it was read.
type Verdicts = BTreeMap<(Uuid, String), Vec<(Moment, Verdict)>>;

fn newest_before(
    verdicts: &Verdicts,
    (unit_id, check): (Uuid, &str),
    moment: Moment,
) -> Option<Verdict> {
    let known = verdicts.get(&(unit_id, check.to_owned()))?;
    let before = known.iter().filter(|(at, _)| *at < moment);
    before
        .max_by_key(|(at, _)| *at)
        .map(|(_, verdict)| *verdict)
}

/// What verdicts depend on beside the readings.
#[derive(Default)]
struct Asked {
    /// For batteries: case, depot, when.
    lows: Vec<(usize, Uuid, Timestamp)>,
    /// For what is backed by a check that was not read with it: unit, check, when.
    backings: Vec<(Uuid, String, Timestamp)>,
}

impl Asked {
    fn of(cases: &[Case<'_>], checks: &[Vec<&CheckSpec>]) -> Self {
        let mut asked = Asked::default();
        for (index, (case, checks)) in cases.iter().zip(checks).enumerate() {
            if checks.iter().any(|check| is_battery(check)) {
                asked.lows.push((index, case.depot_id, case.moment.at));
            }
            for backing in checks.iter().filter_map(|check| backing_of(check)) {
                if !checks.iter().any(|check| check.check == backing) {
                    asked
                        .backings
                        .push((case.unit_id, backing.to_owned(), case.moment.at));
                }
            }
        }
        asked
    }
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct LowRow {
    #[diesel(sql_type = BigInt)]
    place: i64,
    #[diesel(sql_type = Nullable<Double>)]
    low_c: Option<f64>,
}

/// The forecast low by case: of the storm in progress, else of the next one, else of the depot's design storm.
async fn lows(tx: &Tx<'_>, asked: &Asked) -> Result<BTreeMap<usize, f64>> {
    if asked.lows.is_empty() {
        return Ok(BTreeMap::new());
    }
    let lows = || asked.lows.iter();
    let rows: Vec<LowRow> = prepared(
        diesel::sql_query(
            "select n.place, coalesce(
                 (select s.low_c
                  from storm_depot t
                  join storm s on s.org_id = t.org_id and s.id = t.storm_id
                  where t.org_id = $1 and t.depot_id = n.depot_id and s.cancelled_at is null and s.low_c is not null
                    and s.ends_at > n.at and s.starts_at < n.at + make_interval(days => $4)
                  order by s.starts_at, s.id limit 1),
                 (d.design_storm->>'low_c')::float8) as low_c
             from unnest($2::uuid[], $3::timestamptz[]) with ordinality as n (depot_id, at, place)
             join depot d on d.org_id = $1 and d.id = n.depot_id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(lows().map(|(_, depot_id, _)| *depot_id).collect::<Vec<_>>())
        .bind::<Array<Timestamptz>, _>(lows().map(|(_, _, at)| at.to_diesel()).collect::<Vec<_>>())
        .bind::<Integer, _>(FORECAST_DAYS),
    )
    .load(&mut tx.connection())
    .await?;
    Ok(rows
        .into_iter()
        .filter_map(|row| {
            let place = usize::try_from(row.place).ok()?.checked_sub(1)?;
            Some((asked.lows.get(place)?.0, row.low_c?))
        })
        .collect())
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct BackingRow {
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = Text)]
    check_code: String,
    #[diesel(embed)]
    moment: Moment,
    #[diesel(sql_type = Text)]
    verdict: String,
}

/// For each that is asked for, the newest verdict on the check by then.
async fn backings(tx: &Tx<'_>, asked: &Asked, replaced: &[Uuid]) -> Result<Verdicts> {
    let mut verdicts = Verdicts::new();
    if asked.backings.is_empty() {
        return Ok(verdicts);
    }
    let backings = || asked.backings.iter();
    let rows: Vec<BackingRow> = prepared(
        diesel::sql_query(
            "select distinct n.unit_id, n.check_code, l.*
             from unnest($2::uuid[], $3::text[], $4::timestamptz[]) as n (unit_id, check_code, at)
             cross join lateral (
                 select i.took_effect_at as at, i.id, r.verdict
                 from reading r
                 join inspection i on i.org_id = r.org_id and i.id = r.inspection_id
                 where r.org_id = $1 and r.unit_id = n.unit_id and r.check_code = n.check_code
                   and i.took_effect_at <= n.at and i.id <> all($5)
                   and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)
                 order by i.took_effect_at desc, i.id desc limit 1
             ) l",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(backings().map(|(unit_id, ..)| *unit_id).collect::<Vec<_>>())
        .bind::<Array<Text>, _>(backings().map(|(_, check, _)| check.as_str()).collect::<Vec<_>>())
        .bind::<Array<Timestamptz>, _>(backings().map(|(.., at)| at.to_diesel()).collect::<Vec<_>>())
        .bind::<Array<SqlUuid>, _>(replaced),
    )
    .load(&mut tx.connection())
    .await?;
    for row in rows {
        let known = verdicts.entry((row.unit_id, row.check_code)).or_default();
        known.push((row.moment, of_word(row.verdict)?));
    }
    Ok(verdicts)
}

/// Sheets by model and version.
pub(super) type Sheets = BTreeMap<(Uuid, i32), Sheet>;

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct SheetRow {
    #[diesel(sql_type = SqlUuid)]
    model_id: Uuid,
    #[diesel(sql_type = Integer)]
    version: i32,
    #[diesel(sql_type = Jsonb)]
    content: serde_json::Value,
}

/// These versions of sheets.
pub(super) async fn sheets(tx: &Tx<'_>, versions: &[(Uuid, i32)]) -> Result<Sheets> {
    let rows: Vec<SheetRow> = prepared(
        diesel::sql_query(
            "select s.model_id, s.version, s.content
             from (select distinct * from unnest($2::uuid[], $3::integer[]) as n (model_id, version)) n
             join sheet s on s.org_id = $1 and s.model_id = n.model_id and s.version = n.version",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(versions.iter().map(|(model_id, _)| *model_id).collect::<Vec<_>>())
        .bind::<Array<Integer>, _>(versions.iter().map(|(_, version)| *version).collect::<Vec<_>>()),
    )
    .load(&mut tx.connection())
    .await?;
    rows.into_iter()
        .map(|row| Ok(((row.model_id, row.version), of_json(row.content)?)))
        .collect()
}
