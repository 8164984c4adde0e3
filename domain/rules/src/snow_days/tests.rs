//! Days of use, counted by hand.

use super::*;

#[test]
fn typical_days_are_counted_in_past_and_coming_seasons() {
    let (starts, ends) = (
        MonthDay::parse("11-15").unwrap(),
        MonthDay::parse("04-10").unwrap(),
    );
    let day = |year, month, date| day_number(Date::constant(year, month, date));
    let fixed = FixedSeason {
        starts,
        ends,
        snow_days: 24,
    };
    let days = SnowDays::new(Date::constant(2025, 12, 1), fixed, OnRecord::default());
    assert_eq!(days.this_season.starts, Date::constant(2025, 11, 15));
    let inputs = days.inputs();
    assert_eq!(
        (inputs.from.as_str(), inputs.snow_days),
        ("fixed dates", vec![24])
    );
    assert_eq!(inputs.ends, Date::constant(2026, 4, 10));
    for winter in [2010, 2019, 2025, 2034] {
        assert_eq!(
            days.of(Exposure::SnowDays)
                .between(0, day(winter, 7, 1), day(winter + 1, 7, 1)),
            24,
            "{winter}"
        );
    }
    assert_eq!(
        days.of(Exposure::SnowDays)
            .between(0, day(2035, 7, 1), day(2040, 7, 1)),
        0
    );
    let (before, after) = (
        days.of(Exposure::SnowDays)
            .between(0, day(2025, 7, 1), day(2025, 12, 1)),
        days.of(Exposure::SnowDays)
            .between(0, day(2025, 11, 30), day(2026, 7, 1)),
    );
    assert_eq!(before + after, 24);
    assert!(before >= 2 && after >= 20);
    // After the 18th, on which the first falls; a day is not between itself and itself.
    assert_eq!(
        days.of(Exposure::SnowDays)
            .between(0, day(2025, 11, 14), day(2025, 11, 19)),
        1
    );
    assert_eq!(
        days.of(Exposure::SnowDays)
            .between(0, day(2025, 11, 18), day(2025, 11, 19)),
        0
    );
    // A summer's day: this season is the one to come.
    let summer = SnowDays::new(Date::constant(2025, 8, 1), fixed, OnRecord::default());
    assert_eq!(summer.this_season.starts, Date::constant(2025, 11, 15));
}
/// Winters with 2, 3 and 4 snow days each ten days from day 150 (28 November) on.
fn winters() -> Vec<PastWinter> {
    (0..3)
        .map(|index| PastWinter {
            winter: Winter(2020 + index),
            snow_days: (0..i32::from(index) + 2)
                .map(|day| 150 + 10 * day)
                .collect(),
        })
        .collect()
}

#[test]
fn each_winter_on_record_is_one_future_and_the_one_after_it_the_next() {
    let fixed = FixedSeason {
        starts: MonthDay::parse("11-15").unwrap(),
        ends: MonthDay::parse("04-10").unwrap(),
        snow_days: 24,
    };
    let winters = winters();
    let record = OnRecord {
        winters: &winters,
        this_winter: Some(&[140, 155]),
    };
    // Day 161 of the winter of 2025 is 9 December: two snow days are over.
    let today = Date::constant(2025, 12, 9);
    let days = SnowDays::new(today, fixed, record);
    let day = |year| day_number(Winter(year).starts());
    let now = day_number(today);
    assert_eq!(days.scenarios(), 3);
    // To come after day 161 of 150, 160, 170, 180: none, one, two.
    assert_eq!(
        days.of(Exposure::SnowDays).each(now, day(2026)),
        [0.0, 1.0, 2.0]
    );
    assert_eq!(
        days.of(Exposure::SnowDays).each(day(2026) - 1, day(2027)),
        [3.0, 4.0, 2.0],
        "the winter after"
    );
    assert_eq!(
        days.of(Exposure::SnowDays).each(day(2027) - 1, day(2028)),
        [4.0, 2.0, 3.0],
        "and around"
    );
    // The past is the same in all: what was observed, typical days where nothing was.
    assert_eq!(
        days.of(Exposure::SnowDays).each(day(2025) - 1, now + 1),
        [2.0; 3]
    );
    assert_eq!(
        days.of(Exposure::SnowDays).each(day(2021) - 1, day(2022)),
        [3.0; 3]
    );
    assert_eq!(
        days.of(Exposure::SnowDays).each(day(2023) - 1, day(2024)),
        [24.0; 3]
    );
    // Three winters do not tell the season's dates.
    assert_eq!(days.inputs().from, "fixed dates");
    assert_eq!(days.inputs().snow_days, [2, 3, 4]);
}

