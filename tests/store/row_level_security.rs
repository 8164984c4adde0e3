//! Row-level security, table by table: what the application sees and may touch without an organisation, and with another
//! than a row's own. Every table with org_id has rows of two organisations here.

use std::collections::BTreeSet;

use reqwest::Method;
use rimeyard_harness::{Actor, Answer, Depot, TestServer, email, eventually};
use rimeyard_store::Role;
use serde_json::json;
use tokio_postgres::{Client, NoTls};
use uuid::Uuid;

use super::connect;
use crate::api::examples::good_body;
use crate::api::fleet::owner;
use crate::api::objects::Everywhere;
use crate::api::operations::operations;

/// Tables that the application may not even be asked for. This list may only shrink.
const OUT_OF_REACH: [(&str, &str); 1] = [("signing_key", "what signs is sign-in's alone")];

/// A table that belongs to organisations.
struct Table {
    name: String,
    /// Columns that can be written.
    columns: String,
    /// Columns that the application may change.
    changeable: Vec<String>,
    /// Whether the application may add and take away rows.
    inserts: bool,
    deletes: bool,
}

async fn tables(owner: &Client) -> Vec<Table> {
    let rows = owner
        .query(
            "select c.table_name::text, string_agg(quote_ident(c.column_name), ', ') filter (where c.is_generated = 'NEVER'),
                    array_remove(array_agg(case when has_column_privilege('rimeyard_app', c.table_name, c.column_name, 'update')
                        then c.column_name::text end), null),
                    has_table_privilege('rimeyard_app', c.table_name, 'insert'), has_table_privilege('rimeyard_app', c.table_name, 'delete')
             from information_schema.columns c join information_schema.tables t using (table_schema, table_name)
             where table_schema = 'public' and t.table_type = 'BASE TABLE'
             group by 1, 4, 5 having bool_or(c.column_name = 'org_id') order by 1",
            &[],
        )
        .await
        .expect("the tables");
    rows.iter()
        .map(|row| Table {
            name: row.get(0),
            columns: row.get(1),
            changeable: row.get(2),
            inserts: row.get(3),
            deletes: row.get(4),
        })
        .collect()
}

/// An answer kept for an Idempotency-Key, hours of a technician, snow, a shelf, and a fault of an import.
async fn furnish(administrator: &Actor, organisation: &str, depot: &Depot) {
    let body = json!({"name": Uuid::now_v7().to_string(), "kind": "two-stage thrower"});
    let request = administrator
        .request(Method::POST, "/v1/checklists")
        .header("Idempotency-Key", "once")
        .json(&body);
    Answer::of(request).await.expect(201);
    let people = format!("/v1/people?email={}", email(organisation, Role::Technician));
    let technician = administrator.get(&people).await.expect(200).json()["items"][0]["id"].clone();
    let labour = format!("/v1/depots/{}/labour", depot.id);
    let etag = administrator.get(&labour).await.expect(200).etag();
    let hours =
        json!({"person_id": technician, "from": "2024-09-01", "until": null, "weekly_minutes": 60});
    let change = json!({"technicians": [hours]});
    administrator
        .patch(&labour, &etag, &change)
        .await
        .expect(200);
    for (operation, path) in [("snowfall_note", "snowfall"), ("stock_book", "stock/moves")] {
        let body = good_body(operation, administrator, depot)
            .await
            .expect("a body");
        let path = format!("/v1/depots/{}/{path}", depot.id);
        let answer = administrator.post(&path, &body).await;
        assert!(answer.status < 300, "{path}: {}", answer.body);
    }
    let table = "tag,read at,hours\nnobody,yesterday,x\n";
    let faulty = administrator
        .post_table("/v1/imports?what=meter-readings", table)
        .await;
    let path = format!("/v1/imports/{}", faulty.expect(202).id());
    eventually(20.0, "the import is refused", async || {
        administrator.get(&path).await.expect(200).json()["state"] == "refused"
    })
    .await;
}

/// A house with rows of two organisations in every table, and the ids of the two.
async fn furnished() -> (TestServer, Uuid, Uuid) {
    let server = TestServer::start().await;
    let operations = operations(&server).await;
    Everywhere::make(&server, &operations).await;
    // What no object of a path brings.
    let (us, them) = (
        server.administrator().await,
        server.foreign_administrator().await,
    );
    server
        .with_worker(async || {
            furnish(&us, "ours", &server.world.ours.home).await;
            furnish(&them, "theirs", &server.world.theirs.home).await;
        })
        .await;
    let (ours, theirs) = (server.world.ours.org_id, server.world.theirs.org_id);
    (server, ours, theirs)
}

