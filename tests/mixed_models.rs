//! The mixed-model engine against published sets fitted by lme4 and in 50-digit arithmetic.
//!
//! Values: `tests/reference/data/mixed_model.json` (its `source` and `verified` fields name data and programs).

use haltmark::stats::mixed::{Growths, Posterior, Row, Rows, SpreadPrior};
use nalgebra::{DMatrix, DVector};
use serde_json::Value;

fn data(path: &str) -> String {
    let root = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/data/");
    std::fs::read_to_string(format!("{root}{path}")).unwrap_or_else(|e| panic!("{path}: {e}"))
}

fn cases() -> Vec<Value> {
    let group: Value = serde_json::from_str(&data("mixed_model.json")).expect("valid JSON");
    group["cases"].as_array().expect("a list of cases").clone()
}

/// Columns are `group, y` or `group, x, y`; the first line is a header.
fn rows(case: &Value) -> Rows {
    let text = data(case["data"].as_str().expect("a data file"));
    let names: Vec<&str> = case["columns"]
        .as_str()
        .expect("columns")
        .split(',')
        .map(str::trim)
        .collect();
    let mut labels: Vec<String> = Vec::new();
    let (mut group, mut x, mut y) = (Vec::new(), Vec::new(), Vec::new());
    for line in text.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').map(str::trim).collect();
        assert_eq!(cells.len(), names.len(), "{line}");
        let label = cells[0].to_string();
        let at = labels.iter().position(|l| *l == label).unwrap_or_else(|| {
            labels.push(label);
            labels.len() - 1
        });
        group.push(at);
        x.push(1.0);
        if names.len() == 3 {
            x.push(cells[1].parse::<f64>().expect("a number"));
        }
        y.push(cells[names.len() - 1].parse::<f64>().expect("a number"));
    }
    let n = y.len();
    Rows::new(
        DMatrix::from_row_slice(n, names.len() - 1, &x),
        DVector::from_vec(y),
        group,
    )
}

fn prior() -> SpreadPrior {
    SpreadPrior::without_guess(1.0)
}

fn row<const N: usize>(x: [f64; N]) -> Row {
    Row::of_mean_size(x.to_vec())
}

fn number(v: &Value) -> f64 {
    v.as_f64().expect("a number")
}

fn near(what: &str, got: f64, want: f64, relative: f64, absolute: f64) {
    let allowed = absolute.max(relative * want.abs());
    assert!(
        (got - want).abs() <= allowed,
        "{what}: got {got:.12}, expected {want:.12}, allowed {allowed:.1e}"
    );
}

#[test]
fn restricted_likelihood_estimates_are_those_of_lme4() {
    for case in cases() {
        let name = case["name"].as_str().expect("a name");
        let expected = &case["expected"];
        let design = rows(&case).design(&[], 0.0).expect("full rank");
        let reml = design.reml().expect("a fit");
        let (sigma, tau) = (number(&expected["sigma"]), number(&expected["tau"]));
        for (i, want) in expected["fixef"]
            .as_array()
            .expect("a list")
            .iter()
            .enumerate()
        {
            near(
                &format!("{name} beta {i}"),
                reml.beta[i],
                number(want),
                1e-6,
                0.0,
            );
            let se = number(&expected["se"][i]);
            near(
                &format!("{name} se {i}"),
                reml.covariance[(i, i)].sqrt(),
                se,
                1e-5,
                0.0,
            );
        }
        near(&format!("{name} sigma"), reml.sigma, sigma, 1e-5, 0.0);
        near(&format!("{name} tau"), reml.tau, tau, 1e-5, 1e-6 * sigma);
        near(
            &format!("{name} criterion"),
            reml.criterion,
            number(&expected["reml_criterion"]),
            0.0,
            1e-6,
        );
        // The objective at a fixed ratio fails for other reasons than the search: it must not lie below the optimum.
        for r in [0.0, 0.1, 1.0, 10.0] {
            assert!(
                design.criterion(r).expect("full rank") >= reml.criterion - 1e-9,
                "{name} at {r}"
            );
        }
    }
}

#[test]
fn group_effects_are_the_published_predictions_of_lme4() {
    for case in cases() {
        let name = case["name"].as_str().expect("a name");
        let rows = rows(&case);
        let reml = rows
            .design(&[], 0.0)
            .expect("full rank")
            .reml()
            .expect("a fit");
        let Some(effects) = case["expected"]["session_effects"].as_object() else {
            continue;
        };
        let mut found: Vec<f64> = rows
            .group_means()
            .iter()
            .map(|m| {
                let r2 = reml.r * reml.r;
                m.rows * r2 / (1.0 + m.rows * r2) * (m.y - m.x.dot(&reml.beta))
            })
            .collect();
        let mut wanted: Vec<f64> = effects.values().map(number).collect();
        found.sort_by(f64::total_cmp);
        wanted.sort_by(f64::total_cmp);
        assert_eq!(found.len(), wanted.len(), "{name}");
        for (got, want) in found.iter().zip(&wanted) {
            near(
                &format!("{name} effect"),
                *got,
                *want,
                1e-5,
                1e-5 * reml.sigma,
            );
        }
    }
}

