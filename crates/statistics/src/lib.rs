//! Distributions, quasi-random draws, uncertain figures with shared sources, fits and quantiles.
