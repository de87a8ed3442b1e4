//! What is known of arc and heading in, where a run may come to rest out (`model.md` §3).

pub mod tabulated;

use crate::geometry;
use crate::setup::Measure;
use crate::stats::distributions::{normal_pdf, normal_quantile};
use crate::stats::interval::{Interval, Level};
use crate::stats::mixed::Mixture;
use crate::stats::optimise;
use std::f64::consts::FRAC_PI_2;
use std::sync::OnceLock;
use tabulated::TabulatedQuantiles;

/// What a person sets for a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hand {
    /// Announced target.
    pub target_m: f64,
    /// Turns wound on.
    pub turns: f64,
    /// Aim mark, right positive.
    pub aim_right_m: f64,
}

/// The predictive distribution of one run at one setting.
#[derive(Debug, Clone)]
pub struct Prediction {
    hand: Hand,
    /// Arc, m.
    arc: TabulatedQuantiles,
    /// Mean arc, m.
    arc_mean_m: f64,
    /// Chord heading, rad (aim included), at the mean arc; `None` where nothing is known across.
    direction: Option<TabulatedQuantiles>,
    curvature_per_m: f64,
}

/// Positive nodes of Gauss–Legendre quadrature with 24 points on (−1, 1), with their weights (Abramowitz & Stegun table
/// 25.4). How near they come to the miss's distribution: `src/model.md`, section 11.
const GAUSS: [(f64, f64); 12] = [
    (0.064_056_892_862_605_63, 0.127_938_195_346_752_16),
    (0.191_118_867_473_616_3, 0.125_837_456_346_828_3),
    (0.315_042_679_696_163_4, 0.121_670_472_927_803_39),
    (0.433_793_507_626_045_1, 0.115_505_668_053_725_6),
    (0.545_421_471_388_839_6, 0.107_444_270_115_965_63),
    (0.648_093_651_936_975_5, 0.097_618_652_104_113_88),
    (0.740_124_191_578_554_4, 0.086_190_161_531_953_27),
    (0.820_001_985_973_903, 0.073_346_481_411_080_3),
    (0.886_415_527_004_401_1, 0.059_298_584_915_436_78),
    (0.938_274_552_002_732_8, 0.044_277_438_817_419_81),
    (0.974_728_555_971_309_5, 0.028_531_388_628_933_663),
    (0.995_187_219_997_021_3, 0.012_341_229_799_987_2),
];

/// First step of the search for a quantile of the miss, of where it starts.
const FIRST_STEP: f64 = 0.1;
/// A quantile of the miss is settled within this part of the target's distance.
const MISS_SETTLED: f64 = 1e-6;
/// Scores beyond these hold a thousand-millionth of the runs.
const SCORE_MAX: f64 = 6.0;

impl Prediction {
    /// From what is known of a run made at a setting.
    ///
    /// * `arc` — predictive distribution of the arc, m, and its mean
    /// * `excess` — that of the heading excess at the mean arc, rad; `None` where nothing is known across
    pub fn new(
        hand: Hand,
        curvature_per_m: f64,
        (arc, arc_mean_m): (&Mixture, f64),
        excess: Option<&Mixture>,
    ) -> Self {
        let alpha = geometry::aim_heading(hand.target_m, hand.aim_right_m);
        let direction = excess.map(|excess| TabulatedQuantiles::from_mixture(excess, alpha));
        Prediction {
            hand,
            arc: TabulatedQuantiles::from_mixture(arc, 0.0),
            arc_mean_m,
            direction,
            curvature_per_m,
        }
    }

    /// The setting predicted at.
    pub fn hand(&self) -> Hand {
        self.hand
    }

    /// Mean arc, m.
    pub fn arc_mean_m(&self) -> f64 {
        self.arc_mean_m
    }

    /// κ̂ of the trim in use, 1/m.
    pub fn curvature_per_m(&self) -> f64 {
        self.curvature_per_m
    }

    /// The chord heading, rad, aim included; `None` where nothing is known across.
    pub fn direction(&self) -> Option<&TabulatedQuantiles> {
        self.direction.as_ref()
    }

    /// The median direction, rad.
    fn direction_median(&self) -> f64 {
        self.direction.as_ref().map_or(0.0, |d| d.at_score(0.0))
    }

