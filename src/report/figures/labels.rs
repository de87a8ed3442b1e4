//! Words in figures: beside the ends of lines, next to marks where there is room, and in a legend where neither will do.

use super::marks::{Mark, Shape};
use super::style::{LABELS, SMALL, START, small};
use crate::report::svg::theme::{self, INK};
use crate::report::svg::{Chart, Drawn, Sheet, WIDTH, px, text_width, units_of};
use plotters::style::RGBColor;

/// Most rows of the words beside the end of a line.
const ROWS_MAX: usize = 4;
/// Height of a row of small text.
pub const ROW: f64 = 14.0;

/// A text cut to a width, with three dots where something is missing.
pub fn cut(text: &str, width: f64, size: f64) -> String {
    let mut out = text.to_string();
    if text_width(&out, size) <= width {
        return out;
    }
    while !out.is_empty() && text_width(&out, size) + size > width {
        out.pop();
    }
    out.trim_end().to_string() + "…"
}

/// A text in at most `most` rows of a width, broken between words; three dots stand where something is missing.
pub fn wrapped(text: &str, width: f64, size: f64, most: usize) -> Vec<String> {
    let mut rows: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match rows.last_mut() {
            Some(row) if text_width(&format!("{row} {word}"), size) <= width => {
                row.push(' ');
                row.push_str(word);
            }
            _ => rows.push(word.to_string()),
        }
    }
    if rows.len() > most {
        // What is left over makes the last row too long, and so is cut.
        let over = rows.split_off(most - 1).join(" ");
        rows.push(over);
    }
    rows.iter().map(|row| cut(row, width, size)).collect()
}

/// Middles of boxes moved until none overlaps another, in the order they had, within `from..=to` while they fit there.
///
/// * `boxes` — middle and height of each
pub fn spread(boxes: &[(f64, f64)], from: f64, to: f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..boxes.len()).collect();
    order.sort_by(|&a, &b| boxes[a].0.total_cmp(&boxes[b].0));
    let mut out: Vec<f64> = boxes.iter().map(|b| b.0).collect();
    let mut next = to;
    for &i in order.iter().rev() {
        let half = boxes[i].1 / 2.0;
        out[i] = out[i].min(next - half);
        next = out[i] - half;
    }
    // Downwards last: what does not fit runs over the foot, where there is room, and not over what stands above.
    let mut last = from;
    for &i in &order {
        let half = boxes[i].1 / 2.0;
        out[i] = out[i].max(last + half);
        last = out[i] + half;
    }
    out
}

/// Words beside the right end of a line.
pub struct EndLabel {
    /// Height of the end, in the chart's coordinates.
    pub y: f64,
    /// What the line or band is.
    pub text: String,
    /// Its colour.
    pub color: RGBColor,
}

impl EndLabel {
    /// Words at a height in a colour.
    pub fn new(y: f64, text: impl Into<String>, color: RGBColor) -> Self {
        EndLabel {
            y,
            text: text.into(),
            color,
        }
    }
}

/// Writes words to the right of a chart, each at its height or as near as the others leave room.
pub fn label_ends(on: &Sheet, chart: &Chart, labels: &[EndLabel]) -> Drawn {
    let (across, down) = chart.plotting_area().get_pixel_range();
    let rows: Vec<Vec<String>> = labels
        .iter()
        .map(|l| wrapped(&l.text, LABELS - 10.0, SMALL, ROWS_MAX))
        .collect();
    let boxes: Vec<(f64, f64)> = labels
        .iter()
        .zip(&rows)
        .map(|(label, rows)| {
            let (_, y) = chart.backend_coord(&(chart.x_range().end, label.y));
            (units_of(y), ROW * rows.len() as f64 + 3.0)
        })
        .collect();
    let (top, bottom) = (units_of(down.start), units_of(down.end));
    let middles = spread(&boxes, top - 6.0, bottom + 6.0);
    for ((label, rows), middle) in labels.iter().zip(&rows).zip(middles) {
        let first = middle - ROW * (rows.len() as f64 - 1.0) / 2.0;
        for (i, row) in rows.iter().enumerate() {
            let at = (across.end + px(8.0), px(first + ROW * i as f64));
            on.area.draw_text(row, &small(label.color, START), at)?;
        }
    }
    Ok(())
}

/// A rectangle of the figure: left, top, right, bottom, figure units.
type Room = [f64; 4];

/// Room kept free on both sides of words beside marks, figure units.
const WORD_GAP: f64 = 7.0;

/// What of a chart is taken, so that words find a free place.
pub struct Taken {
    bounds: Room,
    words_and_marks: Vec<Room>,
    lines: Vec<Room>,
}

