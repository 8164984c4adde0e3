//! A day of every year.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::Invalid;

/// A day of every year, written `MM-DD`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct MonthDay {
    month: i8,
    day: i8,
}

impl MonthDay {
    /// The day of the year that a date is.
    pub fn of(date: Date) -> Self {
        MonthDay {
            month: date.month(),
            day: date.day(),
        }
    }

    /// The month, 1 to 12.
    pub fn month(self) -> i8 {
        self.month
    }

    /// The day of the month, 1 to 31.
    pub fn day(self) -> i8 {
        self.day
    }

    /// Reads `MM-DD`.
    pub fn parse(text: &str) -> Result<Self, Invalid> {
        let wrong = || {
            Invalid::new(
                "",
                format!("{text:?} is not a day of the year; write it as MM-DD, like 11-15"),
            )
        };
        let bytes = text.as_bytes();
        if bytes.len() != 5 || bytes[2] != b'-' || !text.is_ascii() {
            return Err(wrong());
        }
        let month: i8 = text[..2].parse().map_err(|_| wrong())?;
        let day: i8 = text[3..].parse().map_err(|_| wrong())?;
        // A leap year, so that 02-29 can be said; in other years it is the 28th.
        Date::new(2024, month, day).map_err(|_| wrong())?;
        Ok(MonthDay { month, day })
    }

    /// That day in `year`; 29 February is the 28th where there is none.
    pub fn in_year(self, year: i16) -> Date {
        Date::new(year, self.month, self.day)
            .or_else(|_| Date::new(year, self.month, 28))
            .unwrap_or(Date::constant(2000, 1, 1))
    }
}

impl std::fmt::Display for MonthDay {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:02}-{:02}", self.month, self.day)
    }
}

impl TryFrom<String> for MonthDay {
    type Error = Invalid;

    fn try_from(text: String) -> Result<Self, Invalid> {
        MonthDay::parse(&text)
    }
}

impl From<MonthDay> for String {
    fn from(day: MonthDay) -> String {
        day.to_string()
    }
}
