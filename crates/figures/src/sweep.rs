//! A voltage sweep taken apart: constant, ohmic, converter-like, diode-like and dropout parts.
//!
//! Every subset of the parts that the data can carry is fitted by weighted least squares with
//! non-negative coefficients; the subsets are compared by Akaike's criterion (Burnham & Anderson 2002,
//! Model Selection and Multimodel Inference, chapter 2), which with known uncertainties is `χ² + 2k`.

use overwinter_statistics::Figure;
use overwinter_statistics::fit::{Fit, weighted_fit};
use overwinter_statistics::special::normal_cdf;

/// A part of the current with its own dependence on the supply voltage.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum PartKind {
    /// Independent of the voltage: regulator ground current, clock chip.
    Constant,
    /// Proportional to the voltage: dividers, pull-ups.
    Ohmic,
    /// Inversely proportional: a load behind a converter.
    Converter,
    /// `(V − V_f)/R` above a forward voltage: light-emitting diode.
    Diode,
    /// Rises as the voltage falls below an onset: regulator in dropout.
    Dropout,
}

/// One point of the sweep.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SweepPoint {
    /// Supply voltage at the board, V.
    pub voltage_v: f64,
    /// Current, A.
    pub current_a: f64,
    /// Standard uncertainty of the current against the other points of the sweep, A. A gain or offset
    /// shared by the whole sweep does not belong in here.
    pub standard_uncertainty_a: f64,
}

/// A part as fitted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FittedPart {
    /// Which part.
    pub kind: PartKind,
    /// Its current at the reference voltage (for dropout: at the lowest voltage of the sweep), A.
    pub current_a: f64,
    /// Standard uncertainty of that from the fit, A.
    pub standard_uncertainty_a: f64,
    /// Forward voltage or onset, V, where the part has one.
    pub knee_v: Option<f64>,
}

/// One way to explain the sweep.
#[derive(Clone, Debug, PartialEq)]
pub struct Explanation {
    /// Its parts.
    pub parts: Vec<FittedPart>,
    /// χ² of the fit.
    pub chi_squared: f64,
    /// Degrees of freedom left, counting knees as parameters; 0: fits anything, proves nothing.
    pub degrees_of_freedom: usize,
    /// Akaike weight among the explanations listed.
    pub weight: f64,
}

/// What the sweep says.
#[derive(Clone, Debug, PartialEq)]
pub struct Sweep {
    /// Voltage the parts are quoted at, V.
    pub reference_v: f64,
    /// Explanations, likeliest first, those below 1 % of the best left out.
    pub explanations: Vec<Explanation>,
    /// Weight of each kind over all explanations: how surely it is there.
    pub presence: Vec<(PartKind, f64)>,
    /// Current of each kind at the reference, averaged over the explanations with the spread between
    /// them in its uncertainty: `(kind, A, u A)`.
    pub averaged: Vec<(PartKind, f64, f64)>,
    /// Pairs of kinds that replace each other in two explanations of like weight (ratio below 3):
    /// these data cannot tell them apart.
    pub cannot_separate: Vec<(PartKind, PartKind)>,
}

/// Why a sweep could not be taken apart.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SweepError {
    /// Fewer than two different voltages.
    #[error("need at least two different voltages, got {got}")]
    TooFew {
        /// Different voltages.
        got: usize,
    },
    /// A point that cannot be.
    #[error("point {point}: voltage and standard uncertainty must be positive, current finite")]
    Point {
        /// Index from 0.
        point: usize,
    },
    /// Nothing with non-negative parts fits.
    #[error("no combination of non-negative parts fits: check the sign and the voltages")]
    NothingFits,
}

/// Forward voltages tried for the diode-like part, V (red to white).
const FORWARD_V: [f64; 8] = [1.7, 1.9, 2.1, 2.4, 2.7, 2.9, 3.1, 3.3];

impl PartKind {
    /// All kinds.
    pub const ALL: [Self; 5] =
        [Self::Constant, Self::Ohmic, Self::Converter, Self::Diode, Self::Dropout];
}

/// Takes a sweep apart at `reference_v` into the kinds `allowed` (leave out what the board cannot
/// have: no converter on a linear board, no diode where none is lit; it sharpens the rest).
///
/// With the usual four points no more than three parameters can be had (a knee counts as one), so
/// look at `cannot_separate` before quoting a part.
///
/// # Errors
/// Too few voltages, impossible points, or nothing that fits with non-negative parts.
pub fn take_apart(
    points: &[SweepPoint],
    reference_v: f64,
    allowed: &[PartKind],
) -> Result<Sweep, SweepError> {
    for (i, p) in points.iter().enumerate() {
        let good = p.voltage_v > 0.0
            && p.voltage_v.is_finite()
            && p.current_a.is_finite()
            && p.standard_uncertainty_a > 0.0
            && p.standard_uncertainty_a.is_finite();
        if !good {
            return Err(SweepError::Point { point: i });
        }
    }
    let mut voltages: Vec<f64> = points.iter().map(|p| p.voltage_v).collect();
    voltages.sort_by(f64::total_cmp);
    voltages.dedup();
    if voltages.len() < 2 || !reference_v.is_finite() || reference_v <= 0.0 {
        return Err(SweepError::TooFew { got: voltages.len() });
    }
    let mut explanations = Vec::new();
    for subset in subsets(allowed) {
        if let Some(e) = best_of_subset(points, &voltages, reference_v, &subset) {
            explanations.push(e);
        }
    }
    if explanations.is_empty() {
        return Err(SweepError::NothingFits);
    }
    Ok(summarise(explanations, reference_v))
}

