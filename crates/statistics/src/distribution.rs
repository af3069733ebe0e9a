//! Probability distributions of inputs: mean, standard deviation, distribution function, quantile.
//!
//! Every distribution is sampled through its quantile, so that one quasi-random number makes one
//! draw and the same number drives every board.

use crate::shapes::{
    curvilinear_cdf, curvilinear_quantile, interpolate, step, trapezoid_cdf, trapezoid_quantile,
    truncated_normal_moments,
};
use crate::special::{normal_cdf, normal_quantile, t_cdf, t_quantile};
use core::f64::consts::PI;

/// A distribution with impossible parameters.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DistributionError {
    /// A spread, width or degrees of freedom is negative, zero where it may not be, or not a number.
    #[error("{parameter} must be {need}, got {got}")]
    Parameter {
        /// Which parameter.
        parameter: &'static str,
        /// What it must be.
        need: &'static str,
        /// What it is.
        got: f64,
    },
    /// A quantile table that is not strictly increasing in probability from 0 to 1, or falls in value.
    #[error("quantile table must rise from probability 0 to 1; entry {index} does not")]
    Table {
        /// First entry that breaks the rule.
        index: usize,
    },
}

/// What is known about one input.
///
/// Parameters are in the unit of the quantity. Build with the variants directly and call
/// [`Distribution::check`], which names the first impossible parameter.
#[derive(Clone, Debug, PartialEq)]
pub enum Distribution {
    /// A number without uncertainty.
    Exact(f64),
    /// Normal.
    Normal {
        /// Mean.
        mean: f64,
        /// Standard deviation.
        sd: f64,
    },
    /// Student t, shifted and scaled: what a few repeats with normal noise say about their mean
    /// (JCGM 101:2008, 6.4.9).
    StudentT {
        /// Location.
        location: f64,
        /// Scale (`s/√n` for a mean of `n`).
        scale: f64,
        /// Degrees of freedom.
        degrees_of_freedom: f64,
    },
    /// Uniform over `centre ± half_width`.
    Uniform {
        /// Centre.
        centre: f64,
        /// Half-width.
        half_width: f64,
    },
    /// Triangular from `low` over `mode` to `high`.
    Triangular {
        /// Lowest value.
        low: f64,
        /// Most probable value.
        mode: f64,
        /// Highest value.
        high: f64,
    },
    /// Symmetric trapezoid over `centre ± half_width`; `top` is the ratio of its flat top to its
    /// base (0 triangle, 1 rectangle).
    Trapezoid {
        /// Centre.
        centre: f64,
        /// Half-width of the base.
        half_width: f64,
        /// Top width over base width, 0 to 1.
        top: f64,
    },
    /// Rectangle whose half-width is itself only known within `± margin`
    /// (JCGM 101:2008, 6.4.3, curvilinear trapezoid).
    CurvilinearTrapezoid {
        /// Centre.
        centre: f64,
        /// Half-width.
        half_width: f64,
        /// Uncertainty limit of the half-width, below it.
        margin: f64,
    },
    /// Arcsine (U-shaped): a sinusoidal disturbance of amplitude `half_width`.
    Arcsine {
        /// Centre.
        centre: f64,
        /// Amplitude.
        half_width: f64,
    },
    /// Log-normal: `median · factor^z`, `z` standard normal.
    LogNormal {
        /// Median, positive.
        median: f64,
        /// One standard deviation up is this factor (≥ 1).
        factor: f64,
    },
    /// 1 with `probability`, else 0: an unknown trait.
    Bernoulli {
        /// Probability of 1.
        probability: f64,
    },
    /// `inner` conditioned on values not below `low` (physical quantities stay above zero).
    TruncatedBelow {
        /// The distribution before the cut.
        inner: Box<Distribution>,
        /// The cut.
        low: f64,
    },
    /// Linear interpolation in a table `(probability, value)` from probability 0 to 1.
    Empirical(Vec<(f64, f64)>),
}

/// Panels of the midpoint rule behind moments that have no closed form.
const MOMENT_PANELS: u32 = 1 << 14;

