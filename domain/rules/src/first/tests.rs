//! What is planned for a depot, worked out where it can be.

use super::*;
use crate::buy::Listed;
use crate::calculations::plan::calculate;
use crate::depot::tests::builder::{at, depot, fresh_unit, now, set_reading};
use crate::facts::{FindingFacts, HoldFacts, UnitFacts};
use crate::plan::JobId;
use crate::plan::ready::Hours;
use crate::sheet::{Effect, two_stage_thrower};

fn labour(weekly_minutes: u32) -> DepotLabour {
    DepotLabour {
        hours: vec![Hours {
            from: Date::constant(2025, 9, 1),
            until: None,
            weekly_minutes,
        }],
        travel_minutes: 20.0,
    }
}

fn work(units: Vec<UnitFacts>) -> OpenWork {
    open_work(&depot(units), labour(700), now())
}

/// All the words that jobs of the sheet take, each a part by itself; of some there are five here, of others none.
fn shelves(short: &[&str]) -> Shelves {
    let sheet = two_stage_thrower();
    let mut shelves = Shelves::default();
    for (place, word) in crate::buy::words(&sheet).enumerate() {
        let id = Uuid::from_u128(50_000 + place as u128);
        let listed = Listed {
            id,
            number: format!("N-{place}"),
            name: word.clone(),
            unit: "piece".to_owned(),
            pack_size: 1,
            lead_time_days: 14,
            price: None,
            shelf_life_days: None,
            kit: Vec::new(),
        };
        shelves.catalogue.parts.insert(id, listed);
        shelves.catalogue.words.insert(word.clone(), id);
        if !short.contains(&word.as_str()) {
            let here = depot(Vec::new()).id;
            shelves.on_hand.insert(id, [(here, 5)].into());
        }
    }
    shelves
}

/// The same with so little ground that one machine keeps up.
fn little_work(units: Vec<UnitFacts>) -> OpenWork {
    let mut facts = depot(units);
    facts.duties[0].area_m2 = 2_000.0;
    open_work(&facts, labour(700), now())
}

fn planned(open: &OpenWork, shelves: &Shelves, minutes: f64) -> FixFirst {
    let asked = Asked {
        until: None,
        minutes: Some(minutes),
    };
    fix_first(std::slice::from_ref(open), shelves, asked, now()).expect("planned")
}

fn stopped(number: u128) -> UnitFacts {
    let mut unit = fresh_unit(number, 40.0);
    unit.findings.push(FindingFacts {
        id: Uuid::from_u128(700 + number),
        check: "friction_ring".to_owned(),
        effect: Effect::Stop,
        text: "friction ring worn to the steel".to_owned(),
        opened_at: at("2025-11-20T16:00:00Z"),
    });
    set_reading(&mut unit, "friction_ring", 0.0);
    unit
}

fn kinds(jobs: &[FixJob]) -> Vec<(&str, JobKind)> {
    jobs.iter()
        .map(|job| (job.tag.as_str(), job.kind))
        .collect()
}

/// The words of the job that renews the ring.
fn ring_words() -> Vec<String> {
    let sheet = two_stage_thrower();
    let job = sheet.part("friction_ring").unwrap().job.as_ref().unwrap();
    job.parts.clone()
}

#[test]
fn a_machine_that_stands_is_put_right_with_one_job_and_counts_again() {
    let open = work(vec![stopped(1), fresh_unit(2, 40.0)]);
    let first = planned(&open, &shelves(&[]), 600.0);
    // Starting them again is a little worth, too, and comes after it.
    assert_eq!(kinds(&first.jobs)[0], ("T-001", JobKind::Finding));
    let job = &first.jobs[0];
    // Renewing the ring is the finding's job: it stands in the list once.
    assert!(!kinds(&first.open).contains(&("T-001", JobKind::Part)));
    assert_eq!(job.now, 0.0);
    assert!(job.after > 0.9, "{job:?}");
    assert!(
        job.because.contains("worn to the steel") && job.because.contains("does not count"),
        "{}",
        job.because
    );
    assert_eq!(job.parts_on, Some(open.today));
    let minutes: f64 = first.jobs.iter().map(|job| job.minutes).sum();
    assert!(first.gain > 0.0);
    assert_eq!(first.minutes_used, minutes + 20.0);
    // By itself it comes to the same.
    let inputs = first.inputs.as_ref().unwrap();
    let again = calculate(inputs).unwrap();
    let ids: Vec<&JobId> = first.jobs.iter().map(|job| &job.id).collect();
    assert_eq!(again.jobs.iter().collect::<Vec<_>>(), ids);
    assert_eq!(again.gain, first.gain);
}