/// All combinations of one to three of the kinds.
fn subsets(allowed: &[PartKind]) -> Vec<Vec<PartKind>> {
    let kinds: Vec<PartKind> = PartKind::ALL.into_iter().filter(|k| allowed.contains(k)).collect();
    (1_u32..1 << kinds.len())
        .filter(|mask| mask.count_ones() <= 3)
        .map(|mask| {
            kinds.iter().enumerate().filter(|(i, _)| mask >> i & 1 == 1).map(|(_, k)| *k).collect()
        })
        .collect()
}

fn has_knee(kind: PartKind) -> bool {
    matches!(kind, PartKind::Diode | PartKind::Dropout)
}

/// Shape of a part, 1 at its reference.
fn shape(kind: PartKind, voltage_v: f64, reference_v: f64, lowest_v: f64, knee_v: f64) -> f64 {
    match kind {
        PartKind::Constant => 1.0,
        PartKind::Ohmic => voltage_v / reference_v,
        PartKind::Converter => reference_v / voltage_v,
        PartKind::Diode => {
            let above = reference_v.max(knee_v + 0.1) - knee_v;
            (voltage_v - knee_v).max(0.0) / above
        }
        PartKind::Dropout => (knee_v - voltage_v).max(0.0) / (knee_v - lowest_v),
    }
}

/// Best fit of a subset over the knees tried; `None` when the data cannot carry it or a part comes
/// out negative.
fn best_of_subset(
    points: &[SweepPoint],
    voltages: &[f64],
    reference_v: f64,
    subset: &[PartKind],
) -> Option<Explanation> {
    let lowest_v = voltages[0];
    let knees = subset.iter().filter(|k| has_knee(**k)).count();
    let parameters = subset.len() + knees;
    if parameters > voltages.len() {
        return None;
    }
    // Onset of dropout between the voltages of the sweep: three places in each gap.
    let onsets: Vec<f64> = voltages
        .windows(2)
        .flat_map(|w| [0.25, 0.5, 0.75, 1.0].map(|f| w[0] + f * (w[1] - w[0])))
        .collect();
    let choices = |kind: PartKind| -> Vec<f64> {
        match kind {
            PartKind::Diode => FORWARD_V.to_vec(),
            PartKind::Dropout => onsets.clone(),
            _ => vec![0.0],
        }
    };
    let observed: Vec<f64> = points.iter().map(|p| p.current_a).collect();
    let u: Vec<f64> = points.iter().map(|p| p.standard_uncertainty_a).collect();
    let mut best: Option<(Fit, Vec<f64>)> = None;
    let mut combinations: Vec<Vec<f64>> = vec![Vec::new()];
    for kind in subset {
        combinations = combinations
            .into_iter()
            .flat_map(|c| {
                choices(*kind).into_iter().map(move |k| {
                    let mut c = c.clone();
                    c.push(k);
                    c
                })
            })
            .collect();
    }
    let design = |knees: &[f64]| -> Vec<Vec<f64>> {
        let row = |p: &SweepPoint| {
            let each = subset.iter().zip(knees);
            each.map(|(kind, knee)| shape(*kind, p.voltage_v, reference_v, lowest_v, *knee))
                .collect()
        };
        points.iter().map(row).collect()
    };
    let fit_with = |knees: &[f64]| {
        let fit = weighted_fit(&design(knees), &observed, &u).ok()?;
        fit.parameters.iter().all(|b| *b >= 0.0).then_some(fit)
    };
    for combination in combinations {
        if let Some(fit) = fit_with(&combination) {
            keep_better(&mut best, fit, combination);
        }
    }
    // The onset of dropout is then moved by smaller and smaller steps.
    if let Some(dropout) = subset.iter().position(|k| *k == PartKind::Dropout) {
        let widest = voltages.windows(2).map(|w| w[1] - w[0]).fold(0.0, f64::max);
        let mut step = 0.25 * widest;
        for _ in 0..16 {
            for sign in [-1.0, 1.0] {
                let mut moved = best.as_ref()?.1.clone();
                moved[dropout] += sign * step;
                if moved[dropout] > lowest_v + 1e-3
                    && let Some(fit) = fit_with(&moved)
                {
                    keep_better(&mut best, fit, moved);
                }
            }
            step *= 0.6;
        }
    }
    let (fit, combination) = best?;
    let u_parts = uncertainties(&fit, &design, &combination, subset, voltages, &observed, &u);
    let parts = subset
        .iter()
        .enumerate()
        .map(|(i, kind)| FittedPart {
            kind: *kind,
            current_a: fit.parameters[i],
            standard_uncertainty_a: u_parts[i],
            knee_v: has_knee(*kind).then_some(combination[i]),
        })
        .collect();
    Some(Explanation {
        parts,
        chi_squared: fit.residual_sum_of_squares,
        degrees_of_freedom: points.len().saturating_sub(parameters),
        weight: fit.residual_sum_of_squares + 2.0 * parameters as f64, // criterion, until weighed
    })
}

