//! How charts are set: type, room around a chart, help lines and numbers.

use crate::report::svg::theme::{GRID, INK, SOFT};
use crate::report::svg::{Chart, Drawn, Sheet, pen, px};
use plotters::chart::LabelAreaPosition;
use plotters::style::colors::TRANSPARENT;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontDesc, FontFamily, FontStyle, RGBColor, TextStyle};

/// Height of ordinary text.
pub const TEXT: f64 = 13.0;
/// Height of remarks, labels and the numbers of an axis.
pub const SMALL: f64 = 12.0;
/// Room above a chart, for what its side counts.
pub const HEAD: f64 = 28.0;
/// Room to the left of a chart, for the numbers up its side.
pub const SIDE: f64 = 38.0;
/// Room below a chart, for the numbers along its foot and what they count.
pub const FOOT: f64 = 36.0;
/// Room to the right of a chart, for words beside its lines.
pub const LABELS: f64 = 96.0;
/// Room to the right of a chart without such words.
pub const EDGE: f64 = 8.0;

/// The text starts at its point, which is at its middle height.
pub const START: Pos = Pos {
    h_pos: HPos::Left,
    v_pos: VPos::Center,
};
/// The middle of the text stands at its point.
pub const MIDDLE: Pos = Pos {
    h_pos: HPos::Center,
    v_pos: VPos::Center,
};
/// The text ends at its point.
pub const END: Pos = Pos {
    h_pos: HPos::Right,
    v_pos: VPos::Center,
};

fn style(size: f64, weight: FontStyle, color: RGBColor, pos: Pos) -> TextStyle<'static> {
    let font = FontDesc::new(FontFamily::SansSerif, f64::from(px(size)), weight);
    TextStyle {
        font,
        color: color.to_backend_color(),
        pos,
    }
}

/// Ordinary text.
pub fn plain(color: RGBColor, pos: Pos) -> TextStyle<'static> {
    style(TEXT, FontStyle::Normal, color, pos)
}

/// Ordinary text in bold.
pub fn bold(color: RGBColor, pos: Pos) -> TextStyle<'static> {
    style(TEXT, FontStyle::Bold, color, pos)
}

/// Small text.
pub fn small(color: RGBColor, pos: Pos) -> TextStyle<'static> {
    style(SMALL, FontStyle::Normal, color, pos)
}

/// Small text in bold.
pub fn small_bold(color: RGBColor, pos: Pos) -> TextStyle<'static> {
    style(SMALL, FontStyle::Bold, color, pos)
}

/// Help lines across a chart with numbers up its side, and what they count above it.
pub fn side(on: &Sheet, chart: &mut Chart, counts: &str) -> Drawn {
    levels(chart)?;
    let top = chart.plotting_area().get_pixel_range().1.start;
    let at = (px(4.0), top - px(16.0));
    on.area.draw_text(counts, &small(INK, START), at)
}

/// Help lines across a chart with numbers up its side.
pub fn levels(chart: &mut Chart) -> Drawn {
    chart
        .configure_mesh()
        .disable_x_mesh()
        .disable_x_axis()
        .bold_line_style(GRID.stroke_width(pen(1.0)))
        .axis_style(TRANSPARENT)
        .y_label_style(small(SOFT, END))
        .set_tick_mark_size(LabelAreaPosition::Left, px(3.0))
        .draw()
}

/// The line a chart stands on, numbers along it, and what they count below them.
pub fn foot(chart: &mut Chart, counts: &str) -> Drawn {
    chart
        .configure_mesh()
        .disable_mesh()
        .disable_y_axis()
        .axis_style(SOFT.stroke_width(pen(1.2)))
        .x_label_style(small(SOFT, MIDDLE))
        .set_tick_mark_size(LabelAreaPosition::Bottom, px(3.0))
        .axis_desc_style(small(INK, MIDDLE))
        .x_desc(counts)
        .draw()
}
