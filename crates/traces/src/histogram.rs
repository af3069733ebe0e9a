//! A log-scale histogram with no limits to choose: the bin is the number's own exponent and leading mantissa bits.
//!
//! Bin of `x`: the upper 19 bits of its IEEE 754 pattern (sign, 11 exponent bits, 7 mantissa bits), so a bin spans 2^e/128: a relative
//! width between 0.39 % and 0.78 %, from 2⁻⁶⁰ to 2⁴⁰ A on both sides of zero. Counting is independent of order, so worker threads count
//! by themselves and the sums are exact.

#![allow(
    clippy::disallowed_methods,
    reason = "nothing here calls an elementary function; bits only"
)]

use crate::analysis::Quantile;
use serde::{Deserialize, Serialize};

const SHIFT: u32 = 45;
/// Bins of the exponents −60 … 40: from 0.9 aA to 1 TA. What lies outside is counted in the outermost bin.
const LOWEST: u64 = (1023 - 60) << 7;
const BINS: usize = 100 << 7;

/// Counts per bin, as they are built.
#[derive(Clone)]
pub(crate) struct Counter {
    /// Two tables, so that a run of equal samples does not wait for its own last increment.
    even: Vec<u64>,
    odd: Vec<u64>,
    below_zero: Vec<u64>,
}

impl Counter {
    pub(crate) fn new() -> Self {
        Self { even: vec![0; BINS], odd: vec![0; BINS], below_zero: vec![0; BINS] }
    }

    pub(crate) fn add(&mut self, samples: &[f64]) {
        let mut pairs = samples.chunks_exact(2);
        for pair in &mut pairs {
            match self.even.get_mut(bin_of(pair[0])) {
                Some(n) => *n = n.wrapping_add(1),
                None => self.outside(pair[0], 1),
            }
            match self.odd.get_mut(bin_of(pair[1])) {
                Some(n) => *n = n.wrapping_add(1),
                None => self.outside(pair[1], 1),
            }
        }
        for &x in pairs.remainder() {
            match self.even.get_mut(bin_of(x)) {
                Some(n) => *n = n.wrapping_add(1),
                None => self.outside(x, 1),
            }
        }
    }

    /// The same reading several times.
    pub(crate) fn add_many(&mut self, x: f64, times: u64) {
        match self.even.get_mut(bin_of(x)) {
            Some(n) => *n = n.wrapping_add(times),
            None => self.outside(x, times),
        }
    }

    /// Uncounts samples that this counter or another one has counted: a bin by itself may fall below zero, the sum of the counters does not.
    pub(crate) fn take_back(&mut self, samples: &[f64]) {
        for x in samples {
            self.add_many(*x, u64::MAX);
        }
    }

    /// Negative, tiny, huge; NaN (a missing sample) is not counted.
    fn outside(&mut self, x: f64, times: u64) {
        if x.is_nan() {
            return;
        }
        let table = if x < 0.0 { &mut self.below_zero } else { &mut self.even };
        let bin = bin_of(x.abs());
        let bin = if bin < BINS {
            bin
        } else if x.abs() < 1.0 {
            0
        } else {
            BINS - 1
        };
        table[bin] = table[bin].wrapping_add(times);
    }

    /// Bins that are not empty, from the most negative to the most positive current.
    #[allow(
        clippy::needless_pass_by_value,
        reason = "an iterator is cheap to hand over and is cloned for each bin"
    )]
    pub(crate) fn sparse<'a>(counters: impl Iterator<Item = &'a Self> + Clone) -> LogHistogram {
        let mut bins = Vec::new();
        for bin in (0..BINS).rev() {
            let count = counters.clone().fold(0u64, |n, c| n.wrapping_add(c.below_zero[bin]));
            if count > 0 {
                let (low, high) = limits(bin);
                bins.push(HistogramBin { low_a: -high, high_a: -low, count });
            }
        }
        for bin in 0..BINS {
            let count = counters
                .clone()
                .fold(0u64, |n, c| n.wrapping_add(c.even[bin]).wrapping_add(c.odd[bin]));
            if count > 0 {
                let (low_a, high_a) = limits(bin);
                bins.push(HistogramBin { low_a, high_a, count });
            }
        }
        LogHistogram { bins }
    }
}

#[inline]
fn bin_of(x: f64) -> usize {
    (x.to_bits() >> SHIFT).wrapping_sub(LOWEST) as usize
}

/// The lowest bin reaches down to zero.
fn limits(bin: usize) -> (f64, f64) {
    let edge = |b: usize| f64::from_bits((b as u64 + LOWEST) << SHIFT);
    (if bin == 0 { 0.0 } else { edge(bin) }, edge(bin + 1))
}

/// One bin.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HistogramBin {
    /// From (A).
    pub low_a: f64,
    /// To (A).
    pub high_a: f64,
    /// Samples.
    pub count: u64,
}

/// The bins that hold samples, in ascending order of current.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct LogHistogram {
    /// 128 bins to each power of two.
    pub bins: Vec<HistogramBin>,
}

impl LogHistogram {
    /// Of these samples.
    pub fn of(samples: &[f64]) -> Self {
        let mut c = Counter::new();
        c.add(samples);
        Counter::sparse(std::iter::once(&c))
    }

    /// All samples.
    pub fn total(&self) -> u64 {
        self.bins.iter().map(|b| b.count).sum()
    }

    /// The quantile at `probability`, linear inside its bin; `None` without samples.
    ///
    /// The sample quantile (any of the usual definitions, up to one rank) lies within the half-width: half the bin, 0.2–0.4 % of
    /// the value, or up to the next occupied bin where the rank falls between two.
    pub fn quantile(&self, probability: f64) -> Option<Quantile> {
        let total = self.total();
        if total == 0 {
            return None;
        }
        let p = probability.clamp(0.0, 1.0);
        let rank = p * (total - 1) as f64;
        let mut before = 0u64;
        for (k, b) in self.bins.iter().enumerate() {
            let last_rank = (before + b.count - 1) as f64;
            if rank <= last_rank {
                let inside = (rank - before as f64 + 0.5) / b.count as f64;
                let at = b.low_a + (b.high_a - b.low_a) * inside.clamp(0.0, 1.0);
                return Some(Quantile {
                    probability: p,
                    current_a: at,
                    half_width_a: (b.high_a - at).max(at - b.low_a),
                });
            }
            if rank < last_rank + 1.0 {
                let Some(next) = self.bins.get(k + 1) else { break };
                let share = rank - last_rank;
                let (x, y) =
                    (f64::midpoint(b.low_a, b.high_a), f64::midpoint(next.low_a, next.high_a));
                let at = x + (y - x) * share;
                return Some(Quantile {
                    probability: p,
                    current_a: at,
                    half_width_a: (next.high_a - at).max(at - b.low_a),
                });
            }
            before += b.count;
        }
        let b = self.bins.last()?;
        Some(Quantile { probability: p, current_a: b.high_a, half_width_a: b.high_a - b.low_a })
    }

    /// Share of samples below zero.
    pub fn negative_share(&self) -> f64 {
        let n: u64 =
            self.bins.iter().filter(|b| b.high_a <= 0.0 && b.low_a < 0.0).map(|b| b.count).sum();
        n as f64 / self.total().max(1) as f64
    }
}
