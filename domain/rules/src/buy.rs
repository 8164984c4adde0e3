//! What to keep and what to buy (section 12 of the computation): for each part of the list a level that is enough with
//! the service level's chance, for one depot and for several together, and the order that it makes.
//!
//! Demand to the end of a horizon is what open orders want and what the season's kits hold, for certain, and on top of it
//! what wears out and what breaks, by chance. Chances are those of each past winter, and levels are worked out winter by
//! winter: all machines share the winter.
//!
//! - A fitted part takes one of each part that its job names. Where an open order of its unit wants that, the order stands
//!   for it.
//! - Of shear fasteners the job that puts spares aboard says what is taken, one at each break.
//! - A sheet's words have no quantities; a kit has. What tasks take is counted where a task names a kit: it is taken for
//!   certain once for each unit on which that task falls due within the horizon. Kits are kept as their contents.
//! - A lot whose shelf life ends within the horizon is not counted as on hand.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

mod demand;
mod level;
mod line;
mod shelf;
#[cfg(test)]
mod tests;
mod together;
mod words;

pub use demand::{DepotDemand, words};
pub use line::{
    BuyLine, LocalLevel, SeasonBuy, SpareLevel, SpareLine, WinterMean, order, season_buy,
};
pub use shelf::{OnHand, ShelfLot, on_hand};

/// Until when parts must be enough.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Horizon {
    /// To the end of the season: of the one running, else of the next.
    Season,
    /// Until what is ordered at the next review can be there: each part's lead time and so many days.
    Review {
        /// Days until stock is looked at again.
        days: i32,
    },
}

/// With what chance parts must be enough.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Service {
    /// Of parts without which a unit works on.
    pub usual: f64,
    /// Of parts without which a unit stands: their effect is `stop` or `hold`.
    pub stops: f64,
}

impl Default for Service {
    fn default() -> Self {
        Service {
            usual: 0.95,
            stops: 0.99,
        }
    }
}

impl Service {
    fn of(self, stops: bool) -> f64 {
        if stops { self.stops } else { self.usual }
    }
}

/// A part of the organisation's list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// Its id.
    pub id: Uuid,
    /// Its number.
    pub number: String,
    /// What sheets call it.
    pub name: String,
    /// What it is counted in.
    pub unit: String,
    /// How many come in a pack, at least 1.
    pub pack_size: i64,
    /// From order to arrival, days.
    pub lead_time_days: i32,
    /// The price of one.
    pub price: Option<Cost>,
    /// How long it keeps on a shelf from the day it was made, days.
    pub shelf_life_days: Option<i32>,
    /// What is in it and how many of each, of a kit; else empty.
    pub kit: Vec<(Uuid, i64)>,
}

/// A sum of money.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Cost {
    /// In the currency's minor unit: cents.
    pub amount_minor: i64,
    /// ISO 4217, three capital letters.
    #[cfg_attr(feature = "schema", schema(example = "USD"))]
    pub currency: String,
}

impl Cost {
    fn times(&self, quantity: i64) -> Cost {
        Cost {
            amount_minor: self.amount_minor.saturating_mul(quantity),
            currency: self.currency.clone(),
        }
    }
}

/// The parts of the list that are concerned.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Catalogue {
    /// By id: those that sheets name or orders want, and what is in the kits among them.
    pub parts: BTreeMap<Uuid, Listed>,
    /// Of the sheets' words those that the list has, with the part that each names.
    pub words: BTreeMap<String, Uuid>,
}

impl Catalogue {
    /// Adds another's.
    pub fn extend(&mut self, other: Catalogue) {
        self.parts.extend(other.parts);
        self.words.extend(other.words);
    }
}

/// The last day that a part must last to.
fn last_day(horizon: Horizon, today: Date, season_ends: Date, lead_time_days: i32) -> Date {
    match horizon {
        Horizon::Season => season_ends,
        Horizon::Review { days } => {
            let days = jiff::Span::new().days(i64::from(lead_time_days) + i64::from(days));
            today.checked_add(days).unwrap_or(Date::MAX)
        }
    }
}
