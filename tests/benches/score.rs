//! How fast a depot's chance of keeping up is: 60 machines, 10 operators, and the shared doubt about starts at 8 nodes.
//!
//! `cargo bench -p rimeyard-tests --bench score`. The aim: under 2 milliseconds on one core for the score, its bounds and its
//! shortfall. The floor is one node by itself, in the same run: what the nodes share costs once, so all 8 should cost less
//! than 8 times that. No library has this calculation; tests/reference holds it to every outcome counted. Measured for
//! machines of three models, and for machines whose rates all differ; the hours to clear are over all outcomes, those that
//! are enough too.

use std::hint::black_box;
use std::time::Instant;

use criterion::{Criterion, criterion_group, criterion_main};
use rimeyard_rules::score::{depot_scores, hours_to_clear};
use rimeyard_rules::special::GAUSS_LEGENDRE;

const MACHINES: usize = 60;
const OPERATORS: Option<u32> = Some(10);
const NODES: usize = GAUSS_LEGENDRE.len();

/// Evenly spread over 0 to 1, in an order that is not seen: multiples of an irrational number.
fn spread(number: usize, of: f64) -> f64 {
    ((number + 1) as f64 * of.sqrt()).fract()
}

/// Machines with these rates, and their chances at each node: all else by machine, starting by node.
fn machines(rate: impl Fn(usize) -> f64) -> (Vec<f64>, Vec<[f64; NODES]>) {
    let works = |machine: usize| {
        let rest = 0.5 + 0.5 * spread(machine, 2.0);
        let stood = 10.0 + 60.0 * spread(machine, 3.0);
        // The quantiles of a rate of going dead, an exponential with mean 1/200 a day.
        GAUSS_LEGENDRE.map(|(u, _)| rest * (stood / 200.0 * (1.0 - u).ln()).exp())
    };
    (
        (0..MACHINES).map(rate).collect(),
        (0..MACHINES).map(works).collect(),
    )
}

/// Three quarters of what the best bring if all of them work.
fn needed(rates: &[f64]) -> f64 {
    let mut sorted = rates.to_vec();
    sorted.sort_unstable_by(|one, other| other.total_cmp(one));
    let best = OPERATORS.map_or(sorted.len(), |most| most as usize);
    (0.075 * sorted[..best].iter().sum::<f64>()).round() * 10.0
}

/// The least milliseconds of some runs.
fn least_ms(mut run: impl FnMut()) -> f64 {
    (0..50)
        .map(|_| {
            let start = Instant::now();
            run();
            1e3 * start.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}

fn scores(criterion: &mut Criterion) {
    let models = [600.0, 1083.6, 1500.0];
    let like = machines(|machine| models[machine % models.len()]);
    let unlike = machines(|machine| 10.0 * (20.0 + 140.0 * spread(machine, 5.0)).floor());
    let mut group = criterion.benchmark_group("score");
    for (name, (rates, works)) in [
        ("machines of three models", like),
        ("machines that all differ", unlike),
    ] {
        let needed = needed(&rates);
        let one_node: Vec<[f64; 1]> = works.iter().map(|nodes| [nodes[NODES / 2]]).collect();
        let floor = least_ms(|| {
            black_box(depot_scores(
                &rates,
                black_box(&one_node),
                needed,
                OPERATORS,
            ));
        });
        let all = least_ms(|| {
            black_box(depot_scores(&rates, black_box(&works), needed, OPERATORS));
        });
        println!(
            "{name}: {all:.3} ms, {:.1} times one node by itself ({floor:.3} ms)",
            all / floor
        );
        group.bench_function(name, |bencher| {
            bencher.iter(|| depot_scores(&rates, black_box(&works), needed, OPERATORS));
        });
        group.bench_function(format!("{name}, hours to clear"), |bencher| {
            bencher
                .iter(|| hours_to_clear(&rates, black_box(&works), OPERATORS, |rate| 1e4 / rate));
        });
    }
    group.finish();
}

criterion_group!(benches, scores);
criterion_main!(benches);
