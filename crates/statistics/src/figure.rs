//! Uncertain figures: a value and the independent sources its uncertainty comes from.
//!
//! A figure is `x = x₀ + Σ cᵢ·δᵢ`, with `δᵢ` independent sources of zero mean and standard
//! uncertainty `uᵢ`, known by identity. So `x − x` is exactly zero, and two readings on the same
//! range correlate through their common gain and offset by themselves.
//! Law of propagation: JCGM 100:2008, 5.1 and 5.2 (first order).

use crate::distribution::{Distribution, DistributionError};
use crate::source::{Source, SourceId};
use crate::special::t_quantile;
use core::cmp::Ordering;
use std::sync::Arc;

/// Why a figure could not be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FigureError {
    /// The value is not a finite number.
    #[error("value must be finite, got {got}")]
    Value {
        /// What it is.
        got: f64,
    },
    /// A standard uncertainty is negative or not finite.
    #[error(
        "standard uncertainty of \"{source_name}\" must be zero or more, and finite, got {got}"
    )]
    StandardUncertainty {
        /// The source.
        source_name: String,
        /// What it is.
        got: f64,
    },
    /// Degrees of freedom are not positive.
    #[error("degrees of freedom of \"{source_name}\" must be positive, got {got}")]
    DegreesOfFreedom {
        /// The source.
        source_name: String,
        /// What they are.
        got: f64,
    },
    /// The distribution of a source is impossible.
    #[error("distribution of \"{source_name}\": {error}")]
    Distribution {
        /// The source.
        source_name: String,
        /// What is wrong.
        error: DistributionError,
    },
    /// A covariance matrix is not square, symmetric and positive semi-definite, or does not fit.
    #[error("covariance matrix must be {size} × {size}, symmetric and positive semi-definite")]
    Covariance {
        /// Number of values.
        size: usize,
    },
}

/// One source with the factor by which it enters a figure.
#[derive(Clone, Debug, PartialEq)]
struct Contribution {
    source: Arc<Source>,
    sensitivity: f64,
}

/// A value with its uncertainty, source by source.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    value: f64,
    /// Sorted by source, each source once.
    contributions: Vec<Contribution>,
}

/// One line of an uncertainty budget.
#[derive(Clone, Debug, PartialEq)]
pub struct BudgetRow {
    /// Name of the source.
    pub source: SourceId,
    /// Standard uncertainty of the source, in its own unit.
    pub standard_uncertainty: f64,
    /// Sensitivity coefficient `c = ∂x/∂δ`.
    pub sensitivity: f64,
    /// Signed contribution `c·u`, in the unit of the figure.
    pub contribution: f64,
    /// Degrees of freedom.
    pub degrees_of_freedom: f64,
    /// Share of the variance, 0 to 1.
    pub share: f64,
}

/// Who contributes what, largest first.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    /// Value of the figure.
    pub value: f64,
    /// Combined standard uncertainty.
    pub standard_uncertainty: f64,
    /// Effective degrees of freedom (infinite when every source is taken as known).
    pub degrees_of_freedom: f64,
    /// One row per source.
    pub rows: Vec<BudgetRow>,
}

/// How a coverage factor was chosen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CoverageRule {
    /// Student t at the effective degrees of freedom, rounded down (JCGM 100:2008, G.4.1).
    StudentT,
    /// One rectangular source dominates (EA-4/02 M:2022, S9.14).
    DominantRectangle,
    /// Two rectangular sources dominate: trapezoid (EA-4/02 M:2022, S10.13).
    DominantTrapezoid,
}

/// An expanded uncertainty with how it came about.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coverage {
    /// Coverage probability asked for.
    pub probability: f64,
    /// Coverage factor `k`.
    pub factor: f64,
    /// Expanded uncertainty `U = k·u`.
    pub expanded: f64,
    /// Effective degrees of freedom, not rounded.
    pub degrees_of_freedom: f64,
    /// Which rule gave `k`.
    pub rule: CoverageRule,
}

