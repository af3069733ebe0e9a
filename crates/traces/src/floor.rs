//! The sleep floor: the lowest dense mode of the log histogram, then the mean over whole windows asleep.

use crate::allan::StreamingAllan;
use crate::analysis::{Drift, DriftPoint};
use crate::cells::{Spread, Sum};
use crate::histogram::LogHistogram;

/// A mode must hold this share of the samples to be a floor. Common practice, no source.
const DENSE: f64 = 0.01;
/// Bins per decade of the smoothed histogram.
const PER_DECADE: f64 = 24.0;
/// Current that counts as zero (A): below every leakage of interest.
const TINY: f64 = 1e-12;

/// What the histogram says of the floor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Mode {
    /// Level (A).
    pub(crate) level_a: f64,
    /// Above this the board is awake (A).
    pub(crate) threshold_a: f64,
}

/// The lowest dense mode; `None` for an empty histogram.
pub(crate) fn lowest_dense_mode(h: &LogHistogram) -> Option<Mode> {
    let total = h.total();
    if total == 0 {
        return None;
    }
    if h.negative_share() > 0.02 {
        return mode_through_zero(h);
    }
    let index = |a: f64| ((libm::log10(a.max(TINY)) + 12.0) * PER_DECADE).max(0.0);
    let bins = (15.0 * PER_DECADE) as usize;
    let mut fine = vec![0.0f64; bins + 1];
    for b in &h.bins {
        let mid = f64::midpoint(b.low_a, b.high_a);
        let x = index(mid);
        let k = (x as usize).min(bins);
        fine[k] += b.count as f64;
    }
    // Triangular smoothing over ±3 bins (±⅛ decade).
    let smooth: Vec<f64> = (0..=bins)
        .map(|k| {
            (0..=6)
                .map(|d| {
                    let w = 4.0 - (d as f64 - 3.0).abs();
                    (k + d).checked_sub(3).and_then(|j| fine.get(j)).copied().unwrap_or(0.0) * w
                        / 16.0
                })
                .sum()
        })
        .collect();
    let n = total as f64;
    let mut k = 0;
    while k <= bins {
        let here = smooth[k];
        let is_peak = here > 0.0
            && (1..=4).all(|d| k < d || smooth[k - d] <= here)
            && (1..=4).all(|d| smooth.get(k + d).copied().unwrap_or(0.0) <= here);
        if is_peak {
            // The mode reaches down both sides to a valley: a twentieth of the peak, or the point from which it rises again.
            let (mut low, mut high) = (k, k);
            while low > 0 && smooth[low - 1] > here * 0.05 && smooth[low - 1] <= smooth[low] * 1.2 {
                low -= 1;
            }
            while high < bins
                && smooth[high + 1] > here * 0.05
                && smooth[high + 1] <= smooth[high] * 1.2
            {
                high += 1;
            }
            let mass: f64 = fine[low..=high].iter().sum();
            if mass >= DENSE * n {
                return Some(refine_mode(h, low, high, index));
            }
        }
        k += 1;
    }
    // No mode stands out: the median carries the threshold, so that the rest of the pass has one.
    let q = h.quantile(0.5)?.current_a;
    Some(Mode { level_a: q, threshold_a: (q * 3.0).max(TINY) })
}

/// Median of the samples in the mode, and a threshold above its spread.
fn refine_mode(h: &LogHistogram, low: usize, high: usize, index: impl Fn(f64) -> f64) -> Mode {
    let inside = |a: f64| {
        let k = index(a) as usize;
        k >= low && k <= high
    };
    let bins: Vec<_> = h.bins.iter().filter(|b| inside(f64::midpoint(b.low_a, b.high_a))).collect();
    let mass: u64 = bins.iter().map(|b| b.count).sum();
    let at = |p: f64| {
        let mut seen = 0.0;
        for b in &bins {
            seen += b.count as f64;
            if seen >= p * mass as f64 {
                return f64::midpoint(b.low_a, b.high_a).max(TINY);
            }
        }
        bins.last().map_or(TINY, |b| b.high_a.max(TINY))
    };
    let level = at(0.5);
    // 0.8413: one standard deviation above the median of a Gaussian.
    let spread = libm::log10(at(0.8413) / level).max(0.0);
    let factor = libm::pow(10.0, (7.0 * spread).clamp(std::f64::consts::LOG10_2, 1.3));
    Mode { level_a: level, threshold_a: level * factor }
}