/// In the balanced one-way case with flat priors the engine's pieces have closed forms (Box & Tiao 1973, ch. 5): for a
/// fixed ratio the group's predicted shift is n r²/(1 + n r²) times its mean residual.
#[test]
fn one_more_group_of_known_rows_shrinks_as_the_closed_form_says() {
    let case = cases()
        .into_iter()
        .find(|c| c["name"] == "Dyestuff")
        .expect("Dyestuff");
    let rows = rows(&case);
    let posterior =
        Posterior::new(&rows.design(&[], 0.0).expect("full rank"), prior()).expect("a posterior");
    let today = [
        (row([1.0]), 1600.0),
        (row([1.0]), 1650.0),
        (row([1.0]), 1580.0),
    ];
    let group = posterior.group(&today);
    let mean = today.iter().map(|t| t.1).sum::<f64>() / 3.0;
    for (before, after) in posterior.nodes().iter().zip(group.nodes()) {
        // Prior of the mean of a new group: β_r with variance C_r + r²; three rows of it with variance 1/3 about it.
        let spread = before.covariance[0] + before.r * before.r;
        let share = spread / (spread + 1.0 / 3.0);
        let want = before.beta[0] + share * (mean - before.beta[0]);
        near(
            "next row of the group",
            after.theta[0] + after.theta[1],
            want,
            1e-9,
            0.0,
        );
        near(
            "share",
            after.response[0] + after.response[1],
            share,
            1e-9,
            1e-12,
        );
    }
}

/// Conditioning equals refitting: at each ratio the group in progress and a fit with its rows as one more group agree.
#[test]
fn rows_of_a_new_group_give_what_a_refit_with_them_gives() {
    let case = cases()
        .into_iter()
        .find(|c| c["name"] == "sleepstudy")
        .expect("sleepstudy");
    let rows = rows(&case);
    let posterior =
        Posterior::new(&rows.design(&[], 0.0).expect("full rank"), prior()).expect("a posterior");
    let today = [(row([1.0, 2.0]), 310.0), (row([1.0, 5.0]), 350.0)];
    let group = posterior.group(&today);
    let n = rows.y.len();
    let mut more = rows.clone();
    more.x = more.x.insert_rows(n, 2, 1.0);
    more.x[(n, 1)] = 2.0;
    more.x[(n + 1, 1)] = 5.0;
    more.y = more.y.insert_rows(n, 2, 310.0);
    more.y[n + 1] = 350.0;
    more.group = [&*more.group, &[999, 999]].concat().into();
    let refit = more.design(&[], 0.0).expect("full rank");
    for node in group.nodes().iter().filter(|n| n.weight > 1e-9) {
        let fit = refit.at(node.r).expect("full rank");
        near("beta 0", node.theta[0], fit.beta[0], 1e-8, 0.0);
        near("beta 1", node.theta[1], fit.beta[1], 1e-8, 0.0);
        near("rss", node.rss, fit.rss, 1e-8, 0.0);
    }
}

/// The share of runs that lie as predicted, against `model.md` §4 in full matrices: K = I + (r² + x'Cx)11', c = (r² + x'Cx)1.
#[test]
fn the_share_before_the_runs_are_seen_is_the_one_of_full_matrices() {
    let case = cases()
        .into_iter()
        .find(|c| c["name"] == "sleepstudy")
        .expect("sleepstudy");
    let design = rows(&case).design(&[], 0.0).expect("full rank");
    let posterior = Posterior::new(&design, prior()).expect("a posterior");
    let x = [1.0, 4.0];
    for (m, got) in (1..=3).zip(posterior.shares_at(&row(x), [1, 2, 3])) {
        let (mut shares, mut total) = (0.0, 0.0);
        for n in posterior.nodes() {
            let c = n.covariance[0] + 2.0 * x[1] * n.covariance[1] + x[1] * x[1] * n.covariance[2];
            let common = DMatrix::from_element(m, m, n.r * n.r + c);
            let k = DMatrix::identity(m, m) + &common;
            let ones = DVector::from_element(m, 1.0);
            let share = (&common * k.clone().try_inverse().expect("K") * &ones)[0];
            // RSS' = RSS where the runs lie as predicted.
            let weight = n.weight * k.determinant().powf(-0.5) * n.rss.powf(-0.5 * m as f64);
            shares += weight * share;
            total += weight;
        }
        near("share", got, shares / total, 1e-10, 0.0);
    }
}

