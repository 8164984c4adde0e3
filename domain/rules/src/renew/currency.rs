//! How many minor units a currency's unit has.

/// Currencies without a minor unit, and those with a thousandth (ISO 4217, list one; from memory). All others have a
/// hundredth.
const NONE: [&str; 16] = [
    "BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "VND", "VUV",
    "XAF", "XOF", "XPF",
];
const THOUSANDTHS: [&str; 7] = ["BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"];

/// How many of its minor units make one of the currency.
pub fn minor_units(currency: &str) -> f64 {
    if NONE.contains(&currency) {
        1.0
    } else if THOUSANDTHS.contains(&currency) {
        1000.0
    } else {
        100.0
    }
}
