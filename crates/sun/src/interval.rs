//! The interval that belongs to "so many years of so many".

use crate::maths::{exp, log};
use overwinter_statistics::special::proportion_bounds;

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
    let bounds = proportion_bounds(events, trials, 0.95)?;
    let one_sided = 1.0 - exp(log(0.05) / f64::from(trials));
    Some(Share {
        share: f64::from(events) / f64::from(trials),
        low: if events == trials { 1.0 - one_sided } else { bounds.low },
        high: if events == 0 { one_sided } else { bounds.high },
        trials,
    })
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
