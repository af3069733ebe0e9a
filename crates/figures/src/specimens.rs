//! This specimen, and one you might buy: the spread between specimens.

use overwinter_statistics::special::t_quantile;
use overwinter_statistics::univariate::summary;
use overwinter_statistics::{Distribution, Figure};

/// Prior on the spread between specimens, for want of more than one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpreadPrior {
    /// Coefficient of variation of the log-normal between specimens (sleep current: 0.10 to 0.30,
    /// common practice, no source).
    pub coefficient_of_variation: f64,
}

/// How much the prior on the spread weighs against measured specimens, in degrees of freedom. Common
/// practice, no source: two or three specimens do not overrule what is known of boards in general.
pub const PRIOR_WEIGHT: f64 = 4.0;

impl Default for SpreadPrior {
    /// 0.20, the middle of the range for sleep currents.
    fn default() -> Self {
        Self { coefficient_of_variation: 0.20 }
    }
}

/// What the spread rests on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SpreadBasis {
    /// One specimen: the stated prior.
    Prior(SpreadPrior),
    /// Several specimens.
    Measured {
        /// How many.
        n: usize,
        /// Standard deviation between them as read (their reading uncertainty included).
        standard_deviation: f64,
    },
}

/// A type of board in one quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct TypeFigure {
    /// Mean of the specimens.
    pub mean: f64,
    /// What the spread rests on.
    pub basis: SpreadBasis,
    /// Distribution of the next specimen's true value.
    pub next: Distribution,
    /// Half-width of the prediction interval of the next specimen at 95 % (for the prior: half the
    /// distance between its 2.5 % and 97.5 % quantiles).
    pub half_width_95: f64,
}

/// Why there is no figure of the type.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SpecimenError {
    /// No specimen.
    #[error("no specimen was measured")]
    None,
    /// A log-normal prior needs a positive value.
    #[error("one specimen at {got}: the prior on the spread needs a positive value")]
    NotPositive {
        /// The value.
        got: f64,
    },
    /// A coefficient of variation that cannot be.
    #[error("coefficient of variation must be zero or more, got {got}")]
    Prior {
        /// The value.
        got: f64,
    },
}

/// Spread between specimens with the prior pooled in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PooledSpread {
    /// Specimens.
    pub n: usize,
    /// Relative standard deviation of the specimens alone; `None` for one.
    pub of_sample: Option<f64>,
    /// Coefficient of variation between specimens, the prior pooled in.
    pub coefficient_of_variation: f64,
    /// The same for the next specimen about the mean of these: wider by `√(1 + 1/n)` for two and more.
    pub of_next: f64,
}

/// Pools the specimens' relative variance with the prior's,
/// `s² = (ν₀·s₀² + (n − 1)·s²)/(ν₀ + n − 1)` with [`PRIOR_WEIGHT`] for `ν₀`: what a forecast for "one
/// you might buy" uses. One specimen says nothing of the spread: the prior alone.
///
/// Source: pooled variance with a scaled inverse chi-squared prior (Gelman et al., Bayesian Data
/// Analysis, 2.6; from memory).
///
/// # Errors
/// No specimen; a mean that is not positive; an impossible prior.
pub fn pooled_spread(values: &[f64], prior: SpreadPrior) -> Result<PooledSpread, SpecimenError> {
    let cv = prior.coefficient_of_variation;
    if !(cv >= 0.0 && cv.is_finite()) {
        return Err(SpecimenError::Prior { got: cv });
    }
    let s = summary(values).ok_or(SpecimenError::None)?;
    if !(s.mean > 0.0 && s.mean.is_finite()) {
        return Err(SpecimenError::NotPositive { got: s.mean });
    }
    let Some(sd) = s.standard_deviation else {
        return Ok(PooledSpread {
            n: 1,
            of_sample: None,
            coefficient_of_variation: cv,
            of_next: cv,
        });
    };
    let (own, degrees_of_freedom) = (sd / s.mean, (s.n - 1) as f64);
    let pooled = ((PRIOR_WEIGHT * cv * cv + degrees_of_freedom * own * own)
        / (PRIOR_WEIGHT + degrees_of_freedom))
        .sqrt();
    Ok(PooledSpread {
        n: s.n,
        of_sample: Some(own),
        coefficient_of_variation: pooled,
        of_next: pooled * (1.0 + 1.0 / s.n as f64).sqrt(),
    })
}

