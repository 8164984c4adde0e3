//! What of a sheet learning stands on, and that what is published of it is no longer than the sheet.

use super::*;
use crate::sheet::{Clock, Reads};

/// One change of a sheet.
type Change = fn(&mut Sheet);

#[test]
fn spelling_changes_nothing_that_was_learned_and_figures_do() {
    let sheet = two_stage_thrower();
    let after = |change: Change| {
        let mut changed = sheet.clone();
        change(&mut changed);
        assert_ne!(changed, sheet, "it changes the sheet");
        teach_alike(&sheet, &changed)
    };
    let words: [Change; 5] = [
        |sheet| sheet.parts[0].title.push('s'),
        |sheet| sheet.checks[0].title.push('s'),
        |sheet| sheet.start.beta.source.push('s'),
        |sheet| sheet.start.factors[0].marginal.source.push('s'),
        |sheet| sheet.usage.prior_days.value += 1.0,
    ];
    assert!(words.into_iter().all(after));
    let figures: [Change; 11] = [
        |sheet| sheet.start.beta.value += 1.0,
        |sheet| sheet.start.at_once_weight.value += 1.0,
        |sheet| sheet.start.factors[0].marginal.value += 0.5,
        |sheet| sheet.start.check = "fuel_leak".to_owned(),
        |sheet| sheet.shear_fasteners.as_mut().unwrap().alpha.value += 1.0,
        |sheet| {
            let check = sheet.shear_fasteners.as_ref().unwrap().spares_check.clone();
            let check = sheet.checks.iter_mut().find(|one| one.check == check);
            let job = check.unwrap().job.as_mut().unwrap();
            job.parts = vec!["shear pin".to_owned()];
        },
        |sheet| lived(sheet).prior_scale.value += 1.0,
        |sheet| {
            let life = lived(sheet);
            life.clock = match life.clock {
                Clock::Hours => Clock::Days,
                Clock::Days => Clock::Hours,
            };
        },
        |sheet| sheet.parts.retain(|part| part.life.is_none()),
        |sheet| ring_measure(sheet).wear.as_mut().unwrap().rate.value *= 2.0,
        |sheet| ring_measure(sheet).limits.as_new.value += 0.5,
    ];
    for (place, change) in figures.into_iter().enumerate() {
        assert!(!after(change), "change {place}");
    }
}

fn lived(sheet: &mut Sheet) -> &mut crate::sheet::LifeSpec {
    let mut parts = sheet.parts.iter_mut();
    parts
        .find_map(|part| part.life.as_mut())
        .expect("a part with a life")
}

fn ring_measure(sheet: &mut Sheet) -> &mut crate::sheet::Measure {
    let check = sheet.checks.iter_mut().find(|one| one.check == CHECK);
    match &mut check.expect("the ring's check").reads {
        Reads::Measure(measure) => measure,
        _ => panic!("it is measured"),
    }
}

/// As many parts as a sheet may have, or as its 64 KiB hold: what was learned of them is told in fewer letters.
#[test]
fn what_is_computed_with_is_shorter_than_its_sheet() {
    let mut sheet = two_stage_thrower();
    let mut part = sheet
        .parts
        .iter()
        .find(|part| part.life.is_some())
        .unwrap()
        .clone();
    (part.job, part.title) = (None, "x".to_owned());
    let life = part.life.as_mut().unwrap();
    for figure in [
        &mut life.shape,
        &mut life.prior_scale,
        &mut life.prior_weight,
    ] {
        figure.source = "x".to_owned();
    }
    sheet.tasks.clear();
    sheet.parts = (0..300)
        .map(|number| crate::sheet::PartSpec {
            part: format!("p{number}"),
            ..part.clone()
        })
        .collect();
    sheet.checks.clear();
    let mut learned = Learned::nothing(&sheet);
    for life in learned.lives.values_mut() {
        // As long as numbers are written.
        (life.life.alpha, life.life.beta) = (12.345678901234567, 123456.78901234567);
    }
    let bytes = |text: serde_json::Result<String>| text.unwrap().len();
    let (told, of) = (
        bytes(serde_json::to_string(&learned.figures())),
        bytes(serde_json::to_string(&sheet)),
    );
    assert_eq!(learned.figures().lives.len(), 300);
    assert!(told < of / 2, "{told} of {of}");
    assert!(bytes(serde_json::to_string(&learned)) > 64 * 1024);
}