fn positive(parameter: &'static str, got: f64) -> Result<(), DistributionError> {
    if got.is_finite() && got >= 0.0 {
        Ok(())
    } else {
        Err(DistributionError::Parameter { parameter, need: "zero or more, and finite", got })
    }
}

fn finite(parameter: &'static str, got: f64) -> Result<(), DistributionError> {
    if got.is_finite() {
        Ok(())
    } else {
        Err(DistributionError::Parameter { parameter, need: "finite", got })
    }
}

fn share(parameter: &'static str, got: f64) -> Result<(), DistributionError> {
    if (0.0..=1.0).contains(&got) {
        Ok(())
    } else {
        Err(DistributionError::Parameter { parameter, need: "between 0 and 1", got })
    }
}

impl Distribution {
    /// Normal with a relative standard deviation.
    pub fn relative_normal(mean: f64, relative_sd: f64) -> Self {
        Self::Normal { mean, sd: (mean * relative_sd).abs() }
    }

    /// Log-normal with the given `median` and coefficient of variation `cv`:
    /// `factor = exp(√ln(1 + cv²))`.
    pub fn log_normal_cv(median: f64, cv: f64) -> Self {
        Self::LogNormal { median, factor: libm::exp(libm::log1p(cv * cv).sqrt()) }
    }

    /// Cuts the distribution at zero when it can go below.
    #[must_use]
    pub fn not_below_zero(self) -> Self {
        if self.quantile(0.0) >= 0.0 {
            self
        } else {
            Self::TruncatedBelow { inner: Box::new(self), low: 0.0 }
        }
    }

    /// Empirical distribution of a sample: type-7 quantiles at its order statistics.
    ///
    /// `None` for an empty sample or one with a value that is not finite.
    pub fn from_sample(sample: &[f64]) -> Option<Self> {
        if sample.is_empty() || sample.iter().any(|v| !v.is_finite()) {
            return None;
        }
        if sample.len() == 1 {
            return Some(Self::Exact(sample[0]));
        }
        let mut sorted = sample.to_vec();
        sorted.sort_by(f64::total_cmp);
        let last = (sorted.len() - 1) as f64;
        Some(Self::Empirical(
            sorted.into_iter().enumerate().map(|(i, v)| (i as f64 / last, v)).collect(),
        ))
    }

    /// Names the first impossible parameter.
    ///
    /// # Errors
    /// [`DistributionError`] with the parameter, what it must be and what it is.
    pub fn check(&self) -> Result<(), DistributionError> {
        match self {
            Self::Exact(value) => finite("value", *value),
            Self::Normal { mean, sd } => finite("mean", *mean).and(positive("sd", *sd)),
            Self::StudentT { location, scale, degrees_of_freedom } => {
                finite("location", *location)?;
                positive("scale", *scale)?;
                if *degrees_of_freedom > 0.0 {
                    Ok(())
                } else {
                    Err(DistributionError::Parameter {
                        parameter: "degrees of freedom",
                        need: "positive",
                        got: *degrees_of_freedom,
                    })
                }
            }
            Self::Uniform { centre, half_width } | Self::Arcsine { centre, half_width } => {
                finite("centre", *centre).and(positive("half width", *half_width))
            }
            Self::Triangular { low, mode, high } => {
                finite("low", *low)?;
                finite("high", *high)?;
                if low <= mode && mode <= high {
                    Ok(())
                } else {
                    Err(DistributionError::Parameter {
                        parameter: "mode",
                        need: "between low and high",
                        got: *mode,
                    })
                }
            }
            Self::Trapezoid { centre, half_width, top } => finite("centre", *centre)
                .and(positive("half width", *half_width))
                .and(share("top", *top)),
            Self::CurvilinearTrapezoid { centre, half_width, margin } => {
                finite("centre", *centre)?;
                positive("half width", *half_width)?;
                positive("margin", *margin)?;
                if margin < half_width || *margin == 0.0 {
                    Ok(())
                } else {
                    Err(DistributionError::Parameter {
                        parameter: "margin",
                        need: "below the half width",
                        got: *margin,
                    })
                }
            }
            Self::LogNormal { median, factor } => {
                if !(median.is_finite() && *median > 0.0) {
                    return Err(DistributionError::Parameter {
                        parameter: "median",
                        need: "positive and finite",
                        got: *median,
                    });
                }
                if factor.is_finite() && *factor >= 1.0 {
                    Ok(())
                } else {
                    Err(DistributionError::Parameter {
                        parameter: "factor",
                        need: "1 or more, and finite",
                        got: *factor,
                    })
                }
            }
            Self::Bernoulli { probability } => share("probability", *probability),
            Self::TruncatedBelow { inner, low } => {
                inner.check()?;
                finite("low", *low)?;
                if inner.cdf(*low) < 1.0 {
                    Ok(())
                } else {
                    Err(DistributionError::Parameter {
                        parameter: "low",
                        need: "below the highest possible value",
                        got: *low,
                    })
                }
            }
            Self::Empirical(table) => check_table(table),
        }
    }