impl Taken {
    /// Nothing is taken yet of the chart.
    pub fn none_of(chart: &Chart) -> Self {
        let (across, down) = chart.plotting_area().get_pixel_range();
        Taken {
            bounds: [
                units_of(across.start),
                units_of(down.start) - 7.0,
                units_of(across.end) + 4.0,
                units_of(down.end),
            ],
            words_and_marks: Vec::new(),
            lines: Vec::new(),
        }
    }

    /// A mark stands at a point of the chart.
    pub fn mark(&mut self, chart: &Chart, at: (f64, f64), radius: f64) {
        let room = around(chart, at, radius);
        self.words_and_marks.push(room);
    }

    /// A line runs through points of the chart: no good ground for words, but better than none.
    pub fn line(&mut self, chart: &Chart, points: &[(f64, f64)]) {
        const PIECES: usize = 24;
        for ends in points.windows(2) {
            for k in 0..=PIECES {
                let part = k as f64 / PIECES as f64;
                let at = |a: f64, b: f64| a + part * (b - a);
                let on_it = (at(ends[0].0, ends[1].0), at(ends[0].1, ends[1].1));
                self.lines.push(around(chart, on_it, 1.5));
            }
        }
    }

    /// Writes a word as near as it can to a point of the chart, where no word and no mark stands; with no such place it
    /// stays away (what it says is in the caption or the table too).
    pub fn say(
        &mut self,
        on: &Sheet,
        chart: &Chart,
        at: (f64, f64),
        word: &str,
        color: RGBColor,
    ) -> Drawn {
        let (x, y) = chart.backend_coord(&at);
        let (x, y) = (units_of(x), units_of(y));
        let (width, height) = (text_width(word, SMALL), SMALL);
        let places = [9.0, 16.0, 26.0, 38.0].into_iter().flat_map(|far| {
            let (right, left) = (x + far, x - far - width);
            let (over, mid, under) = (
                y - far - height / 2.0,
                y - height / 2.0,
                y + far - height / 2.0,
            );
            [
                (right, mid),
                (left, mid),
                (right, over),
                (left, over),
                (right, under),
                (left, under),
            ]
            .into_iter()
            .chain([(x - width / 2.0, over), (x - width / 2.0, under)])
        });
        let rooms = places.map(|(left, top)| [left, top, left + width, top + height]);
        let over = |room: &Room, others: &[Room]| -> f64 {
            others.iter().map(|other| shared(room, other)).sum()
        };
        let far =
            |room: &Room| ((room[0] + room[2]) / 2.0 - x).hypot((room[1] + room[3]) / 2.0 - y);
        let is_free = |room: &Room| {
            outside(room, &self.bounds) == 0.0 && over(room, &self.words_and_marks) == 0.0
        };
        let cost = |room: &Room| over(room, &self.lines) + far(room);
        let best = rooms
            .filter(is_free)
            .min_by(|a, b| cost(a).total_cmp(&cost(b)));
        let Some(room) = best else {
            return Ok(());
        };
        // Words side by side need a gap, or they read as one.
        self.words_and_marks
            .push([room[0] - WORD_GAP, room[1], room[2] + WORD_GAP, room[3]]);
        let middle = (px(room[0]), px((room[1] + room[3]) / 2.0));
        on.area.draw_text(word, &small(color, START), middle)
    }
}

/// The room that a mark of a radius takes at a point of a chart.
fn around(chart: &Chart, at: (f64, f64), radius: f64) -> Room {
    let (x, y) = chart.backend_coord(&at);
    let (x, y) = (units_of(x), units_of(y));
    [x - radius, y - radius, x + radius, y + radius]
}

/// The area that two rectangles share.
fn shared(a: &Room, b: &Room) -> f64 {
    let across = a[2].min(b[2]) - a[0].max(b[0]);
    let down = a[3].min(b[3]) - a[1].max(b[1]);
    across.max(0.0) * down.max(0.0)
}

/// How far a rectangle stands out of another.
fn outside(a: &Room, of: &Room) -> f64 {
    (of[0] - a[0]).max(0.0)
        + (of[1] - a[1]).max(0.0)
        + (a[2] - of[2]).max(0.0)
        + (a[3] - of[3]).max(0.0)
}

/// What the marks of several kinds stand for, in rows that never run out of the figure.
pub struct Legend {
    rows: Vec<Vec<(Shape, RGBColor, String, f64)>>,
}

/// Longest word of a legend, figure units.
const WORD_MAX: f64 = WIDTH - 28.0;
const LEGEND_ROW: f64 = 18.0;
const SIGN: f64 = 15.0;
const GAP: f64 = 14.0;

impl Legend {
    /// Lays out marks and their words.
    pub fn new(items: impl IntoIterator<Item = (Shape, RGBColor, String)>) -> Self {
        let mut rows: Vec<Vec<(Shape, RGBColor, String, f64)>> = Vec::new();
        let mut x = f64::INFINITY;
        for (shape, color, word) in items {
            let word = cut(&word, WORD_MAX, SMALL);
            let width = SIGN + text_width(&word, SMALL);
            if x + width > WIDTH - 4.0 {
                rows.push(Vec::new());
                x = 4.0;
            }
            if let Some(row) = rows.last_mut() {
                row.push((shape, color, word, x));
            }
            x += width + GAP;
        }
        Legend { rows }
    }

