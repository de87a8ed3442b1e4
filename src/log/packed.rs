//! Runs kept as a few numbers: an archive of a million has to fit beside everything else.
//!
//! * What neighbours share (file, labels, date) stands once for a stretch of rows, with the line and the order of its
//!   first; the others' are counted on from there.
//! * A number is its decimal digits and where the point stands, in 4 bytes. One that no short decimal gives back to the
//!   last bit (a dial of 12 ticks, inches) stands in a list beside, in 8 more.
//! * Numbers stand by column in chunks; a chunk of a column in which nothing was written takes no room.
//!
//! A run comes out of it to the last bit as it went in.

use jiff::civil::Date;

use super::run::{Kind, Label, Load, Run, Status};

/// Rows of a chunk: small beside a season, large beside what a chunk costs.
const CHUNK: usize = 1024;

/// What the rows of a stretch share.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shared {
    /// See [`Run::file`].
    pub file: u32,
    /// See [`Run::session`].
    pub session: Label,
    /// See [`Run::date`].
    pub date: Option<Date>,
    /// See [`Run::vehicle`].
    pub vehicle: Label,
    /// See [`Run::wheels`].
    pub wheels: Label,
    /// See [`Run::build`].
    pub build: Label,
    /// See [`Run::trim`].
    pub trim: Label,
    /// See [`Run::floor`].
    pub floor: Label,
}

impl Shared {
    fn of(run: &Run) -> Self {
        Shared {
            file: run.file,
            session: run.session,
            date: run.date,
            vehicle: run.vehicle,
            wheels: run.wheels,
            build: run.build,
            trim: run.trim,
            floor: run.floor,
        }
    }
}

/// Neighbouring rows alike in what [`Shared`] holds, with lines and orders that count on.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    /// Index of its first run.
    first: u32,
    /// Line of its first run.
    line: u32,
    /// Order of its first run, coded.
    order: u32,
    /// Index of what it shares.
    shared: u32,
}

/// So many of the newest shared sets are looked through for one that comes again: rigs that take turns.
const REMEMBERED: usize = 8;

/// The runs of a season, in file and row order.
#[derive(Debug, Clone, Default)]
pub struct Runs {
    len: usize,
    stretches: Vec<Stretch>,
    shared: Vec<Shared>,
    words: Column<u8>,
    target: Column<u32>,
    turns: Column<u32>,
    along: Column<u32>,
    right: Column<u32>,
    aim: Column<u32>,
    miss: Column<u32>,
    lead: Column<u32>,
    recoil: Column<u32>,
    gap: Column<u32>,
    time: Column<u32>,
    codec: Codec,
}

impl Runs {
    /// How many.
    pub fn len(&self) -> usize {
        self.len
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// Adds a run behind the others.
    pub fn push(&mut self, run: &Run) {
        let i = self.len;
        self.len += 1;
        self.stretch(i, run);
        let codec = &mut self.codec;
        let (along, from_target) = codec.along(run);
        self.words.push(i, word(run, from_target));
        self.target.push(i, codec.code(TARGET, run.target_m));
        self.turns.push(i, codec.code(TURNS, run.turns));
        self.along.push(i, along);
        self.right.push(i, codec.code(RIGHT, run.right_m));
        self.aim.push(i, codec.code(AIM, run.aim_right_m));
        self.miss.push(i, codec.code(OTHER, run.miss_m));
        self.lead.push(i, codec.code(LEAD, run.lead_turns));
        self.recoil.push(i, codec.code(RECOIL, run.recoil_m));
        self.gap.push(i, codec.code(OTHER, run.gap_m));
        self.time.push(i, codec.code(OTHER, run.time_s));
    }

    /// Starts a new stretch where the run does not go on the last one.
    fn stretch(&mut self, i: usize, run: &Run) {
        if let Some(last) = self.stretches.last() {
            let on = i as u32 - last.first;
            let order = self.codec.plain(last.order) + f64::from(on);
            let goes_on = run.line == last.line.wrapping_add(on)
                && run.order == order
                && Shared::of(run) == self.shared[last.shared as usize];
            if goes_on {
                return;
            }
        }
        let shared = Shared::of(run);
        let newest = self.shared.iter().enumerate().rev().take(REMEMBERED);
        let known = newest.into_iter().find(|(_, known)| **known == shared);
        let at = known.map_or(self.shared.len(), |(at, _)| at);
        if at == self.shared.len() {
            self.shared.push(shared);
        }
        self.stretches.push(Stretch {
            first: i as u32,
            line: run.line,
            order: self.codec.code(OTHER, Some(run.order)),
            shared: at as u32,
        });
    }

    /// One run; `None` beyond the last.
    pub fn get(&self, i: usize) -> Option<Run> {
        (i < self.len).then(|| self.of_stretch(self.stretch_at(i), i))
    }

    /// The last run; `None` without any.
    pub fn last(&self) -> Option<Run> {
        self.get(self.len.checked_sub(1)?)
    }

    fn stretch_at(&self, i: usize) -> usize {
        self.stretches
            .partition_point(|stretch| stretch.first as usize <= i)
            - 1
    }

    fn of_stretch(&self, stretch: usize, i: usize) -> Run {
        let Stretch {
            first,
            line,
            order,
            shared,
        } = self.stretches[stretch];
        let shared = &self.shared[shared as usize];
        let on = i as u32 - first;
        let codec = &self.codec;
        let word = self.words.get(i);
        let target_m = codec.number(self.target.get(i));
        let along_m = codec.number(self.along.get(i));
        Run {
            file: shared.file,
            line: line.wrapping_add(on),
            session: shared.session,
            order: codec.plain(order) + f64::from(on),
            date: shared.date,
            vehicle: shared.vehicle,
            wheels: shared.wheels,
            build: shared.build,
            trim: shared.trim,
            floor: shared.floor,
            kind: kind(word),
            status: status(word),
            target_m,
            turns: codec.number(self.turns.get(i)),
            rest_m: if word & FROM_TARGET == 0 {
                along_m
            } else {
                target_m.zip(along_m).map(|(target, long)| target + long)
            },
            right_m: codec.number(self.right.get(i)),
            aim_right_m: codec.number(self.aim.get(i)),
            miss_m: codec.number(self.miss.get(i)),
            lead_turns: codec.number(self.lead.get(i)),
            recoil_m: codec.number(self.recoil.get(i)),
            gap_m: codec.number(self.gap.get(i)),
            load: load(word),
            time_s: codec.number(self.time.get(i)),
        }
    }

    /// All runs in order.
    pub fn iter(&self) -> Iter<'_> {
        Iter {
            runs: self,
            next: 0,
            stretch: 0,
        }
    }

