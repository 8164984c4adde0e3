//! Checklists: what is looked at on a machine, in working order. Every version is kept. They belong to the
//! organisation; their changes lock its scope.

use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use rimeyard_rules::Invalid;
use rimeyard_rules::checklist::Checklist as Content;
use rimeyard_rules::sheet::default_checklist;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::change::{change, difference};
use crate::feed::{Write, kind};
use crate::json::{json, of_json};
use crate::schema::{checklist, checklist_version};
use crate::{Error, Result, Tx, fields};

/// A checklist without what it says: the item of a list.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Queryable, Selectable)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[diesel(table_name = checklist, check_for_backend(diesel::pg::Pg))]
pub struct ChecklistHead {
    /// Its id.
    pub id: Uuid,
    /// Its name, unique in the organisation.
    pub name: String,
    /// The kind of machine it is for.
    #[cfg_attr(feature = "schema", schema(example = "two-stage thrower"))]
    pub kind: String,
    /// The version in use.
    pub version: i32,
    /// Its version as a whole, its name's changes counted too; the ETag shows the same.
    pub rev: i64,
}

/// A checklist as readers get it, with the version in use.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Checklist {
    /// Its id.
    pub id: Uuid,
    /// Its name, unique in the organisation.
    pub name: String,
    /// The kind of machine it is for.
    #[cfg_attr(feature = "schema", schema(example = "two-stage thrower"))]
    pub kind: String,
    /// The version in use.
    pub version: i32,
    /// Its version as a whole, its name's changes counted too; the ETag shows the same.
    pub rev: i64,
    /// What the version in use says.
    pub content: Content,
}

/// A checklist to be created.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewChecklist {
    /// A UUID of version 7 made by the client; made here if absent.
    #[cfg_attr(feature = "schema", schema(nullable = false))]
    pub id: Option<Uuid>,
    /// 1 to 200 characters, unique in the organisation.
    pub name: String,
    /// The kind of machine it is for.
    #[cfg_attr(feature = "schema", schema(example = "two-stage thrower"))]
    pub kind: String,
    /// Its first version; the default checklist of its kind if absent.
    #[cfg_attr(feature = "schema", schema(nullable = false))]
    pub content: Option<Content>,
}

change! {
    /// What is to change of a checklist. What it says changes by a new version.
    pub struct ChecklistChange of ChecklistHead {
        /// 1 to 200 characters, unique in the organisation.
        name: String,
    }
}

/// That there is a version of a checklist.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Queryable, Selectable)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[diesel(table_name = checklist_version, check_for_backend(diesel::pg::Pg))]
pub struct ChecklistVersion {
    /// The checklist.
    pub checklist_id: Uuid,
    /// Which version: 1, 2, 3 and so on.
    pub version: i32,
    /// When it was made; it holds from then until the next.
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    pub created_at: Timestamp,
    /// By whom; null is the house itself.
    pub created_by: Option<Uuid>,
}

/// A version of a checklist with what it says.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct VersionedChecklist {
    /// The checklist.
    pub checklist_id: Uuid,
    /// Which version: 1, 2, 3 and so on.
    pub version: i32,
    /// When it was made; it holds from then until the next.
    pub created_at: Timestamp,
    /// By whom; null is the house itself.
    pub created_by: Option<Uuid>,
    /// What it says.
    pub content: Content,
}

/// At most `limit` checklists, ordered by id, those after `after`. `name` and `kind`: exactly so named.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    name: Option<&str>,
    kind: Option<&str>,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<ChecklistHead>> {
    let mut query = checklist::table
        .filter(checklist::org_id.eq(tx.org_id()))
        .select(ChecklistHead::as_select())
        .order(checklist::id)
        .limit(limit)
        .into_boxed();
    if let Some(after) = after {
        query = query.filter(checklist::id.gt(after));
    }
    if let Some(name) = name {
        query = query.filter(checklist::name.eq(name));
    }
    if let Some(kind) = kind {
        query = query.filter(checklist::kind.eq(kind));
    }
    Ok(query.load(&mut tx.connection()).await?)
}

