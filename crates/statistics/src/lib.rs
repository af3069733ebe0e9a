//! Distributions, quasi-random draws, uncertain figures with shared sources, fits and quantiles.
//!
//! Pure: no input or output, no clock, no threads. Elementary functions come from `libm`, so the
//! same seed gives the same bits on every machine.

pub mod allan;
mod distribution;
mod draws;
mod figure;
pub mod fit;
pub mod information;
pub mod propagate;
mod sampler;
mod shapes;
mod sobol_table;
mod source;
pub mod special;
pub mod univariate;

pub use distribution::{Distribution, DistributionError};
pub use draws::{Column, Draws, Scramble};
pub use figure::{Budget, BudgetRow, Coverage, CoverageRule, Figure, FigureError};
pub use sampler::{Sampler, Tables};
pub use source::{Source, SourceId};
