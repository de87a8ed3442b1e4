//! What `check` understood of the logs, for people and for programs.

use serde::Serialize;

use crate::calibration::RunCounts;
use crate::calibration::fit::FittedLaunches;
use crate::fault::{Faults, Severity};
use crate::log::run::{Label, Season};
use crate::log::summary::{Range, RigSummary};
use crate::setup::{self, Setup};
use crate::units::at_most_decimals;

/// What was understood of a season; the lists go by rig, in one order.
pub struct CheckShown<'a> {
    /// Its runs.
    pub season: &'a Season,
    /// Counts of each rig's.
    pub rigs: &'a [RigSummary],
    /// How many of them a fit takes.
    pub taken: &'a [FittedLaunches],
    /// What they cannot tell.
    pub cannot: &'a [Vec<String>],
}

/// The part of the JSON that says what was understood.
#[derive(Serialize)]
pub struct Understood<'a> {
    logs: &'a [String],
    runs: usize,
    sessions: usize,
    repeated_labels: usize,
    aimed_at_target: bool,
    rigs: Vec<UnderstoodRig<'a>>,
}

#[derive(Serialize)]
struct UnderstoodRig<'a> {
    rig: &'a str,
    vehicle: &'a str,
    wheels: &'a str,
    launches: usize,
    hand_rolls: usize,
    ok: usize,
    recoiled: usize,
    touched: usize,
    void: usize,
    fitted: usize,
    sessions: Vec<UnderstoodSession<'a>>,
    shortest_target_m: Option<f64>,
    longest_target_m: Option<f64>,
    turns: &'a [f64],
    leads_turns: &'a [f64],
    builds: Vec<&'a str>,
    trims: Vec<&'a str>,
    cannot_tell: &'a [String],
}

#[derive(Serialize)]
struct UnderstoodSession<'a> {
    session: &'a str,
    date: Option<String>,
    runs: usize,
    hand_rolls: usize,
}

/// What was understood, with the contract's words as keys.
pub fn understood<'a>(shown: &CheckShown<'a>) -> Understood<'a> {
    let &CheckShown {
        season,
        rigs,
        taken,
        cannot,
    } = shown;
    Understood {
        logs: &season.files,
        runs: season.runs.len(),
        sessions: season.sessions.len(),
        repeated_labels: season.repeated_labels,
        aimed_at_target: season.aimed_at_target,
        rigs: rigs
            .iter()
            .zip(taken)
            .zip(cannot)
            .map(|((rig, taken), cannot_tell)| understood_rig(season, rig, taken, cannot_tell))
            .collect(),
    }
}

fn understood_rig<'a>(
    season: &'a Season,
    rig: &'a RigSummary,
    taken: &FittedLaunches,
    cannot_tell: &'a [String],
) -> UnderstoodRig<'a> {
    let label = |list: &'a [String], label: Label| list[label as usize].as_str();
    UnderstoodRig {
        rig: &rig.rig.name,
        vehicle: label(&season.vehicles, rig.rig.vehicle),
        wheels: label(&season.wheels, rig.rig.wheels),
        launches: rig.launches,
        hand_rolls: rig.hand_rolls,
        ok: rig.ok,
        recoiled: rig.recoiled,
        touched: rig.touched,
        void: rig.void,
        fitted: taken.counts.fitted,
        sessions: rig
            .sessions
            .iter()
            .map(|session| UnderstoodSession {
                session: label(&season.sessions, session.session),
                date: session.date.map(|date| date.to_string()),
                runs: session.runs,
                hand_rolls: session.hand_rolls,
            })
            .collect(),
        shortest_target_m: rig.targets_m.map(|range| range.least),
        longest_target_m: rig.targets_m.map(|range| range.most),
        turns: &rig.turns,
        leads_turns: &rig.leads_turns,
        builds: rig
            .builds
            .iter()
            .map(|&b| label(&season.builds, b))
            .collect(),
        trims: rig
            .trims
            .iter()
            .map(|&(t, _)| label(&season.trims, t))
            .collect(),
        cannot_tell,
    }
}

