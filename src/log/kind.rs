//! What a log holds, which decides what it may leave out.

/// What a log holds.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum LogKind {
    /// A season's runs: `session` or `date` is needed, and without the column `aim_right_cm` every run was aimed at the
    /// target itself.
    #[default]
    Season,
    /// The runs of today or of an event: they need no session, and without the column `aim_right_cm` nobody knows where
    /// they were aimed.
    Day,
}
