//! /v1/calculations: the shapes are exact and the figures those of closed forms that can be done by hand.
//!
//! The rules' own tests and tests/reference check the mathematics against libraries; here it is what travels.

use rimeyard_harness::{Actor, TestServer};
use serde_json::{Value, json};

/// Asks, checks that exactly these fields come back, and answers with them.
async fn ask(actor: &Actor, name: &str, input: &Value, fields: &[&str]) -> Value {
    let answer = actor
        .post(&format!("/v1/calculations/{name}"), input)
        .await
        .expect(200)
        .json();
    let mut found: Vec<&str> = answer
        .as_object()
        .expect("an object")
        .keys()
        .map(String::as_str)
        .collect();
    let mut expected = fields.to_vec();
    found.sort_unstable();
    expected.sort_unstable();
    assert_eq!(found, expected, "{name}");
    answer
}

#[track_caller]
fn close(found: &Value, expected: f64, tolerance: f64) {
    let found = found
        .as_f64()
        .unwrap_or_else(|| panic!("{found} is no number"));
    assert!(
        (found - expected).abs() <= tolerance,
        "{found} is not {expected}"
    );
}

fn wear() -> Value {
    json!({"prior": {"as_new": 10.0, "as_new_sd": 0.6, "rate": 0.02, "rate_sd": 0.008, "reading_sd": 0.2},
           "readings": [], "limit": 4.0, "at_hours": [0.0, 100.0, 300.0]})
}

#[tokio::test]
async fn wear_answers_where_a_part_stands() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let answer = ask(
        &technician,
        "wear",
        &wear(),
        &["as_new", "rate", "covariance", "lasts"],
    )
    .await;
    // Without readings the posterior is the prior: A - 100 B ~ N(8, 0.36 + 0.64), so P(> 4) = Phi(4); at 300 h
    // N(4, 0.36 + 5.76): one half (by hand).
    close(&answer["as_new"], 10.0, 1e-12);
    close(&answer["rate"], 0.02, 1e-12);
    close(&answer["covariance"][0][0], 0.36, 1e-12);
    close(&answer["covariance"][0][1], 0.0, 1e-12);
    close(&answer["covariance"][1][1], 6.4e-5, 1e-12);
    close(&answer["lasts"][0], 1.0, 1e-12);
    close(&answer["lasts"][1], 0.999_968_328_758, 1e-9);
    close(&answer["lasts"][2], 0.5, 1e-12);
    // Mirrored, with readings in any order and negative ones.
    let mut grows = wear();
    grows["grows"] = json!(true);
    grows["limit"] = json!(16.0);
    grows["readings"] = json!([{"hours": 50.0, "value": 11.0}, {"hours": 0.0, "value": -0.5}]);
    ask(
        &technician,
        "wear",
        &grows,
        &["as_new", "rate", "covariance", "lasts"],
    )
    .await;
}

#[tokio::test]
async fn a_fleets_wear_is_that_of_its_mean_squares() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let group = |values: [f64; 3]| {
        let readings: Vec<Value> = [0.0, 10.0, 20.0]
            .into_iter()
            .zip(values)
            .map(|(hours, value)| json!({"hours": hours, "value": value}))
            .collect();
        json!({ "readings": readings })
    };
    // Lines 6 - 0.1 h, 6 - 0.2 h and 6 - 0.3 h, each with its middle reading 0.1 up or down.
    let groups = json!([
        group([6.0, 5.1, 4.0]),
        group([6.0, 3.9, 2.0]),
        group([6.0, 3.1, 0.0])
    ]);
    let fields = [
        "as_new",
        "as_new_sd",
        "rate",
        "rate_sd",
        "reading_sd",
        "log_likelihood",
        "standard_errors",
        "groups",
        "readings",
        "bend",
    ];
    let input = json!({"groups": groups, "method": "reml"});
    let answer = ask(&technician, "wear-fit", &input, &fields).await;
    // Slopes as fitted to each are exactly 0.1, 0.2 and 0.3: their mean (by hand, all groups read alike).
    close(&answer["rate"], 0.2, 1e-9);
    // The middle readings raise the line by a third of 0.1, of two less one (by hand).
    close(&answer["as_new"], 6.0 + 0.1 / 9.0, 1e-9);
    assert_eq!(
        (&answer["groups"], &answer["readings"]),
        (&json!(3), &json!(9))
    );
    let errors = answer["standard_errors"].as_object().expect("an object");
    assert_eq!(errors.len(), 5);

    let mut grows = input.clone();
    grows["grows"] = json!(true);
    grows["method"] = json!("ml");
    let answer = ask(&technician, "wear-fit", &grows, &fields).await;
    close(&answer["rate"], -0.2, 1e-9);

    for (pointer, value, field) in [
        ("/method", json!("mle"), "method"),
        (
            "/groups/1/readings/0/hours",
            json!(-1),
            "groups[1].readings[0].hours",
        ),
        (
            "/groups/1/readings/0/value",
            json!("x"),
            "groups[1].readings[0].value",
        ),
        ("/groups", json!([]), "groups"),
    ] {
        let mut input = input.clone();
        *input.pointer_mut(pointer).expect("it is there") = value;
        let refused = technician.post("/v1/calculations/wear-fit", &input).await;
        assert_eq!(refused.problem(422), [field]);
    }
}

