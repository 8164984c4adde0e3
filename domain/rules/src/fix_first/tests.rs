//! On the default sheet: what jobs do to chances is held against a depot that is evaluated anew with them done.

use jiff::civil::date;

use super::*;
use crate::buy::Listed;
use crate::depot::evaluate;
use crate::depot::tests::builder::{depot, fresh_unit, now, now_plus_days, operators, set_reading};
use crate::facts::{FindingFacts, HoldFacts, StormFacts, UnitFacts};
use crate::plan::JobId;
use crate::sheet::Effect;
use crate::what_if::{Supposed, what_if};

fn found(unit: &mut UnitFacts, check: &str, effect: Effect) {
    unit.findings.push(FindingFacts {
        id: Uuid::from_u128(50 + unit.findings.len() as u128),
        check: check.to_owned(),
        effect,
        text: format!("{check} is bad"),
        opened_at: now_plus_days(-1),
    });
}

/// Machines of which one is held, one stopped by two things about one part, one unproven twice over, one left alone.
fn mixed() -> DepotFacts {
    let mut units: Vec<UnitFacts> = (1..=4).map(|number| fresh_unit(number, 60.0)).collect();
    found(&mut units[0], "shear_fasteners", Effect::Hold);
    found(&mut units[1], "auger_belt_look", Effect::Stop);
    found(&mut units[1], "auger_take_up", Effect::Stop);
    found(&mut units[1], "gearbox_level", Effect::Stop);
    units[2].inspections.clear();
    units[2].latest.clear();
    units[2].starts.clear();
    // That it ran since the season before would prove it, too.
    units[2].meter.truncate(1);
    depot(units)
}

fn work(facts: &DepotFacts) -> DepotWork {
    DepotWork::of(facts, &[], Meets::default(), now())
        .unwrap()
        .unwrap()
}

fn kinds(unit: &UnitWork) -> Vec<(JobKind, f64, bool)> {
    let jobs = unit.jobs.iter().filter(|job| job.after > job.now);
    jobs.map(|job| (job.draft.kind, job.minutes, job.now == 0.0))
        .collect()
}

/// The product of a machine's factors is its chance as it stands, and with all jobs done that of a depot where it was put right.
#[test]
fn factors_come_to_the_chance_before_and_after() {
    let facts = mixed();
    let (work, stands) = (work(&facts), evaluate(&facts, now()));
    let ids = facts.units.iter().map(|unit| unit.id).collect();
    let repaired = Supposed {
        repaired: ids,
        ..Supposed::default()
    };
    let right = what_if(&facts, &repaired, now()).unwrap();
    for (index, unit) in work.units.iter().enumerate() {
        let state = &stands.units[index];
        let counts = if state.inputs.counts(false) {
            state.inputs.chance()
        } else {
            0.0
        };
        assert!(
            (unit.chance(|_| false) - counts).abs() < 1e-12,
            "{}",
            unit.tag
        );
        // What is put right there is started, too, and its storm is shorter as more machines share it.
        let after = unit.chance(|_| true);
        let best = right.machines[index].chance;
        assert!(
            after > 0.8 && (after - best).abs() < 0.06,
            "{}: {after} {best}",
            unit.tag
        );
        assert_eq!(unit.remains, None);
    }
}

#[test]
fn what_is_done_in_one_go_is_one_job() {
    let facts = mixed();
    let work = work(&facts);
    // Fasteners; a belt found bad twice, and the gearbox; a look at everything and a start.
    assert_eq!(kinds(&work.units[0]), [(JobKind::Repair, 10.0, true)]);
    assert_eq!(
        kinds(&work.units[1]),
        [(JobKind::Repair, 45.0, true), (JobKind::Repair, 20.0, true)]
    );
    assert_eq!(work.units[1].jobs[0].draft.findings.len(), 2);
    assert_eq!(
        kinds(&work.units[2]),
        [
            (JobKind::Inspection, 120.0, true),
            (JobKind::Start, 15.0, true)
        ]
    );
    assert_eq!(kinds(&work.units[3]), []);
    assert!(work.units[0].jobs[0].draft.safety);
}