/// A floor that noise or an offset carries through zero: no logarithm; linear about the centre of the low samples.
fn mode_through_zero(h: &LogHistogram) -> Option<Mode> {
    let total = h.total() as f64;
    // The noise below zero mirrors the noise above: the width comes from the negative side and the smallest positive.
    let negative: Vec<_> = h.bins.iter().filter(|b| b.low_a < 0.0).collect();
    let n: u64 = negative.iter().map(|b| b.count).sum();
    let mut seen = 0u64;
    let mut typical = TINY;
    for b in negative.iter().rev() {
        seen += b.count;
        if seen as f64 >= 0.68 * n as f64 {
            typical = b.low_a.abs().max(TINY);
            break;
        }
    }
    let reach = 10.0 * typical;
    let low: Vec<_> =
        h.bins.iter().filter(|b| b.high_a.abs() <= reach && b.low_a.abs() <= reach).collect();
    let mass: u64 = low.iter().map(|b| b.count).sum();
    if (mass as f64) < DENSE * total {
        return None;
    }
    let mut seen = 0u64;
    let mut level = 0.0;
    for b in &low {
        seen += b.count;
        if 2 * seen >= mass {
            level = f64::midpoint(b.low_a, b.high_a);
            break;
        }
    }
    Some(Mode { level_a: level, threshold_a: level.abs() + reach })
}

/// Means of whole windows asleep: mean, uncertainty from correlated data, drift.
#[derive(Debug, Clone)]
pub(crate) struct FloorWindows {
    pub(crate) window_s: f64,
    charge: f64,
    time: f64,
    pub(crate) count: u64,
    pub(crate) mean: Sum,
    levels: Vec<BatchLevel>,
    allan: StreamingAllan,
    recent: f64,
    // For the slope, about the first window.
    origin_s: f64,
    t: Spread,
    tt: f64,
    ty: f64,
    y: Spread,
}

#[derive(Debug, Clone, Default)]
struct BatchLevel {
    spread: Spread,
    half: Option<f64>,
}

impl FloorWindows {
    pub(crate) fn new(window_s: f64) -> Self {
        Self {
            window_s,
            charge: 0.0,
            time: 0.0,
            count: 0,
            mean: Sum::default(),
            levels: Vec::new(),
            allan: StreamingAllan::new(),
            recent: f64::NAN,
            origin_s: f64::NAN,
            t: Spread::default(),
            tt: 0.0,
            ty: 0.0,
            y: Spread::default(),
        }
    }

    /// Sleep is interrupted: the unfinished window is dropped.
    pub(crate) fn interrupt(&mut self) {
        self.charge = 0.0;
        self.time = 0.0;
    }

    /// What is shorter than this does not end the window (s).
    #[inline]
    pub(crate) fn left_s(&self) -> f64 {
        self.window_s * (1.0 - 1e-9) - self.time
    }

    #[inline]
    pub(crate) fn add(&mut self, charge_c: f64, covered_s: f64, now_s: f64) {
        self.charge += charge_c;
        self.time += covered_s;
        if self.time >= self.window_s * (1.0 - 1e-9) {
            let mean = self.charge / self.time;
            self.interrupt();
            self.window(mean, now_s);
        }
    }

    fn window(&mut self, mean: f64, now_s: f64) {
        self.count += 1;
        self.mean.add(mean);
        self.allan.push(mean);
        self.recent =
            if self.recent.is_nan() { mean } else { self.recent + (mean - self.recent) / 16.0 };
        if self.origin_s.is_nan() {
            self.origin_s = now_s;
        }
        let t = now_s - self.origin_s;
        let dt = t - self.t.mean;
        self.t.add(t);
        self.tt += dt * (t - self.t.mean);
        self.y.add(mean);
        self.ty += dt * (mean - self.y.mean);
        let mut value = mean;
        for k in 0.. {
            if k == self.levels.len() {
                self.levels.push(BatchLevel::default());
            }
            let level = &mut self.levels[k];
            level.spread.add(value);
            match level.half.take() {
                None => {
                    level.half = Some(value);
                    return;
                }
                Some(first) => value = f64::midpoint(first, value),
            }
        }
    }

    /// The floor just now: an exponential mean over about 16 windows.
    pub(crate) fn recent_a(&self) -> Option<f64> {
        (!self.recent.is_nan()).then_some(self.recent)
    }

    pub(crate) fn mean_a(&self) -> Option<f64> {
        (self.count > 0).then(|| self.mean.value() / self.count as f64)
    }

    /// Standard error of the mean of correlated values: the largest over dyadic batches with at least 16 of them (or the smallest
    /// batches, where there are fewer).
    /// Source: H. Flyvbjerg, H. G. Petersen, *J. Chem. Phys.* 91 (1989) 461–466.
    pub(crate) fn standard_error_a(&self) -> Option<f64> {
        self.levels
            .iter()
            .enumerate()
            .filter(|(k, l)| l.spread.count >= if *k == 0 { 2 } else { 16 })
            .filter_map(|(_, l)| l.spread.deviation().map(|s| s / (l.spread.count as f64).sqrt()))
            .reduce(f64::max)
    }

    pub(crate) fn drift(&self) -> Option<Drift> {
        if self.count < 4 {
            return None;
        }
        Some(Drift {
            points: self
                .allan
                .points()
                .into_iter()
                .map(|p| DriftPoint {
                    tau_s: p.m as f64 * self.window_s,
                    deviation_a: p.deviation,
                    terms: p.terms,
                })
                .collect(),
            slope_a_per_s: if self.tt > 0.0 { self.ty / self.tt } else { 0.0 },
        })
    }
}
