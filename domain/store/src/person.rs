//! People, what they may do and where, and with what they sign in.

mod acting;
mod grants;
mod sign_in;

pub(crate) use acting::acting;
pub(crate) use grants::grant_made;
pub use sign_in::change_password;
pub(crate) use sign_in::{Sessions, end_sessions, lock_sessions};

use std::collections::BTreeSet;

use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use uuid::Uuid;

use self::grants::{check_depots, grant, granted};
use self::sign_in::set_credential;
use crate::change::{difference, present};
use crate::device::end_unanswered;
use crate::feed::{Write, kind};
use crate::password::{Hashed, Password, address};
use crate::schema::{credential, depot, device, person, refresh_token};
use crate::{Database, Depots, Error, Result, Role, Tenant, Tx, fields};

/// A person as administrators see them.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Person {
    /// Their id.
    pub id: Uuid,
    /// Their name, as it stands beside what they did.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// Whether every depot is granted, present and future.
    pub all_depots: bool,
    /// The depots granted, when not all are.
    pub depots: BTreeSet<Uuid>,
    /// The address they sign in with; nobody signs in without one.
    pub email: Option<String>,
    /// Whether they may sign in at all.
    pub active: bool,
    /// Version; the ETag shows the same.
    pub rev: i64,
}

/// A person to be created.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewPerson {
    /// A UUID of version 7 made by the client; made here if absent.
    #[cfg_attr(feature = "schema", schema(nullable = false))]
    pub id: Option<Uuid>,
    /// 1 to 200 characters.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// Whether every depot is granted, present and future.
    #[serde(default)]
    pub all_depots: bool,
    /// The depots granted; at most 1,000.
    #[serde(default)]
    pub depots: BTreeSet<Uuid>,
    /// The address they sign in with, with `password`.
    pub email: Option<String>,
    /// 12 to 200 characters. Kept as an argon2id hash only.
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>))]
    pub password: Option<Password>,
}

/// What is to change of a person: what is absent stays. A new password ends all sessions, and so
/// does that they may no longer sign in; another role ends those of their phones, and a depot more those of the phones that
/// were enrolled by somebody who does not answer for them there.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields, default)]
pub struct PersonChange {
    /// 1 to 200 characters.
    #[serde(deserialize_with = "present")]
    #[cfg_attr(feature = "schema", schema(value_type = String, required = false))]
    pub name: Option<String>,
    /// What they may do.
    #[serde(deserialize_with = "present")]
    #[cfg_attr(feature = "schema", schema(value_type = Role, required = false))]
    pub role: Option<Role>,
    /// Whether every depot is granted, present and future.
    #[serde(deserialize_with = "present")]
    #[cfg_attr(feature = "schema", schema(value_type = bool, required = false))]
    pub all_depots: Option<bool>,
    /// All depots granted, in place of those that were.
    #[serde(deserialize_with = "present")]
    #[cfg_attr(feature = "schema", schema(value_type = BTreeSet<Uuid>, required = false))]
    pub depots: Option<BTreeSet<Uuid>>,
    /// The address they sign in with. The first one needs a `password` beside it.
    #[serde(deserialize_with = "present")]
    #[cfg_attr(feature = "schema", schema(value_type = String, required = false))]
    pub email: Option<String>,
    /// 12 to 200 characters.
    #[serde(deserialize_with = "present")]
    #[cfg_attr(feature = "schema", schema(value_type = String, required = false))]
    pub password: Option<Password>,
    /// Whether they may sign in at all.
    #[serde(deserialize_with = "present")]
    #[cfg_attr(feature = "schema", schema(value_type = bool, required = false))]
    pub active: Option<bool>,
}

/// What a person may do now, and where, in a session: `None` for one who is unknown or no longer active, or whose
/// session has been ended.
///
/// # Errors
/// Those of the database.
pub async fn standing(
    database: &Database,
    org_id: Uuid,
    person_id: Uuid,
    session: Uuid,
) -> Result<Option<(Role, Depots)>> {
    standing_by(database, org_id, person_id, Some(session)).await
}