/// However long its words are a job has an id of its own that the plan takes; checks with the same job are one.
#[test]
fn jobs_of_long_words_are_told_apart() {
    let mut facts = mixed();
    let model = facts.units[1].model;
    let sheet = facts.sheets.get_mut(&model).unwrap();
    let some = sheet.parts.iter().find_map(|part| part.job.clone());
    let some = some.unwrap();
    let mut job = |check: &str, title: String| {
        let mut checks = sheet.checks.iter_mut();
        let spec = checks.find(|spec| spec.check == check).unwrap();
        let own = some.clone();
        spec.job = Some(crate::sheet::Job { title, ..own });
    };
    let long = "x".repeat(290);
    job("auger_belt_look", format!("{long} first"));
    job("auger_take_up", format!("{long} first"));
    job("gearbox_level", format!("{long} second"));
    let work = work(&facts);
    assert_eq!(work.units[1].jobs[0].draft.findings.len(), 2);
    let told = fix_first(vec![work], &Supply::default(), Some(480.0)).unwrap();
    let unit = facts.units[1].id;
    let repairs = told.first.iter().chain(&told.behind);
    let repairs = repairs.filter(|job| job.unit_id == unit && job.kind == JobKind::Repair);
    assert_eq!(repairs.count(), 2);
}

/// What jobs behind the order would bring is read off one way through the machines, and is what doing each of them brings.
#[test]
fn what_each_of_many_jobs_brings_is_read_off_at_once() {
    let facts = mixed();
    for operators in [None, Some(2)] {
        let mut work = work(&facts);
        // Machines of several rates, the slowest first.
        for (place, unit) in work.works[0].units.iter_mut().enumerate() {
            unit.rate = 400.0 + 310.0 * place as f64;
        }
        work.works[0].needed_rate = 1_500.0;
        work.works[0].operators = operators;
        let depots = [work];
        let lines = super::lines::lines(&depots);
        let mut stands = super::lines::Stands::new(&depots, &lines);
        let spots = depots[0].units.iter().enumerate().flat_map(|(unit, of)| {
            let jobs = 0..of.jobs.len();
            jobs.map(move |job| super::lines::Spot {
                depot: 0,
                unit,
                job,
            })
        });
        let spots: Vec<_> = spots.collect();
        let mut rises = 0;
        for done in &spots {
            let slopes = stands.slopes();
            for spot in spots.iter().filter(|spot| *spot >= done) {
                let one = stands.raise(*spot).unwrap();
                let read = stands.raise_by(&slopes, *spot).unwrap();
                assert!((one.before - read.before).abs() < 1e-12);
                assert!((one.after - read.after).abs() < 1e-12, "{spot:?}");
                rises += usize::from(one.is_some());
            }
            let raise = stands.raise(*done).unwrap();
            stands.is_done(*done, &raise);
        }
        assert!(rises > 2, "{rises}");
        // All at once come to the same.
        let mut at_once = super::lines::Stands::new(&depots, &lines);
        at_once.are_done(&spots);
        assert!((at_once.now[0] - stands.now[0]).abs() < 1e-12);
    }
}

/// A tag that its own finding explains goes with it; one that nothing explains is a job of its own.
#[test]
fn tags_go_with_what_explains_them() {
    let mut facts = mixed();
    let unit = &mut facts.units[0];
    let tag = |id: u128, finding_id| HoldFacts {
        id: Uuid::from_u128(id),
        reason: "smells of fuel".to_owned(),
        placed_at: now_plus_days(-1),
        placed_by: "a lead".to_owned(),
        finding_id,
    };
    unit.holds = vec![tag(1, Some(unit.findings[0].id))];
    assert_eq!(
        kinds(&work(&facts).units[0]),
        [(JobKind::Repair, 10.0, true)]
    );
    facts.units[0].holds.push(tag(2, None));
    // Neither is worth anything without the other.
    assert_eq!(
        kinds(&work(&facts).units[0]),
        [(JobKind::Repair, 10.0, true), (JobKind::Hold, 10.0, true)]
    );
}

