//! Everything that is stored, as the owner of the tables sees it: to say that nothing of it has changed.

use std::collections::BTreeMap;

use rimeyard_harness::TestServer;
use tokio_postgres::{Client, Statement};

use super::fleet::owner;

/// A look at all tables.
pub struct Stored {
    owner: Client,
    look: Statement,
}

/// Of each table a digest of its rows, but for when a key was last shown: that is noted whatever it is shown for.
pub type State = BTreeMap<String, String>;

impl Stored {
    pub async fn of(server: &TestServer) -> Self {
        let owner = owner(server).await;
        let row = owner
            .query_one(
                "select string_agg(format(
                     'select %L, md5(coalesce(string_agg(r::text, e''\\n'' order by r::text), '''')) from (select to_jsonb(t) - ''last_used_at'' as r from %I as t) as t',
                     relname, relname), ' union all ')
                 from pg_class where relnamespace = 'public'::regnamespace and relkind in ('r', 'p')",
                &[],
            )
            .await
            .expect("the tables");
        let look = owner
            .prepare(row.get(0))
            .await
            .expect("a look at all tables");
        Self { owner, look }
    }

    /// What is stored now.
    pub async fn state(&self) -> State {
        let rows = self.owner.query(&self.look, &[]).await.expect("looked at");
        let state: State = rows.iter().map(|row| (row.get(0), row.get(1))).collect();
        assert!(state.len() > 30, "all tables");
        state
    }

    /// The tables that are not as they were.
    pub async fn changed_since(&self, before: &State) -> Vec<String> {
        let now = self.state().await;
        let changed = now
            .into_iter()
            .filter(|(table, rows)| before.get(table) != Some(rows));
        changed.map(|(table, _)| table).collect()
    }
}