/// The same of a depot system that shows a key which lives.
///
/// # Errors
/// Those of the database.
pub async fn standing_of_key(
    database: &Database,
    org_id: Uuid,
    person_id: Uuid,
) -> Result<Option<(Role, Depots)>> {
    let standing = standing_by(database, org_id, person_id, None).await?;
    // Made something else since, it signs in as that.
    Ok(standing.filter(|(role, _)| *role == Role::DepotSystem))
}

async fn standing_by(
    database: &Database,
    org_id: Uuid,
    person_id: Uuid,
    session: Option<Uuid>,
) -> Result<Option<(Role, Depots)>> {
    database
        .read(&Tenant::system(org_id), async |tx| {
            let Some(session) = session else {
                let acting = acting(tx, person_id).await?;
                return Ok(acting.map(|tenant| (tenant.role, tenant.depots)));
            };
            let (acting, lives) = futures::try_join!(acting(tx, person_id), living(tx, session))?;
            Ok(acting.zip(lives).and_then(|(tenant, lives)| {
                let (role, depots) = (tenant.role, tenant.depots);
                match lives.shared_at {
                    // Whoever picked their name on it: there, and nowhere else.
                    Some(depot_id) if role == Role::Operator && depots.contains(depot_id) => {
                        Some((role, Depots::Some(BTreeSet::from([depot_id]))))
                    }
                    None if lives.person_id == person_id => Some((role, depots)),
                    _ => None,
                }
            }))
        })
        .await
}

/// Whether somebody is still active: the first question to who signs in, who has no session to ask by.
///
/// # Errors
/// Those of the database.
pub async fn is_active(database: &Database, org_id: Uuid, person_id: Uuid) -> Result<bool> {
    database
        .read(&Tenant::system(org_id), async |tx| {
            let active = person::table
                .find((org_id, person_id))
                .filter(person::active);
            let found = diesel::select(diesel::dsl::exists(active));
            Ok(found.get_result(&mut tx.connection()).await?)
        })
        .await
}

/// Whose session it is, while it lives.
struct Living {
    person_id: Uuid,
    /// Where the phone hangs that it is of, if operators share that.
    shared_at: Option<Uuid>,
}

async fn living(tx: &Tx<'_>, session: Uuid) -> Result<Option<Living>> {
    let lives = refresh_token::table
        .left_join(
            device::table.on(device::org_id
                .eq(refresh_token::org_id)
                .and(device::session.eq(refresh_token::family))),
        )
        .filter(refresh_token::org_id.eq(tx.org_id()))
        .filter(refresh_token::family.eq(session))
        .filter(
            refresh_token::revoked_at
                .is_null()
                .and(refresh_token::expires_at.gt(diesel::dsl::now)),
        )
        .filter(device::revoked_at.is_null())
        .select((refresh_token::person_id, device::depot_id.nullable()));
    let lives: Option<(Uuid, Option<Uuid>)> = lives.first(&mut tx.connection()).await.optional()?;
    Ok(lives.map(|(person_id, shared_at)| Living {
        person_id,
        shared_at,
    }))
}

/// At most `limit` people, ordered by id, those after `after`. `email`: who signs in with exactly this address.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    email: Option<&str>,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<Person>> {
    let mut query = rows(tx.org_id())
        .order(person::id)
        .limit(limit)
        .into_boxed();
    if let Some(after) = after {
        query = query.filter(person::id.gt(after));
    }
    if let Some(email) = email {
        query = query.filter(credential::email.eq(email.trim().to_lowercase()));
    }
    let found: Vec<(Row, Option<String>)> = query.load(&mut tx.connection()).await?;
    let ids: Vec<Uuid> = found.iter().map(|(row, _)| row.id).collect();
    let granted = granted(tx, &ids).await?;
    found
        .into_iter()
        .map(|(row, email)| row.person(email, &granted))
        .collect()
}

/// One person.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<Person> {
    let ids = [id];
    let (found, granted) = futures::join!(
        rows(tx.org_id())
            .filter(person::id.eq(id))
            .first::<(Row, Option<String>)>(&mut tx.connection()),
        granted(tx, &ids)
    );
    let (row, email) = found.map_err(|error| match error {
        diesel::result::Error::NotFound => Error::NotFound { what: "person" },
        other => other.into(),
    })?;
    row.person(email, &granted?)
}

