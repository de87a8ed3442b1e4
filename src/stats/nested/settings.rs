//! Whether rows at one setting agree better with each other than with a model: pure-error lack of fit beside groups.

use super::Grouped;
use crate::stats::least_squares::{FTest, Squares, f_test};
use crate::stats::linalg::{InOrder, packed};

impl Grouped {
    /// Whether a value of its own for every setting explains more than the columns `x`, which are alike in the rows of a
    /// setting; the groups' shifts are r times as large as what is left over.
    ///
    /// * `setting` — of each row, from 0
    /// * `None` where nothing is gained, or no degree of freedom is left
    ///
    /// The larger model is a column for every setting, so its normal equations are counts: with n_jk rows of setting k
    /// in group j, N_k δ_kl − Σ_j n_jk n_jl r²/(1 + n_j r²). At r = 0 it is the test of the NIST/SEMATECH e-Handbook,
    /// section 4.6.1.
    pub fn settings_differ(&self, r: f64, x: &[usize], setting: &[usize]) -> Option<FTest> {
        let settings = setting.iter().max()? + 1;
        let y = self.about[self.response()].as_slice();
        let means = self.means.column(self.response());
        let mut triangle = vec![0.0; (settings + 1) * (settings + 2) / 2];
        // Of the group in progress, a setting each: rows, and the sum of y about the group's mean.
        let mut own: Vec<(f64, f64)> = vec![(0.0, 0.0); settings];
        let mut seen: Vec<usize> = Vec::new();
        let left_over = packed(settings, settings);
        triangle[left_over] = self.within[packed(self.response(), self.response())];
        for (members, &mean) in self.groups.each().zip(means.iter()) {
            for &i in members {
                let (count, sum) = &mut own[setting[i]];
                if *count == 0.0 {
                    seen.push(setting[i]);
                }
                *count += 1.0;
                *sum += y[i];
            }
            let n = members.len() as f64;
            let kept = 1.0 / (1.0 + n * r * r);
            let shared = r * r * kept;
            triangle[left_over] += n * kept * mean * mean;
            seen.sort_unstable();
            for (at, &k) in seen.iter().enumerate() {
                let (count, sum) = own[k];
                triangle[packed(k, k)] += count;
                triangle[packed(settings, k)] += sum + count * kept * mean;
                // No later than k, so in its row of the triangle.
                let row = &mut triangle[packed(k, 0)..=packed(k, k)];
                for &l in &seen[..=at] {
                    row[l] -= shared * count * own[l].0;
                }
            }
            for k in seen.drain(..) {
                own[k] = (0.0, 0.0);
            }
        }
        let larger = InOrder::of_packed(triangle, settings).ok()?;
        let smaller = InOrder::of_packed(self.at(r, x), x.len()).ok()?;
        let squares = |order: &InOrder| {
            let columns = order.explained.iter().flatten().count();
            let df = self.rows().checked_sub(columns)?;
            Some(Squares {
                sum: order.left_over,
                df,
            })
        };
        f_test(squares(&smaller)?, squares(&larger)?)
    }
}
