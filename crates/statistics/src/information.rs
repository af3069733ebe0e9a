//! Value of information for a choice: which unknown is worth finding out.
//!
//! From one Monte Carlo sample of inputs and outcomes the expected value of partial perfect
//! information about an input `φ` is `E_φ[max_d E(outcome_d | φ)] − max_d E(outcome_d)`; the inner
//! expectation is estimated by regression of the outcomes on `φ`, so no inner simulation is needed.
//!
//! Source: Strong, Oakley & Brennan 2014, Medical Decision Making 34:311–326 (regression estimate);
//! Strong & Oakley 2014. Here the regression is a cubic spline in the normal score of the input with
//! knots at −1, 0 and 1 (seven coefficients); inputs with eight distinct values or fewer (unknown
//! traits) take the mean of each value instead.

use crate::draws::Draws;
use crate::special::normal_quantile;

/// Why the value of information could not be computed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum InformationError {
    /// No options, no draws, or columns of different length.
    #[error("need at least one option and {need} draws in every column, got {got}")]
    Shape {
        /// Draws expected.
        need: usize,
        /// Draws found.
        got: usize,
    },
    /// A value is not finite.
    #[error("draw {draw} of column {column} is not a finite number")]
    NotFinite {
        /// Column, inputs first, then outcomes.
        column: usize,
        /// Draw.
        draw: usize,
    },
}

/// What knowing one input is worth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InputValue {
    /// Expected gain of the best choice, in the unit of the outcomes.
    pub expected_gain: f64,
    /// Standard error of the gain from the number of draws (regression error not included).
    pub standard_error: f64,
    /// Probability that the answer changes the choice.
    pub flip_probability: f64,
    /// The option most often chosen instead; `None` when the choice never flips.
    pub flips_to: Option<usize>,
}

/// The choice as it stands and what each input is worth.
#[derive(Clone, Debug, PartialEq)]
pub struct ValueOfInformation {
    /// Option with the largest expected outcome now.
    pub choice: usize,
    /// Its expected outcome.
    pub expected_outcome: f64,
    /// Gain if everything were known: an upper limit for any test.
    pub perfect_information: f64,
    /// Mean gain that the same estimate gives to random numbers that have nothing to do with the
    /// choice: gains near it are noise of the regression (matters when options are nearly tied).
    pub noise_floor: f64,
    /// One entry per input.
    pub inputs: Vec<InputValue>,
}

/// Below this many distinct values an input is treated as categories.
const CATEGORIES: usize = 8;
/// Unrelated inputs behind the noise floor.
const DUMMIES: u64 = 4;
const KNOTS: [f64; 3] = [-1.0, 0.0, 1.0];
const BASIS: usize = 4 + KNOTS.len();

/// Value of information from a sample: `inputs[q][i]` and `outcomes[d][i]` for draw `i`.
///
/// The outcomes of all options must come from the same draws. Cost `O(n·q·(log n + 7·options))`.
///
/// # Errors
/// Columns that do not fit or are empty; values that are not finite.
pub fn value_of_information(
    inputs: &[&[f64]],
    outcomes: &[&[f64]],
) -> Result<ValueOfInformation, InformationError> {
    let n = outcomes.first().map_or(0, |c| c.len());
    if n == 0 {
        return Err(InformationError::Shape { need: 1, got: 0 });
    }
    for (column, values) in inputs.iter().chain(outcomes).enumerate() {
        if values.len() != n {
            return Err(InformationError::Shape { need: n, got: values.len() });
        }
        if let Some(draw) = values.iter().position(|v| !v.is_finite()) {
            return Err(InformationError::NotFinite { column, draw });
        }
    }
    let count = n as f64;
    let means: Vec<f64> = outcomes.iter().map(|c| c.iter().sum::<f64>() / count).collect();
    let choice = index_of_largest(&means);
    let perfect: f64 = (0..n)
        .map(|i| outcomes.iter().map(|c| c[i]).fold(f64::NEG_INFINITY, f64::max))
        .sum::<f64>()
        / count;
    let scores = scores_by_rank(n);
    let values = inputs
        .iter()
        .map(|input| value_of_input(input, outcomes, &means, choice, &scores))
        .collect();
    let noise_floor = (0..DUMMIES)
        .map(|k| {
            let mut dummy = vec![0.0; n];
            // Far beyond any dimension in use, so that it is unrelated to the inputs.
            Draws::new(0x6475_6d6d_7900 + k).fill(1_000_000, 0, &mut dummy);
            value_of_input(&dummy, outcomes, &means, choice, &scores).expected_gain
        })
        .sum::<f64>()
        / DUMMIES as f64;
    Ok(ValueOfInformation {
        choice,
        expected_outcome: means[choice],
        perfect_information: (perfect - means[choice]).max(0.0),
        noise_floor,
        inputs: values,
    })
}

/// First index of the largest value.
fn index_of_largest(values: &[f64]) -> usize {
    let mut best = 0;
    for (i, v) in values.iter().enumerate() {
        if *v > values[best] {
            best = i;
        }
    }
    best
}

