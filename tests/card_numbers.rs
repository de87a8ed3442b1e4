//! The card's arithmetic without its page: `numbers.js` and `settings.js` on a blank page in Debian's Chromium, value by
//! value against the program's, so that a drift shows in the function where it begins.

mod common;

use common::devtools::Page;
use common::fitted;
use haltmark::calibration::Calibration;
use haltmark::decide::clearance::{self, PlacedObstacle};
use haltmark::decide::correct::{AlmostImpossible, correct};
use haltmark::decide::predict::{Hand, cloud_scores, next_run};
use haltmark::decide::{Choice, Situation, dial, rounding, score};
use haltmark::geometry;
use haltmark::predict::tabulated::TabulatedQuantiles;
use haltmark::stats::distributions as d;
use haltmark::stats::mixed::Row;
use haltmark::stats::t_table::TTable;

/// The part of the card's script that knows of no page.
fn script() -> String {
    let read = |name| {
        let path = format!("{}/src/report/card/{name}", env!("CARGO_MANIFEST_DIR"));
        std::fs::read_to_string(path).expect("a script")
    };
    read("numbers.js") + "\n" + &read("settings.js")
}

/// How near the script's value must be.
#[derive(Debug, Clone, Copy)]
enum Near {
    /// To this part of the value.
    Part(f64),
    /// To this part of the value, of values below 1 in units.
    Unit(f64),
}

/// The same formulas: nothing but rounding may differ.
const EXACT: Near = Near::Unit(1e-11);
/// Tails keep their digits however far out.
const TAIL: Near = Near::Part(1e-11);
/// What rests on tabulated quantiles, m, rad or normal scores.
const TABULATED: Near = Near::Unit(1e-8);
const GAP: Near = Near::Unit(1e-7);
const CHANCE: Near = Near::Unit(1e-8);
/// Either search settles within 1e-6 of the target's distance; a whole centimetre is shown.
const MISS: Near = Near::Unit(3e-5);

/// Expressions of the script, each with the program's value.
#[derive(Default)]
struct Cases(Vec<(String, f64, Near)>);

impl Cases {
    fn add(&mut self, near: Near, wanted: f64, expression: String) {
        self.0.push((expression, wanted, near));
    }

    /// Evaluates all in a page that knows `known`; returns the rows that differ.
    fn differing(&self, page: &mut Page, known: &str) -> Vec<String> {
        let thunks: Vec<String> = self.0.iter().map(|(e, ..)| format!("() => {e}")).collect();
        let got = page.value(&format!(
            "known = {known}; [{}].map((f) => {{ try {{ const x = f(); return Number.isFinite(x) ? x : String(x); }} catch (e) {{ return String(e); }} }})",
            thunks.join(",\n")
        ));
        let got = got.as_array().expect("one value for each case");
        assert_eq!(got.len(), self.0.len());
        let rows = self.0.iter().zip(got);
        rows.filter(|((_, wanted, near), got)| {
            let got = match got.as_f64() {
                Some(number) => number,
                None => match got.as_str() {
                    Some("Infinity") => f64::INFINITY,
                    Some("-Infinity") => f64::NEG_INFINITY,
                    Some("NaN") => return !wanted.is_nan(),
                    _ => return true,
                },
            };
            let within = match near {
                Near::Part(part) => part * wanted.abs(),
                Near::Unit(part) => part * wanted.abs().max(1.0),
            };
            !(got == *wanted || (got - wanted).abs() <= within)
        })
        .map(|((expression, wanted, near), got)| {
            format!("{expression}\n    script {got}, program {wanted:?}, {near:?}")
        })
        .collect()
    }
}

/// A blank page with the two scripts.
fn page() -> Option<Page> {
    let mut page = Page::start()?;
    page.value(&format!("{}\nlet known = null;", script()));
    Some(page)
}

