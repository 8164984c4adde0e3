//! Special functions: the normal, beta and gamma distributions behind every chance.
//!
//! `libm` has the error function and the logarithm of the gamma function to the last digits, `statrs` the normal
//! quantile and the incomplete gamma function to ten digits or better (shapes 1e-2 to 1e4, tails to 1e-12). Written here
//! is what they have not: their incomplete beta function stops after 140 steps and takes its prefactor from differences
//! of `ln_gamma` (8e-10 off at shapes 1e4 and 1e-2), knows no 1 - x apart from x, and their beta and gamma quantiles
//! fail for small shapes, where only the logarithm of the variable can be solved for. Checked against scipy in
//! `tests/reference`.

use std::f64::consts::{FRAC_1_SQRT_2, PI, SQRT_2};
use std::sync::LazyLock;

use statrs::function::erf::erfc_inv;
use statrs::function::gamma::{gamma_lr, gamma_ur};

/// ln(2 pi) / 2.
const HALF_LN_TWO_PI: f64 = 0.918_938_533_204_672_8;

/// P(Z <= z) of the standard normal distribution, with full relative accuracy in the lower tail.
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * libm::erfc(-z * FRAC_1_SQRT_2)
}

/// P(X >= x) of the chi-square distribution with one degree of freedom, x at least 0: of a squared standard normal.
pub fn chi_square_upper(x: f64) -> f64 {
    libm::erfc((0.5 * x).sqrt())
}

/// P(T <= t) of the Student distribution with so many degrees of freedom, over 0.
pub fn student_cdf(t: f64, freedom: f64) -> f64 {
    // Beyond what can be squared nothing is left either.
    let square = t.clamp(-1e150, 1e150).powi(2);
    let (x, y) = (freedom / (freedom + square), square / (freedom + square));
    let (outside, _) = beta_tails(0.5 * freedom, 0.5, x, y);
    if t <= 0.0 {
        0.5 * outside
    } else {
        1.0 - 0.5 * outside
    }
}

/// Density of the standard normal distribution.
pub(crate) fn normal_density(z: f64) -> f64 {
    (-0.5 * z * z - HALF_LN_TWO_PI).exp()
}

/// The z with P(Z <= z) = `p`; minus infinity at 0 and infinity at 1.
pub fn normal_quantile(p: f64) -> f64 {
    -SQRT_2 * erfc_inv(2.0 * p)
}

/// Entries of the table of [`FastNormal`] on either side of 0, 1/16 apart: to 8.5.
const TABLE_HALF: usize = 136;

/// Taylor's series of P(Z <= z) around each entry of the table.
type Series = [[f64; 6]; 2 * TABLE_HALF + 1];

static TABLE: LazyLock<Series> = LazyLock::new(|| {
    std::array::from_fn(|index| {
        let z = (index as f64 - TABLE_HALF as f64) / 16.0;
        let (density, square) = (normal_density(z), z * z);
        // Derivatives of the density are Hermite polynomials times the density.
        [
            normal_cdf(z),
            density,
            density * -z / 2.0,
            density * (square - 1.0) / 6.0,
            density * z * (3.0 - square) / 24.0,
            density * (square * (square - 6.0) + 3.0) / 120.0,
        ]
    })
});

