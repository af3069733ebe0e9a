//! Samples in a row, with their times and the sample before them.

use crate::cells::Cell;
use crate::reduce::CellSums;
use crate::wakes::Step;

/// Where times come from.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Clock<'a> {
    /// Written down, one for each sample.
    Stamps(&'a [f64]),
    /// The sample's number times the step: nothing has to be read for it.
    Even {
        /// Time of sample 0 (s).
        zero_s: f64,
        /// Step (s).
        step_s: f64,
    },
}

/// The samples of one cell.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Run<'a> {
    pub(crate) first_sample: u64,
    /// Time and current of the sample before; `None` at the trace's first sample.
    pub(crate) before: Option<(f64, f64)>,
    pub(crate) clock: Clock<'a>,
    pub(crate) current: &'a [f64],
    /// An interval longer than this is a gap (s).
    pub(crate) gap_s: f64,
}

impl<'a> Run<'a> {
    pub(crate) fn len(&self) -> usize {
        self.current.len()
    }

    /// All of it as one cell; `charge_c` of its intervals, which are taken to be whole.
    pub(crate) fn cell(&self, sums: &CellSums, charge_c: f64) -> Cell {
        let (start_s, end_s) = (self.time_s(0), self.time_s(self.len() - 1));
        Cell {
            first_sample: self.first_sample,
            samples: self.len() as u64,
            start_s,
            end_s,
            min_a: sums.min,
            max_a: sums.max,
            sum_a: sums.sum,
            charge_c,
            covered_s: end_s - self.before.map_or(start_s, |b| b.0),
        }
    }

    /// Time of the run's `k`-th sample (s).
    #[inline]
    pub(crate) fn time_s(&self, k: usize) -> f64 {
        match self.clock {
            Clock::Stamps(t) => t[k],
            Clock::Even { zero_s, step_s } => {
                zero_s + (self.first_sample + k as u64) as f64 * step_s
            }
        }
    }

    /// Appends all times.
    pub(crate) fn times_to(&self, out: &mut Vec<f64>) {
        match self.clock {
            Clock::Stamps(t) => out.extend_from_slice(t),
            Clock::Even { .. } => out.extend((0..self.len()).map(|k| self.time_s(k))),
        }
    }

    /// The `k`-th sample with the interval that leads to it.
    #[inline]
    pub(crate) fn step(&self, k: usize) -> Step {
        let (time_s, current_a) = (self.time_s(k), self.current[k]);
        let before = match k {
            0 => self.before,
            _ => Some((self.time_s(k - 1), self.current[k - 1])),
        };
        let (dt, last_a) = before.map_or((0.0, 0.0), |(t, i)| (time_s - t, i));
        let broken = before.is_some() && (dt < 0.0 || dt > self.gap_s);
        let counts = before.is_some() && !broken;
        Step {
            sample: self.first_sample + k as u64,
            time_s,
            current_a,
            charge_c: if counts { 0.5 * (current_a + last_a) * dt } else { 0.0 },
            covered_s: if counts { dt } else { 0.0 },
            broken,
        }
    }

    /// Samples one by one.
    pub(crate) fn steps(self) -> impl Iterator<Item = Step> + 'a {
        (0..self.len()).map(move |k| self.step(k))
    }

    /// Charge (C) and duration (s) of the intervals that lead to these samples, none of them broken.
    pub(crate) fn between(&self, from: usize, to: usize) -> (f64, f64) {
        match (
            self.clock,
            from.checked_sub(1).map(|b| self.current[b]).or(self.before.map(|b| b.1)),
        ) {
            (Clock::Even { step_s, .. }, Some(before)) => {
                let samples = &self.current[from..to];
                let ends = 0.5 * (before - samples.last().copied().unwrap_or(before));
                (step_s * (crate::reduce::sum(samples) + ends), step_s * samples.len() as f64)
            }
            _ => (from..to).map(|k| self.step(k)).fold((0.0, 0.0), |(charge, covered), s| {
                (charge + s.charge_c, covered + s.covered_s)
            }),
        }
    }
}
