//! Of which models it is time to learn, and what that takes.

use std::collections::{BTreeMap, BTreeSet};

use diesel::pg::Pg;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Integer, Nullable, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use rimeyard_rules::learn::{Fasteners, grown_by_a_tenth};
use rimeyard_rules::sheet::Sheet;
use uuid::Uuid;

use super::breaks;
use crate::schema::unit;
use crate::{Result, Tx, prepared, sheet};

/// A model of which it is time to learn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Due {
    /// It.
    pub model_id: Uuid,
    /// The present version of its sheet.
    pub sheet_version: i32,
    /// Inspections, meter readings and removals of parts of its machines that are known now.
    pub facts: i64,
    /// The newest version of what was learned of it until now, if anything was.
    pub version_before: Option<i32>,
}

/// What there is to learn, and from what.
#[derive(Debug, Clone)]
pub struct Lesson {
    /// The models.
    pub due: Vec<Due>,
    /// Their present sheets.
    pub sheets: BTreeMap<Uuid, Sheet>,
    /// The parts that replace their shear fasteners, and what is booked of those.
    pub fasteners: Fasteners,
    /// The depots that have or had such machines.
    pub depots: Vec<Uuid>,
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct KnownRow {
    #[diesel(sql_type = SqlUuid)]
    model_id: Uuid,
    #[diesel(sql_type = Text)]
    kind: String,
    #[diesel(sql_type = Integer)]
    sheet_version: i32,
    #[diesel(sql_type = BigInt)]
    facts: i64,
    #[diesel(sql_type = Nullable<BigInt>)]
    facts_then: Option<i64>,
    #[diesel(sql_type = Nullable<Integer>)]
    sheet_then: Option<i32>,
    #[diesel(sql_type = Nullable<Integer>)]
    version_then: Option<i32>,
}

impl KnownRow {
    fn is_due(&self) -> bool {
        let then = self.facts_then.unwrap_or(0).unsigned_abs();
        self.sheet_then != Some(self.sheet_version)
            || grown_by_a_tenth(then, self.facts.unsigned_abs())
    }
}

/// What there is to learn: of the models of which what is known has grown by a tenth since it was learned from, or whose
/// sheet is another, and of all that share a kind or a shear fastener with one that is learned of. None where there is
/// nothing.
///
/// # Errors
/// Those of the database.
pub async fn lesson(tx: &Tx<'_>) -> Result<Option<Lesson>> {
    let known = known(tx).await?;
    if !known.iter().any(KnownRow::is_due) {
        return Ok(None);
    }
    let ids: Vec<Uuid> = known.iter().map(|model| model.model_id).collect();
    let mut sheets = sheet::present(tx, &ids).await?;
    let mut parts = breaks::parts(tx, &sheets).await?;
    let concerned = concerned(&known, &parts);
    sheets.retain(|model, _| concerned.contains(model));
    parts.retain(|model, _| concerned.contains(model));
    let due = known
        .iter()
        .filter(|model| concerned.contains(&model.model_id))
        .map(|model| Due {
            model_id: model.model_id,
            sheet_version: model.sheet_version,
            facts: model.facts,
            version_before: model.version_then,
        });
    Ok(Some(Lesson {
        due: due.collect(),
        depots: depots(tx, &concerned.into_iter().collect::<Vec<_>>()).await?,
        fasteners: Fasteners {
            booked: breaks::booked(tx, &parts).await?,
            parts,
        },
        sheets,
    }))
}

/// Models that have machines of which anything is known, retired ones too: what those have shown stays shown.
async fn known(tx: &Tx<'_>) -> Result<Vec<KnownRow>> {
    let query = prepared(
        diesel::sql_query(
            "with known as (
                 select u.model_id, sum(n.facts)::bigint as facts
                 from unit u
                 join (
                     select unit_id, count(*) as facts from inspection where org_id = $1 group by unit_id
                     union all
                     select unit_id, count(*) from meter_reading where org_id = $1 group by unit_id
                     union all
                     select unit_id, count(*) from fitted_part where org_id = $1 and removed_at is not null group by unit_id
                 ) n on n.unit_id = u.id
                 where u.org_id = $1
                 group by u.model_id
             )
             select m.id as model_id, m.kind, m.sheet_version, k.facts, l.facts as facts_then,
                    l.sheet_version as sheet_then, l.version as version_then
             from model m
             join known k on k.model_id = m.id
             left join lateral (
                 select facts, sheet_version, version from learned
                 where org_id = $1 and model_id = m.id order by version desc limit 1
             ) l on true
             where m.org_id = $1
             order by m.id",
        )
        .bind::<SqlUuid, _>(tx.org_id()),
    );
    Ok(query.load(&mut tx.connection()).await?)
}

/// The models that are due, and those that share a kind or the part of a fastener with one that is concerned.
fn concerned(known: &[KnownRow], parts: &BTreeMap<Uuid, Uuid>) -> BTreeSet<Uuid> {
    let due = known.iter().filter(|model| model.is_due());
    let mut concerned: BTreeSet<Uuid> = due.map(|model| model.model_id).collect();
    loop {
        let before = concerned.len();
        let mut kinds: BTreeSet<&str> = BTreeSet::new();
        let mut taken: BTreeSet<Uuid> = BTreeSet::new();
        for model in known {
            if concerned.contains(&model.model_id) {
                kinds.insert(model.kind.as_str());
                taken.extend(parts.get(&model.model_id));
            }
        }
        let shares = |model: &&KnownRow| {
            let part = parts.get(&model.model_id);
            kinds.contains(model.kind.as_str()) || part.is_some_and(|part| taken.contains(part))
        };
        concerned.extend(known.iter().filter(shares).map(|model| model.model_id));
        if concerned.len() == before {
            return concerned;
        }
    }
}

/// The depots at which machines of these models stand, or stood when they were retired.
pub(super) async fn depots(tx: &Tx<'_>, model_ids: &[Uuid]) -> Result<Vec<Uuid>> {
    Ok(unit::table
        .filter(unit::org_id.eq(tx.org_id()))
        .filter(unit::model_id.eq_any(model_ids))
        .select(unit::depot_id)
        .distinct()
        .order(unit::depot_id)
        .load(&mut tx.connection())
        .await?)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn model(number: u128, kind: &str, due: bool) -> KnownRow {
        KnownRow {
            model_id: Uuid::from_u128(number),
            kind: kind.to_owned(),
            sheet_version: 1,
            facts: 100,
            facts_then: Some(if due { 50 } else { 100 }),
            sheet_then: Some(1),
            version_then: Some(1),
        }
    }

    /// One is due; another is of its kind, a third of another kind with that one's fastener, a fourth of the third's kind.
    #[test]
    fn whoever_shares_with_one_that_shares_is_concerned() {
        let known = [
            model(1, "thrower", true),
            model(2, "thrower", false),
            model(3, "tractor", false),
            model(4, "tractor", false),
            model(5, "spreader", false),
            model(6, "broom", false),
        ];
        let id = Uuid::from_u128;
        let parts = [(2, 70), (3, 70), (5, 71)].map(|(model, part)| (id(model), id(part)));
        let concerned = concerned(&known, &parts.into());
        assert_eq!(concerned, [1, 2, 3, 4].map(id).into());
    }
}
