//! Dates that come back by the calendar: RFC 5545 recurrence rules on civil dates.

use std::fmt;
use std::str::FromStr;

use jiff::civil::Date;
use rrule::{Frequency, RRule, RRuleSet, Tz, Unvalidated};
use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::season::{date_of, day_number};

/// Characters of a rule at most.
const RULE_MAX: usize = 200;
/// 1 January 1970 as a day number: rrule counts seconds from it.
const UNIX_EPOCH: Date = Date::constant(1970, 1, 1);
const DAY_S: i64 = 86_400;
/// How long a rule may stay silent: cylinders are tested every twelve years (common practice), little is done more
/// seldom. Whoever asks for a date has every day up to it looked at.
const SILENT_YEARS_MAX: i16 = 15;

/// A recurrence rule (RFC 5545, 3.3.10) of whole days, without an end: each date follows from the one before, which is
/// its DTSTART.
#[derive(Debug, Clone, PartialEq)]
pub struct CalendarRule {
    text: String,
    // Boxed: it is large beside the other triggers.
    rule: Box<RRule<Unvalidated>>,
}

impl CalendarRule {
    /// The first date of the rule after `from`; `None` where there is none, by the end of what dates the rule's library
    /// knows.
    pub fn after(&self, from: Date) -> Option<Date> {
        let start = start(from)?;
        let rule = RRule::clone(&self.rule).validate(start).ok()?;
        let next = RRuleSet::new(start)
            .rrule(rule)
            .limit()
            .into_iter()
            .find(|at| *at > start)?;
        let days = next.timestamp().div_euclid(DAY_S);
        Some(date_of(day_number(UNIX_EPOCH) + i32::try_from(days).ok()?))
    }
}

/// Midnight UTC: civil dates have no zone, and so this one changes nothing.
fn start(date: Date) -> Option<chrono::DateTime<Tz>> {
    let days = day_number(date) - day_number(UNIX_EPOCH);
    let at = chrono::DateTime::from_timestamp(i64::from(days) * DAY_S, 0)?;
    Some(at.with_timezone(&Tz::UTC))
}

impl FromStr for CalendarRule {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if text.len() > RULE_MAX {
            return Err(format!("must have at most {RULE_MAX} characters"));
        }
        let rule: RRule<Unvalidated> = text.parse().map_err(|error| {
            format!("is no recurrence rule of RFC 5545 ({error}); write it like FREQ=YEARLY;BYMONTH=9;BYMONTHDAY=1")
        })?;
        let whole_days = matches!(
            rule.get_freq(),
            Frequency::Yearly | Frequency::Monthly | Frequency::Weekly | Frequency::Daily
        );
        let times = !rule.get_by_hour().is_empty()
            || !rule.get_by_minute().is_empty()
            || !rule.get_by_second().is_empty();
        if !whole_days || times {
            return Err("must be of whole days: FREQ=DAILY, WEEKLY, MONTHLY or YEARLY, without BYHOUR, BYMINUTE, BYSECOND".to_owned());
        }
        if rule.get_count().is_some() || rule.get_until().is_some() {
            return Err("must not end: leave COUNT and UNTIL out".to_owned());
        }
        let found = CalendarRule {
            text: text.to_owned(),
            rule: Box::new(rule),
        };
        let from = Date::constant(2000, 1, 1);
        match found.after(from) {
            Some(date) if date.year() - from.year() <= SILENT_YEARS_MAX => Ok(found),
            Some(_) => Err(format!(
                "names no date in {SILENT_YEARS_MAX} years; give one that comes back sooner"
            )),
            // Each 30 February, and what the rule's library refuses beside a start.
            None => {
                Err("names no date; write it like FREQ=YEARLY;BYMONTH=9;BYMONTHDAY=1".to_owned())
            }
        }
    }
}

impl fmt::Display for CalendarRule {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl Serialize for CalendarRule {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.text)
    }
}

