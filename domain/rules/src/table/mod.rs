//! Tables that people keep in spreadsheets, as CSV (RFC 4180): bytes into rows ([`reader`]), a header into columns
//! ([`header`], [`columns`]), cells into values ([`cell`], [`when`], [`row`]), and the way back ([`writer`]).
//!
//! Tolerant where nothing can be mistaken (the order, case and spelling of headers, separators, line ends, a byte order
//! mark), and strict where a guess could be wrong: a unit nobody declared, a date with two readings, a decimal comma.

pub mod cell;
pub mod columns;
pub mod header;
pub mod reader;
pub mod row;
pub mod units;
pub mod when;
pub mod writer;

use serde::{Deserialize, Serialize};

/// What the rows of a table are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = TableOf))]
#[serde(rename_all = "kebab-case")]
pub enum What {
    /// Machines.
    Units,
    /// Readings, one a row; rows of the same machine, time and kind are one inspection.
    Inspections,
    /// Readings of hour meters and word of starts.
    MeterReadings,
    /// New snow by depot and day.
    Snowfall,
    /// The list of parts; kits are made by hand.
    Parts,
    /// Movements of stock, or what was counted on the shelves.
    Stock,
}

impl What {
    /// Everything that tables can hold.
    pub const ALL: [What; 6] = [
        What::Units,
        What::Inspections,
        What::MeterReadings,
        What::Snowfall,
        What::Parts,
        What::Stock,
    ];

    /// The word, as on the wire.
    pub fn word(self) -> &'static str {
        match self {
            What::Units => "units",
            What::Inspections => "inspections",
            What::MeterReadings => "meter-readings",
            What::Snowfall => "snowfall",
            What::Parts => "parts",
            What::Stock => "stock",
        }
    }
}

/// How dates with slashes are meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Dates {
    /// 03/04/2025 is the 4th of March.
    MonthFirst,
    /// 03/04/2025 is the 3rd of April.
    DayFirst,
}

/// What parts the whole from the fraction of a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Decimal {
    /// 2.5
    #[default]
    Point,
    /// 2,5
    Comma,
}

/// What its maker says of a table beyond its header.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Conventions {
    /// How dates with slashes are meant; `None`: such a date is taken only where it can be meant one way.
    pub dates: Option<Dates>,
    /// How numbers are written.
    pub decimal: Decimal,
}