/// One checklist with the version in use.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<Checklist> {
    let in_use = checklist_version::org_id
        .eq(checklist::org_id)
        .and(checklist_version::checklist_id.eq(checklist::id))
        .and(checklist_version::version.eq(checklist::version));
    let (head, content): (ChecklistHead, serde_json::Value) = checklist::table
        .inner_join(checklist_version::table.on(in_use))
        .filter(checklist::org_id.eq(tx.org_id()))
        .filter(checklist::id.eq(id))
        .select((ChecklistHead::as_select(), checklist_version::content))
        .first(&mut tx.connection())
        .await?;
    Ok(Checklist::new(head, of_json(content)?))
}

/// Creates a checklist with its first version. Lock the organisation's scope.
///
/// # Errors
/// [`Error::Invalid`], [`Error::Faults`] of the content, [`Error::Conflict`] for a name or id that is taken.
pub async fn create(tx: &mut Write<'_>, new: &NewChecklist) -> Result<Checklist> {
    let content = match &new.content {
        Some(content) => content.clone(),
        None => default_checklist(&new.kind).ok_or_else(|| {
            Error::invalid(
                "kind",
                "is a kind of machine without a default checklist; give the checklist's content",
            )
        })?,
    };
    let head = ChecklistHead {
        id: fields::id(new.id)?,
        name: new.name.clone(),
        kind: new.kind.clone(),
        version: 1,
        rev: 1,
    };
    fields::line("name", &head.name, 1..=200)?;
    fields::line("kind", &head.kind, 1..=60)?;
    check(&content, &head.kind, "content")?;
    let row = (
        checklist::org_id.eq(tx.org_id()),
        checklist::id.eq(head.id),
        checklist::name.eq(&head.name),
        checklist::kind.eq(&head.kind),
    );
    diesel::insert_into(checklist::table)
        .values(row)
        .execute(&mut tx.connection())
        .await?;
    tx.audit(
        tx.org_id(),
        "create",
        kind::CHECKLIST,
        head.id,
        json(&head)?,
    );
    let version = keep(tx, &head, content).await?;
    let checklist = Checklist::new(head, version.content);
    publish(tx, &checklist)?;
    Ok(checklist)
}

/// Changes a checklist that stands at `rev`. Lock the organisation's scope.
///
/// # Errors
/// [`Error::NotFound`], [`Error::Stale`], [`Error::Invalid`], [`Error::Conflict`] for a name that is taken.
pub async fn update(
    tx: &mut Write<'_>,
    id: Uuid,
    rev: i64,
    change: &ChecklistChange,
) -> Result<Checklist> {
    let (mut head, content) = find(tx, id).await?.into_parts();
    if head.rev != rev {
        return Err(Error::Stale);
    }
    let before = json(&head)?;
    change.apply(&mut head);
    head.rev += 1;
    fields::line("name", &head.name, 1..=200)?;
    let row = (checklist::name.eq(&head.name), checklist::rev.eq(head.rev));
    diesel::update(checklist::table.find((tx.org_id(), id)))
        .set(row)
        .execute(&mut tx.connection())
        .await?;
    tx.audit(
        tx.org_id(),
        "update",
        kind::CHECKLIST,
        id,
        difference(&before, &json(&head)?),
    );
    let checklist = Checklist::new(head, content);
    publish(tx, &checklist)?;
    Ok(checklist)
}

/// At most `limit` versions of a checklist, oldest first, those after `after`.
///
/// # Errors
/// [`Error::NotFound`] where there is no such checklist.
pub async fn versions(
    tx: &Tx<'_>,
    id: Uuid,
    after: Option<i32>,
    limit: i64,
) -> Result<Vec<ChecklistVersion>> {
    find(tx, id).await?;
    let versions = checklist_version::table
        .filter(checklist_version::org_id.eq(tx.org_id()))
        .filter(checklist_version::checklist_id.eq(id))
        .filter(checklist_version::version.gt(after.unwrap_or(0)))
        .select(ChecklistVersion::as_select())
        .order(checklist_version::version)
        .limit(limit);
    Ok(versions.load(&mut tx.connection()).await?)
}