    /// All runs in full, for a season or a part of one.
    pub fn to_vec(&self) -> Vec<Run> {
        self.iter().collect()
    }

    /// Runs by their indices, which rise.
    pub fn pick<'r>(
        &'r self,
        picked: &'r Picked,
    ) -> impl Iterator<Item = (usize, Run)> + Clone + 'r {
        picked.parts.iter().flat_map(move |&(from, to)| {
            let mut stretch = self.stretch_at(from as usize);
            (from as usize..to as usize).map(move |i| {
                let next = self.stretches.get(stretch + 1);
                if next.is_some_and(|next| next.first as usize <= i) {
                    stretch += 1;
                }
                (i, self.of_stretch(stretch, i))
            })
        })
    }

    /// What neighbours among picked runs share, with the index of the first of them.
    pub fn shared_by<'r>(
        &'r self,
        picked: &'r Picked,
    ) -> impl Iterator<Item = (usize, &'r Shared)> + 'r {
        picked.parts.iter().flat_map(move |&(from, to)| {
            let first = self.stretch_at(from as usize);
            let within = self.stretches[first..].iter();
            let within = within.take_while(move |stretch| stretch.first < to);
            within.map(move |stretch| {
                let shared = &self.shared[stretch.shared as usize];
                (stretch.first.max(from) as usize, shared)
            })
        })
    }

    /// What neighbouring rows share, with the first of them and the one behind the last.
    pub fn stretches(&self) -> impl Iterator<Item = (usize, usize, &Shared)> + Clone + '_ {
        self.stretches.iter().enumerate().map(|(at, stretch)| {
            let next = self.stretches.get(at + 1);
            let end = next.map_or(self.len, |next| next.first as usize);
            let shared = &self.shared[stretch.shared as usize];
            (stretch.first as usize, end, shared)
        })
    }
}

/// Runs one after another, each made when it is asked for.
#[derive(Debug, Clone)]
pub struct Iter<'r> {
    runs: &'r Runs,
    next: usize,
    stretch: usize,
}

impl Iterator for Iter<'_> {
    type Item = Run;

    fn next(&mut self) -> Option<Run> {
        let i = self.next;
        if i == self.runs.len {
            return None;
        }
        self.next += 1;
        let behind = self.runs.stretches.get(self.stretch + 1);
        if behind.is_some_and(|behind| behind.first as usize == i) {
            self.stretch += 1;
        }
        Some(self.runs.of_stretch(self.stretch, i))
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        let left = self.runs.len - self.next;
        (left, Some(left))
    }
}

impl<'r> IntoIterator for &'r Runs {
    type Item = Run;
    type IntoIter = Iter<'r>;

    fn into_iter(self) -> Iter<'r> {
        self.iter()
    }
}

/// Equal runs, however they are coded.
impl PartialEq for Runs {
    fn eq(&self, other: &Self) -> bool {
        self.len == other.len && self.iter().eq(other.iter())
    }
}

