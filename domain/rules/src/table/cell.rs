//! Cells that are numbers or yes or no.

use super::{Conventions, Decimal};

/// What is shown of a cell that is not understood, in characters.
const SHOWN_MAX: usize = 60;

/// A cell in quotes, cut where it is long.
pub fn shown(cell: &str) -> String {
    let start: String = cell.chars().take(SHOWN_MAX).collect();
    format!("{start:?}")
}

/// A number: digits with at most one decimal mark, a sign before them or none, an exponent or none.
///
/// # Errors
/// What is wrong and what to do.
pub fn number(cell: &str, conventions: Conventions) -> Result<f64, String> {
    let text = cell.trim();
    let is_plain = text
        .chars()
        .all(|c| c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '+' | 'e' | 'E'));
    if !is_plain {
        return Err(format!(
            "is {}, which is no number; write digits only, without a unit or spaces",
            shown(text)
        ));
    }
    let text = match conventions.decimal {
        Decimal::Point if text.contains(',') => {
            return Err(format!(
                "is {}, with a comma; write the fraction after a point and no thousands mark, or say decimal=comma",
                shown(text)
            ));
        }
        Decimal::Comma if text.contains('.') => {
            return Err(format!(
                "is {}, with a point, and decimal=comma was said; write the fraction after a comma and no thousands mark",
                shown(text)
            ));
        }
        Decimal::Point => text.to_owned(),
        Decimal::Comma => text.replace(',', "."),
    };
    let value = text.parse::<f64>().ok().filter(|value| value.is_finite());
    value.ok_or_else(|| format!("is {}, which is no number", shown(&text)))
}

/// Yes or no, in the usual words.
///
/// # Errors
/// What is wrong and what to do.
pub fn yes_no(cell: &str) -> Result<bool, String> {
    match cell.trim().to_lowercase().as_str() {
        "yes" | "y" | "true" | "t" | "1" => Ok(true),
        "no" | "n" | "false" | "f" | "0" => Ok(false),
        _ => Err(format!("is {}; write yes or no", shown(cell.trim()))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_digits_and_one_mark() {
        let point = Conventions::default();
        let comma = Conventions {
            decimal: Decimal::Comma,
            ..point
        };
        for (text, value) in [
            ("2.5", 2.5),
            (" -3 ", -3.0),
            ("1e3", 1000.0),
            (".5", 0.5),
            ("+7", 7.0),
        ] {
            assert_eq!(number(text, point), Ok(value), "{text}");
        }
        assert_eq!(number("2,5", comma), Ok(2.5));
        for text in [
            "", "2,5", "1,234.5", "1 234", "NaN", "inf", "infinity", "0x10", "2.5 mm", "1.2.3",
            "e", "1e999", "--1", "\u{ff12}",
        ] {
            assert!(number(text, point).is_err(), "{text}");
        }
        for text in ["2.5", "1.234,5", "1,2,3"] {
            assert!(number(text, comma).is_err(), "{text}");
        }
        assert!(number("2,5", point).unwrap_err().contains("decimal=comma"));
    }

    #[test]
    fn yes_and_no_have_many_words() {
        for (text, value) in [
            ("Yes", true),
            ("TRUE", true),
            ("1", true),
            ("n", false),
            ("False", false),
        ] {
            assert_eq!(yes_no(text), Ok(value));
        }
        assert!(yes_no("maybe").is_err() && yes_no("").is_err());
    }
}