/// A connection that has become this role, with this organisation set: none, '' or one.
async fn as_role(server: &TestServer, role: &str, organisation: Option<&str>) -> Client {
    let client = connect(&server.login_url).await;
    client
        .batch_execute(&format!("set role {role}"))
        .await
        .expect("a member");
    if let Some(organisation) = organisation {
        client
            .execute("select set_config('app.org', $1, false)", &[&organisation])
            .await
            .expect("set");
    }
    client
}

async fn count(client: &Client, sql: &str) -> i64 {
    client
        .query_one(sql, &[])
        .await
        .unwrap_or_else(|error| panic!("{sql}: {error:?}"))
        .get(0)
}

/// Refused for want of a right, or by a policy; both are insufficient_privilege.
#[track_caller]
fn refused<T>(outcome: Result<T, tokio_postgres::Error>, by_policy: bool, what: &str) {
    let Err(error) = outcome else {
        panic!("{what} was allowed")
    };
    let error = error
        .as_db_error()
        .unwrap_or_else(|| panic!("{what}: {error:?}"));
    assert_eq!(error.code().code(), "42501", "{what}: {error}");
    let policy = error.message().contains("row-level security");
    assert_eq!(policy, by_policy, "{what}: {error}");
}

#[tokio::test]
async fn no_row_of_another_organisation_is_seen_or_touched_in_any_table() {
    let (server, ours, theirs) = furnished().await;
    let owner = owner(&server).await;
    let tables = tables(&owner).await;
    assert!(tables.len() > 30);
    let nobody = Uuid::now_v7().to_string();
    let none = as_role(&server, "rimeyard_app", None).await;
    let empty = as_role(&server, "rimeyard_app", Some("")).await;
    let stranger = as_role(&server, "rimeyard_app", Some(&nobody)).await;
    let us = as_role(&server, "rimeyard_app", Some(&ours.to_string())).await;
    for table in &tables {
        let name = &table.name;
        let of = |org: Uuid| format!("select count(org_id) from {name} where org_id = '{org}'");
        let all = format!("select count(org_id) from {name}");
        let (our_rows, their_rows) = (
            count(&owner, &of(ours)).await,
            count(&owner, &of(theirs)).await,
        );
        assert!(
            our_rows > 0 && their_rows > 0,
            "{name} has no rows of both to hide: give this test some"
        );

        for (client, who) in [
            (&none, "no organisation"),
            (&empty, "an empty one"),
            (&stranger, "a strange one"),
        ] {
            assert_eq!(
                count(client, &all).await,
                0,
                "{name} is seen with {who} set"
            );
        }
        assert_eq!(
            count(&us, &of(theirs)).await,
            0,
            "{name}: theirs are seen by us"
        );
        assert_eq!(
            count(&us, &all).await,
            our_rows,
            "{name}: ours are seen by us, all of them"
        );

        // A row of theirs, as it is, put in by us or by nobody.
        let row: String = owner
            .query_one(
                &format!("select to_json(t)::text from {name} t where org_id = '{theirs}' limit 1"),
                &[],
            )
            .await
            .expect("a row")
            .get(0);
        let columns = &table.columns;
        let insert = format!(
            "insert into {name} ({columns}) select {columns} from json_populate_record(null::{name}, $${row}$$)"
        );
        for client in [&us, &none, &empty, &stranger] {
            refused(
                client.execute(&insert, &[]).await,
                table.inserts,
                &format!("insert into {name}"),
            );
        }

        // Theirs changed or taken away by who is of no organisation, or of another.
        for client in [&none, &empty, &stranger] {
            for column in &table.changeable {
                let update = format!("update {name} set {column} = default");
                assert_eq!(
                    client.execute(&update, &[]).await.expect("for no row"),
                    0,
                    "{update}"
                );
            }
            if table.deletes {
                assert_eq!(
                    client
                        .execute(&format!("delete from {name}"), &[])
                        .await
                        .expect("of no row"),
                    0,
                    "{name}"
                );
            } else {
                refused(
                    client.execute(&format!("delete from {name}"), &[]).await,
                    false,
                    &format!("delete from {name}"),
                );
            }
        }
        for column in &table.changeable {
            let update = format!("update {name} set {column} = default where org_id = '{theirs}'");
            assert_eq!(
                us.execute(&update, &[]).await.expect("for no row"),
                0,
                "{update}"
            );
        }
        if table.deletes {
            let delete = format!("delete from {name} where org_id = '{theirs}'");
            assert_eq!(
                us.execute(&delete, &[]).await.expect("of no row"),
                0,
                "{delete}"
            );
        }
        // Ours given away to them.
        let give = us
            .execute(&format!("update {name} set org_id = '{theirs}'"), &[])
            .await;
        let may = table.changeable.iter().any(|column| column == "org_id");
        refused(give, may, &format!("{name} given away"));
        assert_eq!(
            count(&owner, &of(theirs)).await,
            their_rows,
            "{name}: as many as before"
        );
        assert_eq!(
            count(&owner, &of(ours)).await,
            our_rows,
            "{name}: as many as before"
        );
    }
}