impl Extend<Run> for Runs {
    fn extend<I: IntoIterator<Item = Run>>(&mut self, runs: I) {
        for run in runs {
            self.push(&run);
        }
    }
}

impl FromIterator<Run> for Runs {
    fn from_iter<I: IntoIterator<Item = Run>>(runs: I) -> Self {
        let mut packed = Runs::default();
        packed.extend(runs);
        packed
    }
}

/// Some of a season's runs: their indices, rising, kept as parts.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Picked {
    /// First index, and the one behind the last.
    parts: Vec<(u32, u32)>,
    len: usize,
}

impl Picked {
    /// Adds all from `from` to before `to`; `from` must not be below what is there already.
    pub fn add(&mut self, from: usize, to: usize) {
        self.len += to - from;
        match self.parts.last_mut() {
            Some(last) if last.1 as usize == from => last.1 = to as u32,
            _ => self.parts.push((from as u32, to as u32)),
        }
    }

    /// How many.
    pub fn len(&self) -> usize {
        self.len
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// The indices.
    pub fn iter(&self) -> impl Iterator<Item = usize> + Clone + '_ {
        let parts = self.parts.iter();
        parts.flat_map(|&(from, to)| from as usize..to as usize)
    }
}

/// Bits of [`Runs::words`]: kind, status (two), load (two), and how the rest is coded.
const HAND_ROLL: u8 = 1;
const FROM_TARGET: u8 = 1 << 5;

fn word(run: &Run, from_target: bool) -> u8 {
    let kind = u8::from(run.kind == Kind::HandRoll) * HAND_ROLL;
    let status = match run.status {
        Status::Ok => 0,
        Status::Recoil => 1,
        Status::Touched => 2,
        Status::Void => 3,
    };
    let load = match run.load {
        None => 0,
        Some(Load::Whole) => 1,
        Some(Load::Broken) => 2,
    };
    kind | status << 1 | load << 3 | u8::from(from_target) * FROM_TARGET
}

fn kind(word: u8) -> Kind {
    if word & HAND_ROLL == 0 {
        Kind::Launch
    } else {
        Kind::HandRoll
    }
}

fn status(word: u8) -> Status {
    match word >> 1 & 3 {
        0 => Status::Ok,
        1 => Status::Recoil,
        2 => Status::Touched,
        _ => Status::Void,
    }
}

fn load(word: u8) -> Option<Load> {
    match word >> 3 & 3 {
        0 => None,
        1 => Some(Load::Whole),
        _ => Some(Load::Broken),
    }
}

/// A column in chunks; `None` is a chunk of nothing written.
#[derive(Debug, Clone)]
struct Column<T> {
    chunks: Vec<Option<Box<[T; CHUNK]>>>,
}

impl<T> Default for Column<T> {
    fn default() -> Self {
        Column { chunks: Vec::new() }
    }
}

/// What stands where nothing was written.
trait Blank: Copy + PartialEq {
    const BLANK: Self;
}

impl Blank for u8 {
    /// A launch, ok, its load not noted.
    const BLANK: u8 = 0;
}

impl Blank for u32 {
    const BLANK: u32 = NONE;
}

impl<T: Blank> Column<T> {
    fn push(&mut self, i: usize, value: T) {
        if i.is_multiple_of(CHUNK) {
            self.chunks.push(None);
        }
        let chunk = &mut self.chunks[i / CHUNK];
        if chunk.is_some() || value != T::BLANK {
            chunk.get_or_insert_with(|| Box::new([T::BLANK; CHUNK]))[i % CHUNK] = value;
        }
    }

    fn get(&self, i: usize) -> T {
        match &self.chunks[i / CHUNK] {
            Some(chunk) => chunk[i % CHUNK],
            None => T::BLANK,
        }
    }
}

/// The code of a number that was not written.
const NONE: u32 = u32::MAX;
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
const TARGET: usize = 0;
const TURNS: usize = 1;
const ALONG: usize = 2;
const RIGHT: usize = 3;
const AIM: usize = 4;
const LEAD: usize = 5;
const RECOIL: usize = 6;
const OTHER: usize = 7;

/// Numbers to codes and back.
#[derive(Debug, Clone, Default)]
struct Codec {
    /// Numbers that no way gives back.
    long: Vec<f64>,
    /// The way that did last, by column.
    last: [u8; OTHER + 1],
    along_is_absolute: bool,
}

impl Codec {
    fn code(&mut self, column: usize, x: Option<f64>) -> u32 {
        let Some(x) = x else { return NONE };
        self.short(
            column,
            |digits, way| given_back(digits, way) == x.to_bits(),
            x,
        )
        .unwrap_or_else(|| self.listed(x))
    }

