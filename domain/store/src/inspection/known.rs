//! What was known before: what is corrected, and of each check the newest reading.

use std::collections::BTreeSet;

use diesel::QueryableByName;
use diesel::sql_types::{Array, Bool, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use uuid::Uuid;

use super::consequences::{Moment, Newest};
use super::{Inspection, NewInspection, Reading, find};
use crate::correction::{self, Fact};
use crate::{Result, Tx, prepared};

impl<R> Fact for Inspection<R> {
    fn id(&self) -> Uuid {
        self.id
    }

    fn unit_id(&self) -> Uuid {
        self.unit_id
    }

    fn corrected_by(&self) -> Option<Uuid> {
        self.corrected_by
    }
}

/// The inspections that these correct.
///
/// # Errors
/// Those of [`correction::check`].
pub(super) async fn corrected(
    tx: &Tx<'_>,
    new: &[NewInspection],
) -> Result<Vec<Inspection<Reading>>> {
    let ids: Vec<Uuid> = new.iter().filter_map(|new| new.corrects).collect();
    let old = find::with_ids(tx, &ids).await?;
    correction::check(new.iter().map(|new| (new.unit_id, new.corrects)), &old)?;
    Ok(old)
}

/// The checks whose newest reading may change.
pub(super) fn pairs(
    new: &[NewInspection],
    corrected: &[Inspection<Reading>],
) -> BTreeSet<(Uuid, String)> {
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
pub(super) async fn newest(
    tx: &Tx<'_>,
    pairs: &BTreeSet<(Uuid, String)>,
    replaced: &[Uuid],
) -> Result<Newest> {
    let rows: Vec<NewestRow> = prepared(
        diesel::sql_query(
            "select n.unit_id, n.check_code, l.*
             from unnest($2::uuid[], $3::text[]) as n (unit_id, check_code)
             cross join lateral (
                 select i.took_effect_at as at, i.id,
                        r.verdict = 'unserviceable' as unserviceable
                 from reading r
                 join inspection i on i.org_id = r.org_id and i.id = r.inspection_id
                 where r.org_id = $1 and r.unit_id = n.unit_id and r.check_code = n.check_code and i.id <> all($4)
                   and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)
                 order by i.took_effect_at desc, i.id desc limit 1
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
