//! What is read, a list above all, shows nothing of a depot that is not granted and nothing of another organisation.

use std::collections::BTreeSet;

use rimeyard_harness::{Actor, TestServer};
use rimeyard_store::Role;
use tokio_postgres::Client;
use uuid::Uuid;

use super::fleet::owner;
use super::objects::Everywhere;
use super::operations::{Operation, Scope, operations};

/// The ids and the tags of everything that belongs to another organisation.
async fn of_organisation(owner: &Client, org_id: Uuid) -> BTreeSet<String> {
    let tables = owner
        .query(
            "select string_agg(format('select id::text from %I where org_id = $1', table_name), ' union all ')
             from information_schema.columns
             where table_schema = 'public' and column_name = 'id' and udt_name = 'uuid'",
            &[],
        )
        .await
        .expect("the tables with an id");
    let every_id: String = tables[0].get(0);
    told(
        owner,
        &format!("{every_id} union all select tag from unit where org_id = $1"),
        org_id,
    )
    .await
}

/// Those of everything that belongs to a depot or to its machines.
async fn of_depot(owner: &Client, depot_id: Uuid) -> BTreeSet<String> {
    let tables = owner
        .query(
            "select string_agg(format(
                 'select id::text from %I where ' || case when has_depot then 'depot_id = $1'
                 else 'unit_id in (select id from unit where depot_id = $1)' end, t), ' union all ')
             from (select table_name as t, bool_or(column_name = 'depot_id') as has_depot,
                          bool_or(column_name = 'unit_id') as has_unit, bool_or(column_name = 'id') as has_id
                   from information_schema.columns where table_schema = 'public' group by 1) tables
             where has_id and (has_depot or has_unit)",
            &[],
        )
        .await
        .expect("the tables of depots");
    let every_id: String = tables[0].get(0);
    let sql = format!(
        "{every_id} union all select tag from unit where depot_id = $1
         union all select storm_id::text from storm_depot where depot_id = $1 union all select $1::text"
    );
    told(owner, &sql, depot_id).await
}

async fn told(owner: &Client, sql: &str, id: Uuid) -> BTreeSet<String> {
    let rows = owner.query(sql, &[&id]).await.expect("asked");
    rows.iter().map(|row| row.get(0)).collect()
}

/// What of these an operation shows to somebody.
async fn shown<'a>(
    operation: &Operation,
    actor: &Actor,
    path: &str,
    hidden: &'a BTreeSet<String>,
) -> Vec<&'a String> {
    let answer = operation.call(actor, path).await;
    assert_eq!(answer.status, 200, "{} {}", operation.name, answer.body);
    hidden
        .iter()
        .filter(|text| answer.body.contains(*text))
        .collect()
}

#[tokio::test]
async fn nothing_that_is_read_shows_another_depot_or_another_organisation() {
    let server = TestServer::start().await;
    let operations = operations(&server).await;
    let objects = Everywhere::make(&server, &operations).await;
    let owner = owner(&server).await;
    let mut far = of_depot(&owner, server.world.ours.far.id).await;
    // An import belongs to who brought it, and so does this one.
    far.insert(objects.far.named("import_id").value.clone());
    let theirs = of_organisation(&owner, server.world.theirs.org_id).await;
    assert!(
        far.len() > 20 && theirs.len() > 20,
        "something to be hidden"
    );
    let mut actors = Vec::new();
    for role in Role::ALL {
        actors.push((role, server.of_role(role).await));
    }
    let them = server.foreign_administrator().await;

    let mut lists = 0;
    for operation in &operations {
        if !operation.reads() || operation.scope() == Scope::Anyone {
            continue;
        }
        let path = objects.home.path(operation);
        for (role, actor) in actors.iter().filter(|(role, _)| operation.may(*role)) {
            let sees_far = matches!(role, Role::DistrictManager | Role::Administrator);
            for hidden in [Some(&theirs), (!sees_far).then_some(&far)]
                .into_iter()
                .flatten()
            {
                let shown = shown(operation, actor, &path, hidden).await;
                assert!(
                    shown.is_empty(),
                    "{} to the {role}: {shown:?}",
                    operation.name
                );
            }
            // Who is granted both depots is shown both: what was looked for is what would have been there.
            let is_list = operation.scope() == Scope::Depot
                && operation.parameters.iter().all(|name| name == "what");
            if *role == Role::Administrator && is_list {
                lists += 1;
                assert!(
                    !shown(operation, actor, &path, &far).await.is_empty()
                        && !shown(operation, &them, &path, &theirs).await.is_empty(),
                    "{} shows nothing of what is granted; give tests/api/examples.rs something that it shows",
                    operation.name
                );
            }
        }
    }
    assert!(lists >= 15, "{lists}");
}