    /// The rest, as the target and what it is past it where that gives it back: whether so, too.
    fn along(&mut self, run: &Run) -> (u32, bool) {
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
                return Some((way as u32) << WAY_BIT | (digits + MIDDLE) as u32);
            }
        }
        None
    }

    fn listed(&mut self, x: f64) -> u32 {
        self.long.push(x);
        LONG << WAY_BIT | (self.long.len() - 1) as u32
    }

    fn number(&self, code: u32) -> Option<f64> {
        (code != NONE).then(|| self.plain(code))
    }

    /// The number of a code that is not [`NONE`].
    fn plain(&self, code: u32) -> f64 {
        let digits = code & ((1 << WAY_BIT) - 1);
        match code >> WAY_BIT {
            LONG => self.long[digits as usize],
            way => f64::from_bits(given_back(digits as i32 - MIDDLE, way as usize)),
        }
    }
}

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
    use crate::stats::resample::{replicate, uniform};
    use crate::units::LengthUnit;

    /// A run as a log gives it: numbers of few decimals in some unit, some not written, labels that come in stretches.
    fn run(i: u64) -> Run {
        let mut chance = replicate(11, i);
        let mut cell = |range: f64, decimals: i32| {
            let parts = 10f64.powi(decimals);
            let x = (uniform(&mut chance) - 0.5) * range;
            (uniform(&mut chance) < 0.9).then(|| (x * parts).round() / parts + 0.0)
        };
        let unit = LengthUnit::ALL[(i / 7 % 5) as usize];
        let long_m = cell(400.0, (i % 3) as i32).map(|x| unit.to_m(x));
        let target_m = cell(20.0, 2).map(|x| LengthUnit::M.to_m(x));
        Run {
            file: (i / 900) as u32,
            line: (2 + i + i / 500) as u32,
            session: (i / 20) as u32,
            order: if i.is_multiple_of(333) {
                0.25
            } else {
                (i % 20) as f64
            },
            date: (!i.is_multiple_of(4))
                .then(|| jiff::civil::date(2026, 1, 1 + (i / 40 % 28) as i8)),
            wheels: (i % 2) as u32,
            kind: if i.is_multiple_of(13) {
                Kind::HandRoll
            } else {
                Kind::Launch
            },
            status: [Status::Ok, Status::Recoil, Status::Touched, Status::Void][(i % 4) as usize],
            load: [None, Some(Load::Whole), Some(Load::Broken)][(i % 3) as usize],
            target_m,
            turns: cell(60.0, 0)
                .map(|turns| turns + (i % 20) as f64 / [20.0, 12.0][(i / 100 % 2) as usize]),
            rest_m: if i.is_multiple_of(5) {
                cell(20.0, 3)
            } else {
                target_m.zip(long_m).map(|(target, long)| target + long)
            },
            right_m: cell(90.0, 1).map(|x| unit.to_m(x)),
            aim_right_m: Some(0.0),
            miss_m: if i > 1500 {
                cell(90.0, 1).map(|x| x / 100.0)
            } else {
                None
            },
            lead_turns: cell(4.0, 2),
            recoil_m: (i > 2000).then_some(std::f64::consts::PI * i as f64),
            gap_m: i.is_multiple_of(1000).then_some(1e300),
            time_s: (i == 2999).then_some(5e-324),
            ..Run::default()
        }
    }

    #[test]
    fn every_run_comes_out_as_it_went_in() {
        let all: Vec<Run> = (0..3000).map(run).collect();
        let packed: Runs = all.iter().cloned().collect();
        assert_eq!(packed.len(), all.len());
        for (i, (out, run)) in packed.iter().zip(&all).enumerate() {
            assert_eq!(&out, run, "run {i}");
            assert_eq!(out.rest_m.map(f64::to_bits), run.rest_m.map(f64::to_bits));
        }
        let mut some = Picked::default();
        for from in (0..3000).step_by(70) {
            some.add(from, from + 33);
        }
        for ((i, out), at) in packed.pick(&some).zip(some.iter()) {
            assert_eq!((i, &out), (at, &all[at]));
            assert_eq!(packed.get(i), Some(out));
        }
        assert_eq!(packed.pick(&some).count(), some.len());
        assert_eq!(packed.get(3000), None);
        assert_eq!(packed.last().as_ref(), all.last());
    }

    #[test]
    fn a_dial_of_twenty_ticks_and_a_tape_in_centimetres_need_no_long_numbers() {
        let mut packed = Runs::default();
        for tick in 0..2000 {
            let turns = f64::from(tick / 20) + f64::from(tick % 20) / 20.0;
            packed.push(&Run {
                turns: Some(turns),
                target_m: Some(6.75),
                rest_m: Some(6.75 + f64::from(tick - 1000) / 2.0 / 100.0),
                right_m: Some(f64::from(tick - 1000) / 10.0 / 100.0),
                ..Run::default()
            });
        }
        assert!(packed.codec.long.is_empty());
    }
}
