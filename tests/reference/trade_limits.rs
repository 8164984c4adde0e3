//! Figures of the default sheets against what is published outside the project. Where a source was not at hand when this
//! was written it says "from memory"; what nobody publishes is marked common practice on the sheets, and is not tested.

use rimeyard_rules::availability::failure_finding_interval;
use rimeyard_rules::due::Trigger;
use rimeyard_rules::measure::Unit;
use rimeyard_rules::sheet::{Limits, Sheet, default_kinds, default_sheet};

fn sheet(kind: &str) -> Sheet {
    default_sheet(kind).unwrap_or_else(|| panic!("a default sheet of {kind}"))
}

fn limits(sheet: &Sheet, check: &str) -> Limits {
    let spec = sheet.check_spec(check).unwrap_or_else(|| panic!("{check}"));
    spec.measure()
        .unwrap_or_else(|| panic!("{check} is measured"))
        .limits
        .clone()
}

fn close(found: f64, published: f64, within: f64) {
    assert!(
        (found - published).abs() <= within,
        "{found} is not {published}"
    );
}

/// Chain makers citing ANSI/ASME B29.1: a chain with fixed centres is renewed at 1.5 % of stretch. Twelve half-inch
/// pitches are 6.000 in; 1.5 % more are 6.090 in (154.7 mm).
#[test]
fn a_chain_is_worn_out_at_one_and_a_half_per_cent() {
    for kind in ["two-stage thrower", "sidewalk tractor"] {
        let limits = limits(&sheet(kind), "chain_stretch");
        close(limits.as_new.value, Unit::Inch.to_si(6.0), 1e-9);
        close(
            limits.high.unwrap().unserviceable_at.value,
            Unit::Inch.to_si(6.09),
            0.05,
        );
    }
}

/// A broom maker's inspection page: the contact strip is 2 to 4 in with the machine standing, and bristles are watched from
/// two thirds of their new length on.
#[test]
fn a_broom_is_set_and_watched_as_its_maker_says() {
    for kind in ["power broom", "sidewalk tractor"] {
        let sheet = sheet(kind);
        let strip = limits(&sheet, "contact_strip");
        let (least, most) = (Unit::Inch.to_si(2.0), Unit::Inch.to_si(4.0));
        assert!(least < strip.as_new.value && strip.as_new.value < most);
        // As set is serviceable at both ends, and a quarter of an inch beyond is not.
        let (low, high) = (strip.low.unwrap(), strip.high.unwrap());
        assert!(low.marginal_at.value < least && low.marginal_at.value > least - 6.35);
        assert!(high.marginal_at.value > most && high.marginal_at.value < most + 6.35);
        let bristles = limits(&sheet, "bristle_length");
        close(bristles.low.unwrap().marginal_at.value, 200.0 / 3.0, 0.5);
    }
}

/// FHWA-RD-95-202 (Manual of Practice for an Effective Anti-icing Program), from memory: salt brine freezes last at 23.3 % by
/// weight, near -21 degC (-6 degF), at a gravity of about 1.18. Handbooks of chemistry, from memory: 35.7 g of salt
/// dissolve in 100 g of water at 0 degC, 26.3 % by weight.
#[test]
fn brine_is_mixed_to_freeze_last() {
    let sheet = sheet("brine sprayer");
    let brine = limits(&sheet, "brine_strength");
    close(brine.as_new.value, 23.3, 1e-9);
    close(
        brine.high.unwrap().unserviceable_at.value,
        35.7 / 135.7 * 100.0,
        0.05,
    );
    close(Unit::Fahrenheit.to_si(-6.0), -21.0, 0.2);
    // 8 l/min of it, in whole tens of kg/h.
    assert_eq!(
        sheet.rate.rating_kg_per_h.value,
        (8.0 * 60.0 * 1.18 / 10.0_f64).floor() * 10.0
    );
}

/// TM 9-6140-200-14: cells more than 0.025 apart. Army course OD1002: below 1.225 charge or swap. On every kind that has a
/// wet battery.
#[test]
fn wet_batteries_have_the_armys_limits() {
    for kind in ["sidewalk tractor", "brine sprayer"] {
        let sheet = sheet(kind);
        let cells = limits(&sheet, "battery_cells").high.unwrap();
        assert!(cells.unserviceable_at.value > 0.025 && cells.unserviceable_at.value < 0.026);
        close(
            limits(&sheet, "battery_charge")
                .low
                .unwrap()
                .marginal_at
                .value,
            1.225,
            1e-9,
        );
    }
}

/// Retailers' and contractors' advice: a paddle is worn out at its wear hole, or some 1/2 in lost (a weak source, and the
/// sheet says so).
#[test]
fn a_paddle_has_lost_half_an_inch() {
    let sheet = sheet("single-stage thrower");
    let lost = limits(&sheet, "paddle_loss").high.unwrap().unserviceable_at;
    close(lost.value, Unit::Inch.to_si(0.5), 0.5);
    assert!(lost.source.contains("weak source"));
}

/// 40 CFR 1054.107, table 1: commercial engines are rated for 1,000 h from 225 cc on, 500 h below, 300 h hand-held; of
/// the last the sheet takes twice that, and says so. 40 CFR 1039.101, from memory: 3,000 h for diesels under 19 kW.
#[test]
fn engines_live_as_they_are_rated() {
    for (kind, hours) in [
        ("two-stage thrower", 1000.0),
        ("single-stage thrower", 500.0),
        ("power broom", 500.0),
        ("backpack blower", 2.0 * 300.0),
        ("sidewalk tractor", 3000.0),
    ] {
        let sheet = sheet(kind);
        let life = sheet.part("engine").unwrap().life.as_ref().unwrap();
        assert_eq!(life.prior_scale.value, hours, "{kind}");
        assert!(life.prior_scale.source.contains("40 CFR 10"), "{kind}");
    }
}

/// Failure-finding interval, 2 x allowed unavailability x mean time to failure (Moubray, RCM II, from memory): with 50
/// machine-years, 0.1 % allowed are 0.1 year and 1 % a year; the sheets' 0.25 % are a quarter.
#[test]
fn hidden_safety_functions_are_tested_every_quarter() {
    let years = |allowed: f64| failure_finding_interval(allowed, 50.0).expect("an interval");
    close(years(0.001), 0.1, 1e-12);
    close(years(0.01), 1.0, 1e-12);
    let months = (12.0 * years(0.0025)) as u16;
    let mut seen = 0;
    for task in default_kinds().flat_map(|kind| sheet(kind).tasks) {
        if task.safety {
            let every = Trigger::Months { every: months };
            assert!(task.triggers.contains(&every), "{}", task.task);
            seen += 1;
        }
    }
    assert!(seen >= 6);
}

/// Speeds and widths as the trade says them, mph and inches, on the sheets to two figures: 1 mph is 1609.344 m/h.
#[test]
fn rates_are_of_the_speeds_and_widths_they_say() {
    for (kind, inches, mph) in [
        ("two-stage thrower", 28.0, 1.5),
        ("single-stage thrower", 21.0, 1.5),
        ("sidewalk tractor", 50.0, 2.5),
        ("power broom", 36.0, 1.9),
        ("spreader", 36.0, 2.5),
        ("backpack blower", 23.6, 1.5),
    ] {
        let rate = sheet(kind).rate;
        close(rate.width_mm.value, Unit::Inch.to_si(inches), 1.0);
        close(rate.speed_m_per_h.value, mph * 1609.344, 60.0);
    }
}
