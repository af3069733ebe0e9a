//! Weather that could have been: years of days and hours with the right mean, spread and persistence, from twelve monthly figures.

pub mod clearness;
pub mod climate;
pub mod geometry;
