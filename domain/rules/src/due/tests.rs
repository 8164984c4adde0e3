//! Hand-worked cases, and what must hold for all.

use jiff::civil::date;
use proptest::prelude::*;

use super::*;
use crate::facts::MonthDay;
use crate::season::Winter;
use crate::sheet::{Figure, TaskSpec};

fn seasons(today: Date) -> [Season; 3] {
    let (starts, ends) = (
        MonthDay::parse("11-15").unwrap(),
        MonthDay::parse("04-10").unwrap(),
    );
    let this = Season::this(today, starts, ends);
    let before = Season::fixed(Winter::of(this.starts).before(), starts, ends);
    [before, this, this.next(starts, ends)]
}

fn task(trigger: Trigger) -> TaskSpec {
    TaskSpec {
        task: "task".to_owned(),
        title: "A task".to_owned(),
        only_for: None,
        triggers: vec![trigger],
        tolerance: 0.1,
        safety: false,
        storage: false,
        minutes: Figure {
            value: 10.0,
            source: "invented".to_owned(),
        },
        parts: Vec::new(),
        cautions: Vec::new(),
        checks: Vec::new(),
        renews: None,
        source: "invented".to_owned(),
    }
}

fn facts(today: Date, done: &[Done]) -> Facts<'_> {
    Facts {
        today,
        since: Done {
            on: date(2024, 10, 1),
            hours: 0.0,
        },
        done,
        hours_now: 0.0,
        seasons: seasons(today),
        storms: &[],
        stored: false,
        deferred_until: None,
    }
}

fn at(year: i16, month: i8, day: i8) -> Done {
    Done {
        on: date(year, month, day),
        hours: 0.0,
    }
}

/// No hours ahead are ever reached.
fn never(_: f64) -> [Option<Date>; 3] {
    [None; 3]
}

fn on(task: &TaskSpec, facts: &Facts<'_>) -> (State, Option<Date>) {
    let due = due(&task.terms(), facts, &never);
    (due.state, due.on)
}

/// Engine oil, common practice: every 50 hours, 10 % either side.
#[test]
fn hours_count_from_the_date_due_inside_the_window_and_from_the_date_done_outside() {
    let oil = task(Trigger::Hours { every_h: 50.0 });
    let due_at = |done: &[f64], now: f64| {
        let done: Vec<Done> = done
            .iter()
            .map(|hours| Done {
                on: date(2025, 1, 1),
                hours: *hours,
            })
            .collect();
        let facts = Facts {
            hours_now: now,
            ..facts(date(2025, 2, 1), &done)
        };
        let due = due(&oil.terms(), &facts, &never);
        (
            due.state,
            due.triggers[0].as_ref().unwrap().at_hours.unwrap(),
        )
    };
    assert_eq!(due_at(&[], 10.0), (State::NotDue, 50.0));
    // A quarter of the interval ahead of the window: from 45 - 12.5 h on.
    assert_eq!(due_at(&[], 32.4).0, State::NotDue);
    assert_eq!(due_at(&[], 32.6).0, State::Coming);
    assert_eq!(due_at(&[], 44.9).0, State::Coming);
    assert_eq!(due_at(&[], 45.1).0, State::Due);
    assert_eq!(due_at(&[], 54.9).0, State::Due);
    assert_eq!(due_at(&[], 55.1).0, State::Overdue);
    assert_eq!(due_at(&[], 75.1).0, State::LongOverdue);
    // At 47 and at 54 the rhythm stays; at 44 and at 60 it begins anew.
    assert_eq!(due_at(&[47.0], 47.0), (State::NotDue, 100.0));
    assert_eq!(due_at(&[54.0], 54.0), (State::NotDue, 100.0));
    assert_eq!(due_at(&[44.0], 44.0), (State::NotDue, 94.0));
    assert_eq!(due_at(&[60.0], 60.0), (State::NotDue, 110.0));
    assert_eq!(
        due_at(&[60.0, 47.0], 60.0),
        (State::NotDue, 110.0),
        "in any order"
    );
}