/// The published sets whose spreads grow: y = intercept + slope·x + (b + e)(x/x̄)^γ.
fn growing(case: &Value) -> (Rows, Vec<f64>) {
    let text = data(
        case["data"]
            .as_str()
            .expect("a data file")
            .trim_start_matches("data/"),
    );
    let mut lines = text.lines();
    let names: Vec<&str> = lines.next().expect("a header").split(',').collect();
    let column = |name: &str| names.iter().position(|n| n.trim_matches('"') == name);
    let (g, x, y) = (column("g"), column("x"), column("y"));
    let mut labels: Vec<String> = Vec::new();
    let (mut group, mut xs, mut ys) = (Vec::new(), Vec::new(), Vec::new());
    for line in lines {
        let cells: Vec<&str> = line.split(',').map(|c| c.trim_matches('"')).collect();
        let label = cells[g.expect("g")].to_string();
        if !labels.contains(&label) {
            labels.push(label.clone());
        }
        group.push(labels.iter().position(|l| *l == label).expect("known"));
        xs.push(cells[x.expect("x")].parse::<f64>().expect("a number"));
        ys.push(cells[y.expect("y")].parse::<f64>().expect("a number"));
    }
    let n = ys.len();
    let mean = xs.iter().sum::<f64>() / n as f64;
    let design = DMatrix::from_fn(n, 2, |i, j| if j == 0 { 1.0 } else { xs[i] });
    let sizes = xs.iter().map(|x| x / mean).collect();
    (Rows::new(design, DVector::from_vec(ys), group), sizes)
}

/// Spreads that grow as a power of a covariate, against lme4 on three published sets at three powers
/// (`tests/reference/data/mixed_growth.json`); the criterion with the Jacobian of the division.
///
/// The criterion of one of them (Loblolly at ½, where a line is a poor model) has two minima; lme4 was started near 0 and
/// gives the first, the search here the lower one. So every set is compared at lme4's θ, and all but that one at our own.
#[test]
fn spreads_that_grow_are_those_of_lme4() {
    let file: Value = serde_json::from_str(&data("mixed_growth.json")).expect("valid JSON");
    let cases = file["cases"].as_array().expect("a list of cases");
    assert_eq!(cases.len(), 9);
    let mut other_minimum = Vec::new();
    for case in cases {
        let gamma = number(&case["gamma"]);
        let name = format!("{} at {gamma}", case["set"].as_str().expect("a name"));
        let (rows, sizes) = growing(case);
        let design = rows
            .divided(&sizes, gamma)
            .design(&[], 0.0)
            .expect("full rank");
        let reml = design.reml().expect("a fit");
        let near = |what: &str, got: f64, want: &Value, relative: f64, absolute: f64| {
            let what = format!("{name}: {what}");
            near(&what, got, number(want), relative, absolute);
        };
        let theta = number(&case["tau"]) / number(&case["sigma"]);
        let fit = design.at(theta).expect("full rank");
        let sigma = (fit.rss / fit.nu).sqrt();
        for (i, coefficient) in ["intercept", "slope"].into_iter().enumerate() {
            let (want, covariance) = (&case[coefficient], fit.covariance());
            near(coefficient, fit.beta[i], &want["estimate"], 1e-6, 0.0);
            near(
                "se",
                sigma * covariance[(i, i)].sqrt(),
                &want["se"],
                1e-5,
                0.0,
            );
        }
        near("sigma", sigma, &case["sigma"], 1e-4, 0.0);
        near(
            "criterion",
            fit.criterion(),
            &case["reml_criterion"],
            0.0,
            1e-6,
        );
        assert!(reml.criterion <= fit.criterion() + 1e-9, "{name}");
        if reml.criterion < fit.criterion() - 1e-6 {
            other_minimum.push(name);
            continue;
        }
        near(
            "intercept",
            reml.beta[0],
            &case["intercept"]["estimate"],
            1e-6,
            0.0,
        );
        near("slope", reml.beta[1], &case["slope"]["estimate"], 1e-6, 0.0);
        near("sigma", reml.sigma, &case["sigma"], 1e-4, 0.0);
        near("tau", reml.tau, &case["tau"], 1e-4, 0.0);
    }
    assert_eq!(other_minimum, ["Loblolly at 0.5"]);
}

