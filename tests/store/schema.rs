//! What every table must be, asked of a migrated database.

use std::collections::BTreeSet;

use super::{database, owner};

/// Indexes that do not begin with org_id, each with the reason. This list may only shrink.
const ACROSS_ORGANISATIONS: [(&str, &str); 11] = [
    (
        "credential_email",
        "whoever signs in names an address, not an organisation",
    ),
    (
        "refresh_token_hash",
        "a refresh token is found before its organisation is known",
    ),
    ("access_key_hash", "and so is a depot system's key"),
    ("device_code_hash", "and so is a code to enrol a phone"),
    ("device_thumbprint", "and so is a phone, by its key"),
    (
        "device_code_expiry",
        "the sweep asks what is oldest anywhere",
    ),
    ("mark_due", "the worker asks what is due anywhere"),
    ("mark_parked", "and what is parked anywhere"),
    (
        "refresh_token_expiry",
        "the sweep asks what is oldest anywhere",
    ),
    ("idempotency_age", "the sweep asks what is oldest anywhere"),
    ("feed_entry_gone", "the sweep asks what is oldest anywhere"),
];
/// Tables without org_id, each with the reason. This list may only shrink.
const WITHOUT_ORGANISATION: [(&str, &str); 3] = [
    ("__diesel_schema_migrations", "the schema's own version"),
    ("installation", "one row about the whole database"),
    ("signing_key", "the keys belong to the installation"),
];

/// The first column of each row, as a set.
async fn names(sql: &str) -> BTreeSet<String> {
    let (_, name) = database().await;
    let rows = owner(&name).await.query(sql, &[]).await.expect("asked");
    rows.iter().map(|row| row.get(0)).collect()
}

fn set<const N: usize>(list: [(&str, &str); N]) -> BTreeSet<String> {
    list.iter().map(|(name, _)| (*name).to_owned()).collect()
}

#[tokio::test]
async fn every_table_belongs_to_an_organisation_but_those_listed() {
    let found = names(
        "select c.relname::text from pg_class c where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p')
         and not exists (select from pg_attribute a where a.attrelid = c.oid and a.attname = 'org_id')",
    )
    .await;
    assert_eq!(found, set(WITHOUT_ORGANISATION));
}

#[tokio::test]
async fn the_organisation_leads_every_primary_key_and_index_but_those_listed() {
    let found = names(
        "select i.indexrelid::regclass::text from pg_index i
         join pg_class c on c.oid = i.indrelid and c.relnamespace = 'public'::regnamespace
         join pg_attribute org on org.attrelid = c.oid and org.attname = 'org_id'
         where i.indkey[0] <> org.attnum",
    )
    .await;
    assert_eq!(found, set(ACROSS_ORGANISATIONS));
    let keyless = names(
        "select c.relname::text from pg_class c where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p')
         and not exists (select from pg_index i where i.indrelid = c.oid and i.indisprimary)",
    )
    .await;
    assert_eq!(keyless, BTreeSet::new(), "every table has a primary key");
}

/// Foreign keys bypass row-level security: without org_id on both sides one organisation's row could name another's.
#[tokio::test]
async fn every_foreign_key_stays_within_the_organisation() {
    let found = names(
        "select f.conrelid::regclass || '.' || f.conname from pg_constraint f
         join pg_attribute here on here.attrelid = f.conrelid and here.attname = 'org_id'
         join pg_attribute there on there.attrelid = f.confrelid and there.attname = 'org_id'
         where f.contype = 'f' and f.connamespace = 'public'::regnamespace
         and not exists (
             select from unnest(f.conkey, f.confkey) as pair (here_column, there_column)
             where pair.here_column = here.attnum and pair.there_column = there.attnum
         )",
    )
    .await;
    assert_eq!(found, BTreeSet::new());
}

/// A foreign key without an index makes each delete or key change of the row it names a scan.
#[tokio::test]
async fn every_foreign_key_is_indexed() {
    let found = names(
        "select f.conrelid::regclass || '.' || f.conname from pg_constraint f
         where f.contype = 'f' and f.connamespace = 'public'::regnamespace
         and not exists (
             select from pg_index i
             where i.indrelid = f.conrelid
             -- An index of the rows that name something serves as well: looking for a name implies that there is one.
             and (i.indpred is null or pg_get_expr(i.indpred, i.indrelid) = format('(%s IS NOT NULL)', (
                 select attname from pg_attribute where attrelid = f.conrelid and attnum = f.conkey[cardinality(f.conkey)]
             )))
             and (i.indkey::int2[])[0:cardinality(f.conkey) - 1] @> f.conkey
         )",
    )
    .await;
    assert_eq!(found, BTreeSet::new());
}

