//! Propagation beyond the first order: Taylor terms of the next order, and Monte Carlo.

use crate::distribution::Distribution;
use crate::draws::Draws;
use crate::figure::Figure;
use crate::sampler::Sampler;
use crate::source::{Source, SourceId};
use crate::univariate::{quantile_type7, summary};
use std::collections::BTreeMap;

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

/// Draws several figures together: `result[figure][draw]`.
///
/// Every source is drawn once per trial from its own distribution and enters each figure with its
/// sensitivity, so figures that share a source (a range's gain, a module's reading) move together.
/// Sources take dimensions from `first_dimension` on, in the order of their names, so the sample
/// depends on nothing but the figures, `draws`, the generator and the dimension; their number is the
/// second result.
pub fn joint_sample(
    figures: &[Figure],
    draws: u32,
    generator: &Draws,
    first_dimension: usize,
) -> (Vec<Vec<f64>>, usize) {
    /// Figure and sensitivity of each use of a source.
    type Uses = Vec<(usize, f64)>;
    let mut users: BTreeMap<&SourceId, (&Source, Uses)> = BTreeMap::new();
    for (i, figure) in figures.iter().enumerate() {
        for (source, sensitivity) in figure.sources() {
            let entry = users.entry(&source.id).or_insert_with(|| (source, Vec::new()));
            entry.1.push((i, sensitivity));
        }
    }
    let mut columns: Vec<Vec<f64>> =
        figures.iter().map(|f| vec![f.value(); draws as usize]).collect();
    let mut deviations = vec![0.0; draws as usize];
    for (k, (source, users)) in users.values().enumerate() {
        generator.fill(first_dimension + k, 0, &mut deviations);
        let sampler = Sampler::new(&source.distribution);
        for d in &mut deviations {
            *d = sampler.quantile(*d);
        }
        for (i, sensitivity) in users {
            for (value, d) in columns[*i].iter_mut().zip(&deviations) {
                *value += sensitivity * d;
            }
        }
    }
    (columns, users.len())
}

/// Propagates distributions through `f` by quasi-random sampling (JCGM 101:2008, clause 7), the
/// inputs drawn by [`joint_sample`].
pub fn monte_carlo(
    inputs: &[Figure],
    f: impl Fn(&[f64]) -> f64,
    draws: u32,
    seed: u64,
) -> MonteCarlo {
    let (columns, _) = joint_sample(inputs, draws, &Draws::new(seed), 0);
    let mut row = vec![0.0; inputs.len()];
    let results = (0..draws as usize)
        .map(|trial| {
            for (value, column) in row.iter_mut().zip(&columns) {
                *value = column[trial];
            }
            f(&row)
        })
        .collect();
    MonteCarlo::from_values(results)
}
