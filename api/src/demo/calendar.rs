//! Where the demo's events lie around the present: winters, seasons, the weeks of the pre-season inspections, and
//! the hours people work. Whatever the date, everything lies before `now`, in the order a district's year has it.

use jiff::civil::{Date, DateTime, Weekday};
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp, ToSpan};
use rimeyard_rules::facts::MonthDay;

use super::draw::Draw;

/// The year of one depot around the present.
pub struct Calendar {
    /// The present.
    pub now: Timestamp,
    /// The depot's zone.
    pub zone: TimeZone,
    /// First day of its season, every year.
    pub season_starts: MonthDay,
    /// Last day of its season, every year.
    pub season_ends: MonthDay,
}

impl Calendar {
    /// Today at the depot.
    pub fn today(&self) -> Date {
        self.date_of(self.now)
    }

    /// The winter that runs, named by the year of its 1 July.
    pub fn winter(&self) -> i16 {
        let today = self.today();
        if today.month() >= 7 {
            today.year()
        } else {
            today.year() - 1
        }
    }

    /// First and last day of that winter's season.
    pub fn season(&self, winter: i16) -> (Date, Date) {
        let day = |of: MonthDay| of.in_year(if of.month() >= 7 { winter } else { winter + 1 });
        (day(self.season_starts), day(self.season_ends))
    }

    /// The weekdays of that winter's season.
    pub fn weekdays(&self, winter: i16) -> Vec<Date> {
        let (first, last) = self.season(winter);
        let days = first.series(1.day()).take_while(|day| *day <= last);
        days.filter(|day| !matches!(day.weekday(), Weekday::Saturday | Weekday::Sunday))
            .collect()
    }

    /// When that winter's pre-season inspections are made: September to the eve of the season. While that is still to
    /// come, or has hardly begun, from 1 July until now, because the demo's district is always ready early.
    pub fn pre_season(&self, winter: i16) -> (Timestamp, Timestamp) {
        let usual = self.at(Date::constant(winter, 9, 5), 8.0);
        let eve = self.at(self.season(winter).0.saturating_sub(4.days()), 16.0);
        if winter < self.winter() {
            return (usual, eve);
        }
        let first = self.at(Date::constant(winter, 7, 1), 0.0);
        let enough = usual + SignedDuration::from_hours(45 * 24);
        let from = if self.now > enough { usual } else { first };
        // Not within the last hours, unless 1 July is only hours old.
        let spare = (self.now.duration_since(first) / 4).min(SignedDuration::from_hours(20));
        (from, eve.min(self.now - spare).max(from))
    }

    /// By when what the sheets owe before that winter's season is done in time: six weeks ahead, and three days' grace.
    pub fn prepared_by(&self, winter: i16) -> Timestamp {
        let owed = self.season(winter).0.saturating_sub(42.days());
        self.at(owed.saturating_add(3.days()), 16.0)
    }

    /// The instant of that hour of the day.
    pub fn at(&self, date: Date, hour: f64) -> Timestamp {
        let minutes = (hour * 60.0) as i64;
        let midnight = DateTime::from_parts(date, jiff::civil::Time::midnight());
        let local = midnight.saturating_add(minutes.minutes());
        // Civil times that a change of clocks skips or doubles take the earlier reading of them.
        self.zone
            .to_ambiguous_timestamp(local)
            .compatible()
            .unwrap_or(self.now)
    }

    /// The depot's date at that instant.
    pub fn date_of(&self, at: Timestamp) -> Date {
        self.zone.to_datetime(at).date()
    }

    /// The depot's hour of the day at that instant.
    pub fn hour_of(&self, at: Timestamp) -> f64 {
        let local = self.zone.to_datetime(at);
        f64::from(local.hour()) + f64::from(local.minute()) / 60.0
    }

    /// A time at the bench between the two: a weekday, half past seven to half past three. In a span that has no such
    /// time, any time within it.
    pub fn at_work(&self, draw: &mut Draw, from: Timestamp, to: Timestamp) -> Timestamp {
        let span = to.duration_since(from).as_secs_f64().max(0.0);
        let mut chosen = from;
        for _ in 0..8 {
            let any = from + SignedDuration::from_secs_f64(span * draw.unit());
            let date = self.date_of(any);
            let weekday = match date.weekday() {
                Weekday::Saturday => date.saturating_sub(1.day()),
                Weekday::Sunday => date.saturating_add(1.day()),
                _ => date,
            };
            let worked = self.at(weekday, draw.between(7.5, 15.5));
            if (from..=to).contains(&worked) {
                chosen = worked;
                break;
            }
            chosen = any;
        }
        // Whole minutes, as people write them.
        let seconds = chosen.as_second();
        Timestamp::from_second(seconds - seconds.rem_euclid(60))
            .unwrap_or(chosen)
            .max(from)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn calendar(now: &str) -> Calendar {
        Calendar {
            now: now.parse().unwrap(),
            zone: TimeZone::get("America/Denver").unwrap(),
            season_starts: MonthDay::parse("11-15").unwrap(),
            season_ends: MonthDay::parse("04-10").unwrap(),
        }
    }

    #[test]
    fn a_winter_runs_from_july_to_june() {
        assert_eq!(calendar("2026-11-25T12:00:00Z").winter(), 2026);
        assert_eq!(calendar("2026-07-15T12:00:00Z").winter(), 2026);
        assert_eq!(calendar("2026-02-10T12:00:00Z").winter(), 2025);
        assert_eq!(calendar("2028-02-29T12:00:00Z").winter(), 2027);
        // 1 July in UTC is still 30 June in the mountains.
        assert_eq!(calendar("2026-07-01T03:00:00Z").winter(), 2025);
        let (first, last) = calendar("2028-02-29T12:00:00Z").season(2027);
        assert_eq!(
            (first.to_string(), last.to_string()),
            ("2027-11-15".into(), "2028-04-10".into())
        );
    }

    #[test]
    fn pre_season_lies_between_july_and_now_on_every_day_of_the_year() {
        let mut draw = Draw::new(1, "days");
        for day in 0..366 {
            let now = calendar("2028-01-01T06:10:00Z").now + SignedDuration::from_hours(24 * day);
            let calendar = Calendar {
                now,
                ..calendar("2028-01-01T00:00:00Z")
            };
            let (from, to) = calendar.pre_season(calendar.winter());
            let july = calendar.at(Date::constant(calendar.winter(), 7, 1), 0.0);
            assert!(
                july <= from && from <= to && to <= now,
                "{now}: {from} to {to}"
            );
            for _ in 0..20 {
                let at = calendar.at_work(&mut draw, from, to);
                assert!((from..=to).contains(&at), "{now}: {at}");
            }
        }
    }

    #[test]
    fn benches_are_worked_at_on_weekdays_by_day() {
        let mut draw = Draw::new(1, "bench");
        let calendar = calendar("2026-11-25T12:00:00Z");
        let (from, to) = calendar.pre_season(2026);
        for _ in 0..500 {
            let at = calendar.at_work(&mut draw, from, to);
            let weekday = calendar.date_of(at).weekday();
            assert!(
                weekday != Weekday::Sunday && weekday != Weekday::Saturday,
                "{at}"
            );
            assert!((7.5..15.5).contains(&calendar.hour_of(at)), "{at}");
            assert_eq!(at.as_second() % 60, 0);
        }
    }
}
