//! Names are compared in whatever letters they are typed.

use diesel::sql_types::Text;

#[diesel::declare_sql_function]
extern "SQL" {
    /// In small letters.
    fn lower(text: Text) -> Text;
}