#[test]
fn what_waits_for_a_part_is_left_for_later_and_dated() {
    let words = ring_words();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let open = work(vec![stopped(1), fresh_unit(2, 40.0)]);
    let none = planned(&open, &shelves(&words), 600.0);
    let ring = |jobs: &[FixJob]| kinds(jobs).contains(&("T-001", JobKind::Finding));
    assert!(!ring(&none.jobs), "{:?}", none.jobs);
    let waits = &none.open[0];
    // Ordered today it is there in 14 days.
    let ordered = Date::constant(2025, 12, 9);
    assert_eq!(
        (waits.kind, waits.parts_on),
        (JobKind::Finding, Some(ordered))
    );
    let unit = none.units.iter().find(|unit| unit.tag == "T-001").unwrap();
    assert!(unit.ready_on >= Some(ordered) && !unit.in_time, "{unit:?}");
    // Another depot has one: two days on its way.
    let mut elsewhere = shelves(&words);
    let far = Uuid::from_u128(99);
    for word in &words {
        let id = elsewhere.catalogue.words[*word];
        elsewhere.on_hand.insert(id, [(far, 1)].into());
    }
    let lent = planned(&open, &elsewhere, 600.0);
    assert_eq!(kinds(&lent.jobs)[0], ("T-001", JobKind::Finding));
    assert_eq!(lent.jobs[0].parts[0].at_depot, Some(far));
    assert_eq!(lent.jobs[0].parts_on, Some(Date::constant(2025, 11, 27)));
    // Two machines, one ring: one of them waits.
    let both = little_work(vec![stopped(1), stopped(2)]);
    let one = planned(&both, &elsewhere, 600.0);
    let findings = |jobs: &[FixJob]| {
        kinds(jobs)
            .iter()
            .filter(|(_, kind)| *kind == JobKind::Finding)
            .count()
    };
    assert_eq!((findings(&one.jobs), findings(&one.open)), (1, 1));
    // A part that is on no list: nobody knows when.
    let unlisted = planned(&open, &Shelves::default(), 600.0);
    assert_eq!(
        (unlisted.open[0].parts_on, unlisted.units[0].ready_on),
        (None, None)
    );
}

#[test]
fn minutes_bind_and_without_any_nothing_is_done() {
    let open = little_work(vec![stopped(1), stopped(2)]);
    let all = planned(&open, &shelves(&[]), 10_000.0);
    assert_eq!(all.jobs.len(), 4);
    let one = all.jobs[0].minutes;
    let less = planned(&open, &shelves(&[]), 20.0 + one);
    assert_eq!(kinds(&less.jobs), [("T-001", JobKind::Finding)]);
    // Both machines stand: starting one is worth nothing before it is put right.
    let none = planned(&open, &shelves(&[]), 20.0 + one - 1.0);
    assert!(none.jobs.is_empty() && none.gain == 0.0, "{none:?}");
    // 700 minutes a week are 100 a day: those of the week until the work counts.
    let asked = fix_first(&[open], &shelves(&[]), Asked::default(), now()).unwrap();
    assert_eq!(
        (asked.minutes, asked.depots[0].left_minutes),
        (700.0, 700.0)
    );
    let open: f64 = asked
        .jobs
        .iter()
        .chain(&asked.open)
        .map(|job| job.minutes)
        .sum();
    assert_eq!(asked.depots[0].open_minutes, open + 20.0);
}

#[test]
fn going_to_look_and_starting_are_jobs_and_a_tag_is_one_of_safety() {
    let mut unlooked = fresh_unit(1, 40.0);
    unlooked.inspections.clear();
    unlooked.latest.clear();
    unlooked.starts.clear();
    let mut tagged = fresh_unit(2, 40.0);
    tagged.holds.push(HoldFacts {
        id: Uuid::from_u128(8),
        reason: "guard missing".to_owned(),
        placed_at: at("2025-11-20T16:00:00Z"),
        placed_by: "a lead".to_owned(),
        finding_id: None,
    });
    let mut away = stopped(3);
    away.away = Some("a shop".to_owned());
    let first = planned(&work(vec![unlooked, tagged, away]), &shelves(&[]), 1_000.0);
    let jobs = kinds(&first.jobs);
    for job in [
        ("T-001", JobKind::Inspection),
        ("T-001", JobKind::Start),
        ("T-002", JobKind::Hold),
    ] {
        assert!(jobs.contains(&job), "{job:?} is not in {jobs:?}");
    }
    let hold = first
        .jobs
        .iter()
        .find(|job| job.kind == JobKind::Hold)
        .unwrap();
    assert!(hold.safety && hold.because.contains("guard missing"));
    // What is away is not worth the way, and still open.
    assert!(jobs.iter().all(|(tag, _)| *tag != "T-003"), "{jobs:?}");
    assert!(kinds(&first.open).contains(&("T-003", JobKind::Finding)));
    for job in &first.jobs {
        assert!(matches!(&job.id, JobId::Text(id) if id.starts_with(&job.unit_id.to_string())));
    }
}

/// Doing the plan's jobs brings the depot to what the plan said, but for the doubt of starts that machines share.
#[test]
fn the_gain_is_what_the_depot_would_come_to() {
    let facts = depot(vec![stopped(1), fresh_unit(2, 40.0), fresh_unit(3, 40.0)]);
    let open = open_work(&facts, labour(700), now());
    let first = planned(&open, &shelves(&[]), 600.0);
    let mut done = facts.clone();
    done.units[0] = fresh_unit(1, 40.0);
    let score = |facts: &DepotFacts| {
        let works = crate::depot::evaluate(facts, now()).depot.inputs.works;
        let work = works
            .iter()
            .find(|work| work.narrowest_width_mm.is_none())
            .unwrap();
        let alone = crate::calculations::depot::Input {
            units: (work.units.iter())
                .map(|unit| crate::calculations::depot::UnitInput {
                    works: if unit.counts {
                        crate::unit::model::mean_over_nodes(&unit.works.clone().try_into().unwrap())
                    } else {
                        0.0
                    },
                    rate: unit.rate,
                })
                .collect(),
            needed_rate: work.needed_rate,
            operators: work.operators.map(f64::from),
        };
        crate::calculations::depot::calculate(&alone).unwrap().score / 100.0
    };
    let gained = score(&done) - score(&facts);
    // The plan's ring is new and its starts are of today; the fresh machine's ring has 40 h behind it.
    assert!(
        (first.gain - gained).abs() < 0.02,
        "{} of {gained}",
        first.gain
    );
}