/// One version of a checklist.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find_version(tx: &Tx<'_>, id: Uuid, version: i32) -> Result<VersionedChecklist> {
    let (head, content): (ChecklistVersion, serde_json::Value) = checklist_version::table
        .find((tx.org_id(), id, version))
        .select((ChecklistVersion::as_select(), checklist_version::content))
        .first(&mut tx.connection())
        .await?;
    Ok(VersionedChecklist::new(head, of_json(content)?))
}

/// Puts a new version of a checklist into use, the whole of it. Lock the organisation's scope.
///
/// # Errors
/// [`Error::NotFound`] where there is no such checklist, [`Error::Faults`].
pub async fn create_version(
    tx: &mut Write<'_>,
    id: Uuid,
    content: Content,
) -> Result<VersionedChecklist> {
    let (mut head, _) = find(tx, id).await?.into_parts();
    check(&content, &head.kind, "")?;
    head.version += 1;
    head.rev += 1;
    let row = (
        checklist::version.eq(head.version),
        checklist::rev.eq(head.rev),
    );
    diesel::update(checklist::table.find((tx.org_id(), id)))
        .set(row)
        .execute(&mut tx.connection())
        .await?;
    let detail = serde_json::json!({"version": head.version});
    tx.audit(tx.org_id(), "create version", kind::CHECKLIST, id, detail);
    let version = keep(tx, &head, content).await?;
    publish(tx, &Checklist::new(head, version.content.clone()))?;
    Ok(version)
}

/// Keeps the version that the checklist names as the one in use.
async fn keep(
    tx: &Write<'_>,
    head: &ChecklistHead,
    content: Content,
) -> Result<VersionedChecklist> {
    let row = (
        checklist_version::org_id.eq(tx.org_id()),
        checklist_version::checklist_id.eq(head.id),
        checklist_version::version.eq(head.version),
        checklist_version::content.eq(json(&content)?),
        checklist_version::created_by.eq(tx.tenant().person_id),
    );
    let kept = diesel::insert_into(checklist_version::table)
        .values(row)
        .returning(ChecklistVersion::as_select())
        .get_result(&mut tx.connection())
        .await?;
    Ok(VersionedChecklist::new(kept, content))
}

fn publish(tx: &mut Write<'_>, checklist: &Checklist) -> Result<()> {
    tx.publish(
        tx.org_id(),
        kind::CHECKLIST,
        checklist.id,
        checklist.rev,
        checklist,
    )
}

/// Whether the content makes sense, for that kind of machine. `field` is where it stands in the request.
fn check(content: &Content, kind: &str, field: &str) -> Result<()> {
    let mut faults = content.check().err().unwrap_or_default();
    if content.kind != kind {
        faults.push(Invalid::new(
            "kind",
            format!("is {:?}, and the checklist is for a {kind}", content.kind),
        ));
    }
    Error::of_faults(faults, field)
}

impl Checklist {
    fn new(head: ChecklistHead, content: Content) -> Self {
        let ChecklistHead {
            id,
            name,
            kind,
            version,
            rev,
        } = head;
        Checklist {
            id,
            name,
            kind,
            version,
            rev,
            content,
        }
    }

    fn into_parts(self) -> (ChecklistHead, Content) {
        let Checklist {
            id,
            name,
            kind,
            version,
            rev,
            content,
        } = self;
        (
            ChecklistHead {
                id,
                name,
                kind,
                version,
                rev,
            },
            content,
        )
    }
}

impl VersionedChecklist {
    fn new(head: ChecklistVersion, content: Content) -> Self {
        let ChecklistVersion {
            checklist_id,
            version,
            created_at,
            created_by,
        } = head;
        VersionedChecklist {
            checklist_id,
            version,
            created_at,
            created_by,
            content,
        }
    }
}
