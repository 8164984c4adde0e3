use super::*;
use super::exhaustive::*;
fn real(draw: &mut Draw, jobs: u64) -> Depot {
    let mut d = depot(draw, 0, 0);
    let n = draw.whole(8, 20);
    d.units = (0..n).map(|_| Unit { rest: 0.7 + 0.3 * draw.chance(), rate: [600.0, 1083.6, 1500.0][draw.whole(0, 2) as usize], jobs: vec![] }).collect();
    for j in 0..jobs {
        let now = if draw.whole(0, 5) == 0 { 0.0 } else { 0.5 + 0.5 * draw.chance() };
        let place = draw.whole(0, n - 1) as usize;
        d.units[place].jobs.push(Job { id: JobId::Number(j as i64), minutes: 5.0 * draw.whole(1, 40) as f64, now, after: now + (1.0 - now) * draw.chance().sqrt() });
    }
    let all: f64 = d.units.iter().map(|u| u.rate).sum();
    d.needed_rate = (all * (0.4 + 0.5 * draw.chance()) / 10.0).round() * 10.0;
    d.operators = (draw.whole(0, 1) == 1).then(|| draw.whole(n / 2, n) as u32);
    if let Some(o) = d.operators { d.needed_rate *= (0.5 + 0.5 * o as f64 / n as f64).min(0.9); }
    d
}
#[test]
fn lab() {
    let mut draw = Draw(77);
    let jobs: u64 = std::env::var("J").map_or(20, |j| j.parse().unwrap());
    let mut cases = Vec::new();
    while cases.len() < 100 {
        let depots = vec![real(&mut draw, jobs)];
        let minutes = minutes(&mut draw, &depots);
        let best = plan_with(&depots, minutes, 20).unwrap().gain;
        if best > 1e-3 { cases.push((depots, minutes, best)); }
    }
    for w in [6, 8, 10, 12, 14, 16, 20] {
        let t = std::time::Instant::now();
        let (mut sum, mut worst, mut big) = (0.0, 0.0_f64, 0);
        for (d, m, best) in &cases {
            let gap = 1.0 - plan_with(d, *m, w).unwrap().gain / best;
            sum += gap; worst = worst.max(gap); if gap > 0.01 { big += 1; }
        }
        println!("J {jobs} W {w}: mean {:.5} worst {:.4} over1% {big}  {:.2} ms", sum / 100.0, worst, t.elapsed().as_secs_f64() * 1e3 / 100.0);
    }
}
