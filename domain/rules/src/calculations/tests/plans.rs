//! What `plan` refuses, field by field, and what it answers though it is odd.

use super::*;

fn good() -> Value {
    json!({
        "depots": [
            {"needed_rate": 1000, "operators": 1, "weight": 2, "travel_minutes": 30, "units": [
                {"rest": 0.9, "rate": 1000, "jobs": [{"id": "belt", "minutes": 45, "now": 0, "after": 1}]}
            ]},
            {"needed_rate": 500, "weight": 1, "travel_minutes": 0, "units": [
                {"rest": 1, "rate": 500, "jobs": [{"id": 7, "minutes": 10, "now": 0.5, "after": 1}]}
            ]}
        ],
        "minutes": 480
    })
}

#[test]
fn a_plan_is_answered_as_it_is_written_down() {
    // 0.5 in 10 minutes before 2 x 0.9 in 75 (by hand).
    let got = ask(good(), plan::calculate).unwrap();
    assert_eq!(got["jobs"], json!([7, "belt"]));
    assert!((got["gain"].as_f64().unwrap() - 2.3).abs() < 1e-12);
    assert_eq!(got["minutes_used"], 85.0);
    assert_eq!(got.as_object().unwrap().len(), 3);
}

#[test]
fn a_plan_refuses_what_cannot_be() {
    let long = "x".repeat(201);
    for (pointer, value, field) in [
        ("/minutes", json!(-1), "minutes"),
        ("/minutes", json!(1e13), "minutes"),
        ("/depots/0/needed_rate", json!(-1), "depots[0].needed_rate"),
        ("/depots/0/operators", json!(-1), "depots[0].operators"),
        ("/depots/0/operators", json!(1.5), "depots[0].operators"),
        ("/depots/0/weight", json!(-0.1), "depots[0].weight"),
        (
            "/depots/1/travel_minutes",
            json!(-1),
            "depots[1].travel_minutes",
        ),
        (
            "/depots/0/units/0/rest",
            json!(1.01),
            "depots[0].units[0].rest",
        ),
        (
            "/depots/0/units/0/rest",
            json!(-0.01),
            "depots[0].units[0].rest",
        ),
        (
            "/depots/0/units/0/rate",
            json!(-1),
            "depots[0].units[0].rate",
        ),
        (
            "/depots/0/units/0/jobs/0/id",
            json!(""),
            "depots[0].units[0].jobs[0].id",
        ),
        (
            "/depots/0/units/0/jobs/0/id",
            json!(long),
            "depots[0].units[0].jobs[0].id",
        ),
        // The other depot has it.
        (
            "/depots/1/units/0/jobs/0/id",
            json!("belt"),
            "depots[1].units[0].jobs[0].id",
        ),
        (
            "/depots/0/units/0/jobs/0/minutes",
            json!(-5),
            "depots[0].units[0].jobs[0].minutes",
        ),
        (
            "/depots/0/units/0/jobs/0/now",
            json!(-0.5),
            "depots[0].units[0].jobs[0].now",
        ),
        (
            "/depots/0/units/0/jobs/0/after",
            json!(1.5),
            "depots[0].units[0].jobs[0].after",
        ),
    ] {
        assert_eq!(
            ask(with(&good(), pointer, value), plan::calculate),
            Err(field.to_owned())
        );
    }
    let mut input: plan::Input = serde_json::from_value(good()).unwrap();
    input.depots[0].weight = f64::NAN;
    assert_eq!(
        plan::calculate(&input).unwrap_err().field,
        "depots[0].weight"
    );
}

/// Two depots of one place: the way to it is one, spent once, and has one length.
#[test]
fn depots_of_one_place_are_one_visit() {
    let mut input = good();
    for depot in input["depots"].as_array_mut().unwrap() {
        depot["place"] = json!("yard");
        depot["travel_minutes"] = json!(30);
    }
    let got = ask(input.clone(), plan::calculate).unwrap();
    // By hand: 10 + 45 minutes, and one way.
    assert_eq!(got["minutes_used"], 85.0);
    input["depots"][1]["travel_minutes"] = json!(31);
    assert_eq!(
        ask(input.clone(), plan::calculate),
        Err("depots[1].travel_minutes".to_owned())
    );
    for place in ["".to_owned(), "x".repeat(201)] {
        input["depots"][0]["place"] = json!(place);
        assert_eq!(
            ask(input.clone(), plan::calculate),
            Err("depots[0].place".to_owned())
        );
    }
}

#[test]
fn a_plan_refuses_fields_that_are_unknown_absent_or_of_another_kind() {
    for pointer in [
        "",
        "/depots/0",
        "/depots/0/units/0",
        "/depots/0/units/0/jobs/0",
    ] {
        let mut more = good();
        more.pointer_mut(pointer).unwrap()["more"] = json!(1);
        assert!(ask(more, plan::calculate).unwrap_err().contains("more"));
        let fields: Vec<String> = (good().pointer(pointer).unwrap().as_object().unwrap().keys())
            .filter(|field| *field != "operators")
            .cloned()
            .collect();
        for field in fields {
            let mut less = good();
            less.pointer_mut(pointer)
                .unwrap()
                .as_object_mut()
                .unwrap()
                .remove(&field);
            let fault = ask(less, plan::calculate).unwrap_err();
            assert!(
                fault.contains(&format!("missing field `{field}`")),
                "{fault}"
            );
            let other = with(&good(), &format!("{pointer}/{field}"), json!(true));
            assert!(ask(other, plan::calculate).unwrap_err().starts_with("JSON"));
        }
    }
    let fault = ask(
        with(&good(), "/depots/0/units/0/jobs/0/id", json!(1.5)),
        plan::calculate,
    );
    assert!(fault.unwrap_err().contains("a text or a whole number"));
}

#[test]
fn a_plan_refuses_too_many() {
    let depot = good()["depots"][1].clone();
    let mut bare = depot.clone();
    bare["units"] = json!([]);
    let many = with(&good(), "/depots", json!(vec![bare; LIST_MAX + 1]));
    assert_eq!(ask(many, plan::calculate), Err("depots".to_owned()));
    let unit = json!({"rest": 1, "rate": 1, "jobs": []});
    let units = with(&good(), "/depots/1/units", json!(vec![unit; LIST_MAX + 1]));
    assert_eq!(
        ask(units, plan::calculate),
        Err("depots[1].units".to_owned())
    );
    let jobs = |from: usize, count: usize| -> Vec<Value> {
        (from..from + count)
            .map(|id| json!({"id": id, "minutes": 1, "now": 0.9, "after": 1}))
            .collect()
    };
    // In all, not at one machine only.
    let all = with(
        &good(),
        "/depots/0/units/0/jobs",
        json!(jobs(100, LIST_MAX - 1)),
    );
    assert!(ask(all.clone(), plan::calculate).is_ok());
    let more = with(&all, "/depots/1/units/0/jobs", json!(jobs(100_000, 2)));
    assert_eq!(
        ask(more, plan::calculate),
        Err("depots[1].units[0].jobs".to_owned())
    );
}

#[test]
fn a_plan_of_nothing_is_nothing() {
    let none = json!({"jobs": [], "gain": 0.0, "minutes_used": 0.0});
    for (pointer, value) in [
        ("/depots", json!([])),
        ("/minutes", json!(0)),
        (
            "/depots",
            json!([{"needed_rate": 0, "weight": 0, "travel_minutes": 0, "units": []}]),
        ),
    ] {
        assert_eq!(
            ask(with(&good(), pointer, value), plan::calculate),
            Ok(none.clone())
        );
    }
}
