//! What a page shows of a rig: rounded, worded, with units; plain structs that a template walks through.

use super::rig_figures::{Drawn, Question};
use super::{RigSettings, next, svg, words};
use crate::calibration::{Calibration, Rig, TurnPriorSource};
use crate::decide::dial::Setting;
use crate::decide::paper;
use crate::decide::parts::Parts;
use crate::error::Error;
use crate::stats::interval::Interval;
use crate::units;
use serde::Serialize;

/// Rows of settings side by side in one block: what fits on a printed page below the heading.
const BLOCK_ROWS: usize = 24;
/// Share of a prior in an estimate from which on a reader is told.
pub(super) const PRIOR_TOLD: f64 = 0.10;

/// One rig's part of the report.
#[derive(Serialize)]
pub struct RigPage {
    id: String,
    name: String,
    summary: String,
    facts: Vec<String>,
    notes: Vec<String>,
    blocks: Vec<Vec<SettingRow>>,
    has_aim: bool,
    has_miss: bool,
    has_gap: bool,
    level: String,
    flags: Vec<Flag>,
    paper: Vec<Vec<PaperRow>>,
    sections: Vec<Section>,
    advice: Vec<String>,
    /// What to look at.
    look: Vec<CheckRow>,
    /// What is as it should be.
    fine: Vec<CheckRow>,
    set_aside: Vec<AsideRow>,
}

#[derive(Serialize)]
struct SettingRow {
    target: String,
    turns: String,
    ticks: String,
    aim: String,
    aim_side: &'static str,
    within: String,
    gap: String,
    flag: String,
}

#[derive(Serialize)]
struct Flag {
    sign: String,
    means: String,
}

#[derive(Serialize)]
struct PaperRow {
    target: String,
    ticks: Vec<String>,
    aim: Vec<String>,
}

#[derive(Serialize)]
struct Section {
    heading: &'static str,
    figures: Vec<FigureView>,
}

#[derive(Serialize)]
struct FigureView {
    title: String,
    svg: String,
    caption: String,
    /// Heads of the columns, where there is more than one.
    head: Vec<&'static str>,
    rows: Vec<Row>,
    fold: Vec<String>,
}

#[derive(Serialize)]
struct Row {
    what: String,
    cells: Vec<String>,
}

#[derive(Serialize)]
struct CheckRow {
    name: String,
    p: String,
    means: String,
}

#[derive(Serialize)]
struct AsideRow {
    place: String,
    why: String,
}

/// The page's part for one rig, number `index` of the report.
///
/// # Errors
/// As [`paper::corrections`].
pub fn rig(
    calibration: &Calibration,
    rig: &RigSettings,
    index: usize,
    drawn: Vec<Drawn>,
) -> Result<RigPage, Error> {
    let known = rig.situation.rig;
    let mut flags = Vec::new();
    let rows: Vec<SettingRow> = rig
        .settings
        .iter()
        .map(|s| setting_row(s, &mut flags))
        .collect();
    let any = |f: &dyn Fn(&Setting) -> bool| rig.settings.iter().any(f);
    let paper = rig
        .settings
        .iter()
        .map(|s| paper::corrections(&rig.situation, s.target_m).map(|p| paper_row(&p)))
        .collect::<Result<Vec<_>, _>>()?;
    Ok(RigPage {
        id: format!("rig{}", index + 1),
        name: spoken(&known.name),
        summary: summary(rig),
        facts: facts(calibration, rig),
        notes: notes(rig),
        blocks: blocks(rows),
        has_aim: any(&|s| s.aim_right_m.is_some()),
        has_miss: any(&|s| s.miss_m.is_some()),
        has_gap: any(&|s| s.gap_m.is_some()),
        level: words::level(calibration.level.probability()),
        flags,
        paper: blocks(paper),
        sections: sections(calibration, rig, drawn)?,
        advice: next::advice(calibration, rig)?,
        look: checks(known, false),
        fine: checks(known, true),
        set_aside: known
            .set_aside
            .iter()
            .map(|a| AsideRow {
                place: format!("{}, line {}", words::sentence(&a.log), a.line),
                why: words::sentence(&a.why),
            })
            .collect(),
    })
}