#[track_caller]
fn none_differs(differing: &[String]) {
    assert!(differing.is_empty(), "\n{}", differing.join("\n"));
}

fn distributions(cases: &mut Cases) {
    for x in [-38.0, -9.0, -2.9, -1.0, -1e-3, 0.0, 0.7, 2.0, 2.83, 6.0] {
        cases.add(TAIL, d::normal_cdf(x), format!("normalCdf({x:?})"));
        cases.add(TAIL, d::normal_pdf(x), format!("normalPdf({x:?})"));
    }
    for p in [1e-300, 1e-9, 0.025, 0.3, 0.499_999, 0.5, 0.9, 1.0 - 1e-9] {
        let wanted = d::normal_quantile(p);
        cases.add(EXACT, wanted, format!("normalQuantile({p:?})"));
    }
    for df in [1.0, 2.0, 3.7, 14.0, 300.0, 1999.0, 2001.0, 1e4, 1e6] {
        for x in [-3.0, 0.0, 1e-9, 0.3, 1.0, 2.7, 8.0, 30.0, 120.0, 5e3] {
            let wanted = d::t_sf(x, df);
            // A tail below the smallest number with all its digits.
            if wanted > 1e-300 {
                // Of many degrees of freedom the far tail is the exponential of a large rounded number.
                let near = Near::Part(1e-11 * (-wanted.ln() / 20.0).max(1.0));
                cases.add(near, wanted, format!("tSf({x:?}, {df:?})"));
            }
        }
        let reach = (2.0 * d::t_quantile(1.0 - 1e-5, df)).asinh();
        cases.add(EXACT, reach, format!("studentT({df:?}).reach"));
        let table = TTable::new(df);
        for x in [-200.0, -4.4, -0.2, 0.0, 1.9, 127.5] {
            cases.add(EXACT, table.cdf(x), format!("studentT({df:?}).cdf({x:?})"));
            let height = d::t_pdf(x, df);
            cases.add(EXACT, height, format!("studentT({df:?}).pdf({x:?})"));
        }
    }
    for (i, (along, across)) in cloud_scores().iter().enumerate().step_by(341) {
        cases.add(EXACT, *along, format!("cloudScores()[{i}][0]"));
        cases.add(EXACT, *across, format!("cloudScores()[{i}][1]"));
    }
}

