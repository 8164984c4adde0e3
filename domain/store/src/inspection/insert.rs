//! The rows of inspections and readings, one statement each however many there are.

use std::collections::BTreeMap;

use diesel::QueryableByName;
use diesel::sql_types::{
    Array, Bool, Double, Integer, Nullable, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel_async::RunQueryDsl;
use jiff_diesel::ToDiesel;
use uuid::Uuid;

use super::Inspection;
use super::judging::Judgement;
use crate::json::word;
use crate::{Result, Tx, prepared};

/// Inserts inspections, each with the tasks that it shows to be done, joined by commas.
pub(super) async fn insert<R>(
    tx: &Tx<'_>,
    inspections: &[Inspection<R>],
    tasks_shown: &[String],
) -> Result<()> {
    let all = inspections;
    let kinds = all
        .iter()
        .map(|new| word(&new.kind))
        .collect::<Result<Vec<_>>>()?;
    prepared(
        diesel::sql_query(
            "insert into inspection (org_id, id, unit_id, depot_id, kind, performed_at, received_at, performed_by,
                                     run_hours, model_id, sheet_version, checklist_id, checklist_version, corrects, note,
                                     flags, tasks_shown)
             select $1, id, unit_id, depot_id, kind, performed_at, received_at, performed_by, run_hours, model_id,
                    sheet_version, checklist_id, checklist_version, corrects, note, string_to_array(flags, ','),
                    string_to_array(tasks_shown, ',')
             from unnest($2::uuid[], $3::uuid[], $4::uuid[], $5::text[], $6::timestamptz[], $7::timestamptz[], $8::uuid[],
                         $9::float8[], $10::uuid[], $11::integer[], $12::uuid[], $13::integer[], $14::uuid[], $15::text[],
                         $16::text[], $17::text[])
                 as n (id, unit_id, depot_id, kind, performed_at, received_at, performed_by, run_hours, model_id,
                       sheet_version, checklist_id, checklist_version, corrects, note, flags,
                       tasks_shown)",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(column(all, |new| new.id))
        .bind::<Array<SqlUuid>, _>(column(all, |new| new.unit_id))
        .bind::<Array<SqlUuid>, _>(column(all, |new| new.depot_id))
        .bind::<Array<Text>, _>(kinds)
        .bind::<Array<Timestamptz>, _>(column(all, |new| new.performed_at.to_diesel()))
        .bind::<Array<Timestamptz>, _>(column(all, |new| new.received_at.to_diesel()))
        .bind::<Array<SqlUuid>, _>(column(all, |new| new.performed_by))
        .bind::<Array<Nullable<Double>>, _>(column(all, |new| new.run_hours))
        .bind::<Array<SqlUuid>, _>(column(all, |new| new.model_id))
        .bind::<Array<Integer>, _>(column(all, |new| new.sheet_version))
        .bind::<Array<SqlUuid>, _>(column(all, |new| new.checklist_id))
        .bind::<Array<Integer>, _>(column(all, |new| new.checklist_version))
        .bind::<Array<Nullable<SqlUuid>>, _>(column(all, |new| new.corrects))
        .bind::<Array<Nullable<Text>>, _>(column(all, |new| new.note.clone()))
        .bind::<Array<Text>, _>(column(all, |new| new.flags.join(",")))
        .bind::<Array<Text>, _>(tasks_shown),
    )
    .execute(&mut tx.connection())
    .await?;
    Ok(())
}

fn column<T, U>(all: &[T], value: impl Fn(&T) -> U) -> Vec<U> {
    all.iter().map(value).collect()
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct FittedRow {
    #[diesel(sql_type = SqlUuid)]
    inspection_id: Uuid,
    #[diesel(sql_type = Text)]
    check_code: String,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    fitted_part_id: Option<Uuid>,
}

/// Inserts the readings of inspections, each on the part that was fitted then; answers those parts by inspection and
/// check.
pub(super) async fn insert_readings<R>(
    tx: &Tx<'_>,
    inspections: &[Inspection<R>],
    judgements: &[Vec<Judgement<'_>>],
) -> Result<BTreeMap<(Uuid, String), Uuid>> {
    let all: Vec<(&Inspection<R>, &Judgement<'_>)> = inspections
        .iter()
        .zip(judgements)
        .flat_map(|(inspection, judgements)| {
            judgements
                .iter()
                .map(move |judgement| (inspection, judgement))
        })
        .collect();
    if all.is_empty() {
        return Ok(BTreeMap::new());
    }
    let flags = |judgement: &Judgement<'_>| {
        let words: Vec<&str> = judgement
            .judged
            .flags
            .iter()
            .map(|flag| flag.words())
            .collect();
        words.join(",")
    };
    let repeats = |judgement: &Judgement<'_>| {
        let repeats = judgement.input.repeats.unwrap_or(1);
        i32::try_from(repeats).unwrap_or(i32::MAX)
    };
    let rows: Vec<FittedRow> = prepared(
        diesel::sql_query(
            "insert into reading (org_id, inspection_id, check_code, unit_id, fitted_part_id, value, entered, unit, grade,
                                  works, level, temperature_c, full_charge, repeats, low_c, backed_by, verdict, flags, note)
             select $1, inspection_id, check_code, unit_id,
                    (select p.id from fitted_part p
                     where p.org_id = $1 and p.unit_id = n.unit_id and p.part = n.part
                       and (p.fitted_at is null or p.fitted_at <= n.at) and (p.removed_at is null or p.removed_at > n.at)
                     order by p.fitted_at desc nulls last, p.id desc limit 1),
                    value, entered, unit, grade, works, level, temperature_c, full_charge, repeats, low_c, backed_by,
                    verdict, string_to_array(flags, ','), note
             from unnest($2::uuid[], $3::text[], $4::uuid[], $5::text[], $6::timestamptz[], $7::float8[], $8::float8[],
                         $9::text[], $10::text[], $11::boolean[], $12::text[], $13::float8[], $14::float8[],
                         $15::integer[], $16::float8[], $17::text[], $18::text[], $19::text[], $20::text[])
                 as n (inspection_id, check_code, unit_id, part, at, value, entered, unit, grade, works, level,
                       temperature_c, full_charge, repeats, low_c, backed_by, verdict, flags, note)
             returning inspection_id, check_code, fitted_part_id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(column(&all, |(inspection, _)| inspection.id))
        .bind::<Array<Text>, _>(column(&all, |(_, new)| new.check.check.as_str()))
        .bind::<Array<SqlUuid>, _>(column(&all, |(inspection, _)| inspection.unit_id))
        .bind::<Array<Nullable<Text>>, _>(column(&all, |(_, new)| new.check.part.as_deref()))
        .bind::<Array<Timestamptz>, _>(column(&all, |(inspection, _)| inspection.took_effect_at().to_diesel()))
        .bind::<Array<Nullable<Double>>, _>(column(&all, |(_, new)| new.judged.value_si))
        .bind::<Array<Nullable<Double>>, _>(column(&all, |(_, new)| new.input.value))
        .bind::<Array<Nullable<Text>>, _>(column(&all, |(_, new)| new.input.unit.as_deref()))
        .bind::<Array<Nullable<Text>>, _>(column(&all, |(_, new)| new.input.grade.as_deref()))
        .bind::<Array<Nullable<Bool>>, _>(column(&all, |(_, new)| new.input.works))
        .bind::<Array<Nullable<Text>>, _>(column(&all, |(_, new)| new.input.level.as_deref()))
        .bind::<Array<Nullable<Double>>, _>(column(&all, |(_, new)| new.input.temperature_c))
        .bind::<Array<Nullable<Double>>, _>(column(&all, |(_, new)| new.input.full_charge))
        .bind::<Array<Integer>, _>(column(&all, |(_, new)| repeats(new)))
        .bind::<Array<Nullable<Double>>, _>(column(&all, |(_, new)| new.context.low_c))
        .bind::<Array<Nullable<Text>>, _>(column(&all, |(_, new)| new.context.backed_by.map(|verdict| verdict.word())))
        .bind::<Array<Text>, _>(column(&all, |(_, new)| new.judged.verdict.word()))
        .bind::<Array<Text>, _>(column(&all, |(_, new)| flags(new)))
        .bind::<Array<Nullable<Text>>, _>(column(&all, |(_, new)| new.input.note.as_deref())),
    )
    .load(&mut tx.connection())
    .await?;
    Ok(rows
        .into_iter()
        .filter_map(|row| Some(((row.inspection_id, row.check_code), row.fitted_part_id?)))
        .collect())
}
