//! A number in four bytes: its decimal digits and where the point stands. One that no short decimal gives back to the
//! last bit stands in a list beside.

use crate::log::run::Run;

/// The code of a number that was not written.
pub const NONE: u32 = u32::MAX;
/// The uppermost three bits of a code say what becomes of the digits below.
const WAY_BIT: u32 = 29;
/// Half of the digits' range is for negative numbers.
const MIDDLE: i32 = 1 << (WAY_BIT - 1);
/// The last way: the digits are an index into the list of long numbers.
const LONG: u32 = 7;
/// What the digits are divided by, in two steps as the reader of a log takes them: decimals of a cell, then its unit.
const WAYS: [(f64, f64); LONG as usize] = [
    (1.0, 1.0),
    (10.0, 1.0),
    (100.0, 1.0),
    (1000.0, 1.0),
    (10_000.0, 1.0),
    (10.0, 100.0),
    (100.0, 100.0),
];

/// Columns for which the way that did last is remembered: neighbours are written alike.
pub const TARGET: usize = 0;
pub const TURNS: usize = 1;
pub const ALONG: usize = 2;
pub const RIGHT: usize = 3;
pub const AIM: usize = 4;
pub const LEAD: usize = 5;
pub const RECOIL: usize = 6;
pub const OTHER: usize = 7;

/// Numbers to codes and back.
#[derive(Debug, Clone, Default)]
pub struct Codec {
    /// Numbers that no way gives back.
    long: Vec<f64>,
    /// The way that did last, by column.
    last: [u8; OTHER + 1],
    along_is_absolute: bool,
}

impl Codec {
    /// The code of a number of a column.
    pub fn code(&mut self, column: usize, x: Option<f64>) -> u32 {
        let Some(x) = x else { return NONE };
        self.short(
            column,
            |digits, way| given_back(digits, way) == x.to_bits(),
            x,
        )
        .unwrap_or_else(|| self.listed(x))
    }

    /// The rest, as the target and what it is past it where that gives it back: whether so, too.
    pub fn along(&mut self, run: &Run) -> (u32, bool) {
        let Some(rest_m) = run.rest_m else {
            return (NONE, false);
        };
        let from_target = |codec: &mut Codec| {
            let target_m = run.target_m?;
            let gives = |digits, way| {
                (target_m + f64::from_bits(given_back(digits, way))).to_bits() == rest_m.to_bits()
            };
            codec.short(ALONG, gives, rest_m - target_m)
        };
        let absolute = |codec: &mut Codec| {
            let gives = |digits, way| given_back(digits, way) == rest_m.to_bits();
            codec.short(ALONG, gives, rest_m)
        };
        let first = if self.along_is_absolute {
            absolute(self).map(|code| (code, false))
        } else {
            from_target(self).map(|code| (code, true))
        };
        if let Some(found) = first {
            return found;
        }
        self.along_is_absolute = !self.along_is_absolute;
        let second = if self.along_is_absolute {
            absolute(self).map(|code| (code, false))
        } else {
            from_target(self).map(|code| (code, true))
        };
        second.unwrap_or_else(|| (self.listed(rest_m), false))
    }

    /// Digits and a way that give `x` back, the last way of the column first.
    fn short(&mut self, column: usize, gives: impl Fn(i32, usize) -> bool, x: f64) -> Option<u32> {
        let last = usize::from(self.last[column]);
        let ways = std::iter::once(last).chain((0..WAYS.len()).filter(|way| *way != last));
        for way in ways {
            let (decimals, unit) = WAYS[way];
            let digits = x * (decimals * unit);
            if digits.abs() >= f64::from(MIDDLE - 1) || digits.is_nan() {
                continue;
            }
            // To the nearest; `round` is a call where the processor is not asked for it.
            let digits = (digits + 0.5_f64.copysign(digits)) as i32;
            if gives(digits, way) {
                self.last[column] = way as u8;
                return Some(((way as u32) << WAY_BIT) | (digits + MIDDLE) as u32);
            }
        }
        None
    }

    fn listed(&mut self, x: f64) -> u32 {
        self.long.push(x);
        (LONG << WAY_BIT) | (self.long.len() - 1) as u32
    }

    /// Takes over the numbers of another; returns how its codes read here.
    pub fn join(&mut self, other: &Codec) -> impl Fn(u32) -> u32 + use<> {
        let before = self.long.len() as u32;
        self.long.extend(&other.long);
        move |code| {
            if code >> WAY_BIT == LONG && code != NONE {
                code + before
            } else {
                code
            }
        }
    }

    /// The number of a code.
    #[inline]
    pub fn number(&self, code: u32) -> Option<f64> {
        (code != NONE).then(|| self.plain(code))
    }

    /// The number of a code that is not [`NONE`].
    #[inline]
    pub fn plain(&self, code: u32) -> f64 {
        let digits = code & ((1 << WAY_BIT) - 1);
        match code >> WAY_BIT {
            LONG => self.long[digits as usize],
            way => f64::from_bits(given_back(digits as i32 - MIDDLE, way as usize)),
        }
    }
}

#[inline]
fn given_back(digits: i32, way: usize) -> u64 {
    let (decimals, unit) = WAYS[way];
    let mut x = f64::from(digits) / decimals;
    if unit != 1.0 {
        x /= unit;
    }
    x.to_bits()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dial_of_twenty_ticks_and_a_tape_in_centimetres_need_no_long_numbers() {
        let mut codec = Codec::default();
        for tick in 0..2000 {
            codec.code(
                TURNS,
                Some(f64::from(tick / 20) + f64::from(tick % 20) / 20.0),
            );
            codec.code(RIGHT, Some(f64::from(tick - 1000) / 10.0 / 100.0));
            codec.along(&Run {
                target_m: Some(6.75),
                rest_m: Some(6.75 + f64::from(tick - 1000) / 2.0 / 100.0),
                ..Run::default()
            });
        }
        assert!(codec.long.is_empty());
    }

    #[test]
    fn any_number_comes_back_to_the_last_bit() {
        let mut codec = Codec::default();
        for x in [
            0.0,
            -0.0,
            1e300,
            5e-324,
            std::f64::consts::PI,
            268_435_455.0,
            -268_435_456.0,
            0.1 + 0.2,
        ] {
            for column in [TARGET, OTHER] {
                let code = codec.code(column, Some(x));
                assert_eq!(codec.number(code).map(f64::to_bits), Some(x.to_bits()));
            }
        }
        assert_eq!(codec.code(TARGET, None), NONE);
        assert_eq!(codec.number(NONE), None);
    }
}
