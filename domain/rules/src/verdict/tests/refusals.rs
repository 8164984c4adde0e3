//! What is refused, and by which field it is named.

use super::*;

#[test]
fn what_cannot_be_is_refused_by_its_field() {
    let grade = ReadingInput {
        grade: Some("sound and dry".to_owned()),
        ..ReadingInput::default()
    };
    assert_eq!(field_of("friction_ring", &grade), "grade");
    assert_eq!(field_of("friction_ring", &ReadingInput::default()), "value");
    assert_eq!(
        field_of(
            "friction_ring",
            &ReadingInput {
                value: Some(2.0),
                ..ReadingInput::default()
            }
        ),
        "unit"
    );
    assert_eq!(field_of("friction_ring", &measured(2.0, "psi")), "unit");
    assert_eq!(field_of("friction_ring", &measured(2.0, "furlong")), "unit");
    assert_eq!(field_of("friction_ring", &measured(-1.0, "mm")), "value");
    assert_eq!(
        field_of("friction_ring", &measured(f64::NAN, "mm")),
        "value"
    );
    assert_eq!(field_of("friction_ring", &measured(1e9, "mm")), "value");
    assert_eq!(field_of("shear_spares", &measured(1.5, "count")), "value");
    assert_eq!(
        field_of(
            "friction_ring",
            &ReadingInput {
                repeats: Some(0),
                ..measured(2.0, "mm")
            }
        ),
        "repeats"
    );
    assert_eq!(
        field_of(
            "friction_ring",
            &ReadingInput {
                temperature_c: Some(1.0),
                ..measured(2.0, "mm")
            }
        ),
        "temperature_c"
    );
    assert_eq!(
        field_of(
            "friction_ring",
            &ReadingInput {
                note: Some("a\0b".to_owned()),
                ..measured(2.0, "mm")
            }
        ),
        "note"
    );
    assert_eq!(field_of("auger_stops", &measured(1.0, "mm")), "value");
    assert_eq!(field_of("auger_stops", &ReadingInput::default()), "works");
    assert_eq!(
        field_of(
            "engine_leak",
            &ReadingInput {
                level: Some("class IV".to_owned()),
                ..ReadingInput::default()
            }
        ),
        "level"
    );
    let other = ReadingInput {
        check: "scraper_edge".to_owned(),
        ..measured(2.0, "mm")
    };
    assert_eq!(field_of("friction_ring", &other), "check");
    // A belt below its rim reads under 0: that can be.
    assert_eq!(
        verdict_of("auger_belt_ride", &measured(-2.0, "mm")).verdict,
        Verdict::Marginal
    );
}

#[test]
fn the_calculation_names_faults_of_the_check_and_of_the_reading() {
    let input = |check: serde_json::Value, reading| {
        serde_json::from_value::<VerdictInput>(
            serde_json::json!({"check": check, "reading": reading}),
        )
    };
    let check = serde_json::to_value(spec("friction_ring")).unwrap();
    let good = input(
        check.clone(),
        serde_json::json!({"value": 0.1, "unit": "in"}),
    )
    .unwrap();
    assert_eq!(calculate(&good).unwrap().verdict, Verdict::Marginal);
    let bad = input(
        check.clone(),
        serde_json::json!({"value": 0.1, "unit": "kPa"}),
    )
    .unwrap();
    assert_eq!(calculate(&bad).unwrap_err().field, "reading.unit");
    let mut upside_down = check.clone();
    upside_down["limits"]["low"]["marginal_at"]["value"] = 9.0.into();
    let bad = input(upside_down, serde_json::json!({"value": 2.0, "unit": "mm"})).unwrap();
    assert_eq!(
        calculate(&bad).unwrap_err().field,
        "check.limits.low.marginal_at.value"
    );
    let mut odd = check;
    odd["grades"] = serde_json::json!([]);
    assert!(
        input(odd, serde_json::json!({}))
            .unwrap_err()
            .to_string()
            .contains("grades")
    );
}

/// What is wrong with a sheet is named by its field.
#[test]
fn a_faulty_sheet_is_told_every_fault() {
    let mut sheet = sheet();
    sheet.rate.overlap.value = 1.5;
    sheet.start.check = "nonsense".to_owned();
    let ring = sheet
        .checks
        .iter_mut()
        .find(|check| check.check == "friction_ring")
        .unwrap();
    let crate::sheet::Reads::Measure(measure) = &mut ring.reads else {
        unreachable!()
    };
    measure.wear.as_mut().unwrap().rate_sd.value = 0.03;
    measure
        .limits
        .low
        .as_mut()
        .unwrap()
        .fails_at
        .as_mut()
        .unwrap()
        .value = 2.0;
    let fields: Vec<String> = sheet
        .check()
        .unwrap_err()
        .into_iter()
        .map(|fault| fault.field)
        .collect();
    let index = sheet
        .checks
        .iter()
        .position(|check| check.check == "friction_ring")
        .unwrap();
    assert_eq!(
        fields,
        [
            "rate.overlap.value".to_owned(),
            "start.check".to_owned(),
            format!("checks[{index}].limits.low.fails_at.value"),
            format!("checks[{index}].wear.rate_sd.value"),
        ]
    );
}