    /// Mean. Closed forms except for `TruncatedBelow` of other than a normal distribution
    /// (midpoint rule over the quantile, 2¹⁴ panels). A Student t with one degree of freedom or
    /// fewer has none: its location is returned.
    pub fn mean(&self) -> f64 {
        match self {
            Self::Exact(value) => *value,
            Self::Normal { mean, .. } => *mean,
            Self::StudentT { location, .. } => *location,
            Self::Uniform { centre, .. }
            | Self::Trapezoid { centre, .. }
            | Self::CurvilinearTrapezoid { centre, .. }
            | Self::Arcsine { centre, .. } => *centre,
            Self::Triangular { low, mode, high } => (low + mode + high) / 3.0,
            Self::LogNormal { median, factor } => {
                let s = libm::log(*factor);
                median * libm::exp(0.5 * s * s)
            }
            Self::Bernoulli { probability } => *probability,
            Self::TruncatedBelow { inner, low } => {
                if let Self::Normal { mean, sd } = **inner {
                    truncated_normal_moments(mean, sd, *low).0
                } else {
                    self.moments_by_quadrature().0
                }
            }
            Self::Empirical(table) => {
                table.windows(2).map(|w| (w[1].0 - w[0].0) * 0.5 * (w[0].1 + w[1].1)).sum()
            }
        }
    }

    /// Standard deviation. A Student t with two degrees of freedom or fewer has none: infinite.
    pub fn sd(&self) -> f64 {
        match self {
            Self::Exact(_) => 0.0,
            Self::Normal { sd, .. } => *sd,
            Self::StudentT { scale, degrees_of_freedom, .. } => {
                if degrees_of_freedom.is_infinite() {
                    *scale
                } else if *degrees_of_freedom > 2.0 {
                    scale * (degrees_of_freedom / (degrees_of_freedom - 2.0)).sqrt()
                } else {
                    f64::INFINITY
                }
            }
            Self::Uniform { half_width, .. } => half_width / 3.0_f64.sqrt(),
            Self::Triangular { low, mode, high } => {
                let (a, b, c) = (*low, *high, *mode);
                ((a * a + b * b + c * c - a * b - a * c - b * c) / 18.0).max(0.0).sqrt()
            }
            Self::Trapezoid { half_width, top, .. } => {
                half_width * ((1.0 + top * top) / 6.0).sqrt()
            }
            Self::CurvilinearTrapezoid { half_width, margin, .. } => {
                (half_width * half_width / 3.0 + margin * margin / 9.0).sqrt()
            }
            Self::Arcsine { half_width, .. } => half_width / 2.0_f64.sqrt(),
            Self::LogNormal { factor, .. } => {
                let s = libm::log(*factor);
                self.mean() * libm::expm1(s * s).sqrt()
            }
            Self::Bernoulli { probability } => (probability * (1.0 - probability)).sqrt(),
            Self::TruncatedBelow { inner, low } => {
                if let Self::Normal { mean, sd } = **inner {
                    truncated_normal_moments(mean, sd, *low).1
                } else {
                    self.moments_by_quadrature().1
                }
            }
            Self::Empirical(table) => {
                let mean = self.mean();
                table
                    .windows(2)
                    .map(|w| {
                        let (a, b) = (w[0].1 - mean, w[1].1 - mean);
                        (w[1].0 - w[0].0) * (a * a + a * b + b * b) / 3.0
                    })
                    .sum::<f64>()
                    .sqrt()
            }
        }
    }

