//! Quantiles, special functions, distributions and a nonlinear fit against scipy 1.17.1
//! (`scipy.stats`, `scipy.special`, `scipy.optimize.curve_fit`).
#![allow(missing_docs)] // a test program has no public items to document

use overwinter_statistics::Distribution;
use overwinter_statistics::fit::{nonlinear_fit, weighted_fit};
use overwinter_statistics::special::{f_quantile, incomplete_beta, proportion_bounds, t_quantile};

fn relative(got: f64, want: f64, tolerance: f64) {
    let error = if want == 0.0 { got.abs() } else { (got / want - 1.0).abs() };
    assert!(error < tolerance, "{got} against {want}: {error:e}");
}

#[test]
fn quantiles_and_special_functions() {
    for (p, n, t) in [
        (0.9, 1.0, 3.0776835371752544),
        (0.975, 1.5, 6.016663104427929),
        (0.999, 3.0, 10.214531852407383),
        (0.6, 4.7, 0.2680827195410317),
        (1e-6, 2.2, -414.4436220475254),
        (0.95, 16.76, 1.7410410427913614),
        (0.975, 200.0, 1.9718962236339088),
    ] {
        relative(t_quantile(p, n), t, 1e-11);
    }
    relative(f_quantile(0.95, 9.0, 40.0), 2.1240292640166953, 1e-11);
    relative(f_quantile(0.5, 3.3, 7.0), 0.8908083534731105, 1e-11);
    relative(f_quantile(0.99, 1.0, 5.0), 16.25817703983365, 1e-11);
    relative(incomplete_beta(0.2, 2.5, 7.1), 0.3742915086614234, 1e-12);
    relative(incomplete_beta(0.41, 300.0, 450.0), 0.7130475940616916, 1e-12);
}

#[test]
fn exact_binomial_bounds() {
    // scipy.stats.binomtest(k, n).proportion_ci(0.95, 'exact')
    for (k, n, low, high) in [
        (0, 20, 0.0, 0.16843347098308548),
        (1, 20, 0.0012650894979560339, 0.24873276277202772),
        (3, 20, 0.03207093718554477, 0.37892682654529564),
        (20, 20, 0.8315665290169145, 1.0),
        (7, 60, 0.048214841871314335, 0.2257161531456925),
    ] {
        let b = proportion_bounds(k, n, 0.95).unwrap();
        relative(b.low, low, 1e-10);
        relative(b.high, high, 1e-10);
    }
}

#[test]
fn distributions() {
    let cases = [
        (
            Distribution::Normal { mean: 3.0, sd: 2.0 },
            [-1.6526957480816815, 1.9511989745839182, 5.563103131089201],
            3.0,
            2.0,
        ),
        (
            Distribution::Trapezoid { centre: 2.0, half_width: 1.5, top: 0.4 },
            [0.6944222209522357, 1.58, 2.885182954042424],
            2.0,
            0.6595452979136456,
        ),
        (
            Distribution::Triangular { low: 0.0, mode: 1.0, high: 5.0 },
            [0.22360679774997896, 1.258342613226059, 3.585786437626905],
            2.0,
            1.0801234497346435,
        ),
        (
            Distribution::Arcsine { centre: 0.1, half_width: 2.0 },
            [-1.8990131207314631, -1.0755705045849462, 2.0021130325903074],
            0.1,
            2.0_f64.sqrt(),
        ),
        (
            Distribution::LogNormal { median: 12.0, factor: 1.2 },
            [7.851960797687203, 10.905825891720141, 15.158495385783073],
            12.201113582452315,
            2.243141137596152,
        ),
        (
            Distribution::Normal { mean: 1.0, sd: 2.0 }.not_below_zero(),
            [0.0390912178967755, 1.0801145958310536, 3.9643593568818147],
            2.018320867674067,
            1.394525633606449,
        ),
        (
            Distribution::StudentT { location: 1.0, scale: 0.5, degrees_of_freedom: 5.0 },
            [-0.682464999453609, 0.7202851777653199, 1.7379420244122408],
            1.0,
            0.6454972243679028,
        ),
    ];
    for (d, quantiles, mean, sd) in cases {
        for (p, q) in [0.01, 0.3, 0.9].into_iter().zip(quantiles) {
            relative(d.quantile(p), q, 1e-11);
        }
        relative(d.mean(), mean, 1e-11);
        relative(d.sd(), sd, 1e-11);
    }
}

#[test]
fn nonlinear_fit_of_a_settling_curve() {
    let y = [
        16.56, 15.564, 14.883, 14.359, 13.974, 13.603, 13.328, 13.133, 13.071, 13.01, 12.862,
        12.727, 12.695,
    ];
    let fit = nonlinear_fit(
        |b, i| b[0] + b[1] * libm::exp(-5.0 * i as f64 / b[2]),
        &y,
        None,
        &[12.0, 3.0, 20.0],
        &[10.0, 1.0, 10.0],
    )
    .unwrap();
    let parameters = [12.56422861064714, 3.9704676684670415, 18.75150089419634];
    let deviations = [0.03857926130646206, 0.04449309131377208, 0.5910734536717133];
    for i in 0..3 {
        relative(fit.parameters[i], parameters[i], 1e-7);
        relative(fit.standard_uncertainty(i), deviations[i], 1e-5);
    }
}

#[test]
fn weighted_line() {
    // Weighted normal equations in exact rational arithmetic (Python's fractions).
    let rows: Vec<Vec<f64>> = [3.25, 3.5, 3.8, 4.15].iter().map(|x| vec![1.0, *x]).collect();
    let fit = weighted_fit(&rows, &[21.9, 23.4, 25.3, 27.2], &[0.3, 0.2, 0.2, 0.4]).unwrap();
    relative(fit.parameters[0], 2.3466908563134976, 1e-13);
    relative(fit.parameters[1], 6.022351233671988, 1e-13);
    relative(fit.covariance[0][0], 2.98366908563135, 1e-12);
    relative(fit.covariance[0][1], -0.8177648766328012, 1e-12);
    relative(fit.residual_sum_of_squares, 0.2580914368650218, 1e-11);
}
