//! The centre line and limits of a control chart. Takes values in order, gives what to draw; draws nothing.

use super::Numerical;

/// An exponentially weighted moving average chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Ewma {
    /// The average after each value.
    pub averages: Vec<f64>,
    /// Half the distance between the limits at each value; widens from the first value on.
    pub half_widths: Vec<f64>,
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
/// The average is Σ w_i x_i with w_i = w(1 − w)^(age), so its variance is σ² Σ w_i². Source: NIST/SEMATECH e-Handbook of
/// Statistical Methods, section 6.3.2.4.
pub fn ewma(
    values: &[f64],
    weight: f64,
    centre: f64,
    sigma: f64,
    multiplier: f64,
) -> Result<Ewma, Numerical> {
    let in_range = weight > 0.0 && weight <= 1.0 && sigma >= 0.0 && multiplier >= 0.0;
    if !in_range {
        return Err(Numerical::Shape {
            what: "a chart needs a weight in (0, 1] and limits that are not negative",
        });
    }
    let numbers = [centre, sigma, multiplier];
    if !values.iter().chain(&numbers).all(|value| value.is_finite()) {
        return Err(Numerical::NotFinite {
            what: "a value of a control chart",
        });
    }
    let keep = 1.0 - weight;
    let mut average = centre;
    let mut squares = 0.0; // Σ w_i²
    let mut chart = Ewma {
        averages: Vec::with_capacity(values.len()),
        half_widths: Vec::with_capacity(values.len()),
    };
    for value in values {
        average += weight * (value - average);
        squares = keep * keep * squares + weight * weight;
        chart.averages.push(average);
        chart
            .half_widths
            .push(multiplier * (sigma * sigma * squares).sqrt());
    }
    Ok(chart)
}

/// The mean difference of two independent normals is this many standard deviations, 2/√π: d₂ of the e-Handbook (6.3.2.2).
const MEAN_DIFFERENCE: f64 = std::f64::consts::FRAC_2_SQRT_PI;

/// Standard deviation of one value from how much each differs from the next: the mean moving range over d₂; 0 below two
/// values.
///
/// Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2.
pub fn sd_of_moving_ranges(values: &[f64]) -> f64 {
    let ranges = values.windows(2).map(|v| (v[1] - v[0]).abs());
    ranges.sum::<f64>() / values.len().saturating_sub(1).max(1) as f64 / MEAN_DIFFERENCE
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_weight_of_one_is_a_chart_of_the_values() {
        let chart = ewma(&[1.0, 5.0, -2.0], 1.0, 0.0, 1.5, 3.0).unwrap();
        assert_eq!(chart.averages, [1.0, 5.0, -2.0]);
        assert_eq!(chart.half_widths, [4.5; 3]);
    }

    /// The flow rates of NIST/SEMATECH e-Handbook 6.3.2.2 (from memory): mean moving range 1.8778, limits 55.8041 and
    /// 45.8159 about 50.81, with d₂ rounded to 1.128.
    #[test]
    fn moving_ranges_of_the_handbook() {
        let rates = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
        let mean = rates.iter().sum::<f64>() / 10.0;
        let sd = sd_of_moving_ranges(&rates);
        assert!((sd - 1.8778 / 1.128).abs() < 1e-3, "{sd}");
        assert!(
            (mean + 3.0 * sd - 55.8041).abs() < 2e-3,
            "{}",
            mean + 3.0 * sd
        );
        assert_eq!(sd_of_moving_ranges(&[3.0]), 0.0);
    }

    #[test]
    fn arguments_out_of_range_are_refused() {
        for (weight, sigma) in [(0.0, 1.0), (1.1, 1.0), (f64::NAN, 1.0), (0.2, -1.0)] {
            let chart = ewma(&[1.0], weight, 0.0, sigma, 3.0);
            assert!(matches!(chart, Err(Numerical::Shape { .. })));
        }
        let chart = ewma(&[f64::NAN], 0.2, 0.0, 1.0, 3.0);
        assert!(matches!(chart, Err(Numerical::NotFinite { .. })));
        assert!(ewma(&[], 0.2, 0.0, 1.0, 3.0).unwrap().averages.is_empty());
    }
}
