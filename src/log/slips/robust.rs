//! Robust location, spread and slope: a few wild rows do not move them, so slips are not compared with slips.

/// The median of some numbers: the mean of the two middle ones of an even count. `None` where there are none.
pub fn median(mut numbers: Vec<f64>) -> Option<f64> {
    numbers.sort_unstable_by(f64::total_cmp);
    median_of_sorted(&numbers)
}

/// The median of sorted numbers. `None` where there are none.
pub fn median_of_sorted(numbers: &[f64]) -> Option<f64> {
    median_by(numbers.len(), |i| numbers[i])
}

/// The median of sorted numbers without the one at index `left_out`. `None` where there is no other.
pub fn median_without(numbers: &[f64], left_out: usize) -> Option<f64> {
    let others = numbers.len().checked_sub(1)?;
    median_by(others, |i| numbers[i + usize::from(i >= left_out)])
}

/// The median of `n` sorted numbers, which `at` gives by index.
fn median_by(n: usize, at: impl Fn(usize) -> f64) -> Option<f64> {
    let half = n / 2;
    match n {
        0 => None,
        _ if n.is_multiple_of(2) => Some((at(half - 1) + at(half)) / 2.0),
        _ => Some(at(half)),
    }
}

/// 1/Φ⁻¹(¾): makes the median absolute deviation estimate the sd of normal numbers.
const NORMAL: f64 = 1.4826;

/// Robust sd of numbers about zero: their median absolute value times [`NORMAL`]. `None` where there are none.
pub fn spread(numbers: impl IntoIterator<Item = f64>) -> Option<f64> {
    median(numbers.into_iter().map(f64::abs).collect()).map(|middle| NORMAL * middle)
}

/// Most points of which every pair is used; of more, evenly picked ones.
const MOST_POINTS: usize = 120;

/// Slope of a line through points: the median of the slopes of pairs (Theil 1950, Sen 1968), robust while fewer than 29
/// % of the points are wild.
///
/// * `groups` — points (x, y); only pairs within one group count, so groups may have different intercepts
/// * returns 0 where all points of each group stand at one x
pub fn slope(groups: &[Vec<(f64, f64)>]) -> f64 {
    let points: usize = groups.iter().map(Vec::len).sum();
    let every = points.div_ceil(MOST_POINTS).max(1);
    let widest = groups
        .iter()
        .map(|points| width(points))
        .fold(0.0, f64::max);
    let mut slopes = Vec::new();
    for points in groups {
        let picked: Vec<_> = points.iter().step_by(every).collect();
        for (i, a) in picked.iter().enumerate() {
            for b in &picked[..i] {
                let dx = a.0 - b.0;
                // Slopes of near pairs are mostly noise.
                if dx.abs() >= widest / 4.0 && dx != 0.0 {
                    slopes.push((a.1 - b.1) / dx);
                }
            }
        }
    }
    median(slopes).unwrap_or(0.0)
}

fn width(points: &[(f64, f64)]) -> f64 {
    let least = points.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
    let most = points.iter().map(|p| p.0).fold(f64::NEG_INFINITY, f64::max);
    (most - least).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_of_an_even_count_lies_between() {
        assert_eq!(median(vec![3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(vec![4.0, 1.0, 2.0, 3.0]), Some(2.5));
        assert_eq!(median(vec![]), None);
    }

    #[test]
    fn the_median_of_the_others_is_that_of_a_list_without_one() {
        let sorted = [1.0, 2.0, 4.0, 4.0, 7.0, 9.0];
        for n in 1..=sorted.len() {
            for left_out in 0..n {
                let mut others = sorted[..n].to_vec();
                others.remove(left_out);
                let middle = median_without(&sorted[..n], left_out);
                assert_eq!(middle, median(others));
            }
        }
    }

    /// Nine slopes between the two targets, 2 in the middle; within each target the noise alone makes 10.
    #[test]
    fn near_points_do_not_turn_the_line() {
        let near = |x: f64, y: f64| [0.0, 0.3, 0.6].map(|d| (x + d, y + 10.0 * d));
        let points = [near(0.0, 0.0), near(4.0, 8.0)].concat();
        assert!((slope(&[points]) - 2.0).abs() < 1e-12);
    }

    #[test]
    fn a_wild_point_does_not_turn_the_line() {
        let mut points: Vec<(f64, f64)> = (0..10)
            .map(|i| (f64::from(i), 2.0 * f64::from(i)))
            .collect();
        points[7].1 = 500.0;
        let higher = points.iter().map(|(x, y)| (*x, y + 30.0)).collect();
        assert!((slope(&[points, higher]) - 2.0).abs() < 1e-12);
        assert_eq!(slope(&[vec![(1.0, 5.0), (1.0, 6.0)]]), 0.0);
        assert_eq!(slope(&[]), 0.0);
    }
}