/// The checks that came out fine, or those to look at.
fn checks(known: &Rig, ok: bool) -> Vec<CheckRow> {
    known
        .checks
        .iter()
        .filter(|c| c.ok == ok)
        .map(|c| CheckRow {
            name: capital(&words::sentence(&c.name)),
            p: c.p.map_or_else(|| "–".to_string(), words::p_value),
            means: words::sentence(&c.means),
        })
        .collect()
}

/// With a capital to begin a sentence.
fn capital(text: &str) -> String {
    let mut rest = text.chars();
    rest.next()
        .map_or_else(String::new, |c| c.to_uppercase().chain(rest).collect())
}

/// Rows in even blocks of at most [`BLOCK_ROWS`].
fn blocks<T>(rows: Vec<T>) -> Vec<Vec<T>> {
    blocks_of(rows, BLOCK_ROWS)
}

/// Rows in even blocks of at most `most`.
pub fn blocks_of<T>(rows: Vec<T>, most: usize) -> Vec<Vec<T>> {
    let count = rows.len().div_ceil(most).max(1);
    let per_block = rows.len().div_ceil(count).max(1);
    let mut rows = rows.into_iter().peekable();
    let mut out = Vec::new();
    while rows.peek().is_some() {
        out.push(rows.by_ref().take(per_block).collect());
    }
    out
}

/// A rig's name for a heading.
pub fn spoken(name: &str) -> String {
    if name.is_empty() {
        "Your vehicle".to_string()
    } else {
        words::label(name)
    }
}

fn setting_row(s: &Setting, flags: &mut Vec<Flag>) -> SettingRow {
    let mut signs = Vec::new();
    for warning in &s.warnings {
        let means = warning.kind().to_string();
        let at = flags
            .iter()
            .position(|f: &Flag| f.means == means)
            .unwrap_or_else(|| {
                let sign = char::from(b'a' + (flags.len() % 26) as u8).to_string();
                flags.push(Flag { sign, means });
                flags.len() - 1
            });
        signs.push(flags[at].sign.clone());
    }
    let aim_m = s.aim_right_m.unwrap_or(0.0);
    SettingRow {
        target: words::metres(s.target_m),
        turns: s.dial.whole_turns().to_string(),
        ticks: s.dial.ticks().to_string(),
        aim: s
            .aim_right_m
            .map_or_else(String::new, |a| units::at_most_decimals(100.0 * a.abs(), 1)),
        aim_side: match s.aim_right_m {
            Some(_) if aim_m > 0.0 => "right",
            Some(_) if aim_m < 0.0 => "left",
            _ => "",
        },
        within: s
            .miss_m
            .map_or_else(String::new, |m| words::whole_cm(m.high)),
        gap: s.gap_m.map_or_else(String::new, |g| words::whole_cm(g.low)),
        flag: signs.join(" "),
    }
}

fn paper_row(p: &paper::Paper) -> PaperRow {
    PaperRow {
        target: words::metres(p.target_m),
        ticks: p.ticks.iter().map(|t| units::decimals(*t, 1)).collect(),
        aim: p
            .aim_m
            .iter()
            .flatten()
            .map(|a| units::decimals(100.0 * a, 1))
            .collect(),
    }
}

fn summary(rig: &RigSettings) -> String {
    let known = rig.situation.rig;
    let runs = words::count(known.counts.fitted, "run", "runs");
    let sessions = words::count(known.counts.sessions, "session", "sessions");
    let mut out = format!("From {runs} in {sessions}");
    let (build, trim) = (
        &rig.situation.build().label,
        rig.situation.trim().map_or("", |t| &t.label),
    );
    if !build.is_empty() {
        out += &format!(", build “{}”", words::label(build));
    }
    if !trim.is_empty() {
        out += &format!(", trim “{}”", words::label(trim));
    }
    out + "."
}

