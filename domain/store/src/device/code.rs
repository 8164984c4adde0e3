//! The code that a phone is enrolled with: short, since it is typed with cold hands or read off a screen, and so of ten
//! minutes and good once.

use std::fmt;

use diesel::prelude::*;
use diesel::sql_types::{Binary, Uuid as SqlUuid};
use diesel::{QueryableByName, pg::Pg};
use diesel_async::RunQueryDsl;
use jiff::{SignedDuration, Timestamp};
use jiff_diesel::ToDiesel;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use uuid::Uuid;

use crate::feed::Write;
use crate::json::json;
use crate::person::{self, Person};
use crate::schema::device_code;
use crate::{Database, Depots, Error, Result, Role, Tenant, Tx, clock, fields, prepared};

/// How long a code lives.
pub const LIFE: SignedDuration = SignedDuration::from_mins(10);
/// Crockford's base 32: no letter is taken for a digit.
const LETTERS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
/// 40 bits: with the ten minutes and the limit on tries, nobody guesses one.
const LENGTH: usize = 8;
/// What the audit calls a code.
const KIND: &str = "device-code";

/// For whose phone a code is: `person_id` for a person's own, or `depot_id` for one that the operators there share.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewDeviceCode {
    /// Whose phone it is.
    pub person_id: Option<Uuid>,
    /// Where the phone hangs.
    pub depot_id: Option<Uuid>,
}

/// A code as kept: never its letters.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct DeviceCode {
    /// Its id.
    pub id: Uuid,
    /// Whose phone it is for.
    pub person_id: Option<Uuid>,
    /// Where the phone hangs that it is for.
    pub depot_id: Option<Uuid>,
    /// By whom it was made: a person.
    pub created_by: Uuid,
    /// When.
    pub created_at: Timestamp,
    /// When it ends.
    pub expires_at: Timestamp,
}

/// The letters of a code, with hyphens and case as they were typed.
#[derive(Clone, Deserialize)]
#[serde(transparent)]
pub struct Letters(String);

impl fmt::Debug for Letters {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Letters(..)")
    }
}

impl Letters {
    fn draw() -> Self {
        let letters = rand::random::<[u8; LENGTH]>().map(|byte| LETTERS[usize::from(byte % 32)]);
        let (front, back) = letters.split_at(LENGTH / 2);
        let text = |letters: &[u8]| String::from_utf8_lossy(letters).into_owned();
        Letters(format!("{}-{}", text(front), text(back)))
    }

    /// As they are shown.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// What is kept of them. O is read as 0, I and L as 1, as Crockford's base 32 has it.
    fn digest(&self) -> Vec<u8> {
        let letters = self.0.chars().filter(|c| !matches!(c, '-' | ' ')).take(64);
        let letters = letters.map(|letter| match letter.to_ascii_uppercase() {
            'O' => '0',
            'I' | 'L' => '1',
            letter => letter,
        });
        Sha256::digest(letters.collect::<String>()).to_vec()
    }
}

/// Makes a code. Leads make it, for their own phone and for those of people they answer for: an administrator for everyone,
/// a district manager and a depot lead for those below them who work at no depot that is not granted, and for a phone to
/// be shared at a depot that is. Lock the organisation's scope.
///
/// # Errors
/// [`Error::Invalid`] where nobody, or nothing the tenant answers for, is named.
pub async fn create(tx: &mut Write<'_>, new: &NewDeviceCode) -> Result<(DeviceCode, Letters)> {
    match (new.person_id, new.depot_id) {
        (Some(person_id), None) => {
            if !may_enrol(tx, tx.tenant(), person_id).await? {
                return Err(Error::invalid(
                    "person_id",
                    "names nobody whom you may enrol a phone for",
                ));
            }
        }
        (None, Some(depot_id)) => {
            if crate::depot::find(tx, depot_id).await.is_err() {
                return Err(Error::invalid(
                    "depot_id",
                    "names no depot that you may see",
                ));
            }
        }
        _ => {
            return Err(Error::invalid(
                "person_id",
                "must be there, or depot_id must, and not both: a phone is a person's or hangs at a depot",
            ));
        }
    }
    let letters = Letters::draw();
    let created_at = clock::now();
    let code = DeviceCode {
        id: fields::id(None)?,
        person_id: new.person_id,
        depot_id: new.depot_id,
        created_by: tx.person_id()?,
        created_at,
        expires_at: created_at + LIFE,
    };
    let row = (
        device_code::org_id.eq(tx.org_id()),
        device_code::id.eq(code.id),
        device_code::code_hash.eq(letters.digest()),
        device_code::person_id.eq(code.person_id),
        device_code::depot_id.eq(code.depot_id),
        device_code::created_at.eq(created_at.to_diesel()),
        device_code::created_by.eq(code.created_by),
        device_code::expires_at.eq(code.expires_at.to_diesel()),
    );
    diesel::insert_into(device_code::table)
        .values(row)
        .execute(&mut tx.connection())
        .await?;
    let scope = code.depot_id.unwrap_or(tx.org_id());
    tx.audit(scope, "create", KIND, code.id, json(&code)?);
    Ok((code, letters))
}

/// Who a code may be for, by whoever makes it: whoever holds it becomes that person.
pub(super) async fn may_enrol(tx: &Tx<'_>, maker: &Tenant, person_id: Uuid) -> Result<bool> {
    match person::find(tx, person_id).await {
        Ok(person) => {
            Ok(person.active && person.role != Role::DepotSystem && answers_for(maker, &person))
        }
        Err(Error::NotFound { .. }) => Ok(false),
        Err(error) => Err(error),
    }
}

/// Whether somebody answers for a person's phones: they may do no less than that person, and no further. Everybody does for
/// their own.
pub(super) fn answers_for(tenant: &Tenant, person: &Person) -> bool {
    if tenant.person_id == Some(person.id) || tenant.role == Role::Administrator {
        return true;
    }
    let below = match tenant.role {
        Role::DistrictManager => {
            [Role::Technician, Role::Operator, Role::DepotLead].contains(&person.role)
        }
        Role::DepotLead => [Role::Technician, Role::Operator].contains(&person.role),
        _ => false,
    };
    let within = match &tenant.depots {
        Depots::All => true,
        Depots::Some(granted) => {
            !person.all_depots && !person.depots.is_empty() && person.depots.is_subset(granted)
        }
    };
    below && within
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct Row {
    #[diesel(sql_type = SqlUuid)]
    org_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    created_by: Uuid,
}

/// Where a code belongs, and who made it, if it lives.
#[derive(Debug, Clone, Copy)]
pub struct Found {
    /// The organisation.
    pub org_id: Uuid,
    /// The code.
    pub id: Uuid,
    /// Who made it.
    pub created_by: Uuid,
}

/// Looks a code up before the organisation is known. One that was redeemed lives on: the answer may have been lost.
///
/// # Errors
/// Those of the database.
pub async fn look_up(database: &Database, letters: &Letters) -> Result<Option<Found>> {
    let door = database.door().await?;
    let row: Option<Row> = prepared(
        diesel::sql_query(
            "select org_id, id, created_by from device_code where code_hash = $1 and expires_at > now()",
        )
        .bind::<Binary, _>(letters.digest()),
    )
    .get_result(&mut &door.postgres)
    .await
    .optional()?;
    Ok(row.map(|row| Found {
        org_id: row.org_id,
        id: row.id,
        created_by: row.created_by,
    }))
}
