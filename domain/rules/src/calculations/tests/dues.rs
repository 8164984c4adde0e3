//! `due`, refused and odd.

use super::*;

fn oil() -> Value {
    json!({
        "triggers": [{"clock": "hours", "every_h": 50.0}, {"clock": "months", "every": 12}],
        "today": "2025-12-01",
        "since": {"on": "2024-10-01", "hours": 0.0},
        "done": [{"on": "2025-03-10", "hours": 40.0}],
        "hours_now": 72.0,
        "seasons": [
            {"starts": "2024-11-15", "ends": "2025-04-10"},
            {"starts": "2025-11-15", "ends": "2026-04-10"},
            {"starts": "2026-11-15", "ends": "2027-04-10"}
        ],
        "hours_ahead": {
            "usage": {"shape": 1.0, "prior_days": 10.0, "prior_hours_per_day": 2.0, "run_hours": 72.0, "snow_days": 36.0},
            "after": "2025-12-01", "hours": 72.0, "until": "2026-06-30",
            "days_of_use": [["2025-12-05", "2025-12-06", "2026-01-10"], []],
            "storm": null
        }
    })
}

#[test]
fn due_refuses_what_cannot_be() {
    assert!(ask(oil(), due::calculate).is_ok());
    for (pointer, value, field) in [
        ("/triggers", json!([]), "triggers"),
        ("/triggers/0/every_h", json!(0), "triggers[0].every_h"),
        ("/triggers/1/every", json!(241), "triggers[1].every"),
        ("/today", json!("0001-01-01"), "today"),
        ("/since/hours", json!(-1), "since.hours"),
        ("/done/0/on", json!("9999-12-31"), "done[0].on"),
        (
            "/done",
            json!(vec![json!({"on": "2025-03-10", "hours": 1.0}); 1_001]),
            "done",
        ),
        ("/hours_now", json!(1e13), "hours_now"),
        ("/seasons/1/ends", json!("2025-11-14"), "seasons[1].ends"),
        (
            "/hours_ahead/usage/shape",
            json!(0),
            "hours_ahead.usage.shape",
        ),
        (
            "/hours_ahead/days_of_use",
            json!([]),
            "hours_ahead.days_of_use",
        ),
        (
            "/hours_ahead/until",
            json!("2201-01-01"),
            "hours_ahead.until",
        ),
        (
            "/hours_ahead/until",
            json!("2025-11-30"),
            "hours_ahead.until",
        ),
        (
            "/hours_ahead/storm",
            json!({"first_day": "2025-12-05", "last_day": "2025-12-04", "hours": 6.0}),
            "hours_ahead.storm.last_day",
        ),
        (
            "/hours_ahead/days_of_use",
            json!(vec![json!([]); 10_000]),
            "hours_ahead.days_of_use",
        ),
    ] {
        let got = ask(with(&oil(), pointer, value), due::calculate);
        assert_eq!(got, Err(field.to_owned()), "{pointer}");
    }
    for (pointer, value) in [
        ("/seasons", json!([])),
        ("/triggers/0/clock", json!("moon")),
        ("/triggers", json!(vec![json!({"clock": "mid_season"}); 9])),
        ("/today", json!("2025-02-30")),
    ] {
        let got = ask(with(&oil(), pointer, value), due::calculate);
        assert!(
            got.is_err_and(|fault| fault.starts_with("JSON")),
            "{pointer}"
        );
    }
}

/// What is asked of a rule of dates is asked as often as the task was done; of more rules, the less often.
#[test]
fn rules_of_dates_and_times_done_are_few_together() {
    let yearly = json!({"clock": "dates", "rule": "FREQ=YEARLY;BYMONTH=9;BYMONTHDAY=1"});
    let done = json!(vec![json!({"on": "2025-03-10", "hours": 1.0}); 1_000]);
    let input = with(&oil(), "/done", done);
    let once = with(&input, "/triggers", json!([yearly]));
    assert!(ask(once, due::calculate).is_ok());
    let twice = with(&input, "/triggers", json!([yearly, yearly]));
    assert_eq!(ask(twice, due::calculate), Err("done".to_owned()));
}

/// By hand: done at 40 h, 10 h before the 50 h at which it was due, outside its window of 5 h, so the next is at 90 h. It was
/// done in March, five months after the machine came and not within 36 days of a year, so the year counts from then.
#[test]
fn due_is_as_by_hand() {
    let got = ask(oil(), due::calculate);
    let got = got.unwrap();
    assert_eq!(got["triggers"][0]["at_hours"], 90.0);
    assert_eq!(got["triggers"][1]["on"], "2026-03-10");
    // Half the futures have no day: never at nine in ten. 18 h in three days of two hours each is unlikely.
    assert_eq!(got["triggers"][0]["late"], Value::Null);
    assert_eq!(got["on"], "2026-03-10");
    // Without hours to come there is a state and no date.
    let mut bare = oil();
    bare.as_object_mut().unwrap().remove("hours_ahead");
    let bare = ask(bare, due::calculate).unwrap();
    assert_eq!(bare["triggers"][0]["on"], Value::Null);
    assert_eq!(bare["triggers"][0]["state"], got["triggers"][0]["state"]);
}

/// One future with a day of use a day, two hours each as good as certain: 18 h are run on the ninth day.
#[test]
fn due_dates_hours_by_the_days_of_use() {
    let days: Vec<String> = (2..=31).map(|day| format!("2025-12-{day:02}")).collect();
    let mut input = with(&oil(), "/hours_ahead/days_of_use", json!([days]));
    input = with(&input, "/hours_ahead/usage/shape", json!(100));
    input = with(&input, "/hours_ahead/usage/prior_days", json!(10_000));
    let hours = &ask(input.clone(), due::calculate).unwrap()["triggers"][0];
    assert_eq!(hours["early"], "2025-12-10");
    assert!(
        ["2025-12-10", "2025-12-11"].contains(&hours["on"].as_str().unwrap()),
        "{hours}"
    );
    // A storm on the first days in which it runs all of it at once.
    input["hours_ahead"]["storm"] =
        json!({"first_day": "2025-12-03", "last_day": "2025-12-04", "hours": 20.0});
    let hours = &ask(input, due::calculate).unwrap()["triggers"][0];
    assert_eq!(
        (&hours["early"], &hours["late"]),
        (&json!("2025-12-03"), &json!("2025-12-03"))
    );
}
