//! What is asked of an order of what to fix first, as the query says it.

use jiff::civil::Date;
use serde::de::Error;
use serde::{Deserialize, Deserializer};
use utoipa::ToSchema;

/// Minutes of labour, all people's together: 0 to 1,000,000.
#[derive(Debug, Clone, Copy, ToSchema)]
#[schema(value_type = f64, minimum = 0, maximum = 1_000_000)]
pub struct Minutes(pub f64);

impl<'de> Deserialize<'de> for Minutes {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        match f64::deserialize(deserializer) {
            Ok(minutes) if (0.0..=1e6).contains(&minutes) => Ok(Self(minutes)),
            _ => Err(D::Error::custom("must be minutes from 0 to 1000000")),
        }
    }
}

/// A day from 2000 to 2199.
#[derive(Debug, Clone, Copy, ToSchema)]
#[schema(value_type = String, format = Date)]
pub struct Until(pub Date);

impl<'de> Deserialize<'de> for Until {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        match String::deserialize(deserializer)?.parse::<Date>() {
            Ok(day) if (2000..2200).contains(&day.year()) => Ok(Self(day)),
            _ => Err(D::Error::custom(
                "must be a date like 2026-11-15, from 2000 to 2199",
            )),
        }
    }
}
