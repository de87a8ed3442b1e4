//! Which runs of a season are looked at.

use std::borrow::Cow;

use jiff::civil::Date;

use crate::error::Error;
use crate::log::run::{Run, Season};

/// The season without the runs made before a day; and how many were left out because nobody knows how old they are.
///
/// # Errors
/// [`Error::CannotAnswer`] when no run is young enough.
pub fn picked(season: &Season, since: Option<Date>) -> Result<(Cow<'_, Season>, usize), Error> {
    let Some(since) = since else {
        return Ok((Cow::Borrowed(season), 0));
    };
    let undated = season.runs.iter().filter(|r| r.date.is_none()).count();
    let young = |run: &&Run| run.date.is_some_and(|day| day >= since);
    let season = season.with(season.runs.iter().filter(young).cloned().collect());
    if season.runs.is_empty() {
        return Err(Error::cannot_answer(
            format!("no run is dated {since} or later"),
            "give an earlier day after --since, or fill in the date column",
        ));
    }
    Ok((Cow::Owned(season), undated))
}
