//! Units of measure and their conversion at the edge: storage and figures are SI (mm, kPa, V, degC, h), people read
//! and type what they are used to.

use serde::{Deserialize, Serialize};

/// A unit a reading may be given in. Conversion factors are exact by definition (NIST SP 811, appendix B).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = UnitOfMeasure))]
pub enum Unit {
    /// Millimetre.
    #[serde(rename = "mm")]
    Millimetre,
    /// Inch, 25.4 mm.
    #[serde(rename = "in")]
    Inch,
    /// Kilopascal, over atmospheric where it is a tyre.
    #[serde(rename = "kPa")]
    Kilopascal,
    /// Pound-force a square inch, 6.894757 kPa.
    #[serde(rename = "psi")]
    Psi,
    /// Bar, 100 kPa.
    #[serde(rename = "bar")]
    Bar,
    /// Degree Celsius.
    #[serde(rename = "degC")]
    Celsius,
    /// Degree Fahrenheit.
    #[serde(rename = "degF")]
    Fahrenheit,
    /// Volt.
    #[serde(rename = "V")]
    Volt,
    /// Specific gravity of battery acid, as read (corrected to 26.7 degC by the computation).
    #[serde(rename = "SG")]
    SpecificGravity,
    /// Running hour.
    #[serde(rename = "h")]
    Hour,
    /// Day.
    #[serde(rename = "days")]
    Day,
    /// Per cent.
    #[serde(rename = "%")]
    Percent,
    /// A number of things.
    #[serde(rename = "count")]
    Count,
    /// Degree of angle.
    #[serde(rename = "deg")]
    Degree,
}

/// What a unit measures; readings convert within a quantity only.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Length, kept in mm.
    Length,
    /// Pressure, kept in kPa.
    Pressure,
    /// Temperature, kept in degC.
    Temperature,
    /// Voltage, kept in V.
    Voltage,
    /// Specific gravity.
    SpecificGravity,
    /// Running time, kept in h.
    RunningTime,
    /// Calendar time, kept in days.
    CalendarTime,
    /// A share, kept in per cent.
    Share,
    /// A number of things.
    Count,
    /// An angle, kept in degrees.
    Angle,
}

impl Unit {
    /// Every unit, in the order people are offered them.
    pub const ALL: [Unit; 14] = [
        Unit::Millimetre,
        Unit::Inch,
        Unit::Kilopascal,
        Unit::Psi,
        Unit::Bar,
        Unit::Celsius,
        Unit::Fahrenheit,
        Unit::Volt,
        Unit::SpecificGravity,
        Unit::Hour,
        Unit::Day,
        Unit::Percent,
        Unit::Count,
        Unit::Degree,
    ];

    /// The unit as written beside a number.
    pub fn symbol(self) -> &'static str {
        match self {
            Unit::Millimetre => "mm",
            Unit::Inch => "in",
            Unit::Kilopascal => "kPa",
            Unit::Psi => "psi",
            Unit::Bar => "bar",
            Unit::Celsius => "degC",
            Unit::Fahrenheit => "degF",
            Unit::Volt => "V",
            Unit::SpecificGravity => "SG",
            Unit::Hour => "h",
            Unit::Day => "days",
            Unit::Percent => "%",
            Unit::Count => "count",
            Unit::Degree => "deg",
        }
    }

    /// The unit of a difference of two values in it, or of a change in an hour: the degree's is the kelvin.
    pub fn symbol_of_a_difference(self) -> &'static str {
        match self {
            Unit::Celsius => "K",
            other => other.symbol(),
        }
    }

    /// The unit written so, exactly.
    pub fn parse(symbol: &str) -> Option<Unit> {
        Unit::ALL.into_iter().find(|unit| unit.symbol() == symbol)
    }

    /// What the unit measures.
    pub fn quantity(self) -> Quantity {
        match self {
            Unit::Millimetre | Unit::Inch => Quantity::Length,
            Unit::Kilopascal | Unit::Psi | Unit::Bar => Quantity::Pressure,
            Unit::Celsius | Unit::Fahrenheit => Quantity::Temperature,
            Unit::Volt => Quantity::Voltage,
            Unit::SpecificGravity => Quantity::SpecificGravity,
            Unit::Hour => Quantity::RunningTime,
            Unit::Day => Quantity::CalendarTime,
            Unit::Percent => Quantity::Share,
            Unit::Count => Quantity::Count,
            Unit::Degree => Quantity::Angle,
        }
    }

    /// Whether figures are kept in this unit.
    pub fn is_si(self) -> bool {
        !matches!(self, Unit::Inch | Unit::Psi | Unit::Bar | Unit::Fahrenheit)
    }

    /// `value` of this unit in the quantity's kept unit.
    pub fn to_si(self, value: f64) -> f64 {
        match self {
            Unit::Inch => value * 25.4,
            Unit::Psi => value * PSI_KPA,
            Unit::Bar => value * 100.0,
            Unit::Fahrenheit => (value - 32.0) / 1.8,
            _ => value,
        }
    }

    /// `value` of the quantity's kept unit in this unit.
    pub fn from_si(self, value: f64) -> f64 {
        match self {
            Unit::Inch => value / 25.4,
            Unit::Psi => value / PSI_KPA,
            Unit::Bar => value / 100.0,
            Unit::Fahrenheit => value * 1.8 + 32.0,
            _ => value,
        }
    }
}

/// One pound-force a square inch in kPa: 0.453 592 37 kg x 9.806 65 m/s2 / (0.0254 m)^2, exact by definition.
const PSI_KPA: f64 = 0.453_592_37 * 9.806_65 / (0.0254 * 0.0254) / 1000.0;

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST SP 811 (2008), appendix B.8: inch 2.54 E-02 m, psi 6.894 757 kPa, degF (t - 32)/1.8.
    #[test]
    fn factors_are_those_of_nist() {
        assert_eq!(Unit::Inch.to_si(1.0), 25.4);
        assert!((Unit::Psi.to_si(1.0) - 6.894_757).abs() < 5e-7);
        assert_eq!(Unit::Fahrenheit.to_si(32.0), 0.0);
        assert!((Unit::Fahrenheit.to_si(-40.0) + 40.0).abs() < 1e-12);
    }

    #[test]
    fn a_unit_comes_back_from_its_own_symbol_and_value() {
        for unit in Unit::ALL {
            assert_eq!(Unit::parse(unit.symbol()), Some(unit));
            assert_eq!(serde_json::to_value(unit).unwrap(), unit.symbol());
            assert!((unit.from_si(unit.to_si(17.25)) - 17.25).abs() < 1e-12);
        }
        assert_eq!(Unit::parse("inch"), None);
    }
}
