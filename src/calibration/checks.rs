//! Is the model enough? Each check: a name, a p value where there is one, whether to worry, and what to do.

mod across;
mod days;
mod evidence;
mod influence;
mod line;
mod order;
mod worded;
mod wrong;

pub use evidence::Evidence;

use super::known::Check;

/// Checks that report what the log holds and judge nothing.
const REPORTS: [&str; 2] = [wrong::WENT_WRONG, line::GROWTH];

/// Whether a check is a note, neither fine nor to be looked at.
pub fn is_note(check: &Check) -> bool {
    check.ok && REPORTS.contains(&check.name.as_str())
}

/// Every check that the log can make, in the order in which a reader should look.
pub fn all(evidence: &Evidence) -> Vec<Check> {
    let mut checks = vec![wrong::days_estimable(evidence)];
    checks.extend(wrong::went_wrong(evidence));
    let travel = evidence.along();
    let heading = evidence.across();
    if let Some(travel) = &travel {
        checks.extend(line::straight(travel));
        checks.extend(line::repeats(travel));
        checks.push(line::growth(evidence));
        checks.extend(line::normal(travel));
        checks.extend(order::all(travel));
        checks.extend(days::floors(evidence, travel));
        checks.extend(days::stretch(evidence, travel));
    }
    if let Some(heading) = &heading {
        checks.extend(line::normal(heading));
        checks.extend(order::all(heading));
        checks.extend(days::floors(evidence, heading));
    }
    if let (Some(travel), Some(heading)) = (&travel, &heading) {
        checks.extend(across::together(travel, heading));
    }
    checks.extend(across::gap(evidence));
    checks.extend(influence::all(evidence));
    checks.extend(days::drift_chart(evidence));
    checks.extend(days::left_out(evidence));
    checks
}
