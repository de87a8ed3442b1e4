//! Middles and lines that a few wild rows do not move: what a slip is compared with must not be made of slips.

/// The middle number; the mean of the two middle ones of an even count. `None` of none.
pub fn median(mut numbers: Vec<f64>) -> Option<f64> {
    if numbers.is_empty() {
        return None;
    }
    numbers.sort_by(f64::total_cmp);
    let middle = numbers.len() / 2;
    Some(if numbers.len().is_multiple_of(2) {
        (numbers[middle - 1] + numbers[middle]) / 2.0
    } else {
        numbers[middle]
    })
}

/// Spread of numbers about zero, in the size of a standard deviation. `None` of none.
///
/// The middle distance from zero; 1.4826 times it is the standard deviation of normal numbers.
pub fn spread(numbers: impl IntoIterator<Item = f64>) -> Option<f64> {
    median(numbers.into_iter().map(f64::abs).collect()).map(|middle| 1.4826 * middle)
}

/// Points of which every pair is looked at; of more, so many evenly picked ones.
const MOST_POINTS: usize = 120;

/// Slope of a line through points, the middle one of the slopes of pairs (Theil 1950, Sen 1968): right while fewer
/// than 29 % of the points are wild.
///
/// * `groups` — points (x, y); only pairs within one group count, so groups may have different heights
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
                // Near pairs say more about chance than about the line.
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
    fn the_middle_of_an_even_count_lies_between() {
        assert_eq!(median(vec![3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(vec![4.0, 1.0, 2.0, 3.0]), Some(2.5));
        assert_eq!(median(vec![]), None);
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
