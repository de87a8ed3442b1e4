//! From a straight line back to where it reaches a value. Takes estimates with their covariance and how many
//! standard errors to allow; does not care where they came from.

/// A straight line y = intercept + slope·x with the covariance of its two estimates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Estimate at x = 0.
    pub intercept: f64,
    /// Estimate of the rise a unit of x.
    pub slope: f64,
    /// Variance of the intercept.
    pub intercept_variance: f64,
    /// Covariance of intercept and slope.
    pub covariance: f64,
    /// Variance of the slope.
    pub slope_variance: f64,
}

/// Which x cannot be ruled out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Region {
    /// All from `low` to `high`; an end is infinite where the slope is at the very edge of being told from 0.
    Interval {
        /// Lower end.
        low: f64,
        /// Upper end.
        high: f64,
    },
    /// The slope cannot be told from 0: all up to `below` and all from `above` on.
    HalfLines {
        /// Upper end of the lower half-line.
        below: f64,
        /// Lower end of the upper half-line.
        above: f64,
    },
    /// Nothing is ruled out.
    WholeLine,
}

/// The x at which the line reaches `y0`: the estimate (`None` for a flat line) and what is not ruled out.
///
/// * `extra_variance` — variance of y0 itself: σ²/m for the mean of m new readings, 0 for the mean line
/// * `multiplier` — standard errors allowed, as a rule a t quantile; ≥ 0
///
/// The set is that of all x with |intercept + slope·x − y0| at most `multiplier` standard errors, so it has the stated
/// chance however flat the line is, unlike an estimate plus or minus something.
///
/// Source: Fieller (1954), Journal of the Royal Statistical Society B 16, 175–185.
pub fn inverse(
    line: &Line,
    y0: f64,
    extra_variance: f64,
    multiplier: f64,
) -> (Option<f64>, Region) {
    let estimate = (line.slope != 0.0).then(|| (y0 - line.intercept) / line.slope);
    // About the x where height and slope are uncorrelated the quadratic loses no digits:
    // (slope² − k²·var slope) d² + 2·slope·gap·d + gap² − k²·(variance there + extra) ≤ 0.
    let pivot = if line.slope_variance > 0.0 {
        -line.covariance / line.slope_variance
    } else {
        0.0
    };
    let gap = line.intercept + line.slope * pivot - y0;
    let variance = (line.intercept_variance + line.covariance * pivot).max(0.0) + extra_variance;
    let k2 = multiplier * multiplier;
    let curve = line.slope * line.slope - k2 * line.slope_variance;
    let tilt = line.slope * gap;
    let level = gap * gap - k2 * variance;
    // A quarter of the discriminant, with what cancels left out.
    let discriminant = k2 * (line.slope_variance * gap * gap + curve * variance);
    if curve <= 0.0 && (discriminant < 0.0 || (curve == 0.0 && tilt == 0.0)) {
        return (estimate, Region::WholeLine);
    }
    if curve == 0.0 {
        let end = pivot - level / (2.0 * tilt);
        let (low, high) = if tilt > 0.0 {
            (f64::NEG_INFINITY, end)
        } else {
            (end, f64::INFINITY)
        };
        return (estimate, Region::Interval { low, high });
    }
    let far = -(tilt + discriminant.max(0.0).sqrt().copysign(tilt));
    let ends = if far == 0.0 {
        // gap = 0 and no width: both ends are the pivot.
        (pivot, pivot)
    } else {
        (pivot + far / curve, pivot + level / far)
    };
    let (first, second) = (ends.0.min(ends.1), ends.0.max(ends.1));
    let region = if curve > 0.0 {
        Region::Interval {
            low: first,
            high: second,
        }
    } else {
        Region::HalfLines {
            below: first,
            above: second,
        }
    };
    (estimate, region)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const LINE: Line = Line {
        intercept: 1.0,
        slope: 2.0,
        intercept_variance: 0.0,
        covariance: 0.0,
        slope_variance: 0.0,
    };

    #[test]
    fn a_known_line_gives_a_point() {
        let (estimate, region) = inverse(&LINE, 7.0, 0.0, 2.0);
        let (low, high) = (3.0, 3.0);
        assert_eq!(
            (estimate, region),
            (Some(3.0), Region::Interval { low, high })
        );
        let here = Region::Interval {
            low: 0.0,
            high: 0.0,
        };
        assert_eq!(inverse(&LINE, 1.0, 0.0, 2.0), (Some(0.0), here));
    }

    /// A known line and a reading of sd 1: 2·(1/slope) to either side, by hand.
    #[test]
    fn a_reading_alone_widens_by_its_error_over_the_slope() {
        let (_, region) = inverse(&LINE, 7.0, 1.0, 2.0);
        let (low, high) = (2.0, 4.0);
        assert_eq!(region, Region::Interval { low, high });
    }

    #[test]
    fn a_flat_line_rules_nothing_in() {
        let flat = Line {
            slope: 0.0,
            slope_variance: 1.0,
            intercept_variance: 1.0,
            ..LINE
        };
        assert_eq!(inverse(&flat, 1.5, 0.0, 2.0), (None, Region::WholeLine));
        // Far from the line's height something is ruled out: |9 − 1| > 2·√(1 + x²) for |x| < √15.
        let (_, region) = inverse(&flat, 9.0, 0.0, 2.0);
        let Region::HalfLines { below, above } = region else {
            panic!("{region:?}")
        };
        assert!((above - 15f64.sqrt()).abs() < 1e-12 && (below + 15f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn a_slope_at_the_edge_gives_one_half_line() {
        let edge = Line {
            slope_variance: 1.0,
            intercept_variance: 1.0,
            ..LINE
        };
        // (1 + 2x − 5)² ≤ 4(1 + x²) is 12 ≤ 16x.
        let (_, region) = inverse(&edge, 5.0, 0.0, 2.0);
        let (low, high) = (0.75, f64::INFINITY);
        assert_eq!(region, Region::Interval { low, high });
    }

    proptest! {
        /// The definition of the set, tried just inside and just outside its ends.
        #[test]
        fn ends_lie_where_the_definition_puts_them(
            a in -5.0..5.0f64, b in -3.0..3.0f64, va in 0.01..2.0f64, vb in 0.01..2.0f64,
            correlation in -0.9..0.9f64, y0 in -9.0..9.0f64, k in 0.1..3.0f64,
        ) {
            let covariance = correlation * (va * vb).sqrt();
            let line = Line {
                intercept: a, slope: b, intercept_variance: va, covariance, slope_variance: vb,
            };
            let inside = |x: f64| {
                (a + b * x - y0).powi(2) <= k * k * (va + 2.0 * covariance * x + vb * x * x + 0.1)
            };
            let (estimate, region) = inverse(&line, y0, 0.1, k);
            let near = |x: f64| 1e-6 * (1.0 + x.abs());
            match region {
                Region::Interval { low, high } => {
                    prop_assert!(low <= estimate.unwrap() && estimate.unwrap() <= high);
                    prop_assert!(inside(low + near(low)) && !inside(low - near(low)));
                    prop_assert!(inside(high - near(high)) && !inside(high + near(high)));
                }
                Region::HalfLines { below, above } => {
                    prop_assert!(inside(below - near(below)) && inside(above + near(above)));
                    prop_assert!(!inside(0.5 * (below + above)));
                }
                Region::WholeLine => {
                    prop_assert!((-200..200).all(|i| inside(f64::from(i))));
                }
            }
        }
    }
}
