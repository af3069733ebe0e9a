//! Worked examples of the guides: JCGM 100:2008 (H.1, H.2, H.3, H.5, G.4.1), JCGM 101:2008 (clause 9),
//! EA-4/02 M:2022 (S7, S9, S10). Sources beside each check.
#![allow(missing_docs)] // a test program has no public items to document

use overwinter_statistics::fit::linear_fit;
use overwinter_statistics::propagate::{MonteCarlo, monte_carlo, taylor};
use overwinter_statistics::special::{f_quantile, t_quantile};
use overwinter_statistics::univariate::{Group, anova, covariance, summary};
use overwinter_statistics::{CoverageRule, Distribution, Figure, Source};

fn near(got: f64, want: f64, tolerance: f64, what: &str) {
    assert!((got - want).abs() <= tolerance, "{what}: {got} against {want} ± {tolerance}");
}

/// JCGM 100:2008, H.1: inputs of the end gauge, lengths in nm.
fn end_gauge() -> [Figure; 6] {
    let standard = Figure::with_source(
        50_000_623.0,
        Source::normal("standard", 25.0).with_degrees_of_freedom(18.0),
    );
    // H.1.5 goes on with the rounded 9.7 nm and 25.6 degrees of freedom.
    let difference =
        Figure::with_source(215.0, Source::normal("difference", 9.7).with_degrees_of_freedom(25.6));
    let expansion = Figure::with_source(11.5e-6, Source::rectangular("expansion", 2e-6));
    let temperature = Figure::with_source(-0.1, Source::normal("temperature", 0.41));
    let expansion_difference = Figure::with_source(
        0.0,
        Source::rectangular("expansion difference", 1e-6).with_degrees_of_freedom(50.0),
    );
    let temperature_difference = Figure::with_source(
        0.0,
        Source::rectangular("temperature difference", 0.05).with_degrees_of_freedom(2.0),
    );
    [standard, difference, expansion, temperature, expansion_difference, temperature_difference]
}

/// H.1.3.4: mean temperature with u 0.2 °C and a sinusoidal cycle of amplitude 0.5 °C.
fn theta_parts() -> Figure {
    let cycle = Distribution::Arcsine { centre: 0.0, half_width: 0.5 };
    Figure::exact(-0.1)
        .plus_source(Source::normal("mean temperature", 0.2), 1.0)
        .plus_source(Source::from_distribution("cyclic temperature", cycle), 1.0)
}

fn gauge_length(x: &[f64]) -> f64 {
    x[0] + x[1] - x[0] * (x[4] * x[3] + x[2] * x[5])
}

#[test]
fn gum_h1_end_gauge() {
    let [ls, d, alpha, theta, dalpha, dtheta] = end_gauge();
    // H.1.3.2: the difference from its three parts; 25.6 is printed from u rounded to 9.7, exactly 25.45.
    let parts = Figure::exact(215.0)
        .plus_source(Source::type_a("repeats", 5.8, 24.0), 1.0)
        .plus_source(Source::normal("comparator random", 3.9).with_degrees_of_freedom(5.0), 1.0)
        .plus_source(
            Source::normal("comparator systematic", 6.7).with_degrees_of_freedom(8.0),
            1.0,
        );
    near(parts.standard_uncertainty(), 9.7, 0.05, "u(d)");
    near(parts.degrees_of_freedom(), 25.6, 0.2, "ν(d)");
    // H.1.3.4: mean temperature and a cycle of ±0.5 °C; 0.41 printed, 0.406 exactly.
    near(theta_parts().standard_uncertainty(), 0.41, 0.005, "u(θ)");
    let correction = &ls * &(&(&dalpha * &theta) + &(&alpha * &dtheta));
    let l = &(&ls + &d) - &correction;
    near(l.value(), 50_000_838.0, 1e-6, "l in nm");
    let u = l.standard_uncertainty();
    near(u * u, 1002.95, 0.02, "u² in nm²");
    near(u, 31.67, 0.005, "u");
    let part = |name: &str| {
        l.budget()
            .rows
            .iter()
            .find(|r| r.source.name() == name)
            .map_or(0.0, |r| r.contribution.abs())
    };
    near(part("standard"), 25.0, 1e-6, "standard");
    near(part("expansion difference"), 2.887, 0.001, "δα");
    near(part("temperature difference"), 16.599, 0.001, "δθ");
    near(part("expansion"), 0.0, 0.0, "α");
    near(part("temperature"), 0.0, 0.0, "θ");
    near(l.degrees_of_freedom(), 16.76, 0.05, "ν");
    let c = l.coverage(0.99);
    near(c.factor, 2.921, 5e-4, "t99(16)");
    near(c.expanded, 92.5, 0.05, "U99"); // printed 93 from 2.92 × 32
    let shares: f64 = l.budget().rows.iter().map(|r| r.share).sum();
    near(shares, 1.0, 1e-12, "shares");
}

