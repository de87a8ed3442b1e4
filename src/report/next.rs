//! What to do next, in sentences: which part of the miss to work on, which lead to watch, what to ask the program.

use super::plan_words;
use super::words;
use crate::decide::RigSettings;

/// Advice for a rig, the most useful first.
pub(super) fn advice(rig: &RigSettings) -> Vec<String> {
    let situation = &rig.situation;
    let mut out = Vec::new();
    if situation.rig.counts.sessions == 1 {
        out.push("All runs are from one session: two or three runs on another day say more than twenty on this one.".to_string());
    }
    out.extend(plan_words::lead(situation));
    let of = if !rig.alone {
        format!(" with --rig {}", words::label(&situation.rig.name))
    } else {
        String::new()
    };
    out.push(format!(
        "How many more runs and days would bring how much: ask haltmark plan{of}."
    ));
    out
}
