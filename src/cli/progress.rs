//! Progress of long work on standard error: what is being done, how much of it, the time left. Shown only on a
//! terminal, and removed when the work is done. The only file that knows `indicatif`.

use std::io::{self, IsTerminal};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::watch::Watch;

/// Progress is shown only after this time.
const PATIENCE: Duration = Duration::from_millis(500);
/// Most redraws of the bar in a second.
const DRAWN: u8 = 5;

/// Does long work and shows its progress.
///
/// * `doing` — what is being done, as the beginning of a line
/// * `quiet` — show nothing
pub fn shown<T>(doing: &'static str, quiet: bool, work: impl FnOnce(Watch) -> T) -> T {
    let progress = Progress::new(doing, quiet);
    work(&|done, all| progress.at(done, all))
}

/// One piece of long work.
struct Progress {
    bar: ProgressBar,
    began: Instant,
    shown: bool,
}

impl Progress {
    fn new(doing: &'static str, quiet: bool) -> Self {
        let bar = ProgressBar::hidden();
        bar.set_message(doing);
        Progress {
            bar,
            began: Instant::now(),
            shown: !quiet && io::stderr().is_terminal(),
        }
    }

    /// Takes note that `done` of `all` is done; `all` is 0 where it is not known.
    fn at(&self, done: u64, all: u64) {
        if !self.shown || self.began.elapsed() < PATIENCE {
            return;
        }
        if self.bar.is_hidden() {
            let template = if all == 0 {
                "{msg}: {pos}"
            } else {
                "{msg} {bar:30} {percent} %, {eta} to go"
            };
            if let Ok(style) = ProgressStyle::with_template(template) {
                self.bar.set_style(style);
            }
            self.bar
                .set_draw_target(ProgressDrawTarget::stderr_with_hz(DRAWN));
        }
        self.bar.set_length(all);
        self.bar.set_position(done);
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}