    /// Mean and standard deviation by the midpoint rule over the quantile.
    fn moments_by_quadrature(&self) -> (f64, f64) {
        let n = f64::from(MOMENT_PANELS);
        let values: Vec<f64> =
            (0..MOMENT_PANELS).map(|i| self.quantile((f64::from(i) + 0.5) / n)).collect();
        let mean = values.iter().sum::<f64>() / n;
        let variance = values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / n;
        (mean, variance.sqrt())
    }

    /// Distribution function `P(X ≤ x)`.
    pub fn cdf(&self, x: f64) -> f64 {
        match self {
            Self::Exact(value) => step(*value, x),
            Self::Normal { mean, sd } => {
                if *sd == 0.0 {
                    step(*mean, x)
                } else {
                    normal_cdf((x - mean) / sd)
                }
            }
            Self::StudentT { location, scale, degrees_of_freedom } => {
                if *scale == 0.0 {
                    step(*location, x)
                } else {
                    t_cdf((x - location) / scale, *degrees_of_freedom)
                }
            }
            Self::Uniform { centre, half_width } => {
                if *half_width == 0.0 {
                    step(*centre, x)
                } else {
                    (0.5 + 0.5 * (x - centre) / half_width).clamp(0.0, 1.0)
                }
            }
            Self::Triangular { low, mode, high } => {
                if x < *low {
                    0.0
                } else if x >= *high {
                    1.0
                } else if x < *mode {
                    (x - low) * (x - low) / ((high - low) * (mode - low))
                } else {
                    1.0 - (high - x) * (high - x) / ((high - low) * (high - mode))
                }
            }
            Self::Trapezoid { centre, half_width, top } => {
                if *half_width == 0.0 {
                    step(*centre, x)
                } else {
                    trapezoid_cdf((x - centre) / half_width, *top)
                }
            }
            Self::CurvilinearTrapezoid { centre, half_width, margin } => {
                if *half_width == 0.0 {
                    step(*centre, x)
                } else {
                    curvilinear_cdf((x - centre) / half_width, margin / half_width)
                }
            }
            Self::Arcsine { centre, half_width } => {
                if *half_width == 0.0 {
                    step(*centre, x)
                } else {
                    0.5 + libm::asin(((x - centre) / half_width).clamp(-1.0, 1.0)) / PI
                }
            }
            Self::LogNormal { median, factor } => {
                if x <= 0.0 {
                    0.0
                } else if *factor == 1.0 {
                    step(*median, x)
                } else {
                    normal_cdf(libm::log(x / median) / libm::log(*factor))
                }
            }
            Self::Bernoulli { probability } => {
                if x < 0.0 {
                    0.0
                } else if x < 1.0 {
                    1.0 - probability
                } else {
                    1.0
                }
            }
            Self::TruncatedBelow { inner, low } => {
                let below = inner.cdf(*low);
                ((inner.cdf(x) - below) / (1.0 - below)).clamp(0.0, 1.0)
            }
            Self::Empirical(table) => interpolate(table, x, |e| e.1, |e| e.0),
        }
    }

