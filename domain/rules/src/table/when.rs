//! Cells that are days or instants.

use jiff::Timestamp;
use jiff::civil::{Date, DateTime, Time};
use jiff::tz::TimeZone;

use super::cell::shown;
use super::{Conventions, Dates};

/// A civil day: 2025-03-04, or with slashes or points where it can be meant one way only or the table says how.
///
/// # Errors
/// What is wrong and what to do.
pub fn day(cell: &str, conventions: Conventions) -> Result<Date, String> {
    let text = cell.trim();
    let fault = || {
        format!(
            "is {}, which is no day; write it like 2025-03-04",
            shown(text)
        )
    };
    let parts: Vec<&str> = text.split(['-', '/', '.']).collect();
    let [a, b, c] = parts.as_slice() else {
        return Err(fault());
    };
    let number = |text: &str, digits: &[usize]| {
        let is_number =
            digits.contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_digit());
        is_number.then(|| text.parse::<i16>().ok()).flatten()
    };
    let date = |year: i16, month: i16, day: i16| {
        let (month, day) = (i8::try_from(month), i8::try_from(day));
        let date = Date::new(year, month.unwrap_or(0), day.unwrap_or(0));
        date.map_err(|_| format!("is {}, and there is no such day", shown(text)))
    };
    if let (Some(year), Some(month), Some(day)) =
        (number(a, &[4]), number(b, &[1, 2]), number(c, &[1, 2]))
    {
        return date(year, month, day);
    }
    let (Some(a), Some(b)) = (number(a, &[1, 2]), number(b, &[1, 2])) else {
        return Err(fault());
    };
    let Some(year) = number(c, &[4]) else {
        return Err(format!(
            "is {}; write its year with four digits, like 2025-03-04",
            shown(text)
        ));
    };
    match conventions.dates {
        Some(Dates::MonthFirst) => date(year, a, b),
        Some(Dates::DayFirst) => date(year, b, a),
        None if a == b || a > 12 => date(year, b, a),
        None if b > 12 => date(year, a, b),
        None => Err(format!(
            "is {}, which can be two days; write it like 2025-03-04, or say dates=month-first or dates=day-first",
            shown(text)
        )),
    }
}

/// An instant: RFC 3339, or a day with or without a time of day in the depot's `zone`. A day alone is its first instant;
/// of a time that the clocks show twice it is the first one.
///
/// # Errors
/// What is wrong and what to do.
pub fn instant(cell: &str, conventions: Conventions, zone: &TimeZone) -> Result<Timestamp, String> {
    let text = cell.trim();
    if let Ok(at) = text.parse::<Timestamp>() {
        return Ok(at);
    }
    let split = text.split_once(['T', 't', ' ']);
    let (date, time) = split.map_or((text, None), |(date, time)| (date, Some(time)));
    let date = day(date, conventions)?;
    let time = match time {
        None => Time::midnight(),
        Some(time) => time_of_day(time).ok_or_else(|| {
            format!("is {}, whose time cannot be read; write it like 2025-03-04 14:30, or with an offset like 2025-03-04T14:30:00-05:00", shown(text))
        })?,
    };
    let at = DateTime::from_parts(date, time).to_zoned(zone.clone());
    at.map(|at| at.timestamp())
        .map_err(|_| format!("is {}, which lies beyond the calendar", shown(text)))
}

