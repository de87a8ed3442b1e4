//! Since which change, and over the season as a whole, misses are smaller or larger than chance alone makes them.
//!
//! ln(miss) is a linear mixed model with sessions as groups (`model.md` §6, the season's story). Its columns are steps,
//! 0 before a change and 1 from it on, and a trend, 0 in the first session and 1 in the last. They are taken in one at a
//! time, the one that stands out most first, so that a change is not credited with what another one, or the whole season,
//! did.

use super::session::{Fresh, SessionMisses};
use crate::stats::Numerical;
use crate::stats::interval::{Interval, Level};
use crate::stats::mixed::{Mixture, Posterior, PseudoRow, Rows, SpreadPrior};
use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

/// A miss below this counts as this: tapes are read to the half centimetre (common practice), and 0 has no logarithm.
const MISS_MIN_M: f64 = 0.005;
/// Sd of ln(miss) from one run to the next: 0.64 for the distance of two normal errors of one size (π/√24), 1.11 for the
/// absolute value of one (π/√8). A guess worth one run.
const LN_MISS_SD: f64 = 0.8;
/// Scale of the half-t prior on θ. Where days differ twice as much as runs, as the guesses of `[prior]` have it, ln(miss)
/// has a θ of 0.7 (along alone) to 1. *Measured*: with a scale of 0.6 such seasons of four to nine sessions claim a change
/// in 8 to 14 of 100, with 1.0 in up to 7, with 1.5 in at most 6, which is 5 within chance.
const THETA_SCALE: f64 = 1.5;
/// Misses grow with distance as spreads do: to the power γ, whose prior in the travel fit (0, ½ and 1 with ¼, ½ and ¼) has
/// this mean and sd.
const GROWTH: (f64, f64) = (0.5, 0.354);
/// More changes than this are notes in a column of labels; only the season as a whole is judged.
const CHANGES_MAX: usize = 40;

/// What changes came to, all judged together.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// Every session in which a label was used for the first time, the first one left out.
    pub changes: Vec<LabelChange>,
    /// The season as a whole; `None` with fewer than three sessions.
    pub trend: Option<Trend>,
    /// Of each interval, so that all of them together hold at the level asked for (Bonferroni).
    pub level_of_each: Level,
}

impl Judged {
    /// Whether misses are said to have changed at all.
    pub fn is_claiming(&self) -> bool {
        let changes = self.changes.iter().map(|change| change.verdict);
        let mut all = changes.chain(self.trend.map(|trend| trend.verdict));
        all.any(SinceVerdict::is_claim)
    }
}

/// Labels that were used for the first time in one session, and what misses are since.
#[derive(Debug, Clone, PartialEq)]
pub struct LabelChange {
    /// Index of the session.
    pub session: usize,
    /// What was new. Several cannot be told apart.
    pub labels: Vec<Fresh>,
    /// Typical miss from that session on over what it was before; `None` where sessions are too few.
    pub ratio: Option<Interval>,
    /// What can be said of it.
    pub verdict: SinceVerdict,
}

/// A steady change over the season.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// Typical miss of the last session over that of the first.
    pub ratio: Interval,
    /// What can be said of it.
    pub verdict: SinceVerdict,
}

/// What can be said of a ratio of misses.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SinceVerdict {
    /// Misses are smaller, and chance alone hardly does that.
    Smaller,
    /// Misses are larger, and chance alone hardly does that.
    Larger,
    /// Chance alone would do it.
    Chance,
    /// It stands out, and so does another change: which of the two it was, nobody can tell.
    NotApart,
    /// Too few sessions to say.
    TooFew,
}

impl SinceVerdict {
    /// Whether misses are said to have changed.
    pub fn is_claim(self) -> bool {
        matches!(self, SinceVerdict::Smaller | SinceVerdict::Larger)
    }
}

/// What the changes of a season came to; `None` with one session.
///
/// * `level` — of all intervals together
pub fn judged(sessions: &[SessionMisses], level: Level) -> Option<Judged> {
    if sessions.len() < 2 {
        return None;
    }
    let mut changes: Vec<(usize, Vec<Fresh>)> = Vec::new();
    for (i, session) in sessions.iter().enumerate() {
        let first: Vec<Fresh> = session.fresh.iter().filter(|f| f.first).cloned().collect();
        if !first.is_empty() {
            changes.push((i, first));
        }
    }
    if changes.len() > CHANGES_MAX {
        changes.clear();
    }
    let columns = changes.iter().map(|c| step(c.0, sessions.len()));
    let columns: Vec<Vec<f64>> = columns.chain([trend(sessions.len())]).collect();
    let share = (1.0 - level.probability()) / columns.len() as f64;
    let level_of_each = Level::new(1.0 - share).unwrap_or(level);
    let mut told = Effects::new(sessions, columns, share).told(level_of_each);
    let trend = told.pop().and_then(|(ratio, verdict)| {
        Some(Trend {
            ratio: ratio?,
            verdict,
        })
    });
    let change = |((session, labels), (ratio, verdict))| LabelChange {
        session,
        labels,
        ratio,
        verdict,
    };
    Some(Judged {
        changes: changes.into_iter().zip(told).map(change).collect(),
        trend,
        level_of_each,
    })
}

/// 0 before a session and 1 from it on.
fn step(session: usize, sessions: usize) -> Vec<f64> {
    (0..sessions)
        .map(|i| f64::from(u8::from(i >= session)))
        .collect()
}

/// From 0 in the first session to 1 in the last.
fn trend(sessions: usize) -> Vec<f64> {
    let last = (sessions - 1) as f64;
    (0..sessions).map(|i| i as f64 / last).collect()
}

