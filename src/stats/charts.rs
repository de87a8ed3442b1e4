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
    /// What the half-width grows to.
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

/// The chart of `values` about `centre`, started at the centre.
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
    if !(weight > 0.0 && weight <= 1.0 && sigma >= 0.0 && multiplier >= 0.0) {
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
    let steady_half_width = multiplier * sigma * (weight / (2.0 - weight)).sqrt();
    let mut average = centre;
    let mut forgotten = 1.0;
    let (averages, half_widths) = values
        .iter()
        .map(|value| {
            average += weight * (value - average);
            forgotten *= (1.0 - weight) * (1.0 - weight);
            (average, steady_half_width * (1.0 - forgotten).sqrt())
        })
        .unzip();
    Ok(Ewma {
        centre,
        averages,
        half_widths,
        steady_half_width,
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
        assert_eq!(ewma(&[], 0.2, 0.0, 1.0, 3.0).unwrap().first_outside(), None);
    }
}
