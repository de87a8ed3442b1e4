//! Random numbers of a season: one small stream for each thing that chance decides.
//!
//! A stream is named by seed, purpose, session and run. So the order in which things are asked for does not
//! matter, and a truth with one thing changed keeps every other draw.

use rand_pcg::Pcg64;
use rand_pcg::rand_core::{Rng, SeedableRng};

/// What a stream is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// The day's shift, common to all rigs.
    Day = 1,
    /// A rig's own part of the day's shift; `run` is the rig.
    RigDay,
    /// Order of targets and leads; `run` is the rig.
    Order,
    /// One launch.
    Launch,
    /// One hand roll.
    HandRoll,
}

/// One stream of random numbers.
pub struct Chance {
    generator: Pcg64,
}

impl Chance {
    /// The stream of a seed, purpose, session and run.
    pub fn new(seed: u64, purpose: Purpose, session: usize, run: usize) -> Self {
        let mut state = mixed(seed);
        for part in [purpose as u64, session as u64, run as u64] {
            state = mixed(state ^ part);
        }
        Chance {
            generator: Pcg64::seed_from_u64(state),
        }
    }

    /// Uniform draw, above 0 and below 1: the middle of one of 2^53 equal steps.
    pub fn uniform(&mut self) -> f64 {
        let step = self.generator.next_u64() >> 11;
        // 2^53 steps; the largest value, 1 − 2^-54, would round to 1.
        ((step as f64 + 0.5) * (1.0 / 9_007_199_254_740_992.0)).min(1.0 - f64::EPSILON / 2.0)
    }

    /// Standard normal draw. Source: Box and Muller (1958), Ann. Math. Stat. 29, 610–611; with `libm`, so that
    /// every platform draws the same.
    pub fn normal(&mut self) -> f64 {
        let radius = libm::sqrt(-2.0 * libm::log(self.uniform()));
        radius * libm::cos(std::f64::consts::TAU * self.uniform())
    }

    /// Shuffles the list (Fisher and Yates; Knuth, TAOCP 2, 3.4.2 P).
    pub fn shuffle<T>(&mut self, list: &mut [T]) {
        for last in (1..list.len()).rev() {
            let other = (self.uniform() * (last + 1) as f64) as usize;
            list.swap(last, other.min(last));
        }
    }
}

/// A hash of a number: the finaliser of SplitMix64 (Steele, Lea and Flood 2014, OOPSLA).
fn mixed(x: u64) -> u64 {
    let x = x.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    x ^ (x >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normals_have_the_moments_of_a_normal() {
        let mut sums = [0.0; 4];
        let n = 40_000;
        for run in 0..n {
            let z = Chance::new(3, Purpose::Launch, 1, run).normal();
            for (power, sum) in sums.iter_mut().enumerate() {
                *sum += z.powi(power as i32 + 1) / n as f64;
            }
        }
        // Standard errors of the four moments: sqrt(1, 2, 15, 96)/sqrt(n) = 0.005, 0.007, 0.019, 0.049; 4.5 of each.
        assert!(sums[0].abs() < 0.0225, "{sums:?}");
        assert!((sums[1] - 1.0).abs() < 0.032, "{sums:?}");
        assert!(sums[2].abs() < 0.087, "{sums:?}");
        assert!((sums[3] - 3.0).abs() < 0.22, "{sums:?}");
    }

    #[test]
    fn streams_of_different_names_differ() {
        let draw = |purpose, session, run| Chance::new(1, purpose, session, run).uniform();
        let a = draw(Purpose::Day, 1, 2);
        assert_ne!(a, draw(Purpose::RigDay, 1, 2));
        assert_ne!(a, draw(Purpose::Day, 2, 1));
        assert_eq!(a, draw(Purpose::Day, 1, 2));
    }

    #[test]
    fn every_order_of_three_comes_up_about_as_often() {
        let mut seen = std::collections::BTreeMap::new();
        for run in 0..6000 {
            let mut list = [0, 1, 2];
            Chance::new(5, Purpose::Order, 0, run).shuffle(&mut list);
            *seen.entry(list).or_insert(0) += 1;
        }
        assert_eq!(seen.len(), 6);
        // 1000 each, sd 29.
        assert!(seen.values().all(|n| (870..1130).contains(n)), "{seen:?}");
    }
}
