//! A phone comes with a code and a proof of its key.

use std::collections::BTreeSet;

use diesel::prelude::*;
use diesel::sql_types::Bool;
use diesel_async::RunQueryDsl;
use jiff_diesel::ToDiesel;
use serde::Deserialize;
use uuid::Uuid;

use super::code::{Found, Letters, look_up, may_enrol};
use super::{Device, KIND};
use crate::door::{self, Known, Session};
use crate::feed::{self, Write};
use crate::json::json;
use crate::person::{self, NewPerson};
use crate::schema::{device, device_code};
use crate::{Database, Error, Result, Role, Tenant, clock, fields};

/// Who makes codes for phones that are shared.
const LEADS: [Role; 3] = [Role::DepotLead, Role::DistrictManager, Role::Administrator];

/// So many phones of one person may be welcome at once.
const DEVICES_MAX: i64 = 10;

/// A phone that comes.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewDevice {
    /// The code that was made for it, with or without its hyphen.
    #[cfg_attr(feature = "schema", schema(value_type = String, example = "7K2M-9QXD"))]
    pub code: Letters,
    /// What people call the phone: 1 to 200 characters.
    #[cfg_attr(feature = "schema", schema(example = "yellow phone in the shed"))]
    pub name: String,
}

/// A phone as enrolled.
#[derive(Clone)]
pub struct Enrolled {
    /// It.
    pub device: Device,
    /// Its session.
    pub session: Session,
}

/// Enrols the phone of this key. The same phone coming again with the same code, because an answer was lost, is the same
/// enrolment. `None` for a code that is unknown, over, or another phone's.
///
/// # Errors
/// [`Error::Invalid`]; [`Error::Conflict`] for a key pair that is enrolled and for one phone too many.
pub async fn enrol(
    database: &Database,
    new: &NewDevice,
    thumbprint: &str,
    request_id: Option<Uuid>,
) -> Result<Option<Enrolled>> {
    let Some(found) = look_up(database, &new.code).await? else {
        return Ok(None);
    };
    // Whoever made the code stands for it; what is done is done through the session that begins with it.
    let session = Uuid::now_v7();
    let tenant = Tenant {
        person_id: Some(found.created_by),
        request_id,
        session: Some(session),
        ..Tenant::system(found.org_id)
    };
    let enrolled = feed::write(database, &tenant, &[found.org_id], async |tx| {
        redeem(tx, found, new, thumbprint, session).await
    })
    .await?;
    let Some((device, session)) = enrolled else {
        return Ok(None);
    };
    let known = Known {
        org_id: found.org_id,
        person_id: device.person_id,
    };
    let session = door::begin_session_as(database, known, session).await?;
    Ok(Some(Enrolled { device, session }))
}

type Code = (Option<Uuid>, Option<Uuid>, bool);

async fn redeem(
    tx: &mut Write<'_>,
    found: Found,
    new: &NewDevice,
    thumbprint: &str,
    session: Uuid,
) -> Result<Option<(Device, Uuid)>> {
    fields::line("name", &new.name, 1..=200)?;
    let code = device_code::table.find((tx.org_id(), found.id));
    let (person_id, depot_id, redeemed): Code = code
        .select((
            device_code::person_id,
            device_code::depot_id,
            device_code::redeemed_at.is_not_null(),
        ))
        .first(&mut tx.connection())
        .await?;
    if redeemed {
        return again(tx, found.id, thumbprint).await;
    }
    // Who made it may have left since, or answer for less.
    let Some(maker) = person::acting(tx, found.created_by).await? else {
        return Ok(None);
    };
    let still = match (person_id, depot_id) {
        (Some(person_id), _) => may_enrol(tx, &maker, person_id).await?,
        (None, Some(depot_id)) => LEADS.contains(&maker.role) && maker.depots.contains(depot_id),
        (None, None) => false,
    };
    if !still {
        return Ok(None);
    }
    let enrolled_at = clock::now();
    diesel::update(code)
        .set(device_code::redeemed_at.eq(enrolled_at.to_diesel()))
        .execute(&mut tx.connection())
        .await?;
    let person_id = match (person_id, depot_id) {
        (Some(person_id), _) => person_id,
        (None, Some(depot_id)) => shared(tx, &new.name, depot_id).await?,
        _ => return Ok(None),
    };
    let welcome: i64 = device::table
        .filter(device::org_id.eq(tx.org_id()))
        .filter(
            device::person_id
                .eq(person_id)
                .and(device::revoked_at.is_null()),
        )
        .count()
        .get_result(&mut tx.connection())
        .await?;
    if welcome >= DEVICES_MAX {
        return Err(Error::conflict(
            "",
            format!("{DEVICES_MAX} phones of this person are enrolled; shut one out first"),
        ));
    }
    let one = Device {
        id: fields::id(None)?,
        name: new.name.clone(),
        person_id,
        depot_id,
        thumbprint: thumbprint.to_owned(),
        enrolled_at,
        enrolled_by: found.created_by,
        revoked_at: None,
        revoked_by: None,
        revoked_because: None,
        rev: 1,
    };
    let row = (
        device::org_id.eq(tx.org_id()),
        device::id.eq(one.id),
        device::name.eq(&one.name),
        device::person_id.eq(person_id),
        device::depot_id.eq(depot_id),
        device::code_id.eq(found.id),
        device::session.eq(session),
        device::thumbprint.eq(thumbprint),
        device::enrolled_at.eq(enrolled_at.to_diesel()),
        device::enrolled_by.eq(one.enrolled_by),
    );
    let inserted = diesel::insert_into(device::table)
        .values(row)
        .execute(&mut tx.connection())
        .await;
    match inserted.map_err(Error::from) {
        // It may be another organisation's, of which nothing more is said.
        Err(Error::Conflict { field, .. }) if field == "thumbprint" => {
            return Err(Error::conflict(
                "",
                "this key pair was enrolled before; make a new one on the phone",
            ));
        }
        other => other?,
    };
    let scope = one.depot_id.unwrap_or(tx.org_id());
    tx.audit(scope, "enrol", KIND, one.id, json(&one)?);
    Ok(Some((one, session)))
}

/// The phone that came with this code before, if it is this one and welcome still: a session that was ended since is not
/// begun again.
async fn again(tx: &Write<'_>, code_id: Uuid, thumbprint: &str) -> Result<Option<(Device, Uuid)>> {
    Ok(device::table
        .filter(device::org_id.eq(tx.org_id()))
        .filter(device::code_id.eq(code_id))
        .filter(device::thumbprint.eq(thumbprint))
        .filter(device::revoked_at.is_null())
        .filter(diesel::dsl::sql::<Bool>(
            "(not exists (select from refresh_token t where t.org_id = device.org_id and t.family = device.session)
             or exists (select from refresh_token t where t.org_id = device.org_id and t.family = device.session
                          and t.revoked_at is null))",
        ))
        .select((Device::as_select(), device::session))
        .first(&mut tx.connection())
        .await
        .optional()?)
}

/// The operator that a shared phone is.
async fn shared(tx: &mut Write<'_>, name: &str, depot_id: Uuid) -> Result<Uuid> {
    let new = NewPerson {
        id: None,
        name: name.to_owned(),
        role: Role::Operator,
        all_depots: false,
        depots: BTreeSet::from([depot_id]),
        email: None,
        password: None,
    };
    Ok(person::create(tx, &new, None).await?.id)
}