/// Creates a person, and what they sign in with when an email and a password are given. `hashed` is
/// [`password::hash`](crate::password::hash) of the password, made before the write since it takes its time. Lock the
/// organisation's scope.
///
/// # Errors
/// [`Error::Invalid`]; [`Error::Conflict`] for an id or address that is taken.
pub async fn create(
    tx: &mut Write<'_>,
    new: &NewPerson,
    hashed: Option<&Hashed>,
) -> Result<Person> {
    fields::line("name", &new.name, 1..=200)?;
    let person = Person {
        id: fields::id(new.id)?,
        name: new.name.clone(),
        role: new.role,
        all_depots: new.all_depots,
        depots: new.depots.clone(),
        email: new.email.as_deref().map(address).transpose()?,
        active: true,
        rev: 1,
    };
    let signs_in = match (&person.email, hashed) {
        (Some(email), Some(hashed)) => Some((email, hashed)),
        (None, None) => None,
        (Some(_), None) => {
            return Err(Error::invalid(
                "password",
                "is missing; an email needs one beside it",
            ));
        }
        (None, Some(_)) => {
            return Err(Error::invalid(
                "email",
                "is missing; a password needs one beside it",
            ));
        }
    };
    check_depots(tx, &person.depots).await?;
    diesel::insert_into(person::table)
        .values((person::org_id.eq(tx.org_id()), Row::new(&person)))
        .execute(&mut tx.connection())
        .await?;
    grant(tx, person.id, &BTreeSet::new(), &person.depots).await?;
    if let Some((email, hashed)) = signs_in {
        set_credential(tx, person.id, Some(email), Some(hashed)).await?;
    }
    publish(tx, &person)?;
    tx.audit(
        tx.org_id(),
        "create",
        kind::PERSON,
        person.id,
        json(&person)?,
    );
    Ok(person)
}

/// Has every depot recomputed: readiness names who inspected, started and held a machine.
async fn mark_all(tx: &mut Write<'_>) -> Result<()> {
    let depots: Vec<Uuid> = depot::table
        .filter(depot::org_id.eq(tx.org_id()))
        .select(depot::id)
        .load(&mut tx.connection())
        .await?;
    for depot_id in depots {
        tx.mark(depot_id);
    }
    Ok(())
}

/// Changes a person who stands at `rev`. `hashed` as for [`create`]. Lock the organisation's scope.
///
/// # Errors
/// [`Error::NotFound`], [`Error::Stale`], [`Error::Invalid`], [`Error::Conflict`] for an address that is taken and
/// for what would leave nobody to administer.
pub async fn update(
    tx: &mut Write<'_>,
    id: Uuid,
    rev: i64,
    change: &PersonChange,
    hashed: Option<&Hashed>,
) -> Result<Person> {
    let before = find(tx, id).await?;
    if before.rev != rev {
        return Err(Error::Stale);
    }
    let mut person = before.clone();
    if let Some(name) = &change.name {
        fields::line("name", name, 1..=200)?;
        person.name = name.clone();
    }
    person.role = change.role.unwrap_or(before.role);
    person.all_depots = change.all_depots.unwrap_or(before.all_depots);
    person.active = change.active.unwrap_or(before.active);
    if let Some(depots) = &change.depots {
        check_depots(tx, depots).await?;
        person.depots = depots.clone();
    }
    if let Some(email) = &change.email {
        person.email = Some(address(email)?);
    }
    person.rev += 1;
    check_administered(tx, &before, &person).await?;
    if before.email.is_none() && person.email.is_some() && hashed.is_none() {
        return Err(Error::invalid(
            "password",
            "is missing; the first email needs one beside it",
        ));
    }
    if person.email.is_none() && hashed.is_some() {
        return Err(Error::invalid(
            "email",
            "is missing; a password needs one beside it",
        ));
    }
    diesel::update(person::table.find((tx.org_id(), id)))
        .set(Row::new(&person))
        .execute(&mut tx.connection())
        .await?;
    grant(tx, id, &before.depots, &person.depots).await?;
    let email = person
        .email
        .as_ref()
        .filter(|email| before.email.as_ref() != Some(*email));
    if email.is_some() || hashed.is_some() {
        set_credential(tx, id, email, hashed).await?;
    }
    if hashed.is_some() || (before.active && !person.active) {
        end_sessions(tx, id, Sessions::All).await?;
    } else if before.role != person.role {
        // A phone that a lead enrolled for a technician is not to find itself an administrator.
        end_sessions(tx, id, Sessions::OfPhones).await?;
    } else if wider(&before, &person) {
        end_unanswered(tx, &person).await?;
    }
    publish(tx, &person)?;
    if person.name != before.name {
        mark_all(tx).await?;
    }
    let mut what = difference(&json(&before)?, &json(&person)?);
    if let (Some(_), Value::Object(what)) = (hashed, &mut what) {
        what.insert("password".to_owned(), json!("changed"));
    }
    tx.audit(tx.org_id(), "update", kind::PERSON, id, what);
    Ok(person)
}

