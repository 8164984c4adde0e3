//! Reasons in words: short sentences in the trade's terms, with the numbers a technician can check. Dates rather than
//! "days ago", rounded odds rather than decimals, so that a text changes only when the facts do.

mod customary;

pub use customary::{MARK, customary};

use std::fmt::{self, Display};

use jiff::{Timestamp, civil::Date, tz::TimeZone};
use serde::{Deserialize, Serialize};

use crate::measure::Unit;
use crate::sheet::Measure;

/// One reason of a result.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Reason {
    /// What it is about: a part of the sheet, `start`, `hold`, ...
    pub factor: String,
    /// The chance that it goes well, to 0.01; 1 for what only says why a machine does not count.
    pub chance: f64,
    /// Its share of the whole doubt, -ln of its chance over the sum of all; zeros share alike. To 0.01.
    pub share: f64,
    /// Said for people.
    pub text: String,
}

/// A chance as published: to 0.01.
pub fn chance_rounded(chance: f64) -> f64 {
    (chance.clamp(0.0, 1.0) * 100.0).round() / 100.0
}

/// Factor, chance and text of everything that is `said` and that multiplies, worst first, each with its share of -ln.
///
/// Shares and order are those of the rounded chances: a reader can check them, and they change only when what is read
/// does.
pub fn reasons(
    said: Vec<(String, f64, String)>,
    factors: impl Iterator<Item = (String, f64, String)>,
) -> Vec<Reason> {
    let mut all: Vec<Reason> = said
        .into_iter()
        .chain(factors)
        .map(|(factor, chance, text)| Reason {
            factor,
            chance: chance_rounded(chance),
            share: 0.0,
            text,
        })
        .collect();
    all.sort_by(|left, right| left.chance.total_cmp(&right.chance));
    let zeros = all.iter().filter(|reason| reason.chance <= 0.0).count();
    let doubt: f64 = all
        .iter()
        .map(|reason| -reason.chance.ln())
        .filter(|doubt| doubt.is_finite())
        .sum();
    for reason in &mut all {
        let share = if reason.chance <= 0.0 {
            1.0 / zeros as f64
        } else if zeros > 0 || doubt <= 0.0 {
            0.0
        } else {
            -reason.chance.ln() / doubt
        };
        // Adding 0 turns -0, the share of a certainty, into 0.
        reason.share = (share * 100.0).round() / 100.0 + 0.0;
    }
    all
}

/// What most are not longer than, bytes.
const SENTENCE: usize = 192;

/// A sentence put together at once.
pub fn sentence(text: fmt::Arguments<'_>) -> String {
    let mut sentence = String::with_capacity(SENTENCE);
    fmt::write(&mut sentence, text).expect("a string takes all");
    sentence
}

/// A number for reading: at most so many decimals, no trailing zeros, no negative zero.
pub fn number(value: f64, decimals: usize) -> String {
    if let Some(text) = short_number(value, decimals) {
        return text;
    }
    let mut text = format!("{value:.decimals$}");
    if text.contains('.') {
        let kept = text.trim_end_matches('0').trim_end_matches('.').len();
        text.truncate(kept);
    }
    if text == "-0" { "0".to_owned() } else { text }
}

/// The same of a number under 1e9 in units of its last decimal, as most are, at a fraction of the cost; `None` of others.
fn short_number(value: f64, decimals: usize) -> Option<String> {
    let unit = 10_u32.checked_pow(u32::try_from(decimals).ok()?)?;
    let scaled = value.abs() * f64::from(unit);
    // The product may be off in its last digit: what is next to a half needs the exact one to be rounded right.
    let near_half = (scaled.fract() - 0.5).abs() < 1e-6;
    if !scaled.is_finite() || scaled >= 1e9 || near_half {
        return None;
    }
    let (mut digits, mut decimals) = (scaled.round() as u32, decimals);
    let minus = value < 0.0 && digits > 0;
    while decimals > 0 && digits.is_multiple_of(10) {
        (digits, decimals) = (digits / 10, decimals - 1);
    }
    // From the last digit on: ten at most (1e9 by rounding), a point and a sign.
    let mut text = [b'0'; 12];
    let mut first = text.len();
    let mut put = |byte: u8| {
        first -= 1;
        text[first] = byte;
    };
    let mut place = 0;
    while place <= decimals || digits > 0 {
        if place == decimals && place > 0 {
            put(b'.');
        }
        put(b'0' + (digits % 10) as u8);
        digits /= 10;
        place += 1;
    }
    if minus {
        put(b'-');
    }
    str::from_utf8(&text[first..]).ok().map(str::to_owned)
}

