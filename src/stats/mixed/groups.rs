//! Which row belongs to which group, sorted out once for everything that looks at rows by group.

use std::ops::{Deref, Range};
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

    /// Sum of the values of each group, by rising label.
    pub fn sums(&self, values: &[f64]) -> Vec<f64> {
        let sum = |members: &[usize]| match together(members) {
            Some(rows) => values[rows].iter().sum::<f64>(),
            None => members.iter().map(|&i| values[i]).sum(),
        };
        self.each().map(sum).collect()
    }

    /// Adds to each value that of its group, by rising label.
    pub fn put_in(&self, values: &mut [f64], of_groups: &[f64]) {
        for (members, by) in self.each().zip(of_groups) {
            match together(members) {
                Some(rows) => values[rows].iter_mut().for_each(|value| *value += by),
                None => members.iter().for_each(|&i| values[i] += by),
            }
        }
    }

    /// Takes the mean of its group out of each value, and gives the means by rising label.
    pub fn take_out_means(&self, values: &mut [f64]) -> Vec<f64> {
        let mut means = self.sums(values);
        for (mean, members) in means.iter_mut().zip(self.each()) {
            *mean /= -(members.len() as f64);
        }
        self.put_in(values, &means);
        means.iter_mut().for_each(|mean| *mean = -*mean);
        means
    }

    /// The rows of each group, groups by rising label.
    pub fn each(&self) -> impl ExactSizeIterator<Item = &[usize]> {
        (0..self.labels().len()).map(|place| self.members(place))
    }
}

/// The rows of a group where they stand together, as they do as a rule.
fn together(members: &[usize]) -> Option<Range<usize>> {
    let (&first, &last) = (members.first()?, members.last()?);
    (last - first < members.len()).then_some(first..last + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_sorted_out_by_hand() {
        let groups = Groups::from(vec![7, 3, 7, 9, 3]);
        assert_eq!(&*groups, &[7, 3, 7, 9, 3]);
        assert_eq!(groups.labels(), [3, 7, 9]);
        assert_eq!(groups.places(), [1, 0, 1, 2, 0]);
        let each: Vec<&[usize]> = groups.each().collect();
        assert_eq!(each, [&[1, 4][..], &[0, 2], &[3]]);
        assert_eq!(Groups::from(Vec::new()).each().len(), 0);
    }

    #[test]
    fn means_go_out_and_in_by_hand() {
        let groups = Groups::from(vec![7, 3, 7, 9, 9]);
        let mut values = [1.0, 5.0, 4.0, 2.0, 8.0];
        assert_eq!(groups.take_out_means(&mut values), [5.0, 2.5, 5.0]);
        assert_eq!(values, [-1.5, 0.0, 1.5, -3.0, 3.0]);
        assert_eq!(groups.sums(&values), [0.0; 3]);
        groups.put_in(&mut values, &[5.0, 2.5, 5.0]);
        assert_eq!(values, [1.0, 5.0, 4.0, 2.0, 8.0]);
    }
}