/// What to write into a log that is still empty.
const WRITE_FIRST: [&str; 5] = [
    "No runs yet. What to write first, one row a run:",
    "  session (which day), target_m, turns (and ticks), and where it came to rest: long_cm, past the target +, before it -;",
    "  right_cm and aim_right_cm, right + and left -, so that the report can say where to put the aim mark;",
    "  vehicle and wheels once, for an empty cell repeats the row above.",
    "  Eight to twelve launches at quite different targets are a start.",
];

/// What was understood, as lines for the terminal.
pub fn text(shown: &CheckShown, warnings: &Faults, setup: &Setup) -> String {
    let season = shown.season;
    let mut lines = vec![verdict(warnings), String::new()];
    lines.push(format!(
        "Understood: {} in {} from {}.",
        counted(season.runs.len(), "run", "runs"),
        counted(season.sessions.len(), "session", "sessions"),
        season.files.join(", ")
    ));
    if season.runs.is_empty() {
        lines.push(String::new());
        lines.extend(WRITE_FIRST.map(str::to_string));
    }
    if season.repeated_labels > 0 {
        lines.push(format!(
            "{} taken from the row above.",
            counted(
                season.repeated_labels,
                "empty label was",
                "empty labels were"
            )
        ));
    }
    if season.aimed_at_target && !season.runs.is_empty() {
        lines.push(
            "No column aim_right_cm: these runs are taken as aimed at the target itself."
                .to_string(),
        );
    }
    let rigs = shown.rigs.iter().zip(shown.taken).zip(shown.cannot);
    for ((rig, taken), cannot) in rigs {
        lines.push(String::new());
        lines.extend(rig_lines(season, rig));
        lines.extend(fit_takes(taken));
        if cannot.is_empty() {
            lines.push("  Nothing that a log can tell is missing.".to_string());
        } else {
            lines.push("  What these runs cannot tell:".to_string());
            lines.extend(cannot.iter().map(|what| format!("  - {what}")));
        }
    }
    lines.push(String::new());
    lines.push(
        "Set-up in force (as a set-up file would say it), where it is not the default:".to_string(),
    );
    let differing = differing(setup::in_force(setup));
    lines.extend(differing.iter().map(|line| format!("  {line}")));
    lines.push(
        "  # all others hold as they are; haltmark start writes a file that explains every one"
            .to_string(),
    );
    lines.join("\n")
}

/// How many launches a fit takes, and how many of these rolled back; `None` where it takes none.
fn fit_takes(taken: &FittedLaunches) -> Option<String> {
    let RunCounts {
        fitted,
        rolled_back,
        sessions,
        ..
    } = taken.counts;
    let of_them = match rolled_back {
        0 => String::new(),
        n => format!(" ({n} of them rolled back, with no more lead than is in use)"),
    };
    (fitted > 0).then(|| {
        format!(
            "  A fit takes {} from {} for distance{of_them}, {} for left and right.",
            counted(fitted, "launch", "launches"),
            counted(sessions, "session", "sessions"),
            taken.with_heading
        )
    })
}

/// The lines of a set-up whose settings were told, are assumed or are wanting, each table with its head.
fn differing(lines: Vec<String>) -> Vec<String> {
    // How spreads grow is left to the log unless somebody knows better: nothing to be told, and nothing wanting.
    let usual = |line: &String| {
        line.ends_with("# the default")
            || line.ends_with("there is none")
            || line.starts_with("# spread_growth:")
    };
    let mut kept: Vec<String> = Vec::new();
    for line in lines.into_iter().filter(|line| !usual(line)) {
        let empty_head = kept.last().is_some_and(|last| last.starts_with('['));
        if line.starts_with('[') && empty_head {
            kept.pop();
        }
        kept.push(line);
    }
    if kept.last().is_some_and(|last| last.starts_with('[')) {
        kept.pop();
    }
    kept
}