/// 14:30, 14:30:05, 2:30 PM.
fn time_of_day(text: &str) -> Option<Time> {
    let text = text.trim().to_lowercase();
    let (clock, half) = match text
        .strip_suffix('m')
        .and_then(|rest| rest.strip_suffix(['a', 'p']))
    {
        Some(clock) => (clock.trim(), Some(text.ends_with("pm"))),
        None => (text.as_str(), None),
    };
    let (seconds, fraction) = clock.split_once('.').unwrap_or((clock, "0"));
    let mut parts = seconds.split(':').map(|part| {
        let is_number =
            (1..=2).contains(&part.len()) && part.bytes().all(|byte| byte.is_ascii_digit());
        is_number.then(|| part.parse::<i8>().ok()).flatten()
    });
    let (hour, minute) = (parts.next()??, parts.next()??);
    let second = parts.next().unwrap_or(Some(0))?;
    if parts.next().is_some()
        || !(1..=9).contains(&fraction.len())
        || !fraction.bytes().all(|byte| byte.is_ascii_digit())
    {
        return None;
    }
    let nanosecond = format!("{fraction:0<9}").parse().ok()?;
    let hour = match half {
        None => hour,
        Some(afternoon) if (1..=12).contains(&hour) => hour % 12 + if afternoon { 12 } else { 0 },
        Some(_) => return None,
    };
    Time::new(hour, minute, second, nanosecond).ok()
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;
    use jiff::tz::offset;

    use super::*;

    const ASIS: Conventions = Conventions {
        dates: None,
        decimal: super::super::Decimal::Point,
    };

    fn said(dates: Dates) -> Conventions {
        Conventions {
            dates: Some(dates),
            ..ASIS
        }
    }

    #[test]
    fn a_day_that_can_be_two_is_refused_unless_it_is_said_which() {
        assert_eq!(day("2025-03-04", ASIS), Ok(date(2025, 3, 4)));
        assert_eq!(day("2025/3/4", ASIS), Ok(date(2025, 3, 4)));
        assert_eq!(day("3/14/2025", ASIS), Ok(date(2025, 3, 14)));
        assert_eq!(day("14.03.2025", ASIS), Ok(date(2025, 3, 14)));
        assert_eq!(day("04/04/2025", ASIS), Ok(date(2025, 4, 4)));
        assert!(
            day("03/04/2025", ASIS)
                .unwrap_err()
                .contains("dates=month-first")
        );
        assert_eq!(
            day("03/04/2025", said(Dates::MonthFirst)),
            Ok(date(2025, 3, 4))
        );
        assert_eq!(
            day("03/04/2025", said(Dates::DayFirst)),
            Ok(date(2025, 4, 3))
        );
        assert!(day("14/03/2025", said(Dates::MonthFirst)).is_err());
        for text in [
            "",
            "3/4/25",
            "2025-02-30",
            "2025-13-01",
            "20250304",
            "March 4",
            "99/99/2025",
            "2025-+3-04",
            "-1-2-3",
        ] {
            assert!(day(text, ASIS).is_err(), "{text}");
        }
    }

    #[test]
    fn an_instant_is_rfc_3339_or_the_depots_own_time() {
        let zone = TimeZone::fixed(offset(-5));
        for text in [
            "2025-03-04T19:30:00Z",
            "2025-03-04T14:30:00-05:00",
            "2025-03-04 14:30",
            "2025-03-04T14:30:00.000",
            "3/4/2025 2:30 PM",
            "3/4/2025 2:30pm",
        ] {
            let at = instant(text, said(Dates::MonthFirst), &zone).expect(text);
            assert_eq!(at.to_string(), "2025-03-04T19:30:00Z", "{text}");
        }
        assert_eq!(
            instant("2025-03-04", ASIS, &zone).unwrap().to_string(),
            "2025-03-04T05:00:00Z"
        );
        assert_eq!(
            instant("2025-03-04 12:00 am", ASIS, &zone)
                .unwrap()
                .to_string(),
            "2025-03-04T05:00:00Z"
        );
        for text in [
            "2025-03-04 25:00",
            "2025-03-04 14",
            "2025-03-04 14:30:00:00",
            "2025-03-04 13:00 pm",
            "2025-03-04 2:30 xm",
            "14:30",
            "2025-03-04 1:2.",
            "2025-03-04 ",
        ] {
            assert!(
                instant(text, ASIS, &zone).is_err() || text.ends_with(' '),
                "{text}"
            );
        }
    }
}