#[test]
fn months_are_civil_and_end_on_the_last_day_of_a_short_one() {
    let yearly = task(Trigger::Months { every: 12 });
    assert_eq!(
        on(&yearly, &facts(date(2025, 10, 20), &[])),
        (State::Due, Some(date(2025, 10, 1)))
    );
    // 36 days after: a tenth of 365 days is over. Half an interval is 182 days.
    assert_eq!(on(&yearly, &facts(date(2025, 11, 6), &[])).0, State::Due);
    assert_eq!(
        on(&yearly, &facts(date(2025, 11, 7), &[])).0,
        State::Overdue
    );
    assert_eq!(on(&yearly, &facts(date(2026, 4, 1), &[])).0, State::Overdue);
    assert_eq!(
        on(&yearly, &facts(date(2026, 4, 2), &[])).0,
        State::LongOverdue
    );
    // Done on a leap day; a half year from 31 August.
    let leap = [at(2024, 2, 29)];
    let known = Facts {
        since: at(2023, 1, 1),
        ..facts(date(2024, 3, 1), &leap)
    };
    assert_eq!(on(&yearly, &known).1, Some(date(2025, 2, 28)));
    let half_yearly = task(Trigger::Months { every: 6 });
    assert_eq!(
        on(&half_yearly, &facts(date(2025, 9, 1), &[at(2025, 8, 31)])).1,
        Some(date(2026, 2, 28))
    );
}

#[test]
fn dates_of_a_rule_come_back_whenever_it_was_done() {
    let rule = "FREQ=YEARLY;BYMONTH=9;BYMONTHDAY=1".parse().unwrap();
    let september = task(Trigger::Dates { rule });
    let next = |today, done: &[Done]| on(&september, &facts(today, done));
    assert_eq!(
        next(date(2025, 6, 1), &[]),
        (State::Coming, Some(date(2025, 9, 1)))
    );
    assert_eq!(
        next(date(2025, 8, 10), &[at(2025, 8, 5)]).1,
        Some(date(2026, 9, 1)),
        "inside the window it counts as done for 1 September"
    );
    assert_eq!(
        next(date(2025, 8, 10), &[at(2025, 7, 1)]).1,
        Some(date(2025, 9, 1))
    );
    assert_eq!(
        next(date(2026, 1, 10), &[]),
        (State::Overdue, Some(date(2025, 9, 1)))
    );
    assert_eq!(
        next(date(2026, 1, 10), &[at(2026, 1, 9)]).1,
        Some(date(2026, 9, 1))
    );
}

#[test]
fn events_of_the_season() {
    let before = task(Trigger::BeforeSeason { lead_days: 60 });
    let next = |task: &TaskSpec, today, done: &[Done]| on(task, &facts(today, done));
    // 60 days ahead of 15 November is 16 September; half of them later, 16 October, it is long overdue.
    assert_eq!(
        next(&before, date(2025, 9, 16), &[]),
        (State::Due, Some(date(2025, 9, 16)))
    );
    assert_eq!(next(&before, date(2025, 10, 16), &[]).0, State::Overdue);
    assert_eq!(next(&before, date(2025, 10, 17), &[]).0, State::LongOverdue);
    // Last winter's does not count, this summer's does.
    assert_eq!(
        next(&before, date(2025, 9, 16), &[at(2025, 6, 30)]).1,
        Some(date(2025, 9, 16))
    );
    assert_eq!(
        next(&before, date(2025, 9, 16), &[at(2025, 7, 1)]),
        (State::NotDue, Some(date(2026, 9, 16)))
    );
    // In the season it is still owed.
    assert_eq!(next(&before, date(2026, 2, 1), &[]).0, State::LongOverdue);

    // The season has 147 days: its middle is 27 January, and from a quarter of it on, 21 December, doing it counts.
    let middle = task(Trigger::MidSeason);
    let done = [at(2024, 12, 30)];
    let now = |today, last: Done| next(&middle, today, &[done[0], last]);
    assert_eq!(
        now(date(2026, 1, 28), at(2025, 12, 20)),
        (State::Due, Some(date(2026, 1, 27)))
    );
    assert_eq!(
        now(date(2026, 1, 28), at(2025, 12, 21)),
        (State::NotDue, Some(date(2027, 1, 27)))
    );

    let after = task(Trigger::AfterSeason { within_days: 30 });
    assert_eq!(
        next(&after, date(2025, 5, 1), &[]),
        (State::Coming, Some(date(2025, 5, 10)))
    );
    assert_eq!(
        next(&after, date(2025, 5, 11), &[at(2025, 4, 12)]),
        (State::NotDue, Some(date(2026, 5, 10)))
    );
    // A machine that came in the summer owes nothing for the winter before.
    let new = Facts {
        since: at(2025, 6, 1),
        ..facts(date(2025, 7, 2), &[])
    };
    assert_eq!(on(&after, &new).1, Some(date(2026, 5, 10)));
}

