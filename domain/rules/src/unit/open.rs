//! What is open against a unit: hold tags, findings, a battery that will freeze, use under stated limits (section 7).

use super::Shared;
use super::standing::Limited;
use crate::battery;
use crate::because::{day_of, minute_of, number, quantity};
use crate::facts::{FindingFacts, UnitFacts};
use crate::sheet::{Derived, Effect};

/// Hold tags and open safety findings. A tag holds whatever the machine is rigged for: who hung it lifts it. A finding on
/// an attachment that is not fitted does not.
pub fn held(unit: &UnitFacts, shared: &Shared<'_>) -> Vec<String> {
    let zone = &shared.facts.zone;
    let tags = unit.holds.iter().map(|hold| {
        format!(
            "hold tag by {} on {}: {}",
            hold.placed_by,
            day_of(hold.placed_at, zone),
            hold.reason
        )
    });
    // A tag hung for a finding says it already.
    let findings = unit
        .findings
        .iter()
        .filter(|finding| {
            finding.effect == Effect::Hold
                && !unit
                    .holds
                    .iter()
                    .any(|hold| hold.finding_id == Some(finding.id))
        })
        .filter(|finding| concerns(unit, shared, finding))
        .map(|finding| {
            format!(
                "found {}: {}",
                day_of(finding.opened_at, zone),
                finding.text
            )
        });
    tags.chain(findings).collect()
}

/// Open findings that keep it from its work, and a battery that will freeze.
pub fn stopped(unit: &UnitFacts, shared: &Shared<'_>) -> Vec<String> {
    let zone = &shared.facts.zone;
    let findings = unit
        .findings
        .iter()
        .filter(|finding| finding.effect == Effect::Stop)
        .filter(|finding| concerns(unit, shared, finding))
        .map(|finding| {
            format!(
                "found {}: {}",
                day_of(finding.opened_at, zone),
                finding.text
            )
        });
    findings.chain(frozen(unit, shared)).collect()
}

/// Whether a finding is about what is fitted.
fn concerns(unit: &UnitFacts, shared: &Shared<'_>, finding: &FindingFacts) -> bool {
    let sheet = shared.facts.sheets.get(&unit.model);
    sheet.is_none_or(|sheet| sheet.check_concerns(&finding.check, unit.rigging))
}

/// Whether its battery will freeze at the storm's forecast low.
pub fn frozen(unit: &UnitFacts, shared: &Shared<'_>) -> Option<String> {
    frozen_check(unit, shared).map(|(_, text)| text)
}

/// The check of its battery that says so, and the words.
pub fn frozen_check(unit: &UnitFacts, shared: &Shared<'_>) -> Option<(String, String)> {
    let low_c = shared.storm.low_c?;
    let sheet = shared.facts.sheets.get(&unit.model)?;
    let of_battery = sheet.checks.iter().filter(|check| {
        let measure = check.measure();
        measure.is_some_and(|measure| measure.derived == Some(Derived::Battery))
    });
    let of_battery: Vec<&str> = of_battery.map(|check| check.check.as_str()).collect();
    let mut latest = unit.latest.iter();
    let reading = latest.find(|reading| of_battery.contains(&reading.check.as_str()))?;
    let freezes_at_c = battery::freezes_at_c(reading.value?);
    (freezes_at_c >= low_c).then(|| {
        let text = format!(
            "its battery, read {}, freezes at {}; {} is forecast",
            day_of(reading.at, &shared.facts.zone),
            quantity(number(freezes_at_c, 0), "degC"),
            quantity(number(low_c, 0), "degC")
        );
        (reading.check.clone(), text)
    })
}

/// Use under stated limits that is in force now: the one that ends last.
pub fn limited(unit: &UnitFacts, shared: &Shared<'_>) -> Option<Limited> {
    let in_force = unit
        .limited_uses
        .iter()
        .filter(|one| one.starts_at <= shared.as_of && shared.as_of < one.ends_at);
    let one = in_force.max_by_key(|one| (one.ends_at, one.id))?;
    let admitted = shared.storm.id.is_some() && one.admitted_storm == shared.storm.id;
    let admission = if admitted {
        "admitted for this storm"
    } else {
        "not admitted for this storm, so it does not count"
    };
    let until = minute_of(one.ends_at, &shared.facts.zone);
    Some(Limited {
        text: format!(
            "limited use by {} until {until}: {}; {admission}",
            one.named_by, one.reason
        ),
        admitted,
    })
}