impl Figure {
    /// A value without uncertainty.
    pub fn exact(value: f64) -> Self {
        Self { value, contributions: Vec::new() }
    }

    /// A value with one source that enters with factor 1.
    pub fn with_source(value: f64, source: Source) -> Self {
        Self::exact(value).plus_source(source, 1.0)
    }

    /// A value with sources that each enter with factor 1.
    ///
    /// # Errors
    /// A value, standard uncertainty, degrees of freedom or distribution that cannot be.
    pub fn try_new(
        value: f64,
        sources: impl IntoIterator<Item = (Source, f64)>,
    ) -> Result<Self, FigureError> {
        if !value.is_finite() {
            return Err(FigureError::Value { got: value });
        }
        let mut figure = Self::exact(value);
        for (source, sensitivity) in sources {
            let source_name = || source.id.name().to_owned();
            let u = source.standard_uncertainty;
            if !(u.is_finite() && u >= 0.0) {
                return Err(FigureError::StandardUncertainty {
                    source_name: source_name(),
                    got: u,
                });
            }
            let dof = source.degrees_of_freedom;
            if dof.is_nan() || dof <= 0.0 {
                return Err(FigureError::DegreesOfFreedom { source_name: source_name(), got: dof });
            }
            if let Err(error) = source.distribution.check() {
                return Err(FigureError::Distribution { source_name: source_name(), error });
            }
            figure = figure.plus_source(source, sensitivity);
        }
        Ok(figure)
    }

    /// Adds a source (mean zero, so the value stays) that enters with `sensitivity`.
    #[must_use]
    pub fn plus_source(self, source: Source, sensitivity: f64) -> Self {
        let other = Self {
            value: 0.0,
            contributions: vec![Contribution { source: Arc::new(source), sensitivity }],
        };
        self.linear(1.0, &other, 1.0, self.value)
    }

    /// Figures with given `values` and `covariance` (rows), for inputs measured together.
    ///
    /// The covariance is factored (Cholesky) into independent normal sources called
    /// `name / component n`, shared between the figures, so that every later covariance is exact
    /// to first order (JCGM 100:2008, 5.2 and H.2). `degrees_of_freedom` is attached to each component.
    ///
    /// # Errors
    /// [`FigureError::Covariance`] unless the matrix fits and is positive semi-definite.
    pub fn correlated(
        values: &[f64],
        covariance: &[Vec<f64>],
        name: &str,
        degrees_of_freedom: f64,
    ) -> Result<Vec<Self>, FigureError> {
        let n = values.len();
        let wrong = FigureError::Covariance { size: n };
        if covariance.len() != n || covariance.iter().any(|row| row.len() != n) {
            return Err(wrong);
        }
        let mut factor = vec![vec![0.0; n]; n];
        for i in 0..n {
            for j in 0..=i {
                let scale = (covariance[i][i] * covariance[j][j]).sqrt();
                if (covariance[i][j] - covariance[j][i]).abs() > 1e-12 * scale {
                    return Err(wrong);
                }
                let done: f64 = (0..j).map(|k| factor[i][k] * factor[j][k]).sum();
                let rest = covariance[i][j] - done;
                if i == j {
                    if rest.is_nan() || rest < -1e-12 * covariance[i][i].abs() {
                        return Err(wrong);
                    }
                    factor[i][i] = rest.max(0.0).sqrt();
                } else if factor[j][j] > 0.0 {
                    factor[i][j] = rest / factor[j][j];
                } else if rest.abs() > 1e-12 * scale {
                    return Err(wrong);
                }
            }
        }
        let components: Vec<Arc<Source>> = (0..n)
            .map(|k| {
                let source = Source::normal(&format!("{name} / component {}", k + 1), 1.0);
                Arc::new(source.with_degrees_of_freedom(degrees_of_freedom))
            })
            .collect();
        let mut figures = Vec::with_capacity(n);
        for (value, row) in values.iter().zip(&factor) {
            let mut contributions: Vec<Contribution> = row
                .iter()
                .zip(&components)
                .filter(|(c, _)| **c != 0.0)
                .map(|(c, s)| Contribution { source: Arc::clone(s), sensitivity: *c })
                .collect();
            contributions.sort_by(|a, b| a.source.id.cmp(&b.source.id));
            figures.push(Self { value: *value, contributions });
        }
        Ok(figures)
    }