/// Many P(Z <= z) at a few nanoseconds each, within 1e-11: the series of a table's nearest entry.
#[derive(Clone, Copy)]
pub(crate) struct FastNormal(&'static Series);

impl FastNormal {
    /// Fetches the table once for many values.
    pub(crate) fn new() -> Self {
        FastNormal(&TABLE)
    }

    /// P(Z <= z).
    #[inline]
    pub(crate) fn cdf(self, z: f64) -> f64 {
        // So large that what is added is rounded to whole numbers, which then stand in the last bits.
        const WHOLE: f64 = 1.5 * (1_u64 << 52) as f64 + TABLE_HALF as f64;
        // NaN would become some entry; callers give numbers.
        let z = z.clamp(-8.5, 8.5);
        let shifted = z * 16.0 + WHOLE;
        let index = (shifted.to_bits() & 0x1ff) as usize;
        let [value, first, second, third, fourth, fifth] = self.0[index.min(2 * TABLE_HALF)];
        let step = z - (shifted - WHOLE) / 16.0;
        value + step * (first + step * (second + step * (third + step * (fourth + step * fifth))))
    }
}

/// ln Gamma(x), x > 0.
pub fn ln_gamma(x: f64) -> f64 {
    libm::lgamma(x)
}

/// ln B(a, b), a and b > 0.
pub(crate) fn ln_beta(a: f64, b: f64) -> f64 {
    // B(a, b) = sqrt(2 pi) a^(a-1/2) b^(b-1/2) / (a+b)^(a+b-1/2) times the three corrections of Stirling.
    let n = a + b;
    HALF_LN_TWO_PI + (a - 0.5) * (a / n).ln() + (b - 0.5) * (b / n).ln() - 0.5 * n.ln()
        + stirling_error(a)
        + stirling_error(b)
        - stirling_error(n)
}

/// ln Gamma(x + 1) - [(x + 1/2) ln x - x + ln(2 pi)/2], x > 0 (Loader, Fast and Accurate Computation of Binomial
/// Probabilities, 2000).
fn stirling_error(x: f64) -> f64 {
    if x < 16.0 {
        return ln_gamma(x + 1.0) - (x + 0.5) * x.ln() + x - HALF_LN_TWO_PI;
    }
    // Bernoulli numbers B_2k / (2k (2k - 1)); the first term left out is under 1e-16 from 16 on.
    let square = x * x;
    (1.0 / 12.0
        - (1.0 / 360.0
            - (1.0 / 1260.0
                - (1.0 / 1680.0 - (1.0 / 1188.0 - 691.0 / 360_360.0 / square) / square) / square)
                / square)
            / square)
        / x
}

/// x ln(x / m) + m - x without cancellation near x = m (Loader 2000).
fn deviance(x: f64, m: f64) -> f64 {
    let difference = x - m;
    if difference.abs() < 0.1 * (x + m) {
        let v = difference / (x + m);
        let mut sum = difference * v;
        let mut term = 2.0 * x * v;
        let square = v * v;
        for j in 1..1000 {
            term *= square;
            let next = sum + term / f64::from(2 * j + 1);
            if next == sum {
                break;
            }
            sum = next;
        }
        return sum;
    }
    x * (x / m).ln() - difference
}

/// x^a y^b / B(a, b), y = 1 - x, with full relative accuracy.
pub(crate) fn beta_power(a: f64, b: f64, x: f64, y: f64) -> f64 {
    Beta::new(a, b).power(x, y)
}

/// Regularised incomplete beta function I_x(a, b): P(X <= x) for X ~ Beta(a, b); a and b > 0, x in 0..=1.
pub fn beta_inc(a: f64, b: f64, x: f64) -> f64 {
    beta_tails(a, b, x, 1.0 - x).0
}

/// I_x(a, b) and 1 - I_x(a, b), given x and y = 1 - x apart so that neither loses digits.
pub(crate) fn beta_tails(a: f64, b: f64, x: f64, y: f64) -> (f64, f64) {
    Beta::new(a, b).tails(x, y)
}

/// A beta distribution, to be asked for many x.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Beta {
    a: f64,
    b: f64,
    /// ln B(a, b) where a or b is under 1; else the logarithm of what Stirling's formula leaves of 1 / B(a, b) at the mean.
    constant: f64,
}

impl Beta {
    /// Beta(a, b), a and b > 0.
    pub(crate) fn new(a: f64, b: f64) -> Self {
        let constant = if a.min(b) < 1.0 {
            ln_beta(a, b)
        } else {
            let n = a + b;
            let root = (a * b / (2.0 * PI * n)).sqrt();
            stirling_error(n) - stirling_error(a) - stirling_error(b) + root.ln()
        };
        Beta { a, b, constant }
    }