#[tokio::test]
async fn row_level_security_is_on_and_forced_wherever_there_is_an_organisation() {
    let found = names(
        "select c.relname::text from pg_class c join pg_attribute a on a.attrelid = c.oid and a.attname = 'org_id'
         where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p')
         and not (c.relrowsecurity and c.relforcerowsecurity)",
    )
    .await;
    assert_eq!(found, BTreeSet::new());
}

/// The whole list of who sees what: the application its organisation's rows of every table, and across organisations
/// sign-in and the worker a few; the sweep what is past its time, which it says here.
#[tokio::test]
async fn the_policies_are_these_and_no_others() {
    let (_, name) = database().await;
    let client = owner(&name).await;
    let rows = client
        .query(
            "select tablename::text, policyname::text, array_to_string(roles, ','), cmd, permissive, qual, with_check
             from pg_policies where schemaname = 'public' order by 1, 2",
            &[],
        )
        .await
        .expect("asked");
    let tables = names(
        "select c.relname::text from pg_class c join pg_attribute a on a.attrelid = c.oid and a.attname = 'org_id'
         where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p')",
    )
    .await;
    let own = "(org_id = (NULLIF(current_setting('app.org'::text, true), ''::text))::uuid)";
    let mut expected: BTreeSet<[String; 7]> = tables
        .iter()
        .map(|table| {
            [table, "app", "rimeyard_app", "ALL", "PERMISSIVE", own, own].map(str::to_owned)
        })
        .collect();
    for (table, policy, role) in [
        ("access_key", "door", "rimeyard_door"),
        ("credential", "door", "rimeyard_door"),
        ("device", "door", "rimeyard_door"),
        ("device_code", "door", "rimeyard_door"),
        ("refresh_token", "door", "rimeyard_door"),
        ("mark", "clock", "rimeyard_clock"),
        ("import", "clock", "rimeyard_clock"),
    ] {
        expected
            .insert([table, policy, role, "ALL", "PERMISSIVE", "true", "true"].map(str::to_owned));
    }
    for (table, past) in [
        ("refresh_token", "(expires_at <= now())"),
        ("device_code", "(expires_at <= (now() - '1 day'::interval))"),
        (
            "idempotency",
            "(created_at <= (now() - '30 days'::interval))",
        ),
        (
            "feed_entry",
            "(deleted AND (at <= (now() - '400 days'::interval)))",
        ),
        ("feed_scope", "true"),
        ("import", "(created_at <= (now() - '30 days'::interval))"),
        ("import_row", "(at <= (now() - '30 days'::interval))"),
        ("import_item", "(at <= (now() - '30 days'::interval))"),
        ("import_fault", "(at <= (now() - '30 days'::interval))"),
    ] {
        let check = if past == "true" { past } else { "" };
        expected.insert(
            [
                table,
                "sweep",
                "rimeyard_sweep",
                "ALL",
                "PERMISSIVE",
                past,
                check,
            ]
            .map(str::to_owned),
        );
    }
    let found: BTreeSet<[String; 7]> = rows
        .iter()
        .map(|row| {
            std::array::from_fn(|column| row.get::<_, Option<String>>(column).unwrap_or_default())
        })
        .collect();
    assert_eq!(found, expected);
}

#[tokio::test]
async fn no_role_of_ours_is_a_superuser_bypasses_security_logs_in_or_owns() {
    let found = names(
        "select rolname::text from pg_roles r where rolname in ('rimeyard_app', 'rimeyard_door', 'rimeyard_clock', 'rimeyard_sweep')
         and (rolsuper or rolbypassrls or rolcanlogin or rolcreaterole or rolcreatedb
             or exists (select from pg_class c where c.relowner = r.oid))",
    )
    .await;
    assert_eq!(found, BTreeSet::new());
    let login = names("select rolname::text from pg_roles where rolname = 'rimeyard' and (rolinherit or rolsuper or rolbypassrls)").await;
    assert_eq!(
        login,
        BTreeSet::new(),
        "the login has no right of its own and inherits none"
    );
}