fn plane(cases: &mut Cases) {
    // An obstacle beyond the target is none.
    let beyond = "{obstacle: {at_m: 6, right_m: 0.1, diameter_m: 0.2, side: 1}}";
    for (target, is_none) in [(5.5, 1.0), (6.5, 0.0)] {
        let js = format!("Number(obstacleAt({beyond}, {target:?}) === null)");
        cases.add(EXACT, is_none, js);
    }
    for curvature in [-0.3, -2e-3, -1e-12, 0.0, 1e-3, 0.08, 0.25] {
        // Mean arcs may be negative; a chord of 8 is the diameter of curvature 0.25.
        for arc in [-3.0, -0.04, 0.0, 0.3, 7.5, 20.0] {
            let chord = geometry::chord_of_arc(arc, curvature);
            cases.add(EXACT, chord, format!("chordOfArc({arc:?}, {curvature:?})"));
            for heading in [-1.0, -0.05, 0.3] {
                let (ahead, right) = geometry::arc_end(arc, heading, curvature);
                let end = format!("arcEnd({arc:?}, {heading:?}, {curvature:?})");
                cases.add(EXACT, ahead, format!("{end}[0]"));
                cases.add(EXACT, right, format!("{end}[1]"));
                let point = (4.0, -0.5);
                let (right, along) = geometry::offset_from_path(point, heading, curvature, arc);
                let offset =
                    format!("offsetFromPath([4, -0.5], {heading:?}, {curvature:?}, {arc:?})");
                cases.add(EXACT, right, format!("{offset}[0]"));
                cases.add(EXACT, along, format!("{offset}[1]"));
            }
        }
        for chord in [0.0, 0.01, 4.0, 7.999, 8.0, 8.5] {
            let arc = geometry::arc_of_chord(chord, curvature);
            cases.add(EXACT, arc, format!("arcOfChord({chord:?}, {curvature:?})"));
        }
        for (free, arc) in [(0.2, 8.0), (1.3, 8.0), (9.0, 8.0), (0.2, -0.3), (0.2, 30.0)] {
            let wanted = clearance::leave_chance(free, curvature, arc, d::normal_cdf);
            let reaching = |k: f64| format!("headingReaching({free:?}, {k:?}, {arc:?})");
            let (right, left) = (reaching(curvature), reaching(-curvature));
            let script = format!("Math.min(1 - normalCdf({right}) + normalCdf(-{left}), 1)");
            cases.add(EXACT, wanted, script);
        }
    }
    for (target, aim) in [(8.0, -0.35), (0.1, 0.4), (10.5, 0.0)] {
        let heading = geometry::aim_heading(target, aim);
        cases.add(EXACT, heading, format!("aimHeading({target:?}, {aim:?})"));
        let offset = geometry::aim_offset(target, heading);
        cases.add(EXACT, offset, format!("aimOffset({target:?}, {heading:?})"));
    }
    // Exact halves, halves missed in binary, and less than half, on both sides of 0.
    for (x, step) in [
        (0.25, 0.5),
        (0.35, 0.1),
        (36.575, 0.05),
        (0.249, 0.5),
        (0.249_999_98, 0.5),
        (0.0, 0.01),
        (1.005, 0.01),
        (2.5e-9, 5e-9),
    ] {
        for x in [x, -x] {
            let wanted = rounding::steps(x, step) as f64;
            cases.add(Near::Unit(0.0), wanted, format!("steps({x:?}, {step:?})"));
        }
    }
    for (ticks, per) in [(0, 20), (19, 20), (731, 20), (35, 1)] {
        let dial = rounding::DialSetting {
            ticks_in_all: ticks,
            ticks_per_turn: per,
        };
        cases.add(EXACT, dial.turns(), format!("turnsOf({ticks}, {per})"));
    }
}

#[test]
fn the_cards_distributions_and_geometry_are_the_programs() {
    let Some(mut page) = page() else {
        return;
    };
    let mut cases = Cases::default();
    distributions(&mut cases);
    plane(&mut cases);
    none_differs(&cases.differing(&mut page, "null"));
}

/// A season fitted in a folder of its own: the calibration and what the card is given of it.
fn fitted_with_card(log: &str, setup: &str) -> (Calibration, String) {
    let (folder, calibration) = fitted(log, setup);
    let card = folder.text("out/card.html");
    let known = card.split("id=\"known\">").nth(1).expect("what is known");
    let known = known.split("</script>").next().expect("its end");
    (calibration, known.to_string())
}

/// Rows of today: nothing yet, or three runs, of which two were measured across.
fn rows_of_today<'a>(before: &Situation<'a>, runs: usize) -> (Situation<'a>, [String; 2]) {
    let (mut travel, mut heading) = (Vec::new(), Vec::new());
    for (turns, long, excess) in [
        (30.0, 0.31, 0.02),
        (34.5, -0.12, -0.004),
        (26.0, 0.22, 0.011),
    ]
    .into_iter()
    .take(runs)
    {
        let row = before.travel_row(turns);
        let arc = before.travel.mean(&row) + long;
        travel.push((row, arc));
        if let Some((known, trim, group)) = before.known_heading().filter(|_| heading.len() < 2) {
            let row = known.row(trim, arc);
            let seen = group.mean(&row) + excess;
            heading.push((row, seen));
        }
    }
    let mut now = before.clone();
    now.travel = before.rig.travel.posterior.group(&travel);
    let posterior = before.rig.heading.as_ref().map(|h| &h.posterior);
    now.heading = posterior.map(|p| p.group(&heading));
    (now, [travel, heading].map(|rows| js_rows(&rows)))
}

