//! What the figures show of a rig: its runs and its sessions as the fits saw them.

use std::sync::Arc;

use jiff::civil::Date;

use crate::stats::interval::Interval;

/// What the figures show of a rig; made with the fit, so that pictures and tables cannot disagree.
#[derive(Debug, Clone, Default)]
pub struct Story {
    /// Every launch that was fitted or set aside, in season order.
    pub runs: Vec<StoryRun>,
    /// Sessions in season order.
    pub sessions: Vec<StorySession>,
    /// Moving average of the sessions' mean residuals; `None` with fewer than four sessions.
    pub drift: Option<Drift>,
}

/// A chart of the sessions' mean residuals in season order (EWMA; NIST/SEMATECH e-Handbook 6.3.2.4), m.
#[derive(Debug, Clone, PartialEq)]
pub struct Drift {
    /// Mean residual of each session with fitted runs.
    pub values_m: Vec<f64>,
    /// The moving average after each.
    pub averages_m: Vec<f64>,
    /// How far from 0 it may lie by chance after each.
    pub limits_m: Vec<f64>,
}

/// One launch as the fit saw it. Lengths m, angles rad.
#[derive(Debug, Clone)]
pub struct StoryRun {
    /// Log and line.
    pub log: Arc<str>,
    /// Line in it.
    pub line: usize,
    /// Index into [`Story::sessions`].
    pub session: usize,
    /// Position in its session, from 0.
    pub position: usize,
    /// Index into [`Travel::builds`](super::Travel::builds).
    pub build: usize,
    /// Index into [`Heading::trims`](super::Heading::trims).
    pub trim: Option<usize>,
    /// Target, where written.
    pub target_m: Option<f64>,
    /// Turns.
    pub turns: f64,
    /// Lead, filled in where it was not written.
    pub lead_turns: Option<f64>,
    /// Rest point ahead.
    pub rest_m: f64,
    /// Rest point to the right.
    pub right_m: Option<f64>,
    /// Arc rolled.
    pub arc_m: f64,
    /// The season's line at its setting.
    pub arc_fitted_m: f64,
    /// ψ − α.
    pub heading_rad: Option<f64>,
    /// The season's line at its arc.
    pub heading_fitted_rad: Option<f64>,
    /// Whether it was in the travel fit.
    pub in_travel: bool,
    /// Whether it was in the heading fit.
    pub in_heading: bool,
    /// Whether the program set it aside.
    pub set_aside: bool,
    /// Whether it rolled back.
    pub recoiled: bool,
    /// Measured clearance.
    pub gap_m: Option<f64>,
    /// The log's offset of the aim mark.
    pub aim_right_m: Option<f64>,
}

/// One session as the fit saw it.
#[derive(Debug, Clone)]
pub struct StorySession {
    /// Label of the session.
    pub label: String,
    /// First date of the session.
    pub date: Option<Date>,
    /// Floor of the session's first run.
    pub floor: String,
    /// Fitted launches.
    pub runs: usize,
    /// Shift along, m, with its interval; `None` without a fitted launch.
    pub shift_m: Option<Interval>,
    /// Shift in heading, rad.
    pub shift_rad: Option<Interval>,
}
