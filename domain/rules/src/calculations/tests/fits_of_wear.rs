//! What `wear-fit` refuses, by field.

use super::*;

/// Three parts that differ, read at 0, 20, 40 and 60 h, off their lines by a tenth or two.
fn good() -> Value {
    let part = |from: f64, rate: f64, off: [f64; 4]| {
        let readings: Vec<Value> = off
            .iter()
            .enumerate()
            .map(|(place, off)| {
                let hours = 20.0 * place as f64;
                json!({"hours": hours, "value": from - rate * hours + off})
            })
            .collect();
        json!({ "readings": readings })
    };
    json!({"groups": [
        part(6.0, 0.03, [0.1, -0.1, 0.0, 0.1]), part(6.3, 0.05, [0.0, 0.1, -0.2, 0.0]), part(5.8, 0.04, [-0.1, 0.0, 0.1, 0.0])
    ]})
}

#[test]
fn wear_fit_refuses_what_cannot_be() {
    let good = good();
    let answer = ask(good.clone(), wear_fit::calculate).unwrap();
    assert_eq!(
        (&answer["groups"], &answer["readings"]),
        (&json!(3), &json!(12))
    );
    let reading = json!({"hours": 1, "value": 5});
    let many = json!({"readings": vec![reading.clone(); LIST_MAX / 2 + 1]});
    let more = json!({"readings": vec![reading.clone(); LIST_MAX + 1]});
    for (pointer, value, field) in [
        (
            "/groups/1/readings/2/hours",
            json!(-1),
            "groups[1].readings[2].hours",
        ),
        (
            "/groups/1/readings/2/hours",
            json!(1e13),
            "groups[1].readings[2].hours",
        ),
        (
            "/groups/0/readings/3/value",
            json!(-1e13),
            "groups[0].readings[3].value",
        ),
        (
            "/groups",
            json!(vec![json!({"readings": []}); LIST_MAX + 1]),
            "groups",
        ),
        ("/groups/2", more, "groups[2].readings"),
        ("/groups", json!([many, many]), "groups"),
        // What has no fit: nothing, one part, all at once, one reading a part, exact lines.
        ("/groups", json!([]), "groups"),
        (
            "/groups",
            json!([good["groups"][0], {"readings": []}]),
            "groups",
        ),
        (
            "/groups",
            json!(vec![json!({"readings": [reading, reading, reading]}); 3]),
            "groups",
        ),
        (
            "/groups",
            json!(
                (0..9)
                    .map(|i| json!({"readings": [{"hours": i, "value": i * i}]}))
                    .collect::<Vec<_>>()
            ),
            "groups",
        ),
        (
            "/groups",
            json!(vec![
                json!({"readings": (0..4).map(|i| json!({"hours": i, "value": 6.1 - 0.3 * f64::from(i)})).collect::<Vec<_>>()});
                3
            ]),
            "groups",
        ),
    ] {
        let got = ask(with(&good, pointer, value), wear_fit::calculate);
        assert_eq!(got, Err(field.to_owned()), "{pointer}");
    }
    for (hours, value, field) in [
        (f64::NAN, 1.0, "groups[0].readings[0].hours"),
        (f64::INFINITY, 1.0, "groups[0].readings[0].hours"),
        (1.0, f64::NAN, "groups[0].readings[0].value"),
    ] {
        let mut input: wear_fit::Input = serde_json::from_value(good.clone()).unwrap();
        input.groups[0].readings[0] = wear::Reading { hours, value };
        let fault = wear_fit::calculate(&input).unwrap_err();
        assert_eq!(fault.field, field);
        assert!(fault.problem.contains("finite"), "{fault}");
    }
}

#[test]
fn wear_fit_refuses_what_it_does_not_know() {
    for (pointer, value, word) in [
        ("/method", json!("restricted"), "restricted"),
        ("/method", json!("REML"), "REML"),
        ("/method", json!(1), "JSON"),
        ("/grows", json!("yes"), "JSON"),
        ("/groups", json!({}), "JSON"),
        ("/groups/0", json!({}), "readings"),
        ("/groups/0", json!({"readings": [], "id": 1}), "id"),
        (
            "/groups/0/readings/0",
            json!({"hours": 1, "value": 1, "repeats": 2}),
            "repeats",
        ),
        ("/groups/0/readings/0", json!({"hours": 1}), "value"),
        ("/groups/0/readings/0/value", json!(null), "JSON"),
        ("/more", json!(1), "more"),
    ] {
        let mut input = good();
        match input.pointer_mut(pointer) {
            Some(place) => *place = value,
            None => input[&pointer[1..]] = value,
        }
        let fault = ask(input, wear_fit::calculate).unwrap_err();
        assert!(
            fault.contains("JSON") && fault.contains(word),
            "{pointer}: {fault}"
        );
    }
}

/// By REML unless ml is said; falling unless it grows.
#[test]
fn wear_fit_knows_two_methods_and_two_sides() {
    let mut input = good();
    let reml = ask(input.clone(), wear_fit::calculate).unwrap();
    input["method"] = json!("reml");
    input["grows"] = json!(false);
    assert_eq!(ask(input.clone(), wear_fit::calculate).unwrap(), reml);
    input["method"] = json!("ml");
    let ml = ask(input.clone(), wear_fit::calculate).unwrap();
    // Spreads come out smaller, since the line was fitted to them.
    assert!(ml["as_new_sd"].as_f64() < reml["as_new_sd"].as_f64());
    input["grows"] = json!(true);
    let grows = ask(input, wear_fit::calculate).unwrap();
    assert_eq!(
        grows["rate"].as_f64().unwrap(),
        -ml["rate"].as_f64().unwrap()
    );
    assert_eq!(grows["as_new"], ml["as_new"]);
    assert_eq!(grows["log_likelihood"], ml["log_likelihood"]);
}
