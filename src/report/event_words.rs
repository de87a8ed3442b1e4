//! What counts at the event, in words.

use crate::setup::{Counts, EventRule};

/// What counts, inside a sentence: `the better of 2 runs`.
pub(super) fn counted(rule: EventRule) -> String {
    match (rule.runs, rule.counts) {
        (1, _) => "the only run".to_string(),
        (2, Counts::Best) => "the better of 2 runs".to_string(),
        (n, Counts::Best) => format!("the best of {n} runs"),
        (n, Counts::Last) => format!("the last of {n} runs"),
        (n, Counts::Sum) => format!("the mean of all {n} runs"),
    }
}

/// The rule in a sentence, with where it comes from when nobody told it.
pub(super) fn what_counts(rule: EventRule) -> String {
    let between = match rule.runs {
        1 => "",
        _ => ", corrected in between",
    };
    let assumed = match rule.assumed {
        true => " (best of 2 assumed: the set-up does not say)",
        false => "",
    };
    format!("What counts here: {}{between}{assumed}.", counted(rule))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rule_is_said_as_people_say_it() {
        let rule = |runs, counts, assumed| EventRule {
            runs,
            counts,
            assumed,
        };
        assert_eq!(
            what_counts(rule(2, Counts::Best, true)),
            "What counts here: the better of 2 runs, corrected in between (best of 2 assumed: the set-up does not say)."
        );
        assert_eq!(
            what_counts(rule(1, Counts::Sum, false)),
            "What counts here: the only run."
        );
        assert_eq!(
            counted(rule(3, Counts::Sum, false)),
            "the mean of all 3 runs"
        );
        assert_eq!(counted(rule(3, Counts::Best, false)), "the best of 3 runs");
        assert_eq!(counted(rule(2, Counts::Last, false)), "the last of 2 runs");
    }
}
