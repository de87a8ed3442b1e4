//! Progress of long work on standard error: what is being done, how much of it, the time left. Shown only on a
//! terminal, and removed when the work is done.

use std::io::{self, IsTerminal, Write};
use std::sync::Mutex;
use std::time::{Duration, Instant};

use crate::watch::Watch;

/// Progress is shown only after this time, and then redrawn no more often than every [`PAUSE`].
const PATIENCE: Duration = Duration::from_millis(500);
const PAUSE: Duration = Duration::from_millis(200);

/// Does long work and shows its progress.
///
/// * `doing` — what is being done, as the beginning of a line
/// * `quiet` — show nothing
pub fn shown<T>(doing: &'static str, quiet: bool, work: impl FnOnce(Watch) -> T) -> T {
    if quiet || !io::stderr().is_terminal() {
        return work(&|_, _| {});
    }
    let began = Instant::now();
    // The line on the terminal, and when it may be drawn again. Threads report at once; one of them draws.
    let line = Mutex::new((String::new(), began + PATIENCE));
    let result = work(&|done, all| {
        if let Ok(mut drawn) = line.try_lock()
            && Instant::now() >= drawn.1
        {
            let text = worded(doing, done, all, began.elapsed());
            rewrite(&drawn.0, &text);
            *drawn = (text, Instant::now() + PAUSE);
        }
    });
    if let Ok((last, _)) = line.into_inner() {
        rewrite(&last, "");
    }
    result
}

/// `Fitting rigs: 42 %, 3 s to go`, supposing that the rest goes on as fast as until now.
fn worded(doing: &str, done: u64, all: u64, elapsed: Duration) -> String {
    let part = done as f64 / all.max(1) as f64;
    let left_s = elapsed.as_secs_f64() * (1.0 - part) / part.max(1e-3);
    format!("{doing}: {:.0} %, {:.0} s to go", 100.0 * part, left_s)
}

/// Puts a line in place of the last one; what is left of that is overwritten with blanks.
fn rewrite(last: &str, line: &str) {
    let mut err = io::stderr().lock();
    // A terminal that has gone away takes no harm.
    let _ = write!(err, "\r{line:<width$}\r{line}", width = last.len()).and_then(|()| err.flush());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_time_left_follows_from_the_time_taken() {
        let line = worded("Fitting rigs", 5, 20, Duration::from_secs(3));
        assert_eq!(line, "Fitting rigs: 25 %, 9 s to go");
    }
}
