//! How often `compare` is right, in small numbers; how it is counted: `tests/simulations/comparisons.rs`.

mod simulations;

use haltmark::decide::compare::Better;
use simulations::bounds::allowed;
use simulations::comparisons::{FALSE, INTERVALS, LEVEL, Season, count, coverage};

/// Equal wheels: a verdict is false, and either way is promised in 5 of 100 at most; three standard errors of chance are
/// allowed. Wheels twice as good: never the wrong way round more often than once.
#[test]
fn verdicts_are_seldom_false() {
    const SEASONS: u64 = 100;
    let equal = Season {
        ratio: 1.0,
        days: 0.7,
        sessions: 5,
        runs: 6,
        shared: 0.5,
    };
    let all = equal.all(SEASONS, 1);
    let false_ones = all.len() - count(&all, Better::Undecided);
    let most = 2.0 * FALSE;
    let most = SEASONS as f64 * (most + allowed(most, SEASONS));
    assert!(false_ones as f64 <= most, "{false_ones}");
    for (what, share) in INTERVALS.iter().zip(coverage(&all, 1.0)) {
        assert!(share >= LEVEL - allowed(LEVEL, SEASONS), "{what}: {share}");
    }
    let better = Season {
        ratio: 2.0,
        ..equal
    };
    let all = better.all(60, 1001);
    assert!(count(&all, Better::A) <= 1);
    assert!(count(&all, Better::B) > 20, "{}", count(&all, Better::B));
}