/// What is a fact stays as it was written, and nobody but sign-in reads what a password or a token was hashed to.
#[tokio::test]
async fn facts_are_append_only_and_hashes_are_out_of_reach() {
    let changeable = names(
        "select t from unnest(array['inspection', 'reading', 'meter_reading', 'stock_move', 'audit', 'sheet', 'checklist_version']) t
         where has_any_column_privilege('rimeyard_app', t, 'update') or has_table_privilege('rimeyard_app', t, 'delete')",
    )
    .await;
    assert_eq!(changeable, BTreeSet::new());
    let readable = names(
        "select r || ' ' || c from unnest(array['rimeyard_app', 'rimeyard_clock', 'rimeyard_sweep']) r,
             (values ('credential', 'password_hash'), ('refresh_token', 'token_hash'), ('signing_key', 'private_pem'),
                     ('access_key', 'key_hash'), ('device_code', 'code_hash')) as hidden (t, c)
         where has_column_privilege(r, t, c, 'select')",
    )
    .await;
    assert_eq!(readable, BTreeSet::new());
    let beyond = names(
        "select r || ' ' || c.relname from unnest(array['rimeyard_door', 'rimeyard_clock', 'rimeyard_sweep']) r, pg_class c
         where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p')
         and (has_any_column_privilege(r, c.oid, 'select') or has_any_column_privilege(r, c.oid, 'insert')
             or has_any_column_privilege(r, c.oid, 'update') or has_table_privilege(r, c.oid, 'delete'))",
    )
    .await;
    let expected = [
        "rimeyard_door access_key",
        "rimeyard_door credential",
        "rimeyard_door device",
        "rimeyard_door device_code",
        "rimeyard_door refresh_token",
        "rimeyard_door signing_key",
        "rimeyard_clock import",
        "rimeyard_clock mark",
        "rimeyard_sweep device_code",
        "rimeyard_sweep feed_entry",
        "rimeyard_sweep feed_scope",
        "rimeyard_sweep idempotency",
        "rimeyard_sweep import",
        "rimeyard_sweep import_fault",
        "rimeyard_sweep import_item",
        "rimeyard_sweep import_row",
        "rimeyard_sweep refresh_token",
    ];
    assert_eq!(beyond, expected.map(str::to_owned).into());
}

/// diesel's picture of the tables, compared with the tables.
#[tokio::test]
async fn the_schema_in_the_code_is_the_schema_in_the_database() {
    let (_, name) = database().await;
    let rows = owner(&name)
        .await
        .query(
            "select table_name::text, column_name::text, udt_name::text, is_nullable = 'YES' from information_schema.columns
             where table_schema = 'public' and table_name <> '__diesel_schema_migrations' order by table_name, ordinal_position",
            &[],
        )
        .await
        .expect("asked");
    let in_database: Vec<String> = rows
        .iter()
        .map(|row| {
            format!(
                "{}.{} {}{}",
                row.get::<_, String>(0),
                row.get::<_, String>(1),
                row.get::<_, String>(2),
                if row.get(3) { " null" } else { "" }
            )
        })
        .collect();
    assert_eq!(in_code(), in_database.into_iter().collect());
}

/// The columns as domain/store/src/schema.rs declares them.
fn in_code() -> BTreeSet<String> {
    let source = include_str!("../../domain/store/src/schema.rs");
    let mut columns = BTreeSet::new();
    let mut table = String::new();
    let mut renamed = None;
    for line in source.lines().map(str::trim) {
        if let Some((name, _)) = line
            .strip_suffix(") {")
            .and_then(|line| line.split_once(" ("))
        {
            table = name.to_owned();
        } else if let Some(name) = line
            .strip_prefix("#[sql_name = \"")
            .and_then(|line| line.strip_suffix("\"]"))
        {
            renamed = Some(name.to_owned());
        } else if let Some((column, kind)) = line
            .strip_suffix(',')
            .and_then(|line| line.split_once(" -> "))
        {
            let inner = kind
                .strip_prefix("Nullable<")
                .and_then(|kind| kind.strip_suffix('>'));
            let postgres = match inner.unwrap_or(kind) {
                "Uuid" => "uuid",
                "Text" => "text",
                "BigInt" => "int8",
                "SmallInt" => "int2",
                "Integer" => "int4",
                "Double" => "float8",
                "Bool" => "bool",
                "Timestamptz" => "timestamptz",
                "Date" => "date",
                "Jsonb" => "jsonb",
                "Bytea" => "bytea",
                "Array<Text>" => "_text",
                "Array<Uuid>" => "_uuid",
                other => panic!("{other} has no counterpart here; add it"),
            };
            let column = renamed.take().unwrap_or_else(|| column.to_owned());
            columns.insert(format!(
                "{table}.{column} {postgres}{}",
                if inner.is_some() { " null" } else { "" }
            ));
        }
    }
    columns
}
