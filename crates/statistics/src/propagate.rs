//! Propagation beyond the first order: Taylor terms of the next order, and Monte Carlo.

use crate::distribution::Distribution;
use crate::draws::Draws;
use crate::figure::{Figure, SourceId};
use crate::univariate::{quantile_type7, summary};

/// First- and second-order propagation of independent inputs.
#[derive(Clone, Debug, PartialEq)]
pub struct Taylor {
    /// `f` at the values of the inputs.
    pub value: f64,
    /// First-order standard uncertainty.
    pub first_order: f64,
    /// Standard uncertainty with the next terms.
    pub second_order: f64,
    /// The next-order part of the variance per pair of inputs `(i, j, part)`, `i ≤ j`; the parts of
    /// `(i, j)` and `(j, i)` are added up. It can be negative.
    pub second_order_terms: Vec<(usize, usize, f64)>,
}

/// Propagates through `f` to the order of JCGM 100:2008, 5.1.2 note (H.1.7):
/// `Σᵢⱼ [½·(∂²f/∂xᵢ∂xⱼ)² + ∂f/∂xᵢ·∂³f/∂xᵢ∂xⱼ²]·uᵢ²uⱼ²` is added to `Σ(∂f/∂xᵢ·uᵢ)²`.
///
/// Derivatives are central differences with steps of one standard uncertainty: exact for
/// polynomials up to the second degree, else averages over the range that matters.
/// The inputs must be independent of each other and near normal; correlation between them is ignored
/// here, use [`monte_carlo`] for that.
pub fn taylor(inputs: &[Figure], f: impl Fn(&[f64]) -> f64) -> Taylor {
    let x: Vec<f64> = inputs.iter().map(Figure::value).collect();
    let u: Vec<f64> = inputs.iter().map(Figure::standard_uncertainty).collect();
    // With the steps in units of u, every derivative below is already multiplied by its u's.
    let at = |shifts: &[(usize, f64)]| {
        let mut moved = x.clone();
        for (i, steps) in shifts {
            moved[*i] += steps * u[*i];
        }
        f(&moved)
    };
    let centre = f(&x);
    let n = x.len();
    let first: Vec<f64> = (0..n).map(|i| 0.5 * (at(&[(i, 1.0)]) - at(&[(i, -1.0)]))).collect();
    let variance: f64 = first.iter().map(|d| d * d).sum();
    let mut second_order_terms = Vec::new();
    for i in 0..n {
        for j in i..n {
            if u[i] == 0.0 || u[j] == 0.0 {
                continue;
            }
            let part = if i == j {
                let second = at(&[(i, 1.0)]) - 2.0 * centre + at(&[(i, -1.0)]);
                let third = 0.5
                    * (at(&[(i, 2.0)]) - 2.0 * at(&[(i, 1.0)]) + 2.0 * at(&[(i, -1.0)])
                        - at(&[(i, -2.0)]));
                0.5 * second * second + first[i] * third
            } else {
                let (pp, pm) = (at(&[(i, 1.0), (j, 1.0)]), at(&[(i, 1.0), (j, -1.0)]));
                let (mp, mm) = (at(&[(i, -1.0), (j, 1.0)]), at(&[(i, -1.0), (j, -1.0)]));
                let mixed = 0.25 * (pp - pm - mp + mm);
                let third_ijj =
                    0.5 * ((pp - 2.0 * at(&[(i, 1.0)]) + pm) - (mp - 2.0 * at(&[(i, -1.0)]) + mm));
                let third_jii =
                    0.5 * ((pp - 2.0 * at(&[(j, 1.0)]) + mp) - (pm - 2.0 * at(&[(j, -1.0)]) + mm));
                mixed * mixed + first[i] * third_ijj + first[j] * third_jii
            };
            second_order_terms.push((i, j, part));
        }
    }
    let more: f64 = second_order_terms.iter().map(|t| t.2).sum();
    Taylor {
        value: centre,
        first_order: variance.sqrt(),
        second_order: (variance + more).max(0.0).sqrt(),
        second_order_terms,
    }
}

/// A sample of an output by Monte Carlo.
#[derive(Clone, Debug, PartialEq)]
pub struct MonteCarlo {
    /// Mean.
    pub mean: f64,
    /// Standard deviation, the standard uncertainty.
    pub standard_uncertainty: f64,
    /// All values, sorted.
    pub sorted: Vec<f64>,
    /// Draws whose result was not a finite number; they are left out of everything above.
    pub not_finite: usize,
}