#[test]
fn after_a_storm_it_ran_in() {
    let task = task(Trigger::AfterStorm {
        at_least_h: 4.0,
        within_days: 2,
    });
    let storms = [(2025, 12, 20, 9.0), (2025, 12, 5, 5.0), (2025, 12, 1, 3.0)].map(
        |(year, month, day, hours)| PastStorm {
            ended_on: date(year, month, day),
            hours,
        },
    );
    let next = |done: &[Done]| {
        on(
            &task,
            &Facts {
                storms: &storms,
                ..facts(date(2025, 12, 21), done)
            },
        )
    };
    assert_eq!(next(&[]), (State::LongOverdue, Some(date(2025, 12, 7))));
    assert_eq!(
        next(&[at(2025, 12, 6)]),
        (State::Coming, Some(date(2025, 12, 22)))
    );
    assert_eq!(next(&[at(2025, 12, 20)]), (State::NotDue, None));
}

#[test]
fn storage_and_deferral() {
    let mut charge = task(Trigger::Months { every: 1 });
    charge.storage = true;
    let out = facts(date(2025, 6, 1), &[]);
    let stored = Facts {
        stored: true,
        ..out.clone()
    };
    // What keeps a machine in storage is owed before it is stored too.
    assert_eq!(on(&charge, &out).0, State::LongOverdue);
    assert_eq!(on(&charge, &stored).0, State::LongOverdue);
    charge.storage = false;
    assert_eq!(
        on(&charge, &stored),
        (State::NotDue, None),
        "silence until it is taken out"
    );
    // What gets it ready for the next season is owed wherever it stands: the lead is 42 days before 15 November.
    let prepare = task(Trigger::BeforeSeason { lead_days: 42 });
    let autumn = Facts {
        stored: true,
        ..facts(date(2025, 10, 4), &[])
    };
    assert_eq!(on(&prepare, &autumn), (State::Due, Some(date(2025, 10, 4))));

    let mut guards = task(Trigger::Months { every: 12 });
    let put_off = |today| Facts {
        deferred_until: Some(date(2025, 12, 1)),
        ..facts(today, &[])
    };
    assert_eq!(on(&guards, &put_off(date(2025, 10, 20))).0, State::Deferred);
    assert_eq!(on(&guards, &put_off(date(2025, 12, 1))).0, State::Deferred);
    assert_eq!(on(&guards, &put_off(date(2025, 12, 2))).0, State::Overdue);
    guards.safety = true;
    assert_eq!(on(&guards, &put_off(date(2025, 11, 6))).0, State::Deferred);
    assert_eq!(on(&guards, &put_off(date(2025, 11, 7))).0, State::Overdue);
}

fn days(most: i32) -> impl Strategy<Value = Date> {
    (0..most).prop_map(|day| days_after(date(2023, 1, 1), day).unwrap())
}

fn trigger() -> impl Strategy<Value = Trigger> {
    let rule = |text: &str| Trigger::Dates {
        rule: text.parse().unwrap(),
    };
    prop_oneof![
        (1.0..500.0_f64).prop_map(|every_h| Trigger::Hours { every_h }),
        (1..36_u16).prop_map(|every| Trigger::Months { every }),
        Just(rule("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=29")),
        Just(rule("FREQ=MONTHLY;BYDAY=-1FR")),
        (1..120_u16).prop_map(|lead_days| Trigger::BeforeSeason { lead_days }),
        Just(Trigger::MidSeason),
        (1..60_u16).prop_map(|within_days| Trigger::AfterSeason { within_days }),
    ]
}

/// Machines run some hours each day, so the later a task is done, the more hours it is done at.
fn done_on(on: Date) -> Done {
    Done {
        on,
        hours: 0.4 * f64::from(days_between(date(2023, 1, 1), on)),
    }
}