/// A number over 0 to two figures: 0.064, 1.2, 35.
pub fn two_figures(value: f64) -> String {
    if value <= 0.0 || !value.is_finite() {
        return "0".to_owned();
    }
    let place = value.log10().floor() as i32;
    if place >= 1 {
        let unit = 10f64.powi(place - 1);
        number((value / unit).round() * unit, 0)
    } else {
        number(value, (1 - place).min(9) as usize)
    }
}

/// So many of something: "1 part", "12 parts".
pub fn so_many(number: impl Display, one: &str) -> String {
    let number = number.to_string();
    let plural = if number == "1" { "" } else { "s" };
    format!("{number} {one}{plural}")
}

/// A chance to two figures, down to where people stop telling small ones apart.
pub fn small_chance(chance: f64) -> String {
    if chance < 1e-6 {
        "under one in a million".to_owned()
    } else {
        two_figures(chance)
    }
}

/// Odds as people say them: "9 in 10", "97 in 100". Likelier is never said with smaller odds.
pub fn odds(chance: f64) -> impl Display {
    let hundredths = (chance.clamp(0.0, 1.0) * 100.0).round() as u32;
    fmt::from_fn(move |text| match hundredths {
        0 => text.write_str("no chance"),
        100 => text.write_str("as good as certain"),
        16..=84 => write!(text, "{} in 10", (hundredths + 5) / 10),
        90 => text.write_str("9 in 10"),
        10 => text.write_str("1 in 10"),
        other => write!(text, "{other} in 100"),
    })
}

const MONTHS: [&str; 12] = [
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
];

/// A day: "12 Nov 2025".
pub fn day(date: Date) -> impl Display {
    let month = MONTHS
        .get(usize::from(date.month().unsigned_abs()) - 1)
        .copied()
        .unwrap_or("");
    let (day, year) = (date.day().unsigned_abs(), date.year());
    fmt::from_fn(move |text| {
        if !(1000..=9999).contains(&year) {
            return write!(text, "{day} {month} {year}");
        }
        // Said so often that it is put together at once.
        let mut said = *b"00     0000";
        said[0] += day / 10;
        said[1] += day % 10;
        for (place, letter) in said[3..].iter_mut().zip(month.bytes()) {
            *place = letter;
        }
        for (place, unit) in said[7..].iter_mut().zip([1000, 100, 10, 1]) {
            *place += (year / unit % 10) as u8;
        }
        let said = &said[usize::from(day < 10)..];
        text.write_str(str::from_utf8(said).map_err(|_| fmt::Error)?)
    })
}

/// The day an instant falls on, in the depot's zone.
pub fn day_of(at: Timestamp, zone: &TimeZone) -> impl Display + use<> {
    day(zone.to_datetime(at).date())
}

/// An instant to the minute, in the depot's zone: "12 Nov 2025 06:00".
pub fn minute_of(at: Timestamp, zone: &TimeZone) -> String {
    let local = zone.to_datetime(at);
    format!(
        "{} {:02}:{:02}",
        day(local.date()),
        local.hour(),
        local.minute()
    )
}

/// A figure with its unit: "1.2 mm". Everything said in a unit is said by this, for [`customary`] finds it by the mark
/// between the two.
pub fn quantity(figure: impl Display, symbol: &str) -> impl Display {
    fmt::from_fn(move |text| write!(text, "{figure}{MARK}{symbol}"))
}

/// A measured figure with its unit; a count is only a number.
pub fn figure(value: impl Display, unit: Unit) -> impl Display {
    fmt::from_fn(move |text| match unit {
        Unit::Count => write!(text, "{value}"),
        _ => write!(text, "{}", quantity(&value, unit.symbol())),
    })
}