    /// Along the line past the target, m: central interval, the sideways direction at its median.
    pub fn long_m(&self, level: Level) -> Interval {
        let cos = self.direction_median().cos();
        let long = |p: f64| {
            geometry::chord_of_arc(self.arc.quantile(p), self.curvature_per_m) * cos
                - self.hand.target_m
        };
        let tail = level.lower_tail();
        let (a, b) = (long(tail), long(1.0 - tail));
        // A path that bends right round comes back: farther along it is then nearer.
        Interval::holding(long(0.5), a.min(b), a.max(b))
    }

    /// Across the line, m, right positive: central interval, the arc at its mean.
    pub fn right_m(&self, level: Level) -> Option<Interval> {
        let direction = self.direction.as_ref()?;
        let chord = geometry::chord_of_arc(self.arc_mean_m, self.curvature_per_m);
        // Directions of which nothing is known may lie beyond a right angle; no run is farther aside than at one.
        let right = |p: f64| chord * direction.quantile(p).clamp(-FRAC_PI_2, FRAC_PI_2).sin();
        let across = Interval::central(level, right);
        // Beyond a full circle the chord is negative, and right is left.
        Some(Interval {
            low: across.low.min(across.high),
            high: across.high.max(across.low),
            ..across
        })
    }

    /// Chance of a miss of at most `within_m`; `None` for a point target when nothing is known across.
    ///
    /// For a point target at T an integral over the arc's normal score z of the chance of a direction within reach,
    /// cos ψ ≥ (c² + T² − q²)/(2cT) with c the chord. It goes to 0 like a square root at the scores of the chords T ± q, in
    /// between z = middle + half·sin θ makes it smooth in θ. Scores, not metres: a mixture may have a core far narrower
    /// than its tails.
    pub fn chance_within(&self, within_m: f64, measure: Measure) -> Option<f64> {
        if within_m <= 0.0 {
            return Some(0.0);
        }
        let target = self.hand.target_m;
        let kappa = self.curvature_per_m;
        // Beyond the circle's diameter nothing can come to rest: all arcs are shorter.
        let arc_of = |chord: f64| {
            let arc = geometry::arc_of_chord(chord.max(0.0), kappa);
            if arc.is_finite() { arc } else { f64::INFINITY }
        };
        if measure == Measure::Line {
            let cos = self.direction_median().cos();
            let upto = |x: f64| self.arc.cdf(arc_of(x / cos));
            return Some(upto(target + within_m) - upto(target - within_m));
        }
        let direction = self.direction.as_ref()?;
        let bounded = |chord: f64| self.arc.score(arc_of(chord)).clamp(-SCORE_MAX, SCORE_MAX);
        let (low, high) = (bounded(target - within_m), bounded(target + within_m));
        let (middle, half) = (0.5 * (low + high), 0.5 * (high - low));
        let mut sum = 0.0;
        for (x, weight) in GAUSS
            .iter()
            .flat_map(|&(x, weight)| [(x, weight), (-x, weight)])
        {
            let (sin_theta, cos_theta) = (FRAC_PI_2 * x).sin_cos();
            let z = middle + half * sin_theta;
            let arc = self.arc.at_score(z);
            let chord = geometry::chord_of_arc(arc, kappa);
            if chord <= 0.0 {
                continue;
            }
            let cos =
                (chord * chord + target * target - within_m * within_m) / (2.0 * chord * target);
            let reach = cos.clamp(-1.0, 1.0).acos();
            let turned = kappa * (arc - self.arc_mean_m) / 2.0;
            let within = direction.cdf(reach - turned) - direction.cdf(-reach - turned);
            sum += weight * FRAC_PI_2 * half * cos_theta * normal_pdf(z) * within;
        }
        Some(sum.clamp(0.0, 1.0))
    }

    /// The miss: median, from 0 to the value not exceeded with the level's chance; at most the target's distance.
    pub fn miss_m(&self, measure: Measure, level: Level) -> Option<Interval> {
        let median = self.miss_quantile(0.5, measure)?;
        let high = self.miss_quantile(level.probability(), measure)?;
        Some(Interval {
            estimate: median,
            low: 0.0,
            high: high.max(median),
        })
    }

