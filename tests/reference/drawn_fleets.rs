//! A smaller version of the table, held to its bands; and that wrong forecasts fall outside them.

use rimeyard_rules::sheet::{Reads, Sheet};

use super::truth::bands::{self, band, bends, coverage, skill, tenths, wholes};
use super::truth::cases;
use super::truth::depot::Case;
use super::truth::judge::{Judged, Kind, Play, Quantile, play};
use super::truth::oracle::Knows;
use super::truth::spares::{LEVELS, Stocked};
use super::truth::{Learn, as_entered, of_the_fleet, table};

/// The kinds that the truths below are well specified for. A fitting date or an age that nobody knows is not.
const KINDS: &[Kind] = Kind::ALL.split_at(10).0;

fn played(case: &Case, fleets: u64, learn: Learn, ask: &'static [Knows]) -> Judged {
    let play_of = Play {
        seed: 1,
        fleets,
        learn,
        ask,
    };
    play(case, play_of)
}

/// What of a case is outside its bands: one forecast a depot.
fn faults(judged: &Judged, depots: u64) -> Vec<String> {
    let mut faults = Vec::new();
    for kind in KINDS {
        let tenths = tenths(judged, *kind);
        let alone: u64 = tenths.iter().map(|tenth| tenth.count).sum();
        if alone < depots * 9 / 10 {
            faults.push(format!("{kind:?}: forecasts of {alone} depots only"));
        }
        let outside = tenths.iter().filter(|tenth| !tenth.holds());
        faults.extend(outside.map(|tenth| format!("{kind:?}: {tenth:?}")));
    }
    let hours = coverage(judged, Quantile::HoursOfUse);
    if !hours.holds() {
        faults.push(format!("{hours:?}"));
    }
    faults
}

fn none(faults: &[String], case: &Case, judged: &Judged) {
    if !faults.is_empty() {
        println!("{}", table::LEGEND);
        table::print(case, judged);
    }
    assert!(faults.is_empty(), "{faults:#?}");
}

#[test]
fn forecasts_go_with_what_happens_where_the_sheet_is_right() {
    let case = cases::well_specified();
    let judged = played(&case, 400, as_entered, &[Knows::Populations]);
    let mut faults = faults(&judged, 400);
    for kind in KINDS {
        let outside = wholes(&judged, *kind)
            .into_iter()
            .filter(|whole| !whole.holds());
        faults.extend(outside.map(|whole| format!("whole fleets, {kind:?}: {whole:?}")));
        let skill = skill(&judged, *kind);
        assert!(
            skill.populations > 0.01,
            "something to know: {skill:?}, {kind:?}"
        );
        if skill.share() < 0.95 {
            faults.push(format!("{kind:?}: {skill:?}"));
        }
    }
    none(&faults, &case, &judged);
}

/// Winters on record are a sample: what they foretell of new ones is a little too sure of itself, as whole fleets show. One
/// forecast a depot does not.
#[test]
fn forecasts_go_with_new_winters_of_the_same_climate() {
    let case = cases::new_winters();
    let judged = played(&case, 300, as_entered, &[]);
    none(&faults(&judged, 300), &case, &judged);
}

/// The test of the test: the same machines and the same truth, foretold by a sheet that takes all of them for better than
/// they are.
#[test]
fn wrong_forecasts_fall_outside_the_bands() {
    let wrong: Learn = |facts, _| {
        for sheet in facts.iter_mut().flat_map(|facts| facts.sheets.values_mut()) {
            halve_wear(sheet);
            lengthen_lives(sheet);
            slow_down_going_dead(sheet);
            halve_breaks(sheet);
        }
    };
    let judged = played(&cases::well_specified(), 300, wrong, &[]);
    let kinds = [
        Kind::WornSeason,
        Kind::WornNext,
        Kind::LivedNext,
        Kind::Unit,
        Kind::Depot,
        // A depot's own starts mend much of this, and fasteners are mostly enough: whole fleets show these two.
        Kind::Starts,
        Kind::Fasteners,
    ];
    for (place, kind) in kinds.into_iter().enumerate() {
        let one_a_depot = tenths(&judged, kind).iter().any(|tenth| !tenth.holds());
        let whole_fleets = wholes(&judged, kind).iter().any(|whole| !whole.holds());
        assert!(whole_fleets, "{kind:?} holds though it is wrong");
        assert!(
            one_a_depot || place >= 5,
            "{kind:?} holds though it is wrong"
        );
    }
}

/// Depots that have all entered the same wrong sheet, and what their machines teach together of it: forecasts are worth more
/// with that than without, of everything that is learned, and more of them go with what happens.
#[test]
fn what_a_fleet_teaches_mends_a_wrong_sheet() {
    let case = cases::wrong_sheet();
    let entered = played(&case, 60, as_entered, &[]);
    let learned = played(&case, 60, of_the_fleet, &[]);
    for kind in [
        Kind::WornSeason,
        Kind::WornNext,
        Kind::LivedNext,
        Kind::Starts,
        Kind::Unit,
    ] {
        let (before, after) = (skill(&entered, kind).own, skill(&learned, kind).own);
        assert!(after > before, "{kind:?}: {after} after {before}");
        let outside = |judged| wholes(judged, kind).iter().filter(|it| !it.holds()).count();
        let (before, after) = (outside(&entered), outside(&learned));
        assert!(
            after < before || before == 0,
            "{kind:?}: {after} after {before} tenths of whole fleets outside"
        );
    }
}

