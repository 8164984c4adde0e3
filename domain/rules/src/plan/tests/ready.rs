//! Dates worked by hand. The rule is the project's own, so there is nothing outside to hold it against.

use jiff::civil::{Date, date};
use uuid::Uuid;

use crate::plan::ready::{Hours, Labour, Load, Queued, Ready};

const A: Uuid = Uuid::from_u128(1);
const B: Uuid = Uuid::from_u128(2);
const TODAY: Date = date(2025, 10, 6);

fn hours(weekly_minutes: u32) -> Hours {
    Hours {
        from: date(2025, 1, 1),
        until: None,
        weekly_minutes,
    }
}

fn labour(hours: &[Hours]) -> Labour<'_> {
    Labour {
        hours,
        travel_minutes: 0.0,
        today: TODAY,
        season_starts: date(2025, 11, 15),
    }
}

fn job(unit: Uuid, minutes: f64, parts_on: Option<Date>) -> Queued {
    Queued {
        unit,
        minutes,
        parts_on,
    }
}

/// 420 minutes a week are 60 a day: A's 90 take today and half of tomorrow, B's 30 the other half.
#[test]
fn the_queue_is_worked_off_day_by_day() {
    let hours = [hours(210), hours(210)];
    let queue = [
        job(A, 90.0, Some(TODAY)),
        job(B, 30.0, Some(TODAY)),
        job(B, 0.5, Some(TODAY)),
    ];
    let got = labour(&hours).ready(&queue);
    let ready = |unit, ready_on| Ready {
        unit,
        parts_on: Some(TODAY),
        ready_on: Some(ready_on),
        before_season: true,
    };
    assert_eq!(
        got,
        [ready(A, date(2025, 10, 7)), ready(B, date(2025, 10, 8))]
    );
    // Exactly what a day has is done on that day: sevenths do not add up to too little.
    let hours = [self::hours(100)];
    let got = labour(&hours).ready(&[job(A, 100.0, Some(TODAY))]);
    assert_eq!(got[0].ready_on, Some(date(2025, 10, 12)));
}

/// The way there is paid first: 60 minutes of it are today.
#[test]
fn travel_is_paid_once() {
    let hours = [hours(420)];
    let mut labour = labour(&hours);
    labour.travel_minutes = 60.0;
    let got = labour.ready(&[job(A, 60.0, Some(TODAY)), job(B, 60.0, Some(TODAY))]);
    let days: Vec<_> = got.iter().map(|ready| ready.ready_on).collect();
    assert_eq!(days, [Some(date(2025, 10, 7)), Some(date(2025, 10, 8))]);
}

/// A waits for its part until the 8th; B is done meanwhile, its last 60 minutes after A's.
#[test]
fn who_waits_for_parts_holds_nobody_up_and_keeps_its_place() {
    let hours = [hours(420)];
    let come = date(2025, 10, 8);
    let queue = [job(A, 60.0, Some(come)), job(B, 180.0, Some(TODAY))];
    let got = labour(&hours).ready(&queue);
    assert_eq!((got[0].parts_on, got[0].ready_on), (Some(come), Some(come)));
    assert_eq!(
        (got[1].parts_on, got[1].ready_on),
        (Some(TODAY), Some(date(2025, 10, 9)))
    );
    // A part of which nobody knows: never, and of the machine neither.
    let queue = [
        job(A, 60.0, Some(TODAY)),
        job(A, 60.0, None),
        job(B, 60.0, Some(TODAY)),
    ];
    let got = labour(&hours).ready(&queue);
    assert_eq!(
        (got[0].parts_on, got[0].ready_on, got[0].before_season),
        (None, None, false)
    );
    assert_eq!(got[1].ready_on, Some(date(2025, 10, 7)));
}

/// Nobody until the 20th, then 60 minutes a day for three days, then nobody again.
#[test]
fn labour_is_there_while_it_is_there() {
    let some = Hours {
        from: date(2025, 10, 20),
        until: Some(date(2025, 10, 23)),
        weekly_minutes: 420,
    };
    let turned = Hours {
        until: Some(date(2025, 10, 1)),
        ..some
    };
    let hours = [some, turned];
    let queue = [job(A, 180.0, Some(TODAY)), job(B, 0.5, Some(TODAY))];
    let got = labour(&hours).ready(&queue);
    assert_eq!(got[0].ready_on, Some(date(2025, 10, 22)));
    assert_eq!(got[1].ready_on, None);
    let nobody = labour(&[]).ready(&queue);
    assert!(
        nobody
            .iter()
            .all(|ready| ready.ready_on.is_none() && !ready.before_season)
    );
    assert_eq!(labour(&hours).ready(&[]), []);
}

/// On the day on which the season starts is too late; the day before is not.
#[test]
fn ready_is_before_the_season_starts() {
    let hours = [hours(420)];
    for (starts, before) in [(TODAY, false), (date(2025, 10, 7), true)] {
        let labour = Labour {
            season_starts: starts,
            ..labour(&hours)
        };
        assert_eq!(
            labour.ready(&[job(A, 60.0, Some(TODAY))])[0].before_season,
            before
        );
    }
}

/// 40 days from 6 October to 14 November at 60 and, from the 20th to the 22nd, at 60 more; 10 of travel.
#[test]
fn open_work_stands_against_the_labour_left() {
    let hours = [
        hours(420),
        Hours {
            from: date(2025, 10, 20),
            until: Some(date(2025, 10, 23)),
            weekly_minutes: 420,
        },
    ];
    let mut labour = labour(&hours);
    labour.travel_minutes = 10.0;
    let queue = [job(A, 60.0, Some(TODAY)), job(A, 60.0, None)];
    let load = |open_minutes, left_minutes| Load {
        open_minutes,
        left_minutes,
    };
    assert_eq!(labour.load(&queue), load(130.0, 2400.0 + 180.0));
    assert_eq!(labour.load(&[]), load(0.0, 2580.0));
    labour.season_starts = date(2025, 10, 1);
    assert_eq!(labour.load(&queue), load(130.0, 0.0));
}
