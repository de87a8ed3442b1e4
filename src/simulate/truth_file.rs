//! Reading and printing of the truth file; its keys are in `truth_keys.rs`.

use super::truth::Truth;
use crate::fault::Faults;
use crate::keys;

/// What stands at the top of the page.
const HEAD: &str = "\
# A truth file: how an invented vehicle really behaves. Edit it, save it, and
#   haltmark simulate --truth FILE --out LOG
# writes a season of runs made from it. Any key may be left out; it then is what stands here.
# A line that starts with # is not read: take the # away to use it.

";

impl Truth {
    /// Reads a truth from the text of its file.
    ///
    /// * `file` — its name, for messages
    /// * `text` — what stands in it
    ///
    /// # Errors
    /// Every fault of the file, with its line.
    pub fn from_toml(file: &str, text: &str) -> Result<Truth, Faults> {
        keys::read(file, text)
    }

    /// The truth as a file to edit, with a word on every key; reading it gives the truth again.
    pub fn to_toml(&self) -> String {
        HEAD.to_string() + &keys::page(self, self)
    }
}
