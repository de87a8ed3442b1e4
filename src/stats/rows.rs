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
    let same = |i: usize, j: usize| {
        let bits = |column: &&[f64]| column[i].to_bits() == column[j].to_bits();
        columns.iter().all(bits)
    };
    // Places for a row of each number, found by mixing the bits of its values; half of them stay empty.
    const EMPTY: usize = usize::MAX;
    let places = (2 * most + 2).next_power_of_two();
    let mut known = vec![(EMPTY, 0); places];
    let mut found = 0;
    let mut numbers: Vec<usize> = Vec::with_capacity(rows);
    for i in 0..rows {
        let mixed = columns.iter().fold(0u64, |mixed, column| {
            (mixed.rotate_left(5) ^ column[i].to_bits()).wrapping_mul(MIX)
        });
        let mut at = (mixed >> 32) as usize & (places - 1);
        while known[at].0 != EMPTY && !same(known[at].0, i) {
            at = (at + 1) & (places - 1);
        }
        if known[at].0 == EMPTY {
            if found == most {
                return None;
            }
            known[at] = (i, found);
            found += 1;
        }
        numbers.push(known[at].1);
    }
    Some((numbers, found))
}

/// An odd number whose bits look like chance: 2⁶⁴ over the golden ratio.
const MIX: u64 = 0x9E37_79B9_7F4A_7C15;

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