#[test]
fn five_winters_tell_the_season() {
    let winters: Vec<PastWinter> = (0..5)
        .map(|index| PastWinter {
            winter: Winter(2015 + index),
            snow_days: vec![120 + 10 * i32::from(index), 240 + 10 * i32::from(index)],
        })
        .collect();
    let fixed = FixedSeason {
        starts: MonthDay::parse("11-15").unwrap(),
        ends: MonthDay::parse("04-10").unwrap(),
        snow_days: 24,
    };
    let record = OnRecord {
        winters: &winters,
        this_winter: None,
    };
    let days = SnowDays::new(Date::constant(2025, 8, 1), fixed, record);
    // Days 124 and 276, as in snowfall's own test: 2 November and 3 April.
    assert_eq!(days.inputs().from, "history");
    assert_eq!(
        (days.this_season.starts, days.this_season.ends),
        (Date::constant(2025, 11, 2), Date::constant(2026, 4, 3))
    );
    assert_eq!(days.next_season.starts, Date::constant(2026, 11, 2));
}

/// Against the calendar of jiff, an independent one, day by day: Monday to Friday from the first to the last day of each
/// winter's season.
fn weekdays_by_hand(starts: MonthDay, ends: MonthDay, from: i32, until: i32) -> u32 {
    let mut count = 0;
    for day in from + 1..until {
        let date = crate::season::date_of(day);
        let season = Season::fixed(Winter::of(date), starts, ends);
        let weekend = matches!(
            date.weekday(),
            jiff::civil::Weekday::Saturday | jiff::civil::Weekday::Sunday
        );
        count += u32::from(season.runs_on(date) && !weekend);
    }
    count
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(64))]

    /// Section 3: in-season weekdays, past and to come, in every scenario, whatever the season: one over New Year, one
    /// within a year, one of which the last day comes before the first.
    #[test]
    fn weekdays_are_those_of_the_season(
        starts in (1u8..=12, 1u8..=28), ends in (1u8..=12, 1u8..=28),
        today in 0i32..3000, from in -2500i32..2500, length in 0i32..800, scenarios in 0usize..4,
    ) {
        let day = |(month, day): (u8, u8)| MonthDay::parse(&format!("{month:02}-{day:02}")).unwrap();
        let fixed = FixedSeason { starts: day(starts), ends: day(ends), snow_days: 24 };
        let record = winters();
        let record = OnRecord { winters: &record[..scenarios.min(3)], this_winter: None };
        let now = day_number(Date::constant(2020, 1, 1)) + today;
        let days = SnowDays::new(crate::season::date_of(now), fixed, record);
        let (from, until) = (now + from, now + from + length);
        let expected = weekdays_by_hand(fixed.starts, fixed.ends, from, until);
        let weekdays = days.of(Exposure::SeasonWeekdays);
        proptest::prop_assert_eq!(weekdays.between(0, from, until), expected);
        proptest::prop_assert_eq!(weekdays.each(from, until), vec![f64::from(expected); days.scenarios()]);
        proptest::prop_assert_eq!(weekdays.horizon(), days.of(Exposure::SnowDays).horizon());
    }
}

/// A season that history tells is the one whose weekdays count: from 2 November 2025, a Sunday, to 3 April 2026, a Friday,
/// are 22 weeks less a Saturday: 110.
#[test]
fn weekdays_follow_the_season_that_history_tells() {
    let winters: Vec<PastWinter> = (0..5)
        .map(|index| PastWinter {
            winter: Winter(2015 + index),
            snow_days: vec![120 + 10 * i32::from(index), 240 + 10 * i32::from(index)],
        })
        .collect();
    let fixed = FixedSeason {
        starts: MonthDay::parse("11-15").unwrap(),
        ends: MonthDay::parse("04-10").unwrap(),
        snow_days: 24,
    };
    let record = OnRecord {
        winters: &winters,
        this_winter: None,
    };
    let days = SnowDays::new(Date::constant(2025, 8, 1), fixed, record);
    assert_eq!(days.inputs().weekdays, 110);
    assert_eq!(days.of(Exposure::SeasonWeekdays).scenarios(), 5);
}
