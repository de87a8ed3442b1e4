//! Reads one cell as a number, a signed length or a date, and says what is wrong with it in words.

use jiff::civil::{Date, DateTime, Time};

use crate::keys::misspelt;
use crate::units::LengthUnit;

/// Largest length that is taken for one, m. Beyond it a cell is a slip, and squares would lose their meaning.
pub const LONGEST_M: f64 = 1000.0;

/// Bytes of a date such as 2026-03-14.
const DAY_LENGTH: usize = 10;

/// Whether a cell holds a mark for "not measured", which is read like an empty one.
pub fn is_not_measured(text: &str) -> bool {
    matches!(text, "?" | "-" | "–" | "—" | "−") || text.eq_ignore_ascii_case("n/a")
}

/// What is said of a cell that holds a formula and not its value; `None` for any other.
///
/// A spreadsheet that no program has computed yet has such cells (`sheet.rs` gives their formulas), and so has a text
/// file into which formulas were copied.
pub fn formula(text: &str) -> Option<String> {
    text.starts_with('=').then(|| {
        "a formula whose value is not in the file: open the log in a spreadsheet program and save it again, or type the \
         value itself"
            .to_string()
    })
}

/// The words that may stand for the sign of a column; of each sign the first is the one that messages propose.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SignWords {
    plus: &'static [&'static str],
    minus: &'static [&'static str],
}

/// Words for the sign of a length along the line.
pub const LONG_SHORT: SignWords = SignWords {
    plus: &["long", "past"],
    minus: &["short", "before"],
};

/// Words for the sign of a length across the line.
pub const RIGHT_LEFT: SignWords = SignWords {
    plus: &["right"],
    minus: &["left"],
};

impl SignWords {
    /// Whether a word in lower case means the negative side; `None` of any other word.
    ///
    /// The first letter alone will do for the first word of a side.
    fn is_negative(self, word: &str) -> Option<bool> {
        let is =
            |side: &[&str]| side.contains(&word) || (word.len() == 1 && side[0].starts_with(word));
        match (is(self.plus), is(self.minus)) {
            (true, _) => Some(false),
            (_, true) => Some(true),
            _ => None,
        }
    }

    /// The word that is proposed for a side.
    fn word(self, negative: bool) -> &'static str {
        match negative {
            true => self.minus[0],
            false => self.plus[0],
        }
    }

    /// What a cell may hold, as the end of a sentence.
    fn expected(self) -> String {
        let (plus, minus) = (self.word(false), self.word(true));
        format!(
            "expected a number with {plus} or {minus} beside it (6 {minus}), or with its sign (-6)"
        )
    }

    /// What a word beside a number may have been meant for: `3.5 long`, with the number as it stands there.
    fn nearest(self, word: &str, amount: &str) -> Option<String> {
        let known = self.plus.iter().chain(self.minus).copied();
        let near = misspelt(word, known)?;
        Some(format!("{amount} {near}"))
    }
}

/// A finite number from the text of a cell.
///
/// * `units` — words that may follow the number because the header already says them: `7 m`, `12cm`
/// * `decimal_comma` — whether a comma may stand for the decimal point
///
/// # Errors
/// What was expected instead, as the end of a sentence.
pub fn number(text: &str, units: &[&str], decimal_comma: bool) -> Result<f64, String> {
    if let Some(formula) = formula(text) {
        return Err(formula);
    }
    let (digits, unit) = split_unit(text);
    if !unit.is_empty() && !units.iter().any(|u| u.eq_ignore_ascii_case(unit)) {
        return Err(match units.first() {
            Some(own) if LengthUnit::from_suffix(&unit.to_lowercase()).is_some() => {
                format!("expected the unit that the column's name says, {own}, or the number alone")
            }
            _ => expected_number(decimal_comma),
        });
    }
    parse(digits, decimal_comma)
}

/// A length in the unit of its column's header, in metres.
///
/// # Errors
/// What was expected instead, as the end of a sentence.
pub fn length_m(text: &str, unit: LengthUnit, decimal_comma: bool) -> Result<f64, String> {
    let value_m = unit.to_m(number(text, &[unit.suffix()], decimal_comma)?);
    if value_m.abs() > LONGEST_M {
        return Err(format!(
            "expected a length within a kilometre; the column is in {}",
            unit.suffix()
        ));
    }
    Ok(value_m)
}

