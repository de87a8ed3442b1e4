//! Chance that can be repeated: one generator a replicate, made from (seed, index) alone, so that a replicate's numbers do
//! not depend on how many threads share the work or in which order.

use super::distributions::normal_quantile;
pub use rand_pcg::Pcg64;
use rand_pcg::rand_core::Rng;

/// The generator of replicate `index` of a calculation with this `seed`. The generator is of a documented, portable
/// kind (O'Neill 2014), unlike the default ones of `rand`.
pub fn replicate(seed: u64, index: u64) -> Pcg64 {
    // Generators started from neighbouring numbers give related streams, so the two are scrambled first.
    let mut key = seed;
    let mut key = split_mix(&mut key).wrapping_add(index);
    let mut wide = || (u128::from(split_mix(&mut key)) << 64) | u128::from(split_mix(&mut key));
    Pcg64::new(wide(), wide())
}

/// Source: Steele, Lea and Flood (2014), Fast splittable pseudorandom number generators, OOPSLA.
fn split_mix(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// A number strictly between 0 and 1: the middle of one of 2⁵² equal steps.
pub fn uniform(generator: &mut Pcg64) -> f64 {
    ((generator.next_u64() >> 12) as f64 + 0.5) / (1u64 << 52) as f64
}

/// A standard normal number, by inversion: one draw each, so that inserting a draw moves nothing else.
pub fn normal(generator: &mut Pcg64) -> f64 {
    normal_quantile(uniform(generator))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_replicate_depends_on_its_seed_and_index_only() {
        let draw = |seed, index| uniform(&mut replicate(seed, index));
        assert_eq!(draw(1, 7), draw(1, 7));
        let mut seen: Vec<f64> = (0..20)
            .flat_map(|seed| (0..50).map(move |index| draw(seed, index)))
            .collect();
        seen.sort_by(f64::total_cmp);
        seen.dedup();
        assert_eq!(seen.len(), 1000);
    }

    /// Mean, variance and neighbours' correlation of a standard normal, each within five standard errors, along one
    /// stream and across the first draws of many.
    #[test]
    fn normals_are_standard_along_and_across_streams() {
        let n = 20_000;
        let mut stream = replicate(1, 0);
        let along: Vec<f64> = (0..n).map(|_| normal(&mut stream)).collect();
        let across: Vec<f64> = (0..n)
            .map(|index| normal(&mut replicate(1, index)))
            .collect();
        for draws in [along, across] {
            let error = 5.0 / (n as f64).sqrt();
            let mean = draws.iter().sum::<f64>() / n as f64;
            let variance = draws.iter().map(|z| z * z).sum::<f64>() / n as f64;
            let neighbours = draws.windows(2).map(|z| z[0] * z[1]).sum::<f64>() / n as f64;
            assert!(mean.abs() < error && neighbours.abs() < error);
            assert!((variance - 1.0).abs() < error * 2f64.sqrt());
        }
    }
}