    /// The value.
    pub fn value(&self) -> f64 {
        self.value
    }

    /// The sources with the factor by which each enters, sorted by name.
    pub fn sources(&self) -> impl Iterator<Item = (&Source, f64)> {
        self.contributions.iter().map(|c| (c.source.as_ref(), c.sensitivity))
    }

    /// Combined standard uncertainty `u = √Σ(cᵢuᵢ)²`.
    pub fn standard_uncertainty(&self) -> f64 {
        self.variance().sqrt()
    }

    /// Combined variance.
    pub fn variance(&self) -> f64 {
        self.contributions
            .iter()
            .map(|c| {
                let part = c.sensitivity * c.source.standard_uncertainty;
                part * part
            })
            .sum()
    }

    /// Covariance with another figure: the sum over the sources they share.
    pub fn covariance(&self, other: &Self) -> f64 {
        let (mut i, mut j, mut sum) = (0, 0, 0.0);
        while i < self.contributions.len() && j < other.contributions.len() {
            let (a, b) = (&self.contributions[i], &other.contributions[j]);
            match a.source.id.cmp(&b.source.id) {
                Ordering::Less => i += 1,
                Ordering::Greater => j += 1,
                Ordering::Equal => {
                    let u = a.source.standard_uncertainty;
                    sum += a.sensitivity * b.sensitivity * u * u;
                    i += 1;
                    j += 1;
                }
            }
        }
        sum
    }

    /// Correlation coefficient; `None` when either figure has no uncertainty.
    pub fn correlation(&self, other: &Self) -> Option<f64> {
        let scale = self.standard_uncertainty() * other.standard_uncertainty();
        (scale > 0.0).then(|| self.covariance(other) / scale)
    }

    /// Effective degrees of freedom, `ν = u⁴/Σ((cᵢuᵢ)⁴/νᵢ)` (Welch–Satterthwaite,
    /// JCGM 100:2008, G.4.1). Infinite when no source with finite degrees of freedom contributes.
    pub fn degrees_of_freedom(&self) -> f64 {
        let variance = self.variance();
        let sum: f64 = self
            .contributions
            .iter()
            .filter(|c| c.source.degrees_of_freedom.is_finite())
            .map(|c| {
                let part = c.sensitivity * c.source.standard_uncertainty;
                part * part * part * part / c.source.degrees_of_freedom
            })
            .sum();
        if sum > 0.0 { variance * variance / sum } else { f64::INFINITY }
    }

    /// Expanded uncertainty for a coverage `probability` (0.95 for the usual `k ≈ 2`).
    ///
    /// Where one or two rectangular sources dominate (the rest together below 0.3 of them,
    /// EA-4/02 S9.14 and S10.13) the distribution is near a rectangle or trapezoid and `k` is
    /// theirs; else `k` is Student t at the effective degrees of freedom rounded down.
    /// `NaN` for a probability outside (0, 1).
    pub fn coverage(&self, probability: f64) -> Coverage {
        let u = self.standard_uncertainty();
        let degrees_of_freedom = self.degrees_of_freedom();
        let coverage = |factor, rule| Coverage {
            probability,
            factor,
            expanded: factor * u,
            degrees_of_freedom,
            rule,
        };
        if let Some((factor, rule, _)) = self.dominant_rectangles(probability) {
            return coverage(factor, rule);
        }
        // To one decimal first, as the guide's examples do: 18.999 counts as 19.
        let whole = ((degrees_of_freedom * 10.0).round() / 10.0).floor().max(1.0);
        coverage(t_quantile(0.5 * (1.0 + probability), whole), CoverageRule::StudentT)
    }

