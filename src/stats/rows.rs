//! Which rows of a design are the same.

use nalgebra::DMatrix;

/// The rows of `x` in groups of equal ones: groups in order of their values, rows in each in order of their number.
pub fn equal_rows(x: &DMatrix<f64>) -> Vec<Vec<usize>> {
    let compare = |i: usize, j: usize| {
        (0..x.ncols())
            .map(|k| x[(i, k)].total_cmp(&x[(j, k)]))
            .find(|order| order.is_ne())
            .unwrap_or(std::cmp::Ordering::Equal)
    };
    let mut rows: Vec<usize> = (0..x.nrows()).collect();
    rows.sort_by(|i, j| compare(*i, *j));
    rows.chunk_by(|i, j| compare(*i, *j).is_eq())
        .map(<[usize]>::to_vec)
        .collect()
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
}
