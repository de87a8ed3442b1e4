//! F tests and studentised residuals from sums, against rows made independent one by one and fitted by QR.

use crate::least_squares::{Fit, fit};
use crate::nested::grouped;
use haltmark::stats::anova::f_test;
use haltmark::stats::mixed::Groups;
use haltmark::stats::nested::slopes_differ;
use haltmark::stats::resample::{Pcg64, normal, replicate, uniform};
use nalgebra::{DMatrix, DVector};

/// Sixty rows in groups of 1 to 9 and four columns: ones, settings that repeat, any numbers, one that hardly differs
/// within groups. The groups' effects are as large as the rest.
fn columns(stream: &mut Pcg64) -> (Vec<Vec<f64>>, Vec<f64>, Groups) {
    let group: Groups = (0..60)
        .map(|i| [3, 7, 7, 9, 8, 3, 7, 1][i % 8 * i / 20 % 8])
        .collect();
    let effects: Vec<f64> = (0..10).map(|_| normal(stream)).collect();
    let mut of = |value: &dyn Fn(usize, &mut Pcg64) -> f64| -> Vec<f64> {
        (0..60).map(|i| value(i, stream)).collect()
    };
    let columns = vec![
        vec![1.0; 60],
        of(&|_, s| 30.0 + (8.0 * uniform(s)).floor()),
        of(&|_, s| 1e3 * normal(s)),
        of(&|i, s| effects[group[i]] + 1e-3 * normal(s)),
    ];
    let y = of(&|i, s| effects[group[i]] + normal(s));
    (columns, y, group)
}

/// The fit at one θ: V^(−1/2) takes 1 − 1/√(1 + nθ²) of its group's mean off each row.
fn by_qr(columns: &[&[f64]], y: &[f64], group: &Groups, theta: f64) -> Fit {
    let white = |column: &[f64]| -> Vec<f64> {
        let mut white = column.to_vec();
        for members in group.each() {
            let n = members.len() as f64;
            let mean = members.iter().map(|&i| column[i]).sum::<f64>() / n;
            for &i in members {
                white[i] -= mean * (1.0 - 1.0 / (1.0 + n * theta * theta).sqrt());
            }
        }
        white
    };
    let x: Vec<Vec<f64>> = columns.iter().map(|column| white(column)).collect();
    let x = DMatrix::from_fn(y.len(), x.len(), |i, j| x[j][i]);
    fit(&x, &DVector::from_vec(white(y)))
}

fn close(what: &str, got: f64, wanted: f64) {
    assert!(
        (got - wanted).abs() <= 1e-8 * wanted.abs(),
        "{what}: {got} {wanted}"
    );
}

#[test]
fn sums_and_qr_agree_at_a_theta() {
    for seed in 0..20 {
        let mut stream = replicate(31, seed);
        let (columns, y, group) = columns(&mut stream);
        let sums = grouped(&columns, y.clone(), &group);
        let all: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
        for theta in [0.0, 0.4, 3.0, 100.0] {
            let (small, large) = (
                by_qr(&all[..2], &y, &group, theta),
                by_qr(&all, &y, &group, theta),
            );
            let test = f_test(small.rest, large.rest).unwrap();
            let more = sums.more_at(theta, &[0, 1], &[2, 3]).unwrap();
            assert_eq!((more.test.d1, more.test.d2), (2, 56));
            close("F", more.test.f, test.f);
            close("p", more.test.p, test.p);
            close("last", more.last, large.beta[3]);
            let studentised = sums.studentised(theta, &[0, 1, 2, 3]).unwrap();
            for (i, got) in studentised.into_iter().enumerate() {
                let free = 1.0 - large.leverage[i];
                let wanted = large.residuals[i] / (large.residual_sd() * free.sqrt());
                assert!((got - wanted).abs() < 1e-8, "{theta} {i}: {got} {wanted}");
            }
        }
    }
}

/// Taking means out is the same as a column of its own for every group.
#[test]
fn sums_and_qr_agree_within_groups() {
    for seed in 0..20 {
        let mut stream = replicate(32, seed);
        let (columns, y, group) = columns(&mut stream);
        let sums = grouped(&columns, y.clone(), &group);
        let own = |label: &usize| -> Vec<f64> {
            group
                .iter()
                .map(|g| f64::from(u8::from(g == label)))
                .collect()
        };
        let mut all: Vec<Vec<f64>> = group.labels().iter().map(own).collect();
        let groups = all.len();
        all.extend_from_slice(&columns[1..]);
        let all: Vec<&[f64]> = all.iter().map(Vec::as_slice).collect();
        let large = by_qr(&all, &y, &group, 0.0);
        let test = f_test(by_qr(&all[..groups + 2], &y, &group, 0.0).rest, large.rest).unwrap();
        let more = sums.more_within(&[0, 1, 2], &[3]).unwrap();
        assert_eq!((more.test.d1, more.test.d2), (1, 60 - groups - 3));
        close("F", more.test.f, test.f);
        close("last", more.last, large.beta[groups + 2]);
    }
}

/// A column for every setting, by QR.
#[test]
fn sums_and_qr_agree_on_settings() {
    for seed in 0..20 {
        let mut stream = replicate(33, seed);
        let (columns, y, group) = columns(&mut stream);
        let sums = grouped(&columns, y.clone(), &group);
        let setting: Vec<usize> = columns[1]
            .iter()
            .map(|turns| *turns as usize - 30)
            .collect();
        let own = |k: usize| -> Vec<f64> {
            setting
                .iter()
                .map(|s| f64::from(u8::from(*s == k)))
                .collect()
        };
        let each: Vec<Vec<f64>> = (0..8).map(own).filter(|c| c.contains(&1.0)).collect();
        let each: Vec<&[f64]> = each.iter().map(Vec::as_slice).collect();
        for theta in [0.0, 0.7, 30.0] {
            let line = by_qr(&[&columns[0], &columns[1]], &y, &group, theta);
            let wanted = f_test(line.rest, by_qr(&each, &y, &group, theta).rest).unwrap();
            let got = sums.settings_differ(theta, &[0, 1], &setting).unwrap();
            assert_eq!((got.d1, got.d2), (wanted.d1, wanted.d2));
            close("F", got.f, wanted.f);
            close("p", got.p, wanted.p);
        }
    }
}

#[test]
fn columns_that_say_nothing_new_have_no_test() {
    let (mut columns, y, group) = columns(&mut replicate(34, 0));
    columns[2] = columns[1].iter().map(|turns| 2.0 * turns).collect();
    columns[3] = group.iter().map(|&label| 36.6 * label as f64).collect();
    let sums = grouped(&columns, y.clone(), &group);
    assert_eq!(sums.more_at(0.3, &[0, 1], &[2]), None);
    assert_eq!(sums.more_within(&[0, 1], &[3]), None);
    assert_eq!(sums.estimable_columns(&[0, 1, 2, 3]), [0, 1, 3]);
    let with_twice = sums.more_at(0.3, &[0, 1, 2], &[3]).unwrap();
    assert_eq!(Some(with_twice), sums.more_at(0.3, &[0, 1], &[3]));
    let alone = Groups::from(vec![0; 5]);
    assert_eq!(
        slopes_differ(&alone, &[1., 2., 3., 4., 5.], &[0.0; 5]),
        None
    );
}
