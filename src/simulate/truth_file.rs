//! Reading and printing of the truth file; its keys are in `truth_keys.rs`.

use super::truth::Truth;
use crate::fault::Faults;
use crate::keys;

/// Column at which the words beside the keys begin.
const WORDS_AT: usize = 40;

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
        let mut page = HEAD.to_string();
        for line in keys::listing(self) {
            let given = line.key.is_empty() || line.value.is_some();
            let mark = if given && line.in_force { "" } else { "# " };
            let value = line.value.as_deref().unwrap_or(line.spec.without);
            // Of a list on several lines, words stand beside the first.
            let (first, rest) = match value.strip_prefix("[\n") {
                _ if line.key.is_empty() => (format!("\n{mark}{}", line.head), String::new()),
                Some(items) => (format!("{mark}{} = [", line.key), format!("{items}\n")),
                None => (format!("{mark}{} = {value}", line.key), String::new()),
            };
            page += &first;
            if !line.spec.says.is_empty() {
                let wide = first.trim_start().chars().count();
                let gap = " ".repeat(WORDS_AT.saturating_sub(wide).max(2));
                page += &format!("{gap}# {}", line.spec.says);
            }
            page.push('\n');
            page += &rest;
        }
        page
    }
}
