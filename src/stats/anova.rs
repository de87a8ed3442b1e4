//! Analysis of variance: sums of squares with their degrees of freedom, and the F test of two of them.

use super::distributions::f_sf;

/// A sum of squares with its degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Squares {
    /// The sum, in squared units of the response.
    pub sum: f64,
    /// Degrees of freedom.
    pub df: usize,
}

/// An F test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FTest {
    /// The ratio; +∞ where the residual sum of squares of the larger model is 0.
    pub f: f64,
    /// Degrees of freedom of the numerator.
    pub d1: usize,
    /// Degrees of freedom of the denominator.
    pub d2: usize,
    /// Chance of a ratio at least as large when the smaller model holds.
    pub p: f64,
}

/// Whether a larger model leaves over less than a smaller one by more than chance.
///
/// * `smaller`, `larger` — what each model leaves over; the larger model contains the smaller
/// * `None` when the models have equally many coefficients or the larger has none of its degrees of freedom left
pub fn f_test(smaller: Squares, larger: Squares) -> Option<FTest> {
    let d1 = smaller.df.checked_sub(larger.df).filter(|d1| *d1 > 0)?;
    if larger.df == 0 {
        return None;
    }
    let d2 = larger.df;
    // Rounding may leave the larger model a hair more than the smaller one.
    let gain = (smaller.sum - larger.sum).max(0.0) / d1 as f64;
    let f = if gain == 0.0 {
        0.0
    } else {
        gain / (larger.sum / d2 as f64)
    };
    let p = f_sf(f, d1 as f64, d2 as f64);
    Some(FTest { f, d1, d2, p })
}

/// Squares about the mean of each group, without the loss of digits that subtracting sums of squares brings.
///
/// * `group` — a label a row, any numbers; `y` — as many values
///
/// Source: the two-pass formula, Chan, Golub and LeVeque (1983), American Statistician 37.
pub fn within_groups(group: &[usize], y: &[f64]) -> Squares {
    let mut rows: Vec<usize> = (0..y.len().min(group.len())).collect();
    rows.sort_by_key(|i| group[*i]);
    let mut squares = Squares { sum: 0.0, df: 0 };
    for members in rows.chunk_by(|i, j| group[*i] == group[*j]) {
        let n = members.len() as f64;
        // Values are taken from the first one on, so that a large common part costs no digits of the mean.
        let origin = y[members[0]];
        let mean = members.iter().map(|i| y[*i] - origin).sum::<f64>() / n;
        let deviations = members.iter().map(|i| (y[*i] - origin) - mean);
        squares.sum += deviations.map(|d| d * d).sum::<f64>();
        squares.df += members.len() - 1;
    }
    squares
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_left_over_is_certain() {
        let some = Squares { sum: 2.0, df: 5 };
        let none = Squares { sum: 0.0, df: 3 };
        let test = f_test(some, none).unwrap();
        assert_eq!((test.f, test.p), (f64::INFINITY, 0.0));
        let test = f_test(Squares { sum: 0.0, df: 5 }, none).unwrap();
        assert_eq!((test.f, test.p), (0.0, 1.0));
        assert_eq!(f_test(none, some), None);
    }
}