impl MonteCarlo {
    /// Makes it from values in any order.
    pub fn from_values(mut values: Vec<f64>) -> Self {
        let all = values.len();
        values.retain(|v| v.is_finite());
        let not_finite = all - values.len();
        values.sort_by(f64::total_cmp);
        let (mean, sd) = summary(&values)
            .map_or((f64::NAN, f64::NAN), |s| (s.mean, s.standard_deviation.unwrap_or(0.0)));
        Self { mean, standard_uncertainty: sd, sorted: values, not_finite }
    }

    /// Probabilistically symmetric coverage interval (JCGM 101:2008, 7.7.2); `None` without values.
    pub fn symmetric_interval(&self, probability: f64) -> Option<(f64, f64)> {
        let tail = 0.5 * (1.0 - probability);
        Some((quantile_type7(&self.sorted, tail)?, quantile_type7(&self.sorted, 1.0 - tail)?))
    }

    /// Shortest coverage interval (JCGM 101:2008, 7.7.4); `None` without values.
    pub fn shortest_interval(&self, probability: f64) -> Option<(f64, f64)> {
        let n = self.sorted.len();
        if n == 0 || !(0.0..=1.0).contains(&probability) {
            return None;
        }
        let width = ((probability * n as f64 + 0.5) as usize).min(n - 1);
        let mut best = (self.sorted[0], self.sorted[width]);
        for (low, high) in self.sorted.iter().zip(&self.sorted[width..]) {
            if high - low < best.1 - best.0 {
                best = (*low, *high);
            }
        }
        Some(best)
    }

    /// The empirical distribution, thinned to at most `knots` quantiles.
    pub fn distribution(&self, knots: usize) -> Option<Distribution> {
        if knots < 2 || self.sorted.is_empty() {
            return None;
        }
        let last = (knots - 1) as f64;
        let table = (0..knots)
            .map(|i| {
                let p = i as f64 / last;
                quantile_type7(&self.sorted, p).map(|v| (p, v))
            })
            .collect::<Option<Vec<_>>>()?;
        Some(Distribution::Empirical(table))
    }
}

/// Propagates distributions through `f` by quasi-random sampling (JCGM 101:2008, clause 7).
///
/// Every source of the inputs is drawn once per trial from its own distribution and enters each input
/// with its sensitivity, so inputs that share a source move together. Sources are numbered in the
/// order of their names, so the sample depends on nothing but the inputs, `f`, `draws` and the seed.
pub fn monte_carlo(
    inputs: &[Figure],
    f: impl Fn(&[f64]) -> f64,
    draws: u32,
    seed: u64,
) -> MonteCarlo {
    let mut names: Vec<&SourceId> =
        inputs.iter().flat_map(|x| x.sources().map(|s| &s.0.id)).collect();
    names.sort();
    names.dedup();
    let index = |id: &SourceId| names.binary_search(&id).unwrap_or(usize::MAX);
    let generator = Draws::new(seed);
    let mut values = vec![0.0; inputs.len() * draws as usize];
    // One source at a time: its deviations are added to every input that has it.
    let mut done = vec![false; names.len()];
    for input in inputs {
        for (source, _) in input.sources() {
            let k = index(&source.id);
            if done[k] {
                continue;
            }
            done[k] = true;
            let column = generator.column(k);
            let users: Vec<(usize, f64)> = inputs
                .iter()
                .enumerate()
                .flat_map(|(i, x)| {
                    x.sources().filter(|s| s.0.id == source.id).map(move |s| (i, s.1))
                })
                .collect();
            for (trial, row) in (0..draws).zip(values.chunks_exact_mut(inputs.len())) {
                let deviation = source.distribution.quantile(column.unit(trial));
                for (i, sensitivity) in &users {
                    row[*i] += sensitivity * deviation;
                }
            }
        }
    }
    let results = if inputs.is_empty() {
        Vec::new()
    } else {
        values
            .chunks_exact_mut(inputs.len())
            .map(|row| {
                for (v, x) in row.iter_mut().zip(inputs) {
                    *v += x.value();
                }
                f(row)
            })
            .collect()
    };
    MonteCarlo::from_values(results)
}
