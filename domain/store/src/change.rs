//! Changes of an object: what is absent stays.

use serde::{Deserialize, Deserializer};
use serde_json::{Map, Value, json};

/// Declares the change of an object: every field may be absent, and `apply` sets those that are there. A null is
/// refused, but for a field whose type is an `Option`: there it sets to nothing. What stands under `and` is no field of
/// the object; its noun sees to it.
macro_rules! change {
    ($(#[$meta:meta])* pub struct $name:ident of $object:ident {
        $($(#[$field_meta:meta])* $field:ident: $type:ty,)+
    } $(and {
        $($(#[$other_meta:meta])* $other:ident: $other_type:ty,)+
    })?) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Default, serde::Deserialize)]
        #[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
        #[serde(deny_unknown_fields)]
        pub struct $name {
            $(
                $(#[$field_meta])*
                #[serde(default, deserialize_with = "crate::change::present")]
                #[cfg_attr(feature = "schema", schema(value_type = $type, required = false))]
                pub $field: Option<$type>,
            )+
            $($(
                $(#[$other_meta])*
                #[serde(default, deserialize_with = "crate::change::present")]
                #[cfg_attr(feature = "schema", schema(value_type = $other_type, required = false))]
                pub $other: Option<$other_type>,
            )+)?
        }

        impl $name {
            /// Sets what is there.
            pub fn apply(&self, object: &mut $object) {
                $(if let Some(value) = &self.$field {
                    object.$field = value.clone();
                })+
            }
        }
    };
}
pub(crate) use change;

/// Present is `Some`, whatever it is; absent never gets here.
pub(crate) fn present<'de, T: Deserialize<'de>, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<Option<T>, D::Error> {
    T::deserialize(deserializer).map(Some)
}

/// For the audit: the fields in which two states of an object differ, each with both values.
pub fn difference(before: &Value, after: &Value) -> Value {
    let (Value::Object(before), Value::Object(after)) = (before, after) else {
        return json!({"from": before, "to": after});
    };
    let changed = after
        .iter()
        .filter(|(name, value)| before.get(*name) != Some(value));
    Value::Object(
        changed
            .map(|(name, value)| (name.clone(), json!({"from": before.get(name), "to": value})))
            .collect::<Map<_, _>>(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, Default, PartialEq)]
    pub struct Thing {
        name: String,
        away: Option<String>,
    }

    change! {
        /// A change.
        pub struct ThingChange of Thing {
            /// The name.
            name: String,
            /// Where it is.
            away: Option<String>,
        }
    }

    #[test]
    fn absent_stays_null_empties_and_null_is_refused_where_there_must_be_something() {
        let mut thing = Thing {
            name: "a".into(),
            away: Some("shop".into()),
        };
        serde_json::from_str::<ThingChange>("{}")
            .unwrap()
            .apply(&mut thing);
        assert_eq!(
            thing,
            Thing {
                name: "a".into(),
                away: Some("shop".into())
            }
        );
        serde_json::from_str::<ThingChange>(r#"{"away": null}"#)
            .unwrap()
            .apply(&mut thing);
        assert_eq!(
            thing,
            Thing {
                name: "a".into(),
                away: None
            }
        );
        assert!(serde_json::from_str::<ThingChange>(r#"{"name": null}"#).is_err());
        assert!(serde_json::from_str::<ThingChange>(r#"{"colour": "red"}"#).is_err());
    }

    #[test]
    fn a_difference_has_what_changed() {
        let difference = difference(&json!({"a": 1, "b": 2}), &json!({"a": 1, "b": 3}));
        assert_eq!(difference, json!({"b": {"from": 2, "to": 3}}));
    }
}
