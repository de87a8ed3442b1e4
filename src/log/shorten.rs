//! Many warnings of one kind, told in a few lines: a list that fills the screen hides the one that matters.

use std::collections::HashMap;

use super::limits;
use crate::fault::{Fault, Faults, Place};

/// Warnings of one kind in one column that are told one by one.
const ALIKE: usize = 5;
/// How many of more than that.
const ALIKE_SHOWN: usize = 3;

/// Keeps the first warnings of many alike, and of very many of all kinds, and says how many more there are and
/// where. Errors all stay.
pub fn warnings(faults: Faults) -> Faults {
    all(alike(faults))
}

/// What makes warnings alike: file, column and words without their numbers and labels.
fn kind(fault: &Fault) -> (String, Option<String>, String) {
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

fn alike(faults: Faults) -> Faults {
    let mut counts: HashMap<_, usize> = HashMap::new();
    for fault in faults.0.iter().filter(|fault| !fault.is_error()) {
        *counts.entry(kind(fault)).or_default() += 1;
    }
    let mut seen: HashMap<_, usize> = HashMap::new();
    let mut kept = Faults::default();
    for fault in faults.0 {
        if fault.is_error() {
            kept.push(fault);
            continue;
        }
        let kind = kind(&fault);
        let of_all = counts[&kind];
        let nth = seen.entry(kind).or_default();
        *nth += 1;
        if of_all <= ALIKE || *nth <= ALIKE_SHOWN {
            kept.push(fault);
        } else if *nth == of_all {
            let more = of_all - ALIKE_SHOWN;
            kept.push(Fault {
                read: None,
                expected: format!(
                    "{more} more like the {ALIKE_SHOWN} before ({}); this is the last of them",
                    fault.expected
                ),
                ..fault
            });
        }
    }
    kept
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
    faults.push(fault.at(Place::File));
    faults
}