    /// As [`beta_power`].
    pub(crate) fn power(&self, x: f64, y: f64) -> f64 {
        let Beta { a, b, constant } = *self;
        if x <= 0.0 || y <= 0.0 {
            return 0.0;
        }
        if a.min(b) < 1.0 {
            return (a * x.ln() + b * y.ln() - constant).exp();
        }
        let n = a + b;
        (constant - deviance(a, n * x) - deviance(b, n * y)).exp()
    }

    /// As [`beta_tails`].
    pub(crate) fn tails(&self, x: f64, y: f64) -> (f64, f64) {
        let (lower, upper, _) = self.tails_and_power(x, y);
        (lower, upper)
    }

    /// As [`beta_tails`] and [`beta_power`], which the tails are made of.
    pub(crate) fn tails_and_power(&self, x: f64, y: f64) -> (f64, f64, f64) {
        let Beta { a, b, .. } = *self;
        if x <= 0.0 {
            return (0.0, 1.0, 0.0);
        }
        if y <= 0.0 {
            return (1.0, 0.0, 0.0);
        }
        let power = self.power(x, y);
        if x * (a + b + 2.0) < a + 1.0 {
            let lower = (power / a * beta_fraction(a, b, x, y)).min(1.0);
            (lower, 1.0 - lower, power)
        } else {
            let upper = (power / b * beta_fraction(b, a, y, x)).min(1.0);
            (1.0 - upper, upper, power)
        }
    }
}

/// a over the continued fraction of the incomplete beta function by the modified method of Lentz. It is the even part of
/// DLMF 8.17.22, so each round takes two of its steps (DiDonato & Morris, Algorithm 708, ACM TOMS 18, 1992, section 2); of
/// the order of sqrt(max(a, b)) rounds where x < (a + 1)/(a + b + 2). There all is over 0 up to round b.
fn beta_fraction(a: f64, b: f64, x: f64, y: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let guard = |value: f64| if value.abs() < TINY { TINY } else { value };
    let middle = a * y - b * x + 1.0;
    let mut inverse = 1.0 / (a + 1.0);
    let mut product = guard(a * middle * inverse);
    let (mut c, mut d) = (product, 0.0);
    for m in 1..100_000 {
        let m = f64::from(m);
        let even = m * (b - m) * x * inverse;
        let above = even * x * (a + m - 1.0) * (a + b + m - 1.0) * inverse;
        inverse = 1.0 / (a + 2.0 * m + 1.0);
        let beside = m + even + (a + m) * (middle + m * (2.0 - x)) * inverse;
        d = 1.0 / guard(beside + above * d);
        c = guard(beside + above / c);
        let change = c * d;
        product *= change;
        if (change - 1.0).abs() < 1e-15 {
            break;
        }
    }
    a / product
}

/// The x with I_x(a, b) = `p`; a and b > 0, p in 0..=1.
pub fn beta_quantile(a: f64, b: f64, p: f64) -> f64 {
    let t = beta_log_odds_quantile(a, b, p);
    1.0 / (1.0 + (-t).exp())
}

/// ln(x / (1 - x)) at the quantile `p` of Beta(a, b); minus infinity at 0 and infinity at 1.
pub(crate) fn beta_log_odds_quantile(a: f64, b: f64, p: f64) -> f64 {
    if p <= 0.0 {
        return f64::NEG_INFINITY;
    }
    if p >= 1.0 {
        return f64::INFINITY;
    }
    if p > 0.5 {
        return -log_odds_lower_quantile(b, a, 1.0 - p);
    }
    log_odds_lower_quantile(a, b, p)
}

fn log_odds_lower_quantile(a: f64, b: f64, p: f64) -> f64 {
    // I_x(a, b) <= (x / (1 - x))^a / (a B(a, b)), and comes to it as x goes to 0.
    let least = (p.ln() + a.ln() + ln_beta(a, b)) / a;
    log_concave_quantile(p, digamma(a) - digamma(b), least, |t| {
        let (x, y) = logistic(t);
        (beta_tails(a, b, x, y).0, beta_power(a, b, x, y))
    })
}

