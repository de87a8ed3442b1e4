//! The centre line and limits of a control chart. Takes values in order, gives what to draw; draws nothing.

use super::Numerical;

/// An exponentially weighted moving average chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Ewma {
    /// The centre line, in the unit of the values.
    pub centre: f64,
    /// The average after each value.
    pub averages: Vec<f64>,
    /// Half the distance between the limits at each value; widens from the first value on.
    pub half_widths: Vec<f64>,
    /// What the half-width grows to where every value stands alone.
    pub steady_half_width: f64,
}

impl Ewma {
    /// Index of the first average outside the limits, if any.
    pub fn first_outside(&self) -> Option<usize> {
        let pairs = self.averages.iter().zip(&self.half_widths);
        pairs
            .into_iter()
            .position(|(average, half)| (average - self.centre).abs() > *half)
    }
}

/// The chart of independent `values` about `centre`, started at the centre.
///
/// * `weight` — of the newest value, above 0 and at most 1
/// * `sigma` — standard deviation of one value, ≥ 0, in the unit of the values
/// * `multiplier` — standard deviations of the average from centre to limit, as a rule 3
///
/// # Errors
/// [`Numerical::Shape`] for a weight, sigma or multiplier out of range; [`Numerical::NotFinite`] for a value.
///
/// Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4; the widening limits from the variance of
/// the average after i values, σ²·w/(2 − w)·(1 − (1 − w)^(2i)).
pub fn ewma(
    values: &[f64],
    weight: f64,
    centre: f64,
    sigma: f64,
    multiplier: f64,
) -> Result<Ewma, Numerical> {
    let alone: Vec<usize> = (0..values.len()).collect();
    grouped_ewma(values, &alone, weight, centre, (sigma, 0.0), multiplier)
}

/// The chart of values about `centre` whose groups, next to each other in order, share a shift of their own: limits
/// that leave room for the shifts.
///
/// * `group` — a label a value; values of one group stand together
/// * `spreads` — standard deviation of a value within its group, and of the groups' shifts
///
/// # Errors
/// Those of [`ewma`].
///
/// The average is Σ w_i e_i with w_i = w(1 − w)^(age), so its variance is σ² Σ w_i² + τ² Σ_groups (Σ_group w_i)².
pub fn grouped_ewma(
    values: &[f64],
    group: &[usize],
    weight: f64,
    centre: f64,
    spreads: (f64, f64),
    multiplier: f64,
) -> Result<Ewma, Numerical> {
    let (sigma, tau) = spreads;
    let in_range = weight > 0.0 && weight <= 1.0 && sigma >= 0.0 && tau >= 0.0;
    if !(in_range && multiplier >= 0.0 && group.len() == values.len()) {
        return Err(Numerical::Shape {
            what: "a chart needs a weight in (0, 1] and limits that are not negative",
        });
    }
    let numbers = [centre, sigma, tau, multiplier];
    if !values.iter().chain(&numbers).all(|value| value.is_finite()) {
        return Err(Numerical::NotFinite {
            what: "a value of a control chart",
        });
    }
    let steady = weight / (2.0 - weight);
    let keep = 1.0 - weight;
    let mut average = centre;
    let mut squares = 0.0; // Σ w_i²
    let mut group_squares = 0.0; // Σ over finished groups of (Σ w_i)²
    let mut group_sum = 0.0; // Σ w_i of the group in progress
    let mut averages = Vec::with_capacity(values.len());
    let mut half_widths = Vec::with_capacity(values.len());
    for (i, value) in values.iter().enumerate() {
        average += weight * (value - average);
        if i > 0 && group[i] != group[i - 1] {
            group_squares += group_sum * group_sum;
            group_sum = 0.0;
        }
        squares = keep * keep * squares + weight * weight;
        group_squares *= keep * keep;
        group_sum = keep * group_sum + weight;
        let shifts = group_squares + group_sum * group_sum;
        averages.push(average);
        half_widths.push(multiplier * (sigma * sigma * squares + tau * tau * shifts).sqrt());
    }
    Ok(Ewma {
        centre,
        averages,
        half_widths,
        steady_half_width: multiplier * sigma.hypot(tau) * steady.sqrt(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_weight_of_one_is_a_chart_of_the_values() {
        let chart = ewma(&[1.0, 5.0, -2.0], 1.0, 0.0, 1.5, 3.0).unwrap();
        assert_eq!(chart.averages, [1.0, 5.0, -2.0]);
        assert_eq!(chart.half_widths, [4.5; 3]);
        assert_eq!(chart.first_outside(), Some(1));
    }

    #[test]
    fn arguments_out_of_range_are_refused() {
        for (weight, sigma) in [(0.0, 1.0), (1.1, 1.0), (f64::NAN, 1.0), (0.2, -1.0)] {
            let chart = ewma(&[1.0], weight, 0.0, sigma, 3.0);
            assert!(matches!(chart, Err(Numerical::Shape { .. })));
        }
        let chart = ewma(&[f64::NAN], 0.2, 0.0, 1.0, 3.0);
        assert!(matches!(chart, Err(Numerical::NotFinite { .. })));
        let chart = grouped_ewma(&[1.0, 2.0], &[0], 0.2, 0.0, (1.0, 1.0), 3.0);
        assert!(matches!(chart, Err(Numerical::Shape { .. })));
        assert_eq!(ewma(&[], 0.2, 0.0, 1.0, 3.0).unwrap().first_outside(), None);
    }

    /// By hand: after two values of one group and one of the next with weight 1/2 the average is
    /// e1/8 + e2/4 + e3/2, so its variance is σ²·21/64 + τ²·((3/8)² + (1/2)²) = σ²·21/64 + τ²·25/64.
    #[test]
    fn limits_leave_room_for_the_shifts_of_groups() {
        let chart = grouped_ewma(&[0.0; 3], &[4, 4, 9], 0.5, 0.0, (2.0, 3.0), 1.0).unwrap();
        let wanted = (4.0 * 21.0 / 64.0 + 9.0 * 25.0 / 64.0f64).sqrt();
        assert!((chart.half_widths[2] - wanted).abs() < 1e-14);
    }
}