#[test]
fn gum_h1_second_order_terms() {
    let second = taylor(&end_gauge(), gauge_length);
    near(second.first_order, 31.67, 0.005, "first order");
    near(second.second_order, 33.85, 0.01, "with H.1.7 terms");
    let term = |i, j| {
        let found = second.second_order_terms.iter().find(|t| (t.0, t.1) == (i, j));
        found.map_or(0.0, |t| t.2.sqrt())
    };
    near(term(3, 4), 11.84, 0.01, "δα·θ"); // printed 11.7 with rounded u
    near(term(2, 5), 1.67, 0.005, "α·δθ"); // printed 1.7
}

#[test]
fn gum_h2_correlated_resistance_reactance_impedance() {
    let v = [5.007, 4.994, 5.005, 4.990, 4.999];
    let i = [0.019663, 0.019639, 0.019640, 0.019685, 0.019678];
    let phi = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433];
    let sets = [&v, &i, &phi];
    let means: Vec<f64> = sets.iter().map(|s| summary(*s).unwrap().mean).collect();
    let matrix: Vec<Vec<f64>> = sets
        .iter()
        .map(|a| sets.iter().map(|b| covariance(*a, *b).unwrap() / 5.0).collect())
        .collect();
    let f = Figure::correlated(&means, &matrix, "H.2", 4.0).unwrap();
    let r = |a: &Figure, b: &Figure| a.correlation(b).unwrap();
    near(f[0].standard_uncertainty(), 0.00321, 5e-6, "u(V)");
    near(f[1].standard_uncertainty(), 9.47e-6, 5e-9, "u(I)");
    near(f[2].standard_uncertainty(), 0.000752, 5e-7, "u(φ)");
    near(r(&f[0], &f[1]), -0.355, 5e-4, "r(V,I)");
    near(r(&f[0], &f[2]), 0.858, 5e-4, "r(V,φ)");
    near(r(&f[1], &f[2]), -0.645, 5e-4, "r(I,φ)");
    let z = &f[0] / &f[1];
    let (resistance, reactance) = (&z * &f[2].cos(), &z * &f[2].sin());
    near(resistance.value(), 127.732, 5e-4, "R");
    near(resistance.standard_uncertainty(), 0.0711, 5e-5, "u(R)");
    near(reactance.value(), 219.847, 5e-4, "X");
    near(reactance.standard_uncertainty(), 0.2956, 5e-5, "u(X)");
    near(z.value(), 254.260, 5e-4, "Z");
    near(z.standard_uncertainty(), 0.2363, 5e-5, "u(Z)");
    near(r(&resistance, &reactance), -0.588, 5e-4, "r(R,X)");
    near(r(&resistance, &z), -0.485, 5e-4, "r(R,Z)");
    near(r(&reactance, &z), 0.993, 5e-4, "r(X,Z)");
    // Approach 2: the mean of the values of each set.
    let each: Vec<f64> = (0..5).map(|k| v[k] / i[k] * libm::cos(phi[k])).collect();
    near(summary(&each).unwrap().mean, 127.7316, 5e-5, "R, approach 2");
}

