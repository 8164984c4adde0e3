//! Migrating twice, and what a server refuses to serve from.

use rimeyard_store::{Database, Error, Sizes, boot, migrate};

use super::{cluster, connect, database, owner};

async fn refusal(database: &Database, scratch: bool) -> String {
    match boot::check(database, scratch).await {
        Err(Error::Unavailable(told)) => told,
        other => panic!("{other:?}"),
    }
}

#[tokio::test]
async fn migrating_again_changes_nothing_and_together_once() {
    let cluster = cluster().await;
    cluster
        .create_database("migrated_twice")
        .await
        .expect("made");
    let (owner_url, login_url) = (
        cluster.owner_url("migrated_twice"),
        cluster.login_url("migrated_twice"),
    );
    let both =
        futures::future::join_all((0..2).map(|_| migrate::migrate(&owner_url, &login_url))).await;
    let run: Vec<usize> = both
        .into_iter()
        .map(|run| run.expect("migrated").len())
        .collect();
    assert_eq!(
        run.iter().filter(|count| **count > 0).count(),
        1,
        "one of the two ran them: {run:?}"
    );
    assert_eq!(
        migrate::migrate(&owner_url, &login_url)
            .await
            .expect("migrated"),
        Vec::<String>::new()
    );
    let database = Database::connect(&login_url, Sizes::default())
        .await
        .expect("connected");
    boot::check(&database, true).await.expect("fit to serve");
}

#[tokio::test]
async fn a_login_that_is_absent_is_made_with_its_password() {
    let cluster = cluster().await;
    cluster.create_database("other_login").await.expect("made");
    let login_url = cluster
        .login_url("other_login")
        .replacen("//rimeyard:", "//Other 'login\":", 1)
        .replace(' ', "%20");
    migrate::migrate(&cluster.owner_url("other_login"), &login_url)
        .await
        .expect("migrated");
    let database = Database::connect(&login_url, Sizes::default())
        .await
        .expect("the new login gets in");
    boot::check(&database, true).await.expect("fit to serve");
    let client = connect(&cluster.owner_url("other_login")).await;
    let inherits: bool = client
        .query_one(
            "select rolinherit from pg_roles where rolname = 'Other ''login\"'",
            &[],
        )
        .await
        .expect("there")
        .get(0);
    assert!(!inherits);
    let without = login_url
        .replace("Other%20", "nobody")
        .replacen(':', "\u{0}", 1)
        .replace('\u{0}', ":");
    let without = format!(
        "postgres://nobody@{}",
        without.rsplit_once('@').expect("a host").1
    );
    match migrate::migrate(&cluster.owner_url("other_login"), &without).await {
        Err(Error::Invalid { field, problem }) => {
            assert_eq!(field, "DATABASE_URL");
            assert!(problem.contains("password"), "{problem}");
        }
        other => panic!("{other:?}"),
    }
}

#[tokio::test]
async fn an_empty_or_older_database_is_refused() {
    let (database, name) = database().await;
    let client = owner(&name).await;
    client
        .batch_execute("delete from __diesel_schema_migrations")
        .await
        .expect("as if none had been run");
    let told = refusal(&database, true).await;
    assert!(
        told.contains("has not been run: run `rimeyard migrate`"),
        "{told}"
    );
    client
        .batch_execute("drop table __diesel_schema_migrations")
        .await
        .expect("as if it were new");
    let told = refusal(&database, true).await;
    assert!(
        told.contains("has not been set up: run `rimeyard migrate`"),
        "{told}"
    );
}

/// Expand, then contract: the old release goes on while the new one migrates.
#[tokio::test]
async fn a_newer_database_is_served_from() {
    let (database, name) = database().await;
    owner(&name)
        .await
        .batch_execute("insert into __diesel_schema_migrations (version) values ('99999999999999')")
        .await
        .expect("as if a newer release had migrated");
    boot::check(&database, true).await.expect("fit to serve");
}

#[tokio::test]
async fn a_table_that_is_open_is_named() {
    let (database, name) = database().await;
    let client = owner(&name).await;
    client
        .batch_execute("alter table unit no force row level security")
        .await
        .expect("opened");
    client
        .batch_execute("create table loose (org_id uuid)")
        .await
        .expect("made");
    let told = refusal(&database, true).await;
    assert!(told.contains("the table unit is open"), "{told}");
    assert!(told.contains("the table loose is open"), "{told}");
    assert_eq!(told.lines().count(), 2, "{told}");
}

#[tokio::test]
async fn a_database_that_forgets_is_refused_unless_told_that_it_may() {
    let (database, _) = database().await;
    let told = refusal(&database, false).await;
    assert!(told.contains("fsync is off"), "{told}");
    assert!(told.contains("synchronous_commit is off"), "{told}");
}

/// A superuser who has put on one of our roles can take it off again: SET ROLE alone is no wall.
#[tokio::test]
async fn a_login_that_is_a_superuser_is_named_whatever_role_it_has_put_on() {
    let (_, name) = database().await;
    let owner_url = cluster().await.owner_url(&name);
    let database = Database::connect(&owner_url, Sizes::default())
        .await
        .expect("connected");
    let told = refusal(&database, true).await;
    let login = owner(&name).await;
    let login = login.query_one("select session_user::text", &[]).await;
    let login: String = login.expect("its name").get(0);
    for role in ["app", "door", "clock", "sweep"] {
        let wrong = format!("rimeyard_{role} is entered by {login}, a superuser");
        assert!(told.contains(&wrong), "{told}");
    }
    assert_eq!(told.lines().count(), 4, "and nothing else is wrong: {told}");
}

#[tokio::test]
async fn a_role_with_too_much_power_is_named() {
    // A cluster of its own: roles belong to all databases of one.
    let cluster = rimeyard_store::private::Cluster::scratch()
        .await
        .expect("started");
    cluster.create_database("powers").await.expect("made");
    let (owner_url, login_url) = (cluster.owner_url("powers"), cluster.login_url("powers"));
    migrate::migrate(&owner_url, &login_url)
        .await
        .expect("migrated");
    let database = Database::connect(&login_url, Sizes::default())
        .await
        .expect("connected");
    let client = connect(&owner_url).await;
    client
        .batch_execute("alter role rimeyard_app bypassrls")
        .await
        .expect("altered");
    let told = refusal(&database, true).await;
    assert!(
        told.contains("rimeyard_app may bypass row-level security"),
        "{told}"
    );
    client
        .batch_execute("alter role rimeyard_app nobypassrls; alter role rimeyard_door superuser")
        .await
        .expect("altered");
    let told = refusal(&database, true).await;
    assert!(told.contains("rimeyard_door is a superuser"), "{told}");
    client
        .batch_execute(
            "alter role rimeyard_door nosuperuser; alter table unit owner to rimeyard_app",
        )
        .await
        .expect("altered");
    let told = refusal(&database, true).await;
    assert!(told.contains("rimeyard_app owns tables"), "{told}");
    client
        .batch_execute("alter table unit owner to current_user")
        .await
        .expect("altered");
    boot::check(&database, true)
        .await
        .expect("fit to serve again");
    cluster.stop().await.expect("stopped");
}
