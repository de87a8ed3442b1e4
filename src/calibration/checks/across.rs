//! Along against across, and the gap measured against the gap expected.

use super::evidence::{Evidence, Fitted};
use super::worded::{said, tested};
use crate::calibration::heading::passing;
use crate::calibration::known::Check;
use crate::stats::correlation::correlation;
use crate::stats::distributions::t_sf;

/// Fewest runs with a gap that say anything.
const GAPS_MIN: usize = 4;
/// A tape held to an obstacle is no better than this, m.
const GAP_TAPE_M: f64 = 0.01;

/// Arc and heading residuals uncorrelated.
pub fn together(travel: &Fitted, heading: &Fitted) -> Option<Check> {
    let mut across_rows = heading.launches.iter().zip(&heading.studentised).peekable();
    let (mut along, mut across) = (Vec::new(), Vec::new());
    // Both are in the order of the rig's launches.
    for (launch, length) in travel.launches.iter().zip(&travel.studentised) {
        while across_rows.next_if(|(other, _)| *other < launch).is_some() {}
        if let Some((_, side)) = across_rows.next_if(|(other, _)| *other == launch) {
            along.push(*length);
            across.push(*side);
        }
    }
    let c = correlation(&along, &across)?;
    Some(tested(
        "long or short has nothing to do with left or right",
        c.p,
        "How far it goes and where it heads go wrong independently.",
        || {
            let side = if c.r > 0.0 { "right" } else { "left" };
            format!(
                "Runs that go too far also head {side}: look for one cause of both, such as a wheel that rubs or a string that pulls to one side."
            )
        },
    ))
}

/// Measured gap against predicted, along the run's own path.
pub fn gap(evidence: &Evidence) -> Option<Check> {
    let heading = evidence.heading?;
    let off: Vec<f64> = evidence
        .story
        .runs
        .iter()
        .filter(|r| !r.set_aside)
        .filter_map(|r| {
            let gap_m = r.gap_m?;
            let curvature = *heading.curvature.get(r.trim?)?;
            let place = passing(evidence.setup, r.target_m?)?;
            let chord_heading = r.right_m?.atan2(r.rest_m);
            let start = chord_heading - curvature * r.arc_m / 2.0;
            Some(gap_m - place.gap_m(start, curvature, r.arc_m).0)
        })
        .collect();
    if off.len() < GAPS_MIN {
        return None;
    }
    let n = off.len() as f64;
    let mean = off.iter().sum::<f64>() / n;
    let variance = off.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / (n - 1.0);
    let name = "the gap at the obstacle is as expected";
    let fine = "Gaps measured and gaps expected agree.";
    let se = (variance / n).sqrt();
    if mean.abs() <= GAP_TAPE_M {
        return Some(said(name, true, fine));
    }
    let p = 2.0 * t_sf((mean / se.max(f64::MIN_POSITIVE)).abs(), n - 1.0);
    Some(tested(name, p, fine, || {
        format!(
            "Gaps are about {:.0} cm {} than expected: measure again where the obstacle stands and how wide it and the vehicle are.",
            100.0 * mean.abs(),
            if mean > 0.0 { "wider" } else { "narrower" }
        )
    }))
}
