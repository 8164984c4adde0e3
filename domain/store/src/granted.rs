//! What a tenant may see of the facts about units.

/// Narrows a boxed query of facts about units to what the tenant may see: the facts of depots granted, and whatever
/// is known of the units that stand there now, wherever they stood when it was noted.
macro_rules! granted {
    ($query:ident, $tx:expr, $table:ident) => {
        if let Some(granted) = $tx.tenant().depots.as_filter() {
            let units = crate::schema::unit::table
                .filter(crate::schema::unit::org_id.eq($tx.org_id()))
                .filter(crate::schema::unit::depot_id.eq_any(granted.clone()))
                .select(crate::schema::unit::id);
            // As an array and not as a list: only then can both sides be ranges of an index.
            let units = diesel::dsl::array::<diesel::sql_types::Uuid, _>(units);
            $query = $query.filter(
                $table::depot_id
                    .eq_any(granted)
                    .or($table::unit_id.eq_any(units)),
            );
        }
    };
}
pub(crate) use granted;
