//! A unit's rate of work (section 8).

use super::Shared;
use crate::facts::UnitFacts;
use crate::sheet::{Effect, RateFigures, Work};

/// A unit's rate in the work it is rigged for, in its unit ([`crate::sheet::RateUnit`]) and whole quanta of it: what its
/// width and speed give, or what it can throw or put down, times the factor of each open finding that degrades it.
pub fn rate(unit: &UnitFacts, shared: &Shared<'_>) -> f64 {
    let Some(sheet) = shared.facts.sheets.get(&unit.model) else {
        return 0.0;
    };
    let figures = sheet.rate_for(unit.rigging);
    let degraded: f64 = unit
        .findings
        .iter()
        .filter(|finding| finding.effect == Effect::Degrade)
        .filter(|finding| sheet.check_concerns(&finding.check, unit.rigging))
        .map(|finding| {
            let own = sheet
                .check_spec(&finding.check)
                .and_then(|check| check.rate_factor.as_ref());
            own.unwrap_or(&figures.degrade_factor).value
        })
        .product();
    let rate = match unit.rigging {
        Work::Clear | Work::Blow => of_ground(figures, shared),
        Work::Spread => of_material(figures, shared),
    };
    let quantum = unit.rigging.rate_unit().quantum();
    (rate * degraded / quantum + 1e-9).floor() * quantum
}

/// Ground it passes over in an hour, m2.
fn covered(figures: &RateFigures) -> f64 {
    figures.width_mm.value / 1000.0
        * (1.0 - figures.overlap.value)
        * figures.speed_m_per_h.value
        * figures.efficiency.value
}

/// m2/h: as much as it passes over, or as much as the snow on it lets it throw.
fn of_ground(figures: &RateFigures, shared: &Shared<'_>) -> f64 {
    let storm = &shared.storm;
    let lying_kg_m2 = storm.depth_mm.min(storm.reclear_mm) / 1000.0 * storm.density_kg_m3;
    let thrown = if lying_kg_m2 > 0.0 {
        figures.rating_kg_per_h.value / lying_kg_m2
    } else {
        f64::INFINITY
    };
    covered(figures).min(thrown)
}

/// kg/h: the ground it passes over at the dose asked for, or the most it puts down in one pass, and never more than it can
/// let out. Where duties ask for several doses the least of them counts: on ground that gets more, a machine brings more
/// kilograms an hour than this says, so the score is a lower bound. Where no duty asks, the most it puts down.
fn of_material(figures: &RateFigures, shared: &Shared<'_>) -> f64 {
    let most = figures
        .dose_g_m2
        .as_ref()
        .map_or(f64::INFINITY, |dose| dose.value);
    let asked = shared.least_dose_g_m2.unwrap_or(f64::INFINITY);
    (covered(figures) * most.min(asked) / 1000.0).min(figures.rating_kg_per_h.value)
}
