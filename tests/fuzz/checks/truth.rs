//! The truth reader of `simulate`, on any text; and a season played from what it accepts.

use haltmark::simulate::{self, Truth};

use super::{faults_are_sound, finite, log};

/// More rows than this are not played: the season is not what is being tested.
const MOST_ROWS: usize = 300;

/// Reads a truth, writes and reads it again, plays a small season and reads its log.
pub fn check(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let truth = match Truth::from_toml("truth.toml", text) {
        Ok(truth) => truth,
        Err(faults) => {
            assert!(faults.any_error());
            return faults_are_sound(&faults, "truth.toml");
        }
    };
    let printed = truth.to_toml();
    let again = Truth::from_toml("again.toml", &printed)
        .unwrap_or_else(|faults| panic!("{faults}\n{printed}"));
    assert_eq!(again.to_toml(), printed);
    let most_runs = truth.season.runs_per_session.iter().max().copied();
    let rows = most_runs
        .unwrap_or(0)
        .saturating_add(truth.hand_rolls.runs_per_session)
        .saturating_mul(truth.season.sessions)
        .saturating_mul(1 + truth.rigs.len());
    if rows <= MOST_ROWS {
        let csv = simulate::season(&truth, 1).to_csv();
        // Labels and comments may say so.
        if finite::not_finite(text).is_none() {
            finite::text("the log", &csv);
        }
        log::check(csv.as_bytes());
    }
}