/// A length whose sign may be a word beside it: `14 short`, `6 L`, `L 6`, `-6`.
///
/// # Errors
/// What was expected instead, as the end of a sentence: among others where a sign contradicts the word.
pub fn signed_length_m(
    text: &str,
    unit: LengthUnit,
    words: SignWords,
    decimal_comma: bool,
) -> Result<f64, String> {
    let plain = |text: &str| match length_m(text, unit, decimal_comma) {
        // A number alone is not all that may stand here.
        Err(why) if why == expected_number(decimal_comma) => Err(words.expected()),
        read => read,
    };
    let Some((word, amount)) = word_and_amount(text) else {
        return plain(text);
    };
    let word = word.to_lowercase();
    let Some(negative) = words.is_negative(&word) else {
        let is_unit = LengthUnit::from_suffix(&word).is_some();
        return if is_unit || !has_digit(amount) {
            plain(text)
        } else {
            Err(other_word(&word, amount, words))
        };
    };
    if !has_digit(amount) {
        return Err(words.expected());
    }
    let sign = amount
        .chars()
        .next()
        .filter(|c| matches!(c, '+' | '-' | '−'));
    if sign.is_some_and(|sign| (sign != '+') != negative) {
        return Err(format!(
            "the sign says {}, the word says {}: + means {}, - means {}; expected one of them, or both saying the same",
            words.word(!negative),
            words.word(negative),
            words.word(false),
            words.word(true)
        ));
    }
    let value_m = plain(amount)?.abs();
    // 0 short is 0, not −0.
    Ok(if negative && value_m != 0.0 {
        -value_m
    } else {
        value_m
    })
}

fn has_digit(text: &str) -> bool {
    text.contains(|c: char| c.is_ascii_digit())
}

/// What is said of a word beside a number that means neither side of its column.
fn other_word(word: &str, amount: &str, words: SignWords) -> String {
    let other = match words == LONG_SHORT {
        true => RIGHT_LEFT,
        false => LONG_SHORT,
    };
    if word.len() > 1 && other.is_negative(word).is_some() {
        return format!(
            "{word} belongs to the other direction; expected {} or {}, or a signed number",
            words.word(false),
            words.word(true)
        );
    }
    let near = words.nearest(word, amount);
    let near = near.map_or_else(String::new, |near| format!("; the nearest is {near}"));
    words.expected() + &near
}

/// The word that stands at one end of a cell, and the rest of it; `None` where there is none.
fn word_and_amount(text: &str) -> Option<(&str, &str)> {
    let behind = trailing_letters(text);
    if !behind.is_empty() {
        // `L 6 cm`: the letters behind are the unit.
        return match leading_word(text) {
            Some(found) if LengthUnit::from_suffix(&behind.to_lowercase()).is_some() => Some(found),
            _ => Some((behind, text[..text.len() - behind.len()].trim())),
        };
    }
    leading_word(text)
}

/// The word before a number: `L 6`, `left: 6`.
fn leading_word(text: &str) -> Option<(&str, &str)> {
    let rest = text.trim_start_matches(char::is_alphabetic);
    let word = &text[..text.len() - rest.len()];
    let amount = rest.trim_start_matches(':').trim();
    (!word.is_empty() && !amount.is_empty()).then_some((word, amount))
}

/// A day, written year first, or day, month and year with dots between; a time of day behind it is ignored.
///
/// # Errors
/// What was expected instead, as the end of a sentence; where slashes stand between the numbers, both readings.
pub fn date(text: &str) -> Result<Date, String> {
    if let Some(formula) = formula(text) {
        return Err(formula);
    }
    let (day, time) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
    let is_time = time.is_empty() || time.trim().parse::<Time>().is_ok();
    if is_time && let Some(parts) = numbers_between(day, '.') {
        return day_month_year(parts);
    }
    if let Some(parts) = numbers_between(day, '/') {
        return Err(slashes(parts));
    }
    let day = if text.len() > DAY_LENGTH && text.parse::<DateTime>().is_ok() {
        text.get(..DAY_LENGTH).unwrap_or(text)
    } else {
        text
    };
    // The parser also takes 20260314 and +002026-03-14, which nobody means to write.
    if day.len() == DAY_LENGTH
        && let Ok(date) = day.parse()
    {
        return Ok(date);
    }
    Err(EXPECTED_DATE.to_string())
}

