//! Texts for who thinks in inches. Texts are made once, in SI, and read by many; [`quantity`](super::quantity) leaves a
//! mark in each figure with a unit, and this puts those figures, and nothing else, into United States customary units.

use std::borrow::Cow;

use super::number;
use crate::measure::Unit;

/// What stands between a number and its unit: a narrow no-break space. Whatever people type has an ordinary space, or
/// none, so the size of a belt in its name stays as it is.
pub const MARK: char = '\u{202f}';

/// The units that have a customary one: their symbol, the customary unit's, the value in it, and to how many decimals a figure
/// is known at least. What is measured is written without the zeros at its end, so 3 mm are 3.0: read as 3 they would be a
/// tenth of an inch, and a limit would come out under a reading that is under it.
#[expect(clippy::type_complexity, reason = "a table, read across")]
const CUSTOMARY: [(&str, &str, fn(f64) -> f64, usize); 8] = [
    ("mm", "in", |mm| Unit::Inch.from_si(mm), 1),
    ("kPa", "psi", |kpa| Unit::Psi.from_si(kpa), 1),
    (
        "degC",
        "degF",
        |degrees| Unit::Fahrenheit.from_si(degrees),
        0,
    ),
    // A difference of temperatures.
    ("K", "degF", |kelvins| kelvins * 1.8, 0),
    ("km/h", "mph", |km| km / KM_PER_MILE, 0),
    ("m2/h", "ft2/h", |m2| m2 / M2_PER_FT2, 0),
    ("m\u{b2}/h", "ft\u{b2}/h", |m2| m2 / M2_PER_FT2, 0),
    ("kg/h", "lb/h", |kg| kg / KG_PER_LB, 0),
];

/// NIST SP 811 (2008), appendix B.8; exact by definition.
const KM_PER_MILE: f64 = 1.609_344;
const M2_PER_FT2: f64 = 0.3048 * 0.3048;
const KG_PER_LB: f64 = 0.453_592_37;

/// `text` with its marked figures in customary units, rounded so that what was known is kept and nothing is made up; as it
/// is where it has none. The mark stays.
pub fn customary(text: &str) -> Cow<'_, str> {
    if !text.contains(MARK) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some((before, after)) = rest.split_once(MARK) {
        if let Some(Converted { figure, symbol, si }) = converted(before, after) {
            out.push_str(&before[..before.len() - si.0]);
            out.push_str(&figure);
            out.push(MARK);
            out.push_str(symbol);
            rest = &after[si.1..];
        } else {
            out.push_str(before);
            out.push(MARK);
            rest = after;
        }
    }
    out.push_str(rest);
    Cow::Owned(out)
}

/// A figure in a customary unit.
struct Converted {
    figure: String,
    symbol: &'static str,
    /// Bytes before and after the mark that it takes the place of.
    si: (usize, usize),
}

/// Of a text on both sides of a mark.
fn converted(before: &str, after: &str) -> Option<Converted> {
    let (si, symbol, convert, known_to) = CUSTOMARY.into_iter().find(|(si, ..)| {
        let left = after.strip_prefix(si);
        left.is_some_and(|left| {
            !left.starts_with(|next: char| next.is_alphanumeric() || next == '/')
        })
    })?;
    let digits = before.trim_end_matches(|digit: char| digit.is_ascii_digit() || digit == '.');
    // A hyphen is a minus only where it joins nothing.
    let start = match digits.strip_suffix('-') {
        Some(start) if !start.ends_with(char::is_alphanumeric) => start,
        _ => digits,
    };
    let figure = &before[start.len()..];
    let value: f64 = figure.parse().ok()?;
    let decimals = figure
        .split_once('.')
        .map_or(0, |(_, decimals)| decimals.len());
    let decimals = decimals.max(known_to);
    // And a little, for what is rounded on the way.
    let half_a_step = (0.5 + 1e-9) * 0.1f64.powi(i32::try_from(decimals).ok()?);
    let between = [value - half_a_step, value + half_a_step].map(convert);
    Some(Converted {
        figure: shortest(convert(value), between),
        symbol,
        si: (figure.len(), si.len()),
    })
}

/// A value as the shortest figure that could have been rounded to the one it comes from, so that 0.25 in, kept as 6.35 mm,
/// are 0.25 in again. It is never coarser than what is known (NIST SP 811, B.7.2: 36 ft are 11.0 m, neither 10 m nor
/// 10.9728 m), as it lies `between` the least and the most that is.
fn shortest(value: f64, [least, most]: [f64; 2]) -> String {
    // From millions down to where nothing is left to tell.
    for place in (-9..=6).rev() {
        let unit = 10f64.powi(place);
        let rounded = (value / unit).round() * unit;
        if (least..=most).contains(&rounded) {
            return number(rounded, usize::try_from(-place).unwrap_or(0));
        }
    }
    number(value, 9)
}

#[cfg(test)]
mod tests {
    use super::super::quantity;
    use super::*;

    /// Factors of NIST SP 811 (2008), B.8, and its example of rounding, B.7.2.
    #[test]
    fn a_figure_keeps_what_was_known_of_it_and_no_more() {
        assert_eq!(
            shortest(36.0 * 0.3048, [35.5 * 0.3048, 36.5 * 0.3048]),
            "11"
        );
        let said = |figure: &str, symbol| {
            let text = customary(&quantity(figure, symbol).to_string()).into_owned();
            text.replace(MARK, " ")
        };
        assert_eq!(said("25.4", "mm"), "1 in");
        assert_eq!(said("6.35", "mm"), "0.25 in");
        assert_eq!(said("32", "mm"), "1.26 in");
        assert_eq!(said("0.064", "mm"), "0.0025 in");
        assert_eq!(said("-1.02", "mm"), "-0.04 in");
        assert_eq!(said("900", "mm"), "35.433 in");
        // A reading and the limit it has met stay on their sides.
        assert_eq!(
            (said("2.8", "mm"), said("3", "mm")),
            ("0.11 in".to_owned(), "0.12 in".to_owned())
        );
        assert_eq!(
            (said("154", "mm"), said("153.9", "mm")),
            ("6.063 in".to_owned(), "6.06 in".to_owned())
        );
        assert_eq!(said("0", "mm"), "0 in");
        assert_eq!(said("141", "kPa"), "20.45 psi");
        assert_eq!(said("-15", "degC"), "5 degF");
        assert_eq!(said("-40", "degC"), "-40 degF");
        assert_eq!(said("0.5", "K"), "0.9 degF");
        assert_eq!(said("1984", "m2/h"), "21360 ft2/h");
        assert_eq!(said("22.1", "kg/h"), "48.7 lb/h");
        assert_eq!(said("50", "km/h"), "31 mph");
    }

    /// Only what our own sentences marked, and only what has a customary unit.
    #[test]
    fn names_and_other_figures_stay() {
        let text = format!(
            "Belt 13 mm: 0.6{MARK}mm below the rim, losing 0.02{MARK}mm an hour; 12.4{MARK}V, 3{MARK}mm2, {MARK}mm, a-1{MARK}mm"
        );
        let expected = format!(
            "Belt 13 mm: 0.024{MARK}in below the rim, losing 0.0008{MARK}in an hour; 12.4{MARK}V, 3{MARK}mm2, {MARK}mm, a-0.04{MARK}in"
        );
        assert_eq!(customary(&text), expected);
        assert!(matches!(customary("13 mm"), Cow::Borrowed("13 mm")));
    }
}