impl<'de> Deserialize<'de> for CalendarRule {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?
            .parse()
            .map_err(D::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    fn dates(rule: &str, from: Date, count: usize) -> Vec<Date> {
        let rule: CalendarRule = rule.parse().unwrap();
        std::iter::successors(rule.after(from), |last| rule.after(*last))
            .take(count)
            .collect()
    }

    /// RFC 5545, section 3.8.5.3: the examples of whole days without an end, and those with a COUNT without it. Each
    /// begins with its DTSTART (2 September 1997 and so on), which stands before the first of these dates.
    #[test]
    fn the_dates_of_rfc_5545() {
        let september_2 = date(1997, 9, 2);
        // Every other day, forever.
        assert_eq!(
            dates("FREQ=DAILY;INTERVAL=2", september_2, 3),
            [date(1997, 9, 4), date(1997, 9, 6), date(1997, 9, 8)]
        );
        // Every other week, forever.
        assert_eq!(
            dates("FREQ=WEEKLY;INTERVAL=2;WKST=SU", september_2, 3),
            [date(1997, 9, 16), date(1997, 9, 30), date(1997, 10, 14)]
        );
        // Monthly on the third-to-the-last day of the month, forever.
        assert_eq!(
            dates("FREQ=MONTHLY;BYMONTHDAY=-3", date(1997, 9, 28), 3),
            [date(1997, 10, 29), date(1997, 11, 28), date(1997, 12, 29)]
        );
        // Every Tuesday, every other month.
        assert_eq!(
            dates("FREQ=MONTHLY;INTERVAL=2;BYDAY=TU", date(1997, 9, 30), 3),
            [date(1997, 11, 4), date(1997, 11, 11), date(1997, 11, 18)]
        );
        // Every 20th Monday of the year, forever.
        assert_eq!(
            dates("FREQ=YEARLY;BYDAY=20MO", date(1997, 5, 19), 2),
            [date(1998, 5, 18), date(1999, 5, 17)]
        );
        // Monday of week number 20, forever.
        assert_eq!(
            dates("FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO", date(1997, 5, 12), 2),
            [date(1998, 5, 11), date(1999, 5, 17)]
        );
        // Every Thursday in March, forever.
        assert_eq!(
            dates("FREQ=YEARLY;BYMONTH=3;BYDAY=TH", date(1997, 3, 13), 3),
            [date(1997, 3, 20), date(1997, 3, 27), date(1998, 3, 5)]
        );
        // Every Friday the 13th, forever.
        assert_eq!(
            dates("FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13", september_2, 5),
            [
                date(1998, 2, 13),
                date(1998, 3, 13),
                date(1998, 11, 13),
                date(1999, 8, 13),
                date(2000, 10, 13)
            ]
        );
        // The first Saturday that follows the first Sunday of the month, forever.
        assert_eq!(
            dates(
                "FREQ=MONTHLY;BYDAY=SA;BYMONTHDAY=7,8,9,10,11,12,13",
                date(1997, 9, 13),
                3
            ),
            [date(1997, 10, 11), date(1997, 11, 8), date(1997, 12, 13)]
        );
        // Every four years, the first Tuesday after a Monday in November, forever (U.S. presidential election day).
        assert_eq!(
            dates(
                "FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;BYMONTHDAY=2,3,4,5,6,7,8",
                date(1996, 11, 5),
                2
            ),
            [date(2000, 11, 7), date(2004, 11, 2)]
        );
        // The second-to-last weekday of the month.
        assert_eq!(
            dates(
                "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2",
                date(1997, 9, 29),
                3
            ),
            [date(1997, 10, 30), date(1997, 11, 27), date(1997, 12, 30)]
        );
        // An invalid date (30 February) is ignored: "FREQ=MONTHLY;BYMONTHDAY=15,30".
        assert_eq!(
            dates("FREQ=MONTHLY;BYMONTHDAY=15,30", date(2007, 1, 30), 3),
            [date(2007, 2, 15), date(2007, 3, 15), date(2007, 3, 30)]
        );
    }

    #[test]
    fn what_is_no_rule_of_whole_days_says_so() {
        for (text, word) in [
            ("yearly", "RFC 5545"),
            ("", "RFC 5545"),
            ("FREQ=HOURLY", "whole days"),
            ("FREQ=DAILY;BYHOUR=9", "whole days"),
            ("FREQ=DAILY;COUNT=3", "must not end"),
            ("FREQ=DAILY;UNTIL=19971224T000000Z", "must not end"),
            ("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30", "names no date;"),
            // Mondays on 29 February: 1988, 2016, 2044.
            (
                "FREQ=DAILY;BYMONTH=2;BYMONTHDAY=29;BYDAY=MO",
                "names no date in 15 years",
            ),
        ] {
            let error = text.parse::<CalendarRule>().unwrap_err();
            assert!(error.contains(word), "{text}: {error}");
        }
        let long = format!("FREQ=YEARLY;BYMONTHDAY={}1", "1,".repeat(100));
        assert!(long.parse::<CalendarRule>().unwrap_err().contains("200"));
    }
}
