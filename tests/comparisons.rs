//! How often `compare` is right, in small numbers; how it is counted: `tests/simulations/comparisons.rs`.

mod simulations;

use haltmark::decide::compare::Better;
use simulations::bounds::allowed;
use simulations::comparisons::{ANSWERS, FALSE, INTERVALS, LEVEL, Season, count, coverage};

/// By the first run and by what counts at the event. Equal wheels: a verdict is false, and either way is promised in 5 of 100 at most; three standard errors of chance are
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
    let most = 2.0 * FALSE;
    let most = SEASONS as f64 * (most + allowed(most, SEASONS));
    for (by, asked) in ANSWERS {
        let false_ones = all.len() - count(&all, asked, Better::Undecided);
        assert!(false_ones as f64 <= most, "{by}: {false_ones}");
    }
    for (what, share) in INTERVALS.iter().zip(coverage(&all, 1.0)) {
        assert!(share >= LEVEL - allowed(LEVEL, SEASONS), "{what}: {share}");
    }
    let better = Season {
        ratio: 2.0,
        ..equal
    };
    let all = better.all(60, 1001);
    let right = ANSWERS.map(|(by, asked)| {
        assert!(count(&all, asked, Better::A) <= 1, "{by}");
        count(&all, asked, Better::B)
    });
    // How days differ hardly counts for the better of two, so it is sooner known which wheels are better.
    assert!(right[0] > 20 && right[1] >= right[0], "{right:?}");
}
