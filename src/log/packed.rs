//! Runs kept as a few numbers: an archive of a million has to fit beside everything else.
//!
//! * What neighbours share (file, labels, date) stands once for a stretch of rows, with the line and the order of its
//!   first; the others' are counted on from there.
//! * A number is its decimal digits and where the point stands, in 4 bytes. One that no short decimal gives back to the
//!   last bit (a dial of 12 ticks, inches) stands in a list beside, in 8 more.
//! * Numbers stand by column in chunks; a chunk of a column in which nothing was written takes no room.
//!
//! A run comes out of it to the last bit as it went in.

mod codec;
mod column;
mod picked;
mod word;

use std::ops::Range;

use jiff::civil::Date;

use codec::{AIM, Codec, LEAD, OTHER, RECOIL, RIGHT, TARGET, TURNS};
use column::Column;
pub use picked::Picked;

use super::run::{self, Kind, Label, Load, Run, Status};

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

    /// Its labels: session, vehicle, wheels, build, trim and floor.
    pub fn labels(&mut self) -> [&mut Label; 6] {
        [
            &mut self.session,
            &mut self.vehicle,
            &mut self.wheels,
            &mut self.build,
            &mut self.trim,
            &mut self.floor,
        ]
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
        self.stretch(i, run.line, run.order, Shared::of(run));
        let codec = &mut self.codec;
        let (along, from_target) = codec.along(run);
        self.words.push(i, word::of(run, from_target));
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

    /// Adds other runs behind these.
    ///
    /// * `as_here` — what a stretch of them shares here and the order of its first run, told from the same of there and how
    ///   many runs it has
    pub fn join(
        &mut self,
        other: &Runs,
        mut as_here: impl FnMut(&Shared, f64, usize) -> (Shared, f64),
    ) {
        let i = self.len;
        self.len += other.len;
        for ((first, end, shared), stretch) in other.stretches().zip(&other.stretches) {
            let order = other.codec.plain(stretch.order);
            let (shared, order) = as_here(shared, order, end - first);
            self.stretch(i + first, stretch.line, order, shared);
        }
        let code = self.codec.join(&other.codec);
        self.words.join(i, &other.words, other.len, |word| word);
        for (own, other_column) in [
            (&mut self.target, &other.target),
            (&mut self.turns, &other.turns),
            (&mut self.along, &other.along),
            (&mut self.right, &other.right),
            (&mut self.aim, &other.aim),
            (&mut self.miss, &other.miss),
            (&mut self.lead, &other.lead),
            (&mut self.recoil, &other.recoil),
            (&mut self.gap, &other.gap),
            (&mut self.time, &other.time),
        ] {
            own.join(i, other_column, other.len, &code);
        }
    }

    /// Starts a new stretch at a run that does not go on the last one.
    fn stretch(&mut self, i: usize, line: u32, order: f64, shared: Shared) {
        if let Some(last) = self.stretches.last() {
            let on = i as u32 - last.first;
            let goes_on = line == last.line.wrapping_add(on)
                && order == self.codec.plain(last.order) + f64::from(on)
                && shared == self.shared[last.shared as usize];
            if goes_on {
                return;
            }
        }
        let newest = self.shared.iter().enumerate().rev().take(REMEMBERED);
        let known = newest.into_iter().find(|(_, known)| **known == shared);
        let at = known.map_or(self.shared.len(), |(at, _)| at);
        if at == self.shared.len() {
            self.shared.push(shared);
        }
        self.stretches.push(Stretch {
            first: i as u32,
            line,
            order: self.codec.code(OTHER, Some(order)),
            shared: at as u32,
        });
    }

    /// Lets go of all runs but the first so many.
    pub fn truncate(&mut self, len: usize) {
        if len < self.len {
            *self = self.iter().take(len).collect();
        }
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
            kind: word::kind(word),
            status: word::status(word),
            target_m,
            turns: codec.number(self.turns.get(i)),
            rest_m: self.rest_m(word, target_m, i),
            right_m: codec.number(self.right.get(i)),
            aim_right_m: codec.number(self.aim.get(i)),
            miss_m: codec.number(self.miss.get(i)),
            lead_turns: codec.number(self.lead.get(i)),
            recoil_m: codec.number(self.recoil.get(i)),
            gap_m: codec.number(self.gap.get(i)),
            load: word::load(word),
            time_s: codec.number(self.time.get(i)),
        }
    }

    #[inline]
    fn rest_m(&self, word: u8, target_m: Option<f64>, i: usize) -> Option<f64> {
        let along_m = self.codec.number(self.along.get(i));
        if word & word::FROM_TARGET == 0 {
            along_m
        } else {
            target_m.zip(along_m).map(|(target, long)| target + long)
        }
    }

    /// One run where it is packed.
    ///
    /// # Panics
    /// Beyond the last, where something is asked of it.
    pub fn at(&self, i: usize) -> At<'_> {
        At { runs: self, i }
    }

    /// How many runs have target, turns, aim and lead of the one before.
    pub fn repeated_settings(&self) -> usize {
        let same = |column: &Column<u32>, i: usize| {
            let (above, own) = (column.get(i - 1), column.get(i));
            // A number may have more codes than one.
            above == own || self.codec.number(above) == self.codec.number(own)
        };
        let settings = [&self.turns, &self.target, &self.aim, &self.lead];
        (1..self.len)
            .filter(|&i| settings.iter().all(|column| same(column, i)))
            .count()
    }

    /// The targets written, m, in the order of the runs.
    pub fn targets_m(&self) -> impl Iterator<Item = f64> + '_ {
        (0..self.len).filter_map(|i| self.codec.number(self.target.get(i)))
    }

    /// The brake leads written, turns, likewise.
    pub fn leads_turns(&self) -> impl Iterator<Item = f64> + '_ {
        (0..self.len).filter_map(|i| self.codec.number(self.lead.get(i)))
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

    /// What neighbours among picked runs share, with their indices.
    pub fn shared_by<'r>(
        &'r self,
        picked: &'r Picked,
    ) -> impl Iterator<Item = (Range<usize>, &'r Shared)> + 'r {
        picked.parts.iter().flat_map(move |&(from, to)| {
            let first = self.stretch_at(from as usize);
            let within = self.stretches[first..].iter().enumerate();
            let within = within.take_while(move |(_, stretch)| stretch.first < to);
            within.map(move |(at, stretch)| {
                let next = self.stretches.get(first + at + 1);
                let end = next.map_or(to, |next| next.first.min(to));
                let shared = &self.shared[stretch.shared as usize];
                (stretch.first.max(from) as usize..end as usize, shared)
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

/// One run where it is packed: of its numbers only those are made that are asked for. See [`Run`].
#[derive(Debug, Clone, Copy)]
pub struct At<'r> {
    runs: &'r Runs,
    i: usize,
}

#[allow(missing_docs)] // Each is the run's field of that name.
impl At<'_> {
    #[inline]
    fn number(&self, column: &Column<u32>) -> Option<f64> {
        self.runs.codec.number(column.get(self.i))
    }

    pub fn kind(&self) -> Kind {
        word::kind(self.runs.words.get(self.i))
    }

    pub fn status(&self) -> Status {
        word::status(self.runs.words.get(self.i))
    }

    pub fn load(&self) -> Option<Load> {
        word::load(self.runs.words.get(self.i))
    }

    pub fn target_m(&self) -> Option<f64> {
        self.number(&self.runs.target)
    }

    pub fn turns(&self) -> Option<f64> {
        self.number(&self.runs.turns)
    }

    pub fn rest_m(&self) -> Option<f64> {
        let word = self.runs.words.get(self.i);
        self.runs.rest_m(word, self.target_m(), self.i)
    }

    pub fn right_m(&self) -> Option<f64> {
        self.number(&self.runs.right)
    }

    pub fn aim_right_m(&self) -> Option<f64> {
        self.number(&self.runs.aim)
    }

    pub fn lead_turns(&self) -> Option<f64> {
        self.number(&self.runs.lead)
    }

    pub fn recoil_m(&self) -> Option<f64> {
        self.number(&self.runs.recoil)
    }

    pub fn time_s(&self) -> Option<f64> {
        self.number(&self.runs.time)
    }

    /// As [`Run::is_fitted`].
    pub fn is_fitted(&self) -> bool {
        run::is_fitted(self.kind(), self.status(), self.turns(), self.rest_m())
    }

    /// As [`Run::recoil_was_watched`].
    pub fn recoil_was_watched(&self) -> bool {
        run::recoil_was_watched(self.kind(), self.status(), self.recoil_m())
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::LengthUnit;

    /// A run as a log gives it: numbers of few decimals in some unit, some not written, labels that come in stretches.
    fn run(i: u64) -> Run {
        let mut at = i as f64;
        let mut spread_out = || {
            at += 0.618_033_988_749_895 * at + 1.0;
            at.fract()
        };
        let mut cell = |range: f64, decimals: i32| {
            let parts = 10f64.powi(decimals);
            let x = (spread_out() - 0.5) * range;
            (spread_out() < 0.9).then(|| (x * parts).round() / parts + 0.0)
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
    fn settings_that_repeat_are_counted_however_they_are_coded() {
        let mut all: Vec<Run> = (0..3000).map(run).collect();
        for i in (1..3000).step_by(3) {
            let above = all[i - 1].clone();
            all[i].target_m = above.target_m;
            all[i].turns = above.turns;
            all[i].aim_right_m = above.aim_right_m;
            if i % 2 == 0 {
                all[i].lead_turns = above.lead_turns;
            }
        }
        let written = |of: fn(&Run) -> Option<f64>| all.iter().filter_map(of).collect::<Vec<f64>>();
        let packed: Runs = all.iter().cloned().collect();
        assert_eq!(
            packed.targets_m().collect::<Vec<f64>>(),
            written(|r| r.target_m)
        );
        assert_eq!(
            packed.leads_turns().collect::<Vec<f64>>(),
            written(|r| r.lead_turns)
        );
        let settings = |run: &Run| (run.target_m, run.turns, run.aim_right_m, run.lead_turns);
        let same = |pair: &&[Run]| settings(&pair[0]) == settings(&pair[1]);
        let counted = all.windows(2).filter(same).count();
        assert!((500..1000).contains(&counted));
        let packed: Runs = all.into_iter().collect();
        assert_eq!(packed.repeated_settings(), counted);
    }

    #[test]
    fn runs_joined_come_out_as_they_went_in() {
        let all: Vec<Run> = (0..3000).map(run).collect();
        let mut joined = Runs::default();
        let mut from = 0;
        for to in [0, 1, 700, 1024, 1030, 2900, 3000] {
            let part: Runs = all[from..to].iter().cloned().collect();
            joined.join(&part, |shared, order, _| (*shared, order));
            from = to;
        }
        assert_eq!(joined.len(), all.len());
        for (i, (out, run)) in joined.iter().zip(&all).enumerate() {
            assert_eq!(&out, run, "run {i}");
        }
        // Nothing is said twice where one part goes on the last.
        let packed: Runs = all.iter().cloned().collect();
        assert_eq!(joined.stretches.len(), packed.stretches.len());
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
        for i in some.iter() {
            let (at, run) = (packed.at(i), &all[i]);
            assert_eq!(
                (at.kind(), at.status(), at.load()),
                (run.kind, run.status, run.load)
            );
            let numbers = [
                (at.target_m(), run.target_m),
                (at.turns(), run.turns),
                (at.rest_m(), run.rest_m),
                (at.right_m(), run.right_m),
                (at.aim_right_m(), run.aim_right_m),
                (at.lead_turns(), run.lead_turns),
                (at.recoil_m(), run.recoil_m),
                (at.time_s(), run.time_s),
            ];
            for (number, of_run) in numbers {
                assert_eq!(number, of_run, "run {i}");
            }
            assert_eq!(at.is_fitted(), run.is_fitted());
            assert_eq!(at.recoil_was_watched(), run.recoil_was_watched());
        }
        let shared = packed.shared_by(&some);
        let sessions = shared.flat_map(|(range, shared)| range.map(|i| (i, shared.session)));
        assert!(sessions.eq(some.iter().map(|i| (i, all[i].session))));
        assert_eq!(packed.pick(&some).count(), some.len());
        assert_eq!(packed.get(3000), None);
        assert_eq!(packed.last().as_ref(), all.last());
    }
}
