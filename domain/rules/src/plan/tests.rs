use super::*;

mod exhaustive;
mod ready;

fn job(id: &str, minutes: f64, now: f64, after: f64) -> Job {
    Job {
        id: JobId::Text(id.to_owned()),
        minutes,
        now,
        after,
    }
}

/// A depot of machines of 1,000 m2/h, with these jobs each.
fn depot(needed_rate: f64, units: Vec<Vec<Job>>) -> Depot {
    let unit = |jobs| Unit {
        rest: 1.0,
        rate: 1000.0,
        jobs,
    };
    Depot {
        needed_rate,
        operators: None,
        weight: 1.0,
        travel_minutes: 30.0,
        place: None,
        units: units.into_iter().map(unit).collect(),
    }
}

fn ids(plan: &Plan) -> Vec<&str> {
    fn text(id: &JobId) -> &str {
        match id {
            JobId::Text(text) => text,
            JobId::Number(number) => panic!("{number} is no text"),
        }
    }
    plan.jobs.iter().map(text).collect()
}

/// Two machines of two needed, both held: one repair alone is worth nothing, both are worth 0.9 x 0.8 (by hand).
#[test]
fn repairs_that_are_worth_nothing_apart_are_done_together() {
    let depots = [depot(
        2000.0,
        vec![
            vec![job("b", 40.0, 0.0, 0.9)],
            vec![job("a", 20.0, 0.0, 0.8)],
        ],
    )];
    let both = plan(&depots, 90.0).unwrap();
    assert_eq!(ids(&both), ["a", "b"]);
    assert!((both.gain - 0.72).abs() < 1e-12);
    assert_eq!(both.minutes_used, 90.0);
    let neither = plan(&depots, 89.9).unwrap();
    assert_eq!(
        (neither.jobs.len(), neither.gain, neither.minutes_used),
        (0, 0.0, 0.0)
    );
}

#[test]
fn what_makes_nothing_better_is_not_done() {
    let mut depots = vec![
        // Worse, and the same.
        depot(
            1000.0,
            vec![vec![
                job("worse", 5.0, 0.8, 0.5),
                job("same", 0.0, 0.7, 0.7),
            ]],
        ),
        // Enough already.
        depot(1000.0, vec![vec![job("enough", 5.0, 0.5, 1.0)], vec![]]),
        // Nothing needed, nothing that counts, no machine that is any use.
        depot(0.0, vec![vec![job("nothing needed", 5.0, 0.5, 1.0)]]),
        depot(1000.0, vec![vec![job("weightless", 5.0, 0.5, 1.0)]]),
        depot(1000.0, vec![vec![job("held by another", 5.0, 0.5, 1.0)]]),
        depot(1000.0, vec![vec![job("too slow", 5.0, 0.5, 1.0)]]),
        depot(
            1000.0,
            vec![vec![
                job("of two", 5.0, 0.0, 1.0),
                job("too long", 5000.0, 0.0, 1.0),
            ]],
        ),
        depot(1000.0, vec![]),
    ];
    depots[3].weight = 0.0;
    depots[4].units[0].rest = 0.0;
    depots[5].units[0].rate = 0.0;
    let nothing = plan(&depots, 600.0).unwrap();
    assert_eq!(
        (nothing.jobs.len(), nothing.gain, nothing.minutes_used),
        (0, 0.0, 0.0)
    );
    assert!(nothing.gain.is_sign_positive());
    assert_eq!(plan(&[], 600.0).unwrap(), nothing);
}

/// What takes no time and pays is done in no time, where there is no way to go.
#[test]
fn no_minutes_are_enough_for_what_takes_none() {
    let mut depots = [depot(
        1000.0,
        vec![vec![
            job("flip", 0.0, 0.0, 0.6),
            job("grease", 5.0, 0.5, 1.0),
        ]],
    )];
    assert_eq!(plan(&depots, 0.0).unwrap().jobs.len(), 0);
    depots[0].travel_minutes = 0.0;
    let flip = plan(&depots, 0.0).unwrap();
    assert_eq!((ids(&flip), flip.minutes_used), (vec!["flip"], 0.0));
    assert!((flip.gain - 0.3).abs() < 1e-12);
    assert_eq!(ids(&plan(&depots, 5.0).unwrap()), ["flip", "grease"]);
}

/// By hand: at each depot one machine is needed. The first visit brings 0.5 in 40 minutes, the second 0.4 in 36, and a job more
/// there 0.2 in 60.
#[test]
fn visits_and_jobs_come_by_their_worth_a_minute() {
    let depots = [
        depot(
            1000.0,
            vec![vec![
                job("slow", 60.0, 0.8, 1.0),
                job("quick", 6.0, 0.5, 1.0),
            ]],
        ),
        depot(1000.0, vec![vec![job("first", 10.0, 0.5, 1.0)]]),
    ];
    let all = plan(&depots, 1000.0).unwrap();
    assert_eq!(ids(&all), ["first", "quick", "slow"]);
    assert!((all.gain - (0.5 + 0.6)).abs() < 1e-12);
    assert_eq!(all.minutes_used, 40.0 + 96.0);
    let some = plan(&depots, 76.0).unwrap();
    assert_eq!(ids(&some), ["first", "quick"]);
    assert_eq!(some.minutes_used, 76.0);
}

