//! Which rows of a design are the same.

use std::cmp::Ordering;
use std::collections::HashMap;

use nalgebra::DMatrix;

/// The rows of `x` in groups of equal ones: groups in order of their values, rows in each in order of their number.
pub fn equal_rows(x: &DMatrix<f64>) -> Vec<Vec<usize>> {
    let compare = |i: usize, j: usize| {
        (0..x.ncols())
            .map(|k| x[(i, k)].total_cmp(&x[(j, k)]))
            .find(|order| order.is_ne())
            .unwrap_or(Ordering::Equal)
    };
    let mut rows: Vec<usize> = (0..x.nrows()).collect();
    rows.sort_by(|i, j| compare(*i, *j));
    rows.chunk_by(|i, j| compare(*i, *j).is_eq())
        .map(<[usize]>::to_vec)
        .collect()
}

/// A number for each row of some columns, counted from 0 as they first appear and one for all equal rows, and how many
/// there are; `None` for more than `most`.
pub fn numbered_rows(columns: &[&[f64]], most: usize) -> Option<(Vec<usize>, usize)> {
    let mut known: HashMap<Vec<u64>, usize> = HashMap::new();
    let mut numbers = Vec::new();
    for i in 0..columns.first()?.len() {
        let row = columns.iter().map(|column| column[i].to_bits()).collect();
        let next = known.len();
        numbers.push(*known.entry(row).or_insert(next));
        if known.len() > most {
            return None;
        }
    }
    Some((numbers, known.len()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_rows_stand_together_in_order() {
        let x = DMatrix::from_row_slice(4, 2, &[1., 2., 0., 5., 1., 2., 1., 1.]);
        assert_eq!(equal_rows(&x), [vec![1], vec![3], vec![0, 2]]);
        let none = DMatrix::<f64>::zeros(3, 0);
        assert_eq!(equal_rows(&none), [vec![0, 1, 2]]);
    }

    #[test]
    fn equal_rows_have_one_number() {
        let columns = [&[5., 1., 5., 5., 1.][..], &[0., 0., 1., 0., 0.]];
        let numbers = vec![0, 1, 2, 0, 1];
        assert_eq!(numbered_rows(&columns, 3), Some((numbers, 3)));
        assert_eq!(numbered_rows(&columns, 2), None);
        assert_eq!(numbered_rows(&[], 2), None);
    }
}