/// Whether they are granted what they were not. What is taken away needs no session ended: each request is looked at by what
/// is granted then.
fn wider(before: &Person, after: &Person) -> bool {
    let more = || !after.all_depots && !after.depots.is_subset(&before.depots);
    !before.all_depots && (after.all_depots || more())
}

/// What every reader of the organisation's scope may know of a person: who they are, and not how they sign in.
fn publish(tx: &mut Write<'_>, person: &Person) -> Result<()> {
    let document = json!({
        "id": person.id, "name": person.name, "role": person.role, "active": person.active, "rev": person.rev,
    });
    tx.publish(tx.org_id(), kind::PERSON, person.id, person.rev, &document)
}

/// Somebody must be left to let the others in.
async fn check_administered(tx: &Tx<'_>, before: &Person, after: &Person) -> Result<()> {
    let administers = |person: &Person| person.active && person.role == Role::Administrator;
    if !administers(before) || administers(after) {
        return Ok(());
    }
    let others: i64 = person::table
        .filter(person::org_id.eq(tx.org_id()).and(person::active))
        .filter(
            person::role
                .eq(Role::Administrator.as_str())
                .and(person::id.ne(before.id)),
        )
        // Somebody who signs in with nothing lets nobody in.
        .filter(diesel::dsl::exists(
            credential::table
                .filter(credential::org_id.eq(tx.org_id()))
                .filter(credential::person_id.eq(person::id))
                .select(credential::person_id),
        ))
        .count()
        .get_result(&mut tx.connection())
        .await?;
    if others > 0 {
        return Ok(());
    }
    let field = if after.active { "role" } else { "active" };
    Err(Error::conflict(
        field,
        "would leave nobody to administer; make another administrator first",
    ))
}

fn json(person: &Person) -> Result<Value> {
    serde_json::to_value(person).map_err(Error::internal)
}

fn parse(role: &str) -> Result<Role> {
    role.parse().map_err(Error::internal)
}

/// The person as the table holds them.
#[derive(Queryable, Selectable, Insertable, AsChangeset)]
#[diesel(table_name = person, check_for_backend(diesel::pg::Pg))]
struct Row {
    id: Uuid,
    name: String,
    role: String,
    all_depots: bool,
    active: bool,
    rev: i64,
}

#[diesel::dsl::auto_type]
fn rows(org_id: Uuid) -> _ {
    let select: diesel::dsl::AsSelect<Row, diesel::pg::Pg> = Row::as_select();
    person::table
        .left_join(
            credential::table.on(credential::org_id
                .eq(person::org_id)
                .and(credential::person_id.eq(person::id))),
        )
        .filter(person::org_id.eq(org_id))
        .select((select, credential::email.nullable()))
}

impl Row {
    fn new(person: &Person) -> Self {
        Row {
            id: person.id,
            name: person.name.clone(),
            role: person.role.as_str().to_owned(),
            all_depots: person.all_depots,
            active: person.active,
            rev: person.rev,
        }
    }

    fn person(self, email: Option<String>, granted: &[(Uuid, Uuid)]) -> Result<Person> {
        let depots = granted
            .iter()
            .filter(|(person_id, _)| *person_id == self.id)
            .map(|(_, depot_id)| *depot_id);
        Ok(Person {
            id: self.id,
            name: self.name,
            role: parse(&self.role)?,
            all_depots: self.all_depots,
            depots: depots.collect(),
            email,
            active: self.active,
            rev: self.rev,
        })
    }
}
