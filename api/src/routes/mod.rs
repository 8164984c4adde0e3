//! The routes: one noun a folder, one verb a file. How to add one:
//!
//! 1. **The store** has the noun's file (`domain/store/src/depot.rs` is the one to copy): the object as readers get it
//!    ([`Depot`](rimeyard_store::depot::Depot), also the document in the feed), `NewDepot`, and a `change!` for what may
//!    be changed; finders that take a `Tx` and narrow by `tx.tenant().depots`; writers that take a `Write`, check the
//!    whole object, store it, `publish` it, `mark` the depots whose readiness it touches and `audit` it. Every type
//!    that travels derives `ToSchema` under the feature `schema` and has `deny_unknown_fields` where it is read.
//! 2. **The verb's file** is a handler of a few lines. Its arguments, in this order: [`Signed`](crate::signed::Signed)
//!    (who asks), [`Path`](crate::extract::Path), [`Query`](crate::extract::Query) or
//!    [`Json`](crate::extract::Json), [`IfMatch`](crate::extract::IfMatch). It reads with `who.read(..)`, or writes
//!    with `who.write(once, scopes, ..)`, where `once` comes from `body.into_parts()` and `scopes` are those it will
//!    publish to; where these must be looked up, with `who.write_where(..)`. It answers an [`Answer`](crate::answer::Answer); `?` turns every error of the store into a problem.
//! 3. **The attribute** `#[utoipa::path]` has the tag (the noun), `params(Filter)` where there is a query, `x-roles`
//!    (one list of [`roles`](crate::roles)) and the answer that goes well. Security, problems, If-Match, Idempotency-Key and the operation's name are added to
//!    the document by [`document::complete`](crate::document::complete). The first line of the handler's comment is
//!    the operation's summary.
//! 4. **Mount it** in the noun's `routes` and the noun in [`mount`] below; `.service` only, so that no route can be
//!    missing in the document. Name path parameters after the object: `{depot_id}`, never `{id}`.
//! 5. **Test it** under tests/api at the same path, give `tests/api/examples.rs` an object for a new path parameter,
//!    and renew the document: `cargo run -- openapi > openapi/rimeyard.json`.
//!
//! Nothing else is needed: the guard lets in who `x-roles` names and refuses unknown query parameters, hidden and
//! absent objects answer the same 404, and the walk over the document in tests/api covers the new operations.

pub mod access_keys;
pub mod alerts;
pub mod audit;
pub mod calculations;
pub mod checklist_versions;
pub mod checklists;
pub mod crew_sheets;
pub mod deferrals;
pub mod depots;
pub mod devices;
pub mod document;
pub mod due;
pub mod exports;
pub mod findings;
pub mod fix_first;
pub mod health;
pub mod holds;
pub mod imports;
pub mod inspections;
pub mod labour;
pub mod learned;
pub mod limited_uses;
pub mod meter_readings;
pub mod models;
pub mod parts;
pub mod parts_list;
pub mod people;
pub mod readiness;
pub mod renew;
pub mod session;
pub mod sheets;
pub mod snowfall;
pub mod spares;
pub mod stock;
pub mod storms;
pub mod sync;
pub mod tasks_done;
pub mod units;
pub mod unsent;
pub mod what_if;
pub mod work_orders;

use actix_web::dev::{ServiceFactory, ServiceRequest};
use utoipa_actix_web::UtoipaApp;

/// Adds every route.
pub fn mount<T>(app: UtoipaApp<T>) -> UtoipaApp<T>
where
    T: ServiceFactory<ServiceRequest, Config = (), Error = actix_web::Error, InitError = ()>,
{
    app.configure(crate::page::routes)
        .configure(document::routes)
        .configure(health::routes)
        .configure(session::routes)
        .configure(depots::routes)
        .configure(snowfall::routes)
        .configure(imports::routes)
        .configure(exports::routes)
        .configure(inspections::routes)
        .configure(meter_readings::routes)
        .configure(findings::routes)
        .configure(holds::routes)
        .configure(limited_uses::routes)
        .configure(due::routes)
        .configure(tasks_done::routes)
        .configure(deferrals::routes)
        .configure(alerts::routes)
        .configure(storms::routes)
        .configure(readiness::routes)
        .configure(what_if::routes)
        .configure(crew_sheets::routes)
        .configure(sync::routes)
        .configure(calculations::routes)
        .configure(people::routes)
        .configure(access_keys::routes)
        .configure(audit::routes)
        .configure(devices::routes)
        .configure(unsent::routes)
        .configure(models::routes)
        .configure(sheets::routes)
        .configure(checklists::routes)
        .configure(checklist_versions::routes)
        .configure(units::routes)
        .configure(parts::routes)
        .configure(parts_list::routes)
        .configure(stock::routes)
        .configure(spares::routes)
        .configure(fix_first::routes)
        .configure(renew::routes)
        .configure(work_orders::routes)
        .configure(labour::routes)
        .configure(learned::routes)
}
