//! Special functions and quantiles: normal, Student t, F, incomplete beta.
//!
//! All built on `libm`, so that results are bit-identical on every machine.

use core::f64::consts::{PI, SQRT_2};

/// Density of the standard normal distribution, `φ(z) = exp(−z²/2)/√(2π)`.
pub fn normal_density(z: f64) -> f64 {
    0.398_942_280_401_432_7 * libm::exp(-0.5 * z * z)
}

/// Distribution function of the standard normal distribution, `Φ(z) = ½·erfc(−z/√2)`.
///
/// Relative accuracy of `libm::erfc` (better than 1e-15) also in the far lower tail.
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * libm::erfc(-z / SQRT_2)
}

/// Evaluates a polynomial with the constant term first.
fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

/// Quantile of the standard normal distribution, `z` with `Φ(z) = p`.
///
/// Valid for `0 ≤ p ≤ 1` (0 and 1 give ∓∞); `NaN` outside.
/// Relative error about 1e-16 as published; the round trip through [`normal_cdf`] is tested to 1e-14.
///
/// Source: Wichura 1988, Algorithm AS 241 (PPND16), Applied Statistics 37:477–484.
pub fn normal_quantile(p: f64) -> f64 {
    const A: [f64; 8] = [
        3.387_132_872_796_366_5,
        1.331_416_678_917_843_8e2,
        1.971_590_950_306_551_3e3,
        1.373_169_376_550_946e4,
        4.592_195_393_154_987e4,
        6.726_577_092_700_87e4,
        3.343_057_558_358_813e4,
        2.509_080_928_730_122_7e3,
    ];
    const B: [f64; 8] = [
        1.0,
        4.231_333_070_160_091e1,
        6.871_870_074_920_579e2,
        5.394_196_021_424_751e3,
        2.121_379_430_158_659_7e4,
        3.930_789_580_009_271e4,
        2.872_908_573_572_194_3e4,
        5.226_495_278_852_545e3,
    ];
    const C: [f64; 8] = [
        1.423_437_110_749_683_5,
        4.630_337_846_156_546,
        5.769_497_221_460_691,
        3.647_848_324_763_204_5,
        1.270_458_252_452_368_4,
        2.417_807_251_774_506e-1,
        2.272_384_498_926_918_4e-2,
        7.745_450_142_783_414e-4,
    ];
    const D: [f64; 8] = [
        1.0,
        2.053_191_626_637_759,
        1.676_384_830_183_803_8,
        6.897_673_349_851e-1,
        1.481_039_764_274_800_8e-1,
        1.519_866_656_361_645_7e-2,
        5.475_938_084_995_345e-4,
        1.050_750_071_644_416_9e-9,
    ];
    const E: [f64; 8] = [
        6.657_904_643_501_103,
        5.463_784_911_164_114,
        1.784_826_539_917_291_3,
        2.965_605_718_285_048_7e-1,
        2.653_218_952_657_612_4e-2,
        1.242_660_947_388_078_4e-3,
        2.711_555_568_743_487_6e-5,
        2.010_334_399_292_288_1e-7,
    ];
    const F: [f64; 8] = [
        1.0,
        5.998_322_065_558_88e-1,
        1.369_298_809_227_358e-1,
        1.487_536_129_085_061_5e-2,
        7.868_691_311_456_133e-4,
        1.846_318_317_510_054_8e-5,
        1.421_511_758_316_446e-7,
        2.044_263_103_389_939_8e-15,
    ];
    if !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    if p == 0.0 {
        return f64::NEG_INFINITY;
    }
    if p == 1.0 {
        return f64::INFINITY;
    }
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        let r = 0.180_625 - q * q;
        return q * polynomial(&A, r) / polynomial(&B, r);
    }
    let tail = if q < 0.0 { p } else { 1.0 - p };
    let r = (-libm::log(tail)).sqrt();
    let z = if r <= 5.0 {
        polynomial(&C, r - 1.6) / polynomial(&D, r - 1.6)
    } else {
        polynomial(&E, r - 5.0) / polynomial(&F, r - 5.0)
    };
    if q < 0.0 { -z } else { z }
}