    /// Coverage factor of a dominant rectangle or trapezoid, if there is one, and its top over base.
    fn dominant_rectangles(&self, probability: f64) -> Option<(f64, CoverageRule, f64)> {
        const REST: f64 = 0.3; // EA-4/02 M:2022, S9.14: "not larger than 0.3"
        let mut parts: Vec<(f64, bool)> = self
            .contributions
            .iter()
            .map(|c| {
                let size = (c.sensitivity * c.source.standard_uncertainty).abs();
                (size, matches!(c.source.distribution, Distribution::Uniform { .. }))
            })
            .collect();
        parts.sort_by(|a, b| b.0.total_cmp(&a.0));
        let rest = |from: usize| parts[from..].iter().map(|p| p.0 * p.0).sum::<f64>().sqrt();
        let first = parts.first().filter(|p| p.1 && p.0 > 0.0)?;
        if rest(1) <= REST * first.0 {
            return Some((3.0_f64.sqrt() * probability, CoverageRule::DominantRectangle, 1.0));
        }
        let second = parts.get(1).filter(|p| p.1)?;
        let both = (first.0 * first.0 + second.0 * second.0).sqrt();
        if rest(2) > REST * both {
            return None;
        }
        let top = (first.0 - second.0) / (first.0 + second.0);
        if top >= probability / (2.0 - probability) {
            return None;
        }
        let factor = (1.0 - ((1.0 - probability) * (1.0 - top * top)).sqrt())
            / ((1.0 + top * top) / 6.0).sqrt();
        Some((factor, CoverageRule::DominantTrapezoid, top))
    }

    /// The uncertainty budget, largest contribution first.
    pub fn budget(&self) -> Budget {
        let variance = self.variance();
        let mut rows: Vec<BudgetRow> = self
            .contributions
            .iter()
            .map(|c| {
                let contribution = c.sensitivity * c.source.standard_uncertainty;
                let share =
                    if variance > 0.0 { contribution * contribution / variance } else { 0.0 };
                BudgetRow {
                    source: c.source.id.clone(),
                    standard_uncertainty: c.source.standard_uncertainty,
                    sensitivity: c.sensitivity,
                    contribution,
                    degrees_of_freedom: c.source.degrees_of_freedom,
                    share,
                }
            })
            .collect();
        rows.sort_by(|a, b| b.share.total_cmp(&a.share).then_with(|| a.source.cmp(&b.source)));
        Budget {
            value: self.value,
            standard_uncertainty: variance.sqrt(),
            degrees_of_freedom: self.degrees_of_freedom(),
            rows,
        }
    }

    /// Distribution of the figure for a forecast, with the figure's standard uncertainty.
    ///
    /// A rectangle or trapezoid where one or two rectangular sources dominate (as in
    /// [`Figure::coverage`]); else scaled Student t below 100 effective degrees of freedom; else normal.
    /// Below 3 degrees of freedom a Student t has no usable spread: 3 are taken, with the scale that
    /// keeps the width of the 95 % interval.
    pub fn distribution(&self) -> Distribution {
        let u = self.standard_uncertainty();
        let degrees_of_freedom = self.degrees_of_freedom();
        if u == 0.0 {
            return Distribution::Exact(self.value);
        }
        match self.dominant_rectangles(0.95) {
            Some((_, CoverageRule::DominantRectangle, _)) => {
                Distribution::Uniform { centre: self.value, half_width: u * 3.0_f64.sqrt() }
            }
            Some((_, _, top)) => Distribution::Trapezoid {
                centre: self.value,
                half_width: u / ((1.0 + top * top) / 6.0).sqrt(),
                top,
            },
            None if degrees_of_freedom < 3.0 => Distribution::StudentT {
                location: self.value,
                scale: u * t_quantile(0.975, degrees_of_freedom) / t_quantile(0.975, 3.0),
                degrees_of_freedom: 3.0,
            },
            None if degrees_of_freedom < 100.0 => {
                Distribution::StudentT { location: self.value, scale: u, degrees_of_freedom }
            }
            None => Distribution::Normal { mean: self.value, sd: u },
        }
    }

