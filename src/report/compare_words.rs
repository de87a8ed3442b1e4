//! What a comparison comes to, in sentences: for the terminal and the page alike.

use super::{event_words, words};
use crate::decide::compare::{Better, By, Compared, Comparison, CountedAnswer, Open};
use crate::setup::Counts;
use crate::stats::interval::Level;
use crate::units;

/// What a reader should know of the answer: cautions, and runs that the program left out.
pub fn notes(found: &Comparison) -> Vec<String> {
    let aside = found
        .set_aside
        .iter()
        .map(|a| format!("set aside: {}, {}: {}", a.log, a.row(), a.why));
    found.warnings.iter().cloned().chain(aside).collect()
}

/// What counts, the verdict by it, then that by the first run of a new day, and what they rest on.
pub fn answer(found: &Comparison) -> Vec<String> {
    let (a, b) = (named(found, &found.a.label), named(found, &found.b.label));
    let event = &found.at_event;
    let what = event_words::counted(event.rule);
    let mut out = vec![
        format!(
            "{} {}",
            event_words::what_counts(event.rule),
            verdict(found, &event.answer, &format!("By {what}"), &a, &b)
        ),
        at_event(found, &a, &b),
    ];
    out.extend(together(found));
    if event.rule.runs > 1 {
        let by = "By the first run of a new day alone";
        out.push(format!(
            "{} {}{}",
            verdict(found, &found.first_run, by, &a, &b),
            averages(&found.event_miss_m, 1.0, &a, &b),
            both_ends(&found.first_run, &found.event_miss_m, found.level)
        ));
    }
    let ratio = found.run_to_run_m.ratio;
    out.push(format!(
        "From one run to the next, {b} differs {} times as much along the line as {a} ({} to {}).",
        two(ratio.estimate),
        two(ratio.low),
        two(ratio.high)
    ));
    let mut way = vec![
        difference(
            &found.distance_per_turn_m,
            &format!("A turn carries {b}"),
            "farther than",
            "less far than",
            &a,
        ),
        difference(
            &found.overshoot_m,
            &format!("Once the turns are used up {b} rolls on"),
            "farther than",
            "less far than",
            &a,
        ),
    ];
    if let Some(time) = &found.time_s {
        way.push(format!(
            "To the middle target {a} takes {} s and {b} {} s.",
            two(time.a.estimate),
            two(time.b.estimate)
        ));
    }
    out.push(way.join(" "));
    if let Some(score) = &found.score {
        out.push(format!(
            "Counted by the rules of the score (lower is better): {a} {}, {b} {}.",
            words::figures(score.a.estimate),
            words::figures(score.b.estimate)
        ));
    }
    out.push(days(found));
    out
}

/// That two rigs differ in vehicle and wheels alike, and what a comparison of them therefore cannot tell; `None` where they
/// differ in one alone.
pub fn together(found: &Comparison) -> Option<String> {
    found.vehicle_and_wheels.then(|| {
        format!(
            "{} ran on different wheels, so vehicle and wheels are compared together: what is said of either is said of it with its wheels, and how much of a difference the wheels make is not told apart.",
            words::sentence(&found.rig)
        )
    })
}

/// What the two differ in, for a heading.
pub fn differ_in(found: &Comparison) -> &'static str {
    match found.vehicle_and_wheels {
        true => "vehicle and wheels",
        false => found.by.column(),
    }
}

/// Why the range of a difference holds 0 although it is settled which is better: the range leaves as little out at both ends
/// together as the verdict does at one. Blank where the two agree.
fn both_ends(answer: &CountedAnswer, miss_m: &Compared, level: Level) -> String {
    let range = miss_m.difference;
    if answer.verdict == Better::Undecided || range.low > 0.0 || range.high < 0.0 {
        return String::new();
    }
    let settled = 1.0 - level.probability();
    format!(
        " The range of the difference takes in 0 because it leaves out only {} at each end; the chance that it is the other way round is {}, and up to {} counts as settled.",
        words::percent(0.5 * settled),
        words::percent(answer.chance_b_better.min(1.0 - answer.chance_b_better)),
        words::percent(settled)
    )
}

/// A label as a sentence says it.
fn named(found: &Comparison, label: &str) -> String {
    let label = words::label(label);
    match found.by {
        By::Wheels | By::Vehicle => label,
        By::Build => format!("build {label}"),
        By::Trim => format!("trim {label}"),
        By::Floor => format!("floor {label}"),
    }
}

