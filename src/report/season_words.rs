//! The season's story in words: for parents and judges above, for statisticians in the folds.

use super::figures::{Plate, TableRow};
use super::words;
use crate::calibration::Chronicle;
use crate::calibration::chronicle::{
    Fresh, Judged, LabelChange, MissKind, SessionMisses, SinceVerdict,
};
use crate::stats::interval::{Interval, Level};
use crate::units;

/// Title of the figure.
pub const MISSES: &str = "How far from the target, day by day";
/// Title of what came of changes.
const CHANGES: &str = "What changed, and what came of it";

/// What the figure shows, with the first and the last day, the best run, and the runs that do not count.
pub fn misses(told: &Chronicle) -> String {
    let (Some(first), Some(last)) = (told.sessions.first(), told.sessions.last()) else {
        return String::new();
    };
    let best = told
        .sessions
        .iter()
        .min_by(|a, b| a.best_m.total_cmp(&b.best_m));
    let best = best.map_or_else(String::new, |s| {
        format!(
            " The best run of all stopped {} away ({}).",
            words::cm_unit(s.best_m),
            named(s)
        )
    });
    let counted: usize = told.sessions.iter().map(|s| s.counted().count()).sum();
    let made = format!(
        "{} in {}.",
        words::count(counted, "run", "runs"),
        words::count(told.sessions.len(), "session", "sessions")
    );
    let rest = format!("{}{}", of_kind(told.miss), uncounted(told));
    if told.sessions.len() < 2 {
        return format!(
            "{made} The typical run stopped {} from the target.{best}{rest} One session has no before and after yet: the story begins with the second.",
            words::cm_unit(first.typical_m)
        );
    }
    format!(
        "Each dot is a run as it happened; the bar is the typical run of the day, with as many nearer as farther. {made} On the first day ({}) the typical run stopped {} from the target, on the last ({}) {}.{best}{rest}",
        named(first),
        words::cm_unit(first.typical_m),
        named(last),
        words::cm_unit(last.typical_m),
    )
}

/// What counts as a miss, where it is not the straight distance.
fn of_kind(miss: MissKind) -> &'static str {
    match miss {
        MissKind::Straight => "",
        MissKind::AlongScored => {
            " Only how far past or short of the target counts, as in your score."
        }
        MissKind::AlongMeasured => {
            " Only how far past or short of the target counts here: how far to the side was not measured in every session."
        }
    }
}

/// Runs that do not count, in a sentence; empty where all do.
fn uncounted(told: &Chronicle) -> String {
    let out = told.uncounted;
    let mut parts = Vec::new();
    if out.void > 0 {
        parts.push(words::count(out.void, "void run", "void runs"));
    }
    if out.unmeasured > 0 {
        parts.push(format!("{} not measured", words::grouped(out.unmeasured)));
    }
    if out.set_aside > 0 {
        parts.push(format!(
            "{} set aside (crossed)",
            words::grouped(out.set_aside)
        ));
    }
    match parts.is_empty() {
        true => String::new(),
        false => format!(" Not counted: {}.", parts.join(", ")),
    }
}

/// The fold of the figure.
///
/// * `listed` — how many sessions its table has at most
pub fn of_misses(told: &Chronicle, listed: usize) -> Vec<String> {
    let mut fold = Vec::new();
    let sessions = told.sessions.len();
    if sessions > listed {
        fold.push(format!(
            "Of {sessions} sessions the last {listed} are listed."
        ));
    }
    fold.push("Typical: the median of the session’s misses. New: labels that the session before did not have. Touched and rolled-back runs count where they came to rest.".to_string());
    fold
}

/// What is to be seen in the figure.
pub fn description(told: &Chronicle) -> String {
    let typical = |s: &SessionMisses| s.typical_m;
    let sizes = || told.sessions.iter().map(typical);
    let (least, most) = (
        sizes().fold(f64::INFINITY, f64::min),
        sizes().fold(0.0, f64::max),
    );
    let ends = told.sessions.first().zip(told.sessions.last());
    let ends = ends.map_or_else(String::new, |(first, last)| {
        format!(
            "; {} in the first, {} in the last",
            words::cm_unit(first.typical_m),
            words::cm_unit(last.typical_m)
        )
    });
    let changes: Vec<String> = told
        .changes()
        .iter()
        .map(|c| {
            format!(
                "{} from {} on",
                flag(c),
                words::label(&told.sessions[c.session].label)
            )
        })
        .collect();
    let new = match changes.is_empty() {
        true => String::new(),
        false => format!(" Lines say what was new: {}.", changes.join("; ")),
    };
    format!(
        "Distance from the target of every run, by session in order. The typical run of a session stopped between {} and {} away{ends}.{new}",
        words::cm_unit(least),
        words::cm_unit(most),
    )
}

