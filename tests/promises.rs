//! What `plan` promises and what `review` says against what happens, in small numbers; how it is counted:
//! `tests/simulations/promises.rs` and `tests/simulations/reviews.rs`.

mod simulations;

use simulations::bounds::allowed;
use simulations::promises::{KINDS, Promise, gap, outcomes};
use simulations::reviews::{FALSE, verdicts};

/// On average over seasons, what is promised is what happens, for every kind of promise; three standard errors are
/// allowed.
#[test]
fn chances_come_true_as_often_as_they_say() {
    let all = outcomes(4, 80, 50);
    for (what, most, of) in KINDS {
        let promises: Vec<Promise> = all.iter().map(of).collect();
        let (mean, error) = gap(&promises);
        assert!(
            mean.abs() < most + 3.0 * error,
            "{what}: {mean:+.3} ± {error:.3}"
        );
    }
}

/// With nothing changed few reviews say shifted and few wider, and a vehicle twice as wide is seen more often than not.
#[test]
fn reviews_rarely_cry_wolf_and_see_what_is_there() {
    const SEASONS: u64 = 200;
    for ratio in [0.0, 1.0] {
        let (shifted, wider) = verdicts(4, ratio, SEASONS, 6, 0.0, 1.0);
        for (what, share) in [("shifted", shifted), ("wider", wider)] {
            assert!(
                share <= FALSE + allowed(FALSE, SEASONS),
                "τ/σ {ratio}: {share} {what}"
            );
        }
        let (_, wider) = verdicts(4, ratio, SEASONS, 6, 0.0, 2.0);
        assert!(wider > 0.5, "τ/σ {ratio}: {wider} of those twice as wide");
    }
}
