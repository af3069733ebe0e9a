//! What point samples, averaging windows and bandwidth make of bursts.

/// A train of bursts on a floor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bursts {
    /// Current between bursts, A.
    pub floor_a: f64,
    /// Current in a burst above the floor, A.
    pub burst_a: f64,
    /// Length of a burst, s.
    pub width_s: f64,
    /// Time from burst to burst, s.
    pub period_s: f64,
}

/// What point samples of a burst train are worth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PointSampling {
    /// True mean current, A.
    pub true_mean_a: f64,
    /// Samples taken.
    pub samples: f64,
    /// Expected number of samples that fall on a burst.
    pub expected_hits: f64,
    /// Chance that none does: the reading is the floor.
    pub chance_of_missing_all: f64,
    /// Standard deviation of the mean of the samples, relative to the burst part of the true mean.
    pub relative_scatter_of_bursts: f64,
    /// The same, relative to the whole true mean.
    pub relative_scatter_of_mean: f64,
}

/// Point samples at `rate_hz` for `duration_s`, not locked to the bursts.
///
/// Each sample hits with probability `p = width/period`, independently:
/// `P(no hit) = (1 − p)ⁿ`, scatter `burst·√(p(1−p)/n)`. `None` for a train or a sampling that cannot be.
/// Source: binomial distribution.
pub fn point_sampling(bursts: &Bursts, rate_hz: f64, duration_s: f64) -> Option<PointSampling> {
    let p = bursts.width_s / bursts.period_s;
    let samples = rate_hz * duration_s;
    if !(p > 0.0 && p <= 1.0 && samples >= 1.0 && samples.is_finite()) {
        return None;
    }
    let burst_mean = bursts.burst_a * p;
    let true_mean_a = bursts.floor_a + burst_mean;
    let scatter = bursts.burst_a * (p * (1.0 - p) / samples).sqrt();
    Some(PointSampling {
        true_mean_a,
        samples,
        expected_hits: samples * p,
        chance_of_missing_all: libm::exp(samples * libm::log1p(-p)),
        relative_scatter_of_bursts: scatter / burst_mean,
        relative_scatter_of_mean: scatter / true_mean_a,
    })
}

/// Shortest averaging window for a relative truncation error: `period/error` (a window of `N` periods
/// errs by at most `1/N`), s. `None` unless both are positive.
pub fn averaging_window_s(period_s: f64, relative_error: f64) -> Option<f64> {
    (period_s > 0.0 && relative_error > 0.0).then(|| period_s / relative_error)
}

/// Smallest filter time constant in front of the shunt: ten burst periods. Common practice, no source.
pub fn filter_time_constant_s(period_s: f64) -> f64 {
    10.0 * period_s
}

/// Bandwidth that follows an edge: `0.35/t_r` (single-pole response, 10 to 90 %), Hz.
pub fn bandwidth_hz(rise_time_s: f64) -> Option<f64> {
    (rise_time_s > 0.0).then(|| 0.35 / rise_time_s)
}

/// What an auto-ranging meter loses while it changes range: at most `gap/period` of the charge when
/// every burst triggers a change. Lock the range instead.
pub fn lost_to_range_changes(gap_s: f64, period_s: f64) -> Option<f64> {
    (gap_s >= 0.0 && period_s > 0.0).then(|| (gap_s / period_s).min(1.0))
}
