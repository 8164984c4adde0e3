//! The likelihood of the mixed model, all but the two relative spreads taken out of it, and its slopes.
//!
//! For u and v, the squares of the spreads of value as new and of rate over the doubt of a reading, a group's values have
//! the covariance s^2 (W^-1 + u 11' + v hh'), W the weights of its readings. With X = [1, -h], S = X'WX and T = diag(u, v)
//! everything is 2 by 2: X'V^-1 X = (S + |S| diag(v, u)) / det(I + TS), where all terms are positive and nothing
//! cancels, however large u and v grow. Slopes by the rules for P = V^-1 - V^-1 X (X'V^-1 X)^-1 X'V^-1: dP = -P dV P
//! (Searle, Casella & McCulloch, Variance Components, chapter 6).

use super::Method;
use super::sums::{Group, Line, Sums};

/// A symmetric matrix of two rows: [first, across, second].
pub(super) type Symmetric = [f64; 3];

/// The two relative variances: of value as new, and of rate.
pub(super) type Ratios = [f64; 2];

/// The fit at given relative variances, with the best line and the best doubt of a reading for them.
#[derive(Debug, Clone, Copy)]
pub(super) struct Profile {
    /// Of the fleet's line, in the units of [`Sums`] and less the line taken out there.
    pub as_new: f64,
    pub rate: f64,
    /// Inverse of the summed information about the line: its covariance over s^2.
    pub inverse: Symmetric,
    /// Weighted square of what the line leaves.
    pub square: f64,
    /// Readings that count for the doubt of one: all of them, or less two for the line.
    pub counted: f64,
    /// s^2, the square over those.
    pub variance: f64,
    /// -2 log L, without what does not depend on the relative variances.
    pub deviance: f64,
}

/// How the deviance changes with the relative variances.
#[derive(Debug, Clone, Copy)]
pub(super) struct Slopes {
    pub gradient: [f64; 2],
    pub curvature: Symmetric,
    /// Minus the change of `Profile::square` with either.
    pub square: [f64; 2],
}

impl Group {
    fn determinant(&self, [u, v]: Ratios) -> f64 {
        let hours_square = self.weight * self.at * self.at + self.spread;
        1.0 + u * self.weight + v * hours_square + u * v * self.weight * self.spread
    }

    /// X'V^-1 X, over s^2.
    fn information(&self, [u, v]: Ratios) -> Symmetric {
        let det = self.determinant([u, v]);
        let both = self.weight * self.spread;
        let hours_square = self.weight * self.at * self.at + self.spread;
        [
            (self.weight + v * both) / det,
            -self.weight * self.at / det,
            (hours_square + u * both) / det,
        ]
    }

    /// X'V^-1 r, over s^2, of residuals with this line.
    fn pull(&self, line: Line, [u, v]: Ratios) -> [f64; 2] {
        let det = self.determinant([u, v]);
        let both = self.weight * self.spread;
        let level = self.weight * line.level;
        let at_none = line.level - line.gain * self.at;
        [
            (level + v * both * at_none) / det,
            (-self.at * level - self.spread * line.gain - u * both * line.gain) / det,
        ]
    }

    /// a'V^-1 b, over s^2, of what lies on these two lines.
    fn inner(&self, a: Line, b: Line, [u, v]: Ratios) -> f64 {
        let both = self.weight * self.spread;
        let gains = a.gain * b.gain;
        let at_none = (a.level - a.gain * self.at) * (b.level - b.gain * self.at);
        (self.weight * a.level * b.level + self.spread * gains + both * (v * at_none + u * gains))
            / self.determinant([u, v])
    }
}

impl Sums {
    /// The best fit at these relative variances.
    pub fn profile(&self, method: Method, ratios: Ratios) -> Profile {
        let mut information = [0.0; 3];
        let mut pull = [0.0; 2];
        let mut ln_determinants = 0.0;
        for group in &self.groups {
            add(&mut information, group.information(ratios));
            let [first, second] = group.pull(group.value, ratios);
            pull[0] += first;
            pull[1] += second;
            ln_determinants += group.determinant(ratios).ln();
        }
        let determinant = information[0] * information[2] - information[1] * information[1];
        let inverse = [
            information[2] / determinant,
            -information[1] / determinant,
            information[0] / determinant,
        ];
        let [as_new, rate] = times(inverse, pull);
        let square = self.rest.value
            + self
                .groups
                .iter()
                .map(|group| {
                    let left = left_of(group, as_new, rate);
                    group.inner(left, left, ratios)
                })
                .sum::<f64>();
        let (counted, ln_line) = match method {
            Method::Reml => (self.readings as f64 - 2.0, determinant.ln()),
            Method::Ml => (self.readings as f64, 0.0),
        };
        Profile {
            as_new,
            rate,
            inverse,
            square,
            counted,
            variance: square / counted,
            deviance: ln_determinants + ln_line + counted * (square / counted).ln(),
        }
    }

