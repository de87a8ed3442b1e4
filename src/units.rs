//! Lengths in the units people write, and numbers as people read them.
//!
//! Inside the library every length is in metres; this file knows the way in and out.

/// A unit of length that a column's name may end in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LengthUnit {
    /// Metre.
    M,
    /// Centimetre.
    Cm,
    /// Millimetre.
    Mm,
    /// International inch, 25.4 mm exactly.
    In,
    /// International foot, 12 inches.
    Ft,
}

impl LengthUnit {
    /// All units, in the order in which the contract lists them.
    pub const ALL: [LengthUnit; 5] = [
        LengthUnit::M,
        LengthUnit::Cm,
        LengthUnit::Mm,
        LengthUnit::In,
        LengthUnit::Ft,
    ];

    /// The unit as it stands after the last underscore of a column's name.
    pub fn suffix(self) -> &'static str {
        match self {
            LengthUnit::M => "m",
            LengthUnit::Cm => "cm",
            LengthUnit::Mm => "mm",
            LengthUnit::In => "in",
            LengthUnit::Ft => "ft",
        }
    }

    /// The unit of a lower-case suffix, if it is one.
    pub fn from_suffix(suffix: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|u| u.suffix() == suffix)
    }

    /// `value` of this unit in metres. Divides by whole numbers where it can, so that 1 cm is exactly the
    /// number that 0.01 m is.
    pub fn to_m(self, value: f64) -> f64 {
        match self {
            LengthUnit::M => value,
            LengthUnit::Cm => value / 100.0,
            LengthUnit::Mm => value / 1000.0,
            LengthUnit::In => value * 254.0 / 10_000.0,
            LengthUnit::Ft => value * 3048.0 / 10_000.0,
        }
    }

    /// `value_m` metres in this unit.
    pub fn from_m(self, value_m: f64) -> f64 {
        match self {
            LengthUnit::M => value_m,
            LengthUnit::Cm => value_m * 100.0,
            LengthUnit::Mm => value_m * 1000.0,
            LengthUnit::In => value_m * 10_000.0 / 254.0,
            LengthUnit::Ft => value_m * 10_000.0 / 3048.0,
        }
    }
}

/// Unit of a number in a file, and the number inside the library that it stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// The number itself: a ratio, a count, turns, seconds.
    Plain,
    /// A length; inside in m.
    Length(LengthUnit),
    /// cm for each m, turn, run ..., or percent: inside a hundredth of it, 1 cm per m being 0.01 rad.
    Hundredths,
    /// cm to the side for each m² ahead, 100·κ/2: inside the curvature κ, 1/m, whose path is κs²/2 to the side after s.
    Curve,
}

impl Unit {
    /// The number inside the library for a number of a file.
    pub fn inward(self, x: f64) -> f64 {
        match self {
            Unit::Plain => x,
            Unit::Length(unit) => unit.to_m(x),
            Unit::Hundredths => x / 100.0,
            Unit::Curve => x / 50.0,
        }
    }

    /// The number of a file for a number inside the library, as the decimal it was meant to be: 7.1, not
    /// 7.1000000000000005.
    pub fn outward(self, x: f64) -> f64 {
        let x = match self {
            Unit::Plain => x,
            Unit::Length(unit) => unit.from_m(x),
            Unit::Hundredths => x * 100.0,
            Unit::Curve => x * 50.0,
        };
        // 14 digits: fewer than a double holds, more than anybody measures. + 0.0 takes the sign from a zero.
        format!("{x:.13e}").parse().unwrap_or(x) + 0.0
    }
}

/// Number of whole steps nearest to `x`, halves away from zero (`model.md` §3, Rounding).
///
/// * `x`, `step` — in the same unit; `step` above 0
///
/// The 1e-7 makes a half that was just missed in binary count as a half, on both sides of zero alike.
pub fn steps(x: f64, step: f64) -> f64 {
    let whole = (x.abs() / step + 0.5 + 1e-7).floor();
    if whole == 0.0 { 0.0 } else { whole.copysign(x) }
}

/// Whole centimetres that a length in metres is within: rounded up, but for what arithmetic adds.
pub fn whole_cm_within(length_m: f64) -> f64 {
    (100.0 * length_m - 1e-9).ceil()
}

/// `x` rounded to a whole multiple of `step`, without a negative zero.
pub fn round_to_step(x: f64, step: f64) -> f64 {
    steps(x, step) * step
}

/// Appends a whole number to `out`.
pub fn whole(out: &mut String, value: i32) {
    if value < 0 {
        out.push('-');
    }
    digits(out, u64::from(value.unsigned_abs()), 1);
}

