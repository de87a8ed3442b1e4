//! Captions and tables of the figures on where runs come to rest and how far that can be trusted.

use super::below::{Below, TableRow, row};
use crate::calibration::Calibration;
use crate::decide::RigSettings;
use crate::decide::parts::Parts;
use crate::report::words;
use crate::units;

/// Caption and table of the close-up of the targets.
pub(super) fn rest(calibration: &Calibration, rig: &RigSettings) -> Below {
    let level = words::level(calibration.level.probability());
    let percent_level = words::percent(calibration.level.probability());
    let mut rows = Vec::new();
    let mut fold = Vec::new();
    let caption = format!(
        "Each dot is a run as it may turn out on a new day at the printed setting; {level} stop inside the circle."
    );
    for (s, _) in &rig.three {
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
    Below {
        caption,
        rows,
        fold,
        ..Below::default()
    }
}

/// Caption and table of the floor from above.
pub(super) fn floor(calibration: &Calibration, rig: &RigSettings) -> Below {
    let known = rig.situation.rig;
    let mut rows = Vec::new();
    let mut fold = Vec::new();
    for (s, _) in &rig.three {
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
    let caption = retrim(calibration, rig);
    Below {
        caption,
        rows,
        fold,
        ..Below::default()
    }
}

/// Caption and table of the leave-one-session-out figure.
pub(super) fn left_out(calibration: &Calibration, rig: &RigSettings) -> Below {
    let known = rig.situation.rig;
    let percent_level = words::percent(calibration.level.probability());
    let mut rows = Vec::new();
    let mut fold = Vec::new();
    let l = &known.left_out;
    rows.push(row(
        "sessions predicted from the others",
        l.sessions.to_string(),
    ));
    rows.push(row("runs inside", format!("{} of {}", l.inside, l.runs)));
    fold.push(format!("Every session is taken out in turn, the rest is fitted as if it had never been, and its runs are held against the {percent_level} range for a new session (leave one group out)."));
    let caption = format!(
        "Had the rest of the season been asked about each day beforehand, {} of {} runs would have come out inside the range it gave; about {:.0} should.",
        l.inside,
        l.runs,
        calibration.level.probability() * l.runs as f64
    );
    Below {
        caption,
        rows,
        fold,
        ..Below::default()
    }
}

/// Caption and table of the parts of the miss.
pub(super) fn parts(rig: &RigSettings) -> Below {
    let mut rows = Vec::new();
    let mut fold = Vec::new();
    let head = vec!["part", "along, cm", "across, cm"];
    rows.extend(parts_rows(rig));
    fold.push("Standard deviations of one run of a new session at the middle target. Their squares add up. Run to run and day to day are root mean squares over what the log leaves open about them; a step contributes its width over √12.".to_string());
    let caption = "The longest bar is the one to work on: build better against run to run; practise on other days and floors, or correct on the day, against day to day; make more runs against what the log leaves open.".to_string();
    Below {
        caption,
        head,
        rows,
        fold,
    }
}

/// The parts of the miss at the middle target, along and across.
fn parts_rows(rig: &RigSettings) -> Vec<TableRow> {
    let (along, across) = &rig.parts;
    let said = |what: &str, f: &dyn Fn(&Parts) -> f64| -> TableRow {
        let cm = |p: Option<&Parts>| p.map_or_else(String::new, |p| words::figures(100.0 * f(p)));
        vec![what.to_string(), cm(Some(along)), cm(across.as_ref())]
    };
    vec![
        said("from one run to the next", &|p| p.run_to_run_m),
        said("from one day to the next", &|p| p.between_sessions_m),
        said("what the log leaves open", &|p| p.calibration_m),
        said("steps", &|p| p.step_m),
        said("together", &Parts::total_m),
    ]
}

/// Advice on the trim: how the present bend compares with those that clear the obstacle at every target.
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
