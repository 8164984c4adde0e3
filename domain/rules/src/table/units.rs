//! Units of measure as people write them in headers and cells.

use crate::measure::{Quantity, Unit};

/// What a column or a cell may be measured in. `cm` is beside the units of readings: snow is measured in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Declared {
    /// A unit that readings are given in.
    Of(Unit),
    /// Centimetre, 10 mm.
    Centimetre,
}

impl Declared {
    /// The unit written so, in any case and with the usual abbreviations.
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim().to_lowercase();
        let unit = match text.as_str() {
            "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => Unit::Millimetre,
            "cm" | "centimetre" | "centimetres" | "centimeter" | "centimeters" => {
                return Some(Self::Centimetre);
            }
            "in" | "inch" | "inches" | "\"" | "\u{2033}" => Unit::Inch,
            "kpa" | "kilopascal" | "kilopascals" => Unit::Kilopascal,
            "psi" | "lb/in2" => Unit::Psi,
            "bar" => Unit::Bar,
            "c" | "\u{b0}c" | "degc" | "deg c" | "celsius" => Unit::Celsius,
            "f" | "\u{b0}f" | "degf" | "deg f" | "fahrenheit" => Unit::Fahrenheit,
            "v" | "volt" | "volts" => Unit::Volt,
            "sg" | "specific gravity" => Unit::SpecificGravity,
            "h" | "hr" | "hrs" | "hour" | "hours" => Unit::Hour,
            "d" | "day" | "days" => Unit::Day,
            "%" | "percent" | "per cent" => Unit::Percent,
            "count" => Unit::Count,
            "deg" | "\u{b0}" | "degrees" => Unit::Degree,
            _ => return None,
        };
        Some(Self::Of(unit))
    }

    /// The unit as written beside a number.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Of(unit) => unit.symbol(),
            Self::Centimetre => "cm",
        }
    }

    /// What it measures.
    pub fn quantity(self) -> Quantity {
        match self {
            Self::Of(unit) => unit.quantity(),
            Self::Centimetre => Quantity::Length,
        }
    }

    /// `value` in the quantity's kept unit.
    pub fn to_si(self, value: f64) -> f64 {
        match self {
            Self::Of(unit) => unit.to_si(value),
            Self::Centimetre => value * 10.0,
        }
    }

    /// The units of a quantity, for a sentence: "mm, cm or in".
    pub fn choices(quantity: Quantity) -> String {
        let units = Unit::ALL.into_iter().map(Self::Of);
        let units = units.chain([Self::Centimetre]);
        let symbols: Vec<&str> = units
            .filter(|unit| unit.quantity() == quantity)
            .map(Self::symbol)
            .collect();
        symbols.join(", ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_unit_is_known_by_its_symbol_and_its_names() {
        for unit in Unit::ALL {
            assert_eq!(Declared::parse(unit.symbol()), Some(Declared::Of(unit)));
        }
        assert_eq!(Declared::parse(" Inches "), Some(Declared::Of(Unit::Inch)));
        assert_eq!(
            Declared::parse("\u{b0}F"),
            Some(Declared::Of(Unit::Fahrenheit))
        );
        assert_eq!(
            Declared::parse("CM").map(|unit| unit.to_si(2.5)),
            Some(25.0)
        );
        assert_eq!(Declared::parse("furlong"), None);
        assert_eq!(Declared::choices(Quantity::Length), "mm, in, cm");
    }
}
