//! Against the optimum by trying everything: every set of jobs of all depots together, each depot's chance by every
//! outcome of its machines. It shares nothing with what it checks.

use super::*;

/// A depot's chance with these of its jobs done (bits, in the order in which they are written down).
pub(super) fn chance(depot: &Depot, done: u32) -> f64 {
    let mut bit = 0;
    let machines: Vec<(f64, f64)> = depot
        .units
        .iter()
        .map(|unit| {
            let mut works = unit.rest;
            for job in &unit.jobs {
                works *= if done >> bit & 1 == 1 {
                    job.after
                } else {
                    job.now
                };
                bit += 1;
            }
            (works, unit.rate)
        })
        .collect();
    let mut enough = 0.0;
    for outcome in 0_u32..1 << machines.len() {
        let mut chance = 1.0;
        let mut rates = Vec::new();
        for (place, (works, rate)) in machines.iter().enumerate() {
            if outcome >> place & 1 == 1 {
                chance *= works;
                rates.push(*rate);
            } else {
                chance *= 1.0 - works;
            }
        }
        rates.sort_unstable_by(|one, other| other.total_cmp(one));
        let most = depot.operators.map_or(usize::MAX, |most| most as usize);
        if rates.iter().take(most).sum::<f64>() >= depot.needed_rate - 1e-6 {
            enough += chance;
        }
    }
    enough
}

/// The minutes without the way and the gain of every set of a depot's jobs, the empty one first.
fn sets(depot: &Depot) -> Vec<(f64, f64)> {
    let minutes: Vec<f64> = (depot.units.iter())
        .flat_map(|unit| unit.jobs.iter().map(|job| job.minutes))
        .collect();
    let before = chance(depot, 0);
    (0_u32..1 << minutes.len())
        .map(|done| {
            let own = (0..minutes.len())
                .filter(|place| done >> place & 1 == 1)
                .map(|place| minutes[place]);
            let gain = depot.weight * (chance(depot, done) - before);
            (own.sum(), gain)
        })
        .collect()
}

/// The depots by place; those of no place are by themselves.
fn places(depots: &[Depot]) -> Vec<Vec<&Depot>> {
    let mut places: Vec<Vec<&Depot>> = Vec::new();
    for depot in depots {
        let mut known = places.iter_mut();
        match known.find(|place| depot.place.is_some() && place[0].place == depot.place) {
            Some(place) => place.push(depot),
            None => places.push(vec![depot]),
        }
    }
    places
}

/// The most gain that there is in `minutes`.
fn optimum(places: &[Vec<&Depot>], minutes: f64) -> f64 {
    let Some((here, rest)) = places.split_first() else {
        return 0.0;
    };
    let mut visits = vec![(0.0, 0.0)];
    for depot in here {
        let own = sets(depot);
        let pair = |(spent, gain): &(f64, f64)| {
            let (spent, gain) = (*spent, *gain);
            own.iter()
                .map(move |(more, other)| (spent + more, gain + other))
                .collect::<Vec<_>>()
        };
        visits = visits.iter().flat_map(pair).collect();
    }
    (visits.into_iter().enumerate())
        .map(|(nth, (spent, gain))| match nth {
            0 => (0.0, 0.0),
            _ => (here[0].travel_minutes + spent, gain),
        })
        .filter(|(spent, _)| *spent <= minutes + 1e-9)
        .map(|(spent, gain)| gain + optimum(rest, minutes - spent))
        .fold(0.0, f64::max)
}

/// What a plan brings, by the same chances, after a look at whether it keeps its word.
pub(super) fn checked(depots: &[Depot], minutes: f64, window_max: usize) -> f64 {
    let plan = plan_with(depots, minutes, window_max).unwrap();
    // It is the same however what is asked is written down.
    let mut reversed: Vec<Depot> = depots.to_vec();
    reversed.reverse();
    for depot in &mut reversed {
        depot.units.reverse();
        depot.units.iter_mut().for_each(|unit| unit.jobs.reverse());
    }
    let again = plan_with(&reversed, minutes, window_max).unwrap();
    assert_eq!(again.jobs, plan.jobs);
    let (mut gain, mut spent, mut found) = (0.0, 0.0, 0);
    let mut been: Vec<&String> = Vec::new();
    for depot in depots {
        let jobs: Vec<&Job> = depot.units.iter().flat_map(|unit| &unit.jobs).collect();
        let mut done = 0;
        for (place, job) in jobs.iter().enumerate() {
            if plan.jobs.contains(&job.id) {
                done |= 1 << place;
                spent += job.minutes;
                found += 1;
            }
        }
        if done == 0 {
            continue;
        }
        if depot
            .place
            .as_ref()
            .is_none_or(|place| !been.contains(&place))
        {
            spent += depot.travel_minutes;
        }
        been.extend(&depot.place);
        let after = chance(depot, done);
        gain += depot.weight * (after - chance(depot, 0));
        // None of them is there for nothing.
        for place in (0..jobs.len()).filter(|place| done >> place & 1 == 1) {
            assert!(chance(depot, done & !(1 << place)) < after, "{plan:?}");
        }
    }
    assert_eq!(found, plan.jobs.len());
    assert!(plan.minutes_used <= minutes);
    assert!((plan.minutes_used - spent).abs() < 1e-6, "{plan:?} {spent}");
    assert!((plan.gain - gain).abs() < 1e-9, "{plan:?} {gain}");
    gain
}

/// Numbers from a seed (SplitMix64: Steele, Lea & Flood 2014).
pub(super) struct Draw(pub(super) u64);

