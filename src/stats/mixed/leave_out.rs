//! Designs without one group or without one row, from the sums of each group: what cross-validation and deletion
//! residuals refit. Nothing is subtracted, so no digit is lost where a group or a row holds most of a column.

use super::design::{Design, GroupSums, Rows};

/// A design with its rows and the sums of each of its groups.
pub struct LeaveOut<'a> {
    rows: &'a Rows,
    design: &'a Design,
    /// By rising label.
    groups: Vec<GroupSums>,
}

impl<'a> LeaveOut<'a> {
    /// From rows and the design that was made of them.
    pub fn from_rows(rows: &'a Rows, design: &'a Design) -> Self {
        let sums = |members: &[usize]| GroupSums::from_rows(rows, members, design.offset());
        LeaveOut {
            rows,
            design,
            groups: rows.group.each().map(sums).collect(),
        }
    }

    /// All groups but that at `place` in [`super::Groups::labels`].
    pub fn without_group(&self, place: usize) -> Design {
        let (before, after) = (&self.groups[..place], &self.groups[place + 1..]);
        self.design.with_groups(before.iter().chain(after))
    }

    /// All rows but row `i`.
    pub fn without_row(&self, i: usize) -> Design {
        let place = self.rows.group.places()[i];
        let mut members = self.rows.group.members(place).to_vec();
        members.retain(|&k| k != i);
        let rest = (!members.is_empty())
            .then(|| GroupSums::from_rows(self.rows, &members, self.design.offset()));
        let (before, after) = (&self.groups[..place], &self.groups[place + 1..]);
        let others = before.iter().chain(after);
        self.design.with_groups(others.chain(&rest))
    }
}