/// A measured value in the sheet's words: "1.2 mm below the rim".
pub fn measured(measure: &Measure, value: f64, decimals: usize) -> impl Display {
    let said = move |value| figure(number(value, decimals), measure.unit);
    fmt::from_fn(move |text| match &measure.words {
        Some(words) if value < 0.0 => match &words.under {
            Some(under) => write!(text, "{} {under}", said(-value)),
            None => write!(text, "{}", said(value)),
        },
        Some(words) => write!(text, "{} {}", said(value), words.over),
        None => write!(text, "{}", said(value)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_and_odds_read_well() {
        assert_eq!(
            [number(1.50, 2), number(-0.001, 2), number(120.0, 0)],
            ["1.5", "0", "120"]
        );
        assert_eq!(
            [
                two_figures(0.0638),
                two_figures(1.24),
                two_figures(35.4),
                two_figures(1234.0)
            ],
            ["0.064", "1.2", "35", "1200"]
        );
        let said: Vec<String> = [0.0, 0.004, 0.03, 0.1, 0.24, 0.9, 0.97, 0.996]
            .into_iter()
            .map(|chance| odds(chance).to_string())
            .collect();
        assert_eq!(
            said,
            [
                "no chance",
                "no chance",
                "3 in 100",
                "1 in 10",
                "2 in 10",
                "9 in 10",
                "97 in 100",
                "as good as certain"
            ]
        );
        assert_eq!(day(Date::constant(2025, 11, 12)).to_string(), "12 Nov 2025");
    }

    #[test]
    fn days_are_written_as_numbers_are() {
        let mut date = Date::constant(1999, 1, 1);
        while date.year() < 2002 {
            let month = date.strftime("%b").to_string();
            let plain = format!("{} {month} {}", date.day(), date.year());
            assert_eq!(day(date).to_string(), plain);
            date = date.tomorrow().unwrap();
        }
        let long_ago = [Date::constant(999, 3, 2), Date::constant(-44, 3, 15)];
        let said = long_ago.map(|date| day(date).to_string());
        assert_eq!(said, ["2 Mar 999", "15 Mar -44"]);
    }

    /// Against the exact decimals of the standard library, ties and what is next to them among them.
    #[test]
    fn short_numbers_are_the_exact_ones() {
        let exact = |value: f64, decimals: usize| {
            let text = format!("{value:.decimals$}");
            let text = match text.contains('.') {
                true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
                false => text,
            };
            if text == "-0" { "0".to_owned() } else { text }
        };
        for decimals in 0..=9 {
            for i in -4000..=4000 {
                for unit in [0.005, 0.125, 1.0 / 3.0, 0.001, 0.05, 7919.5, 1e-7] {
                    let value = f64::from(i) * unit;
                    for value in [value, value.next_up(), value.next_down()] {
                        assert_eq!(number(value, decimals), exact(value, decimals));
                    }
                }
            }
        }
        for value in [f64::NAN, f64::INFINITY, -f64::INFINITY, 1e300, -0.0] {
            assert_eq!(number(value, 2), exact(value, 2));
        }
        // The longest there are.
        for (value, decimals) in [(999_999_999.7, 0), (-999_999_999.7, 0), (-0.123_456_789, 9)] {
            assert_eq!(number(value, decimals), exact(value, decimals));
        }
    }

    /// Read back, no likelier thing is said to be less likely.
    #[test]
    fn odds_rise_with_the_chance() {
        let read_back = |chance: f64| match odds(chance).to_string().as_str() {
            "no chance" => 0.0,
            "as good as certain" => 1.0,
            said => {
                let (odds, of) = said.split_once(" in ").unwrap();
                odds.parse::<f64>().unwrap() / of.parse::<f64>().unwrap()
            }
        };
        let said: Vec<f64> = (0..=1000)
            .map(|i| read_back(f64::from(i) / 1000.0))
            .collect();
        assert!(said.is_sorted(), "{said:?}");
        assert_eq!(
            [odds(0.85).to_string(), odds(0.15).to_string()],
            ["85 in 100", "15 in 100"]
        );
    }

    #[test]
    fn reasons_are_worst_first_and_share_the_doubt() {
        let factors = [("a", 0.9), ("b", 0.99), ("c", 0.5)]
            .map(|(factor, chance)| (factor.to_owned(), chance, String::new()));
        let all = reasons(Vec::new(), factors.into_iter());
        let shown: Vec<(&str, f64, f64)> = all
            .iter()
            .map(|one| (one.factor.as_str(), one.chance, one.share))
            .collect();
        // -ln: 0.693, 0.105 and 0.010 of 0.809.
        assert_eq!(
            shown,
            [("c", 0.5, 0.86), ("a", 0.9, 0.13), ("b", 0.99, 0.01)]
        );
        let said = vec![
            ("hold".to_owned(), 0.0, String::new()),
            ("stop".to_owned(), 0.0, String::new()),
        ];
        let all = reasons(said, [("a".to_owned(), 0.9, String::new())].into_iter());
        assert_eq!(
            all.iter().map(|one| one.share).collect::<Vec<_>>(),
            [0.5, 0.5, 0.0]
        );
    }
}