/// The effects that are looked for, and the runs they are looked for in.
struct Effects {
    /// ln of each counted miss.
    y: Vec<f64>,
    /// ln of each target over the geometric mean of all.
    distance: Vec<f64>,
    /// Session of each.
    session: Vec<usize>,
    /// Sessions.
    sessions: usize,
    /// Value of each effect in each session.
    columns: Vec<Vec<f64>>,
    /// A two-sided p below this stands out.
    share: f64,
}

impl Effects {
    fn new(sessions: &[SessionMisses], columns: Vec<Vec<f64>>, share: f64) -> Self {
        let runs = sessions.iter().enumerate();
        let runs = runs.flat_map(|(i, s)| s.counted().map(move |run| (i, run)));
        let (mut y, mut distance, mut session) = (Vec::new(), Vec::new(), Vec::new());
        for (i, run) in runs {
            y.push(run.miss_m.max(MISS_MIN_M).ln());
            distance.push(run.target_m.ln());
            session.push(i);
        }
        let mean = distance.iter().sum::<f64>() / distance.len() as f64;
        distance.iter_mut().for_each(|d| *d -= mean);
        Effects {
            y,
            distance,
            session,
            sessions: sessions.len(),
            columns,
            share,
        }
    }

    /// The ratio that each effect comes to, beside those that stand out, and what can be said of it.
    fn told(&self, level: Level) -> Vec<(Option<Interval>, SinceVerdict)> {
        let (chosen, fits) = self.standing_out();
        let of = |(effect, fit): (usize, &Option<Posterior>)| {
            let Some(fit) = fit else {
                return (None, SinceVerdict::TooFew);
            };
            let ln = about(fit, place(&chosen, effect)).central(level);
            let ratio = Interval {
                estimate: ln.estimate.exp(),
                low: ln.low.exp(),
                high: ln.high.exp(),
            };
            let verdict = match (ln.low > 0.0 || ln.high < 0.0, chosen.contains(&effect)) {
                (false, _) => SinceVerdict::Chance,
                (true, false) => SinceVerdict::NotApart,
                (true, true) if ln.high < 0.0 => SinceVerdict::Smaller,
                (true, true) => SinceVerdict::Larger,
            };
            (Some(ratio), verdict)
        };
        fits.par_iter().enumerate().map(of).collect()
    }

    /// Effects that stand out beside each other, the strongest first; and for every effect the fit of these and itself.
    fn standing_out(&self) -> (Vec<usize>, Vec<Option<Posterior>>) {
        let mut chosen: Vec<usize> = Vec::new();
        loop {
            let beside = |effect: usize| match chosen.contains(&effect) {
                true => chosen.clone(),
                false => [&chosen[..], &[effect]].concat(),
            };
            let all = (0..self.columns.len()).into_par_iter();
            let fits: Vec<Option<Posterior>> = all.map(|e| self.fit(&beside(e))).collect();
            let others = fits.iter().enumerate().filter(|(e, _)| !chosen.contains(e));
            let candidate = |(effect, fit): (usize, &Option<Posterior>)| {
                let fit = fit.as_ref()?;
                let p: Vec<f64> = (0..=chosen.len())
                    .map(|k| about(fit, k).two_sided_p(0.0))
                    .collect();
                let all = p.iter().all(|&p| p < self.share);
                all.then(|| (effect, p[chosen.len()]))
            };
            let best = others
                .filter_map(candidate)
                .min_by(|a, b| a.1.total_cmp(&b.1));
            let Some((effect, _)) = best else {
                return (chosen, fits);
            };
            chosen.push(effect);
        }
    }

    /// The fit with some of the effects; `None` where the sessions cannot tell them, or leave nothing to tell chance from.
    fn fit(&self, effects: &[usize]) -> Option<Posterior> {
        let (n, q) = (self.y.len(), effects.len() + 1);
        if self.sessions <= q {
            return None;
        }
        let x = DMatrix::from_fn(n, q + 1, |i, j| match j {
            0 => 1.0,
            _ if j == q => self.distance[i],
            _ => self.columns[effects[j - 1]][self.session[i]],
        });
        let y = DVector::from_column_slice(&self.y);
        let rows = Rows::new(x, y, self.session.clone());
        let of_sessions: Vec<usize> = (0..q).collect();
        if rows.with_columns(&of_sessions).estimable_columns().len() < q {
            return None;
        }
        posterior(&rows, q).ok()
    }
}

/// The posterior of a model of ln(miss) whose column `distance` is the power of the distance that misses grow with.
///
/// # Errors
/// Any error of the fit.
fn posterior(rows: &Rows, distance: usize) -> Result<Posterior, Numerical> {
    let growth = PseudoRow {
        column: distance,
        mean: GROWTH.0,
        weight: LN_MISS_SD / GROWTH.1,
    };
    let prior = SpreadPrior {
        theta_scale: THETA_SCALE,
        sigma_guess: Some(LN_MISS_SD),
    };
    Posterior::new(&rows.design(&[growth], 0.0)?, prior)
}

/// What is known of the effect at a place of a fit.
fn about(fit: &Posterior, place: usize) -> Mixture {
    // The intercept comes before the effects.
    let pick = |column: usize| f64::from(u8::from(column == place + 1));
    let x: Vec<f64> = (0..fit.columns()).map(pick).collect();
    fit.mean_distribution(&x)
}

/// Where an effect stands in the fit of those chosen and itself.
fn place(chosen: &[usize], effect: usize) -> usize {
    let among = chosen.iter().position(|&e| e == effect);
    among.unwrap_or(chosen.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_effect_not_yet_chosen_stands_last() {
        assert_eq!(place(&[4, 7], 7), 1);
        assert_eq!(place(&[4, 7], 2), 2);
    }
}
