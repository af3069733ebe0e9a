//! NIST Statistical Reference Datasets: univariate and linear least squares, at the digits float64 allows.
//!
//! Certified values: National Institute of Standards and Technology, StRD (public domain). Data and
//! their way here: `data/README.md`. NumAcc1–4 are generated from their definitions.
//! PiDigits is left out: the certified set is not the digits of π throughout (its sum is 22674, that of
//! the first 5000 digits 22679), so it cannot be generated, and the file was not at hand.
#![allow(missing_docs)] // a test program has no public items to document

use overwinter_statistics::fit::{Fit, linear_fit};
use overwinter_statistics::univariate::{Summary, summary};

fn numbers(text: &str) -> Vec<f64> {
    text.lines().map(|l| l.trim().parse().unwrap()).collect()
}

/// Digits of agreement, `−log10 |got − want|/|want|`, at most 15.
fn digits(got: f64, want: f64) -> f64 {
    if got == want { 15.0 } else { -libm::log10(((got - want) / want).abs()).max(-15.0) }
}

/// NumAcc2–4: the centre, then 500 times (centre − 0.1, centre + 0.1).
fn num_acc(centre: &str, low: &str, high: &str) -> Vec<f64> {
    let value = |t: &str| t.parse::<f64>().unwrap();
    let mut values = vec![value(centre)];
    for _ in 0..500 {
        values.push(value(low));
        values.push(value(high));
    }
    values
}

fn check(name: &str, values: &[f64], n: usize, want: [f64; 3], need: [f64; 3]) {
    let Summary { mean, standard_deviation, lag_1_autocorrelation, .. } = summary(values).unwrap();
    assert_eq!(values.len(), n, "{name}");
    let got = [mean, standard_deviation.unwrap(), lag_1_autocorrelation.unwrap()];
    for i in 0..3 {
        let d = digits(got[i], want[i]);
        eprintln!("{name} {i}: {} against {}: {d:.1} digits", got[i], want[i]);
        assert!(d >= need[i], "{name} value {i}: {} against {}: {d:.1} digits", got[i], want[i]);
    }
}

#[test]
fn univariate_sets() {
    // Certified mean, standard deviation, lag-1 autocorrelation; then the digits demanded of each.
    let file = |t| numbers(t);
    check(
        "Lew",
        &file(include_str!("data/nist_lew.txt")),
        200,
        [-177.435, 277.332168044316, -0.307304800605679],
        [14.0, 14.0, 14.0],
    );
    check(
        "Lottery",
        &file(include_str!("data/nist_lottery.txt")),
        218,
        [518.958715596330, 291.699727470969, -0.120948622967393],
        [14.0, 14.0, 14.0],
    );
    // Mavro and Michelso: the decimal data are rounded to binary, which costs digits of the spread.
    check(
        "Mavro",
        &file(include_str!("data/nist_mavro.txt")),
        50,
        [2.001856, 0.000429123454003053, 0.937989183438248],
        [15.0, 12.5, 13.0],
    );
    check(
        "Michelso",
        &file(include_str!("data/nist_michelso.txt")),
        100,
        [299.8524, 0.0790105478190518, 0.535199668621283],
        [14.0, 13.0, 13.0],
    );
    check("NumAcc1", &[10000001.0, 10000003.0, 10000002.0], 3, [10000002.0, 1.0, -0.5], [15.0; 3]);
    check("NumAcc2", &num_acc("1.2", "1.1", "1.3"), 1001, [1.2, 0.1, -0.999], [15.0, 14.0, 14.0]);
    check(
        "NumAcc3",
        &num_acc("1000000.2", "1000000.1", "1000000.3"),
        1001,
        [1000000.2, 0.1, -0.999],
        [15.0, 9.0, 10.0],
    );
    check(
        "NumAcc4",
        &num_acc("10000000.2", "10000000.1", "10000000.3"),
        1001,
        [10000000.2, 0.1, -0.999],
        [15.0, 8.0, 8.5],
    );
}