/// Normal scores `Φ⁻¹((r + ½)/n)`.
fn scores_by_rank(n: usize) -> Vec<f64> {
    (0..n).map(|r| normal_quantile((r as f64 + 0.5) / n as f64)).collect()
}

fn value_of_input(
    input: &[f64],
    outcomes: &[&[f64]],
    means: &[f64],
    choice: usize,
    scores: &[f64],
) -> InputValue {
    let n = input.len();
    let mut order: Vec<u32> = (0..n as u32).collect();
    order.sort_unstable_by(|a, b| {
        input[*a as usize].total_cmp(&input[*b as usize]).then_with(|| a.cmp(b))
    });
    let distinct =
        1 + order.windows(2).filter(|w| input[w[0] as usize] != input[w[1] as usize]).count();
    let fitted: Vec<Vec<f64>> = if distinct == 1 {
        means.iter().map(|m| vec![*m; n]).collect()
    } else if distinct <= CATEGORIES {
        outcomes.iter().map(|c| category_means(c, input, &order)).collect()
    } else {
        let basis = orthonormal_basis(&order, input, scores);
        outcomes.iter().map(|c| project(&basis, c)).collect()
    };
    let mut gain = 0.0;
    let mut gain_squares = 0.0;
    let mut flips = vec![0_usize; outcomes.len()];
    for i in 0..n {
        let mut best = choice;
        for (d, column) in fitted.iter().enumerate() {
            if column[i] > fitted[best][i] {
                best = d;
            }
        }
        if best != choice {
            flips[best] += 1;
            gain += fitted[best][i] - fitted[choice][i];
            let realised = outcomes[best][i] - outcomes[choice][i];
            gain_squares += realised * realised;
        }
    }
    let count = n as f64;
    let mean = gain / count;
    let variance = (gain_squares / count - mean * mean).max(0.0);
    let flipped: usize = flips.iter().sum();
    let most: Vec<f64> = flips.iter().map(|f| *f as f64).collect();
    InputValue {
        expected_gain: mean,
        standard_error: (variance / count).sqrt(),
        flip_probability: flipped as f64 / count,
        flips_to: (flipped > 0).then(|| index_of_largest(&most)),
    }
}

/// Mean of `outcome` among equal values of `input`.
fn category_means(outcome: &[f64], input: &[f64], order: &[u32]) -> Vec<f64> {
    let mut fitted = vec![0.0; outcome.len()];
    for group in order.chunk_by(|a, b| input[*a as usize] == input[*b as usize]) {
        let mean = group.iter().map(|i| outcome[*i as usize]).sum::<f64>() / group.len() as f64;
        for i in group {
            fitted[*i as usize] = mean;
        }
    }
    fitted
}

/// Cubic spline basis in the normal score, made orthonormal (modified Gram–Schmidt).
fn orthonormal_basis(order: &[u32], input: &[f64], scores: &[f64]) -> Vec<Vec<f64>> {
    let n = order.len();
    let mut z = vec![0.0; n];
    let mut rank = 0;
    for group in order.chunk_by(|a, b| input[*a as usize] == input[*b as usize]) {
        // Ties take the mean score of their ranks.
        let members = &scores[rank..rank + group.len()];
        let score = members.iter().sum::<f64>() / group.len() as f64;
        for i in group {
            z[*i as usize] = score;
        }
        rank += group.len();
    }
    let mut basis: Vec<Vec<f64>> = Vec::with_capacity(BASIS);
    for k in 0..BASIS {
        let mut column: Vec<f64> = z
            .iter()
            .map(|z| match k {
                0 => 1.0,
                1 => *z,
                2 => z * z,
                3 => z * z * z,
                _ => {
                    let d = (z - KNOTS[k - 4]).max(0.0);
                    d * d * d
                }
            })
            .collect();
        let before = norm(&column);
        for q in &basis {
            let dot: f64 = q.iter().zip(&column).map(|(a, b)| a * b).sum();
            column.iter_mut().zip(q).for_each(|(c, a)| *c -= dot * a);
        }
        let after = norm(&column);
        // A column that adds nothing (few distinct values) is left out.
        if after > 1e-9 * before {
            for c in &mut column {
                *c /= after;
            }
            basis.push(column);
        }
    }
    basis
}

fn norm(v: &[f64]) -> f64 {
    v.iter().map(|x| x * x).sum::<f64>().sqrt()
}

/// Projection of `outcome` on the basis: the regression estimate of its conditional expectation.
fn project(basis: &[Vec<f64>], outcome: &[f64]) -> Vec<f64> {
    let mut fitted = vec![0.0; outcome.len()];
    for q in basis {
        let dot: f64 = q.iter().zip(outcome).map(|(a, b)| a * b).sum();
        fitted.iter_mut().zip(q).for_each(|(f, a)| *f += dot * a);
    }
    fitted
}