#[tokio::test]
async fn lives_have_a_weibull_distribution_of_their_own() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let life = |exit: f64, failed: bool| json!({"entry": 0, "exit": exit, "failed": failed});
    let input = json!({"histories": [life(10.0, true), life(20.0, true), life(40.0, true), life(40.0, false)]});
    let fields = [
        "shape",
        "scale",
        "log_likelihood",
        "standard_errors",
        "failures",
        "histories",
    ];
    let answer = ask(&technician, "life-fit", &input, &fields).await;
    // Of a Weibull fit the failures are as many as the summed (exit / scale)^shape (by hand: the likelihood's slope).
    let number = |name: &str| answer[name].as_f64().expect("a number");
    let (shape, scale) = (number("shape"), number("scale"));
    let sum: f64 = [10.0, 20.0, 40.0, 40.0]
        .iter()
        .map(|exit: &f64| (exit / scale).powf(shape))
        .sum();
    assert!((sum - 3.0).abs() < 1e-9, "{sum}");
    assert_eq!(
        (&answer["failures"], &answer["histories"]),
        (&json!(3), &json!(4))
    );
    for (pointer, value, field) in [
        ("/histories/1/exit", json!(-1), "histories[1].exit"),
        ("/histories/1/failed", json!("yes"), "histories[1].failed"),
        ("/histories", json!([]), "histories"),
    ] {
        let mut input = input.clone();
        *input.pointer_mut(pointer).expect("it is there") = value;
        let refused = technician.post("/v1/calculations/life-fit", &input).await;
        assert_eq!(refused.problem(422), [field]);
    }
}

#[tokio::test]
async fn a_season_without_days_asks_nothing_more_of_a_part() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let mut input = wear();
    input.as_object_mut().unwrap().remove("at_hours");
    input["from_hours"] = json!(300.0);
    input["usage"] = json!({"shape": 1, "prior_days": 10, "prior_hours_per_day": 2, "run_hours": 0, "snow_days": 0});
    input["scenarios"] = json!([0]);
    let answer = ask(
        &technician,
        "wear-season",
        &input,
        &["lasts", "hours_p10", "hours_p50", "hours_p90"],
    )
    .await;
    close(&answer["lasts"], 0.5, 1e-9);
    // Half of such parts have reached the limit at 300 h: none of the hours are still to come.
    close(&answer["hours_p50"], 0.0, 1e-6);
    close(&answer["hours_p10"], 0.0, 1e-6);
}

#[tokio::test]
async fn running_hours_of_one_day_have_a_closed_form() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let input = json!({"shape": 1, "prior_days": 10, "prior_hours_per_day": 2, "run_hours": 30, "snow_days": 10, "future_days": 1, "at_hours": 5});
    let fields = ["at_most", "hours_per_day", "p10", "p50", "p90"];
    let answer = ask(&technician, "running-hours", &input, &fields).await;
    // a = 11 + 10 = 21, b = 20 + 30 = 50: Lomax, P(H <= h) = 1 - (b / (b + h))^a; mean rate b / (a - 1) (by hand).
    close(&answer["at_most"], 1.0 - (50.0_f64 / 55.0).powi(21), 1e-9);
    close(&answer["hours_per_day"], 2.5, 1e-12);
    let quantile = |p: f64| 50.0 * ((1.0 - p).powf(-1.0 / 21.0) - 1.0);
    close(&answer["p10"], quantile(0.1), 1e-6);
    close(&answer["p50"], quantile(0.5), 1e-6);
    close(&answer["p90"], quantile(0.9), 1e-6);
}

