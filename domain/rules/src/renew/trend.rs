//! What a machine's winters cost, by its age: a line through what they did cost, with its doubt.
//!
//! The cost of the a-th winter is first + rise (a - 1) + scatter. Conjugate Bayesian linear regression with unknown variance
//! (normal-inverse-gamma; Gelman et al., Bayesian Data Analysis, 3rd edition, 14.8): few winters move what was stated a
//! little, many decide, and how far to trust the line follows a Student distribution.

use crate::special::student_cdf;

/// Winters of one age.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Winters {
    /// Of machines in their so-manieth winter, from 1.
    pub winter: f64,
    /// How many.
    pub count: f64,
    /// What they cost in the mean.
    pub mean: f64,
    /// The sum of their squared distances from that mean.
    pub squares: f64,
}

impl Winters {
    /// One winter.
    pub fn one(winter: f64, cost: f64) -> Self {
        Winters {
            winter,
            count: 1.0,
            mean: cost,
            squares: 0.0,
        }
    }
}

/// What is stated of the line before any winter is looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stated {
    /// Cost of the first winter, and its standard deviation between machines.
    pub first: (f64, f64),
    /// How much dearer each next one is, and its standard deviation between machines.
    pub rise: (f64, f64),
    /// Standard deviation of a winter about the line.
    pub scatter: f64,
}

/// Winters that the stated scatter counts for; over 2, so that it has a mean.
const SCATTER_WINTERS: f64 = 4.0;

/// The line as it is believed to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// First, rise.
    mean: [f64; 2],
    /// Their precision, in units of one over the scatter's variance.
    precision: [[f64; 2]; 2],
    /// The variance of the scatter is inverse gamma of this shape and scale.
    shape: f64,
    scale: f64,
}

impl Trend {
    /// As stated. The deviations and the scatter are over 0.
    pub fn stated(stated: Stated) -> Self {
        let variance = stated.scatter * stated.scatter;
        let precision = |sd: f64| variance / (sd * sd);
        let shape = SCATTER_WINTERS / 2.0;
        Trend {
            mean: [stated.first.0, stated.rise.0],
            precision: [
                [precision(stated.first.1), 0.0],
                [0.0, precision(stated.rise.1)],
            ],
            shape,
            // The mean of the variance is the stated one.
            scale: variance * (shape - 1.0),
        }
    }

    /// After these winters.
    pub fn after(&self, winters: impl Iterator<Item = Winters> + Clone) -> Self {
        let mut precision = self.precision;
        let mut moment = times(self.precision, self.mean);
        let mut count = 0.0;
        for winters in winters.clone() {
            let x = [1.0, winters.winter - 1.0];
            for (row, along) in precision.iter_mut().zip(x) {
                for (entry, across) in row.iter_mut().zip(x) {
                    *entry += winters.count * along * across;
                }
            }
            for (sum, along) in moment.iter_mut().zip(x) {
                *sum += winters.count * along * winters.mean;
            }
            count += winters.count;
        }
        let mean = times(inverse(precision), moment);
        // Sums of squares about the new line: differences of large sums would lose their digits.
        let about = winters.map(|winters| {
            let off = winters.mean - (mean[0] + mean[1] * (winters.winter - 1.0));
            winters.count * off * off + winters.squares
        });
        let moved = [mean[0] - self.mean[0], mean[1] - self.mean[1]];
        let squares = about.sum::<f64>() + dot(moved, times(self.precision, moved));
        Trend {
            mean,
            precision,
            shape: self.shape + count / 2.0,
            scale: self.scale + squares / 2.0,
        }
    }

    /// The line of one machine of those that this line is the mean of: machines differ as stated.
    pub fn of_one(&self, stated: Stated) -> Self {
        Trend::stated(Stated {
            first: (self.mean[0], stated.first.1),
            rise: (self.mean[1], stated.rise.1),
            scatter: self.scatter(),
        })
    }

    /// Cost of the first winter in the mean; may be under 0, as a line through few winters may.
    pub fn first(&self) -> f64 {
        self.mean[0]
    }

    /// How much dearer each next winter is.
    pub fn rise(&self) -> f64 {
        self.mean[1]
    }

    /// Standard deviation of that rise; what is known of it is a Student distribution with more than 2 degrees of freedom.
    pub fn rise_sd(&self) -> f64 {
        self.sd([0.0, 1.0])
    }

    /// Standard deviation of a winter about the line.
    pub fn scatter(&self) -> f64 {
        (self.scale / (self.shape - 1.0)).sqrt()
    }

    /// What the `winter`-th is expected to cost: nothing at the least.
    pub fn cost_of(&self, winter: f64) -> f64 {
        (self.mean[0] + self.mean[1] * (winter - 1.0)).max(0.0)
    }

    /// Standard deviation of what the `winter`-th is expected to cost.
    pub fn cost_sd(&self, winter: f64) -> f64 {
        self.sd([1.0, winter - 1.0])
    }

    /// The chance that `weights` times (first, rise) is under its mean and `room` more.
    pub fn chance_under(&self, weights: [f64; 2], room: f64) -> f64 {
        student_cdf(room / self.spread(weights), 2.0 * self.shape)
    }

    /// Scale of the Student distribution of `weights` times (first, rise).
    fn spread(&self, weights: [f64; 2]) -> f64 {
        let variance = dot(weights, times(inverse(self.precision), weights));
        (variance * self.scale / self.shape).sqrt()
    }

    fn sd(&self, weights: [f64; 2]) -> f64 {
        // A Student distribution with 2 shape degrees of freedom is so much wider than its scale.
        self.spread(weights) * (self.shape / (self.shape - 1.0)).sqrt()
    }
}

fn dot(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

fn times(matrix: [[f64; 2]; 2], vector: [f64; 2]) -> [f64; 2] {
    [dot(matrix[0], vector), dot(matrix[1], vector)]
}

fn inverse([[a, b], [c, d]]: [[f64; 2]; 2]) -> [[f64; 2]; 2] {
    let determinant = a * d - b * c;
    [
        [d / determinant, -b / determinant],
        [-c / determinant, a / determinant],
    ]
}
