//! Numbers and labels as a page says them: no more digits than a tape can use, signs as words.

use crate::calibration::Rig;
use crate::stats::interval::Interval;
use crate::units;

/// A tape is read to the half centimetre.
const TAPE_CM: f64 = 0.5;
/// Longer labels are cut in figures and headings; the whole label stays in the log.
const LABEL_MAX: usize = 40;

/// Centimetres of a length in metres, to the half centimetre: `23.5`.
pub fn cm(length_m: f64) -> String {
    units::at_most_decimals(units::round_to_step(100.0 * length_m, TAPE_CM), 1)
}

/// A length in metres in centimetres, to the half centimetre, with the unit: `23.5 cm`.
pub fn cm_unit(length_m: f64) -> String {
    format!("{} cm", cm(length_m))
}

/// Whole centimetres, as a promise is given: `22`.
pub fn whole_cm(length_m: f64) -> String {
    units::decimals(100.0 * length_m, 0)
}

/// Whole centimetres within which a promise is kept, never fewer than it needs: `22` for 21.2 cm.
pub fn within_cm(length_m: f64) -> String {
    units::decimals(units::whole_cm_within(length_m), 0)
}

/// Whole centimetres within which a promise is kept, with the unit: `22 cm`.
pub fn within_cm_unit(length_m: f64) -> String {
    format!("{} cm", within_cm(length_m))
}

/// Whole centimetres that a length is more than, never more than it has: `21` for 21.8 cm.
pub fn over_cm(length_m: f64) -> String {
    units::decimals(-units::whole_cm_within(-length_m), 0)
}

/// Whole centimetres by which a gap, m, is clear of a touch, rounded down; `None` below one, where a touch is possible.
pub fn clear_by_cm(gap_m: f64) -> Option<String> {
    (-units::whole_cm_within(-gap_m) >= 1.0).then(|| over_cm(gap_m))
}

/// A length in metres in whole centimetres, with the unit: `22 cm`.
pub fn whole_cm_unit(length_m: f64) -> String {
    format!("{} cm", whole_cm(length_m))
}

/// A distance in metres as it is announced: two decimals, three where it has them.
pub fn metres(distance_m: f64) -> String {
    let three = units::decimals(distance_m, 3);
    three
        .strip_suffix('0')
        .map_or_else(|| three.clone(), str::to_string)
}

/// A signed length with its side: `23.5 cm left`; `nothing` where it rounds to zero.
pub fn sided(length_m: f64, plus: &str, minus: &str, nothing: &str) -> String {
    let size = cm(length_m.abs());
    if size == "0" {
        nothing.to_string()
    } else {
        format!("{size} cm {}", if length_m > 0.0 { plus } else { minus })
    }
}

/// A signed offset across the line in words, as seen from the start mark: `23.5 cm left`.
pub fn right_or_left(length_m: f64) -> String {
    sided(length_m, "right", "left", "straight on")
}

/// A signed offset along the line in words, from the target: `6 cm long`.
pub fn long_or_short(length_m: f64) -> String {
    sided(length_m, "long", "short", "on the target")
}

/// Turns of the brake lead: `1.5 turns`.
pub fn lead(turns: f64) -> String {
    let number = units::at_most_decimals(turns, 2);
    let unit = if number == "1" { "turn" } else { "turns" };
    format!("{number} {unit}")
}

/// A count with its word: `1 run`, `8 runs`.
pub fn count(n: usize, one: &str, many: &str) -> String {
    format!("{} {}", grouped(n), if n == 1 { one } else { many })
}

/// Numbers as people list them: `1, 3 and 5`.
pub fn list(numbers: &[usize]) -> String {
    match numbers {
        [] => String::new(),
        [only] => only.to_string(),
        [first @ .., last] => {
            let first: Vec<String> = first.iter().map(usize::to_string).collect();
            format!("{} and {last}", first.join(", "))
        }
    }
}

/// A count with thin spaces between thousands: readable at a million.
pub fn grouped(n: usize) -> String {
    let digits = n.to_string();
    let mut out = String::new();
    for (i, c) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) && digits.len() > 4 {
            out.push('\u{202f}');
        }
        out.push(c);
    }
    out
}

/// A part of a whole in words: `about 1 in 12`, `none of 40`.
pub fn one_in(part: usize, whole: usize) -> String {
    if part == 0 {
        format!("none of {}", grouped(whole))
    } else if part == whole {
        format!("all {}", grouped(whole))
    } else if 2 * part > whole {
        format!("{} of {}", grouped(part), grouped(whole))
    } else {
        let every = (whole as f64 / part as f64).round() as usize;
        format!("about 1 in {}", grouped(every))
    }
}

/// A chance for people: `less than 1 in 100`, `2 in 100`, `about 1 in 3`.
pub fn chance(p: f64) -> String {
    let percent = 100.0 * p;
    if percent < 0.05 {
        "less than 1 in 2000".to_string()
    } else if percent < 1.0 {
        format!("1 in {}", (1.0 / p / 10.0).round() as usize * 10)
    } else if percent > 99.5 {
        "nearly always".to_string()
    } else {
        format!("{} in 100", percent.round() as usize)
    }
}

/// A probability level as people count: `19 of 20`, `9 of 10`, else per hundred.
pub fn level(probability: f64) -> String {
    for whole in [20u32, 10, 40, 5, 4, 3, 2] {
        let part = probability * f64::from(whole);
        if (part - part.round()).abs() < 1e-9 && part.round() == f64::from(whole - 1) {
            return format!("{} of {whole}", whole - 1);
        }
    }
    format!("{} of 100", units::at_most_decimals(100.0 * probability, 1))
}

/// A part of a whole, in whole percent: `35 %`.
pub fn share(share: f64) -> String {
    format!("{} %", units::decimals(100.0 * share, 0))
}