#[tokio::test]
async fn life_breaks_and_starts_are_their_formulas() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let input = json!({"shape": 2, "prior_scale": 100, "prior_weight": 1, "age": 50, "next": 25,
        "histories": [{"entry": 0, "exit": 80, "failed": true}, {"entry": 20, "exit": 60, "failed": false}]});
    let answer = ask(&technician, "life", &input, &["alpha", "beta", "lasts"]).await;
    // alpha = 1 + 1; beta = 100^2 + 80^2 + 60^2 - 20^2; lasts = (beta / (beta + 75^2 - 50^2))^alpha (by hand).
    close(&answer["alpha"], 2.0, 1e-12);
    close(&answer["beta"], 19_600.0, 1e-9);
    close(&answer["lasts"], (19_600.0_f64 / 22_725.0).powi(2), 1e-9);

    let input = json!({"alpha": 2, "beta": 40, "hours": 10, "spares": 1});
    let answer = ask(&technician, "breaks", &input, &["enough"]).await;
    // Negative binomial, p = 40 / 50: P(0) + P(1) = p^2 + 2 p^2 (1 - p) (by hand).
    close(&answer["enough"], 0.64 + 2.0 * 0.64 * 0.2, 1e-9);

    let fields = ["starts"];
    let input = json!({"alpha": 2, "beta": 100, "days": 50});
    close(
        &ask(&technician, "starts", &input, &fields).await["starts"],
        (100.0_f64 / 150.0).powi(2),
        1e-9,
    );
    let input =
        json!({"alpha": 2, "beta": 100, "days": 10, "shape": 2, "at_once": 0.9, "factor": 1.5});
    close(
        &ask(&technician, "starts", &input, &fields).await["starts"],
        0.9 * (100.0_f64 / 250.0).powi(2),
        1e-9,
    );

    let input = json!({"alpha": 2, "beta": 100, "tests": [{"days": 50, "started": true}]});
    let answer = ask(&technician, "start-fit", &input, &["alpha", "beta"]).await;
    // A good start multiplies the Gamma by exp(-50 l): conjugate (by hand).
    close(&answer["alpha"], 2.0, 1e-4);
    close(&answer["beta"], 150.0, 1e-2);
}

#[tokio::test]
async fn a_depots_rate_and_score_can_be_counted_out() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let input = json!({"storm_hours": 10, "depth_mm": 100, "reclear_mm": 100, "duties": [{"area_m2": 4000, "clear_within_h": 4}]});
    let answer = ask(
        &technician,
        "needed-rate",
        &input,
        &["needed_rate", "rate_unit", "cycles"],
    )
    .await;
    // One cycle of 4,000 m2 within 4 h (by hand).
    close(&answer["needed_rate"], 1_000.0, 1e-9);
    assert_eq!(
        (&answer["cycles"], &answer["rate_unit"]),
        (&json!(1), &json!("m2/h"))
    );
    // 4,000 m2 at 20 g/m2 are 80 kg (by hand).
    let mut spread = input.clone();
    spread["duties"][0]["dose_g_m2"] = json!(20);
    let fields = ["needed_rate", "rate_unit", "cycles"];
    let answer = ask(&technician, "needed-rate", &spread, &fields).await;
    close(&answer["needed_rate"], 20.0, 1e-9);
    assert_eq!(answer["rate_unit"], "kg/h");
    let both = [&spread["duties"][0], &input["duties"][0]];
    spread["duties"] = json!(both);
    let refused = technician
        .post("/v1/calculations/needed-rate", &spread)
        .await;
    assert_eq!(refused.problem(422), ["duties[1].dose_g_m2"]);

    let fields = ["score", "at_least", "at_most", "shortfall"];
    let mut input = json!({"units": [{"works": 0.9, "rate": 1000}, {"works": 0.8, "rate": 1000}, {"works": 0.5, "rate": 500}], "needed_rate": 1500});
    let answer = ask(&technician, "depot", &input, &fields).await;
    // Both large ones, or one of them and the small one: 0.72 + (0.18 + 0.08) 0.5 (counted out).
    close(&answer["score"], 100.0 * (0.72 + 0.26 * 0.5), 1e-9);
    assert_eq!(answer["at_least"], answer["at_most"]);
    input["operators"] = json!(1);
    close(
        &ask(&technician, "depot", &input, &fields).await["score"],
        0.0,
        1e-12,
    );
}

