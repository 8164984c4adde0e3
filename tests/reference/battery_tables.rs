//! Batteries against the Army's tables, and against the table that is widely copied and wrong.

use rimeyard_rules::battery::{
    FullCharge, charge, corrected_gravity, freezes_at_c, gravity_from_volts,
};
use rimeyard_rules::calculations::battery::{Input, calculate};

fn fahrenheit(degrees_c: f64) -> f64 {
    degrees_c * 1.8 + 32.0
}

/// U.S. Army, TM 5-3820-256-24-4, TM 5-1185 tables II to IV and ordnance course OD1002 pp. 53-54: gravity at 80 degF
/// and freezing point, degF.
const ARMY: [(f64, f64); 9] = [
    (1.280, -90.0),
    (1.265, -75.0),
    (1.250, -62.0),
    (1.225, -35.0),
    (1.200, -16.0),
    (1.190, -15.0),
    (1.150, 5.0),
    (1.120, 15.0),
    (1.100, 19.0),
];

#[test]
fn acid_freezes_where_the_army_says() {
    for (gravity, freezes_f) in ARMY {
        let got = fahrenheit(freezes_at_c(gravity));
        assert!((got - freezes_f).abs() < 1e-9, "{gravity}: {got}");
    }
}

/// A battery-trade web page gives -34 degF at half charge, -16 at a quarter and -10 when flat. The Army's tables say
/// -15, +5 and +15 for the gravities of the same charges: the page is 19 to 25 degF too hopeful.
#[test]
fn the_copied_table_by_per_cent_is_refuted() {
    for (gravity, copied_f, too_hopeful) in [
        (1.190, -34.0, 19.0),
        (1.150, -16.0, 21.0),
        (1.120, -10.0, 25.0),
    ] {
        let got = fahrenheit(freezes_at_c(gravity));
        assert!(got - copied_f >= too_hopeful - 1e-9, "{gravity}: {got}");
    }
}

/// TM 5-3820-256-24-4: "1.250 read at 20 degF is truly 1.226". A page that prints 0.0003 per 10 degF is wrong by ten.
#[test]
fn gravity_is_corrected_as_in_the_armys_example() {
    let at_20_f = (20.0 - 32.0) / 1.8;
    assert!((corrected_gravity(1.250, at_20_f) - 1.226).abs() < 1e-12);
    let at_80_f = (80.0 - 32.0) / 1.8;
    assert!((corrected_gravity(1.250, at_80_f) - 1.250).abs() < 1e-12);
    // Nearly full by the float is three quarters on the basis 1.265, and a good half on 1.280.
    assert!((charge(1.226, FullCharge::Gravity1265) - 0.75).abs() < 0.01);
    assert!((charge(1.226, FullCharge::Gravity1280) - 0.55).abs() < 0.01);
}

/// Charge, volts and gravity: battery-trade figures for a battery of 1.265; TM 5-3805-262-20 (volts) and TM 5-1185
/// (gravity) for 1.280.
#[test]
fn charge_and_volts_are_those_of_the_tables() {
    let trade = [
        (1.265, 12.65),
        (1.225, 12.45),
        (1.190, 12.24),
        (1.155, 12.06),
        (1.120, 11.89),
    ];
    let army = [
        (1.280, 12.6),
        (1.250, 12.4),
        (1.220, 12.2),
        (1.190, 12.0),
        (1.130, 11.7),
    ];
    for (full, table) in [
        (FullCharge::Gravity1265, trade),
        (FullCharge::Gravity1280, army),
    ] {
        for (step, (gravity, volts)) in table.into_iter().enumerate() {
            let expected = 1.0 - 0.25 * step as f64;
            assert!((charge(gravity, full) - expected).abs() < 1e-12);
            assert!((gravity_from_volts(volts, full) - gravity).abs() < 1e-12);
        }
    }
}

/// Under the tables a dead battery is taken on towards water, which freezes at 0 degC: never more hopeful.
#[test]
fn a_dead_battery_freezes_sooner_and_an_overfull_one_is_full() {
    let flat = freezes_at_c(gravity_from_volts(11.89, FullCharge::Gravity1265));
    let dead = freezes_at_c(gravity_from_volts(3.0, FullCharge::Gravity1265));
    assert!(dead > flat);
    assert_eq!(dead, 0.0);
    assert_eq!(gravity_from_volts(14.0, FullCharge::Gravity1280), 1.280);
}

#[test]
fn a_battery_is_asked_by_gravity_or_by_volts_on_a_known_basis() {
    let good = Input {
        specific_gravity: Some(1.250),
        volts: None,
        temperature_c: (20.0 - 32.0) / 1.8,
        full_charge: 1.280,
    };
    let got = calculate(&good).unwrap();
    assert!((got.corrected_gravity - 1.226).abs() < 1e-12);
    for (input, field) in [
        (
            Input {
                volts: Some(12.4),
                ..good
            },
            "volts",
        ),
        (
            Input {
                specific_gravity: None,
                ..good
            },
            "specific_gravity",
        ),
        (
            Input {
                full_charge: 1.270,
                ..good
            },
            "full_charge",
        ),
        (
            Input {
                specific_gravity: Some(1250.0),
                ..good
            },
            "specific_gravity",
        ),
        (
            Input {
                temperature_c: f64::NAN,
                ..good
            },
            "temperature_c",
        ),
    ] {
        assert_eq!(calculate(&input).unwrap_err().field, field);
    }
}