#[tokio::test]
async fn each_role_reads_its_tables_and_no_others() {
    let (server, ours, theirs) = furnished().await;
    let owner = owner(&server).await;
    let all: BTreeSet<String> = owner
        .query(
            "select relname::text from pg_class where relnamespace = 'public'::regnamespace and relkind in ('r', 'p', 'v', 'm')
             and relname <> '__diesel_schema_migrations'",
            &[],
        )
        .await
        .expect("the tables")
        .iter()
        .map(|row| row.get(0))
        .collect();
    // Those whose work crosses organisations, with the tables that it needs. These lists may only shrink.
    let crossing: [(&str, &[&str]); 3] = [
        (
            "rimeyard_door",
            // Whoever comes with a password, a token, a key or a code names no organisation.
            &[
                "access_key",
                "credential",
                "device",
                "device_code",
                "refresh_token",
                "signing_key",
            ],
        ),
        ("rimeyard_clock", &["import", "mark"]),
        (
            "rimeyard_sweep",
            &[
                "device_code",
                "feed_entry",
                "feed_scope",
                "idempotency",
                "import",
                "import_fault",
                "import_item",
                "import_row",
                "refresh_token",
            ],
        ),
    ];
    for (role, tables) in crossing {
        // It makes no difference to these which organisation is set.
        let client = as_role(&server, role, Some(&ours.to_string())).await;
        for table in &all {
            let granted = tables.contains(&table.as_str());
            let outcome = client
                .query(&format!("select 1 from {table} limit 1"), &[])
                .await;
            if granted {
                outcome.unwrap_or_else(|error| panic!("{role} reads {table}: {error:?}"));
            } else {
                refused(outcome, false, &format!("{role} reads {table}"));
            }
        }
    }
    let door = as_role(&server, "rimeyard_door", None).await;
    let clock = as_role(&server, "rimeyard_clock", None).await;
    for (client, table) in [
        (&door, "credential"),
        (&door, "refresh_token"),
        (&clock, "mark"),
        (&clock, "import"),
    ] {
        for org in [ours, theirs] {
            let seen = count(
                client,
                &format!("select count(*) from {table} where org_id = '{org}'"),
            )
            .await;
            assert!(seen > 0, "{table} of every organisation");
        }
    }
    // The sweep sees what has served its time, of which there is nothing yet, and where each scope's floor is.
    let sweep = as_role(&server, "rimeyard_sweep", None).await;
    for table in [
        "feed_entry",
        "idempotency",
        "import",
        "import_fault",
        "import_item",
        "import_row",
        "refresh_token",
    ] {
        let seen = count(&sweep, &format!("select count(*) from {table}")).await;
        assert_eq!(seen, 0, "{table}: nothing is old enough");
    }
    // The application itself, and the login before it has become anybody.
    let app = as_role(&server, "rimeyard_app", Some(&ours.to_string())).await;
    let (login, connection) = tokio_postgres::connect(&server.login_url, NoTls)
        .await
        .expect("connected");
    tokio::spawn(connection);
    for table in &all {
        refused(
            login
                .query(&format!("select 1 from {table} limit 1"), &[])
                .await,
            false,
            &format!("the login reads {table}"),
        );
        let out = OUT_OF_REACH.iter().any(|(name, _)| name == table);
        let asked = app
            .query(
                &format!("select count(*) from (select from {table} limit 1) t"),
                &[],
            )
            .await;
        if out {
            refused(asked, false, &format!("the application reads {table}"));
        } else {
            asked.unwrap_or_else(|error| panic!("the application reads {table}: {error:?}"));
        }
    }
}
