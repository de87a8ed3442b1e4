//! Exact designs by exchange: a number of runs shared out over candidate places so that the worst of something is least.

/// A move must better the criterion by this part of it: rounding is no improvement.
const BETTER_BY: f64 = 1e-9;

/// Counts at each candidate, `n` in all, that make `worst` small, by moving one run, or two at once, to where it helps most
/// until no move helps (Fedorov's exchange; Atkinson, Donev & Tobias 2007, chapter 12).
///
/// * `least` — for each candidate, the count it must have; their sum at most `n`
/// * `worst` — the criterion of a vector of counts, finite for the even start; +∞ is a wall
/// * a tie goes to the candidate named first, so the answer depends on nothing else
///
/// With `worst` the largest variance of prediction this looks for an exact G-optimal design, which for a straight line is half
/// the runs at either end (Kiefer & Wolfowitz 1960): checked in `tests/planning.rs`.
pub fn share_out(n: usize, least: &[usize], worst: impl Fn(&[usize]) -> f64) -> Vec<usize> {
    let places = least.len();
    let mut counts = least.to_vec();
    let given: usize = counts.iter().sum();
    // An even start over the whole range, so that nothing is singular.
    let free = n.saturating_sub(given);
    for i in 0..free {
        let at = if free == 1 {
            places / 2
        } else {
            (i * (places - 1) + (free - 1) / 2) / (free - 1)
        };
        counts[at] += 1;
    }
    let single: Vec<(usize, usize)> = (0..places)
        .flat_map(|from| (0..places).map(move |to| (from, to)))
        .filter(|(from, to)| from != to)
        .collect();
    let mut best = worst(&counts);
    loop {
        let mut found = None;
        let mut try_moves = |moves: &[(usize, usize)]| -> bool {
            let Some(next) = exchanged(&counts, least, moves) else {
                return false;
            };
            let value = worst(&next);
            let better = value < best - BETTER_BY * best.abs();
            if better {
                best = value;
                found = Some(next);
            }
            better
        };
        let mut any = false;
        for &one in &single {
            any |= try_moves(&[one]);
        }
        // A worst case that stands at both ends is bettered by no single move: then two at once.
        if !any {
            for (i, &one) in single.iter().enumerate() {
                for &other in &single[i..] {
                    try_moves(&[one, other]);
                }
            }
        }
        match found {
            Some(next) => counts = next,
            None => return counts,
        }
    }
}

/// The counts after moves of one run each, `None` where a place would fall below its least.
fn exchanged(counts: &[usize], least: &[usize], moves: &[(usize, usize)]) -> Option<Vec<usize>> {
    let mut out = counts.to_vec();
    for &(from, to) in moves {
        out[from] = out[from].checked_sub(1)?;
        out[to] += 1;
    }
    out.iter().zip(least).all(|(c, l)| c >= l).then_some(out)
}