#[test]
fn what_no_job_mends_is_said() {
    let mut facts = mixed();
    facts.units[0]
        .limited_uses
        .push(crate::facts::LimitedUseFacts {
            id: Uuid::from_u128(9),
            reason: "day only".to_owned(),
            named_by: "a lead".to_owned(),
            starts_at: now_plus_days(-1),
            ends_at: now_plus_days(9),
            admitted_storm: None,
        });
    let work = work(&facts);
    let unit = &work.units[0];
    assert_eq!(unit.chance(|_| true), 0.0);
    assert!(unit.remains.as_deref().unwrap().contains("day only"));
    let told = fix_first(vec![work], &Supply::default(), Some(480.0)).unwrap();
    let mut behind = told.behind.iter();
    let job = behind.find(|job| job.kind == JobKind::Repair).unwrap();
    assert!(
        job.because
            .contains("the machine does not count at Upper Yard all the same"),
        "{}",
        job.because
    );
}

/// Two machines that each need a belt, and a storm in two days.
fn torn() -> DepotFacts {
    let mut facts = mixed();
    facts.storms = vec![StormFacts {
        id: Uuid::from_u128(7),
        name: "storm 7".to_owned(),
        starts_at: now_plus_days(2),
        ends_at: now_plus_days(3),
        depth_mm: 150.0,
        reclear_mm: 50.0,
        density_kg_m3: None,
        temperature_c: None,
        low_c: None,
    }];
    facts.operators = vec![operators(6)];
    for unit in &mut facts.units {
        unit.findings.clear();
    }
    for unit in &mut facts.units[..2] {
        found(unit, "auger_belt_look", Effect::Stop);
    }
    facts
}

/// A list that has the belt, which takes ten days to come.
fn with_belts() -> Supply {
    let belt = Uuid::from_u128(70);
    let mut supply = Supply::default();
    supply.catalogue.words.insert("auger belt".to_owned(), belt);
    supply.catalogue.parts.insert(
        belt,
        Listed {
            id: belt,
            number: "AB".to_owned(),
            name: "auger belt".to_owned(),
            unit: "each".to_owned(),
            pack_size: 1,
            lead_time_days: 10,
            price: None,
            shelf_life_days: Some(100),
            kit: Vec::new(),
        },
    );
    supply
}

fn belts(jobs: &[JobToDo]) -> Vec<(PartAt, Option<Date>)> {
    let belts = jobs.iter().filter(|job| job.kind == JobKind::Repair);
    belts.map(|job| (job.parts[0].at, job.parts_on)).collect()
}

/// Parts are given out once: of two that need the one belt the one that comes first has it.
#[test]
fn a_part_is_there_once() {
    let facts = torn();
    let mut supply = with_belts();
    let lot = |quantity, made_on| ShelfLot {
        depot_id: facts.id,
        part_id: Uuid::from_u128(70),
        made_on: Some(made_on),
        quantity,
    };
    // One that is past its date is none.
    supply.lots = vec![lot(1, date(2025, 11, 1)), lot(5, date(2025, 1, 1))];
    let told = fix_first(vec![work(&facts)], &supply, Some(480.0)).unwrap();
    assert_eq!(
        belts(&told.first),
        [(PartAt::Here, Some(date(2025, 11, 25)))]
    );
    assert_eq!(
        belts(&told.behind),
        [(PartAt::Supplier, Some(date(2025, 12, 5)))]
    );
    assert_eq!(told.depots[0].until, date(2025, 11, 27));
    // The order is the plan's.
    let planned = crate::calculations::plan::calculate(&told.inputs).unwrap();
    let ids = told.first.iter().map(|job| JobId::Text(job.id.clone()));
    assert_eq!(planned.jobs, ids.collect::<Vec<_>>());
}

/// Of a part that is on no list nobody knows when it comes: somebody is sent to see, and no day is promised.
#[test]
fn a_part_on_no_list_is_gone_and_seen_for() {
    let told = fix_first(vec![work(&torn())], &Supply::default(), Some(480.0)).unwrap();
    assert_eq!(belts(&told.first), [(PartAt::Unknown, None); 2]);
    assert!(belts(&told.behind).is_empty());
    for job in told.first.iter().filter(|job| job.kind == JobKind::Repair) {
        assert!(
            job.because
                .ends_with("auger belt: no listed part: go and see"),
            "{}",
            job.because
        );
        let unit = told.units.iter().find(|unit| unit.unit_id == job.unit_id);
        let unit = unit.unwrap();
        assert_eq!(
            (unit.parts_on, unit.ready_on, unit.in_time),
            (None, None, false)
        );
    }
}

