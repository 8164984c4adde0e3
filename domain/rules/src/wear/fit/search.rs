//! The least deviance over the two relative variances, each 0 or more.
//!
//! A variance may well come out as none. So it is searched for in coordinates whose origin is exactly 0 and has a slope
//! there (a standard deviation has none at 0, and would stop anywhere near): x = ln(1 + c u), c the mean information of a
//! group, so that steps are by factors once u is large. A grid finds every valley; from each of its low points Newton's
//! method goes down with exact slopes, and holds a coordinate at 0 while the deviance would rise from there.

use super::likelihood::{Profile, Ratios, Slopes, Symmetric, times};
use super::sums::Sums;
use super::{Method, Unfit};

/// Steps of the grid: what a group's likelihood makes of u changes over a few of them.
const STEP: f64 = 0.75;

/// One step of Newton's method at most: beyond it the slopes of here say nothing.
const LEAP: f64 = 2.5;

/// Coordinates at most: a spread e^20 times the doubt of a reading, and no doubt worth the name.
const MOST: f64 = 40.0;

/// Steps of Newton's method at most, from one point; from the grid it takes about five.
const STEPS_MAX: usize = 100;

/// Valleys looked into at most: noise on a plain makes many.
const VALLEYS_MAX: usize = 6;

/// Where the search ended.
#[derive(Debug, Clone, Copy)]
pub(super) struct Found {
    pub ratios: Ratios,
    pub profile: Profile,
    pub slopes: Slopes,
}

/// A point on the way.
#[derive(Debug, Clone, Copy)]
struct Point {
    at: [f64; 2],
    found: Found,
    gradient: [f64; 2],
    curvature: Symmetric,
}

struct Search<'s> {
    sums: &'s Sums,
    method: Method,
    /// The c of either coordinate.
    information: [f64; 2],
}

/// The best fit there is.
pub(super) fn search(sums: &Sums, method: Method) -> Result<Found, Unfit> {
    let count = sums.groups.len() as f64;
    let mean = |of: fn(&super::sums::Group) -> f64| sums.groups.iter().map(of).sum::<f64>() / count;
    let search = Search {
        sums,
        method,
        information: [
            mean(|group| group.weight),
            mean(|group| group.weight * group.at * group.at + group.spread),
        ],
    };
    let lowest = |starts: Vec<[f64; 2]>| {
        starts
            .into_iter()
            .filter_map(|start| search.descend(start))
            .min_by(|a, b| a.deviance().total_cmp(&b.deviance()))
    };
    let mut best = lowest(search.valleys()).ok_or(Unfit::NotSettled)?;
    // Beside a spread of none may lie a lower valley that is too shallow for the grid.
    if let Some(beside) = lowest(best.beside()).filter(|other| other.deviance() < best.deviance()) {
        best = beside;
    }
    if search.without_doubt(&best) {
        return Err(Unfit::NoScatter);
    }
    Ok(best.found)
}

impl Search<'_> {
    fn ratios(&self, at: [f64; 2]) -> Ratios {
        [0, 1].map(|j| at[j].exp_m1() / self.information[j])
    }

    fn deviance(&self, at: [f64; 2]) -> f64 {
        let deviance = self.sums.profile(self.method, self.ratios(at)).deviance;
        if deviance.is_nan() {
            f64::INFINITY
        } else {
            deviance
        }
    }

    fn point(&self, at: [f64; 2]) -> Point {
        let ratios = self.ratios(at);
        let profile = self.sums.profile(self.method, ratios);
        let slopes = self.sums.slopes(self.method, ratios, &profile);
        let by = [0, 1].map(|j| at[j].exp() / self.information[j]);
        let gradient = [0, 1].map(|j| slopes.gradient[j] * by[j]);
        let [first, across, second] = slopes.curvature;
        Point {
            at,
            found: Found {
                ratios,
                profile,
                slopes,
            },
            gradient,
            curvature: [
                first * by[0] * by[0] + gradient[0],
                across * by[0] * by[1],
                second * by[1] * by[1] + gradient[1],
            ],
        }
    }

    /// The low points of the grid, lowest first.
    fn valleys(&self) -> Vec<[f64; 2]> {
        // A spread is not much more than all the scatter there is, nor the doubt of a reading less than what the
        // groups' own lines leave.
        let doubt = self.sums.rest.value / self.sums.readings as f64;
        let places = self.information.map(|information| {
            let far = (1.0 + 100.0 * information / doubt).ln().clamp(8.0, MOST);
            (far / STEP).ceil() as usize + 1
        });
        let at = |i: usize, j: usize| [(i as f64 * STEP).min(MOST), (j as f64 * STEP).min(MOST)];
        let grid: Vec<Vec<f64>> = (0..places[0])
            .map(|i| (0..places[1]).map(|j| self.deviance(at(i, j))).collect())
            .collect();
        let near = |place: usize, end: usize| place.saturating_sub(1)..(place + 2).min(end);
        let mut low: Vec<(f64, [f64; 2])> = Vec::new();
        for (i, row) in grid.iter().enumerate() {
            for (j, deviance) in row.iter().enumerate() {
                let mut around = near(i, places[0])
                    .flat_map(|i| near(j, places[1]).map(move |j| (i, j)))
                    .map(|(i, j)| grid[i][j]);
                if deviance.is_finite() && around.all(|other| *deviance <= other) {
                    low.push((*deviance, at(i, j)));
                }
            }
        }
        low.sort_by(|a, b| a.0.total_cmp(&b.0));
        low.truncate(VALLEYS_MAX);
        low.into_iter().map(|(_, at)| at).collect()
    }

    /// Down from a point to where no step leads further down; `None` if it does not settle.
    fn descend(&self, start: [f64; 2]) -> Option<Point> {
        let mut here = self.point(start);
        // Under this, differences of deviances are their last digits.
        let noise = 1e-12 * (here.found.profile.counted + here.deviance().abs());
        for _ in 0..STEPS_MAX {
            let step = here.step();
            let mut share = 1.0;
            let next = loop {
                let at = [0, 1].map(|j| (here.at[j] + share * step[j]).clamp(0.0, MOST));
                if (0..2).all(|j| (at[j] - here.at[j]).abs() <= 1e-12 * (1.0 + at[j])) {
                    return Some(here);
                }
                let next = self.point(at);
                let lower = next.deviance() < here.deviance() - noise;
                let as_low = next.deviance() <= here.deviance() + noise;
                if lower || (as_low && next.pull() < 0.5 * here.pull()) {
                    break next;
                }
                share *= 0.25;
            };
            here = next;
        }
        None
    }

    /// Whether readings without any doubt would be as likely: both spreads grown on, their ratio kept.
    fn without_doubt(&self, best: &Point) -> bool {
        let most = best.at[0].max(best.at[1]);
        if most < 10.0 {
            return false;
        }
        let by = MOST - most;
        let at = best.at.map(|at| if at > 0.0 { at + by } else { 0.0 });
        by < 1.0 || self.deviance(at) <= best.deviance() + 1e-6
    }
}

