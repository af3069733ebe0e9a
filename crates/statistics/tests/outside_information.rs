//! Partial perfect information by regression against a brute two-level Monte Carlo and a closed form.
//! Source of the estimate: Strong, Oakley & Brennan 2014; of the closed form: unit normal loss (Raiffa &
//! Schlaifer 1961).
#![allow(missing_docs)] // a test program has no public items to document

use overwinter_statistics::information::value_of_information;
use overwinter_statistics::special::{normal_cdf, normal_density, normal_quantile};
use overwinter_statistics::{Distribution, Draws};

#[test]
fn two_normal_options_in_closed_form() {
    // Option 0 is worth 100 + 20 z₁, option 1 90 + 30 z₂ + noise of 200 that nobody can learn.
    // Knowing z₁ alone: E max(100 + 20 z, 90) − 100 = 20·(φ(½) − ½·Φ(−½)).
    let n = 1 << 14;
    let draws = Draws::new(7);
    let z = |k: usize| -> Vec<f64> {
        let column = draws.column(k);
        (0..n).map(|i| normal_quantile(column.unit(i))).collect()
    };
    let (z1, z2, z3) = (z(0), z(1), z(2));
    let first: Vec<f64> = z1.iter().map(|z| 100.0 + 20.0 * z).collect();
    let second: Vec<f64> = z2.iter().zip(&z3).map(|(a, b)| 90.0 + 30.0 * a + 200.0 * b).collect();
    let v = value_of_information(&[&z1, &z2], &[&first, &second]).unwrap();
    assert_eq!(v.choice, 0);
    for (k, spread, loss) in [(0, 20.0, 0.5), (1, 30.0, 1.0 / 3.0)] {
        let exact = spread * (normal_density(loss) - loss * normal_cdf(-loss));
        let got = v.inputs[k];
        assert!((got.expected_gain / exact - 1.0).abs() < 0.05, "{got:?} against {exact}");
        assert!((got.flip_probability - normal_cdf(-loss)).abs() < 0.03, "{got:?}");
        assert_eq!(got.flips_to, Some(1));
    }
    assert!(v.perfect_information > v.inputs[1].expected_gain);
}

/// A lifetime in days: charge over mean current, with an unknown trait that triples the sleep current.
fn lives(x: &[f64]) -> [f64; 3] {
    let charge = 2.5 * x[4];
    let wake = x[3];
    [
        charge / (24e-6 * (12.0 + wake) * x[0]),
        charge / (24e-6 * (25.0 * x[1] + wake * 0.95)),
        charge / (24e-6 * (10.0 * (1.0 + 2.0 * x[2]) + wake)),
    ]
}

#[test]
fn regression_agrees_with_brute_two_level_sampling() {
    let distributions = [
        Distribution::LogNormal { median: 1.0, factor: 1.15 },
        Distribution::LogNormal { median: 1.0, factor: 1.3 },
        Distribution::Bernoulli { probability: 0.4 },
        Distribution::LogNormal { median: 40.0, factor: 1.4 },
        Distribution::Uniform { centre: 0.9, half_width: 0.05 },
    ];
    let n = 1 << 14;
    let q = distributions.len();
    let draw = |draws: &Draws, i: u32| -> Vec<f64> {
        (0..q).map(|k| distributions[k].quantile(draws.unit(i, k))).collect()
    };
    let draws = Draws::new(3);
    let rows: Vec<Vec<f64>> = (0..n).map(|i| draw(&draws, i)).collect();
    let inputs: Vec<Vec<f64>> = (0..q).map(|k| rows.iter().map(|r| r[k]).collect()).collect();
    let outcomes: Vec<Vec<f64>> =
        (0..3).map(|d| rows.iter().map(|r| lives(r)[d]).collect()).collect();
    let a: Vec<&[f64]> = inputs.iter().map(Vec::as_slice).collect();
    let b: Vec<&[f64]> = outcomes.iter().map(Vec::as_slice).collect();
    let v = value_of_information(&a, &b).unwrap();
    println!("choice {} {:.1}", v.choice, v.expected_outcome);

    for k in 0..q {
        // Outer: 256 values of the input; inner: 512 draws of the rest.
        let (outer, inner) = (256_u32, 512_u32);
        let inner_draws = Draws::new(11);
        let inner_rows: Vec<Vec<f64>> = (0..inner).map(|i| draw(&inner_draws, i)).collect();
        let (mut best, mut means) = (0.0, [0.0; 3]);
        for o in 0..outer {
            let fixed = distributions[k].quantile((f64::from(o) + 0.5) / f64::from(outer));
            let mut conditional = [0.0; 3];
            for row in &inner_rows {
                let mut x = row.clone();
                x[k] = fixed;
                for (c, l) in conditional.iter_mut().zip(lives(&x)) {
                    *c += l / f64::from(inner);
                }
            }
            best += conditional.iter().copied().fold(f64::MIN, f64::max) / f64::from(outer);
            for (m, c) in means.iter_mut().zip(conditional) {
                *m += c / f64::from(outer);
            }
        }
        let brute = best - means.iter().copied().fold(f64::MIN, f64::max);
        let got = v.inputs[k].expected_gain;
        println!(
            "input {k}: regression {got:.4} brute {brute:.4} flip {:.3}",
            v.inputs[k].flip_probability
        );
        let tolerance = 0.05 * brute + 3e-4 * v.expected_outcome;
        assert!((got - brute).abs() < tolerance, "input {k}: regression {got} brute {brute}");
    }
}

#[test]
fn an_unrelated_input_stays_at_the_noise_floor_when_options_are_tied() {
    let n = 1 << 13;
    let draws = Draws::new(21);
    let z = |k: usize| -> Vec<f64> {
        let column = draws.column(k);
        (0..n).map(|i| normal_quantile(column.unit(i))).collect()
    };
    let life = |k: usize| -> Vec<f64> { z(k).iter().map(|z| 300.0 + 50.0 * z).collect() };
    let (unrelated, a, b) = (z(0), life(1), life(2));
    let v = value_of_information(&[&unrelated], &[&a, &b]).unwrap();
    // Nothing to be gained in truth; what is left is the regression's noise, of the floor's size.
    assert!(v.inputs[0].expected_gain < 3.0 * v.noise_floor, "{v:?}");
    assert!(v.noise_floor > 0.0 && v.noise_floor < 2.0, "{v:?}");
}