/// A row as the script has it.
fn js_row(row: &Row) -> String {
    format!("{{ x: {:?}, size: {:?} }}", row.x, row.size)
}

fn js_rows(rows: &[(Row, f64)]) -> String {
    let pair = |(row, y): &(Row, f64)| format!("[{}, {y:?}]", js_row(row));
    format!("[{}]", rows.iter().map(pair).collect::<Vec<_>>().join(", "))
}

/// What one situation says at a target, from the posterior to the setting.
fn setting(cases: &mut Cases, calibration: &Calibration, s: &Situation, now: &str, target: f64) {
    let setup = &calibration.setup;
    let (turns, aim) = dial::plain_setting(s, target).expect("a setting");
    cases.add(EXACT, turns, format!("{now}.plain({target:?}).turns"));
    cases.add(EXACT, aim, format!("{now}.plain({target:?}).aim"));
    let row = s.travel_row(turns);
    let groups = [Some((&s.travel, "travel", row))].into_iter().chain([s
        .known_heading()
        .map(|(known, trim, group)| (group, "heading", known.row(trim, s.arc_to_m(target))))]);
    for (group, name, x) in groups.flatten() {
        let js = format!("{now}.{name}");
        let row = js_row(&x);
        cases.add(EXACT, group.mean(&x), format!("{js}.mean({row})"));
        cases.add(EXACT, group.share(&x), format!("{js}.share({row})"));
        cases.add(EXACT, group.coefficient(1), format!("{js}.coefficient(1)"));
        for k in [0, group.nodes().len() / 2, group.nodes().len() - 1] {
            let (node, js) = (&group.nodes()[k], format!("{js}.nodes[{k}]"));
            cases.add(EXACT, node.weight, format!("{js}.weight"));
            cases.add(EXACT, node.rss, format!("{js}.rss"));
            let last = node.covariance.len() - 1;
            cases.add(
                EXACT,
                node.covariance[last],
                format!("{js}.covariance[{last}]"),
            );
        }
        let next = group.next_distribution(&x);
        let table = TabulatedQuantiles::from_mixture(&next, 0.1);
        let (centre, scale) = (next.centre(), next.mean_scale());
        for z in [-8.0, -1.1, 0.0, 2.5] {
            let y = centre + z * scale;
            let (cdf, pdf) = next.cdf_and_pdf(y);
            cases.add(EXACT, cdf, format!("{js}.next({row}).cdf({y:?})"));
            let two_sided = next.two_sided_p(y);
            cases.add(
                EXACT,
                two_sided,
                format!("{js}.next({row}).twoSidedP({y:?})"),
            );
            // The program's density is the slope of its table of t: 1e-7 of the size.
            let near = Near::Unit(1e-7);
            cases.add(near, pdf, format!("{js}.next({row}).pdf({y:?})"));
            let tabulated = format!("new TabulatedQuantiles({js}.next({row}), 0.1)");
            let at = table.at_score(0.5 * z);
            cases.add(TABULATED, at, format!("{tabulated}.atScore({:?})", 0.5 * z));
            let upto = table.cdf(y + 0.1);
            cases.add(TABULATED, upto, format!("{tabulated}.cdf({:?})", y + 0.1));
        }
        let line = group.line_distribution(&x).cdf(centre + 0.3 * scale);
        let js = format!("{js}.line({row}).cdf({:?})", centre + 0.3 * scale);
        cases.add(EXACT, line, js);
    }
    // The plain setting, and one that is off on purpose: a miss to the side, and far along.
    for (by_turns, by_m) in [(0.0, 0.0), (1.5, -0.4)] {
        let hand = Hand {
            target_m: target,
            turns: turns.max(0.0) + by_turns,
            aim_right_m: aim + by_m,
        };
        let p = next_run(s, hand);
        let js = format!(
            "new Prediction({now}, {target:?}, {:?}, {:?})",
            hand.turns, hand.aim_right_m
        );
        cases.add(EXACT, p.arc_mean_m(), format!("({js}).arcMean"));
        cases.add(TABULATED, p.arc_scale_m(), format!("({js}).arcScale()"));
        let scale = p.direction_scale();
        cases.add(TABULATED, scale, format!("({js}).directionScale()"));
        let measure = setup.score.measure;
        for q in [0.02, 0.2, 0.7 * target] {
            if let Some(wanted) = p.chance_within(q, measure) {
                cases.add(CHANCE, wanted, format!("({js}).missCdf({q:?})"));
            }
        }
        for probability in [0.5, 0.95] {
            if let Some(wanted) = p.miss_quantile(probability, measure) {
                let js = format!("({js}).missQuantile({probability:?})");
                cases.add(MISS, wanted, js);
            }
        }
        if let Some(way) = clearance::of_next_run(s, &p) {
            if let Some(gap) = way.gap_m(calibration.level) {
                cases.add(GAP, gap.estimate, format!("clearance({js}).gap.estimate"));
                cases.add(GAP, gap.low, format!("clearance({js}).gap.low"));
            }
            if let Some(wanted) = way.touch_chance() {
                cases.add(CHANCE, wanted, format!("clearance({js}).touch"));
            }
            if let Some(wanted) = way.leave_chance {
                cases.add(CHANCE, wanted, format!("clearance({js}).leave"));
            }
        }
        let expected = score::expected(s, &p, None, calibration.level).expect("a score");
        if let Some(expected) = expected {
            let js = format!(
                "scorer({now}, {js})({:?}, {:?})",
                hand.turns, hand.aim_right_m
            );
            cases.add(TABULATED, expected.estimate, js);
        }
    }
    if let Some(place) = PlacedObstacle::new(setup, target, s.curvature_per_m()) {
        for (heading, arc) in [(-0.08, target), (0.1, 0.2 * target), (0.0, -0.1)] {
            let (gap, along) = place.gap_m(heading, arc);
            let js = format!(
                "obstacleAt(known, {target:?}).gap({heading:?}, {:?}, {arc:?})",
                s.curvature_per_m()
            );
            cases.add(EXACT, gap, format!("{js}[0]"));
            cases.add(EXACT, along, format!("{js}[1]"));
        }
    }
    let (wanted, prediction) =
        dial::setting_and_prediction(s, target, calibration.level).expect("a setting");
    let js = format!("settingFor({now}, {target:?}, 0.14)");
    if let Some(beat) = prediction.chance_within(0.14, setup.score.measure) {
        cases.add(CHANCE, beat, format!("{js}.beat_chance"));
    }
    let whole = Near::Unit(0.0);
    cases.add(
        whole,
        wanted.dial.whole_turns() as f64,
        format!("{js}.turns"),
    );
    cases.add(whole, wanted.dial.ticks() as f64, format!("{js}.ticks"));
    if let Some(aim) = wanted.aim_right_m {
        cases.add(EXACT, aim, format!("{js}.aim_m"));
    }
}

