//! Sessions in order: how far did each day differ, and does the floor explain it?

use super::frame::{Frame, Span, spread};
use super::legend::{Legend, Sign};
use crate::error::Error;
use crate::report::svg::{self, Align, Canvas, Figure, Mark, Pen, Type, WIDTH};
use crate::report::words;
use crate::stats::interval::Interval;

/// Sessions of one rig, in season order.
#[derive(Debug, Clone)]
pub struct SessionsView {
    /// One entry for each session.
    pub sessions: Vec<Session>,
    /// Floors, in the order that [`Session::floor`] counts; one blank where none was written.
    pub floors: Vec<String>,
    /// Typical day-to-day difference along, m.
    pub typical_m: f64,
    /// Typical day-to-day difference in heading, m per m; `None` where nothing is known across.
    pub typical_across: Option<f64>,
}

/// One session.
#[derive(Debug, Clone)]
pub struct Session {
    /// Its label.
    pub label: String,
    /// Index of its floor.
    pub floor: usize,
    /// How far longer its runs went, m.
    pub shift_m: Option<Interval>,
    /// How far more to the right they headed, m per m.
    pub shift_across: Option<Interval>,
}

const LEFT: f64 = 46.0;
const PANEL: f64 = 140.0;
/// More sessions than this are numbered, not named.
const NAMED_MAX: usize = 14;

/// Draws the shift of each session, along and across, in season order.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, view: &SessionsView) -> Result<Figure, Error> {
    let floors_written = view.floors.iter().any(|f| !f.is_empty());
    let mut items: Vec<(Sign, String)> = Vec::new();
    if floors_written {
        for (k, floor) in view.floors.iter().enumerate().take(8) {
            let word = if floor.is_empty() {
                "floor not written".to_string()
            } else {
                format!("floor {floor}")
            };
            items.push((Sign::Mark(Mark::for_kind(k), Pen::for_kind(k)), word));
        }
    } else {
        items.push((Sign::Mark(Mark::Dot, Pen::Run), "one session".to_string()));
    }
    items.push((Sign::Line(Pen::Soft), "how sure".to_string()));
    items.push((
        Sign::Band(Pen::Line, 0.16),
        "typical difference from day to day".to_string(),
    ));
    let legend = Legend::new(items);
    let named = view.sessions.len() <= NAMED_MAX;
    let top = legend.height() + 34.0;
    let along = panel(&view.sessions, top, 100.0, |s| s.shift_m, view.typical_m);
    let across = view.typical_across.map(|typical| {
        panel(
            &view.sessions,
            along.bottom + 44.0,
            100.0,
            |s| s.shift_across,
            typical,
        )
    });
    let last = across.as_ref().unwrap_or(&along);
    let names = if named { 30.0 + 15.0 * 2.0 } else { 42.0 };
    let title = "Sessions in order";
    let extreme = view
        .sessions
        .iter()
        .filter_map(|s| Some((s, s.shift_m?.estimate)))
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
    let far = extreme.map_or_else(String::new, |(s, shift)| {
        format!(
            " The farthest off was {}, {}.",
            s.label,
            words::sided(shift, "longer", "shorter", "hardly different")
        )
    });
    let description = format!(
        "How far each of {} differed from the season's line, along and in direction, with how sure that is; shaded, the typical difference.{far}",
        words::count(view.sessions.len(), "session", "sessions")
    );
    svg::draw(name, title, &description, last.bottom + names, |canvas| {
        legend.draw(canvas, 0.0);
        shifts(
            canvas,
            &along,
            view,
            "longer (+) or shorter (−) than the season, cm",
            |s| s.shift_m,
            view.typical_m,
        );
        if let (Some(frame), Some(typical)) = (&across, view.typical_across) {
            let label = "more to the right (+) or left (−), cm a metre";
            shifts(canvas, frame, view, label, |s| s.shift_across, typical);
        }
        foot(canvas, last, view, named);
    })
}

fn panel(
    sessions: &[Session],
    top: f64,
    factor: f64,
    shift: impl Fn(&Session) -> Option<Interval>,
    typical: f64,
) -> Frame {
    let ends = sessions
        .iter()
        .filter_map(shift)
        .flat_map(|i| [factor * i.low, factor * i.high])
        .chain([factor * typical]);
    Frame {
        left: LEFT,
        right: WIDTH - 8.0,
        top,
        bottom: top + PANEL,
        x: Span {
            from: 0.4,
            to: sessions.len().max(1) as f64 + 0.6,
        },
        y: Span::around(ends, 0.06, 0.4).symmetric(),
    }
}

fn shifts(
    canvas: &mut Canvas,
    frame: &Frame,
    view: &SessionsView,
    label: &str,
    shift: impl Fn(&Session) -> Option<Interval>,
    typical: f64,
) {
    frame.side(canvas, label, 4);
    let (x0, x1) = (frame.x.from, frame.x.to);
    canvas.block(
        frame.at(x0, 100.0 * typical),
        frame.at(x1, -100.0 * typical),
        Pen::Line,
        0.16,
    );
    frame.level(canvas, 0.0, Pen::Line, 1.4);
    let crowded = view.sessions.len() > 60;
    let known = view.sessions.iter().enumerate();
    let known: Vec<(f64, &Session, Interval)> = known
        .filter_map(|(i, session)| Some((i as f64 + 1.0, session, shift(session)?)))
        .collect();
    for (x, _, known) in &known {
        let bar = [
            frame.at(*x, 100.0 * known.low),
            frame.at(*x, 100.0 * known.high),
        ];
        canvas.line(&bar, Pen::Soft, if crowded { 0.8 } else { 1.6 });
    }
    let size = if crowded { 2.0 } else { 4.0 };
    for (x, session, known) in &known {
        canvas.mark(
            frame.at(*x, 100.0 * known.estimate),
            Mark::for_kind(session.floor),
            size,
            Pen::for_kind(session.floor),
        );
    }
}

/// Names under the marks, on two rows in turn so that neighbours do not touch; numbers where they are many.
fn foot(canvas: &mut Canvas, frame: &Frame, view: &SessionsView, named: bool) {
    if !named {
        frame.foot(canvas, "session, in order", 8);
        return;
    }
    frame.ground(canvas);
    let n = view.sessions.len();
    let room = (frame.right - frame.left) / n as f64 * if n > 4 { 2.0 } else { 1.0 };
    let letters = ((room - 6.0) / (0.56 * svg::SMALL_TEXT)).floor().max(2.0) as usize;
    for (i, session) in view.sessions.iter().enumerate() {
        let (x, _) = frame.at(i as f64 + 1.0, 0.0);
        let row = if n > 4 { (i % 2) as f64 } else { 0.0 };
        canvas.line(
            &[(x, frame.bottom), (x, frame.bottom + 4.0 + 15.0 * row)],
            Pen::Soft,
            0.8,
        );
        let mut label = session.label.clone();
        if label.chars().count() > letters {
            label = label.chars().take(letters - 1).collect::<String>() + "…";
        }
        // A long name at either end leans inwards.
        let half = svg::text_width(&label, svg::SMALL_TEXT) / 2.0;
        let x = spread(&[x], 0.0, half + 2.0, WIDTH - half - 2.0)[0];
        canvas.text(
            (x, frame.bottom + 13.0 + 15.0 * row),
            &label,
            Type::small(Align::Middle),
        );
    }
}