/// Natural logarithm of the beta function `B(a, b)`.
fn ln_beta(a: f64, b: f64) -> f64 {
    libm::lgamma(a) + libm::lgamma(b) - libm::lgamma(a + b)
}

/// Regularised incomplete beta function `I_x(a, b)`, `a > 0`, `b > 0`, `0 ≤ x ≤ 1`.
///
/// Continued fraction DLMF 8.17.22 evaluated by the modified Lentz method; relative error about
/// 1e-13 for `a`, `b` up to 1e5. `NaN` outside its domain.
///
/// Source: NIST Digital Library of Mathematical Functions, §8.17(v).
pub fn incomplete_beta(x: f64, a: f64, b: f64) -> f64 {
    if !(0.0..=1.0).contains(&x) || a.is_nan() || a <= 0.0 || b.is_nan() || b <= 0.0 {
        return f64::NAN;
    }
    if x == 0.0 || x == 1.0 {
        return x;
    }
    if x > (a + 1.0) / (a + b + 2.0) {
        return 1.0 - incomplete_beta_fraction(1.0 - x, b, a);
    }
    incomplete_beta_fraction(x, a, b)
}

/// `I_x(a, b)` by the continued fraction, where it converges fast.
fn incomplete_beta_fraction(x: f64, a: f64, b: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let front = libm::exp(a * libm::log(x) + b * libm::log1p(-x) - ln_beta(a, b)) / a;
    let mut c = 1.0;
    let mut d = 1.0 - (a + b) * x / (a + 1.0);
    if d.abs() < TINY {
        d = TINY;
    }
    d = 1.0 / d;
    let mut h = d;
    for m in 1..2000 {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = nonzero(1.0 + even * d, TINY);
        c = nonzero(1.0 + even / c, TINY);
        d = 1.0 / d;
        h *= d * c;
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = nonzero(1.0 + odd * d, TINY);
        c = nonzero(1.0 + odd / c, TINY);
        d = 1.0 / d;
        let step = d * c;
        h *= step;
        if (step - 1.0).abs() < 1e-16 {
            break;
        }
    }
    front * h
}

/// Keeps a Lentz denominator away from zero.
fn nonzero(value: f64, tiny: f64) -> f64 {
    if value.abs() < tiny { tiny } else { value }
}

/// Quantile of the beta distribution: `x` with `I_x(a, b) = p`.
///
/// Bracketed Newton iteration; error below 1e-13 in `x`. `NaN` outside `0 ≤ p ≤ 1`, `a, b > 0`.
pub fn beta_quantile(p: f64, a: f64, b: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) || a.is_nan() || a <= 0.0 || b.is_nan() || b <= 0.0 {
        return f64::NAN;
    }
    if p == 0.0 || p == 1.0 {
        return p;
    }
    let (mut low, mut high) = (0.0_f64, 1.0_f64);
    let mut x = a / (a + b);
    for _ in 0..200 {
        let excess = incomplete_beta(x, a, b) - p;
        if excess > 0.0 {
            high = x;
        } else {
            low = x;
        }
        let density =
            libm::exp((a - 1.0) * libm::log(x) + (b - 1.0) * libm::log1p(-x) - ln_beta(a, b));
        let mut next = x - excess / density;
        if !(next > low && next < high) {
            next = 0.5 * (low + high);
        }
        if (next - x).abs() <= 1e-15 * x || high - low < 1e-300 {
            return next;
        }
        x = next;
    }
    x
}

