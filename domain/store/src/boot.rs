//! What must be true of a database before a server serves from it.

use diesel::migration::MigrationSource;
use diesel::prelude::*;
use diesel::sql_types::{Array, Bool, Text};
use diesel_async::RunQueryDsl;

use crate::migrate::{MIGRATIONS, ROLES};
use crate::{Database, Error, Result};

#[derive(QueryableByName)]
struct Found {
    #[diesel(sql_type = Text)]
    what: String,
}

#[derive(QueryableByName)]
struct Settings {
    #[diesel(sql_type = Bool)]
    fsync: bool,
    #[diesel(sql_type = Bool)]
    synchronous_commit: bool,
    #[diesel(sql_type = Bool)]
    english: bool,
}

/// Checks that the roles are as weak and the tables as guarded as the design says, that the schema is not behind this
/// program, and that an acknowledged write survives a crash. `scratch` waives the last for tests.
///
/// Errors: [`Error::Unavailable`] with everything that is wrong, one sentence each, and what to do.
pub async fn check(database: &Database, scratch: bool) -> Result<()> {
    let mut wrong = Vec::new();
    for (role, connection) in ROLES.into_iter().zip([
        database.app().await?,
        database.door().await?,
        database.clock().await?,
        database.sweep().await?,
    ]) {
        let mut connection = &connection.postgres;
        // Row-level security is by current_user, which SET ROLE has made one of ours.
        let powers: Vec<Found> = diesel::sql_query(
            "select what from (
                 select case when rolsuper then 'is a superuser' end as what from pg_roles where rolname = current_user
                 union all select case when rolsuper then 'is entered by ' || session_user || ', a superuser' end from pg_roles where rolname = session_user
                 union all select case when rolbypassrls then 'may bypass row-level security' end from pg_roles where rolname = current_user
                 union all select case when current_user <> $1 then 'is not its own group role but ' || current_user end
                 union all select case when exists (
                     select from pg_class c join pg_namespace n on n.oid = c.relnamespace
                     where n.nspname = 'public' and pg_has_role(current_user, c.relowner, 'usage')
                 ) then 'owns tables' end
             ) powers where what is not null",
        )
        .bind::<Text, _>(role)
        .load(&mut connection)
        .await?;
        wrong.extend(powers.into_iter().map(|found| format!("{role} {}: run `rimeyard migrate` as the owner of the tables, who must be another role", found.what)));
    }

    let app = database.app().await?;
    let mut connection = &app.postgres;
    let unguarded: Vec<Found> = diesel::sql_query(
        "select c.relname::text as what from pg_class c
         join pg_namespace n on n.oid = c.relnamespace
         join pg_attribute a on a.attrelid = c.oid and a.attname = 'org_id' and not a.attisdropped
         where n.nspname = 'public' and c.relkind in ('r', 'p') and not (c.relrowsecurity and c.relforcerowsecurity)
         order by 1",
    )
    .load(&mut connection)
    .await?;
    wrong.extend(unguarded.into_iter().map(|found| {
        format!("the table {} is open to every organisation: alter table {0} enable row level security; alter table {0} force row level security", found.what)
    }));

    let expected: Vec<String> = MigrationSource::<diesel::pg::Pg>::migrations(&MIGRATIONS)
        .map_err(Error::internal)?
        .iter()
        .map(|migration| migration.name().version().to_string())
        .collect();
    let missing: Result<Vec<Found>, _> = diesel::sql_query(
        "select what from unnest($1::text[]) as expected (what)
         where what not in (select version from __diesel_schema_migrations) order by 1",
    )
    .bind::<Array<Text>, _>(expected)
    .load(&mut connection)
    .await;
    match missing {
        Ok(missing) => wrong.extend(missing.into_iter().map(|found| {
            format!(
                "migration {} has not been run: run `rimeyard migrate`",
                found.what
            )
        })),
        Err(_) => wrong.push("the database has not been set up: run `rimeyard migrate`".to_owned()),
    }

    let settings: Settings = diesel::sql_query(
        "select current_setting('fsync') = 'on' as fsync, current_setting('synchronous_commit') <> 'off' as synchronous_commit,
                current_setting('lc_messages') ~* '^(C|POSIX|en|$)' as english",
    )
    .get_result(&mut connection)
    .await?;
    if !scratch && !settings.fsync {
        wrong.push("fsync is off, so a crash loses what was acknowledged: set fsync = on in postgresql.conf".to_owned());
    }
    if !scratch && !settings.synchronous_commit {
        wrong.push(
            "synchronous_commit is off, so a crash loses what was acknowledged: set it to on in postgresql.conf and for the login"
                .to_owned(),
        );
    }
    if !settings.english {
        tracing::warn!(
            "store.boot.messages_not_english: alter role LOGIN set lc_messages = 'C', or deadlocks are not tried again"
        );
    }

    if wrong.is_empty() {
        Ok(())
    } else {
        Err(Error::Unavailable(wrong.join("\n")))
    }
}
