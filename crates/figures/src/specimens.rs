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