#[tokio::test]
async fn what_to_fix_first_can_be_counted_out() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let fields = ["jobs", "gain", "minutes_used"];
    // Both machines are needed and both are held: one repair is worth nothing, two are worth 0.9 x 0.8, twice. The other
    // depot's job is worth 0.3 in 60 minutes (by hand).
    let mut input = json!({"minutes": 130, "depots": [
        {"needed_rate": 2000, "operators": 2, "weight": 2, "travel_minutes": 20, "units": [
            {"rest": 0.9, "rate": 1000, "jobs": [{"id": "belt", "minutes": 30, "now": 0, "after": 1}]},
            {"rest": 1, "rate": 1000, "jobs": [{"id": "auger", "minutes": 20, "now": 0, "after": 0.8}]}
        ]},
        {"needed_rate": 400, "weight": 1, "travel_minutes": 30, "units": [
            {"rest": 1, "rate": 500, "jobs": [{"id": "start", "minutes": 30, "now": 0.6, "after": 0.9}]}
        ]}
    ]});
    let answer = ask(&technician, "plan", &input, &fields).await;
    assert_eq!(answer["jobs"], json!(["auger", "belt", "start"]));
    close(&answer["gain"], 2.0 * 0.72 + 0.3, 1e-9);
    close(&answer["minutes_used"], 130.0, 0.0);
    input["minutes"] = json!(69);
    let answer = ask(&technician, "plan", &input, &fields).await;
    assert_eq!(answer["jobs"], json!(["start"]));
    close(&answer["gain"], 0.3, 1e-9);
    close(&answer["minutes_used"], 60.0, 0.0);
    input["depots"][1]["units"][0]["jobs"][0]["id"] = json!("belt");
    let refused = technician.post("/v1/calculations/plan", &input).await;
    assert_eq!(refused.problem(422), ["depots[1].units[0].jobs[0].id"]);
}

#[tokio::test]
async fn published_figures_come_out() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    // US Army battery manual: 1.250 read at 20 degF (-6.67 degC) is 1.226 at 80 degF.
    let input =
        json!({"specific_gravity": 1.250, "temperature_c": -6.666_667, "full_charge": 1.265});
    let answer = ask(
        &technician,
        "battery",
        &input,
        &["corrected_gravity", "charge", "freezes_at_c"],
    )
    .await;
    close(&answer["corrected_gravity"], 1.226, 1e-6);
    ask(
        &technician,
        "battery",
        &json!({"volts": 12.4, "temperature_c": 20, "full_charge": 1.265}),
        &["corrected_gravity", "charge", "freezes_at_c"],
    )
    .await;
    // National Weather Service wind chill chart (2001): 0 degF at 15 mph feels like -19 degF, to a whole degree.
    let input = json!({"temperature_c": -17.777_778, "wind_m_per_s": 6.7056});
    let answer = ask(&technician, "wind-chill", &input, &["wind_chill_c"]).await;
    close(&answer["wind_chill_c"], (-19.0 - 32.0) / 1.8, 0.5 / 1.8);
}

#[tokio::test]
async fn seasons_and_spares_answer_what_they_stand_on() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let fields = ["start_day", "end_day", "winters", "from"];
    let winters: Vec<Value> = (0..11)
        .map(|n| json!({"first_day": 130 + n, "last_day": 280 - n}))
        .collect();
    let answer = ask(&technician, "season", &json!({"winters": winters}), &fields).await;
    // Quantile definition 7 of eleven equally spaced values: the second from either end (by hand).
    close(&answer["start_day"], 131.0, 1e-9);
    close(&answer["end_day"], 279.0, 1e-9);
    assert_eq!(
        (&answer["winters"], &answer["from"]),
        (&json!(11), &json!("history"))
    );
    let fixed = json!({"winters": [{"first_day": null, "last_day": null}], "fixed": {"start_day": 137, "end_day": 284}});
    let answer = ask(&technician, "season", &fixed, &fields).await;
    assert_eq!(answer["from"], "fixed dates");
    close(&answer["start_day"], 137.0, 0.0);

    let fields = ["stock", "mean"];
    // Two fair coins: P(0) = 0.25, P(<= 1) = 0.75, P(<= 2) = 1 (counted out).
    let answer = ask(
        &technician,
        "spares",
        &json!({"wear_out": [0.5, 0.5], "service_level": 0.75}),
        &fields,
    )
    .await;
    assert_eq!(answer["stock"], 1);
    close(&answer["mean"], 1.0, 1e-9);
    let winters = json!({"winters": [{"wear_out": [0.0], "hours": 10}, {"wear_out": [1.0], "hours": 10}], "breaks": {"alpha": 2, "beta": 40}, "service_level": 0.95});
    ask(&technician, "spares", &winters, &fields).await;
}

