//! Independent sources of uncertainty, known by name.

use crate::distribution::Distribution;
use std::sync::Arc;

/// Name of an independent source of uncertainty; the same name is the same source.
///
/// One name must always carry the same standard uncertainty and distribution: where two figures bring
/// different ones under one name, the first is used.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SourceId(Arc<str>);

impl SourceId {
    /// A source called `name`, for instance `meter A / 200 µA / gain`.
    pub fn new(name: &str) -> Self {
        Self(Arc::from(name))
    }

    /// The name.
    pub fn name(&self) -> &str {
        &self.0
    }
}

/// An independent source of uncertainty with mean zero.
#[derive(Clone, Debug, PartialEq)]
pub struct Source {
    /// Identity.
    pub id: SourceId,
    /// Standard uncertainty `u`, in the unit of the source.
    pub standard_uncertainty: f64,
    /// Degrees of freedom of `u`; infinite when `u` is taken as known.
    pub degrees_of_freedom: f64,
    /// Distribution of the deviation (centred on zero), for Monte Carlo.
    pub distribution: Distribution,
}

impl Source {
    /// Normal with standard uncertainty `u` taken as known.
    pub fn normal(name: &str, u: f64) -> Self {
        Self {
            id: SourceId::new(name),
            standard_uncertainty: u,
            degrees_of_freedom: f64::INFINITY,
            distribution: Distribution::Normal { mean: 0.0, sd: u },
        }
    }

    /// Type A: standard uncertainty `u` from repeats with `degrees_of_freedom`; sampled as scaled
    /// Student t (JCGM 101:2008, 6.4.9.2).
    pub fn type_a(name: &str, u: f64, degrees_of_freedom: f64) -> Self {
        Self {
            id: SourceId::new(name),
            standard_uncertainty: u,
            degrees_of_freedom,
            distribution: Distribution::StudentT { location: 0.0, scale: u, degrees_of_freedom },
        }
    }

    /// Rectangular with limits `±half_width`: `u = a/√3` (JCGM 100:2008, 4.3.7).
    pub fn rectangular(name: &str, half_width: f64) -> Self {
        Self::from_distribution(name, Distribution::Uniform { centre: 0.0, half_width })
    }

    /// Triangular with limits `±half_width`: `u = a/√6` (JCGM 100:2008, 4.3.9).
    pub fn triangular(name: &str, half_width: f64) -> Self {
        Self::from_distribution(
            name,
            Distribution::Triangular { low: -half_width, mode: 0.0, high: half_width },
        )
    }

    /// Any distribution of the deviation; `u` is its standard deviation. The caller centres it.
    pub fn from_distribution(name: &str, distribution: Distribution) -> Self {
        Self {
            id: SourceId::new(name),
            standard_uncertainty: distribution.sd(),
            degrees_of_freedom: f64::INFINITY,
            distribution,
        }
    }

    /// The same source with a stated reliability of its `u`:
    /// `ν ≈ ½·(Δu/u)⁻²` (JCGM 100:2008, G.4.2) gives the degrees of freedom.
    #[must_use]
    pub fn with_degrees_of_freedom(mut self, degrees_of_freedom: f64) -> Self {
        self.degrees_of_freedom = degrees_of_freedom;
        self
    }
}
