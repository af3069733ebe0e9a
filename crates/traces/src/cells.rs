//! Cells: a run of samples reduced to extremes, sum and charge; and the envelope, a fixed number of them over any length.

use serde::{Deserialize, Serialize};

/// A run of samples. Cells add: merging two neighbours gives the cell of the joined run.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Cell {
    /// Number of the first sample.
    pub first_sample: u64,
    /// Samples.
    pub samples: u64,
    /// Time of the first sample (s).
    pub start_s: f64,
    /// Time of the last sample (s).
    pub end_s: f64,
    /// Lowest (A).
    pub min_a: f64,
    /// Highest (A).
    pub max_a: f64,
    /// Sum of the samples (A).
    pub sum_a: f64,
    /// Charge of the intervals that end at its samples (C), gaps excluded.
    pub charge_c: f64,
    /// Their duration (s), gaps excluded.
    pub covered_s: f64,
}

impl Cell {
    /// Mean of the samples (A).
    pub fn mean_a(&self) -> f64 {
        self.sum_a / self.samples as f64
    }

    pub(crate) fn single(
        sample: u64,
        time_s: f64,
        current_a: f64,
        charge_c: f64,
        covered_s: f64,
    ) -> Self {
        Self {
            first_sample: sample,
            samples: 1,
            start_s: time_s,
            end_s: time_s,
            min_a: current_a,
            max_a: current_a,
            sum_a: current_a,
            charge_c,
            covered_s,
        }
    }

    pub(crate) fn merge(&mut self, next: &Self) {
        self.samples += next.samples;
        self.end_s = next.end_s;
        if next.min_a < self.min_a {
            self.min_a = next.min_a;
        }
        if next.max_a > self.max_a {
            self.max_a = next.max_a;
        }
        self.sum_a += next.sum_a;
        self.charge_c += next.charge_c;
        self.covered_s += next.covered_s;
    }
}

/// Minimum, mean and maximum over equal stretches of the trace.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Envelope {
    /// Samples in a cell (the last may hold fewer).
    pub samples_per_cell: u64,
    /// In order.
    pub cells: Vec<Cell>,
}

impl Envelope {
    /// At most `cells` cells that cover what this one covers: for a plot of so many columns.
    #[must_use]
    pub fn reduced(&self, cells: usize) -> Self {
        let every = self.cells.len().div_ceil(cells.max(1)).max(1);
        let mut out = Vec::with_capacity(self.cells.len().div_ceil(every));
        for group in self.cells.chunks(every) {
            let mut c = group[0];
            for next in &group[1..] {
                c.merge(next);
            }
            out.push(c);
        }
        Self { samples_per_cell: self.samples_per_cell * every as u64, cells: out }
    }
}

/// At most `capacity` cells over any number of samples: when full, neighbours are merged and cells double in width.
#[derive(Debug, Clone)]
pub(crate) struct Coalescing {
    capacity: usize,
    width: u64,
    cells: Vec<Cell>,
    partial: Option<Cell>,
}

impl Coalescing {
    pub(crate) fn new(capacity: usize) -> Self {
        let capacity = capacity.max(2) & !1;
        // Room for all of them: what is not written is not there, and growing would copy.
        Self { capacity, width: 1, cells: Vec::with_capacity(capacity), partial: None }
    }

    /// Samples in a cell. Hand in cells no wider than this, so that all become equally wide.
    pub(crate) fn width(&self) -> u64 {
        self.width
    }

    /// Starts with cells of this width.
    pub(crate) fn of_width(capacity: usize, width: u64) -> Self {
        Self { width, ..Self::new(capacity) }
    }

    #[inline]
    pub(crate) fn push(&mut self, cell: Cell) {
        if self.width == 1 {
            self.cells.push(cell);
        } else {
            match &mut self.partial {
                None => self.partial = Some(cell),
                Some(p) => p.merge(&cell),
            }
            if self.partial.is_some_and(|p| p.samples >= self.width) {
                self.cells.extend(self.partial.take());
            }
        }
        if self.cells.len() >= self.capacity {
            for k in 0..self.cells.len() / 2 {
                let mut a = self.cells[2 * k];
                a.merge(&self.cells[2 * k + 1]);
                self.cells[k] = a;
            }
            self.cells.truncate(self.cells.len() / 2);
            self.width *= 2;
        }
    }

    /// All cells, the unfinished one included.
    pub(crate) fn finished(&self) -> Vec<Cell> {
        let mut all = self.cells.clone();
        all.extend(self.partial);
        all
    }
}

/// Compensated sum: the rounding error of each addition is carried along (D. E. Knuth, *The Art of Computer Programming* 2, 4.2.2, theorem B).
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Sum {
    sum: f64,
    lost: f64,
}

impl Sum {
    #[inline]
    pub(crate) fn add(&mut self, x: f64) {
        // Knuth's form of the error: no branch.
        let t = self.sum + x;
        let part = t - self.sum;
        self.lost += (self.sum - (t - part)) + (x - part);
        self.sum = t;
    }

    pub(crate) fn value(&self) -> f64 {
        self.sum + self.lost
    }
}

/// Mean and variance over repetitions (Welford 1962).
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Spread {
    pub(crate) count: u64,
    pub(crate) mean: f64,
    squares: f64,
}

impl Spread {
    pub(crate) fn add(&mut self, x: f64) {
        self.count += 1;
        let d = x - self.mean;
        self.mean += d / self.count as f64;
        self.squares += d * (x - self.mean);
    }

    pub(crate) fn deviation(&self) -> Option<f64> {
        (self.count > 1).then(|| (self.squares / (self.count - 1) as f64).max(0.0).sqrt())
    }

    pub(crate) fn estimate(&self) -> crate::load::Estimate {
        crate::load::Estimate {
            value: self.mean,
            standard_uncertainty: self.deviation().map(|s| s / (self.count as f64).sqrt()),
            standard_deviation: self.deviation(),
            count: self.count,
        }
    }
}
