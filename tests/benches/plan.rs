//! How fast a plan is made: 500 jobs at 50 depots of 20 machines, without operators.
//!
//! `cargo bench -p rimeyard-tests --bench plan`. The aim: under 50 milliseconds on one core. The floor is one score of each of
//! the depots as they are, in the same run; a plan by looking at each depot once for each subset of its 10 jobs would be 1,024
//! times that. Measured for machines of three models, and for machines whose rates all differ.

use std::hint::black_box;
use std::time::Instant;

use criterion::{Criterion, criterion_group, criterion_main};
use rimeyard_rules::plan::{Depot, Job, JobId, Unit, plan};
use rimeyard_rules::score::{UnitChance, depot_score};

const DEPOTS: usize = 50;
const MACHINES: usize = 20;
const JOBS: usize = 10;

/// Fractions that look drawn and are the same on every run (a Weyl sequence of the golden ratio).
struct Fractions(f64);

impl Fractions {
    fn next(&mut self) -> f64 {
        self.0 = (self.0 + 0.618_033_988_749_895).fract();
        self.0
    }
}

/// Depots that need about two thirds of their machines, one job in six holding its machine.
fn depots(rate: impl Fn(&mut Fractions) -> f64) -> Vec<Depot> {
    let mut fractions = Fractions(0.25);
    let mut depot = |number: usize| {
        let mut units: Vec<Unit> = (0..MACHINES)
            .map(|_| Unit {
                rest: 0.8 + 0.2 * fractions.next(),
                rate: rate(&mut fractions),
                jobs: Vec::new(),
            })
            .collect();
        for job in 0..JOBS {
            let now = match fractions.next() {
                drawn if drawn < 1.0 / 6.0 => 0.0,
                drawn => 0.4 + 0.5 * drawn,
            };
            let place = (fractions.next() * MACHINES as f64) as usize;
            units[place].jobs.push(Job {
                id: JobId::Number((number * JOBS + job) as i64),
                minutes: 5.0 * (2.0 + 38.0 * fractions.next()).floor(),
                now,
                after: now + (1.0 - now) * (0.5 + 0.5 * fractions.next()),
            });
        }
        let all: f64 = units.iter().map(|unit| unit.rate).sum();
        Depot {
            needed_rate: (0.065 * all).round() * 10.0,
            operators: None,
            weight: 1.0,
            travel_minutes: 45.0,
            place: None,
            units,
        }
    };
    (0..DEPOTS).map(&mut depot).collect()
}

fn score(depot: &Depot) -> f64 {
    let works = |unit: &Unit| {
        unit.jobs
            .iter()
            .fold(unit.rest, |works, job| works * job.now)
    };
    let chance = |unit: &Unit| UnitChance {
        works: works(unit),
        rate: unit.rate,
    };
    let units: Vec<UnitChance> = depot.units.iter().map(chance).collect();
    depot_score(&units, depot.needed_rate, depot.operators).score
}

/// The least milliseconds of some runs.
fn least_ms(mut run: impl FnMut()) -> f64 {
    (0..20)
        .map(|_| {
            let start = Instant::now();
            run();
            1e3 * start.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}

fn plans(criterion: &mut Criterion) {
    let models = [600.0, 1083.6, 1500.0];
    let like = depots(|fractions| models[(3.0 * fractions.next()) as usize]);
    let unlike = depots(|fractions| 10.0 * (20.0 + 140.0 * fractions.next()).floor());
    let mut group = criterion.benchmark_group("plan");
    for (name, depots) in [
        ("machines of three models", like),
        ("machines that all differ", unlike),
    ] {
        let of_jobs = |depot: &Depot| -> f64 {
            depot
                .units
                .iter()
                .flat_map(|unit| &unit.jobs)
                .map(|job| job.minutes)
                .sum()
        };
        let all: f64 = depots.iter().map(of_jobs).sum();
        for part in [0.3, 1.2] {
            let minutes = part * all;
            let floor = least_ms(|| {
                black_box(depots.iter().map(score).sum::<f64>());
            });
            let whole = least_ms(|| {
                black_box(plan(&depots, minutes)).expect("few steps");
            });
            println!(
                "{name}, {part} of the minutes: {whole:.2} ms, {:.1} times one score of each depot ({floor:.2} ms)",
                whole / floor
            );
            group.bench_function(format!("{name}, {part} of the minutes"), |bencher| {
                bencher.iter(|| plan(black_box(&depots), black_box(minutes)));
            });
        }
    }
    group.finish();
}

criterion_group!(benches, plans);
criterion_main!(benches);