#[test]
fn gum_h3_calibration_line() {
    let t =
        [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511];
    let b =
        [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160];
    let rows: Vec<Vec<f64>> = t.iter().map(|t| vec![1.0, t - 20.0]).collect();
    let fit = linear_fit(&rows, &b).unwrap();
    near(fit.parameters[0], -0.171204, 5e-7, "y1");
    near(fit.standard_uncertainty(0), 0.0028776, 5e-8, "s(y1)");
    near(fit.parameters[1], 0.0021827, 5e-8, "y2");
    near(fit.standard_uncertainty(1), 0.00066794, 5e-9, "s(y2)");
    near(fit.correlation(0, 1), -0.93043, 5e-6, "r");
    near(fit.residual_standard_deviation().unwrap(), 0.0034976, 5e-8, "s");
    let (value, u) = fit.predict(&[1.0, 10.0]);
    near(value, -0.149377, 5e-7, "b(30)");
    near(u, 0.0041386, 5e-8, "u(b(30))");
    near(t_quantile(0.975, 9.0), 2.2622, 5e-5, "t95(9)");
}

#[test]
fn gum_h5_day_to_day() {
    let means = [172e-6, 116e-6, 13e-6, 144e-6, 106e-6, 31e-6, 60e-6, 125e-6, 163e-6, 41e-6];
    let s = [60e-6, 77e-6, 111e-6, 101e-6, 67e-6, 93e-6, 80e-6, 73e-6, 88e-6, 86e-6];
    let groups: Vec<Group> = means
        .iter()
        .zip(s)
        .map(|(m, s)| Group { n: 5, mean: 10.0 + m, standard_deviation: s })
        .collect();
    let a = anova(&groups).unwrap();
    near(a.grand_mean, 10.0000971, 5e-8, "grand mean");
    near(a.between_mean_square.sqrt(), 127.66e-6, 1e-8, "s_a");
    near(a.within_mean_square.sqrt(), 84.89e-6, 1e-8, "s_b");
    near(a.f, 2.2615, 5e-4, "F"); // printed 2.25 from rounded s
    near(f_quantile(0.95, 9.0, 40.0), 2.124, 5e-4, "F95");
    near(f_quantile(0.975, 9.0, 40.0), 2.452, 5e-4, "F97.5");
    near(a.u_between, 18.05e-6, 1e-8, "u between");
    near(a.between_standard_deviation, 42.6e-6, 1e-7, "s_B");
    near(a.u_pooled, 13.32e-6, 1e-8, "u pooled");
    assert!(a.p_value > 0.025 && a.p_value < 0.05, "between F95 and F97.5: {}", a.p_value);
}

#[test]
fn gum_g4_welch_satterthwaite() {
    // Product of three inputs, in percent.
    let y = Figure::exact(100.0)
        .plus_source(Source::type_a("1", 0.25, 9.0), 1.0)
        .plus_source(Source::type_a("2", 0.57, 4.0), 1.0)
        .plus_source(Source::type_a("3", 0.82, 14.0), 1.0);
    near(y.standard_uncertainty(), 1.03, 0.005, "u");
    // 19.0 printed; 19.04 follows from u rounded to 1.03, 18.9987 without rounding.
    near(y.degrees_of_freedom(), 19.0, 0.05, "ν");
    let c = y.coverage(0.95);
    near(c.factor, 2.093, 5e-4, "t95(19)");
    near(c.expanded, 2.15, 0.006, "U95"); // printed 2.2
}

const TRIALS: u32 = 1 << 18;

fn four(source: impl Fn(&str) -> Source) -> Vec<Figure> {
    ["a", "b", "c", "d"].iter().map(|n| Figure::with_source(0.0, source(n))).collect()
}

fn sample(inputs: &[Figure], f: impl Fn(&[f64]) -> f64) -> MonteCarlo {
    monte_carlo(inputs, f, TRIALS, 1)
}

