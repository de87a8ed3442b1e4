//! Which rows of a design are the same.

use std::collections::HashMap;

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
    fn equal_rows_have_one_number() {
        let columns = [&[5., 1., 5., 5., 1.][..], &[0., 0., 1., 0., 0.]];
        let numbers = vec![0, 1, 2, 0, 1];
        assert_eq!(numbered_rows(&columns, 3), Some((numbers, 3)));
        assert_eq!(numbered_rows(&columns, 2), None);
        assert_eq!(numbered_rows(&[], 2), None);
    }
}