    /// The height it takes.
    pub fn height(&self) -> f64 {
        self.rows.len() as f64 * LEGEND_ROW
    }

    /// Draws it at the head of the figure.
    pub fn draw(&self, on: &Sheet) -> Drawn {
        for (i, row) in self.rows.iter().enumerate() {
            let y = (i as f64 + 0.5) * LEGEND_ROW;
            for (shape, color, word, x) in row {
                let at = (px(x + 6.0), px(y));
                on.area.draw(&Mark::new(at, *shape, 4.0, *color))?;
                let at = (px(x + SIGN), px(y));
                on.area.draw_text(word, &small(INK, START), at)?;
            }
        }
        Ok(())
    }
}

/// Several kinds of runs side by side: how each is drawn, and what the legend says of them.
pub struct Kinds<'a> {
    /// What they are kinds of: `build`.
    pub what: &'a str,
    /// What stands for a kind without a label.
    pub unnamed: &'a str,
    /// Their labels, in the order that kinds are counted.
    pub labels: &'a [String],
    /// The kind in use now.
    pub newest: usize,
}

/// More kinds than this are more than a legend can say and an eye can keep: the newest is set off against all others.
const KINDS_MAX: usize = 8;

impl Kinds<'_> {
    fn are_many(&self) -> bool {
        self.labels.len() > KINDS_MAX
    }

    /// The kind whose shape and colour a run of `kind` has.
    pub fn shown(&self, kind: usize) -> usize {
        if self.are_many() {
            usize::from(kind == self.newest)
        } else {
            kind
        }
    }

    /// Their legend; empty for one kind alone, which the caption names.
    pub fn legend(&self) -> Legend {
        let word = |label: &String| match label.as_str() {
            "" => self.unnamed.to_string(),
            label => format!("{} {label}", self.what),
        };
        let words: Vec<String> = match self.labels {
            [] | [_] => Vec::new(),
            all if self.are_many() => {
                let others = format!("{} other {}s", all.len() - 1, self.what);
                let newest = self.labels.get(self.newest).map(word);
                std::iter::once(others).chain(newest).collect()
            }
            few => few.iter().map(word).collect(),
        };
        let each = words.into_iter().enumerate();
        Legend::new(each.map(|(k, word)| (Shape::of_kind(k), theme::of_kind(k), word)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_that_would_overlap_move_apart_and_stay_inside() {
        let out = spread(&[(50.0, 12.0), (52.0, 12.0), (10.0, 12.0)], 0.0, 60.0);
        assert!((out[1] - out[0]).abs() >= 12.0 - 1e-9 && out[1] <= 54.0);
        assert_eq!(out[2], 10.0);
    }

    #[test]
    fn of_many_kinds_the_newest_is_set_off_against_the_others() {
        let labels: Vec<String> = (0..30).map(|i| format!("b{i}")).collect();
        let kinds = |count: usize| Kinds {
            what: "build",
            unnamed: "build without a name",
            labels: &labels[..count],
            newest: count - 1,
        };
        let words = |kinds: &Kinds| -> Vec<String> {
            let legend = kinds.legend();
            legend
                .rows
                .concat()
                .into_iter()
                .map(|item| item.2)
                .collect()
        };
        assert_eq!(words(&kinds(2)), ["build b0", "build b1"]);
        assert_eq!(kinds(2).shown(1), 1);
        assert_eq!(words(&kinds(1)), Vec::<String>::new());
        assert_eq!(words(&kinds(30)), ["29 other builds", "build b29"]);
        let shown: Vec<usize> = [0, 8, 16, 29].map(|k| kinds(30).shown(k)).to_vec();
        assert_eq!(shown, [0, 0, 0, 1]);
    }

    #[test]
    fn words_are_cut_and_wrapped_to_their_width() {
        assert_eq!(cut("short", 100.0, 12.0), "short");
        for long in [
            "a very long name of a wheel set",
            "とても長い名前の日",
            "wwwwwwwwwwwwwww",
        ] {
            let short = cut(long, 60.0, 12.0);
            assert!(
                short.ends_with('…') && text_width(&short, 12.0) <= 60.0,
                "{short}"
            );
        }
        let rows = wrapped("19 of 20 runs on a new day", 90.0, 12.0, 3);
        assert!(
            rows.len() > 1 && rows.iter().all(|r| text_width(r, 12.0) <= 90.0),
            "{rows:?}"
        );
        let cut = wrapped("line of trim one after the other", 60.0, 12.0, 2);
        assert!(cut.len() == 2 && cut[1].ends_with('…'), "{cut:?}");
    }
}