/// By hand: two kinds of work at one place 30 minutes away are done in one visit of 30 + 10 + 20 minutes, first what is worth more a
/// minute; by themselves there is only time for one.
#[test]
fn one_visit_serves_all_kinds_of_work_of_a_place() {
    let mut depots = [
        depot(1000.0, vec![vec![job("a", 20.0, 0.5, 1.0)]]),
        depot(1000.0, vec![vec![job("b", 10.0, 0.5, 1.0)]]),
    ];
    assert_eq!(ids(&plan(&depots, 60.0).unwrap()), ["b"]);
    for depot in &mut depots {
        depot.place = Some("yard".to_owned());
    }
    let both = plan(&depots, 60.0).unwrap();
    assert_eq!((ids(&both), both.minutes_used), (vec!["b", "a"], 60.0));
    assert!((both.gain - 1.0).abs() < 1e-12);
    let one = plan(&depots, 59.0).unwrap();
    assert_eq!((ids(&one), one.minutes_used), (vec!["b"], 40.0));
}

/// Which of equals is taken is a matter of ids, not of the order in which they are given.
#[test]
fn ties_go_by_id_whatever_the_order() {
    let equal = |ids: [&str; 3]| {
        let of = |id: &str| vec![job(id, 10.0, 0.5, 1.0)];
        vec![
            depot(1000.0, vec![of(ids[0])]),
            depot(2000.0, vec![of(ids[1]), of(ids[2])]),
        ]
    };
    let of_a = plan(&equal(["a", "b", "c"]), 40.0).unwrap();
    assert_eq!(ids(&of_a), ["a"]);
    let mut reversed = equal(["a", "c", "b"]);
    reversed.reverse();
    assert_eq!(ids(&plan(&reversed, 1000.0).unwrap()), ["b", "c", "a"]);
    let one_depot = |ids: [&str; 2]| {
        let mut depot = depot(1000.0, ids.map(|id| vec![job(id, 10.0, 0.5, 1.0)]).to_vec());
        depot.units.iter_mut().for_each(|unit| unit.rest = 0.5);
        [depot]
    };
    for given in [["x", "y"], ["y", "x"]] {
        assert_eq!(ids(&plan(&one_depot(given), 40.0).unwrap()), ["x"]);
    }
}

/// Fractions of minutes: three thirds are one, and a tenth three times is no more than three tenths.
#[test]
fn minutes_are_never_more_than_there_are() {
    let tenths = |minutes: f64| {
        let jobs = ["a", "b", "c"].map(|id| vec![job(id, minutes, 0.5, 1.0)]);
        let mut depot = depot(3000.0, jobs.to_vec());
        depot.travel_minutes = 0.0;
        [depot]
    };
    let all = plan(&tenths(0.1), 0.3).unwrap();
    assert_eq!((all.jobs.len(), all.minutes_used), (3, 0.3));
    // A third is rounded up to 0.334.
    assert_eq!(plan(&tenths(1.0 / 3.0), 1.0).unwrap().jobs.len(), 2);
    assert_eq!(plan(&tenths(1.0 / 3.0), 1.002).unwrap().jobs.len(), 3);
}

/// More machines of more rates than can be gone through are refused, and soon; what is large but can be is answered.
#[test]
fn no_plan_takes_too_long() {
    let large = |depots: usize, units: usize, rates: usize, operators: Option<u32>| -> Vec<Depot> {
        let mean_rate = 800.0 + 5.0 * rates as f64;
        (0..depots)
            .map(|place| Depot {
                // Nearly what works now, or what the operators can bring.
                needed_rate: mean_rate
                    * operators.map_or(0.75 * units as f64, |most| 0.9 * f64::from(most)),
                operators,
                weight: 1.0,
                travel_minutes: 30.0,
                place: None,
                units: (0..units)
                    .map(|unit| Unit {
                        rest: 0.95,
                        rate: 800.0 + 10.0 * ((unit * 37) % rates) as f64,
                        jobs: vec![Job {
                            id: JobId::Number((place * units + unit) as i64),
                            minutes: 30.0,
                            now: 0.6 + 0.01 * (unit % 31) as f64,
                            after: 0.95,
                        }],
                    })
                    .collect(),
            })
            .collect()
    };
    for (depots, minutes) in [
        (large(2_000, 5, 2, None), 100_000.0),
        (large(3, 60, 3, None), 1_500.0),
        (large(3, 60, 3, Some(45)), 1_500.0),
    ] {
        let plan = plan(&depots, minutes).unwrap();
        assert!(plan.gain > 0.0 && plan.minutes_used <= minutes);
    }
    let refused = plan(&large(1, 1_000, 97, None), 1e5);
    assert_eq!(refused, Err(TooMuch));
    // One look at so many machines takes few steps, but what it keeps of each would fill the memory.
    let crowded = large(1, 1_000, 97, None);
    let yard = Yard::new(&crowded[0], at_hand(1e5), &mut Work::new());
    let yard = yard.unwrap().unwrap();
    let (none, all) = (vec![false; 1_000], vec![true; 1_000]);
    let mut work = Work::new();
    let looked = slopes::bundles(&yard, &none, &all, 1, &mut work, |_, _, _| {});
    assert_eq!(looked, Err(TooMuch));
    assert!(work.share(1) > 1_000_000_000);
}