/// The s at which a distribution function is `p`, given `tail`(s), its value and density, log-concave in s as that of
/// the logarithm of a beta or gamma variable is; from `start`, somewhere in the middle. `least` is what s would be if
/// the tail were all exponential, which bounds s wherever it matters.
///
/// On the logarithm of a log-concave distribution function Newton's method overshoots at most once, to the left, and
/// from there only approaches; halving an interval stands by where the value cannot be held.
fn log_concave_quantile(p: f64, start: f64, least: f64, tail: impl Fn(f64) -> (f64, f64)) -> f64 {
    // So far out the variable itself is next to nothing and the tail is exponential to the last digit.
    if least < -650.0 {
        return least;
    }
    let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
    let mut s = start;
    for _ in 0..200 {
        let (value, density) = tail(s);
        if value < p {
            low = low.max(s);
        } else {
            high = high.min(s);
        }
        let mut next = s + (p.ln() - value.ln()) * value / density;
        if !(next > low && next < high) {
            next = if value < p {
                // Beyond what can be held on the left, or at the end of rounding.
                if high.is_finite() {
                    0.5 * (low + high)
                } else {
                    s + 1.0
                }
            } else if low.is_finite() {
                0.5 * (low + high)
            } else {
                least.min(s - 1.0)
            };
        }
        let step = (next - s).abs();
        s = next;
        if step <= 1e-14 * (1.0 + s.abs()) {
            break;
        }
    }
    s
}

/// x = 1/(1 + e^-t) and 1 - x, each with full relative accuracy.
pub(crate) fn logistic(t: f64) -> (f64, f64) {
    let small = (-t.abs()).exp();
    let (high, low) = (1.0 / (1.0 + small), small / (1.0 + small));
    if t >= 0.0 { (high, low) } else { (low, high) }
}

/// Derivative of ln Gamma, x > 0, to about 1e-8: only where to begin a search.
pub(crate) fn digamma(mut x: f64) -> f64 {
    let mut sum = 0.0;
    while x < 6.0 {
        sum -= 1.0 / x;
        x += 1.0;
    }
    let square = 1.0 / (x * x);
    sum + x.ln() - 0.5 / x - square * (1.0 / 12.0 - square * (1.0 / 120.0 - square / 252.0))
}

/// Second derivative of ln Gamma, x > 0, to about 1e-7: only how wide a distribution is.
pub(crate) fn trigamma(mut x: f64) -> f64 {
    let mut sum = 0.0;
    while x < 6.0 {
        sum += 1.0 / (x * x);
        x += 1.0;
    }
    let square = 1.0 / (x * x);
    sum + (1.0 + 0.5 / x + square * (1.0 / 6.0 - square / 30.0)) / x
}

/// x^a e^-x / Gamma(a), with full relative accuracy.
fn gamma_power(a: f64, x: f64) -> f64 {
    if a < 1.0 {
        return (a * x.ln() - x - ln_gamma(a)).exp();
    }
    (-stirling_error(a) - deviance(a, x)).exp() * (a / (2.0 * PI)).sqrt()
}

/// P(a, x) and 1 - P(a, x), the regularised incomplete gamma functions; a > 0, x >= 0.
fn gamma_tails(a: f64, x: f64) -> (f64, f64) {
    if x <= 0.0 {
        (0.0, 1.0)
    } else if x == f64::INFINITY {
        (1.0, 0.0)
    } else {
        (gamma_lr(a, x), gamma_ur(a, x))
    }
}