/// Upper tail `P(T > t)` of Student's t with `degrees_of_freedom`, for `t ≥ 0`.
fn t_upper_tail(t: f64, degrees_of_freedom: f64) -> f64 {
    let t2 = t * t;
    let n = degrees_of_freedom;
    if t2 < 3.0 {
        0.5 - 0.5 * incomplete_beta(t2 / (n + t2), 0.5, 0.5 * n)
    } else {
        0.5 * incomplete_beta(n / (n + t2), 0.5 * n, 0.5)
    }
}

/// Above this many degrees of freedom Student's t is taken as normal (difference below 1e-7 of z).
const NORMAL_FROM_DEGREES_OF_FREEDOM: f64 = 1e7;

/// Distribution function of Student's t; `degrees_of_freedom > 0`, may be infinite (normal).
pub fn t_cdf(t: f64, degrees_of_freedom: f64) -> f64 {
    if degrees_of_freedom.is_nan() || degrees_of_freedom <= 0.0 {
        return f64::NAN;
    }
    if degrees_of_freedom > NORMAL_FROM_DEGREES_OF_FREEDOM {
        return normal_cdf(t);
    }
    if t < 0.0 {
        t_upper_tail(-t, degrees_of_freedom)
    } else {
        1.0 - t_upper_tail(t, degrees_of_freedom)
    }
}

/// Quantile of Student's t: `t` with `P(T ≤ t) = p`.
///
/// Closed forms for 1 and 2 degrees of freedom, else a Newton iteration on the logarithm of the
/// tail from a Cornish–Fisher start; relative error below 1e-12. `NaN` outside `0 ≤ p ≤ 1` or for
/// degrees of freedom that are not positive; infinite degrees of freedom give the normal quantile.
pub fn t_quantile(p: f64, degrees_of_freedom: f64) -> f64 {
    let n = degrees_of_freedom;
    if !(0.0..=1.0).contains(&p) || n.is_nan() || n <= 0.0 {
        return f64::NAN;
    }
    if n > NORMAL_FROM_DEGREES_OF_FREEDOM || p == 0.0 || p == 1.0 || p == 0.5 {
        return normal_quantile(p);
    }
    let tail = if p < 0.5 { p } else { 1.0 - p };
    let sign = if p < 0.5 { -1.0 } else { 1.0 };
    if n == 1.0 {
        return sign / libm::tan(PI * tail);
    }
    if n == 2.0 {
        let a = 4.0 * tail * (1.0 - tail);
        return sign * 2.0 * (0.5 - tail) * (2.0 / a).sqrt();
    }
    let z = -normal_quantile(tail);
    let z2 = z * z;
    let mut t =
        z * (1.0 + (z2 + 1.0) / (4.0 * n) + (5.0 * z2 * z2 + 16.0 * z2 + 3.0) / (96.0 * n * n));
    let ln_density_scale =
        libm::lgamma(0.5 * (n + 1.0)) - libm::lgamma(0.5 * n) - 0.5 * libm::log(n * PI);
    for _ in 0..60 {
        let upper = t_upper_tail(t, n);
        let density = libm::exp(ln_density_scale - 0.5 * (n + 1.0) * libm::log1p(t * t / n));
        let step = libm::log(upper / tail) * upper / density;
        let next = t + step;
        let next = if next > 0.0 { next } else { 0.5 * t };
        if (next - t).abs() <= 1e-14 * t {
            t = next;
            break;
        }
        t = next;
    }
    sign * t
}

/// Quantile of the F distribution with `numerator` and `denominator` degrees of freedom.
///
/// `F = (d₂/d₁)·x/(1−x)`, `x` the beta quantile of `(d₁/2, d₂/2)`.
pub fn f_quantile(p: f64, numerator: f64, denominator: f64) -> f64 {
    let x = beta_quantile(p, 0.5 * numerator, 0.5 * denominator);
    denominator / numerator * x / (1.0 - x)
}

/// Distribution function of the F distribution.
pub fn f_cdf(f: f64, numerator: f64, denominator: f64) -> f64 {
    if f <= 0.0 {
        return 0.0;
    }
    incomplete_beta(
        numerator * f / (numerator * f + denominator),
        0.5 * numerator,
        0.5 * denominator,
    )
}