/// The weights of the powers follow from the criteria where these tell enough: two powers with the same prior, θ integrated
/// out, against sums over a fine even grid of ln θ of exp(−criterion/2) with the prior, in which σ and β are integrated out
/// by the same formula (Box & Tiao 1973, ch. 5).
#[test]
fn every_power_has_the_weight_of_its_marginal_likelihood() {
    let file: Value = serde_json::from_str(&data("mixed_growth.json")).expect("valid JSON");
    let (rows, sizes) = growing(&file["cases"][3]);
    let shares = [(0.0, 0.25), (0.5, 0.5), (1.0, 0.25)];
    let growths = Growths::new(&rows, &sizes, &shares, &[], 0.0).expect("full rank");
    let posterior = Posterior::averaged(&growths.designs(), prior()).expect("a posterior");
    let marginal = |growth: f64, share: f64| {
        let design = rows
            .divided(&sizes, growth)
            .design(&[], 0.0)
            .expect("full rank");
        let density = |ln_theta: f64| {
            let theta: f64 = f64::exp(ln_theta);
            // −2 ln L with σ profiled out: ν ln RSS + ln|V| + ln|X'V⁻¹X| up to a constant in θ and γ.
            let criterion = design.criterion(theta).expect("full rank") - 280.0;
            let half_t = (1.0 + theta * theta / 4.0).powf(-2.5);
            (-0.5 * criterion).exp() * half_t * theta
        };
        share
            * (-1200..1200)
                .map(|i| density(0.01 * f64::from(i)))
                .sum::<f64>()
    };
    let each = shares.map(|(growth, share)| marginal(growth, share));
    let total: f64 = each.iter().sum();
    for ((growth, weight), want) in posterior.growths().into_iter().zip(each) {
        near(
            &format!("weight of {growth}"),
            weight,
            want / total,
            1e-5,
            1e-9,
        );
    }
    let heaviest = posterior.likeliest_growth();
    assert_eq!(heaviest, 1.0, "lme4's criterion is least at 1");
}

/// With spreads that grow, conditioning on rows of a new group equals refitting with them, and the next row's centre and
/// scale are those of full matrices (`src/model.md`, section 4).
#[test]
fn a_group_in_progress_of_growing_spreads_is_the_one_of_full_matrices() {
    let file: Value = serde_json::from_str(&data("mixed_growth.json")).expect("valid JSON");
    let (rows, sizes) = growing(&file["cases"][5]);
    let shares = [(0.5, 0.5), (1.0, 0.5)];
    let growths = Growths::new(&rows, &sizes, &shares, &[], 0.0).expect("full rank");
    let posterior = Posterior::averaged(&growths.designs(), prior()).expect("a posterior");
    let at = |x: f64| Row {
        x: vec![1.0, x],
        size: x / 922.142_857_142_857,
    };
    let today = [(at(500.0), 60.0), (at(1300.0), 190.0)];
    let next = at(1000.0);
    let group = posterior.group(&today);
    let (mut mean, mut share, mut weights) = (0.0, 0.0, 0.0);
    for node in posterior.nodes() {
        let g = |row: &Row| row.size.powf(node.growth);
        let c = DMatrix::from_row_slice(
            2,
            2,
            &[
                node.covariance[0],
                node.covariance[1],
                node.covariance[1],
                node.covariance[2],
            ],
        );
        let x0 = DMatrix::from_fn(2, 2, |i, j| today[i].0.x[j]);
        let scales = DMatrix::from_fn(2, 2, |i, j| if i == j { g(&today[i].0) } else { 0.0 });
        let within = DMatrix::from_fn(2, 2, |i, j| f64::from(u8::from(i == j)) + node.r * node.r);
        let k = &scales * within * &scales + &x0 * &c * x0.transpose();
        let x = DVector::from_column_slice(&next.x);
        let g0 = g(&next);
        let shared = scales * DVector::from_element(2, node.r * node.r * g0);
        let cross = &x0 * &c * &x + shared;
        let beta = DVector::from_column_slice(&node.beta);
        let e = DVector::from_fn(2, |i, _| today[i].1) - &x0 * &beta;
        let inverse = k.clone().try_inverse().expect("K");
        let rss = node.rss + (e.transpose() * &inverse * &e)[0];
        let nu = posterior.nu();
        let weight = node.weight
            * k.determinant().powf(-0.5)
            * (node.rss.powf(0.5 * nu) * rss.powf(-0.5 * (nu + 2.0)));
        weights += weight;
        mean += weight * (x.dot(&beta) + (cross.transpose() * &inverse * &e)[0]);
        share += weight * (cross.transpose() * &inverse * DVector::from_element(2, 1.0))[0];
    }
    near("mean", group.mean(&next), mean / weights, 1e-9, 0.0);
    near("share", group.share(&next), share / weights, 1e-9, 0.0);
}
