//! How a day's clearness index is spread round the month's mean: a truncated exponential.
//!
//! `F(K) = (e^{γK} − e^{γK_min})/(e^{γK_max} − e^{γK_min})` with `K_min = 0.05`, `K_max = 0.6313 + 0.267 K̄ − 11.9 (K̄ − 0.75)⁸` and `γ` such
//! that the mean is `K̄`. Source: P. Bendt, M. Collares-Pereira and A. Rabl, Solar Energy 27(1), 1-5, 1981 (the exponential);
//! K. G. T. Hollands and R. G. Huget, Solar Energy 30(3), 195-209, 1983 (the upper limit).

use crate::maths::{exp, log};

/// The least clearness of a day.
pub const LEAST: f64 = 0.05;
/// Range of monthly clearness for which the upper limit was fitted; outside it the distribution is an extrapolation and is flagged.
pub const FITTED: core::ops::RangeInclusive<f64> = 0.3..=0.7;

/// The distribution of a month's daily clearness index.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DailyClearness {
    /// The month's mean.
    pub mean: f64,
    /// The least value.
    pub least: f64,
    /// The greatest value.
    pub greatest: f64,
    /// The exponent `γ`.
    pub gamma: f64,
}

/// The greatest daily clearness in a month of mean clearness `K̄`.
pub fn greatest(mean: f64) -> f64 {
    let d = mean - 0.75;
    let d2 = d * d;
    let d4 = d2 * d2;
    0.6313 + 0.267 * mean - 11.9 * d4 * d4
}

impl DailyClearness {
    /// The distribution for a monthly mean; `None` for a mean outside 0.01…0.80, which no month on Earth has.
    ///
    /// Below a mean of about 0.15 the fitted limits no longer enclose it well; there the limits `K̄/3` and `3K̄` take over (assumed).
    pub fn new(mean: f64) -> Option<Self> {
        if !(0.01..=0.80).contains(&mean) {
            return None;
        }
        let least = LEAST.min(mean / 3.0);
        let greatest =
            greatest(mean).max(mean * if mean < 0.3 { 3.0 } else { 1.0 } + 0.01).min(0.88);
        let gamma = solve_gamma(mean, least, greatest);
        Some(Self { mean, least, greatest, gamma })
    }

    /// The clearness below which a share `u` (0…1) of the days lies.
    pub fn quantile(&self, u: f64) -> f64 {
        let width = self.greatest - self.least;
        let x = self.gamma * width;
        if x.abs() < 1e-9 {
            return self.least + u * width;
        }
        // Written from the heavy end, so that a large |γ| does not overflow.
        if x > 0.0 {
            self.greatest + log(u + (1.0 - u) * exp(-x)) / self.gamma
        } else {
            self.least + log(1.0 - u + u * exp(x)) / self.gamma
        }
    }

    /// The share of days below a clearness.
    pub fn share_below(&self, clearness: f64) -> f64 {
        let width = self.greatest - self.least;
        let t = ((clearness - self.least) / width).clamp(0.0, 1.0);
        let x = self.gamma * width;
        if x.abs() < 1e-9 { t } else { libm::expm1(x * t) / libm::expm1(x) }
    }
}

/// Mean of the exponential `e^{γK}` on `least…greatest`.
pub fn mean_of(gamma: f64, least: f64, greatest: f64) -> f64 {
    let width = greatest - least;
    let x = gamma * width;
    // least + width·(1/(1 − e^{−x}) − 1/x)
    let share = if x.abs() < 1e-4 { 0.5 + x / 12.0 } else { -1.0 / libm::expm1(-x) - 1.0 / x };
    least + width * share
}

fn solve_gamma(mean: f64, least: f64, greatest: f64) -> f64 {
    let (mut low, mut high) = (-2000.0, 2000.0);
    for _ in 0..80 {
        let mid = 0.5 * (low + high);
        if mean_of(mid, least, greatest) < mean {
            low = mid;
        } else {
            high = mid;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mean_is_the_mean() {
        for mean in [0.05, 0.1, 0.2, 0.3, 0.45, 0.5, 0.6, 0.7, 0.75] {
            let d = DailyClearness::new(mean).unwrap();
            let n = 20_000;
            let average: f64 =
                (0..n).map(|i| d.quantile((f64::from(i) + 0.5) / f64::from(n))).sum::<f64>()
                    / f64::from(n);
            assert!((average - mean).abs() < 1e-5, "{mean}: {average} {d:?}");
            for u in [0.01, 0.3, 0.99] {
                assert!((d.share_below(d.quantile(u)) - u).abs() < 1e-9);
            }
        }
        assert!(DailyClearness::new(0.9).is_none());
    }
}