    /// Quantile: the value below which the share `p` of the distribution lies (`0 ≤ p ≤ 1`;
    /// `NaN` outside).
    pub fn quantile(&self, p: f64) -> f64 {
        if !(0.0..=1.0).contains(&p) {
            return f64::NAN;
        }
        match self {
            Self::Exact(value) => *value,
            Self::Normal { mean, sd } => {
                if *sd == 0.0 {
                    *mean
                } else {
                    mean + sd * normal_quantile(p)
                }
            }
            Self::StudentT { location, scale, degrees_of_freedom } => {
                if *scale == 0.0 {
                    *location
                } else {
                    location + scale * t_quantile(p, *degrees_of_freedom)
                }
            }
            Self::Uniform { centre, half_width } => centre + half_width * (2.0 * p - 1.0),
            Self::Triangular { low, mode, high } => {
                let width = high - low;
                if width == 0.0 {
                    return *mode;
                }
                if p < (mode - low) / width {
                    low + (p * width * (mode - low)).sqrt()
                } else {
                    high - ((1.0 - p) * width * (high - mode)).sqrt()
                }
            }
            Self::Trapezoid { centre, half_width, top } => {
                centre + half_width * trapezoid_quantile(p, *top)
            }
            Self::CurvilinearTrapezoid { centre, half_width, margin } => {
                if *half_width == 0.0 {
                    *centre
                } else {
                    centre + half_width * curvilinear_quantile(p, margin / half_width)
                }
            }
            Self::Arcsine { centre, half_width } => centre - half_width * libm::cos(PI * p),
            Self::LogNormal { median, factor } => {
                if *factor == 1.0 {
                    *median
                } else {
                    median * libm::exp(libm::log(*factor) * normal_quantile(p))
                }
            }
            Self::Bernoulli { probability } => f64::from(u8::from(p > 1.0 - probability)),
            Self::TruncatedBelow { inner, low } => {
                let below = inner.cdf(*low);
                inner.quantile((below + p * (1.0 - below)).min(1.0)).max(*low)
            }
            Self::Empirical(table) => interpolate(table, p, |e| e.0, |e| e.1),
        }
    }
}

fn check_table(table: &[(f64, f64)]) -> Result<(), DistributionError> {
    let first = table.first().ok_or(DistributionError::Table { index: 0 })?;
    if first.0 != 0.0 || !first.1.is_finite() {
        return Err(DistributionError::Table { index: 0 });
    }
    for (i, w) in table.windows(2).enumerate() {
        if !(w[1].0 > w[0].0 && w[1].1 >= w[0].1 && w[1].1.is_finite()) {
            return Err(DistributionError::Table { index: i + 1 });
        }
    }
    if table[table.len() - 1].0 == 1.0 {
        Ok(())
    } else {
        Err(DistributionError::Table { index: table.len() - 1 })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all() -> Vec<Distribution> {
        vec![
            Distribution::Normal { mean: 3.0, sd: 2.0 },
            Distribution::StudentT { location: 1.0, scale: 0.5, degrees_of_freedom: 5.0 },
            Distribution::Uniform { centre: -1.0, half_width: 0.3 },
            Distribution::Triangular { low: 0.0, mode: 1.0, high: 5.0 },
            Distribution::Trapezoid { centre: 2.0, half_width: 1.5, top: 0.4 },
            Distribution::CurvilinearTrapezoid { centre: 2.0, half_width: 1.5, margin: 0.5 },
            Distribution::Arcsine { centre: 0.1, half_width: 2.0 },
            Distribution::LogNormal { median: 12.0, factor: 1.2 },
            Distribution::Normal { mean: 1.0, sd: 2.0 }.not_below_zero(),
            Distribution::Uniform { centre: 0.5, half_width: 1.0 }.not_below_zero(),
            Distribution::Empirical(vec![(0.0, 1.0), (0.3, 2.0), (1.0, 7.0)]),
        ]
    }

    #[test]
    fn quantile_inverts_the_distribution_function() {
        for d in all() {
            d.check().unwrap();
            for i in 1..200 {
                let p = f64::from(i) / 200.0;
                assert!((d.cdf(d.quantile(p)) - p).abs() < 1e-10, "{d:?} at {p}");
            }
        }
    }

    #[test]
    fn moments_agree_with_the_quantile_integral() {
        for d in all() {
            let (mean, sd) = d.moments_by_quadrature();
            assert!((mean - d.mean()).abs() < 1e-3 * d.sd(), "{d:?}: {mean} {}", d.mean());
            assert!((sd / d.sd() - 1.0).abs() < 5e-3, "{d:?}: {sd} {}", d.sd());
        }
    }

    #[test]
    fn impossible_parameters_are_named() {
        assert!(Distribution::Normal { mean: 0.0, sd: -1.0 }.check().is_err());
        assert!(Distribution::LogNormal { median: 0.0, factor: 1.1 }.check().is_err());
        assert!(Distribution::Empirical(vec![(0.0, 1.0), (0.5, 0.5), (1.0, 2.0)]).check().is_err());
        assert!(Distribution::Bernoulli { probability: 1.2 }.check().is_err());
        assert!(Distribution::Exact(f64::NAN).check().is_err());
    }
}