/// Work counts until the day that is asked for: what comes in ten days is planned for where there are eleven, and not where there
/// are ten. A day that is not to come is refused.
#[test]
fn what_is_asked_for_is_the_day_by_which_parts_are_there() {
    let facts = torn();
    let until = |day| {
        let meets = Meets {
            until: Some(day),
            ..Meets::default()
        };
        DepotWork::of(&facts, &[], meets, now())
    };
    let planned = |day| {
        let work = until(day).unwrap().unwrap();
        fix_first(vec![work], &with_belts(), Some(480.0)).unwrap()
    };
    let late = (PartAt::Supplier, Some(date(2025, 12, 5)));
    assert_eq!(belts(&planned(date(2025, 12, 5)).behind), [late; 2]);
    assert_eq!(belts(&planned(date(2025, 12, 6)).first), [late; 2]);
    let refused = until(date(2025, 11, 25)).unwrap_err();
    assert_eq!(refused.field, "until");
    assert!(
        refused.problem.ends_with("2025-11-26 or later"),
        "{refused:?}"
    );
}

/// The way to a depot is spent once for all its kinds of work, and what is used is what the jobs take with it.
#[test]
fn all_kinds_of_work_at_a_depot_are_one_visit() {
    let mut facts = torn();
    for unit in &mut facts.units[2..] {
        unit.findings.clear();
        found(unit, "shear_fasteners", Effect::Hold);
    }
    let mut work = work(&facts);
    // Two of them for another kind of work, as the plan takes it.
    let mut spreading = work.works[0].clone();
    spreading.work = crate::sheet::Work::Spread;
    let (clearing, others) = spreading.units.split_at(2);
    work.works[0].units = clearing.to_vec();
    spreading.units = others.to_vec();
    spreading.needed_rate = 500.0;
    work.works[0].needed_rate = 500.0;
    work.works.push(spreading);
    let mut supply = Supply::default();
    let place = Place {
        name: facts.name.clone(),
        travel_minutes: 40.0,
        hours: Vec::new(),
    };
    supply.places.insert(facts.id, place);
    let told = fix_first(vec![work.clone()], &supply, Some(480.0)).unwrap();
    let of_kinds: Vec<bool> = told.depots[0]
        .works
        .iter()
        .map(|work| work.chance_after > work.chance_now)
        .collect();
    assert_eq!(of_kinds, [true, true]);
    let jobs: f64 = told.first.iter().map(|job| job.minutes).sum();
    assert_eq!(told.minutes_used, 40.0 + jobs);
    // So much is enough for the same, and a minute less is not.
    let enough = fix_first(vec![work.clone()], &supply, Some(40.0 + jobs)).unwrap();
    assert_eq!(enough.first.len(), told.first.len());
    let less = fix_first(vec![work], &supply, Some(39.0 + jobs)).unwrap();
    assert!(less.first.len() < told.first.len() && less.minutes_used <= 39.0 + jobs);
}

/// Fewer spare fasteners aboard than are to be carried are nothing found, and still a job that makes the machine likelier to last.
#[test]
fn spare_fasteners_are_put_aboard() {
    let mut facts = depot(vec![fresh_unit(1, 60.0)]);
    set_reading(&mut facts.units[0], "shear_spares", 1.0);
    let few = work(&facts);
    let mut jobs = few.units[0].jobs.iter();
    let job = jobs
        .find(|job| job.draft.title == "Put spare shear fasteners aboard")
        .unwrap();
    assert!(job.after > job.now && job.now > 0.0, "{job:?}");
    assert_eq!(job.draft.why, ["1 of 4 spare shear fasteners aboard"]);
    assert_eq!(job.draft.takes, ["shear fastener set"]);
    // One is missing: that is nobody's way.
    set_reading(&mut facts.units[0], "shear_spares", 3.0);
    let enough = work(&facts);
    let mut jobs = enough.units[0].jobs.iter();
    assert!(jobs.all(|job| job.draft.title != "Put spare shear fasteners aboard"));
}
