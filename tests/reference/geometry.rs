//! Arcs against closed forms of plane geometry in 50 digits (mpmath 1.4.1), with curvature near 0, where the textbook
//! formulas lose all their digits. Both ways: from an arc to its end, and from an end back to the arc.
//!
//! Tolerance: relative 1e-12, the table's own. Beside it 1e-15 m (absolute) where a length across the line is below a
//! nanometre, and a few units in the last place of the chord for the arc less its chord, which is a difference of the two.

use crate::read::{Check, case, table};
use haltmark::geometry::{
    Passing, aim_heading, aim_offset, arc_end, arc_of_chord, chord_and_heading, chord_of_arc,
    offset_from_path,
};
use haltmark::setup::PassSide;

const RELATIVE: f64 = 1e-12;
/// What is allowed beside it, m, for lengths that are below [`TINY_M`].
const ABSOLUTE_M: f64 = 1e-15;
const TINY_M: f64 = 1e-9;

/// A row of the table; lengths in m, angles in rad.
struct Arc {
    name: String,
    curvature: f64,
    arc: f64,
    end: (f64, f64),
    chord: f64,
    chord_heading: f64,
    end_heading: f64,
    bearing_cm_per_m: f64,
    half: (f64, f64),
    sagitta: f64,
    arc_minus_chord: f64,
}

fn arcs() -> Vec<Arc> {
    let named = case("arc_geometry.json", "Arcs");
    let table = table(named["data"].as_str().expect("data"));
    let column = |name: &str| table.numbers(name);
    let (curvature, arc) = (column("curvature_per_m"), column("arc_m"));
    let (forward, right) = (column("forward_m"), column("right_m"));
    let (half_forward, half_right) = (column("half_forward_m"), column("half_right_m"));
    let (chord, chord_heading) = (column("chord_m"), column("chord_bearing_rad"));
    let (end_heading, bearing) = (column("end_heading_rad"), column("bearing_cm_per_m"));
    let (sagitta, arc_minus_chord) = (column("sagitta_m"), column("arc_minus_chord_m"));
    let row = |i: usize| Arc {
        name: format!("curvature {}, arc {}", curvature[i], arc[i]),
        curvature: curvature[i],
        arc: arc[i],
        end: (forward[i], right[i]),
        chord: chord[i],
        chord_heading: chord_heading[i],
        end_heading: end_heading[i],
        bearing_cm_per_m: bearing[i],
        half: (half_forward[i], half_right[i]),
        sagitta: sagitta[i],
        arc_minus_chord: arc_minus_chord[i],
    };
    (0..curvature.len()).map(row).collect()
}

fn length(check: &mut Check, row: String, got: f64, wanted: f64) {
    let beside = if wanted.abs() < TINY_M {
        ABSOLUTE_M
    } else {
        0.0
    };
    check.absolute(row, got, wanted, RELATIVE * wanted.abs() + beside);
}

#[test]
fn the_table_has_straight_lines_and_bends_either_way() {
    let arcs = arcs();
    assert_eq!(arcs.len(), 40);
    assert!(arcs.iter().any(|a| a.curvature == 0.0));
    assert!(arcs.iter().any(|a| a.curvature < 0.0) && arcs.iter().any(|a| a.curvature > 0.01));
}

#[test]
fn from_an_arc_to_its_end() {
    let mut check = Check::new("arc to end");
    for a in arcs() {
        let name = |what: &str| format!("{}: {what}", a.name);
        let (forward, right) = arc_end(a.arc, 0.0, a.curvature);
        length(&mut check, name("forward"), forward, a.end.0);
        length(&mut check, name("right"), right, a.end.1);
        let (forward, right) = arc_end(a.arc / 2.0, 0.0, a.curvature);
        length(&mut check, name("half forward"), forward, a.half.0);
        length(&mut check, name("half right"), right, a.half.1);
        let chord = chord_of_arc(a.arc, a.curvature);
        length(&mut check, name("chord"), chord, a.chord);
        // The difference of two numbers of the chord's size: right to their last places, no further.
        let (less, last_places) = (a.arc - chord, 4.0 * f64::EPSILON * a.arc);
        let allowed = RELATIVE * a.arc_minus_chord + last_places;
        check.absolute(name("arc less chord"), less, a.arc_minus_chord, allowed);
    }
    check.finish();
}

#[test]
fn from_an_end_back_to_its_arc() {
    let mut check = Check::new("end to arc");
    for a in arcs() {
        let name = |what: &str| format!("{}: {what}", a.name);
        let (chord, heading) = chord_and_heading(a.end.0, a.end.1);
        length(&mut check, name("chord"), chord, a.chord);
        check.relative(name("heading"), heading, a.chord_heading, RELATIVE);
        // The tangent at the end lies as far beyond the chord as the tangent at the start lies before it.
        check.relative(name("end heading"), 2.0 * heading, a.end_heading, RELATIVE);
        let arc = arc_of_chord(a.chord, a.curvature);
        length(&mut check, name("arc"), arc, a.arc);
        let arc = arc_of_chord(chord, a.curvature);
        length(&mut check, name("arc from the end point"), arc, a.arc);
    }
    check.finish();
}

#[test]
fn an_aim_mark_stands_where_the_bearing_meets_the_targets_distance() {
    let mut check = Check::new("aim");
    for a in arcs() {
        let name = |what: &str| format!("{}: {what}", a.name);
        let per_metre = 100.0 * aim_offset(1.0, a.chord_heading);
        check.relative(name("bearing"), per_metre, a.bearing_cm_per_m, RELATIVE);
        // Aimed from the start at where the arc ends: its end's offset, at its end's distance ahead.
        let offset = aim_offset(a.end.0, a.chord_heading);
        length(&mut check, name("offset"), offset, a.end.1);
        let heading = aim_heading(a.end.0, a.end.1);
        check.relative(name("heading"), heading, a.chord_heading, RELATIVE);
        // Turned left by the chord's direction, the arc ends on the line, its chord ahead.
        let (forward, right) = arc_end(a.arc, -a.chord_heading, a.curvature);
        length(&mut check, name("turned, forward"), forward, a.chord);
        check.absolute(name("turned, right"), right, 0.0, ABSOLUTE_M);
    }
    check.finish();
}

#[test]
fn the_bow_of_an_arc_is_its_sagitta() {
    let mut check = Check::new("sagitta");
    for a in arcs() {
        let name = |what: &str| format!("{}: {what}", a.name);
        // A point on the chord's middle, with the chord laid on the line: so far from the path as the path bows. Lost
        // are the last places of the distance to the circle's centre, 1 in units of its radius.
        let heading = -a.chord_heading;
        let (right, along) = offset_from_path((a.chord / 2.0, 0.0), heading, a.curvature, a.arc);
        check.absolute(
            name("bow"),
            right,
            a.sagitta,
            RELATIVE * a.sagitta.abs() + ABSOLUTE_M,
        );
        check.relative(name("where"), along, a.arc / 2.0, RELATIVE);
        let post = Passing {
            centre_m: (a.chord / 2.0, 0.0),
            reach_m: 0.25,
            pass: PassSide::Left,
        };
        let (gap, _) = post.gap_m(heading, a.curvature, a.arc);
        check.absolute(name("gap"), gap, a.sagitta - 0.25, RELATIVE);
    }
    check.finish();
}