fn facts(calibration: &Calibration, rig: &RigSettings) -> Vec<String> {
    let situation = &rig.situation;
    let travel = situation.known_travel();
    let turn = travel.distance_per_turn_m.estimate;
    let ticks = situation.setup.dial.ticks_per_turn;
    let mut out = Vec::new();
    if let Some(lead) = situation.lead_turns {
        let chance = situation.build().recoil.chance(lead);
        let rolls_back = chance.map_or_else(String::new, |c| {
            if c == 0.0 {
                "; no roll-back was seen with it".to_string()
            } else {
                format!("; {} roll back with it", words::chance(c))
            }
        });
        out.push(format!("Brake lead {}{rolls_back}.", words::lead(lead)));
    }
    out.push(format!(
        "One turn carries it {} cm, one of the {ticks} ticks {} cm: between two lines of the table, count ticks.",
        units::decimals(100.0 * turn, 1),
        units::decimals(100.0 * turn / f64::from(ticks), 1)
    ));
    let newest = &travel.builds[situation.build];
    out.push(format!(
        "Roll-on, the distance still covered after the turns are used up, is about {}. Roll-on is not the same as long: long means past the target.",
        words::cm_unit(newest.overshoot_m.estimate)
    ));
    if let Some(gap) = rig
        .settings
        .iter()
        .filter_map(|s| Some((s.target_m, s.gap_m?.low)))
        .min_by(|a, b| a.1.total_cmp(&b.1))
    {
        out.push(format!(
            "The tightest pass of the obstacle is at {} m: {} runs pass it by more than {} cm.",
            words::metres(gap.0),
            words::level(1.0 - calibration.level.lower_tail()),
            words::whole_cm(gap.1)
        ));
    }
    out
}

fn notes(rig: &RigSettings) -> Vec<String> {
    let known = rig.situation.rig;
    let mut out: Vec<String> = known.warnings.iter().map(|w| words::sentence(w)).collect();
    if known.travel.prior_share >= PRIOR_TOLD
        && let Some(prior) = &known.travel.turn_prior
    {
        let from = match prior.source {
            TurnPriorSource::WheelDiameter => "the wheel diameter in the set-up",
            TurnPriorSource::HandRolls => "the hand rolls",
        };
        out.push(format!(
            "The log is short: {} of what is said about distance per turn comes from {from}, not from launches.",
            percent(known.travel.prior_share)
        ));
    }
    if let Some(trim) = rig.situation.trim().filter(|t| t.prior_share >= PRIOR_TOLD) {
        out.push(format!(
            "{} of what is said about the bend of the path is a guess from the set-up ([prior] curve_cm_per_m2), not data: runs at short and at long targets would replace it.",
            percent(trim.prior_share)
        ));
    }
    out
}

pub(super) fn percent(share: f64) -> String {
    format!("{} %", units::decimals(100.0 * share, 0))
}

fn sections(
    calibration: &Calibration,
    rig: &RigSettings,
    drawn: Vec<Drawn>,
) -> Result<Vec<Section>, Error> {
    let order = [
        (
            "How far from the target it stops",
            vec![Question::Rest, Question::Floor],
        ),
        ("How sure this is", vec![Question::LeftOut, Question::Parts]),
        (
            "Why: what the log says of this vehicle",
            vec![
                Question::Travel,
                Question::Bias,
                Question::Sessions,
                Question::Recoil,
                Question::Drift,
            ],
        ),
        ("What went wrong", vec![Question::Wrong]),
    ];
    let mut drawn: Vec<Option<Drawn>> = drawn.into_iter().map(Some).collect();
    let mut take = |question| {
        drawn
            .iter_mut()
            .find(|d| d.as_ref().is_some_and(|d| d.question == question))
            .and_then(Option::take)
    };
    let mut sections = Vec::new();
    for (heading, questions) in order {
        let figures = questions
            .into_iter()
            .filter_map(&mut take)
            .map(|d| figure(calibration, rig, d))
            .collect::<Result<Vec<_>, _>>()?;
        if !figures.is_empty() {
            sections.push(Section { heading, figures });
        }
    }
    Ok(sections)
}

fn row(what: &str, value: String) -> Row {
    Row {
        what: what.to_string(),
        cells: vec![value],
    }
}

