//! What is open between two, and how many more runs should settle it.

use super::comparison::Open;
use super::miss::targets;
use super::sides::Side;
use crate::calibration::EventRange;
use crate::decide::counted::{self, MissVariance};
use crate::setup::EventRule;
use crate::stats::distributions::normal_quantile;
use crate::stats::interval::Level;
use crate::stats::mixed::Reml;

/// Beyond this many runs of each, no number is given.
const RUNS_MAX: usize = 500;
/// With fewer sessions than this next to nothing is known of how days differ.
const SESSIONS_ENOUGH: f64 = 3.0;
/// Variances are moved by this part of σ² to see what they do to what counts.
const MOVED: f64 = 0.2;

/// The standard deviations within and between sessions, and how many runs they were estimated from.
struct Component {
    sigma: f64,
    tau: f64,
    runs: f64,
    sessions: f64,
    columns: f64,
    /// What its variance is multiplied by to be a variance of the miss: 1 along, the mean square target across.
    lever2: f64,
    /// What τ² does to the mean of what counts, over what σ² does: 1 for a first run.
    day_part: f64,
}

/// Variances of the estimates of a component's spreads, as parts of the variance of the miss.
struct OpenParts {
    days: f64,
    runs: f64,
}

impl Component {
    /// Variance of the estimate of σ² + d·τ², d the days' part, after `more` runs in sessions as large as until now, in the
    /// two independent parts it is made of: the session means' mean square, which is σ²/m + τ², and the mean square within
    /// (Searle, Casella & McCulloch 1992, ch. 3, balanced data). The prior on the ratio counts as about one session.
    fn open(&self, more: f64) -> OpenParts {
        let size = self.runs / self.sessions;
        let sessions = self.sessions + more / size;
        let within = (self.runs + more - sessions - self.columns + 1.0).max(1.0);
        let mean_square = self.tau * self.tau + self.sigma * self.sigma / size;
        let of_days = self.day_part * mean_square;
        let of_runs = (1.0 - self.day_part / size) * self.sigma * self.sigma;
        let lever4 = self.lever2 * self.lever2;
        OpenParts {
            days: lever4 * 2.0 * of_days * of_days / sessions,
            runs: lever4 * 2.0 * of_runs * of_runs / within,
        }
    }
}

/// What two sides' misses are known from, for one way of counting.
pub(super) struct OpenSpreads([Vec<Component>; 2]);

impl OpenSpreads {
    /// * `rule` — which runs count; one run for the first run of a new session
    pub fn new(sides: &[Side; 2], range: EventRange, rule: EventRule) -> Self {
        let square_m2: f64 = targets(range).iter().map(|(t, w)| w * t * t).sum();
        OpenSpreads(
            sides
                .each_ref()
                .map(|side| components(side, square_m2, rule)),
        )
    }

    fn sum(&self, k: usize, more: f64) -> f64 {
        let total = |parts: OpenParts| parts.days + parts.runs;
        self.0[k].iter().map(|c| total(c.open(more))).sum()
    }

    /// What most of the answer hangs on that is not known.
    ///
    /// * `open` — variance of ln miss of each
    pub fn open(&self, open: [f64; 2]) -> Open {
        if self
            .0
            .iter()
            .flatten()
            .any(|c| c.sessions < SESSIONS_ENOUGH)
        {
            return Open::TooFewSessions;
        }
        let (mut days, mut runs) = (0.0, 0.0);
        for (k, variance) in open.into_iter().enumerate() {
            let all = self.sum(k, 0.0);
            for part in self.0[k].iter().map(|c| c.open(0.0)) {
                days += variance * part.days / all;
                runs += variance * part.runs / all;
            }
        }
        if days > runs { Open::Days } else { Open::Runs }
    }

    /// The smallest even number of further runs of each that should bring the chance past the level, if the two go on to
    /// differ as they now seem to; `None` beyond 500.
    ///
    /// The normal score of the chance is taken to grow as the uncertainty of the two misses shrinks, and that as the
    /// variance of their spreads' estimates would. Days are as large as until now; half of the new runs are made on days
    /// that both share, which matters for differences of distance, hardly for spreads.
    ///
    /// * `open` — variance of ln miss of each; `chance` — that the second is better
    pub fn runs_to_settle(&self, open: [f64; 2], chance: f64, level: Level) -> Option<usize> {
        let score = normal_quantile(chance).abs();
        let wanted = normal_quantile(level.probability());
        let now: f64 = open.iter().sum();
        if !(score > 0.0 && wanted > 0.0 && now > 0.0) {
            return None;
        }
        (1..=RUNS_MAX / 2).map(|half| 2 * half).find(|&more| {
            let shrunk = |k: usize| open[k] * self.sum(k, more as f64) / self.sum(k, 0.0);
            score * (now / (shrunk(0) + shrunk(1))).sqrt() >= wanted
        })
    }
}

