//! The interval that belongs to "so many years of so many".

use crate::maths::{exp, log};

/// A share with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Share {
    /// Events over trials.
    pub share: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Trials.
    pub trials: u32,
}

/// The exact 95 % interval of a share (C. J. Clopper and E. S. Pearson, Biometrika 26(4), 404-413, 1934).
///
/// With no event (or only events) the interval is one-sided: `1 − 0.05^(1/n)`, the exact form of the rule of three `3/n` (J. A. Hanley and A.
/// Lippman-Hand, JAMA 249(13), 1743-1745, 1983). `None` without trials.
pub fn share_with_interval(events: u32, trials: u32) -> Option<Share> {
    if trials == 0 || events > trials {
        return None;
    }
    let (k, n) = (f64::from(events), f64::from(trials));
    let one_sided = 1.0 - exp(log(0.05) / n);
    let low = if events == 0 {
        0.0
    } else if events == trials {
        1.0 - one_sided
    } else {
        beta_quantile(0.025, k, n - k + 1.0)
    };
    let high = if events == trials {
        1.0
    } else if events == 0 {
        one_sided
    } else {
        beta_quantile(0.975, k + 1.0, n - k)
    };
    Some(Share { share: k / n, low, high, trials })
}

fn beta_quantile(p: f64, a: f64, b: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..60 {
        let mid = 0.5 * (low + high);
        if regularised_beta(mid, a, b) < p {
            low = mid;
        } else {
            high = mid;
        }
    }
    0.5 * (low + high)
}

/// Regularised incomplete beta function `I_x(a, b)` by its continued fraction (Abramowitz & Stegun 26.5.8, modified Lentz).
fn regularised_beta(x: f64, a: f64, b: f64) -> f64 {
    if x <= 0.0 || x >= 1.0 {
        return if x <= 0.0 { 0.0 } else { 1.0 };
    }
    if x > (a + 1.0) / (a + b + 2.0) {
        return 1.0 - regularised_beta(1.0 - x, b, a);
    }
    let front = exp(libm::lgamma(a + b) - libm::lgamma(a) - libm::lgamma(b)
        + a * log(x)
        + b * libm::log1p(-x))
        / a;
    let tiny = 1e-300;
    let (mut c, mut d) = (1.0, 1.0 - (a + b) * x / (a + 1.0));
    d = 1.0 / if d.abs() < tiny { tiny } else { d };
    let mut h = d;
    for m in 1..1000 {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        for numerator in [even, odd] {
            d = 1.0 + numerator * d;
            d = 1.0 / if d.abs() < tiny { tiny } else { d };
            c = 1.0 + numerator / c;
            if c.abs() < tiny {
                c = tiny;
            }
            h *= d * c;
        }
        if (d * c - 1.0).abs() < 1e-15 {
            break;
        }
    }
    front * h
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_intervals() {
        // 0 of 6000: 3/6000; scipy.stats.beta.ppf for 3 of 20 and 1890 of 2000.
        let none = share_with_interval(0, 6000).unwrap();
        assert!(none.low == 0.0 && (none.high - 3.0 / 6000.0).abs() < 1e-6);
        let s = share_with_interval(3, 20).unwrap();
        assert!((s.low - 0.03207094).abs() < 1e-7 && (s.high - 0.37892683).abs() < 1e-7, "{s:?}");
        let s = share_with_interval(1890, 2000).unwrap();
        assert!((s.low - 0.93408802).abs() < 1e-7 && (s.high - 0.95458285).abs() < 1e-7, "{s:?}");
        assert!(share_with_interval(1, 0).is_none());
    }
}