const EXPECTED_DATE: &str = "expected a date, year first (2026-03-14) or with dots (14.3.2026)";

/// Three whole numbers with a mark between them.
fn numbers_between(text: &str, mark: char) -> Option<[&str; 3]> {
    let mut parts = text.split(mark);
    let numbers = [parts.next()?, parts.next()?, parts.next()?];
    let are_numbers = numbers
        .iter()
        .all(|n| (1..=4).contains(&n.len()) && n.bytes().all(|b| b.is_ascii_digit()));
    (are_numbers && parts.next().is_none()).then_some(numbers)
}

/// A date from day, month and year.
fn day_month_year([day, month, year]: [&str; 3]) -> Result<Date, String> {
    if year.len() != 4 || day.len() > 2 || month.len() > 2 {
        return Err(
            "expected day, month and the year in four digits (14.3.2026), or year first: 2026-03-14".to_string(),
        );
    }
    calendar_day(year, month, day)
        .ok_or_else(|| "expected a day of the calendar: day, month, year (14.3.2026)".to_string())
}

fn calendar_day(year: &str, month: &str, day: &str) -> Option<Date> {
    Date::new(year.parse().ok()?, month.parse().ok()?, day.parse().ok()?).ok()
}

/// What is said of a date with slashes: every reading that is a day of the calendar, written as a date should be.
fn slashes([first, second, third]: [&str; 3]) -> String {
    let century = |year: &str| match year.len() {
        2 => format!("20{year}"),
        _ => year.to_string(),
    };
    let readings = if first.len() == 4 {
        [
            calendar_day(first, second, third),
            calendar_day(first, third, second),
        ]
    } else {
        let year = century(third);
        [
            calendar_day(&year, second, first),
            calendar_day(&year, first, second),
        ]
    };
    let mut days: Vec<Date> = readings.into_iter().flatten().collect();
    days.dedup();
    let days: Vec<String> = days.into_iter().map(|d| d.to_string()).collect();
    match days.as_slice() {
        [] => EXPECTED_DATE.to_string(),
        [only] => format!(
            "with slashes the day and the month of many dates cannot be told apart; expected {only}"
        ),
        both => format!(
            "with slashes some write the day first, others the month; expected {}, whichever is meant",
            both.join(" or ")
        ),
    }
}

/// The number and the letters after it.
fn split_unit(text: &str) -> (&str, &str) {
    let letters = trailing_letters(text);
    (text[..text.len() - letters.len()].trim_end(), letters)
}

fn trailing_letters(text: &str) -> &str {
    let end = text.trim_end_matches(char::is_alphabetic).len();
    &text[end..]
}

fn expected_number(decimal_comma: bool) -> String {
    if decimal_comma {
        "expected a number like 36.5 or 36,5".to_string()
    } else {
        "expected a number like 36.5".to_string()
    }
}

/// Digits with at most one decimal mark and an exponent, to a finite number. Rust's own reading would also
/// take "inf" and "NaN", and turns 1e400 into infinity.
fn parse(text: &str, decimal_comma: bool) -> Result<f64, String> {
    let text = text.replace('\u{2212}', "-");
    let plain = if decimal_comma {
        text.replace(',', ".")
    } else {
        text.clone()
    };
    let shape_is_right = plain
        .chars()
        .all(|c| c.is_ascii_digit() || matches!(c, '.' | '-' | '+' | 'e' | 'E'))
        && plain.contains(|c: char| c.is_ascii_digit());
    if shape_is_right && let Ok(value) = plain.parse::<f64>() {
        if !value.is_finite() {
            return Err("expected a number of ordinary size".to_string());
        }
        // −0 would print as "-0" and come first in a sort.
        return Ok(if value == 0.0 { 0.0 } else { value });
    }
    if looks_grouped(&text) {
        return Err(
            "expected a number without marks between thousands: whether 1,234 is over a thousand or just over \
             one cannot be told"
                .to_string(),
        );
    }
    if !decimal_comma && text.matches(',').count() == 1 && parse(&text, true).is_ok() {
        return Err(
            "expected a number like 36.5 (a decimal comma works when the columns are split by ; or a tab)"
                .to_string(),
        );
    }
    Err(expected_number(decimal_comma))
}