/// Half-width of the prediction interval of the next value, in units of `s`:
/// `t·√(1 + 1/n)` with `n − 1` degrees of freedom (15.6 for 2, 4.97 for 3, 3.04 for 5 at 95 %).
/// `None` for fewer than two.
pub fn prediction_factor(n: usize, probability: f64) -> Option<f64> {
    (n >= 2).then(|| {
        t_quantile(0.5 * (1.0 + probability), (n - 1) as f64) * (1.0 + 1.0 / n as f64).sqrt()
    })
}

/// The type from its specimens.
///
/// One specimen: log-normal about its value with the prior's coefficient of variation and the
/// reading's relative uncertainty in quadrature. Several: Student t about their mean with scale
/// `s·√(1 + 1/n)`, cut at zero for quantities that cannot be negative (the values are all positive).
///
/// # Errors
/// No specimen; one that is not positive; an impossible prior.
pub fn type_figure(specimens: &[Figure], prior: SpreadPrior) -> Result<TypeFigure, SpecimenError> {
    let cv = prior.coefficient_of_variation;
    if !(cv >= 0.0 && cv.is_finite()) {
        return Err(SpecimenError::Prior { got: cv });
    }
    let values: Vec<f64> = specimens.iter().map(Figure::value).collect();
    let s = summary(&values).ok_or(SpecimenError::None)?;
    if let Some(standard_deviation) = s.standard_deviation {
        let n = s.n;
        let degrees_of_freedom = (n - 1) as f64;
        let scale = standard_deviation * (1.0 + 1.0 / n as f64).sqrt();
        let next = Distribution::StudentT { location: s.mean, scale, degrees_of_freedom };
        let next = if scale == 0.0 {
            Distribution::Exact(s.mean)
        } else if values.iter().all(|v| *v > 0.0) {
            next.not_below_zero()
        } else {
            next
        };
        let half_width_95 = prediction_factor(n, 0.95).unwrap_or(f64::NAN) * standard_deviation;
        let basis = SpreadBasis::Measured { n, standard_deviation };
        return Ok(TypeFigure { mean: s.mean, basis, next, half_width_95 });
    }
    if s.mean <= 0.0 {
        return Err(SpecimenError::NotPositive { got: s.mean });
    }
    let relative = specimens[0].standard_uncertainty() / s.mean;
    let next = Distribution::log_normal_cv(s.mean, libm::hypot(cv, relative));
    let half_width_95 = 0.5 * (next.quantile(0.975) - next.quantile(0.025));
    Ok(TypeFigure { mean: s.mean, basis: SpreadBasis::Prior(prior), next, half_width_95 })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_prior_holds_until_specimens_overrule_it() {
        let prior = SpreadPrior::default();
        let one = pooled_spread(&[12.6], prior).unwrap();
        assert_eq!((one.of_sample, one.of_next), (None, 0.20));
        // Two that agree exactly: 4/5 of the prior's variance is left, widened by √(1 + 1/2).
        let two = pooled_spread(&[10.0, 10.0], prior).unwrap();
        assert!((two.coefficient_of_variation - 0.2 * 0.8_f64.sqrt()).abs() < 1e-12);
        assert!((two.of_next - 0.2 * 0.8_f64.sqrt() * 1.5_f64.sqrt()).abs() < 1e-12);
        // Many overrule it.
        let many: Vec<f64> = (0..400).map(|k| if k % 2 == 0 { 9.0 } else { 11.0 }).collect();
        let many = pooled_spread(&many, prior).unwrap();
        assert!((many.of_next - 0.1).abs() < 0.003);
        assert_eq!(pooled_spread(&[], prior), Err(SpecimenError::None));
        assert_eq!(pooled_spread(&[-1.0], prior), Err(SpecimenError::NotPositive { got: -1.0 }));
    }
}