#[test]
fn jcgm_101_9_2_additive() {
    let sum = |x: &[f64]| x.iter().sum();
    let normal = sample(&four(|n| Source::normal(n, 1.0)), sum);
    near(normal.standard_uncertainty, 2.00, 0.005, "9.2.2 u");
    near(normal.symmetric_interval(0.95).unwrap().1, 3.92, 0.01, "9.2.2 interval");
    let flat = four(|n| Source::rectangular(n, 3.0_f64.sqrt()));
    let rectangles = sample(&flat, sum);
    near(rectangles.standard_uncertainty, 2.00, 0.005, "9.2.3 u");
    near(rectangles.symmetric_interval(0.95).unwrap().1, 3.87941, 0.01, "9.2.3 exact");
    // Linear propagation agrees in u and, with k = 1.96, in the interval to 0.04.
    let linear = Figure::function_of(0.0, &flat.iter().map(|x| (x, 1.0)).collect::<Vec<_>>());
    near(linear.standard_uncertainty(), rectangles.standard_uncertainty, 0.005, "linear u");
    near(linear.coverage(0.95).expanded, 3.92, 0.005, "linear U");
    // 9.2.4: one rectangle of sd 10 among three of sd 1.
    let mut inputs = flat;
    inputs[3] = Figure::with_source(0.0, Source::rectangular("d", 10.0 * 3.0_f64.sqrt()));
    let dominated = sample(&inputs, sum);
    near(dominated.standard_uncertainty, 10.15, 0.02, "9.2.4 u");
    near(dominated.symmetric_interval(0.95).unwrap().1, 17.0, 0.05, "9.2.4 Monte Carlo");
    let linear = Figure::function_of(0.0, &inputs.iter().map(|x| (x, 1.0)).collect::<Vec<_>>());
    near(1.959964 * linear.standard_uncertainty(), 19.9, 0.05, "9.2.4 the guide's normal interval");
    // The dominant-rectangle rule sees it: k = 1.65.
    assert_eq!(linear.coverage(0.95).rule, CoverageRule::DominantRectangle);
    near(linear.coverage(0.95).expanded, 16.7, 0.1, "dominant rectangle");
}

#[test]
fn jcgm_101_9_3_mass_calibration() {
    let centred = |centre: f64, half: f64, name: &str| {
        Figure::with_source(centre, Source::rectangular(name, half))
    };
    let inputs = [
        Figure::with_source(100000.0, Source::normal("mR", 0.050)),
        Figure::with_source(1.234, Source::normal("dmR", 0.020)),
        centred(1.2, 0.1, "air"),
        centred(8000.0, 1000.0, "weight"),
        centred(8000.0, 50.0, "reference"),
    ];
    let model = |x: &[f64]| (x[0] + x[1]) * (1.0 + (x[2] - 1.2) * (1.0 / x[3] - 1.0 / x[4])) - 1e5;
    let mc = sample(&inputs, model);
    near(mc.mean, 1.2340, 5e-4, "mean");
    near(mc.standard_uncertainty, 0.0755, 3e-4, "u");
    let (low, high) = mc.symmetric_interval(0.95).unwrap();
    near(low, 1.0844, 1e-3, "low");
    near(high, 1.3837, 1e-3, "high");
    let (short_low, short_high) = mc.shortest_interval(0.95).unwrap();
    near(short_high - short_low, 0.2991, 1e-3, "shortest width");
    // First order sees nothing of the buoyancy term and is too small; the next order mends it.
    let second = taylor(&inputs, model);
    near(second.first_order, 0.0539, 5e-5, "first order");
    assert!(second.first_order < 0.75 * mc.standard_uncertainty);
    near(second.second_order, mc.standard_uncertainty, 0.0005, "with higher-order terms");
}

#[test]
fn jcgm_101_9_4_comparison_loss() {
    for (x1, mean, u, tolerance) in [
        (0.0, 50e-6, 50e-6, 3e-7),
        (0.010, 150e-6, 111.8e-6, 4e-7),
        (0.050, 2550e-6, 502.5e-6, 1.5e-6),
    ] {
        let inputs = [
            Figure::with_source(x1, Source::normal("x1", 0.005)),
            Figure::with_source(0.0, Source::normal("x2", 0.005)),
        ];
        let model = |x: &[f64]| x[0] * x[0] + x[1] * x[1];
        let mc = sample(&inputs, model);
        near(mc.mean, mean, tolerance, "mean");
        near(mc.standard_uncertainty, u, tolerance, "u");
        let linear = &(&inputs[0] * &inputs[0]) + &(&inputs[1] * &inputs[1]);
        near(linear.standard_uncertainty(), 2.0 * x1 * 0.005, 1e-15, "first order");
        let second = taylor(&inputs, model);
        near(second.second_order, u, 0.05e-6, "second order is exact here");
        if x1 == 0.0 {
            let (low, high) = mc.shortest_interval(0.95).unwrap();
            near(low, 0.0, 1e-8, "shortest low");
            near(high, 149.79e-6, 1e-6, "shortest high"); // −2u²·ln 0.05
        } else if x1 == 0.010 {
            assert!(linear.standard_uncertainty() < 0.9 * mc.standard_uncertainty);
        }
    }
}

