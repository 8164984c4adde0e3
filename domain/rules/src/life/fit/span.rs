//! From one age to another, raised to the shape: what every part of the likelihood is made of.

/// From one age to a greater one, in logarithms, so that neither large shapes nor near ages lose digits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Span {
    /// ln of the greater age, over the unit of age.
    top: f64,
    /// ln of the ratio of both; infinite from age 0.
    width: f64,
}

/// A span's top^k - bottom^k at a shape k.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Power {
    /// Its logarithm: it may itself be too small or too large to be held.
    pub ln: f64,
    /// Its slope by k over itself.
    pub first: f64,
    /// The slope of its slope by k over itself.
    pub second: f64,
}

impl Span {
    /// From age `bottom` to `top` in units of `unit`; `None` where there is nothing between.
    pub fn new(bottom: f64, top: f64, unit: f64) -> Option<Self> {
        if top <= bottom {
            return None;
        }
        // The logarithm of a ratio near 1 is taken from the difference.
        let width = if bottom > 0.5 * top {
            ((top - bottom) / bottom).ln_1p()
        } else {
            // From 0 this is infinite.
            top.ln() - bottom.ln()
        };
        // Where it can be held a ratio keeps the digits that large shapes ask for.
        let ratio = top / unit;
        let top = if ratio.is_normal() {
            ratio.ln()
        } else {
            top.ln() - unit.ln()
        };
        Some(Span { top, width })
    }

    /// Whether it begins over age 0.
    pub fn begins_late(self) -> bool {
        self.width.is_finite()
    }

    /// top^k - bottom^k = e^(k t) (1 - e^(-k w)), and its slopes.
    pub fn power(self, shape: f64) -> Power {
        let top = self.top;
        if !self.begins_late() {
            return Power {
                ln: shape * top,
                first: top,
                second: top * top,
            };
        }
        let gained = -(-shape * self.width).exp_m1();
        // What the bottom leaves, by what was gained: e^(-k w) / (1 - e^(-k w)).
        let left = (1.0 - gained) / gained;
        let bottom = self.width * left;
        Power {
            ln: shape * top + gained.ln(),
            first: top + bottom,
            second: top * top + bottom * (2.0 * top - self.width),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Against the plain formula, and slopes against differences of it.
        #[test]
        fn powers_are_the_plain_ones(
            bottom in prop_oneof![Just(0.0), 1.0..80.0_f64], more in 1.0..100.0_f64, shape in 0.2..6.0_f64,
        ) {
            let (top, unit) = (bottom + more, 60.0);
            let power = Span::new(bottom, top, unit).unwrap().power(shape);
            let plain = |k: f64| (top / unit).powf(k) - (bottom / unit).powf(k);
            let value = plain(shape);
            prop_assert!((power.ln.exp() / value - 1.0).abs() < 1e-12);
            let h = 1e-4;
            let first = (plain(shape + h) - plain(shape - h)) / (2.0 * h);
            let second = (plain(shape + h) - 2.0 * value + plain(shape - h)) / (h * h);
            prop_assert!((power.first * value - first).abs() < 1e-6 * (1.0 + first.abs()));
            prop_assert!((power.second * value - second).abs() < 1e-5 * (1.0 + second.abs()));
        }
    }

    #[test]
    fn near_ages_and_large_shapes_keep_their_digits() {
        // (1 + d)^k - 1 = k d (1 + (k - 1) d / 2 + ...): to the first order at d = 1e-12.
        let near = Span::new(1.0, 1.0 + 1e-12, 1.0).unwrap().power(2.0);
        let exact = 2.0 * ((1.0 + 1e-12) - 1.0);
        assert!((near.ln.exp() / exact - 1.0).abs() < 1e-10);
        // 0.5^10000 is no double; its logarithm and slopes are.
        let far = Span::new(0.0, 50.0, 100.0).unwrap().power(1e4);
        assert!((far.ln + 1e4 * 2f64.ln()).abs() < 1e-8);
        assert!((far.first + 2f64.ln()).abs() < 1e-15);
        assert_eq!(Span::new(5.0, 5.0, 1.0), None);
        assert_eq!(Span::new(0.0, 0.0, 1.0), None);
    }
}
