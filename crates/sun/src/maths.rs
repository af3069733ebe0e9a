//! The few elementary functions this crate needs, from `libm`, so that results are the same on every machine.

pub(crate) use libm::{acos, asin, atan, atan2, exp, log, pow, sincos, tan};

/// Sine of an angle in degrees.
#[inline]
pub(crate) fn sin_deg(angle_deg: f64) -> f64 {
    libm::sin(angle_deg.to_radians())
}

/// Cosine of an angle in degrees.
#[inline]
pub(crate) fn cos_deg(angle_deg: f64) -> f64 {
    libm::cos(angle_deg.to_radians())
}

/// An angle brought into 0…360 degrees.
#[inline]
pub(crate) fn wrap_deg(angle_deg: f64) -> f64 {
    let wrapped = angle_deg.rem_euclid(360.0);
    // rem_euclid of a tiny negative number rounds up to 360 itself.
    if wrapped >= 360.0 { 0.0 } else { wrapped }
}

/// A polynomial by Horner's rule, lowest coefficient first.
#[inline]
pub(crate) fn polynomial(x: f64, coefficients: &[f64]) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}