/// Every rig's newest build and trim, before the first run of today and after three, at two targets.
fn season((calibration, known): (Calibration, String)) {
    let Some(mut page) = page() else {
        return;
    };
    let mut cases = Cases::default();
    for (i, rig) in calibration.rigs.iter().enumerate() {
        let before = Situation::from_rig(&calibration.setup, rig, &Choice::default()).expect("one");
        let range = calibration.range().expect("a range");
        for runs in [0, 3] {
            let (s, [travel, heading]) = rows_of_today(&before, runs);
            let trim = s.trim.unwrap_or(0);
            let now = format!(
                "new Situation(known, known.rigs[{i}], {}, {trim}, {travel}, {heading})",
                s.build
            );
            for target in [range.shortest_m, range.middle_m()] {
                setting(&mut cases, &calibration, &s, &format!("({now})"), target);
            }
        }
    }
    none_differs(&cases.differing(&mut page, &known));
}

/// A run of today: target, turns, aim mark and lead, where it came to rest in cm, and the log's word for it.
type TodaysRun = (f64, f64, f64, f64, f64, f64, &'static str);

/// Days that put runs in doubt and offer two ways on: which runs are left out and why, the chance of each, and both settings.
fn day(cases: &mut Cases, calibration: &Calibration, rig: usize, runs: &[TodaysRun]) {
    let name = &calibration.rigs[rig].name;
    let mut log =
        "session,target_m,turns,aim_right_cm,lead_turns,long_cm,right_cm,status\n".to_string();
    let mut js = Vec::new();
    for (target, turns, aim, lead, long, right, status) in runs {
        log += &format!("t,{target},{turns},{aim},{lead},{long},{right},{status}\n");
        js.push(format!(
            "{{ status: '{status}', build: rig.newest_build, trim: rig.heading.newest_trim, believed: false, target_m: {target}, \
             turns: {turns}, ticks: null, aim_right_cm: {aim}, lead_turns: {lead}, long_cm: {long}, right_cm: {right} }}"
        ));
    }
    let (today, _) = common::read(&log);
    let choice = Choice {
        rig: Some(name.clone()),
        ..Choice::default()
    };
    let target = 7.5;
    let found = correct(calibration, &today, &choice, AlmostImpossible::LeftOut).expect("a day");
    let answer = format!(
        "((rig) => answer(known, rig, rig.newest_build, rig.heading.newest_trim, [{}], {target}, 0.14))(known.rigs[{rig}])",
        js.join(", ")
    );
    let whole = Near::Unit(0.0);
    let doubted = found.doubted.len() as f64;
    cases.add(whole, doubted, format!("{answer}.doubted.length"));
    for (i, run) in found.doubted.iter().enumerate() {
        let row = run.line as f64 - 2.0;
        cases.add(whole, row, format!("{answer}.doubted[{i}].run"));
        // The words give the distance in whole cm.
        let shown = format!("Math.round(100 * Math.abs({answer}.doubted[{i}].off))");
        let words = run.why.split(' ').find_map(|word| word.parse::<f64>().ok());
        cases.add(whole, words.expect("a distance"), shown);
    }
    cases.add(whole, found.runs as f64, format!("{answer}.used"));
    let ways = [
        (Some(&found.situation), "setting"),
        (found.less_lead.as_ref(), "less_lead"),
    ];
    for (situation, way) in ways {
        let Some(s) = situation else {
            cases.add(whole, 1.0, format!("Number({answer}.{way} === null)"));
            continue;
        };
        let (wanted, prediction) =
            dial::setting_and_prediction(s, target, calibration.level).expect("a setting");
        let js = format!("{answer}.{way}");
        cases.add(
            whole,
            wanted.dial.whole_turns() as f64,
            format!("{js}.turns"),
        );
        cases.add(whole, wanted.dial.ticks() as f64, format!("{js}.ticks"));
        cases.add(
            EXACT,
            wanted.aim_right_m.expect("an aim"),
            format!("{js}.aim_m"),
        );
        cases.add(
            EXACT,
            wanted.lead_turns.expect("a lead"),
            format!("{js}.lead_turns"),
        );
        cases.add(
            MISS,
            wanted.miss_m.expect("a miss").high,
            format!("{js}.miss_high_m"),
        );
        let measure = calibration.setup.score.measure;
        let beat = prediction.chance_within(0.14, measure).expect("a chance");
        cases.add(CHANCE, beat, format!("{js}.beat_chance"));
        if let Some(chance) = wanted.recoil_chance {
            cases.add(EXACT, chance, format!("{js}.recoil_chance"));
        }
    }
}

#[test]
fn the_cards_doubts_and_ways_on_are_the_programs() {
    let (calibration, known) = bramble("");
    let Some(mut page) = page() else {
        return;
    };
    let mut cases = Cases::default();
    let ordinary = (8.0, 32.5, -39.0, 1.5, 4.0, 2.0, "ok");
    let at = |long: f64, right: f64, status| (8.0, 32.5, -39.0, 1.5, long, right, status);
    let days: [&[TodaysRun]; 9] = [
        &[at(120.0, 0.0, "ok")],
        &[ordinary, at(-120.0, 0.0, "ok"), at(3.0, 90.0, "ok")],
        &[at(60.0, 1.0, "ok"), at(60.0, -1.0, "ok")],
        &[at(-40.0, 0.0, "recoil")],
        &[at(-80.0, 0.0, "recoil"), ordinary],
        &[at(-235.0, 0.0, "recoil"), ordinary],
        &[at(-25.0, 0.0, "recoil"), at(-130.0, 0.0, "ok"), ordinary],
        &[(8.0, 32.5, -39.0, 1.0, -12.0, 3.0, "recoil"), ordinary],
        &[(8.0, 32.5, -39.0, 4.0, -60.0, 3.0, "recoil"), ordinary],
    ];
    for rig in 0..calibration.rigs.len() {
        for runs in days {
            day(&mut cases, &calibration, rig, runs);
        }
    }
    none_differs(&cases.differing(&mut page, &known));
}

fn bramble(more_setup: &str) -> (Calibration, String) {
    let setup = include_str!("../data/bramble-setup.toml");
    fitted_with_card(
        include_str!("../data/bramble.csv"),
        &format!("{setup}\n{more_setup}"),
    )
}

#[test]
fn the_cards_numbers_are_the_programs_with_rigs_and_an_obstacle() {
    season(bramble(""));
}

#[test]
fn the_cards_numbers_are_the_programs_with_penalties() {
    season(bramble(
        "[score]\nlong_penalty = 60.0\nlong_limit_cm = 10.0\ntouch_penalty = 80.0\nper_s = 2.0\n",
    ));
}

/// Touches priced where only the distance along counts, in a lane so narrow that not every aim mark is left.
#[test]
fn the_cards_numbers_are_the_programs_when_touches_cost_on_a_line() {
    let setup = include_str!("../data/bramble-setup.toml");
    let narrow = setup.replace("half_width_m = 1.3", "half_width_m = 0.5");
    assert_ne!(narrow, setup);
    season(fitted_with_card(
        include_str!("../data/bramble.csv"),
        &format!("{narrow}\n[score]\nmeasure = \"line\"\ntouch_penalty = 1000.0\n"),
    ));
}

#[test]
fn the_cards_numbers_are_the_programs_with_nothing_across() {
    season(fitted_with_card(
        "session,target_m,turns,long_cm\n1,8,34,10\n,7,30,-5\n,9,38,3\n",
        "[score]\nmeasure = \"line\"\n",
    ));
}

/// Four runs, and targets so near that the mean arc may lie behind the start mark.
#[test]
fn the_cards_numbers_are_the_programs_where_nearly_nothing_is_known() {
    season(fitted_with_card(
        "session,target_m,turns,long_cm,right_cm,aim_right_cm\n\
        1,4,20,-3,3,-20\n,3,16,-1,-2,-9\n,2,12,-4,1,-5\n,1,8,-1,2,0\n",
        "[vehicle]\nwidth_cm = 12.0\n[dial]\nticks_per_turn = 1\n\
        [obstacle]\nat = 0.5\nright_cm = 20.0\ndiameter_cm = 10.0\npass = \"left\"\n\
        [event]\nshortest_m = 0.1\nlongest_m = 1.5\nstep_m = 0.05\n[lane]\nhalf_width_m = 0.25\n",
    ));
}
