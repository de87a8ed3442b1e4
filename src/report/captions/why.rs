//! Captions and tables of the figures on what the log says of the vehicle.

use super::below::{Below, TableRow, interval_row, row};
use crate::calibration::{Calibration, Travel};
use crate::decide::RigSettings;
use crate::report::words;
use crate::stats::interval::Interval;
use crate::units;

/// Caption and table of travel against turns.
pub(super) fn travel(calibration: &Calibration, rig: &RigSettings) -> Below {
    let known = rig.situation.rig;
    let travel = &known.travel;
    let percent_level = words::percent(calibration.level.probability());
    let mut rows = Vec::new();
    let mut fold = Vec::new();
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
    rows.extend(prior_and_hand_rolls(travel));
    fold.push(format!("Arc = roll-on of the build + distance per turn × turns (+ lead term) + session + run. Random-intercept mixed model; estimates by restricted maximum likelihood (Harville 1977), {percent_level} intervals by integrating over the ratio of the spreads with half-t prior (Box & Tiao 1973; Gelman 2006). Intervals of a spread are the shortest."));
    let caption = "Each mark is a run. A straight line means that every turn carries the vehicle equally far; the lower panel shows how far each run lies from it.".to_string();
    Below {
        caption,
        rows,
        fold,
        ..Below::default()
    }
}

/// Rows of what stands beside the fit of travel: the prior on distance per turn, and the hand rolls.
fn prior_and_hand_rolls(travel: &Travel) -> Vec<TableRow> {
    let mut rows = Vec::new();
    if let Some(prior) = &travel.turn_prior {
        rows.push(row(
            "prior on distance per turn",
            format!(
                "{} ± {} cm, {} of its weight",
                words::figures(100.0 * prior.mean_m),
                words::figures(100.0 * prior.sd_m),
                words::share(travel.prior_share)
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
    rows
}

/// Caption and table of lateral bias against distance.
pub(super) fn bias(rig: &RigSettings) -> Below {
    let situation = &rig.situation;
    let known = rig.situation.rig;
    let mut rows = Vec::new();
    let mut fold = Vec::new();
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
                words::share(t.prior_share),
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
    let caption = bias_caption(rig);
    Below {
        caption,
        rows,
        fold,
        ..Below::default()
    }
}

/// Caption and table of the sessions in order.
pub(super) fn sessions(rig: &RigSettings) -> Below {
    let known = rig.situation.rig;
    let travel = &known.travel;
    let mut rows = Vec::new();
    let mut fold = Vec::new();
    let head = vec!["session", "along, cm", "direction, cm per m"];
    let cell =
        |i: Option<Interval>| i.map_or_else(String::new, |i| words::interval(&i.scaled(100.0)));
    rows.push(vec![
        "from one day to the next (SD)".to_string(),
        cell(Some(travel.between_sessions_m)),
        cell(known.heading.as_ref().map(|h| h.between_sessions_rad)),
    ]);
    let sessions = known.story.iter().flat_map(|story| &story.sessions);
    let sessions: Vec<_> = sessions
        .filter(|s| s.shift_m.is_some() || s.shift_rad.is_some())
        .collect();
    let newest = &sessions[sessions.len().saturating_sub(LISTED_MAX)..];
    rows.extend(
        newest
            .iter()
            .map(|s| vec![words::label(&s.label), cell(s.shift_m), cell(s.shift_rad)]),
    );
    fold.extend(only_newest(sessions.len()));
    fold.push("Shift of each session as the fit sees it: pulled towards the season the more the fewer runs it has (best linear unbiased prediction, averaged over the ratio of the spreads).".to_string());
    let caption = "How far each day's runs went beyond (or short of) the season, and how much more to one side. A day on another floor may differ more than any here.".to_string();
    Below {
        caption,
        head,
        rows,
        fold,
    }
}

/// Caption and table of recoil against brake lead.
pub(super) fn recoil(rig: &RigSettings) -> Below {
    let situation = &rig.situation;
    let known = rig.situation.rig;
    let travel = &known.travel;
    let mut rows = Vec::new();
    let mut fold = Vec::new();
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
    let caption = format!(
        "More lead stops more gently, until the elastic rolls the vehicle back. Roll-back was seen in {} of {} watched runs.",
        recoil.seen, recoil.watched
    );
    Below {
        caption,
        rows,
        fold,
        ..Below::default()
    }
}

/// Caption and table of the drift chart.
pub(super) fn drift(rig: &RigSettings) -> Below {
    let known = rig.situation.rig;
    let mut rows = Vec::new();
    let mut fold = Vec::new();
    let mut head = Vec::new();
    if let Some(d) = known.story.as_ref().and_then(|s| s.drift.as_ref()) {
        head = vec!["session", "mean, cm", "average, cm", "limits, ± cm"];
        for (i, ((value, average), limit)) in d
            .values_m
            .iter()
            .zip(&d.averages_m)
            .zip(&d.limits_m)
            .enumerate()
            .skip(d.values_m.len().saturating_sub(LISTED_MAX))
        {
            let mut row = vec![(i + 1).to_string()];
            row.extend([value, average, limit].map(|m| words::figures(100.0 * m)));
            rows.push(row);
        }
        fold.extend(only_newest(d.values_m.len()));
    }
    fold.push("Exponentially weighted moving average of the sessions' mean residuals, weight 0.3, limits at three standard deviations, which are told from how much each session differs from the one before (NIST/SEMATECH e-Handbook 6.3.2.4 and 6.3.2.2).".to_string());
    let caption = "Does it creep longer or shorter over the season? As long as the line stays between the dashed limits, it does not.".to_string();
    Below {
        caption,
        head,
        rows,
        fold,
    }
}

/// Most sessions listed in numbers; the figure shows all of them.
const LISTED_MAX: usize = 24;

/// The sentence that only the newest sessions are listed; `None` where all of them are.
fn only_newest(sessions: usize) -> Option<String> {
    (sessions > LISTED_MAX)
        .then(|| format!("Of {sessions} sessions the last {LISTED_MAX} are listed."))
}

/// Caption and table of what went wrong.
pub(super) fn wrong(rig: &RigSettings) -> Below {
    let known = rig.situation.rig;
    let mut rows = Vec::new();
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
    let caption = if c.launches == 0 {
        String::new()
    } else {
        format!(
            "Of {}, {} went wrong ({}). That can happen at the event too, and no setting above counts it in.",
            words::count(c.launches, "launch", "launches"),
            wrong,
            words::one_in(wrong, c.launches)
        )
    };
    Below {
        caption,
        rows,
        ..Below::default()
    }
}

fn named(label: &str) -> String {
    if label.is_empty() {
        String::new()
    } else {
        format!(", {}", words::label(label))
    }
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