#[test]
fn jcgm_101_9_5_gauge_block() {
    // Input distributions of table 10 of JCGM 101:2008, lengths in nm.
    let t = |name: &str, u: f64, dof: f64| Source::type_a(name, u, dof);
    let curvilinear = |name: &str, half_width: f64, margin: f64| {
        Source::from_distribution(
            name,
            Distribution::CurvilinearTrapezoid { centre: 0.0, half_width, margin },
        )
    };
    let inputs = [
        Figure::with_source(50_000_623.0, t("Ls", 25.0, 18.0)),
        Figure::exact(215.0)
            .plus_source(t("D", 6.0, 24.0), 1.0)
            .plus_source(t("d1", 4.0, 5.0), 1.0)
            .plus_source(t("d2", 7.0, 8.0), 1.0),
        Figure::with_source(11.5e-6, Source::rectangular("alpha", 2e-6)),
        theta_parts(),
        Figure::with_source(0.0, curvilinear("dalpha", 1e-6, 0.1e-6)),
        Figure::with_source(0.0, curvilinear("dtheta", 0.050, 0.025)),
    ];
    let mc = sample(&inputs, |x| gauge_length(x) - 50_000_000.0);
    near(mc.mean, 838.0, 0.5, "mean");
    near(mc.standard_uncertainty, 35.8, 0.3, "u"); // printed 36
    let (low, high) = mc.symmetric_interval(0.99).unwrap();
    near(low, 744.0, 2.0, "99 % low");
    near(high, 932.0, 2.0, "99 % high");
}

#[test]
fn ea_4_02_s9_hand_held_meter() {
    let error = Figure::exact(0.10)
        .plus_source(Source::normal("calibrator", 0.001), -1.0)
        .plus_source(Source::rectangular("resolution", 0.05), 1.0)
        .plus_source(Source::rectangular("calibrator specification", 0.011), -1.0);
    near(error.standard_uncertainty(), 0.02957, 5e-6, "u"); // printed 0.030
    let c = error.coverage(0.95);
    assert_eq!(c.rule, CoverageRule::DominantRectangle);
    near(c.factor, 1.65, 0.005, "k");
    near(c.expanded, 0.0488, 2e-4, "U"); // printed 0.05
    let mc = sample(&[error], |x| x[0]);
    let (low, high) = mc.symmetric_interval(0.95).unwrap();
    near(0.5 * (high - low), 0.0506, 2e-4, "Monte Carlo half-width");
}

#[test]
fn ea_4_02_s10_two_dominant_rectangles() {
    // Vernier caliper: steel tape 0.81 µm, temperature 1.15 µm (rectangles 2 K apart), vernier
    // resolution ±25 µm, mechanical effects ±50 µm; printed u 33 µm, k 1.83, U 0.06 mm. Inputs from memory.
    let error = Figure::exact(0.0)
        .plus_source(Source::rectangular("block", 0.8), 1.0)
        .plus_source(Source::rectangular("temperature", 2.0), 1.0)
        .plus_source(Source::rectangular("resolution", 25.0), 1.0)
        .plus_source(Source::rectangular("mechanical", 50.0), 1.0);
    near(error.standard_uncertainty(), 32.3, 0.8, "u");
    let c = error.coverage(0.95);
    assert_eq!(c.rule, CoverageRule::DominantTrapezoid);
    near(c.factor, 1.83, 0.005, "k");
}
