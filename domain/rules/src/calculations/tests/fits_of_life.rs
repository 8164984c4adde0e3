//! What `life-fit` refuses, field by field, and what it answers though it is odd.

use super::*;

fn good() -> Value {
    json!({
        "histories": [
            {"entry": 0, "exit": 40, "failed": true}, {"entry": 5, "exit": 50, "failed": false},
            {"entry": 0, "exit": 60, "failed": true}, {"entry": 0, "exit": 0, "failed": false}
        ],
        "found_failed": [{"entry": 0, "sound": 30, "found": 45}]
    })
}

fn refused(input: Value) -> Invalid {
    let input: life_fit::Input = serde_json::from_value(input).unwrap();
    life_fit::calculate(&input).unwrap_err()
}

#[test]
fn every_field_is_refused_by_its_path() {
    assert!(ask(good(), life_fit::calculate).is_ok());
    let many = |one: Value| json!(vec![one; LIST_MAX + 1]);
    for (pointer, value, field) in [
        ("/histories/1/entry", json!(-1), "histories[1].entry"),
        ("/histories/1/entry", json!(60), "histories[1].exit"),
        ("/histories/1/exit", json!(-1), "histories[1].exit"),
        ("/histories/1/exit", json!(1e13), "histories[1].exit"),
        // A failure at age 0; what is sound at age 0 says nothing, and may.
        ("/histories/3/failed", json!(true), "histories[3].exit"),
        (
            "/histories",
            many(good()["histories"][1].clone()),
            "histories",
        ),
        ("/histories", json!([]), "histories"),
        ("/found_failed/0/entry", json!(-1), "found_failed[0].entry"),
        ("/found_failed/0/entry", json!(31), "found_failed[0].sound"),
        ("/found_failed/0/sound", json!(-1), "found_failed[0].sound"),
        ("/found_failed/0/sound", json!(45), "found_failed[0].found"),
        (
            "/found_failed/0/found",
            json!(1e13),
            "found_failed[0].found",
        ),
        (
            "/found_failed",
            many(good()["found_failed"][0].clone()),
            "found_failed",
        ),
    ] {
        let input = with(&good(), pointer, value);
        assert_eq!(
            ask(input, life_fit::calculate),
            Err(field.to_owned()),
            "{pointer}"
        );
    }
    let mut input: life_fit::Input = serde_json::from_value(good()).unwrap();
    input.histories[0].exit = f64::NAN;
    let fault = life_fit::calculate(&input).unwrap_err();
    assert_eq!(fault.field, "histories[0].exit");
    assert!(fault.problem.contains("finite"));
}

#[test]
fn fields_unknown_absent_or_of_another_kind_are_refused() {
    for (pointer, value, said) in [
        ("/histories/0/failed", json!(1), "JSON"),
        ("/histories/0/exit", json!("40"), "JSON"),
        ("/histories/0", json!({"entry": 0, "exit": 40}), "failed"),
        (
            "/histories/0",
            json!({"entry": 0, "exit": 40, "failed": true, "sound": 3}),
            "sound",
        ),
        ("/found_failed/0", json!({"entry": 0, "found": 40}), "sound"),
        ("/found_failed", json!(null), "JSON"),
    ] {
        let got = ask(with(&good(), pointer, value), life_fit::calculate);
        assert!(
            got.as_ref().is_err_and(|error| error.contains(said)),
            "{pointer}: {got:?}"
        );
    }
    let mut more = good();
    more["shape"] = json!(2);
    assert!(
        ask(more, life_fit::calculate)
            .unwrap_err()
            .contains("shape")
    );
    assert!(
        ask(json!({}), life_fit::calculate)
            .unwrap_err()
            .contains("histories")
    );
}

/// What has no fit says what is missing.
#[test]
fn what_is_missing_is_said() {
    for (histories, said) in [
        (json!([]), "none of them failed"),
        (
            json!([{"entry": 0, "exit": 40, "failed": false}]),
            "none of them failed",
        ),
        (
            json!([{"entry": 0, "exit": 40, "failed": true}]),
            "no part outlasted one that failed",
        ),
        (
            json!([{"entry": 0, "exit": 40, "failed": true}, {"entry": 0, "exit": 40.0000001, "failed": true}]),
            "over 10000",
        ),
        (
            json!([{"entry": 40, "exit": 40, "failed": true}]),
            "seen sound",
        ),
    ] {
        let fault = refused(json!({ "histories": histories }));
        assert_eq!(fault.field, "histories");
        assert!(
            fault.problem.contains(said) && fault.problem.contains("; give "),
            "{fault}"
        );
    }
}

#[test]
fn what_is_odd_but_real_is_answered() {
    // All of them found failed; none dated.
    let found = json!({"histories": [], "found_failed": [
        {"entry": 0, "sound": 0, "found": 10}, {"entry": 3, "sound": 20, "found": 40}
    ]});
    assert!(ask(found, life_fit::calculate).is_ok());
    // Without the list that may be absent; the answer has these fields.
    let plain = json!({"histories": good()["histories"]});
    let got = ask(plain, life_fit::calculate).unwrap();
    let mut fields: Vec<&String> = got.as_object().unwrap().keys().collect();
    fields.sort();
    assert_eq!(
        fields,
        [
            "failures",
            "histories",
            "log_likelihood",
            "scale",
            "shape",
            "standard_errors"
        ]
    );
    assert_eq!(
        (&got["failures"], &got["histories"]),
        (&json!(2), &json!(4))
    );
    // One that failed the moment it was first looked at says how likely that is at its age, and no more.
    let mut at_entry = good();
    at_entry["histories"][1] = json!({"entry": 50, "exit": 50, "failed": true});
    assert!(ask(at_entry, life_fit::calculate).is_ok());
}
