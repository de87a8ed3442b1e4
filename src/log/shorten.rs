//! Shortens many warnings of one kind to a few lines: a list that fills the screen hides the one that matters.

use std::collections::HashMap;

use super::limits;
use crate::fault::{Fault, FaultPlace, Faults};

/// Most warnings of one kind in one column that are all shown.
const ALIKE: usize = 5;
/// How many are shown where there are more than [`ALIKE`].
const ALIKE_SHOWN: usize = 3;

/// Keeps the first warnings of many alike, and of very many of all kinds, and says how many more there are and
/// where. Errors all stay.
pub fn warnings(faults: Faults) -> Faults {
    let mut collected = Collected::default();
    for fault in faults.0 {
        collected.push(fault);
    }
    all(collected.into_faults())
}

/// What makes warnings alike: file, column and words without their numbers and labels.
type Kind = (String, Option<String>, String);

fn kind(fault: &Fault) -> Kind {
    let mut words = String::new();
    let mut quoted = false;
    for c in fault.expected.chars() {
        quoted ^= c == '"';
        if !quoted && !c.is_ascii_digit() {
            words.push(c);
        }
    }
    (fault.file.clone(), fault.column.clone(), words)
}

/// Faults collected one by one. Of many warnings of one kind only the first few and the last are kept, so that one in
/// each of a million rows does not fill the memory.
#[derive(Default)]
pub struct Collected {
    kept: Vec<Kept>,
    kinds: HashMap<Kind, usize>,
    alike: Vec<Alike>,
    pushed: usize,
}

struct Kept {
    /// Its number among all faults.
    place: usize,
    fault: Fault,
    /// Index of its kind and its number within the kind; `None` for an error.
    nth: Option<(usize, usize)>,
}

/// Warnings of one kind.
#[derive(Default)]
struct Alike {
    count: usize,
    /// The last warning, where there are more than are shown, with its number among all faults.
    last: Option<(usize, Fault)>,
}

impl Collected {
    /// Adds one.
    pub fn push(&mut self, fault: Fault) {
        self.pushed += 1;
        if fault.is_error() {
            self.keep(fault, None);
            return;
        }
        let next = self.alike.len();
        let kind = *self.kinds.entry(kind(&fault)).or_insert(next);
        if kind == next {
            self.alike.push(Alike::default());
        }
        let alike = &mut self.alike[kind];
        alike.count += 1;
        if alike.count <= ALIKE {
            let nth = Some((kind, alike.count));
            self.keep(fault, nth);
        } else {
            alike.last = Some((self.pushed, fault));
        }
    }

    fn keep(&mut self, fault: Fault, nth: Option<(usize, usize)>) {
        let place = self.pushed;
        self.kept.push(Kept { place, fault, nth });
    }

    /// The faults in order. Of more than [`ALIKE`] of one kind there are the first [`ALIKE_SHOWN`], and the number of
    /// the others at the place of the last.
    pub fn into_faults(self) -> Faults {
        let count = |kind: usize| self.alike[kind].count;
        let mut told: Vec<(usize, Fault)> = self
            .kept
            .into_iter()
            .filter(|kept| {
                kept.nth
                    .is_none_or(|(kind, nth)| count(kind) <= ALIKE || nth <= ALIKE_SHOWN)
            })
            .map(|kept| (kept.place, kept.fault))
            .collect();
        for alike in self.alike {
            let Some((place, fault)) = alike.last else {
                continue;
            };
            let more = alike.count - ALIKE_SHOWN;
            let summed_up = Fault {
                read: None,
                expected: format!(
                    "{more} more like the {ALIKE_SHOWN} before ({}); this is the last of them",
                    fault.expected
                ),
                ..fault
            };
            told.push((place, summed_up));
        }
        told.sort_by_key(|(place, _)| *place);
        Faults(told.into_iter().map(|(_, fault)| fault).collect())
    }
}

fn all(mut faults: Faults) -> Faults {
    let warnings = faults.0.iter().filter(|fault| !fault.is_error()).count();
    if warnings <= limits::FAULTS {
        return faults;
    }
    let mut kept = 0;
    let mut last_file = String::new();
    faults.0.retain(|fault| {
        if fault.is_error() {
            return true;
        }
        kept += 1;
        last_file.clone_from(&fault.file);
        kept <= limits::FAULTS
    });
    let more = warnings - limits::FAULTS;
    let fault = Fault::warning(last_file, format!("{more} more warnings are not listed"));
    faults.push(fault.at(FaultPlace::File));
    faults
}