/// Which is better by one way of counting; where that is open, why, and what would settle it.
///
/// * `by` — the beginning of the sentence: by what it is counted
fn verdict(found: &Comparison, answer: &CountedAnswer, by: &str, a: &str, b: &str) -> String {
    let chance = answer.chance_b_better;
    let settled = |better: &str, other: &str, chance: f64| {
        format!(
            "{by}, {better} is better than {other}: the chance that it lands nearer on average is {}, and from {} on it counts as settled.",
            words::percent(chance),
            words::percent(found.level.probability())
        )
    };
    match answer.verdict {
        Better::A => settled(a, b, 1.0 - chance),
        Better::B => settled(b, a, chance),
        Better::Undecided => format!(
            "{by} it is undecided: the chance that {b} is better than {a} is {}. {} {}",
            words::percent(chance),
            why_open(answer.open),
            settle(found, answer)
        ),
    }
}

fn why_open(open: Open) -> &'static str {
    match open {
        Open::TooFewSessions => "There are too few days to tell how much days differ.",
        Open::Days => "Open is mostly how much days differ.",
        Open::Runs => "Open is mostly how much runs of one day differ.",
    }
}

fn settle(found: &Comparison, answer: &CountedAnswer) -> String {
    let same_days = match found.by {
        By::Wheels | By::Vehicle | By::Build | By::Trim => {
            "half of them on new days on which both run"
        }
        By::Floor => "on new days",
    };
    match answer.runs_to_settle {
        Some(runs) => format!(
            "If they go on to differ as they seem to, about {runs} more runs of each should settle it, {same_days}."
        ),
        None => "No number of runs up to 500 of each is likely to settle it: what they differ in hardly matters here. Choose by something else.".to_string(),
    }
}

/// How far from the target what counts lies with each, and how often it is within a distance.
fn at_event(found: &Comparison, a: &str, b: &str) -> String {
    let event = &found.at_event;
    // A sum is said as the mean of its runs.
    let each = match event.rule.counts {
        Counts::Sum => 1.0 / f64::from(event.rule.runs),
        Counts::Best | Counts::Last => 1.0,
    };
    let [with_a, with_b] = event.chance_within.map(words::chance);
    format!(
        "{}{} Within {}: {a} {with_a}, {b} {with_b}.",
        averages(&event.miss_m, each, a, b),
        both_ends(&event.answer, &event.miss_m, found.level),
        words::whole_cm_unit(event.within_m),
    )
}

/// How far from the target the two lie on average.
///
/// * `each` — what the misses are multiplied by
fn averages(miss_m: &Compared, each: f64, a: &str, b: &str) -> String {
    format!(
        "Set as well as can be, it lies about {} from the target on average with {a}, about {} with {b} (difference {} to {} cm).",
        words::cm_unit(each * miss_m.a.estimate),
        words::cm_unit(each * miss_m.b.estimate),
        signed_cm(each * miss_m.difference.low),
        signed_cm(each * miss_m.difference.high),
    )
}

/// Differences are read to a millimetre here: half a centimetre a turn is much.
fn difference(compared: &Compared, start: &str, plus: &str, minus: &str, other: &str) -> String {
    let d = compared.difference;
    let tenths = (1000.0 * d.estimate).round();
    let how = if tenths == 0.0 {
        "as far as".to_string()
    } else {
        let way = if tenths > 0.0 { plus } else { minus };
        format!("{} cm {way}", units::decimals(0.1 * tenths.abs(), 1))
    };
    format!(
        "{start} {how} {other} (difference {} to {} cm).",
        signed_cm(d.low),
        signed_cm(d.high)
    )
}

fn signed_cm(length_m: f64) -> String {
    let cm = (1000.0 * length_m).round() / 10.0;
    if cm > 0.0 {
        format!("+{cm:.1}")
    } else {
        format!("{:.1}", cm + 0.0).replace('-', "−")
    }
}

fn two(x: f64) -> String {
    words::figures((100.0 * x).round() / 100.0)
}

fn days(found: &Comparison) -> String {
    match found.sessions_shared {
        0 => format!(
            "They never ran on the same day, so what a day did cannot be told from what they do: that alone leaves the difference in roll-on open by about {} either way.{}",
            words::cm_unit(2.0 * found.days_m),
            match found.by {
                By::Vehicle | By::Wheels => " Run both on the same days.",
                By::Build | By::Trim | By::Floor =>
                    " Go to and fro between them over several days.",
            }
        ),
        n => format!(
            "Both ran in {}; what a day does to both alike cancels there, and only that.",
            words::count(n, "session", "sessions")
        ),
    }
}
