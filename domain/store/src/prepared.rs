//! SQL by hand, prepared once per connection.

use diesel::pg::Pg;
use diesel::query_builder::{AstPass, Query, QueryFragment, QueryId, SqlQuery};
use diesel::result::QueryResult;
use diesel::sql_types::Untyped;

/// A statement whose text never varies. `diesel::sql_query` is prepared anew at each use, one more round trip to
/// Postgres and no pipelining, since its text might vary; this one is kept by its text.
///
/// The text must be a constant: each different text occupies the connection's cache for good.
#[derive(Debug, Clone)]
#[must_use = "queries are only executed when calling `load`, `get_result` or similar"]
pub struct Prepared<Q>(Q);

/// A statement kept by its text. Bind values inside: `prepared(sql_query("select $1").bind::<Integer, _>(1))`.
pub fn prepared<Q>(query: Q) -> Prepared<Q> {
    Prepared(query)
}

/// A statement without values.
pub(crate) fn statement(sql: &'static str) -> Prepared<SqlQuery> {
    Prepared(diesel::sql_query(sql))
}

impl<Q: QueryFragment<Pg>> QueryFragment<Pg> for Prepared<Q> {
    fn walk_ast<'b>(&'b self, out: AstPass<'_, 'b, Pg>) -> QueryResult<()> {
        self.0.walk_ast(out)
    }

    fn is_safe_to_cache_prepared(&self, _: &Pg) -> QueryResult<bool> {
        Ok(true)
    }
}

impl<Q> QueryId for Prepared<Q> {
    type QueryId = ();
    const HAS_STATIC_QUERY_ID: bool = false;
}

impl<Q> Query for Prepared<Q> {
    type SqlType = Untyped;
}

impl<Q, Connection> diesel::RunQueryDsl<Connection> for Prepared<Q> {}