#[tokio::test]
async fn repair_or_renew_says_what_it_takes_to_be_so() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let fields = [
        "verdict",
        "text",
        "keep",
        "new",
        "renewing_saves",
        "chance_keeping_is_cheaper",
        "turns_at_winter",
        "cost_per_running_hour",
        "winter_cost",
        "winter_cost_new",
        "by_years",
        "assumptions",
        "lacking",
    ];
    // Without interest and resale: 1000 / 12 + 30 + 7.5 x 11 for a new one, 30 + 7 x 15 for an eighth winter (by hand).
    let input = json!({"price": 1000, "age": 7, "resale_kept": 0, "discount_rate": 0});
    let answer = ask(&technician, "renew", &input, &fields).await;
    close(&answer["keep"]["annual_cost"], 135.0, 1e-9);
    close(&answer["new"]["annual_cost"], 195.833_333_333, 1e-6);
    assert_eq!(answer["verdict"], "repair");
    let nothing = ask(&technician, "renew", &json!({"price": null}), &fields).await;
    assert_eq!(nothing["verdict"], Value::Null);
    for (input, field) in [
        (json!({}), "price"),
        (json!({"price": 0}), "price"),
        (
            json!({"price": null, "winters": [{"winter": 0}]}),
            "winters[0].winter",
        ),
        (
            json!({"fleet": [{"winter": 1, "mean": 2}]}),
            "fleet[0].count",
        ),
        (json!({"price": null, "discount": 0.1}), "discount"),
    ] {
        let refused = technician.post("/v1/calculations/renew", &input).await;
        assert_eq!(refused.problem(422), [field]);
    }
}

#[tokio::test]
async fn what_cannot_be_is_named_and_what_is_odd_is_answered() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let change = |pointer: &str, value: Value| {
        let mut input = wear();
        *input.pointer_mut(pointer).expect("it is there") = value;
        input
    };
    let reading = |hours: Value, value: Value| json!([{"hours": 0.0, "value": 1.0}, {"hours": hours, "value": value}]);
    for (input, field) in [
        (change("/limit", json!("low")), "limit"),
        (change("/limit", json!(1e300)), "limit"),
        (change("/prior/reading_sd", json!(0)), "prior.reading_sd"),
        (change("/prior/rate_sd", json!(-1)), "prior.rate_sd"),
        (
            change("/readings", reading(json!(-1), json!(1))),
            "readings[1].hours",
        ),
        (
            change("/readings", reading(json!("x"), json!(1))),
            "readings[1].hours",
        ),
        (
            change("/readings", json!([{"hours": 1.0}])),
            "readings[0].value",
        ),
        (change("/at_hours", json!([1.0, null])), "at_hours[1]"),
        (change("/at_hours", json!(vec![1.0; 10_001])), "at_hours"),
        (change("/prior", json!({})), "prior.as_new"),
    ] {
        assert_eq!(
            technician
                .post("/v1/calculations/wear", &input)
                .await
                .problem(422),
            [field]
        );
    }
    assert_eq!(
        technician
            .post(
                "/v1/calculations/wear",
                &change("/at_hours", json!(vec![1.0; 10_000]))
            )
            .await
            .status,
        200
    );
    // Not a number and infinity cannot be written in JSON; too large for a number can.
    let text = wear().to_string().replace("4.0", "1e999");
    let request = technician
        .request(reqwest::Method::POST, "/v1/calculations/wear")
        .header("content-type", "application/json")
        .body(text);
    rimeyard_harness::Answer::of(request).await.problem(400);
    for name in ["wears", "Wear", "wear_season", ""] {
        technician
            .post(&format!("/v1/calculations/{name}"), &wear())
            .await
            .problem(404);
    }
    technician.get("/v1/calculations/wear").await.problem(405);
    server
        .anonymous()
        .post("/v1/calculations/wear", &wear())
        .await
        .problem(401);
}