    /// The miss not exceeded with probability `p`, m; a miss counts at most the target's distance.
    pub fn miss_quantile(&self, p: f64, measure: Measure) -> Option<f64> {
        let target = self.hand.target_m;
        if self.chance_within(target, measure)? <= p {
            return Some(target);
        }
        // The quantile of a normal miss with these spreads both ways (Rayleigh's) is near enough for a start.
        let across_m = self.direction_scale() * target;
        let start = self.arc_scale_m().hypot(across_m) * (-(-p).ln_1p()).sqrt();
        let excess = |q: f64| self.chance_within(q, measure).map_or(f64::NAN, |f| f - p);
        let (step, within) = (FIRST_STEP * start, MISS_SETTLED * target);
        optimise::root_outward(excess, start.min(target), step, (0.0, target), within).ok()
    }

    /// A quasi-random sample of runs as they may turn out, as (ahead, right) of the rest point, m; see [`cloud_scores`].
    pub fn rest_points(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        cloud_scores()
            .iter()
            .map(|&(along, across)| self.rest_point(along, across))
    }

    /// The rest point at two normal scores.
    pub fn rest_point(&self, along: f64, across: f64) -> (f64, f64) {
        self.path(along, across, 0.0, 0.0).rest
    }

    /// The way of a run at two normal scores, `farther_m` longer and `turned` rad more to the right.
    pub fn path(&self, along: f64, across: f64, farther_m: f64, turned: f64) -> Path {
        let (arc_m, direction) = self.drawn(along, across);
        self.path_of(arc_m + farther_m, direction + turned)
    }

    /// Arc, m, and chord heading at the mean arc, rad, of a run at two normal scores.
    pub fn drawn(&self, along: f64, across: f64) -> (f64, f64) {
        let direction = self.direction.as_ref().map_or(0.0, |d| d.at_score(across));
        (self.arc.at_score(along), direction)
    }

    /// The way of a run of a given arc, m (below 0 it does not move), whose chord heading at the mean arc is `direction`, rad.
    pub fn path_of(&self, arc_m: f64, direction: f64) -> Path {
        let arc_m = arc_m.max(0.0);
        let bend = self.curvature_per_m * (arc_m - self.arc_mean_m) / 2.0;
        let psi = direction + bend;
        let chord = geometry::chord_of_arc(arc_m, self.curvature_per_m);
        Path {
            rest: (chord * psi.cos(), chord * psi.sin()),
            arc_m,
            start_heading: psi - self.curvature_per_m * arc_m / 2.0,
        }
    }

    /// Points along the median way, start to rest, as (ahead, right) m.
    pub fn median_path(&self, points: usize) -> Vec<(f64, f64)> {
        let path = self.path(0.0, 0.0, 0.0, 0.0);
        (0..points)
            .map(|i| {
                let arc = path.arc_m * i as f64 / (points - 1) as f64;
                geometry::arc_end(arc, path.start_heading, self.curvature_per_m)
            })
            .collect()
    }

    /// Half the distance between the normal scores −1 and 1 of the arc, m.
    pub fn arc_scale_m(&self) -> f64 {
        0.5 * (self.arc.at_score(1.0) - self.arc.at_score(-1.0))
    }

    /// Half the distance between the normal scores −1 and 1 of the direction, rad; 0 where nothing is known across.
    pub fn direction_scale(&self) -> f64 {
        self.direction
            .as_ref()
            .map_or(0.0, |d| 0.5 * (d.at_score(1.0) - d.at_score(-1.0)))
    }

    /// Whether anything is known across.
    pub fn knows_across(&self) -> bool {
        self.direction.is_some()
    }
}

/// One way a run may go.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Path {
    /// Rest point (ahead, right), m.
    pub rest: (f64, f64),
    /// Arc rolled, m.
    pub arc_m: f64,
    /// Direction at the start, rad.
    pub start_heading: f64,
}

/// How many points the quasi-random sample has.
pub const CLOUD_POINTS: usize = 1024;

/// A quasi-random sample of pairs of standard normal scores: the R2 sequence (M. Roberts 2018, steps 1/g and 1/g² of the
/// real root g of g³ = g + 1) through the normal quantile. Fixed, so that the same question has the same answer.
pub fn cloud_scores() -> &'static [(f64, f64)] {
    static TABLE: OnceLock<Vec<(f64, f64)>> = OnceLock::new();
    TABLE.get_or_init(|| {
        const G: f64 = 1.324_717_957_244_746;
        (1..=CLOUD_POINTS)
            .map(|i| {
                let u = (0.5 + i as f64 / G).fract();
                let v = (0.5 + i as f64 / (G * G)).fract();
                (normal_quantile(u), normal_quantile(v))
            })
            .collect()
    })
}