fn interval_row(what: &str, interval: Interval, factor: f64, unit: &str) -> Row {
    row(
        what,
        format!("{} {unit}", words::interval(&interval.scaled(factor))),
    )
}

/// A drawn figure with what stands below it.
fn figure(calibration: &Calibration, rig: &RigSettings, drawn: Drawn) -> Result<FigureView, Error> {
    let situation = &rig.situation;
    let known = situation.rig;
    let travel = &known.travel;
    let level = words::level(calibration.level.probability());
    let percent_level = words::percent(calibration.level.probability());
    let svg::Figure { title, inline, .. } = drawn.figure;
    let mut head = Vec::new();
    let mut rows = Vec::new();
    let mut fold = Vec::new();
    let caption = match drawn.question {
        Question::Rest => {
            let caption = format!(
                "Each dot is a run as it may turn out on a new day at the printed setting; {level} stop inside the circle."
            );
            for s in three(rig) {
                let along = words::interval(&s.long_m.scaled(100.0));
                let across = s.right_m.map_or_else(String::new, |i| {
                    format!("; right {} cm", words::interval(&i.scaled(100.0)))
                });
                rows.push(row(
                    &format!("{} m", words::metres(s.target_m)),
                    format!("long {along} cm{across}"),
                ));
            }
            fold.push(format!("Central {percent_level} ranges for one run of a new session at exactly the rounded setting: a mixture of Student t distributions over the ratio of the two spreads (Box & Tiao 1973, ch. 5), carried through the geometry of the arc. The estimate is the median. They hold for a run that does not roll back, touch or go wrong."));
            caption
        }
        Question::Floor => {
            for s in three(rig) {
                if let Some(gap) = s.gap_m {
                    rows.push(row(
                        &format!("gap at {} m", words::metres(s.target_m)),
                        format!(
                            "{} cm, touch {}",
                            words::interval(&gap.scaled(100.0)),
                            s.touch_chance.map_or_else(String::new, words::chance)
                        ),
                    ));
                }
            }
            if let Some((low, high)) = known.bend_wanted_per_m {
                let bend = |k: f64| {
                    if k.is_finite() {
                        words::figures(50.0 * k)
                    } else {
                        "no limit".to_string()
                    }
                };
                rows.push(row(
                    "bend that clears every target",
                    format!("{} to {} cm per m²", bend(low), bend(high)),
                ));
            }
            fold.push("The path is an arc with the trim's curvature; all chance in direction is put into the start heading. Gap: nearest approach to the obstacle less its radius and half the vehicle's width; on the wrong side it is negative.".to_string());
            retrim(calibration, rig)
        }
        Question::LeftOut => {
            let l = &known.left_out;
            rows.push(row(
                "sessions predicted from the others",
                l.sessions.to_string(),
            ));
            rows.push(row("runs inside", format!("{} of {}", l.inside, l.runs)));
            fold.push(format!("Every session is taken out in turn, the rest is fitted as if it had never been, and its runs are held against the {percent_level} range for a new session (leave one group out)."));
            format!(
                "Had the rest of the season been asked about each day beforehand, {} of {} runs would have come out inside the range it gave; about {:.0} should.",
                l.inside,
                l.runs,
                calibration.level.probability() * l.runs as f64
            )
        }
        Question::Parts => {
            head = vec!["part", "along, cm", "across, cm"];
            rows.extend(parts_rows(calibration, rig)?);
            fold.push("Standard deviations of one run of a new session at the middle target. Their squares add up. Run to run and day to day are root mean squares over what the log leaves open about them; a step contributes its width over √12.".to_string());
            "The longest bar is the one to work on: build better against run to run; practise on other days and floors, or correct on the day, against day to day; make more runs against what the log leaves open.".to_string()
        }
        Question::Travel => {
            rows.push(interval_row(
                "distance per turn",
                travel.distance_per_turn_m,
                100.0,
                "cm",
            ));
            for b in &travel.builds {
                rows.push(interval_row(
                    &format!("roll-on{}", named(&b.label)),
                    b.overshoot_m,
                    100.0,
                    "cm",
                ));
            }
            if let Some(lead) = travel.lead_m_per_turn {
                rows.push(interval_row("one more turn of lead", lead, 100.0, "cm"));
            }
            rows.push(interval_row(
                "from one run to the next (SD)",
                travel.run_to_run_m,
                100.0,
                "cm",
            ));
            rows.push(interval_row(
                "from one day to the next (SD)",
                travel.between_sessions_m,
                100.0,
                "cm",
            ));
            if let Some(prior) = &travel.turn_prior {
                rows.push(row(
                    "prior on distance per turn",
                    format!(
                        "{} ± {} cm, {} of its weight",
                        words::figures(100.0 * prior.mean_m),
                        words::figures(100.0 * prior.sd_m),
                        percent(travel.prior_share)
                    ),
                ));
            }
            if let Some(hand) = &travel.hand_rolls {
                rows.push(interval_row(
                    &format!("hand rolls ({})", hand.runs),
                    hand.distance_per_turn_m,
                    100.0,
                    "cm a turn",
                ));
                for (target, o) in &hand.overshoot_at_m {
                    rows.push(row(
                        &format!(
                            "beyond the hand rolls' distance at {} m",
                            words::metres(*target)
                        ),
                        words::cm_unit(*o),
                    ));
                }
            }
            fold.push(format!("Arc = roll-on of the build + distance per turn × turns (+ lead term) + session + run. Random-intercept mixed model; estimates by restricted maximum likelihood (Harville 1977), {percent_level} intervals by integrating over the ratio of the spreads with half-t prior (Box & Tiao 1973; Gelman 2006). Intervals of a spread are the shortest."));
            "Each mark is a run. A straight line means that every turn carries the vehicle equally far; the lower panel shows how far each run lies from it.".to_string()
        }
        Question::Bias => {
            if let Some(h) = &known.heading {
                for t in &h.trims {
                    let of = named(&t.label);
                    rows.push(interval_row(
                        &format!("points off{of} (+ right)"),
                        t.straight_rad,
                        100.0,
                        "cm per m",
                    ));
                    rows.push(interval_row(
                        &format!("bends{of} (+ right)"),
                        t.curvature_per_m,
                        50.0,
                        "cm per m²",
                    ));
                    rows.push(row(
                        &format!("share of the prior in the bend{of}"),
                        percent(t.prior_share),
                    ));
                }
                rows.push(interval_row(
                    "from one run to the next (SD)",
                    h.run_to_run_rad,
                    100.0,
                    "cm per m",
                ));
                rows.push(interval_row(
                    "from one day to the next (SD)",
                    h.between_sessions_rad,
                    100.0,
                    "cm per m",
                ));
            }
            for b in known
                .lateral_bias
                .iter()
                .filter(|b| situation.trim().is_some_and(|t| t.label == b.trim))
            {
                rows.push(interval_row(
                    &format!("bias at {} m", words::metres(b.distance_m)),
                    b.right_m,
                    100.0,
                    "cm",
                ));
            }
            fold.push("Direction of the rest point less direction of the aim mark = straight + curvature/2 × arc + session + run, fitted like the travel. A weak prior centred on no bend keeps a short log from inventing one.".to_string());
            bias_caption(rig)
        }
        Question::Sessions => {
            head = vec!["session", "along, cm", "direction, cm per m"];
            let cell = |i: Option<Interval>| {
                i.map_or_else(String::new, |i| words::interval(&i.scaled(100.0)))
            };
            rows.push(Row {
                what: "from one day to the next (SD)".to_string(),
                cells: vec![
                    cell(Some(travel.between_sessions_m)),
                    cell(known.heading.as_ref().map(|h| h.between_sessions_rad)),
                ],
            });
            rows.extend(
                known
                    .story
                    .iter()
                    .flat_map(|story| &story.sessions)
                    .filter(|s| s.shift_m.is_some() || s.shift_rad.is_some())
                    .map(|s| Row {
                        what: words::label(&s.label),
                        cells: vec![cell(s.shift_m), cell(s.shift_rad)],
                    }),
            );
            fold.push("Shift of each session as the fit sees it: pulled towards the season the more the fewer runs it has (best linear unbiased prediction, averaged over the ratio of the spreads).".to_string());
            "How far each day's runs went beyond (or short of) the season, and how much more to one side. A day on another floor may differ more than any here.".to_string()
        }
        Question::Recoil => {
            let recoil = &situation.build().recoil;
            if let Some(curve) = &recoil.curve {
                rows.push(row(
                    "log-odds for each turn of lead",
                    words::interval(&curve.per_turn),
                ));
                if let Some(half) = &curve.half_lead_turns {
                    rows.push(row(
                        "lead with an even chance",
                        format!("{} turns", words::interval(half)),
                    ));
                }
                rows.push(row(
                    "lead at which the accepted chance is reached",
                    curve.lead_limit_turns.map_or_else(
                        || "beyond the leads used".to_string(),
                        |l| format!("{} turns", words::figures(l)),
                    ),
                ));
            }
            for l in &recoil.by_lead {
                let of_100 = |p: f64| units::decimals(100.0 * p, 1);
                let mut said = format!(
                    "{} of {} rolled back: {} ({} to {}) of 100",
                    l.seen,
                    l.watched,
                    of_100(l.chance.estimate),
                    of_100(l.chance.low),
                    of_100(l.chance.high)
                );
                if l.load_noted > 0 {
                    said += &format!("; {} of {} loads broke", l.load_broken, l.load_noted);
                }
                rows.push(row(&words::lead(l.lead_turns), said));
            }
            fold.push(if recoil.curve.is_some() {
                "Logistic curve by penalised likelihood (Firth 1993), intervals from its profile (Heinze & Schemper 2002).".to_string()
            } else {
                "Exact binomial bounds (Clopper & Pearson 1934): too little was seen for a curve.".to_string()
            });
            if recoil.from_all_builds {
                fold.push(
                    "Fewer than six watched runs with this build: all builds are counted together."
                        .to_string(),
                );
            }
            if travel.lead_m_per_turn.is_none() {
                fold.push("All runs share one lead, or it changed only together with something else: what lead does to the distance cannot be told.".to_string());
            }
            format!(
                "More lead stops more gently, until the elastic rolls the vehicle back. Roll-back was seen in {} of {} watched runs.",
                recoil.seen, recoil.watched
            )
        }
        Question::Drift => {
            if let Some(d) = known.story.as_ref().and_then(|s| s.drift.as_ref()) {
                head = vec!["session", "mean, cm", "average, cm", "limits, ± cm"];
                for (i, ((value, average), limit)) in d
                    .values_m
                    .iter()
                    .zip(&d.averages_m)
                    .zip(&d.limits_m)
                    .enumerate()
                {
                    rows.push(Row {
                        what: (i + 1).to_string(),
                        cells: [value, average, limit]
                            .map(|m| words::figures(100.0 * m))
                            .to_vec(),
                    });
                }
            }
            fold.push("Exponentially weighted moving average of the sessions' mean residuals, weight 0.3, limits at three standard deviations (NIST/SEMATECH e-Handbook 6.3.2.4).".to_string());
            "Does it creep longer or shorter over the season? As long as the line stays between the dashed limits, it does not.".to_string()
        }
        Question::Wrong => {
            let c = known.counts;
            let wrong = c.void + c.touched + c.recoiled;
            if c.load_noted > 0 {
                rows.push(row(
                    "loads broken",
                    format!("{} of {} noted", c.load_broken, c.load_noted),
                ));
            }
            rows.push(row(
                "set aside by the program",
                known.set_aside.len().to_string(),
            ));
            if c.launches == 0 {
                String::new()
            } else {
                format!(
                    "Of {}, {} went wrong ({}). That can happen at the event too, and no setting above counts it in.",
                    words::count(c.launches, "launch", "launches"),
                    wrong,
                    words::one_in(wrong, c.launches)
                )
            }
        }
    };
    let caption = caption
        + &match drawn.question {
            Question::Rest | Question::Travel => next::prior_in_travel(rig),
            Question::Floor | Question::Bias => next::prior_in_bend(rig),
            Question::Parts | Question::Sessions | Question::LeftOut => {
                next::prior_in_days(rig).to_string()
            }
            Question::Recoil | Question::Drift | Question::Wrong => String::new(),
        };
    Ok(FigureView {
        title,
        svg: inline,
        caption,
        head,
        rows,
        fold,
    })
}

