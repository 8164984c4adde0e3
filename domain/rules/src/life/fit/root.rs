//! Where a function that rises comes to 0.

/// A function's value and slope.
#[derive(Debug, Clone, Copy)]
pub(super) struct Slope {
    pub value: f64,
    pub slope: f64,
}

/// The x between `low` and `high`, both over 0, at which `f`, negative at `low` and positive at `high`, comes to 0: by
/// Newton's method, and by halving (of the logarithm) where a step would leave the bracket or gains too little.
pub(super) fn rising_root(
    mut low: f64,
    mut high: f64,
    start: f64,
    mut f: impl FnMut(f64) -> Slope,
) -> f64 {
    let mut x = start;
    let mut before = high - low;
    for _ in 0..200 {
        let Slope { value, slope } = f(x);
        if value == 0.0 {
            break;
        }
        if value < 0.0 {
            low = x;
        } else {
            high = x;
        }
        let newton = x - value / slope;
        let next = if newton > low && newton < high && (newton - x).abs() < 0.5 * before {
            newton
        } else {
            (low * high).sqrt()
        };
        before = (next - x).abs();
        x = next;
        if before <= 1e-14 * x {
            break;
        }
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn roots_are_found_from_anywhere() {
        for root in [1e-4, 0.3, 1.0, 99.0] {
            for start in [1e-4, 1.0, 100.0] {
                // Straight, and so bent that Newton's method by itself runs away.
                let straight = |x: f64| Slope {
                    value: x - root,
                    slope: 1.0,
                };
                let bent = |x: f64| Slope {
                    value: (50.0 * (x - root)).atan(),
                    slope: 50.0 / (1.0 + (50.0 * (x - root)).powi(2)),
                };
                let got = rising_root(1e-5, 1e3, start, straight);
                assert!((got / root - 1.0).abs() < 1e-12, "{root} {start} {got}");
                let got = rising_root(1e-5, 1e3, start, bent);
                assert!((got / root - 1.0).abs() < 1e-10, "{root} {start} {got}");
            }
        }
    }
}
