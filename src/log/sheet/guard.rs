//! Turns a panic of the spreadsheet library on a broken file into a fault.

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};
use std::sync::Once;

thread_local! {
    static GUARDED: Cell<bool> = const { Cell::new(false) };
}

/// The result of `read`, or a fault where it panics.
///
/// calamine 0.38 adds up row numbers without a check: `r="99999999999"` overflows, which panics where overflow is
/// checked. The usual message of a panic is held back on this thread meanwhile: it would say nothing to the reader.
pub fn guarded<T>(read: impl FnOnce() -> Result<T, String>) -> Result<T, String> {
    static QUIET: Once = Once::new();
    QUIET.call_once(|| {
        let usual = panic::take_hook();
        panic::set_hook(Box::new(move |info| {
            if !GUARDED.get() {
                usual(info);
            }
        }));
    });
    GUARDED.set(true);
    // Nothing outlives the call: on a panic all that was read is dropped.
    let read = panic::catch_unwind(AssertUnwindSafe(read));
    GUARDED.set(false);
    read.unwrap_or_else(|_| Err("could not be read as a spreadsheet: it is damaged".to_string()))
}

#[cfg(test)]
mod tests {
    use super::guarded;

    #[test]
    fn a_panic_becomes_a_fault() {
        assert_eq!(guarded(|| Ok(1)), Ok(1));
        assert!(guarded(|| -> Result<(), String> { panic!("as a parser might") }).is_err());
    }
}
