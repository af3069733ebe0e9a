//! A stretch of the trace that is cut into phases: single samples, or cells where there are too many of them.

use crate::cells::Cell;
use crate::reduce::{highest, sum};
use crate::wakes::Step;
use std::ops::Range;

/// What cutting and summing need to know of a stretch. Ranges count its elements.
pub(crate) trait Stretch {
    fn len(&self) -> usize;
    /// Mean over the samples (A).
    fn mean_a(&self, range: Range<usize>) -> f64;
    /// Highest (A).
    fn max_a(&self, range: Range<usize>) -> f64;
    /// Charge of the intervals that end in the range (C).
    fn charge_c(&self, range: Range<usize>) -> f64;
    /// Their duration (s).
    fn covered_s(&self, range: Range<usize>) -> f64;
    fn start_s(&self, element: usize) -> f64;
    /// Duration of the elements that reach this current (s).
    fn covered_above_s(&self, range: Range<usize>, current_a: f64) -> f64;
    /// Number, time and current, where the element is one sample.
    fn single(&self, element: usize) -> Option<(u64, f64, f64)>;
    /// How many elements start at or before this sample.
    fn up_to_sample(&self, sample: u64) -> usize;
}

impl Stretch for [Cell] {
    fn len(&self) -> usize {
        <[Cell]>::len(self)
    }

    fn mean_a(&self, range: Range<usize>) -> f64 {
        let g = &self[range];
        g.iter().map(|c| c.sum_a).sum::<f64>() / g.iter().map(|c| c.samples).sum::<u64>() as f64
    }

    fn max_a(&self, range: Range<usize>) -> f64 {
        self[range].iter().map(|c| c.max_a).fold(f64::NEG_INFINITY, f64::max)
    }

    fn charge_c(&self, range: Range<usize>) -> f64 {
        self[range].iter().map(|c| c.charge_c).sum()
    }

    fn covered_s(&self, range: Range<usize>) -> f64 {
        self[range].iter().map(|c| c.covered_s).sum()
    }

    fn start_s(&self, element: usize) -> f64 {
        self[element].start_s
    }

    fn covered_above_s(&self, range: Range<usize>, current_a: f64) -> f64 {
        self[range].iter().filter(|c| c.max_a >= current_a).map(|c| c.covered_s).sum()
    }

    fn single(&self, element: usize) -> Option<(u64, f64, f64)> {
        let c = self.get(element).filter(|c| c.samples == 1)?;
        Some((c.first_sample, c.start_s, c.sum_a))
    }

    fn up_to_sample(&self, sample: u64) -> usize {
        self.partition_point(|c| c.first_sample <= sample)
    }
}

/// Consecutive samples; the first brings the interval that leads to it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Samples<'a> {
    pub(crate) first: Step,
    pub(crate) time_s: &'a [f64],
    pub(crate) current_a: &'a [f64],
}

impl Stretch for Samples<'_> {
    fn len(&self) -> usize {
        self.current_a.len()
    }

    fn mean_a(&self, range: Range<usize>) -> f64 {
        let n = range.len() as f64;
        sum(&self.current_a[range]) / n
    }

    fn max_a(&self, range: Range<usize>) -> f64 {
        highest(&self.current_a[range])
    }

    fn charge_c(&self, range: Range<usize>) -> f64 {
        let edge = if range.start == 0 && range.end > 0 { self.first.charge_c } else { 0.0 };
        let from = range.start.max(1);
        if range.end <= from {
            return edge;
        }
        let (t, i) = (&self.time_s[from - 1..range.end], &self.current_a[from - 1..range.end]);
        let mut lanes = [0.0f64; 4];
        for k in 1..t.len() {
            lanes[k % 4] += (i[k - 1] + i[k]) * (t[k] - t[k - 1]);
        }
        edge + 0.5 * ((lanes[0] + lanes[1]) + (lanes[2] + lanes[3]))
    }

    fn covered_s(&self, range: Range<usize>) -> f64 {
        let edge = if range.start == 0 && range.end > 0 { self.first.covered_s } else { 0.0 };
        let from = range.start.max(1);
        if range.end <= from {
            edge
        } else {
            edge + self.time_s[range.end - 1] - self.time_s[from - 1]
        }
    }

    fn start_s(&self, element: usize) -> f64 {
        self.time_s[element]
    }

    fn covered_above_s(&self, range: Range<usize>, current_a: f64) -> f64 {
        let edge = if range.start == 0 && self.current_a[0] >= current_a {
            self.first.covered_s
        } else {
            0.0
        };
        let from = range.start.max(1);
        let mut lanes = [0.0f64; 4];
        for k in from..range.end {
            let dt = self.time_s[k] - self.time_s[k - 1];
            lanes[k % 4] += if self.current_a[k] >= current_a { dt } else { 0.0 };
        }
        edge + ((lanes[0] + lanes[1]) + (lanes[2] + lanes[3]))
    }

    fn single(&self, element: usize) -> Option<(u64, f64, f64)> {
        let current_a = *self.current_a.get(element)?;
        Some((self.first.sample + element as u64, self.time_s[element], current_a))
    }

    fn up_to_sample(&self, sample: u64) -> usize {
        match sample.checked_sub(self.first.sample) {
            None => 0,
            Some(k) => {
                usize::try_from(k).map_or(self.len(), |k| k.saturating_add(1).min(self.len()))
            }
        }
    }
}