/// The x with P(X <= x) = `p` for X ~ Gamma(shape, rate), mean shape / rate; 0 at 0 and infinity at 1.
pub fn gamma_quantile(shape: f64, rate: f64, p: f64) -> f64 {
    if p <= 0.0 {
        return 0.0;
    }
    if p >= 1.0 {
        return f64::INFINITY;
    }
    let s = if p > 0.5 {
        // The upper tail, mirrored; it ends long before e^600.
        let tail = |s: f64| {
            let x = (-s).exp();
            (gamma_tails(shape, x).1, gamma_power(shape, x))
        };
        -log_concave_quantile(1.0 - p, -digamma(shape), -600.0, tail)
    } else {
        // P(a, x) <= x^a / Gamma(a + 1), and comes to it as x goes to 0.
        let least = (p.ln() + ln_gamma(shape + 1.0)) / shape;
        log_concave_quantile(p, digamma(shape), least, |s: f64| {
            let x = s.exp();
            (gamma_tails(shape, x).0, gamma_power(shape, x))
        })
    };
    s.exp() / rate
}

/// Gauss-Legendre nodes on (0, 1), ascending, and their weights (Abramowitz & Stegun, table 25.4, n = 8, moved from
/// (-1, 1)).
pub const GAUSS_LEGENDRE: [(f64, f64); 8] = [
    (0.019_855_071_751_231_9, 0.050_614_268_145_188_1),
    (0.101_666_761_293_186_6, 0.111_190_517_226_687_2),
    (0.237_233_795_041_835_5, 0.156_853_322_938_943_6),
    (0.408_282_678_752_175_1, 0.181_341_891_689_181),
    (0.591_717_321_247_825, 0.181_341_891_689_181),
    (0.762_766_204_958_164_5, 0.156_853_322_938_943_6),
    (0.898_333_238_706_813_4, 0.111_190_517_226_687_2),
    (0.980_144_928_248_768_1, 0.050_614_268_145_188_1),
];

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// DLMF 8.17.22 from the back, a step at a time.
    fn fraction_step_by_step(a: f64, b: f64, x: f64) -> f64 {
        let step = |m: f64, odd: bool| {
            if odd {
                -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0))
            } else {
                m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m))
            }
        };
        let rest = (1..3000).rev().fold(1.0, |rest, m| {
            let m = f64::from(m);
            1.0 + step(m, false) / (1.0 + step(m, true) / rest)
        });
        1.0 / (1.0 + step(0.0, true) / rest)
    }

    proptest! {
        /// Where it is asked for: x up to (a + 1)/(a + b + 2).
        #[test]
        fn the_beta_fraction_is_that_of_single_steps(
            ln_a in -4.0..9.0_f64, ln_b in -4.0..9.0_f64, share in 0.001..0.999_f64,
        ) {
            let (a, b) = (ln_a.exp(), ln_b.exp());
            let x = share * (a + 1.0) / (a + b + 2.0);
            let (got, expected) = (beta_fraction(a, b, x, 1.0 - x), fraction_step_by_step(a, b, x));
            // 1 - x has lost digits next to 1.
            let lost = 1e-15 / (1.0 - x);
            prop_assert!((got / expected - 1.0).abs() < 1e-12 + a * lost, "{got} {expected}");
        }
    }

    #[test]
    fn the_fast_normal_is_within_1e_11() {
        let fast = FastNormal::new();
        for i in -200_000..=200_000 {
            let z = f64::from(i) * 5e-5;
            assert!((fast.cdf(z) - normal_cdf(z)).abs() < 1e-11, "{z}");
        }
        assert!(fast.cdf(f64::INFINITY) > 1.0 - 1e-15);
        assert!(fast.cdf(f64::NEG_INFINITY) < 1e-15);
    }

    #[test]
    fn quantiles_reach_the_ends() {
        assert_eq!(beta_quantile(2.0, 3.0, 0.0), 0.0);
        assert_eq!(beta_quantile(2.0, 3.0, 1.0), 1.0);
        assert_eq!(gamma_quantile(2.0, 3.0, 0.0), 0.0);
        assert_eq!(gamma_quantile(2.0, 3.0, 1.0), f64::INFINITY);
        // Smaller than any double: nothing.
        assert_eq!(gamma_quantile(1e-3, 1.0, 0.1), 0.0);
        assert_eq!(beta_quantile(1e-3, 1.0, 0.1), 0.0);
        assert_eq!(normal_quantile(0.5).abs(), 0.0);
    }
}
