//! Which row belongs to which group, sorted once for everything that looks at rows by group.

use std::ops::Deref;
use std::sync::Arc;

/// Group labels of n rows; dereferences to them, row by row. Cheap to clone.
#[derive(Debug, Clone)]
pub struct Groups(Arc<Sorted>);

#[derive(Debug)]
struct Sorted {
    of_row: Vec<usize>,
    /// Distinct labels, rising.
    labels: Vec<usize>,
    /// Index into `labels` of each row.
    place: Vec<usize>,
    /// Rows by rising label, in order within each.
    rows: Vec<usize>,
    /// Where each label's rows begin in `rows`, and their end.
    starts: Vec<usize>,
}

impl From<Vec<usize>> for Groups {
    fn from(of_row: Vec<usize>) -> Self {
        let mut rows: Vec<usize> = (0..of_row.len()).collect();
        rows.sort_by_key(|&i| of_row[i]);
        let mut labels = Vec::new();
        let mut starts = Vec::new();
        let mut place = vec![0; of_row.len()];
        for (at, &i) in rows.iter().enumerate() {
            if labels.last() != Some(&of_row[i]) {
                labels.push(of_row[i]);
                starts.push(at);
            }
            place[i] = labels.len() - 1;
        }
        starts.push(rows.len());
        Groups(Arc::new(Sorted {
            of_row,
            labels,
            place,
            rows,
            starts,
        }))
    }
}

impl FromIterator<usize> for Groups {
    fn from_iter<I: IntoIterator<Item = usize>>(of_row: I) -> Self {
        of_row.into_iter().collect::<Vec<_>>().into()
    }
}

impl Deref for Groups {
    type Target = [usize];

    fn deref(&self) -> &[usize] {
        &self.0.of_row
    }
}

impl Groups {
    /// Distinct labels, rising.
    pub fn labels(&self) -> &[usize] {
        &self.0.labels
    }

    /// For each row the index of its group in [`Groups::labels`].
    pub fn places(&self) -> &[usize] {
        &self.0.place
    }

    /// The rows of the group at `place` in [`Groups::labels`], rising.
    pub fn members(&self, place: usize) -> &[usize] {
        &self.0.rows[self.0.starts[place]..self.0.starts[place + 1]]
    }

    /// The rows of each group, groups by rising label.
    pub fn each(&self) -> impl ExactSizeIterator<Item = &[usize]> {
        (0..self.labels().len()).map(|place| self.members(place))
    }

    /// Number of rows of each group, by rising label.
    pub fn sizes(&self) -> impl ExactSizeIterator<Item = f64> {
        self.each().map(|members| members.len() as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_sorted_by_group() {
        let groups = Groups::from(vec![7, 3, 7, 9, 3]);
        assert_eq!(&*groups, &[7, 3, 7, 9, 3]);
        assert_eq!(groups.labels(), [3, 7, 9]);
        assert_eq!(groups.places(), [1, 0, 1, 2, 0]);
        let each: Vec<&[usize]> = groups.each().collect();
        assert_eq!(each, [&[1, 4][..], &[0, 2], &[3]]);
        assert_eq!(groups.sizes().collect::<Vec<_>>(), [2.0, 2.0, 1.0]);
        assert_eq!(Groups::from(Vec::new()).each().len(), 0);
    }
}
