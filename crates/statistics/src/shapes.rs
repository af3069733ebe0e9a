//! Shapes behind the distributions: steps, tables, trapezoids, curvilinear trapezoids, cut normals.

use crate::special::{normal_cdf, normal_density};

/// Distribution function of a single point.
pub(crate) fn step(at: f64, x: f64) -> f64 {
    if x < at { 0.0 } else { 1.0 }
}

/// Linear interpolation of `to` over `from` in a rising table; constant beyond its ends.
pub(crate) fn interpolate<T>(
    table: &[T],
    x: f64,
    from: impl Fn(&T) -> f64,
    to: impl Fn(&T) -> f64,
) -> f64 {
    let Some(last) = table.last() else { return f64::NAN };
    let i = table.partition_point(|e| from(e) <= x);
    if i == 0 {
        return if from(&table[0]) <= x { to(&table[0]) } else { to(&table[0]).min(to(last)) };
    }
    if i == table.len() {
        return to(last);
    }
    let (a, b) = (&table[i - 1], &table[i]);
    to(a) + (x - from(a)) / (from(b) - from(a)) * (to(b) - to(a))
}

/// Moments of a normal distribution cut below `low` (Johnson, Kotz & Balakrishnan 1994, §10.1).
pub(crate) fn truncated_normal_moments(mean: f64, sd: f64, low: f64) -> (f64, f64) {
    if sd == 0.0 {
        return (mean.max(low), 0.0);
    }
    let a = (low - mean) / sd;
    let ratio = normal_density(a) / normal_cdf(-a);
    let variance = (1.0 + a * ratio - ratio * ratio).max(0.0);
    (mean + sd * ratio, sd * variance.sqrt())
}

/// Distribution function of the trapezoid on [−1, 1] with relative top width `top`.
pub(crate) fn trapezoid_cdf(x: f64, top: f64) -> f64 {
    let upper = |x: f64| -> f64 {
        // Upper tail for 0 ≤ x ≤ 1; height of the flat top is 1/(1 + top).
        if x <= top {
            0.5 - x / (1.0 + top)
        } else {
            0.5 * (1.0 - x) * (1.0 - x) / ((1.0 - top) * (1.0 + top))
        }
    };
    if x <= -1.0 {
        0.0
    } else if x >= 1.0 {
        1.0
    } else if x < 0.0 {
        upper(-x)
    } else {
        1.0 - upper(x)
    }
}

/// Quantile of the same trapezoid.
pub(crate) fn trapezoid_quantile(p: f64, top: f64) -> f64 {
    let tail = p.min(1.0 - p);
    let corner = 0.5 * (1.0 - top) / (1.0 + top);
    let x = if tail < corner {
        1.0 - (2.0 * tail * (1.0 - top) * (1.0 + top)).sqrt()
    } else {
        (0.5 - tail) * (1.0 + top)
    };
    if p < 0.5 { -x } else { x }
}

/// Distribution function of a rectangle on [−w, w] whose `w` is uniform on `1 ± d`.
///
/// `F(x) = ½ + (x·ln((1+d)/m) + (x − m if x > m))/(4d)`, `m = max(x, 1−d)`, odd about ½:
/// the integral of `ln((1+d)/max(|x|, 1−d))/(4d)` (JCGM 101:2008, 6.4.3.2).
pub(crate) fn curvilinear_cdf(x: f64, d: f64) -> f64 {
    if d == 0.0 {
        return (0.5 + 0.5 * x).clamp(0.0, 1.0);
    }
    let y = x.abs().min(1.0 + d);
    let half = if y <= 1.0 - d {
        y * libm::log((1.0 + d) / (1.0 - d))
    } else {
        y * libm::log((1.0 + d) / y) + y - (1.0 - d)
    } / (4.0 * d);
    if x < 0.0 { 0.5 - half } else { 0.5 + half }
}

/// Quantile of the same, by bisection to the last digit.
pub(crate) fn curvilinear_quantile(p: f64, d: f64) -> f64 {
    let (mut low, mut high) = (-(1.0 + d), 1.0 + d);
    for _ in 0..64 {
        let middle = 0.5 * (low + high);
        if curvilinear_cdf(middle, d) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}
