//! Rows as they were understood, in the order in which they will be applied.

use std::collections::BTreeSet;

use diesel::sql_types::{Array, Binary, Integer, Nullable, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use rimeyard_rules::Invalid;
use serde::Serialize;
use uuid::Uuid;

use super::Fault;
use crate::{Error, Result, Tx, prepared};

/// A row that can be applied.
pub(super) struct Item {
    pub(super) place: Vec<u8>,
    pub(super) row: i32,
    pub(super) key: Option<String>,
    pub(super) content: String,
}

impl Item {
    pub(super) fn new(
        place: Place,
        row: i32,
        key: impl Into<Option<String>>,
        content: &impl Serialize,
    ) -> Result<Self> {
        Ok(Self {
            place: place.of_row(row),
            row,
            key: key.into(),
            content: serde_json::to_string(content).map_err(Error::internal)?,
        })
    }
}

/// Where an object stands in the order of applying: bytes that sort as their parts do.
#[derive(Default)]
pub(super) struct Place(Vec<u8>);

impl Place {
    pub(super) fn at(mut self, at: Timestamp) -> Self {
        // The sign turned over, so that bytes sort as numbers do.
        let micros = at.as_microsecond().cast_unsigned() ^ (1 << 63);
        self.0.extend_from_slice(&micros.to_be_bytes());
        self
    }

    pub(super) fn id(mut self, id: Uuid) -> Self {
        self.0.extend_from_slice(id.as_bytes());
        self
    }

    pub(super) fn word(mut self, word: &str) -> Self {
        self.0.extend_from_slice(word.as_bytes());
        self
    }

    /// The last four bytes are the row.
    fn of_row(mut self, row: i32) -> Vec<u8> {
        self.0.extend_from_slice(&row.to_be_bytes());
        self.0
    }
}

/// All of a place but its row: the same for the rows of one object.
pub(super) fn object_of(place: &[u8]) -> &[u8] {
    &place[..place.len().saturating_sub(4)]
}

/// The id of the object that begins in this row: of version 7, made of the import's id and the row, so that whoever
/// applies a row again makes the same. In the order of rows.
pub(super) fn object_id(import_id: Uuid, row: i32) -> Uuid {
    let import = import_id.as_u128();
    let row = u128::from(row.cast_unsigned());
    let time = import >> 80 << 80;
    let own = import & ((1 << 50) - 1);
    Uuid::from_u128(
        time | 7 << 76 | (row >> 12 & 0xfff) << 64 | 0b10 << 62 | (row & 0xfff) << 50 | own,
    )
}

/// What became of some rows.
#[derive(Default)]
pub(super) struct Checked {
    pub(super) items: Vec<Item>,
    pub(super) depots: BTreeSet<Uuid>,
    pub(super) faults: Vec<Fault>,
}

impl Checked {
    /// Nothing yet, of rows about these depots.
    pub(super) fn about(depots: impl Iterator<Item = Uuid>) -> Self {
        Self {
            depots: depots.collect(),
            ..Self::default()
        }
    }

    /// Notes what is wrong with a row.
    pub(super) fn refuse(&mut self, row: i32, faults: Vec<Invalid>) {
        let faults = faults.into_iter().map(|fault| Fault {
            number: row,
            field: fault.field,
            problem: fault.problem,
        });
        self.faults.extend(faults);
    }
}

/// The faults that an error of the store names. Fields of an object are the columns they came from.
pub(super) fn faults_of(error: Error) -> Result<Vec<Invalid>> {
    let named = |field: String| {
        // `[0].readings[0].value` came from the column `value`.
        let last = field
            .rsplit(['.', ']'])
            .next()
            .unwrap_or_default()
            .to_owned();
        match last.as_str() {
            "unit_id" => "tag".to_owned(),
            "depot_id" => "depot".to_owned(),
            "model_id" => "model".to_owned(),
            "snowfall_mm" => "snowfall".to_owned(),
            "on" => "day".to_owned(),
            "part_id" => "part".to_owned(),
            "to_depot_id" => "to_depot".to_owned(),
            "lead_time_days" => "lead_time".to_owned(),
            "shelf_life_days" => "shelf_life".to_owned(),
            "amount_minor" => "price_minor".to_owned(),
            "code" => "lot".to_owned(),
            "temperature_c" | "temperature_unit" => "temperature".to_owned(),
            _ => last,
        }
    };
    match error {
        Error::Invalid { field, problem } | Error::Conflict { field, problem } => {
            Ok(vec![Invalid::new(named(field), problem)])
        }
        Error::Faults(faults) => Ok(faults
            .into_iter()
            .map(|fault| Invalid::new(named(fault.field), fault.problem))
            .collect()),
        other => Err(other),
    }
}

pub(super) async fn insert(tx: &Tx<'_>, import_id: Uuid, items: &[Item]) -> Result<()> {
    if items.is_empty() {
        return Ok(());
    }
    let all = || items.iter();
    prepared(
        diesel::sql_query(
            "insert into import_item (org_id, import_id, place, row, key, content)
             select $1, $2, place, row, key, content
             from unnest($3::bytea[], $4::integer[], $5::text[], $6::text[]) as i (place, row, key, content)",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(import_id)
        .bind::<Array<Binary>, _>(all().map(|item| item.place.as_slice()).collect::<Vec<_>>())
        .bind::<Array<Integer>, _>(all().map(|item| item.row).collect::<Vec<_>>())
        .bind::<Array<Nullable<Text>>, _>(all().map(|item| item.key.as_deref()).collect::<Vec<_>>())
        .bind::<Array<Text>, _>(all().map(|item| item.content.as_str()).collect::<Vec<_>>()),
    )
    .execute(&mut tx.connection())
    .await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_are_of_version_7_and_in_the_order_of_rows() {
        let import = Uuid::now_v7();
        let ids: Vec<Uuid> = [2, 3, 4095, 4096, 4097, 1_000_001]
            .into_iter()
            .map(|row| object_id(import, row))
            .collect();
        assert!(ids.is_sorted_by(|a, b| a < b));
        for id in &ids {
            assert_eq!(id.get_version_num(), 7);
            assert_eq!(id.get_variant(), uuid::Variant::RFC4122);
            assert_eq!(id.get_timestamp(), import.get_timestamp());
        }
        assert_ne!(object_id(Uuid::now_v7(), 2), ids[0]);
    }

    #[test]
    fn places_sort_by_time_before_and_after_1970() {
        let at = |second| {
            Place::default()
                .at(Timestamp::from_second(second).unwrap())
                .of_row(7)
        };
        assert!(at(-5) < at(-4) && at(-1) < at(0) && at(0) < at(1));
        assert_eq!(
            object_of(&at(3)),
            Place::default().at(Timestamp::from_second(3).unwrap()).0
        );
    }
}