    /// How the deviance changes about that fit.
    pub fn slopes(&self, method: Method, ratios: Ratios, fit: &Profile) -> Slopes {
        // y'P V_j P y and y'P V_j P V_k P y, V_j the change of the covariance with ratio j.
        let mut pulls = [0.0; 2];
        let mut twice = [0.0; 3];
        let mut towards = [[0.0; 2]; 2];
        let traces = self.traces(method, ratios, fit.inverse);
        for group in &self.groups {
            let c = group.information(ratios);
            let q = group.pull(left_of(group, fit.as_new, fit.rate), ratios);
            pulls[0] += q[0] * q[0];
            pulls[1] += q[1] * q[1];
            add(
                &mut twice,
                [q[0] * q[0] * c[0], q[0] * q[1] * c[1], q[1] * q[1] * c[2]],
            );
            for (j, sum) in towards.iter_mut().enumerate() {
                sum[0] += q[j] * c[j];
                sum[1] += q[j] * c[j + 1];
            }
        }
        let line = |j: usize, k: usize| dot(towards[j], times(fit.inverse, towards[k]));
        let twice = [
            twice[0] - line(0, 0),
            twice[1] - line(0, 1),
            twice[2] - line(1, 1),
        ];
        let share = |j: usize, k: usize, twice: f64| {
            fit.counted * (2.0 * twice / fit.square - pulls[j] * pulls[k] / fit.square.powi(2))
        };
        Slopes {
            gradient: [0, 1].map(|j| traces.once[j] - fit.counted * pulls[j] / fit.square),
            curvature: [
                share(0, 0, twice[0]) - traces.twice[0],
                share(0, 1, twice[1]) - traces.twice[1],
                share(1, 1, twice[2]) - traces.twice[2],
            ],
            square: pulls,
        }
    }

    /// tr(P V_j) and tr(P V_j P V_k); with V^-1 in place of P for ML.
    pub fn traces(&self, method: Method, ratios: Ratios, inverse: Symmetric) -> Traces {
        let mut traces = Traces::default();
        let mut columns = [[0.0; 3]; 2];
        for group in &self.groups {
            let c = group.information(ratios);
            traces.once[0] += c[0];
            traces.once[1] += c[2];
            add(&mut traces.twice, c.map(|entry| entry * entry));
            if method == Method::Ml {
                continue;
            }
            let own = [[c[0], c[1]], [c[1], c[2]]];
            for (j, [first, second]) in own.into_iter().enumerate() {
                add(
                    &mut columns[j],
                    [first * first, first * second, second * second],
                );
            }
            let through = |j: usize, k: usize| dot(own[j], times(inverse, own[k]));
            traces.once[0] -= through(0, 0);
            traces.once[1] -= through(1, 1);
            add(
                &mut traces.twice,
                [
                    -2.0 * c[0] * through(0, 0),
                    -2.0 * c[1] * through(0, 1),
                    -2.0 * c[2] * through(1, 1),
                ],
            );
        }
        if method == Method::Reml {
            let about = columns.map(|column| product(inverse, column));
            let trace = |j: usize, k: usize| {
                let (a, b): ([[f64; 2]; 2], [[f64; 2]; 2]) = (about[j], about[k]);
                a[0][0] * b[0][0] + a[0][1] * b[1][0] + a[1][0] * b[0][1] + a[1][1] * b[1][1]
            };
            add(&mut traces.twice, [trace(0, 0), trace(0, 1), trace(1, 1)]);
        }
        traces
    }

    /// x'P y and x'P x, x the square of hours: how the readings pull on a common bend, and how much they tell of one.
    pub fn bend(&self, ratios: Ratios, fit: &Profile) -> (f64, f64) {
        let mut pull = self.rest.value_square;
        let mut information = self.rest.square;
        let mut line = [0.0; 2];
        for group in &self.groups {
            pull += group.inner(group.square, left_of(group, fit.as_new, fit.rate), ratios);
            information += group.inner(group.square, group.square, ratios);
            let [first, second] = group.pull(group.square, ratios);
            line[0] += first;
            line[1] += second;
        }
        (pull, information - dot(line, times(fit.inverse, line)))
    }
}

/// Traces of [`Sums::traces`].
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Traces {
    pub once: [f64; 2],
    pub twice: Symmetric,
}

/// What the fleet's line leaves of a group's own.
fn left_of(group: &Group, as_new: f64, rate: f64) -> Line {
    Line {
        level: group.value.level - as_new + rate * group.at,
        gain: group.value.gain + rate,
    }
}

fn add(sum: &mut Symmetric, more: Symmetric) {
    for (entry, more) in sum.iter_mut().zip(more) {
        *entry += more;
    }
}

pub(super) fn times(matrix: Symmetric, vector: [f64; 2]) -> [f64; 2] {
    [
        matrix[0] * vector[0] + matrix[1] * vector[1],
        matrix[1] * vector[0] + matrix[2] * vector[1],
    ]
}

pub(super) fn dot(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

/// The product of two symmetric matrices, row by row; not symmetric itself.
fn product(a: Symmetric, b: Symmetric) -> [[f64; 2]; 2] {
    let column = |k: usize| times(a, [b[k], b[k + 1]]);
    let (left, right) = (column(0), column(1));
    [[left[0], right[0]], [left[1], right[1]]]
}