/// (∂/∂τ²)/(∂/∂σ²) of the mean of what counts, by differences; the other direction stays as it is.
///
/// * `of` — the event's runs for σ and τ of the direction asked of
fn day_part(
    sigma: f64,
    tau: f64,
    rule: EventRule,
    of: impl Fn(&[f64]) -> Vec<MissVariance>,
) -> f64 {
    if rule.runs == 1 {
        return 1.0;
    }
    let mean = |sigma2: f64, tau2: f64| {
        let runs: Vec<f64> = counted::innovations(sigma2.sqrt(), tau2.sqrt(), rule.runs).collect();
        counted::mean(&of(&runs), rule.counts)
    };
    let (sigma2, tau2) = (sigma * sigma, tau * tau);
    let step = MOVED * sigma2;
    let as_is = mean(sigma2, tau2);
    let of_days = mean(sigma2, tau2 + step) - as_is;
    let of_runs = mean(sigma2 + step, tau2) - as_is;
    if of_runs > 0.0 {
        (of_days / of_runs).clamp(0.0, 1.0)
    } else {
        1.0
    }
}

fn components(side: &Side, square_m2: f64, rule: EventRule) -> Vec<Component> {
    let fits = &side.settled.fits;
    let along = &fits.travel;
    let design = &along.likeliest().design;
    let across = fits.heading.as_ref();
    let as_they_are = |reml: &Reml, lever2: f64| -> Vec<f64> {
        let runs = counted::innovations(reml.sigma, reml.tau, rule.runs);
        runs.map(|v| lever2 * v).collect()
    };
    let beside = across.map_or_else(
        || vec![0.0; rule.runs as usize],
        |h| as_they_are(&h.reml, square_m2),
    );
    let zip = |a: &[f64], c: &[f64]| a.iter().copied().zip(c.iter().copied()).collect();
    let mut parts = vec![Component {
        sigma: along.reml.sigma,
        tau: along.reml.tau,
        runs: design.rows() as f64,
        sessions: design.groups() as f64,
        columns: design.columns() as f64,
        lever2: 1.0,
        day_part: day_part(along.reml.sigma, along.reml.tau, rule, |runs| {
            zip(runs, &beside)
        }),
    }];
    if let Some(across) = across {
        let beside = as_they_are(&along.reml, 1.0);
        parts.push(Component {
            sigma: across.reml.sigma,
            tau: across.reml.tau,
            runs: across.design().rows() as f64,
            sessions: across.design().groups() as f64,
            columns: across.design().columns() as f64,
            lever2: square_m2,
            day_part: day_part(across.reml.sigma, across.reml.tau, rule, |runs| {
                let runs: Vec<f64> = runs.iter().map(|v| square_m2 * v).collect();
                zip(&beside, &runs)
            }),
        });
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two alike: σ 6 cm and some τ, runs in equal sessions, counted by their first runs.
    fn alike(tau: f64, runs: f64, sessions: f64) -> OpenSpreads {
        let side = || {
            vec![Component {
                sigma: 0.06,
                tau,
                runs,
                sessions,
                columns: 2.0,
                lever2: 1.0,
                day_part: 1.0,
            }]
        };
        OpenSpreads([side(), side()])
    }

    /// By hand, variances of the estimates: ten runs a day on four days, 2(0.06²/10 + 0.1²)²/4 = 5.4e-5 for the days and
    /// 2(0.9 × 0.06²)²/35 = 6e-7 for the runs; two runs a day on six days that are alike, 2(0.06²/2)²/6 = 1.1e-6 and
    /// 2(0.06²/2)²/5 = 1.3e-6.
    #[test]
    fn what_is_open_is_what_is_known_least() {
        let open = |spreads: OpenSpreads| spreads.open([0.1, 0.1]);
        assert_eq!(open(alike(0.10, 40.0, 4.0)), Open::Days);
        assert_eq!(open(alike(0.0, 12.0, 6.0)), Open::Runs);
        assert_eq!(open(alike(0.10, 40.0, 2.0)), Open::TooFewSessions);
    }
}