/// More hours to come take longer, at 0.4 a day.
fn steady(today: Date) -> impl Fn(f64) -> [Option<Date>; 3] {
    move |hours| [days_after(today, (hours / 0.4).ceil() as i32); 3]
}

proptest! {
    #[test]
    fn doing_a_task_never_moves_it_earlier(
        trigger in trigger(), tolerance in 0.0..0.5_f64, done in prop::collection::vec(days(1_000), 0..6), today in days(1_100),
    ) {
        let done: Vec<Done> = done.into_iter().filter(|on| *on < today).map(done_on).collect();
        let task = TaskSpec { tolerance, ..task(trigger) };
        let facts = |done| Facts {
            since: done_on(date(2023, 1, 1)), hours_now: done_on(today).hours, seasons: seasons(today), ..facts(today, done)
        };
        let before = due(&task.terms(), &facts(&done), &steady(today));
        let with: Vec<Done> = done.iter().copied().chain([done_on(today)]).collect();
        let after = due(&task.terms(), &facts(&with), &steady(today));
        prop_assert!(after.state <= before.state, "{before:?} {after:?}");
        if let (Some(before), Some(after)) = (before.on, after.on) {
            prop_assert!(after >= before, "{before} {after}");
        }
        let at = |due: &Due| due.triggers[0].as_ref().and_then(|owed| owed.at_hours);
        if let (Some(before), Some(after)) = (at(&before), at(&after)) {
            prop_assert!(after >= before, "{before} {after}");
        }
    }

    #[test]
    fn no_clock_silences_another(
        triggers in prop::collection::vec(trigger(), 1..5), done in prop::collection::vec(days(1_000), 0..4), today in days(1_100),
    ) {
        let done: Vec<Done> = done.into_iter().map(done_on).collect();
        let facts = Facts {
            since: done_on(date(2023, 1, 1)), hours_now: done_on(today).hours, seasons: seasons(today), ..facts(today, &done)
        };
        let alone = |trigger: &Trigger| due(&task(trigger.clone()).terms(), &facts, &steady(today));
        let all = due(&TaskSpec { triggers: triggers.clone(), ..task(Trigger::MidSeason) }.terms(), &facts, &steady(today));
        let (states, dates): (Vec<_>, Vec<_>) = triggers.iter().map(alone).map(|due| (due.state, due.on)).unzip();
        // The most urgent decides once something is due, until then the earliest.
        let most = states.iter().copied().max();
        prop_assert_eq!(Some(all.state), most);
        let deciding = states.iter().zip(dates).filter(|(state, _)| all.state < State::Due || Some(**state) == most);
        prop_assert_eq!(all.on, deciding.filter_map(|(_, on)| on).min());
        // A dead meter: the hours stand still, the others go on.
        let dead = Facts { hours_now: 0.0, since: Done { hours: 0.0, ..facts.since }, ..facts.clone() };
        let still = due(&TaskSpec { triggers: triggers.clone(), ..task(Trigger::MidSeason) }.terms(), &dead, &never);
        for (trigger, (with, without)) in triggers.iter().zip(all.triggers.iter().zip(&still.triggers)) {
            if !matches!(trigger, Trigger::Hours { .. }) {
                prop_assert_eq!(with, without);
            }
        }
    }

    /// Time alone never makes a task less urgent while it is undone.
    #[test]
    fn waiting_makes_nothing_less_urgent(trigger in trigger(), today in days(1_000), wait in 0..200_i32) {
        let now = |today: Date| {
            let facts = Facts {
                since: done_on(date(2023, 1, 1)), hours_now: done_on(today).hours, ..facts(today, &[])
            };
            // The same seasons: a season that nobody prepared for passes, and the next is another.
            due(&task(trigger.clone()).terms(), &Facts { seasons: seasons(date(2025, 12, 1)), ..facts }, &steady(today))
        };
        let later = days_after(today, wait).unwrap();
        let winter = |date| Winter::of(date);
        prop_assume!(winter(today) == winter(later) || matches!(trigger, Trigger::Hours { .. } | Trigger::Months { .. } | Trigger::Dates { .. }));
        prop_assume!(!matches!(trigger, Trigger::AfterSeason { .. }));
        prop_assert!(now(later).state >= now(today).state);
    }
}