/// Exact (Clopper–Pearson) bounds for a proportion.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ProportionBounds {
    /// Observed proportion `k/n`; `None` when nothing was tried.
    pub observed: Option<f64>,
    /// Lower bound.
    pub low: f64,
    /// Upper bound.
    pub high: f64,
    /// Confidence of the interval, between 0 and 1.
    pub confidence: f64,
}

/// Exact two-sided bounds for `events` of `trials`, both tails `(1−confidence)/2`.
///
/// `low = B⁻¹(α/2; k, n−k+1)`, `high = B⁻¹(1−α/2; k+1, n−k)`. With no trials the bounds are 0 and 1.
/// `events > trials` gives `None`.
///
/// Source: Clopper & Pearson 1934, Biometrika 26:404–413.
pub fn proportion_bounds(events: u32, trials: u32, confidence: f64) -> Option<ProportionBounds> {
    if events > trials || !(0.0..1.0).contains(&confidence) {
        return None;
    }
    let (k, n) = (f64::from(events), f64::from(trials));
    let tail = 0.5 * (1.0 - confidence);
    let low = if events == 0 { 0.0 } else { beta_quantile(tail, k, n - k + 1.0) };
    let high = if events == trials { 1.0 } else { beta_quantile(1.0 - tail, k + 1.0, n - k) };
    let observed = (trials > 0).then(|| k / n);
    Some(ProportionBounds { observed, low, high, confidence })
}

/// Exact one-sided upper bound for a proportion after `events` of `trials`.
///
/// For no events it is `1 − (1−confidence)^(1/n)`, about `3/n` at 95 % ("rule of three").
pub fn proportion_upper_bound(events: u32, trials: u32, confidence: f64) -> Option<f64> {
    if events > trials || !(0.0..1.0).contains(&confidence) {
        return None;
    }
    if events == trials {
        return Some(1.0);
    }
    let (k, n) = (f64::from(events), f64::from(trials));
    Some(beta_quantile(confidence, k + 1.0, n - k))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normal_quantile_and_cdf_are_inverse() {
        for i in 1..4000 {
            let z = -8.0 + f64::from(i) * 0.002;
            let p = normal_cdf(z);
            assert!((normal_quantile(p) - z).abs() < 1e-13 * (1.0 + z.abs()), "{z}");
        }
        assert!(normal_quantile(-0.1).is_nan());
    }

    #[test]
    fn t_quantiles_of_the_guide() {
        // JCGM 100:2008 table G.2, fraction 95 % (upper 97.5 % point).
        for (n, t) in
            [(1.0, 12.706), (2.0, 4.303), (5.0, 2.571), (9.0, 2.262), (16.0, 2.120), (50.0, 2.009)]
        {
            assert!((t_quantile(0.975, n) - t).abs() < 6e-4, "{n}: {}", t_quantile(0.975, n));
        }
        for n in [1.0, 1.5, 2.0, 3.0, 7.5, 50.0, 1e4] {
            for p in [1e-9, 0.001, 0.3, 0.49, 0.6, 0.99, 0.9999] {
                let back = t_cdf(t_quantile(p, n), n);
                assert!((back / p - 1.0).abs() < 1e-11, "n {n} p {p} back {back}");
            }
        }
    }

    #[test]
    fn no_reset_in_twenty_still_allows_fourteen_percent() {
        // job: "0/20 still only means < 14 % at 95 %" (one-sided 1 − 0.05^(1/20) = 0.1391).
        let upper = proportion_upper_bound(0, 20, 0.95).unwrap();
        assert!((upper - (1.0 - libm::pow(0.05, 0.05))).abs() < 1e-12);
        assert!(upper < 0.14 && upper > 0.139);
        assert_eq!(proportion_upper_bound(3, 2, 0.95), None);
    }
}
