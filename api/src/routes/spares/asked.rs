//! What is asked of a list of spares, as the query says it.

use std::collections::{BTreeMap, BTreeSet};
use std::str::FromStr;

use rimeyard_rules::buy::{Horizon, Service};
use serde::de::Error;
use serde::{Deserialize, Deserializer};
use utoipa::ToSchema;
use uuid::Uuid;

/// So many values a list in a query has at most: more would not fit an address.
const VALUES_MAX: usize = 100;
/// The most of one part that may be on order.
const ON_ORDER_MAX: i64 = 1_000_000;

/// Depots by id, separated by commas: 1 to 100, each once.
#[derive(Debug, Clone, ToSchema)]
#[schema(value_type = String, example = "0198c0de-0000-7000-8000-000000000001,0198c0de-0000-7000-8000-000000000002")]
pub struct DepotIds(pub BTreeSet<Uuid>);

impl<'de> Deserialize<'de> for DepotIds {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let mut ids = BTreeSet::new();
        for text in values(&String::deserialize(deserializer)?)? {
            let id = id(text)?;
            if !ids.insert(id) {
                return Err(D::Error::custom(format!("names {id} twice; name it once")));
            }
        }
        Ok(Self(ids))
    }
}

/// Parts that are on their way from a supplier: `part id:how many`, separated by commas: 1 to 100, each part once.
#[derive(Debug, Clone, Default, ToSchema)]
#[schema(value_type = String, example = "0198c0de-0000-7000-8000-000000000001:5")]
pub struct OnOrder(pub BTreeMap<Uuid, i64>);

impl<'de> Deserialize<'de> for OnOrder {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let mut parts = BTreeMap::new();
        for text in values(&String::deserialize(deserializer)?)? {
            let Some((part, quantity)) = text.split_once(':') else {
                let problem =
                    format!("has {text:?}; write a part's id, a colon and how many are on order");
                return Err(D::Error::custom(problem));
            };
            let id = id(part)?;
            let quantity = i64::from_str(quantity).ok();
            let Some(quantity) = quantity.filter(|quantity| (1..=ON_ORDER_MAX).contains(quantity))
            else {
                let problem = format!(
                    "must have a whole number from 1 to {ON_ORDER_MAX} after the colon of {id}"
                );
                return Err(D::Error::custom(problem));
            };
            if parts.insert(id, quantity).is_some() {
                return Err(D::Error::custom(format!(
                    "names {id} twice; name it once, with all that is on order"
                )));
            }
        }
        Ok(Self(parts))
    }
}

fn values<E: Error>(text: &str) -> Result<Vec<&str>, E> {
    let values: Vec<&str> = text.split(',').collect();
    if values.len() > VALUES_MAX {
        let problem = format!(
            "has {} values; at most {VALUES_MAX} are taken",
            values.len()
        );
        return Err(E::custom(problem));
    }
    Ok(values)
}

fn id<E: Error>(text: &str) -> Result<Uuid, E> {
    // The hyphenated form alone, as everywhere else it is written.
    let id = Uuid::try_parse(text).ok().filter(|_| text.len() == 36);
    id.ok_or_else(|| {
        E::custom(format!(
            "has {text:?}, which is not an id; separate ids by commas"
        ))
    })
}

/// Days until stock is looked at again: 0 to 366.
#[derive(Debug, Clone, Copy, ToSchema)]
#[schema(value_type = u16, minimum = 0, maximum = 366)]
pub struct ReviewDays(i32);

impl<'de> Deserialize<'de> for ReviewDays {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        match u16::deserialize(deserializer) {
            Ok(days @ 0..=366) => Ok(Self(days.into())),
            _ => Err(D::Error::custom(
                "must be a whole number of days from 0 to 366",
            )),
        }
    }
}

/// The chance with which a level must be enough: 0.5 to 0.999.
#[derive(Debug, Clone, Copy, ToSchema)]
#[schema(value_type = f64, minimum = 0.5, maximum = 0.999)]
pub struct ServiceLevel(f64);

impl<'de> Deserialize<'de> for ServiceLevel {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        match f64::deserialize(deserializer) {
            Ok(level) if (0.5..=0.999).contains(&level) => Ok(Self(level)),
            _ => Err(D::Error::custom(
                "must be a chance from 0.5 to 0.999, like 0.95",
            )),
        }
    }
}

/// Until when, with what chance, and what is on order.
pub struct Asked {
    /// Until when.
    pub horizon: Horizon,
    /// With what chance.
    pub service: Service,
    /// What is on its way.
    pub on_order: BTreeMap<Uuid, i64>,
    /// This part alone.
    pub part_id: Option<Uuid>,
}

impl Asked {
    /// As a query says it.
    pub fn new(
        review_days: Option<ReviewDays>,
        service_level: Option<ServiceLevel>,
        on_order: Option<OnOrder>,
        part_id: Option<Uuid>,
    ) -> Self {
        let usual = Service::default();
        Asked {
            horizon: review_days
                .map_or(Horizon::Season, |ReviewDays(days)| Horizon::Review { days }),
            service: service_level.map_or(usual, |ServiceLevel(level)| Service {
                usual: level,
                stops: level,
            }),
            on_order: on_order.unwrap_or_default().0,
            part_id,
        }
    }
}