/// A probability level as statisticians write it: `95 %`.
pub fn percent(probability: f64) -> String {
    format!("{} %", units::at_most_decimals(100.0 * probability, 1))
}

/// A number smaller than this is the rounding error of a sum that cancels, and is written as 0.
const ROUNDING: f64 = 1e-12;

/// The text of a number with a true minus sign in place of a hyphen, as it is read and never parsed.
pub fn true_minus(number: &str) -> String {
    number.replace('-', "−")
}

/// A number for the folds: three significant digits (whole numbers keep all of theirs), a true minus sign, no exponent
/// within everyday sizes.
pub fn figures(x: f64) -> String {
    if !x.is_finite() {
        return "none".to_string();
    }
    if x.abs() < ROUNDING {
        return "0".to_string();
    }
    let size = x.abs().log10().floor() as i32;
    if !(-5..=6).contains(&size) {
        return true_minus(&format!("{x:.2e}"));
    }
    true_minus(&units::at_most_decimals(x, (2 - size).max(0) as usize))
}

/// An estimate with its interval, for the folds: `21.9 (21.7 to 22.1)`; an infinite end is written `none`.
pub fn interval(i: &Interval) -> String {
    format!(
        "{} ({} to {})",
        figures(i.estimate),
        figures(i.low),
        figures(i.high)
    )
}

/// A p value: two digits, never 0.
pub fn p_value(p: f64) -> String {
    if p < 0.001 {
        "under 0.001".to_string()
    } else if p < 0.1 {
        units::decimals(p, 3)
    } else {
        units::decimals(p, 2)
    }
}

/// The text with a capital first letter.
pub fn capital(text: &str) -> String {
    let mut rest = text.chars();
    rest.next()
        .map_or_else(String::new, |c| c.to_uppercase().chain(rest).collect())
}

/// The text with a small first letter.
pub fn small(text: &str) -> String {
    let mut rest = text.chars();
    rest.next()
        .map_or_else(String::new, |c| c.to_lowercase().chain(rest).collect())
}

/// What the numbers of a rig were made from: runs, and the days of the first and the last.
pub fn made_of(rig: &Rig) -> String {
    let runs = count(rig.counts.fitted, "run", "runs");
    match rig.days {
        Some((first, last)) if first == last => format!("{runs} of {last}"),
        Some((first, last)) => format!("{runs} from {first} to {last}"),
        None => runs,
    }
}

/// A label of the log as a page may show it: one line, no control or direction marks, cut when very long.
pub fn label(text: &str) -> String {
    let direction = |c: char| matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let xml_forbids = |c: char| matches!(c, '\u{fffe}' | '\u{ffff}');
    let mut out: String = text
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .filter(|&c| !direction(c) && !xml_forbids(c))
        .take(LABEL_MAX + 1)
        .collect();
    if out.chars().count() > LABEL_MAX {
        out = out.chars().take(LABEL_MAX - 1).collect();
        out.truncate(out.trim_end().len());
        out.push('…');
    }
    out
}

/// A longer text of the log or of a message as a page may show it: one line, no control or direction marks, not cut.
pub fn sentence(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .filter(|&c| !matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{fffe}' | '\u{ffff}'))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_said_as_a_tape_reads_them() {
        assert_eq!(cm(0.2349), "23.5");
        assert_eq!(cm(0.2), "20");
        assert_eq!(right_or_left(-0.235), "23.5 cm left");
        assert_eq!(right_or_left(0.002), "straight on");
        assert_eq!(long_or_short(0.06), "6 cm long");
        assert_eq!(metres(8.35), "8.35");
        assert_eq!(metres(9.0), "9.00");
        assert_eq!(metres(8.125), "8.125");
    }

    #[test]
    fn a_gap_is_rounded_down_and_below_a_centimetre_a_touch_is_possible() {
        for (gap_m, clear) in [
            (0.0162, Some("1")),
            (0.0199, Some("1")),
            (0.02, Some("2")),
            (0.0099, None),
            (-0.03, None),
        ] {
            assert_eq!(clear_by_cm(gap_m).as_deref(), clear, "{gap_m}");
        }
    }

    #[test]
    fn counts_and_chances_are_said_as_people_count() {
        assert_eq!(one_in(4, 48), "about 1 in 12");
        assert_eq!(one_in(0, 48), "none of 48");
        assert_eq!(one_in(30, 48), "30 of 48");
        assert_eq!(level(0.95), "19 of 20");
        assert_eq!(level(0.9), "9 of 10");
        assert_eq!(level(0.99), "99 of 100");
        assert_eq!(level(0.5), "1 of 2");
        assert_eq!(chance(0.02), "2 in 100");
        assert_eq!(chance(0.0001), "less than 1 in 2000");
        assert_eq!(chance(0.004), "1 in 250");
        assert_eq!(grouped(1_000_000), "1\u{202f}000\u{202f}000");
        assert_eq!(count(1, "run", "runs"), "1 run");
    }

    #[test]
    fn folds_have_three_figures_and_a_true_minus() {
        assert_eq!(figures(21.9386), "21.9");
        assert_eq!(figures(0.0012346), "0.00123");
        assert_eq!(figures(-2.71), "−2.71");
        assert_eq!(figures(-1.5e-9), "−1.50e−9");
        assert_eq!(figures(123_456.0), "123456");
        assert_eq!(figures(f64::INFINITY), "none");
        assert_eq!(p_value(0.0000001), "under 0.001");
    }

    #[test]
    fn a_label_is_one_harmless_line() {
        assert_eq!(label("Ash\n/\u{202e}x"), "Ash /x");
        assert_eq!(label(&"é".repeat(60)).chars().count(), 40);
    }
}