fn verdict(warnings: &Faults) -> String {
    debug_assert!(warnings.0.iter().all(|f| f.severity == Severity::Warning));
    match warnings.0.len() {
        0 => "Nothing wrong was found.".to_string(),
        n => format!(
            "No errors; {} to look at, above.",
            counted(n, "warning", "warnings")
        ),
    }
}

fn rig_lines(season: &Season, rig: &RigSummary) -> Vec<String> {
    let mut lines = vec![rig_title(season, &rig.rig.name).to_string()];
    let mut parts = vec![format!("{} ok", rig.ok)];
    for (n, what) in [
        (rig.recoiled, "rolled back"),
        (rig.touched, "touched the obstacle"),
        (rig.void, "void"),
    ] {
        if n > 0 {
            parts.push(format!("{n} {what}"));
        }
    }
    let mut kinds = vec![counted(rig.launches, "launch", "launches")];
    if rig.hand_rolls > 0 {
        kinds.push(counted(rig.hand_rolls, "hand roll", "hand rolls"));
    }
    lines.push(format!("  {}: {}.", kinds.join(" and "), parts.join(", ")));
    let sessions: Vec<String> = rig
        .sessions
        .iter()
        .map(|session| {
            let name = &season.sessions[session.session as usize];
            let date = session.date.map(|date| date.to_string());
            let date = date.filter(|date| date != name);
            match date {
                Some(date) => format!("{name} ({date}) {}", session.runs),
                None => format!("{name} {}", session.runs),
            }
        })
        .collect();
    lines.push(format!("  Runs by session: {}.", shortened(&sessions)));
    if let Some(range) = rig.targets_m {
        lines.push(format!("  Targets {} m.", from_to(range, 3)));
    }
    if let Some(range) = Range::from_numbers(rig.turns.iter().copied()) {
        lines.push(format!(
            "  Turns {}, {}.",
            from_to(range, 3),
            counted(rig.turns.len(), "setting", "different settings")
        ));
    }
    if !rig.leads_turns.is_empty() {
        let leads: Vec<String> = rig
            .leads_turns
            .iter()
            .map(|x| at_most_decimals(*x, 3))
            .collect();
        lines.push(format!("  Brake leads: {} (turns).", shortened(&leads)));
    }
    let builds: Vec<&str> = rig
        .builds
        .iter()
        .map(|&b| season.builds[b as usize].as_str())
        .collect();
    let trims: Vec<&str> = rig
        .trims
        .iter()
        .map(|&(t, _)| season.trims[t as usize].as_str())
        .collect();
    for (title, labels) in [("Builds", builds), ("Trims", trims)] {
        if labels != [""] {
            let labels: Vec<String> = labels.iter().map(|label| named(label)).collect();
            lines.push(format!("  {title}: {}.", shortened(&labels)));
        }
    }
    lines
}

fn named(label: &str) -> String {
    if label.is_empty() {
        "(no name)".to_string()
    } else {
        label.to_string()
    }
}

fn from_to(range: Range, digits: usize) -> String {
    let (least, most) = (
        at_most_decimals(range.least, digits),
        at_most_decimals(range.most, digits),
    );
    if least == most {
        least
    } else {
        format!("{least} to {most}")
    }
}

/// A list of at most 20 items, and how many more there are.
fn shortened(items: &[String]) -> String {
    /// Most items: what fits on a few lines of a terminal.
    const SHOWN: usize = 20;
    if items.len() <= SHOWN {
        return items.join(", ");
    }
    format!(
        "{}, and {} more",
        items[..SHOWN].join(", "),
        items.len() - SHOWN
    )
}

/// `3 runs`, `1 run`.
pub fn counted(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

/// What a rig is called on the terminal.
fn rig_title<'a>(season: &Season, name: &'a str) -> &'a str {
    if !name.is_empty() {
        name
    } else if season.vehicles.len() == 1 && season.wheels.len() == 1 {
        "The vehicle"
    } else {
        "The vehicle without a name"
    }
}