/// Where the sheet is right there is nothing to mend, and next to nothing is lost by learning it anew.
#[test]
fn what_a_fleet_teaches_spoils_no_right_sheet() {
    let case = Case {
        depots: cases::wrong_sheet().depots,
        ..cases::well_specified()
    };
    let entered = played(&case, 60, as_entered, &[]);
    let learned = played(&case, 60, of_the_fleet, &[]);
    for kind in [
        Kind::WornSeason,
        Kind::WornNext,
        Kind::LivedNext,
        Kind::Starts,
    ] {
        let (before, after) = (skill(&entered, kind).own, skill(&learned, kind).own);
        assert!(after > 0.97 * before, "{kind:?}: {after} after {before}");
    }
}

fn halve_wear(sheet: &mut Sheet) {
    for check in &mut sheet.checks {
        if let Reads::Measure(measure) = &mut check.reads
            && let Some(wear) = &mut measure.wear
        {
            wear.rate.value /= 2.0;
            wear.rate_sd.value /= 2.0;
        }
    }
}

fn lengthen_lives(sheet: &mut Sheet) {
    for life in sheet.parts.iter_mut().filter_map(|part| part.life.as_mut()) {
        life.prior_scale.value *= 2.0;
    }
}

fn slow_down_going_dead(sheet: &mut Sheet) {
    sheet.start.beta.value *= 5.0;
}

fn halve_breaks(sheet: &mut Sheet) {
    let fasteners = sheet.shear_fasteners.as_mut();
    fasteners.expect("shear fasteners").beta_hours.value *= 2.0;
}

/// A part's own readings outweigh a wrong sheet once it has some; whole depots' lives teach, too. Until then a wrong sheet
/// costs skill, which is what learning from the fleet is for.
#[test]
fn a_wrong_sheet_costs_skill() {
    let judged = played(&cases::wrong_sheet(), 20, as_entered, &[Knows::Populations]);
    let skill = skill(&judged, Kind::WornSeason);
    assert!(skill.own > 0.0 && skill.share() < 0.95, "{skill:?}");
}

/// Stocks are enough as often as asked for, and with one fewer they are not. Were each part's winter its own, stocks would
/// be too small for the winters that all share.
#[test]
fn stocks_are_enough_as_often_as_asked_for() {
    let judged = played(&cases::hard_winters(), 150, as_entered, &[]);
    let mut apart_fails = false;
    for fasteners in [false, true] {
        for (level, chance) in LEVELS.into_iter().enumerate() {
            let of = judged.stocked.iter();
            let of = of.filter(|one| one.fasteners == fasteners && one.level == level);
            let count = |enough: fn(&&Stocked) -> bool| of.clone().filter(enough).count() as u64;
            let (from, to) = band(of.clone().count() as u64, chance);
            assert!(count(|one| one.enough) >= from, "{fasteners} {chance}");
            assert!(count(|one| one.less_enough) <= to, "{fasteners} {chance}");
            apart_fails |= count(|one| one.enough_apart) < from;
        }
    }
    assert!(apart_fails, "winters apart would do as well");
}

/// Of straight paths one in a thousand is said to bend; of those that speed up, many more.
#[test]
fn wear_that_speeds_up_is_flagged() {
    let straight = bends(&played(&cases::well_specified(), 100, as_entered, &[]));
    let bent = bends(&played(&cases::speeding_up(), 100, as_entered, &[]));
    assert!(straight.flagged < 0.01, "{straight:?}");
    assert!(bent.flagged > 0.05, "{bent:?}");
}

/// Binomial quantiles by hand: of 10 throws of a coin 0 and 10 heads come up once in 1024 each, over half a thousandth.
#[test]
fn bands_leave_out_a_thousandth() {
    assert_eq!(band(10, 0.5), (0, 10));
    // P(0 of 11) = 1/2048 is under half a thousandth.
    assert_eq!(band(11, 0.5), (1, 10));
    assert_eq!(band(5, 1.0), (5, 5));
}

/// Every truth of the table can be played.
#[test]
fn every_case_plays() {
    for case in cases::all() {
        let fleets = case.fleets(6);
        let judged = played(
            &case,
            fleets,
            as_entered,
            &[Knows::Populations, Knows::Rates],
        );
        table::print(&case, &judged);
        let depots = tenths(&judged, Kind::Depot);
        assert_eq!(
            depots.iter().map(|tenth| tenth.count).sum::<u64>(),
            fleets * case.depots as u64
        );
        assert!(bands::skill(&judged, Kind::Unit).rates.is_finite());
    }
}