/// What was new in a session, for a table.
pub fn new_in(session: &SessionMisses) -> String {
    let word = |fresh: &Fresh| {
        let again = if fresh.first { "" } else { " again" };
        format!(
            "{} {}{again}",
            fresh.column.name(),
            words::label(&fresh.label)
        )
    };
    let all: Vec<String> = session.fresh.iter().map(word).collect();
    all.join(", ")
}

/// A change in as few words as a figure has room for; with how many times as large misses are where that is claimed.
pub fn flag(change: &LabelChange) -> String {
    let times = change.ratio.filter(|_| change.verdict.is_claim());
    let times = times.map_or_else(String::new, |r| format!("× {} ", times_of(r.estimate)));
    format!("{times}{}", labels(change))
}

/// What was new: `trim re-trimmed, floor hall`.
fn labels(change: &LabelChange) -> String {
    let word = |fresh: &Fresh| format!("{} {}", fresh.column.name(), words::label(&fresh.label));
    let all: Vec<String> = change.labels.iter().map(word).collect();
    all.join(", ")
}

/// The change as the subject of a sentence: `the wheels “wide”`.
fn spoken(change: &LabelChange) -> String {
    let word = |fresh: &Fresh| {
        format!(
            "the {} “{}”",
            fresh.column.name(),
            words::label(&fresh.label)
        )
    };
    let all: Vec<String> = change.labels.iter().map(word).collect();
    match all.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => all.concat(),
    }
}

/// How many times as large, to two figures.
fn times_of(ratio: f64) -> String {
    let digits = match ratio {
        r if r >= 9.95 => 0,
        r if r >= 0.995 => 1,
        _ => 2,
    };
    units::decimals(ratio, digits)
}

/// Both ends; an end that is not 1 is not written as 1.
fn between(ratio: &Interval) -> String {
    let end = |end: f64| match times_of(end).as_str() {
        "1.0" if end < 1.0 => "just under 1".to_string(),
        "1.0" if end > 1.0 => "just over 1".to_string(),
        text => text.to_string(),
    };
    format!("between {} and {}", end(ratio.low), end(ratio.high))
}

/// A session by its label: `“9 Nov”`, `session 4`.
fn named(session: &SessionMisses) -> String {
    let label = words::label(&session.label);
    match label.bytes().all(|b| b.is_ascii_digit()) {
        true => format!("session {label}"),
        false => format!("“{label}”"),
    }
}

/// What changes came to, as a paragraph with a fold; `None` with one session.
pub fn changes(told: &Chronicle, level: Level) -> Option<Plate> {
    let judged = told.judged.as_ref()?;
    let (caption, points) = match told.sessions.len() {
        2 => (too_few(told), Vec::new()),
        _ => (
            headline(judged),
            [claims(told, level), chance(told)].concat(),
        ),
    };
    let row = |what: String, ratio: Option<Interval>| -> TableRow {
        let ratio = ratio.map_or_else(|| "–".to_string(), |r| words::interval(&r));
        vec![what, ratio]
    };
    let since = |c: &LabelChange| {
        let label = words::label(&told.sessions[c.session].label);
        row(format!("{}, from {label} on", labels(c)), c.ratio)
    };
    let mut rows: Vec<TableRow> = judged.changes.iter().map(since).collect();
    rows.extend(judged.trend.map(|t| {
        row(
            "the last session over the first, steadily".to_string(),
            Some(t.ratio),
        )
    }));
    if rows.iter().all(|r| r[1] == "–") {
        rows.clear();
    }
    Some(Plate {
        title: CHANGES.to_string(),
        caption,
        points,
        head: if rows.is_empty() {
            Vec::new()
        } else {
            vec!["change", "times as large"]
        },
        fold: if rows.is_empty() {
            Vec::new()
        } else {
            fold(judged.level_of_each, level)
        },
        rows,
        ..Plate::default()
    })
}

/// Two sessions.
fn too_few(told: &Chronicle) -> String {
    let new = told.changes().first().map_or_else(String::new, |c| {
        format!(" New on the second: {}.", spoken(c))
    });
    format!(
        "Two days always differ, and two cannot say whether a change or the day did it.{new} With a third day the log begins to tell."
    )
}

/// Whether anything is claimed at all.
fn headline(judged: &Judged) -> String {
    let changes = judged.changes.iter().map(|c| c.verdict);
    let verdicts: Vec<SinceVerdict> = changes.chain(judged.trend.map(|t| t.verdict)).collect();
    let said = match verdicts.iter().filter(|v| v.is_claim()).count() {
        0 if verdicts.iter().all(|v| *v == SinceVerdict::TooFew) => "Too few days to tell.",
        0 => "Nothing here is more than chance can do.",
        1 => CLAIMED,
        _ => return format!("{CLAIMED} Each is told beside the others, as what it adds to them."),
    };
    said.to_string()
}

/// What goes with every claim.
const CLAIMED: &str = "Chance alone hardly makes misses so different. They tell when that came, not why: settings become better over a season, too.";