/// The parts of the miss at the middle target, along and across.
fn parts_rows(calibration: &Calibration, rig: &RigSettings) -> Result<Vec<Row>, Error> {
    let (along, across) = next::middle_parts(calibration, rig)?;
    let said = |what: &str, f: &dyn Fn(&Parts) -> f64| Row {
        what: what.to_string(),
        cells: [Some(&along), across.as_ref()]
            .into_iter()
            .map(|p| p.map_or_else(String::new, |p| words::figures(100.0 * f(p))))
            .collect(),
    };
    Ok(vec![
        said("from one run to the next", &|p| p.run_to_run_m),
        said("from one day to the next", &|p| p.between_sessions_m),
        said("what the log leaves open", &|p| p.calibration_m),
        said("steps", &|p| p.step_m),
        said("together", &Parts::total_m),
    ])
}

fn named(label: &str) -> String {
    if label.is_empty() {
        String::new()
    } else {
        format!(", {}", words::label(label))
    }
}

/// The settings at the shortest, middle and longest target shown.
fn three<'a>(rig: &'a RigSettings) -> Vec<&'a Setting> {
    let n = rig.settings.len();
    let mut at = vec![0, n / 2, n.saturating_sub(1)];
    at.dedup();
    at.into_iter().filter_map(|i| rig.settings.get(i)).collect()
}