    /// A function of this figure with its `value` and `derivative` there.
    #[must_use]
    pub fn function(&self, value: f64, derivative: f64) -> Self {
        self.linear(derivative, &Self::exact(0.0), 0.0, value)
    }

    /// A function of several figures: its `value` and the partial `derivatives` at their values.
    #[must_use]
    pub fn function_of(value: f64, terms: &[(&Self, f64)]) -> Self {
        let mut all: Vec<Contribution> = terms
            .iter()
            .flat_map(|(figure, derivative)| {
                figure.contributions.iter().map(move |c| Contribution {
                    source: Arc::clone(&c.source),
                    sensitivity: derivative * c.sensitivity,
                })
            })
            .collect();
        all.sort_by(|a, b| a.source.id.cmp(&b.source.id));
        let mut contributions: Vec<Contribution> = Vec::with_capacity(all.len());
        for c in all {
            match contributions.last_mut() {
                Some(last) if last.source.id == c.source.id => last.sensitivity += c.sensitivity,
                _ => contributions.push(c),
            }
        }
        contributions.retain(|c| c.sensitivity != 0.0);
        Self { value, contributions }
    }

    /// Square root.
    #[must_use]
    pub fn sqrt(&self) -> Self {
        let root = self.value.sqrt();
        self.function(root, 0.5 / root)
    }

    /// Exponential.
    #[must_use]
    pub fn exp(&self) -> Self {
        let value = libm::exp(self.value);
        self.function(value, value)
    }

    /// Natural logarithm.
    #[must_use]
    pub fn ln(&self) -> Self {
        self.function(libm::log(self.value), 1.0 / self.value)
    }

    /// Sine (radians).
    #[must_use]
    pub fn sin(&self) -> Self {
        self.function(libm::sin(self.value), libm::cos(self.value))
    }

    /// Cosine (radians).
    #[must_use]
    pub fn cos(&self) -> Self {
        self.function(libm::cos(self.value), -libm::sin(self.value))
    }

    /// `a·self + b·other` in the sources, with a given value.
    fn linear(&self, a: f64, other: &Self, b: f64, value: f64) -> Self {
        let mut contributions =
            Vec::with_capacity(self.contributions.len() + other.contributions.len());
        let mut push = |source: &Arc<Source>, sensitivity: f64| {
            if sensitivity != 0.0 {
                contributions.push(Contribution { source: Arc::clone(source), sensitivity });
            }
        };
        let (mut i, mut j) = (0, 0);
        loop {
            match (self.contributions.get(i), other.contributions.get(j)) {
                (None, None) => break,
                (Some(x), None) => {
                    push(&x.source, a * x.sensitivity);
                    i += 1;
                }
                (None, Some(y)) => {
                    push(&y.source, b * y.sensitivity);
                    j += 1;
                }
                (Some(x), Some(y)) => match x.source.id.cmp(&y.source.id) {
                    Ordering::Less => {
                        push(&x.source, a * x.sensitivity);
                        i += 1;
                    }
                    Ordering::Greater => {
                        push(&y.source, b * y.sensitivity);
                        j += 1;
                    }
                    Ordering::Equal => {
                        push(&x.source, a * x.sensitivity + b * y.sensitivity);
                        i += 1;
                        j += 1;
                    }
                },
            }
        }
        Self { value, contributions }
    }
}

macro_rules! operator {
    ($trait:ident, $method:ident, |$x:ident, $y:ident| $value:expr, $a:expr, $b:expr) => {
        impl core::ops::$trait<&Figure> for &Figure {
            type Output = Figure;
            fn $method(self, other: &Figure) -> Figure {
                let ($x, $y) = (self.value, other.value);
                self.linear($a, other, $b, $value)
            }
        }
        impl core::ops::$trait for Figure {
            type Output = Figure;
            fn $method(self, other: Figure) -> Figure {
                core::ops::$trait::$method(&self, &other)
            }
        }
        impl core::ops::$trait<f64> for &Figure {
            type Output = Figure;
            fn $method(self, other: f64) -> Figure {
                core::ops::$trait::$method(self, &Figure::exact(other))
            }
        }
        impl core::ops::$trait<f64> for Figure {
            type Output = Figure;
            fn $method(self, other: f64) -> Figure {
                core::ops::$trait::$method(&self, &Figure::exact(other))
            }
        }
    };
}