/// All numbers of three digits, one after the other.
const THREE_DIGITS: [u8; 3000] = {
    let mut all = [b'0'; 3000];
    let mut i = 0;
    while i < 1000 {
        all[3 * i] += (i / 100) as u8;
        all[3 * i + 1] += (i / 10 % 10) as u8;
        all[3 * i + 2] += (i % 10) as u8;
        i += 1;
    }
    all
};

/// Appends a whole number to `out` with at least `least` digits, zeros before it.
fn digits(out: &mut String, value: u64, least: usize) {
    const ALL: &str = match std::str::from_utf8(&THREE_DIGITS) {
        Ok(all) => all,
        Err(_) => "",
    };
    let mut count = least
        .min(3)
        .max(1 + usize::from(value >= 10) + usize::from(value >= 100));
    if value >= 1000 || least > 3 {
        digits(out, value / 1000, least.saturating_sub(3));
        count = 3;
    }
    // Coordinates of figures are hardly longer, and are most of what is written.
    let end = 3 * (value % 1000) as usize + 3;
    out.push_str(&ALL[end - count..end]);
}

/// Most decimals that [`decimals`] writes by whole numbers.
const QUICK_DIGITS: usize = 6;

/// `x` with a fixed number of decimals, never as `-0`.
pub fn decimals(x: f64, digits: usize) -> String {
    quick(x, digits).unwrap_or_else(|| exact(x, digits))
}

/// `x` with a fixed number of decimals by integer arithmetic, the digits of [`exact`]. `None` for a number so large, or
/// so near to a half of the last digit, that the rounding of its product with a power of ten (relative error 2^-53)
/// might change that digit.
fn quick(x: f64, places: usize) -> Option<String> {
    let ten = 10_u64.pow(u32::try_from(places.min(QUICK_DIGITS)).ok()?);
    let scaled = x.abs() * ten as f64;
    if places > QUICK_DIGITS || scaled.is_nan() || scaled >= 1e9 {
        return None;
    }
    let below = scaled as u64;
    let over = scaled - below as f64;
    // 1e9 times 2^-53 is a tenth of this.
    if (over - 0.5).abs() < 1e-6 {
        return None;
    }
    let nearest = below + u64::from(over > 0.5);
    let mut out = String::with_capacity(16);
    if x < 0.0 && nearest > 0 {
        out.push('-');
    }
    digits(&mut out, nearest / ten, 1);
    if places > 0 {
        out.push('.');
        digits(&mut out, nearest % ten, places);
    }
    Some(out)
}

/// `x` with a fixed number of decimals by the standard library's formatting, without the sign of a zero.
fn exact(x: f64, digits: usize) -> String {
    let text = format!("{x:.digits$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| c == '0' || c == '.') => rest.to_string(),
        _ => text,
    }
}

/// `x` with at most `digits` decimals and no trailing zeros: 8.35, 9, 0.5.
pub fn at_most_decimals(x: f64, digits: usize) -> String {
    let mut text = decimals(x, digits);
    if text.contains('.') {
        let kept = text.trim_end_matches('0').trim_end_matches('.').len();
        text.truncate(kept);
    }
    text
}

/// A number of turns as a dial shows it, to the nearest tick: `14 turns and 11 ticks`. Where nobody knows of ticks, with at
/// most two decimals: `14.46 turns`.
///
/// * `turns` — 0 or more
pub fn turns(turns: f64, ticks_per_turn: Option<u32>) -> String {
    match ticks_per_turn {
        Some(per_turn) => turns_and_ticks(in_ticks(turns, per_turn), per_turn),
        None => counted(&at_most_decimals(turns, 2), "turn"),
    }
}

/// How far two settings of the dial lie apart, without a sign: `11 ticks`, `1 turn and 3 ticks`, `0.52 turns`; `None` for
/// less than half of the smallest step.
pub fn turns_apart(turns: f64, ticks_per_turn: Option<u32>) -> Option<String> {
    let Some(per_turn) = ticks_per_turn else {
        let size = at_most_decimals(turns.abs(), 2);
        return (size != "0").then(|| counted(&size, "turn"));
    };
    match in_ticks(turns.abs(), per_turn) {
        0 => None,
        few if few < i64::from(per_turn) => Some(counted(&few.to_string(), "tick")),
        many => Some(turns_and_ticks(many, per_turn)),
    }
}

fn in_ticks(turns: f64, per_turn: u32) -> i64 {
    steps(turns, 1.0 / f64::from(per_turn)) as i64
}