fn bias_caption(rig: &RigSettings) -> String {
    let Some(trim) = rig.situation.trim() else {
        return String::new();
    };
    let side = |x: f64| if x > 0.0 { "right" } else { "left" };
    let straight = trim.straight_rad.estimate;
    let curve = 0.5 * trim.curvature_per_m.estimate;
    let points = if straight.abs() < 5e-4 {
        "points straight on".to_string()
    } else {
        format!(
            "points off to the {} by {} cm a metre",
            side(straight),
            units::decimals(100.0 * straight.abs(), 1)
        )
    };
    let bends = if curve.abs() * 64.0 < 0.01 {
        "hardly bends".to_string()
    } else {
        format!(
            "bends to the {} by {} cm at 8 m",
            side(curve),
            units::decimals(100.0 * 64.0 * curve.abs(), 0)
        )
    };
    format!(
        "Where it would come to rest if it were aimed straight at the target. It {points} and {bends}."
    )
}

/// What the bend does at the obstacle, in words of a coach.
fn retrim(calibration: &Calibration, rig: &RigSettings) -> String {
    let known = rig.situation.rig;
    let intro = "Equal scale along and across: the expected way to three targets, and where runs may come to rest.";
    let (Some(trim), true) = (rig.situation.trim(), calibration.setup.obstacle.is_some()) else {
        return intro.to_string();
    };
    let at_8_m = |per_m: f64| 100.0 * 32.0 * per_m;
    let now = trim.curvature_point_per_m;
    let advice = match known.bend_wanted_per_m {
        None => "No bend that was looked at clears the obstacle often enough at every target: practise the tight ones, or ask whether the width in the set-up is right.".to_string(),
        Some((low, high)) if now >= low && now <= high => "Its bend clears the obstacle at every target often enough.".to_string(),
        Some((low, high)) => {
            let (a, b) = if now < low { (low - now, high - now) } else { (now - high, now - low) };
            let side = if now < low { "right" } else { "left" };
            let upto = if b.is_finite() { format!(" to {}", units::decimals(at_8_m(b), 0)) } else { " or more".to_string() };
            format!(
                "Re-trim it to bend {}{upto} cm more to the {side} at 8 m: then it clears the obstacle at every target. Moving the aim mark cannot do that.",
                units::decimals(at_8_m(a), 0)
            )
        }
    };
    format!("{intro} {advice}")
}