#[test]
fn num_acc_4_does_not_fall_into_the_one_pass_trap() {
    let values = num_acc("10000000.2", "10000000.1", "10000000.3");
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let one_pass = (values.iter().map(|v| v * v).sum::<f64>() - n * mean * mean) / (n - 1.0);
    // The naive variance is off by more than its own size (or negative: no standard deviation at all).
    assert!((one_pass - 0.01).abs() > 0.01, "the trap does not bite: {one_pass}");
    // The ceiling of the binary data, computed with 50 digits: 0.10000000055879.
    let sd = summary(&values).unwrap().standard_deviation.unwrap();
    assert!((sd - 0.10000000055879354).abs() < 1e-15, "{sd}");
}

fn table(text: &str) -> Vec<Vec<f64>> {
    text.lines().map(|l| l.split(',').map(|f| f.trim().parse().unwrap()).collect()).collect()
}

fn compare(name: &str, fit: &Fit, estimates: &[f64], deviations: &[f64], need: f64) {
    for (i, want) in estimates.iter().enumerate() {
        let (b, s) =
            (digits(fit.parameters[i], *want), digits(fit.standard_uncertainty(i), deviations[i]));
        eprintln!("{name} B{i}: {b:.1} digits, its deviation {s:.1}");
        assert!(b >= need && s >= need, "{name} B{i}: {b:.1} and {s:.1} digits");
    }
}

#[test]
fn linear_sets() {
    let norris = table(include_str!("data/nist_norris.csv"));
    let rows: Vec<Vec<f64>> = norris.iter().map(|r| vec![1.0, r[1]]).collect();
    let y: Vec<f64> = norris.iter().map(|r| r[0]).collect();
    let fit = linear_fit(&rows, &y).unwrap();
    assert_eq!(fit.degrees_of_freedom, 34);
    compare(
        "Norris",
        &fit,
        &[-0.262323073774029, 1.00211681802045],
        &[0.232818234301152, 0.429796848199937e-3],
        12.0,
    );
    assert!(digits(fit.residual_standard_deviation().unwrap(), 0.884796396144373) > 12.0);

    let longley = table(include_str!("data/nist_longley.csv"));
    let y: Vec<f64> = longley.iter().map(|r| r[0]).collect();
    let rows: Vec<Vec<f64>> = longley
        .iter()
        .map(|r| std::iter::once(1.0).chain(r[1..].iter().copied()).collect())
        .collect();
    let fit = linear_fit(&rows, &y).unwrap();
    compare(
        "Longley",
        &fit,
        &[
            -3482258.63459582,
            15.0618722713733,
            -0.358191792925910e-01,
            -2.02022980381683,
            -1.03322686717359,
            -0.511041056535807e-01,
            1829.15146461355,
        ],
        &[
            890420.383607373,
            84.9149257747669,
            0.334910077722432e-01,
            0.488399681651699,
            0.214274163161675,
            0.226073200069370,
            455.478499142212,
        ],
        10.0,
    );
    assert!(digits(fit.residual_sum_of_squares, 836424.055505915) > 11.0);

    let filip = table(include_str!("data/nist_filip.csv"));
    let y: Vec<f64> = filip.iter().map(|r| r[0]).collect();
    let rows: Vec<Vec<f64>> = filip
        .iter()
        .map(|r| (0..11).map(|k| (0..k).fold(1.0, |p, _| p * r[1])).collect())
        .collect();
    let fit = linear_fit(&rows, &y).unwrap();
    // Condition about 1e15: seven digits is what float64 powers of x leave.
    compare(
        "Filip",
        &fit,
        &[
            -1467.48961422980,
            -2772.17959193342,
            -2316.37108160893,
            -1127.97394098372,
            -354.478233703349,
            -75.1242017393757,
            -10.8753180355343,
            -1.06221498588947,
            -0.670191154593408e-01,
            -0.246781078275479e-02,
            -0.402962525080404e-04,
        ],
        &[
            298.084530995537,
            559.779865474950,
            466.477572127796,
            227.204274477751,
            71.6478660875927,
            15.2897178747400,
            2.23691159816033,
            0.221624321934227,
            0.142363763154724e-01,
            0.535617408889821e-03,
            0.896632837373868e-05,
        ],
        7.0,
    );
}