fn turns_and_ticks(ticks_in_all: i64, per_turn: u32) -> String {
    let per_turn = i64::from(per_turn);
    let turns = counted(&(ticks_in_all / per_turn).to_string(), "turn");
    match ticks_in_all % per_turn {
        0 => turns,
        ticks => format!("{turns} and {}", counted(&ticks.to_string(), "tick")),
    }
}

/// A number with its word: `1 turn`, `0.5 turns`.
fn counted(number: &str, word: &str) -> String {
    let plural = if number == "1" { "" } else { "s" };
    format!("{number} {word}{plural}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turns_are_said_as_the_dial_shows_them() {
        // 11 of 24 ticks are 0.458333… of a turn.
        assert_eq!(turns(14.0 + 11.0 / 24.0, Some(24)), "14 turns and 11 ticks");
        assert_eq!(turns(14.0 + 11.0 / 24.0, None), "14.46 turns");
        assert_eq!(turns(1.05, Some(20)), "1 turn and 1 tick");
        assert_eq!(turns(30.0, Some(20)), "30 turns");
        assert_eq!(turns_apart(-0.52, Some(24)), Some("12 ticks".to_string()));
        assert_eq!(
            turns_apart(1.125, Some(24)),
            Some("1 turn and 3 ticks".to_string())
        );
        assert_eq!(turns_apart(-0.52, None), Some("0.52 turns".to_string()));
        assert_eq!(turns_apart(0.02, Some(24)), None);
        assert_eq!(turns_apart(-0.004, None), None);
    }

    #[test]
    fn a_foot_is_twelve_inches_and_an_inch_is_25_4_mm() {
        // International yard and pound agreement of 1959.
        assert_eq!(LengthUnit::In.to_m(1.0), 0.0254);
        assert_eq!(LengthUnit::Ft.to_m(1.0), 0.3048);
        assert_eq!(LengthUnit::In.to_m(12.0), LengthUnit::Ft.to_m(1.0));
    }

    #[test]
    fn centimetres_come_in_as_the_same_number_metres_do() {
        for cm in 1..2000 {
            let text = format!("{}.{:02}", cm / 100, cm % 100);
            assert_eq!(
                LengthUnit::Cm.to_m(f64::from(cm)),
                text.parse::<f64>().unwrap()
            );
        }
    }

    #[test]
    fn there_and_back_is_the_same_length() {
        for unit in LengthUnit::ALL {
            assert!((unit.from_m(unit.to_m(12.7)) - 12.7).abs() < 1e-12);
            assert_eq!(LengthUnit::from_suffix(unit.suffix()), Some(unit));
        }
    }

    #[test]
    fn halves_round_away_from_zero_on_both_sides() {
        assert_eq!(steps(2.5, 1.0), 3.0);
        assert_eq!(steps(-2.5, 1.0), -3.0);
        // 1.15 / 0.05 is 22.999999999999996 in binary, and 1.125 / 0.05 is exactly the half 22.5.
        assert_eq!(steps(1.125, 0.05), 23.0);
        assert_eq!(steps(-1.125, 0.05), -23.0);
        assert!(round_to_step(-0.1, 0.5).is_sign_positive());
    }

    #[test]
    fn zero_is_written_without_a_sign() {
        assert_eq!(decimals(-0.04, 1), "0.0");
        assert_eq!(decimals(-0.06, 1), "-0.1");
        assert_eq!(at_most_decimals(-0.001, 2), "0");
        assert_eq!(at_most_decimals(8.50, 2), "8.5");
        assert_eq!(at_most_decimals(100.0, 0), "100");
    }

    #[test]
    fn numbers_come_out_as_the_standard_library_writes_them() {
        let mut tried = vec![
            0.0,
            -0.0,
            f64::NAN,
            f64::INFINITY,
            f64::MAX,
            f64::MIN_POSITIVE,
        ];
        // Halves of a digit written exactly and just missed, and everything between.
        for k in 0..4000 {
            let k = f64::from(k);
            tried.extend([
                k / 8.0,
                k * 0.005,
                k * 0.05,
                k * 0.137,
                k * k * 61.7,
                k * 1e-5,
            ]);
            tried.extend([(k * 0.05).next_up(), (k * 0.05).next_down()]);
        }
        for x in tried {
            for digits in 0..9 {
                for x in [x, -x] {
                    assert_eq!(decimals(x, digits), exact(x, digits), "{x:?} {digits}");
                }
            }
        }
        for value in (-10_101..10_101).chain([i32::MAX, i32::MIN]) {
            let mut out = String::new();
            whole(&mut out, value);
            assert_eq!(out, value.to_string());
        }
    }
}