/// Whether digits are cut into groups of three: 1,234.5 or 1 234 or 1'234 or 12.345.678.
fn looks_grouped(text: &str) -> bool {
    let digits_and_marks = text.trim_start_matches(['+', '-']);
    let mark = |c: char| matches!(c, ',' | '.' | '\'' | '’' | ' ' | '\u{a0}' | '\u{202f}');
    if !digits_and_marks
        .chars()
        .all(|c| c.is_ascii_digit() || mark(c))
    {
        return false;
    }
    let groups: Vec<&str> = digits_and_marks.split(mark).collect();
    let first_is_right = matches!(groups[0].len(), 1..=3);
    first_is_right && groups.len() >= 2 && groups[1].len() == 3
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_as_people_write_them() {
        for (text, value) in [
            ("36.5", 36.5),
            ("+3", 3.0),
            ("\u{2212}3", -3.0),
            ("-0", 0.0),
            (".5", 0.5),
            ("5.", 5.0),
            ("1e1", 10.0),
        ] {
            let read = number(text, &[], false).unwrap();
            assert_eq!(read, value, "{text}");
            assert!(read != 0.0 || read.is_sign_positive());
        }
        assert_eq!(number("36,5", &[], true), Ok(36.5));
    }

    #[test]
    fn what_is_no_finite_number_is_refused() {
        for text in [
            "inf", "NaN", "-inf", "infinity", "1e400", "-1e999", "", "-", ".", "e5", "1-2", "0x10",
            "1_000", "12a", "١٢", "--3", "3 4",
        ] {
            assert!(number(text, &[], false).is_err(), "{text}");
            assert!(number(text, &[], true).is_err(), "{text}");
        }
    }

    #[test]
    fn a_decimal_comma_in_a_comma_file_says_what_would_help() {
        let why = number("36,5", &[], false).unwrap_err();
        assert!(why.contains("decimal comma works"), "{why}");
    }

    #[test]
    fn marks_between_thousands_are_refused_with_the_reason() {
        for text in ["1,234.5", "1 234", "1'234", "1.234.567", "12,345"] {
            let why = number(text, &[], false).unwrap_err();
            assert!(why.contains("between thousands"), "{text}: {why}");
        }
        let why = number("1.234,5", &[], true).unwrap_err();
        assert!(why.contains("between thousands"), "{why}");
    }

    #[test]
    fn a_unit_in_the_cell_must_be_that_of_the_header() {
        assert_eq!(length_m("7 m", LengthUnit::M, false), Ok(7.0));
        assert_eq!(length_m("12cm", LengthUnit::Cm, false), Ok(0.12));
        assert_eq!(length_m("12CM", LengthUnit::Cm, false), Ok(0.12));
        assert!(length_m("12 cm", LengthUnit::M, false).is_err());
        assert!(length_m("12 km", LengthUnit::M, false).is_err());
        assert!(length_m("2000", LengthUnit::M, false).is_err());
    }

    #[test]
    fn a_word_carries_the_sign() {
        let along = |text| signed_length_m(text, LengthUnit::Cm, LONG_SHORT, false);
        let across = |text| signed_length_m(text, LengthUnit::Cm, RIGHT_LEFT, false);
        assert_eq!(along("14 short"), Ok(-0.14));
        assert_eq!(along("14 long"), Ok(0.14));
        assert_eq!(along("14L"), Ok(0.14));
        assert_eq!(across("6 left"), Ok(-0.06));
        assert_eq!(across("6 L"), Ok(-0.06));
        assert_eq!(across("6 cm r"), Ok(0.06));
        assert_eq!(across("-6"), Ok(-0.06));
        assert!(along("0 short").unwrap().is_sign_positive());
        for text in [
            "L 6", "l6", "left 6", "Left: 6", "L 6 cm", "-6 left", "−6 L", "L -6",
        ] {
            assert_eq!(across(text), Ok(-0.06), "{text}");
        }
        assert_eq!(along("-14 short"), Ok(-0.14));
        assert_eq!(along("+14 long"), Ok(0.14));
        for text in ["-14 long", "+14 short", "short +14"] {
            let why = along(text).unwrap_err();
            assert!(why.contains("the sign says"), "{text}: {why}");
        }
        assert!(across("left 6 right").is_err());
        assert!(across("x 6").is_err());
        assert!(along("6 left").unwrap_err().contains("other direction"));
        assert!(along("short").is_err());
        assert_eq!(along("3.5 past"), Ok(0.035));
        assert_eq!(along("before 12"), Ok(-0.12));
    }

    #[test]
    fn a_cell_with_a_sign_is_told_its_words_and_the_nearest() {
        let along = |text| signed_length_m(text, LengthUnit::Cm, LONG_SHORT, true).unwrap_err();
        let across = |text| signed_length_m(text, LengthUnit::Cm, RIGHT_LEFT, true).unwrap_err();
        for (why, near) in [
            (along("12 shrt"), "12 short"),
            (along("lnog 3,5"), "3,5 long"),
            (along("4 befor"), "4 before"),
            (across("6 lft"), "6 left"),
        ] {
            assert!(why.contains("beside it"), "{why}");
            assert!(why.ends_with(&format!("; the nearest is {near}")), "{why}");
        }
        for why in [along("12 far"), along("short"), along("x"), along("1-2")] {
            assert!(why.contains("long or short beside it"), "{why}");
            assert!(!why.contains("nearest"), "{why}");
        }
        assert!(across("6 past").contains("other direction"));
    }

    #[test]
    fn dates_are_year_first_or_have_dots() {
        assert_eq!(date("2026-03-14"), Ok(jiff::civil::date(2026, 3, 14)));
        assert_eq!(
            date("2026-03-14T15:30:00"),
            Ok(jiff::civil::date(2026, 3, 14))
        );
        assert_eq!(date("2026-03-14 15:30"), Ok(jiff::civil::date(2026, 3, 14)));
        for text in ["14.3.2026", "14.03.2026", "14.3.2026 15:30"] {
            assert_eq!(date(text), Ok(jiff::civil::date(2026, 3, 14)), "{text}");
        }
        for text in [
            "14.3.26",
            "31.2.2026",
            "2026.3.14",
            "14.3.",
            "14.3.2026 at noon",
            "20260314",
            "+002026-03-14",
            "2026-03-14T25:00",
            "2026-03-14x",
            "03/14/2026",
            "2026-02-30",
            "2026-3-14",
            "today",
            "2026-03-1４",
        ] {
            assert!(date(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_date_with_slashes_is_answered_with_what_it_may_mean() {
        for (text, says) in [
            ("3/4/2026", "2026-04-03 or 2026-03-04"),
            ("03/04/26", "2026-04-03 or 2026-03-04"),
            ("2026/3/4", "2026-03-04 or 2026-04-03"),
            ("3/14/2026", "expected 2026-03-14"),
            ("4/4/2026", "expected 2026-04-04"),
        ] {
            let why = date(text).unwrap_err();
            assert!(why.contains(says), "{text}: {why}");
        }
    }

    #[test]
    fn marks_for_not_measured_and_formulas_are_known() {
        for text in ["?", "-", "–", "n/a", "N/A"] {
            assert!(is_not_measured(text), "{text}");
        }
        for text in ["", "--", "0", "na", "-1"] {
            assert!(!is_not_measured(text), "{text}");
        }
        let why = number("=B2*2", &[], false).unwrap_err();
        assert!(why.contains("a formula"), "{why}");
    }
}