operator!(Add, add, |x, y| x + y, 1.0, 1.0);
operator!(Sub, sub, |x, y| x - y, 1.0, -1.0);
operator!(Mul, mul, |x, y| x * y, y, x);
operator!(Div, div, |x, y| x / y, 1.0 / y, -x / (y * y));

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_minus_itself_is_exactly_zero() {
        let x = Figure::try_new(
            12.6e-6,
            [(Source::normal("a", 1e-7), 1.0), (Source::rectangular("b", 2e-7), 0.3)],
        )
        .unwrap();
        let zero = &x - &x;
        assert_eq!((zero.value(), zero.standard_uncertainty()), (0.0, 0.0));
        assert_eq!(zero.sources().count(), 0);
        let one = &x / &x;
        assert_eq!(one.value(), 1.0);
        assert!(one.standard_uncertainty() < 1e-15);
    }

    #[test]
    fn shared_sources_correlate() {
        let gain = || Source::rectangular("gain", 0.01);
        let a = Figure::exact(10.0)
            .plus_source(gain(), 10.0)
            .plus_source(Source::normal("ra", 0.1), 1.0);
        let b =
            Figure::exact(9.0).plus_source(gain(), 9.0).plus_source(Source::normal("rb", 0.1), 1.0);
        let difference = &a - &b;
        let expected = (0.01_f64 / 3.0_f64.sqrt()).hypot(0.1 * 2.0_f64.sqrt());
        assert!((difference.standard_uncertainty() - expected).abs() < 1e-15);
        let direct = a.variance() + b.variance() - 2.0 * a.covariance(&b);
        assert!((difference.variance() - direct).abs() < 1e-15);
        let both = Figure::function_of(1.0, &[(&a, 1.0), (&b, -1.0)]);
        assert!((both.variance() - difference.variance()).abs() < 1e-18);
    }

    #[test]
    fn correlated_inputs_keep_their_covariance() {
        let covariance = vec![vec![4.0, 1.2], vec![1.2, 1.0]];
        let f = Figure::correlated(&[1.0, 2.0], &covariance, "pair", 4.0).unwrap();
        assert!((f[0].covariance(&f[1]) - 1.2).abs() < 1e-14);
        assert!((f[1].variance() - 1.0).abs() < 1e-14);
        let bad = vec![vec![1.0, 2.0], vec![2.0, 1.0]];
        assert!(Figure::correlated(&[1.0, 2.0], &bad, "pair", 4.0).is_err());
    }

    #[test]
    fn the_distribution_for_a_forecast_keeps_the_uncertainty() {
        let rectangle = Figure::with_source(5.0, Source::rectangular("r", 1.0));
        assert_eq!(
            rectangle.distribution(),
            Distribution::Uniform { centre: 5.0, half_width: 1.0 }
        );
        let two = rectangle.clone().plus_source(Source::rectangular("s", 0.5), 1.0);
        assert!((two.distribution().sd() - two.standard_uncertainty()).abs() < 1e-12);
        let few = Figure::with_source(5.0, Source::type_a("t", 1.0, 1.0));
        let width = few.distribution().quantile(0.975) - 5.0;
        assert!((width - 12.706).abs() < 1e-3, "{width}");
        assert_eq!(Figure::exact(2.0).distribution(), Distribution::Exact(2.0));
    }

    #[test]
    fn impossible_sources_are_refused() {
        assert!(Figure::try_new(f64::NAN, []).is_err());
        assert!(Figure::try_new(1.0, [(Source::normal("a", -1.0), 1.0)]).is_err());
        assert!(Figure::try_new(1.0, [(Source::type_a("a", 1.0, 0.0), 1.0)]).is_err());
    }
}
