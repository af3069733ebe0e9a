//! Allan variance family: how the noise of a reading falls with the averaging time, and where it stops.
//!
//! Input are readings at even spacing (in the literature: fractional frequency). With
//! `x_k` their running integral and `m` readings per average:
//! * ADEV: `σ² = Σ(ȳ_{k+1} − ȳ_k)²/2(M−1)` over adjacent averages
//! * OADEV, MDEV, TDEV, HDEV, OHDEV as in the source.
//!
//! Source: Riley & Howe 2008, Handbook of Frequency Stability Analysis, NIST SP 1065, section 5.2.

/// Which member of the family.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Deviation {
    /// Allan deviation over adjacent averages.
    Allan,
    /// Overlapping Allan deviation: use this unless you must compare with the plain one.
    OverlappingAllan,
    /// Modified Allan deviation: tells white from flicker phase noise.
    ModifiedAllan,
    /// Time deviation `τ·MDEV/√3`.
    Time,
    /// Hadamard deviation: insensitive to a linear drift.
    Hadamard,
    /// Overlapping Hadamard deviation.
    OverlappingHadamard,
}

/// A point of a stability curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StabilityPoint {
    /// Averaging time, in s.
    pub averaging_time_s: f64,
    /// The deviation, in the unit of the readings (TDEV: times s).
    pub deviation: f64,
    /// Number of differences that entered.
    pub terms: usize,
}

/// The deviation of `readings` every `interval_s` averaged over `m` of them; `None` when there are too few.
pub fn stability(
    readings: &[f64],
    interval_s: f64,
    m: usize,
    deviation: Deviation,
) -> Option<StabilityPoint> {
    if m == 0 || interval_s.is_nan() || interval_s <= 0.0 {
        return None;
    }
    // Running integral over the deviation from the first reading, to keep digits.
    let base = *readings.first()?;
    let mut x = Vec::with_capacity(readings.len() + 1);
    let mut sum = crate::univariate::CompensatedSum::new();
    x.push(0.0);
    for y in readings {
        sum.add((y - base) * interval_s);
        x.push(sum.total());
    }
    let tau = m as f64 * interval_s;
    let second = |i: usize| x[i + 2 * m] - 2.0 * x[i + m] + x[i];
    let third = |i: usize| x[i + 3 * m] - 3.0 * x[i + 2 * m] + 3.0 * x[i + m] - x[i];
    let n = x.len();
    let stride = match deviation {
        Deviation::Allan | Deviation::Hadamard => m,
        _ => 1,
    };
    let (squares, terms, divisor): (f64, usize, f64) = match deviation {
        Deviation::Allan | Deviation::OverlappingAllan => {
            let starts = (0..n.checked_sub(2 * m)?).step_by(stride);
            (starts.clone().map(|i| second(i) * second(i)).sum(), starts.count(), 2.0)
        }
        Deviation::Hadamard | Deviation::OverlappingHadamard => {
            let starts = (0..n.checked_sub(3 * m)?).step_by(stride);
            (starts.clone().map(|i| third(i) * third(i)).sum(), starts.count(), 6.0)
        }
        Deviation::ModifiedAllan | Deviation::Time => {
            let terms = (n + 1).checked_sub(3 * m)?;
            if terms == 0 {
                return None;
            }
            let mut inner: f64 = (0..m).map(second).sum();
            let mut squares = inner * inner;
            for i in 0..terms - 1 {
                inner += second(i + m) - second(i);
                squares += inner * inner;
            }
            (squares, terms, 2.0 * (m as f64) * (m as f64))
        }
    };
    if terms == 0 {
        return None;
    }
    let plain = (squares / (divisor * terms as f64)).sqrt() / tau;
    let value = if deviation == Deviation::Time { plain * tau / 3.0_f64.sqrt() } else { plain };
    Some(StabilityPoint { averaging_time_s: tau, deviation: value, terms })
}

/// The curve at averaging factors 1, 2, 4, … as far as the readings reach.
pub fn stability_curve(
    readings: &[f64],
    interval_s: f64,
    deviation: Deviation,
) -> Vec<StabilityPoint> {
    core::iter::successors(Some(1_usize), |m| m.checked_mul(2))
        .map_while(|m| stability(readings, interval_s, m, deviation))
        .collect()
}
