//! What is taken to be so where nothing is stored of it, as the query says it.

use rimeyard_rules::depot::renew::Terms;
use serde::de::Error;
use serde::{Deserialize, Deserializer};
use utoipa::ToSchema;

/// An amount of money in the currency of the model's price: 0 to 1,000,000.
#[derive(Debug, Clone, Copy, ToSchema)]
#[schema(value_type = f64, minimum = 0, maximum = 1_000_000)]
pub struct Amount(f64);

impl<'de> Deserialize<'de> for Amount {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        match f64::deserialize(deserializer) {
            Ok(amount) if (0.0..=1e6).contains(&amount) => Ok(Self(amount)),
            _ => Err(D::Error::custom(
                "must be an amount of money from 0 to 1000000, like 62.50",
            )),
        }
    }
}

/// A share a year: 0 to 1.
#[derive(Debug, Clone, Copy, ToSchema)]
#[schema(value_type = f64, minimum = 0, maximum = 1)]
pub struct Yearly(f64);

impl<'de> Deserialize<'de> for Yearly {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        match f64::deserialize(deserializer) {
            Ok(share) if (0.0..=1.0).contains(&share) => Ok(Self(share)),
            _ => Err(D::Error::custom("must be a share from 0 to 1, like 0.04")),
        }
    }
}

/// Whole years: 1 to 50.
#[derive(Debug, Clone, Copy, ToSchema)]
#[schema(value_type = u8, minimum = 1, maximum = 50)]
pub struct Years(u8);

impl<'de> Deserialize<'de> for Years {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        match u8::deserialize(deserializer) {
            Ok(years @ 1..=50) => Ok(Self(years)),
            _ => Err(D::Error::custom("must be whole years from 1 to 50")),
        }
    }
}

/// What is asked with.
pub fn terms(
    labour_per_hour: Option<Amount>,
    hire_per_day: Option<Amount>,
    discount_rate: Option<Yearly>,
    resale_kept: Option<Yearly>,
    years: Option<Years>,
) -> Terms {
    Terms {
        labour_per_hour: labour_per_hour.map(|amount| amount.0),
        hire_per_day: hire_per_day.map(|amount| amount.0),
        discount_rate: discount_rate.map(|rate| rate.0),
        resale_kept: resale_kept.map(|share| share.0),
        years: years.map(|years| f64::from(years.0)),
    }
}
