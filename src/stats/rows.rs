//! Which rows of a design are the same.

use std::cmp::Ordering;

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

/// A number for each row of some columns, the same for equal rows, and how many there are; `None` for more than `most`.
pub fn numbered_rows(columns: &[&[f64]], most: usize) -> Option<(Vec<usize>, usize)> {
    let rows = columns.first()?.len();
    let compare = |i: usize, j: usize| {
        let each = columns.iter().map(|column| column[i].total_cmp(&column[j]));
        each.fold(Ordering::Equal, Ordering::then)
    };
    // A row of each number, in order of the rows' values.
    let mut known: Vec<(usize, usize)> = Vec::with_capacity(most);
    let mut numbers: Vec<usize> = Vec::with_capacity(rows);
    for i in 0..rows {
        // Often a setting is that of the row before.
        if i > 0 && compare(i, i - 1).is_eq() {
            numbers.push(numbers[i - 1]);
            continue;
        }
        match known.binary_search_by(|&(row, _)| compare(row, i)) {
            Ok(at) => numbers.push(known[at].1),
            Err(_) if known.len() == most => return None,
            Err(at) => {
                numbers.push(known.len());
                known.insert(at, (i, known.len()));
            }
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