fn keep_better(best: &mut Option<(Fit, Vec<f64>)>, fit: Fit, knees: Vec<f64>) {
    let sum = fit.residual_sum_of_squares;
    if best.as_ref().is_none_or(|(b, _)| sum < b.residual_sum_of_squares) {
        *best = Some((fit, knees));
    }
}

/// Standard uncertainties of the parts with the knees free: each knee adds the column of its own
/// effect, held by what is known of it beforehand (a forward voltage within 0.4 V, an onset within
/// the widest gap of the sweep).
fn uncertainties(
    fit: &Fit,
    design: &dyn Fn(&[f64]) -> Vec<Vec<f64>>,
    knees: &[f64],
    subset: &[PartKind],
    voltages: &[f64],
    observed: &[f64],
    u: &[f64],
) -> Vec<f64> {
    let widest = voltages.windows(2).map(|w| w[1] - w[0]).fold(0.0, f64::max);
    let mut rows = design(knees);
    let (mut values, mut weights) = (observed.to_vec(), u.to_vec());
    let width = subset.len() + subset.iter().filter(|k| has_knee(**k)).count();
    for (i, kind) in subset.iter().enumerate() {
        if !has_knee(*kind) {
            continue;
        }
        let (step, known_v) = if *kind == PartKind::Diode { (0.05, 0.4) } else { (2e-3, widest) };
        let mut moved = knees.to_vec();
        moved[i] += step;
        let effect = design(&moved);
        for (row, moved) in rows.iter_mut().zip(effect).take(observed.len()) {
            row.push((moved[i] - row[i]) / step * fit.parameters[i]);
        }
        let mut prior = vec![0.0; width];
        prior[rows[0].len() - 1] = 1.0;
        rows.push(prior);
        values.push(0.0);
        weights.push(known_v);
    }
    for row in &mut rows {
        row.resize(width, 0.0);
    }
    let plain = |i| fit.standard_uncertainty(i);
    match weighted_fit(&rows, &values, &weights) {
        Ok(free) => (0..subset.len()).map(|i| free.standard_uncertainty(i).max(plain(i))).collect(),
        Err(_) => (0..subset.len()).map(plain).collect(),
    }
}

fn summarise(mut explanations: Vec<Explanation>, reference_v: f64) -> Sweep {
    let best = explanations.iter().map(|e| e.weight).fold(f64::INFINITY, f64::min);
    for e in &mut explanations {
        e.weight = libm::exp(-0.5 * (e.weight - best));
    }
    explanations.retain(|e| e.weight >= 0.01);
    let total: f64 = explanations.iter().map(|e| e.weight).sum();
    for e in &mut explanations {
        e.weight /= total;
    }
    explanations.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    let in_it = |e: &Explanation, kind| e.parts.iter().find(|p| p.kind == kind).copied();
    let mut presence = Vec::new();
    let mut averaged = Vec::new();
    for kind in PartKind::ALL {
        let weight: f64 =
            explanations.iter().filter(|e| in_it(e, kind).is_some()).map(|e| e.weight).sum();
        if weight == 0.0 {
            continue;
        }
        presence.push((kind, weight));
        let value = |e: &Explanation| in_it(e, kind).map_or(0.0, |p| p.current_a);
        let spread = |e: &Explanation| in_it(e, kind).map_or(0.0, |p| p.standard_uncertainty_a);
        let mean: f64 = explanations.iter().map(|e| e.weight * value(e)).sum();
        let variance: f64 = explanations
            .iter()
            .map(|e| {
                let d = value(e) - mean;
                e.weight * (spread(e) * spread(e) + d * d)
            })
            .sum();
        averaged.push((kind, mean, variance.sqrt()));
    }
    let mut cannot_separate = Vec::new();
    if let Some(first) = explanations.first() {
        for other in explanations[1..].iter().filter(|e| first.weight < 3.0 * e.weight) {
            let only = |a: &Explanation, b: &Explanation| -> Vec<PartKind> {
                a.parts.iter().map(|p| p.kind).filter(|k| in_it(b, *k).is_none()).collect()
            };
            for a in only(first, other) {
                for b in only(other, first) {
                    let pair = (a.min(b), a.max(b));
                    if !cannot_separate.contains(&pair) {
                        cannot_separate.push(pair);
                    }
                }
            }
        }
    }
    Sweep { reference_v, explanations, presence, averaged, cannot_separate }
}

/// Chance that a figure at two temperatures or voltages really rose: `P(b > a)` with what they share
/// taken out.
pub fn chance_that_it_rose(before: &Figure, after: &Figure) -> Option<f64> {
    let difference = after - before;
    let u = difference.standard_uncertainty();
    (u > 0.0).then(|| normal_cdf(difference.value() / u))
}
