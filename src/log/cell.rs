//! Reads one cell as a number, a signed length or a date, and says what is wrong with it in words.

use jiff::civil::{Date, DateTime};

use crate::units::LengthUnit;

/// Largest length that is taken for one, m. Beyond it a cell is a slip, and squares would lose their meaning.
pub const LONGEST_M: f64 = 1000.0;

/// Bytes of a date such as 2026-03-14.
const DAY_LENGTH: usize = 10;

/// The two words that may stand for the sign of a column: the positive one first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SignWords {
    plus: &'static str,
    minus: &'static str,
}

/// Words for the sign of a length along the line.
pub const LONG_SHORT: SignWords = SignWords {
    plus: "long",
    minus: "short",
};

/// Words for the sign of a length across the line.
pub const RIGHT_LEFT: SignWords = SignWords {
    plus: "right",
    minus: "left",
};

/// A finite number from the text of a cell.
///
/// * `units` — words that may follow the number because the header already says them: `7 m`, `12cm`
/// * `decimal_comma` — whether a comma may stand for the decimal point
///
/// # Errors
/// What was expected instead, as the end of a sentence.
pub fn number(text: &str, units: &[&str], decimal_comma: bool) -> Result<f64, String> {
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

/// A length whose sign may be a word after it: `14 short`, `6 L`, `-6`.
///
/// # Errors
/// What was expected instead, as the end of a sentence: among others where sign and word stand together.
pub fn signed_length_m(
    text: &str,
    unit: LengthUnit,
    words: SignWords,
    decimal_comma: bool,
) -> Result<f64, String> {
    let letters = trailing_letters(text);
    if letters.is_empty() {
        return length_m(text, unit, decimal_comma);
    }
    let word = letters.to_lowercase();
    let is = |full: &str| word == full || (word.len() == 1 && full.starts_with(&word));
    let negative = if is(words.plus) {
        false
    } else if is(words.minus) {
        true
    } else {
        let other = if words == LONG_SHORT {
            RIGHT_LEFT
        } else {
            LONG_SHORT
        };
        if word == other.plus || word == other.minus {
            return Err(format!(
                "{word} belongs to the other direction; expected {} or {}, or a signed number",
                words.plus, words.minus
            ));
        }
        return length_m(text, unit, decimal_comma);
    };
    let amount = text[..text.len() - letters.len()].trim();
    if amount.starts_with(['+', '-', '−']) {
        return Err(format!(
            "expected a sign or a word, not both: + means {}, - means {}",
            words.plus, words.minus
        ));
    }
    let value_m = length_m(amount, unit, decimal_comma)?;
    // 0 short is 0, not −0.
    Ok(if negative && value_m != 0.0 {
        -value_m
    } else {
        value_m
    })
}

/// A day, written year first; a time of day behind it is ignored.
///
/// # Errors
/// What was expected instead, as the end of a sentence.
pub fn date(text: &str) -> Result<Date, String> {
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
    Err("expected a date, year first: 2026-03-14".to_string())
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
        assert!(along("-14 short").is_err());
        assert!(along("+14 long").is_err());
        assert!(along("6 left").unwrap_err().contains("other direction"));
        assert!(along("short").is_err());
    }

    #[test]
    fn dates_are_year_first() {
        assert_eq!(date("2026-03-14"), Ok(jiff::civil::date(2026, 3, 14)));
        assert_eq!(
            date("2026-03-14T15:30:00"),
            Ok(jiff::civil::date(2026, 3, 14))
        );
        assert_eq!(date("2026-03-14 15:30"), Ok(jiff::civil::date(2026, 3, 14)));
        for text in [
            "20260314",
            "+002026-03-14",
            "2026-03-14T25:00",
            "2026-03-14x",
            "14.3.2026",
            "03/14/2026",
            "2026-02-30",
            "2026-3-14",
            "today",
            "2026-03-1４",
        ] {
            assert!(date(text).is_err(), "{text}");
        }
    }
}