impl Point {
    fn deviance(&self) -> f64 {
        self.found.profile.deviance
    }

    /// Places along each coordinate that came out as none.
    fn beside(&self) -> Vec<[f64; 2]> {
        let along = |j: usize| (1..=5).map(move |steps| (j, 2.0 * STEP * f64::from(steps)));
        (0..2)
            .filter(|j| self.at[*j] == 0.0)
            .flat_map(along)
            .map(|(j, far)| {
                let mut at = self.at;
                at[j] = far;
                at
            })
            .collect()
    }

    /// Coordinates that a step may change: those at an end stay while they are pushed against it.
    fn free(&self) -> [bool; 2] {
        [0, 1].map(|j| {
            let held = if self.gradient[j] >= 0.0 { 0.0 } else { MOST };
            self.at[j] != held
        })
    }

    /// The largest slope of the free coordinates.
    fn pull(&self) -> f64 {
        let free = self.free();
        (0..2)
            .filter(|j| free[*j])
            .map(|j| self.gradient[j].abs())
            .fold(0.0, f64::max)
    }

    /// Newton's step, damped until it leads down, at most a leap long.
    fn step(&self) -> [f64; 2] {
        let free = self.free();
        let alone = [(free[0], 0), (free[1], 2)].map(|(free, of)| {
            let gradient = self.gradient[of / 2];
            if free {
                down(self.curvature[of], gradient)
            } else {
                0.0
            }
        });
        let both = if free == [true, true] {
            self.step_of_both()
        } else {
            alone
        };
        // Together they may push one off its end, which then stays, and the other might not lead down by itself.
        let off = |j: usize| {
            (self.at[j] <= 0.0 && both[j] < 0.0) || (self.at[j] >= MOST && both[j] > 0.0)
        };
        let step = if off(0) || off(1) { alone } else { both };
        let length = step[0].abs().max(step[1].abs());
        if length > LEAP {
            step.map(|part| part * LEAP / length)
        } else {
            step
        }
    }

    fn step_of_both(&self) -> [f64; 2] {
        let [a, b, c] = self.curvature;
        let size = a.abs() + c.abs() + b.abs();
        let least = 0.5 * (a + c) - (0.25 * (a - c) * (a - c) + b * b).sqrt();
        // A saddle or a plain: as much is added as makes it a valley.
        let added = (1e-9 * size - least).max(0.0);
        let [a, c] = [a + added, c + added];
        let determinant = a * c - b * b;
        let inverse = [c / determinant, -b / determinant, a / determinant];
        let step = times(inverse, self.gradient);
        if step.iter().all(|part| part.is_finite()) {
            step.map(|part| -part)
        } else {
            [0.0, 0.0]
        }
    }
}

/// Newton's step along one coordinate, downhill whatever the curvature.
fn down(curvature: f64, gradient: f64) -> f64 {
    if gradient == 0.0 {
        return 0.0;
    }
    -gradient / curvature.abs().max(1e-9 * gradient.abs())
}