impl Draw {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    pub(super) fn chance(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// From `least` to `most`.
    pub(super) fn whole(&mut self, least: u64, most: u64) -> u64 {
        least + self.next() % (most - least + 1)
    }
}

/// A depot with so many jobs on some machines. Some machines are held by what jobs mend, some by what none does; often
/// nearly all machines are needed, so that two repairs are worth nothing apart.
pub(super) fn depot(draw: &mut Draw, number: u64, jobs: u64) -> Depot {
    let machines = draw.whole(1, 6.max(jobs / 2));
    let mut units: Vec<Unit> = (0..machines)
        .map(|_| Unit {
            rest: match draw.whole(0, 9) {
                0 => 0.0,
                1 => 1.0,
                _ => 0.5 + 0.5 * draw.chance(),
            },
            rate: match draw.whole(0, 2) {
                0 => 1083.6,
                _ => 10.0 * draw.whole(20, 160) as f64,
            },
            jobs: Vec::new(),
        })
        .collect();
    for job in 0..jobs {
        let held = draw.whole(0, 2) == 0;
        let now = if held { 0.0 } else { draw.chance() };
        let minutes = draw.whole(2, 48);
        let place = draw.whole(0, machines - 1) as usize;
        units[place].jobs.push(Job {
            id: JobId::Number((100 * number + job) as i64),
            minutes: match draw.whole(0, 3) {
                0 => minutes as f64 * 1.37,
                _ => minutes as f64 * 5.0,
            },
            now,
            after: match draw.whole(0, 9) {
                0 => draw.chance(),
                _ => now + (1.0 - now) * draw.chance().sqrt(),
            },
        });
    }
    let all: f64 = units.iter().map(|unit| unit.rate).sum();
    Depot {
        needed_rate: (all * (0.2 + 0.75 * draw.chance()) / 10.0).round() * 10.0,
        operators: (draw.whole(0, 1) == 1).then(|| draw.whole(1, machines + 1) as u32),
        weight: if draw.whole(0, 2) == 0 {
            1.0
        } else {
            0.2 + 3.0 * draw.chance()
        },
        travel_minutes: 10.0 * draw.whole(0, 9) as f64,
        place: None,
        units,
    }
}

/// How far plans stay behind the optimum, over so many cases in which there is at least so much to gain: the mean and the worst
/// share of it that is missing.
fn gaps(
    count: usize,
    least: f64,
    window_max: usize,
    mut case: impl FnMut() -> (Vec<Depot>, f64),
) -> (f64, f64) {
    let (mut sum, mut worst, mut found) = (0.0, 0.0_f64, 0);
    while found < count {
        let (depots, minutes) = case();
        let best = optimum(&places(&depots), minutes);
        let got = checked(&depots, minutes, window_max);
        assert!(got <= best + 1e-9, "{got} is over the optimum {best}");
        if best >= least {
            let gap = 1.0 - got / best;
            sum += gap;
            worst = worst.max(gap);
            found += 1;
        }
    }
    (sum / count as f64, worst)
}

fn minutes(draw: &mut Draw, depots: &[Depot]) -> f64 {
    let all: f64 = (depots.iter())
        .map(|depot| {
            let jobs = depot.units.iter().flat_map(|unit| &unit.jobs);
            depot.travel_minutes + jobs.map(|job| job.minutes).sum::<f64>()
        })
        .sum();
    (all * (0.1 + 0.8 * draw.chance())).round()
}

/// Several depots, 4 to 14 jobs in all.
#[test]
fn a_thousand_small_plans_are_as_good_as_the_best() {
    let mut draw = Draw(11);
    let (mean, worst) = gaps(1_000, 1e-6, windows::WINDOW_MAX, || {
        let mut left = draw.whole(4, 14);
        let mut depots = Vec::new();
        while left > 0 {
            let jobs = draw.whole(1, left.min(8));
            left -= jobs;
            depots.push(depot(&mut draw, depots.len() as u64, jobs));
        }
        let minutes = minutes(&mut draw, &depots);
        (depots, minutes)
    });
    assert!(
        mean <= 0.005 && worst <= 0.05,
        "mean gap {mean:.2e}, worst {worst:.2e}"
    );
}

/// Two or three kinds of work at one place, and a place beside it: the way to each is spent once.
#[test]
fn kinds_of_work_at_one_place_are_one_visit() {
    let mut draw = Draw(13);
    let (mean, worst) = gaps(300, 1e-6, windows::WINDOW_MAX, || {
        let mut depots: Vec<Depot> = (0..draw.whole(3, 4))
            .map(|number| {
                let jobs = draw.whole(1, 3);
                depot(&mut draw, number, jobs)
            })
            .collect();
        let way = depots[1].travel_minutes;
        for depot in &mut depots[1..] {
            depot.place = Some("the same".to_owned());
            depot.travel_minutes = way;
        }
        let minutes = minutes(&mut draw, &depots);
        (depots, minutes)
    });
    assert!(
        mean <= 0.005 && worst <= 0.05,
        "mean gap {mean:.2e}, worst {worst:.2e}"
    );
}

/// One depot of 13 or 14 jobs with windows of 12: paths and windows, and not all subsets. What there is to gain is at least a
/// point of its score.
#[test]
fn windows_of_many_jobs_come_close_to_the_best() {
    let mut draw = Draw(12);
    let (mean, worst) = gaps(100, 0.01, 12, || {
        let jobs = draw.whole(13, 14);
        let depots = vec![depot(&mut draw, 0, jobs)];
        let minutes = minutes(&mut draw, &depots);
        (depots, minutes)
    });
    assert!(
        mean <= 0.005 && worst <= 0.05,
        "mean gap {mean:.2e}, worst {worst:.2e}"
    );
}