/// What is claimed, in sentences.
fn claims(told: &Chronicle, level: Level) -> Vec<String> {
    let Some(judged) = &told.judged else {
        return Vec::new();
    };
    let seasons = words::level(level.probability());
    let mut said = Vec::new();
    for change in judged.changes.iter().filter(|c| c.verdict.is_claim()) {
        let Some(ratio) = change.ratio else { continue };
        said.push(format!(
            "Since {} came {}, misses are about {} times what they were ({} in {seasons}).{}",
            spoken(change),
            since_when(told, change),
            times_of(ratio.estimate),
            between(&ratio),
            together(change),
        ));
    }
    if let Some(trend) = judged.trend.filter(|t| t.verdict.is_claim()) {
        let way = if trend.verdict == SinceVerdict::Smaller {
            "smaller"
        } else {
            "larger"
        };
        said.push(format!(
            "Over the season misses became {way} little by little: at its end they are about {} times what they were at its beginning ({} in {seasons}).",
            times_of(trend.ratio.estimate),
            between(&trend.ratio),
        ));
    }
    said
}

/// From which session on, and how few there are on one side of it.
fn since_when(told: &Chronicle, change: &LabelChange) -> String {
    let since = named(&told.sessions[change.session]);
    let few = match (change.session, told.sessions.len() - change.session) {
        (_, 1) => ", one day only",
        (1, _) => ", with one day only before it",
        _ => "",
    };
    format!("(from {since} on{few})")
}

/// That several things were new at once; empty where one was.
fn together(change: &LabelChange) -> &'static str {
    match change.labels.len() {
        1 => "",
        _ => " They came on the same day: which of them goes with it cannot be told.",
    }
}

/// Changes that are named one by one where nothing is claimed of them.
const NAMED_MAX: usize = 6;

/// What chance explains and what cannot be told, in sentences.
fn chance(told: &Chronicle) -> Vec<String> {
    let Some(judged) = &told.judged else {
        return Vec::new();
    };
    let rest = judged.changes.iter().filter(|c| !c.verdict.is_claim());
    let rest: Vec<&LabelChange> = rest.collect();
    let mut said: Vec<String> = rest
        .iter()
        .take(NAMED_MAX)
        .map(|c| unclaimed(told, judged, c))
        .collect();
    if rest.len() > NAMED_MAX {
        said.push(match rest.len() - NAMED_MAX {
            1 => "One more change stands in the table; nothing is claimed of it.".to_string(),
            more => format!("{more} more changes stand in the table; nothing is claimed of them."),
        });
    }
    let mut fresh = told.sessions.iter().flat_map(|s| &s.fresh);
    if told.sessions.iter().all(|s| s.fresh.is_empty()) {
        said.push(
            "Vehicle, wheels, build, trim and floor kept their labels all season.".to_string(),
        );
    } else if judged.changes.is_empty() && fresh.any(|f| f.first) {
        said.push("Labels changed so often that each change by itself is not judged.".to_string());
    }
    let alone = !judged.is_claiming();
    let trend = judged
        .trend
        .filter(|t| alone && t.verdict == SinceVerdict::Chance);
    if let Some(trend) = trend {
        said.push(format!(
            "From the beginning of the season to its end misses became about {} times as large: chance alone can do that ({}).",
            times_of(trend.ratio.estimate),
            between(&trend.ratio)
        ));
    }
    said
}

/// A change of which nothing is claimed.
fn unclaimed(told: &Chronicle, judged: &Judged, change: &LabelChange) -> String {
    let (what, when) = (spoken(change), since_when(told, change));
    let Some(ratio) = change.ratio else {
        return format!("What came with {what} {when} cannot be told: too few days.");
    };
    let why = match change.verdict {
        SinceVerdict::NotApart => "too near to another change to be told from it",
        _ => "chance alone can do that",
    };
    let (times, between) = (times_of(ratio.estimate), between(&ratio));
    if judged.is_claiming() {
        return format!(
            "Beside that, misses since {what} came {when} are about {times} times what they would have been: {why} ({between})."
        );
    }
    format!(
        "Since {what} came {when}, misses are about {times} times what they were: {why} ({between})."
    )
}

/// How the ratios were found.
fn fold(of_each: Level, level: Level) -> Vec<String> {
    vec![
        format!(
            "Typical miss since the change over that before it, with an interval; 1 means no change. Each interval is one at {}, so that all of them together hold in {} (Bonferroni); what is claimed leaves 1 out.",
            words::percent(of_each.probability()),
            words::percent(level.probability())
        ),
        "The logarithm of each miss (of at least 0.5 cm) is a linear mixed model with sessions as groups, averaged over how far days differ: runs of a day share their day, so it is days that are counted. A change is a step from its session on; the season as a whole is a straight line over its sessions; misses grow with about the root of the distance. What stands out most is taken in first, and the others are judged beside it.".to_string(),
    ]
}
