//! Overlapping Allan deviation of the floor, streaming over octaves in constant memory.
//!
//! σ²(mτ₀) = 1/(2(N−2m+1)) Σ (ȳ_{j+m} − ȳ_j)², ȳ_j the mean of m neighbouring values, j in steps of one (overlapping).
//! Source: W. Riley, D. Howe, *Handbook of Frequency Stability Analysis*, NIST SP 1065 (2008), section 5.2.4.

use std::collections::VecDeque;

/// One point of an Allan deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AllanPoint {
    /// Values averaged.
    pub m: u64,
    /// Deviation, in the unit of the values.
    pub deviation: f64,
    /// Squared differences in the mean.
    pub terms: u64,
}

/// Overlapping Allan deviation of `y` at averaging factor `m`; `None` with fewer than 2m values.
pub fn overlapping_allan(y: &[f64], m: usize) -> Option<AllanPoint> {
    if m == 0 || y.len() < 2 * m {
        return None;
    }
    let mut octave = Octave::new(m as u64, 1);
    for &x in y {
        octave.push(x);
    }
    octave.point()
}

/// Fully overlapped up to this averaging factor; beyond, values are averaged in groups first and overlap in steps of
/// a group. Keeps the memory of one octave bounded.
const LONGEST_OVERLAP: u64 = 512;
const OCTAVES: u32 = 40;

#[derive(Debug, Clone)]
struct Octave {
    /// Length of an average, in values handed in.
    m: u64,
    /// Values averaged to one before anything else.
    group: u64,
    partial: f64,
    in_partial: u64,
    window: VecDeque<f64>,
    first: f64,
    second: f64,
    sum_squares: f64,
    terms: u64,
}

impl Octave {
    fn new(m: u64, group: u64) -> Self {
        Self {
            m,
            group,
            partial: 0.0,
            in_partial: 0,
            window: VecDeque::new(),
            first: 0.0,
            second: 0.0,
            sum_squares: 0.0,
            terms: 0,
        }
    }

    fn push(&mut self, y: f64) {
        self.partial += y;
        self.in_partial += 1;
        if self.in_partial < self.group {
            return;
        }
        let y = self.partial / self.group as f64;
        (self.partial, self.in_partial) = (0.0, 0);
        let m = (self.m / self.group) as usize;
        self.window.push_back(y);
        let n = self.window.len();
        if n <= m {
            self.first += y;
        } else if n <= 2 * m {
            self.second += y;
        } else {
            let old = self.window.pop_front().unwrap_or(0.0);
            let middle = self.window[m - 1];
            self.first += middle - old;
            self.second += y - middle;
        }
        if self.window.len() == 2 * m {
            let d = (self.second - self.first) / m as f64;
            self.sum_squares += d * d;
            self.terms += 1;
        }
    }

    fn point(&self) -> Option<AllanPoint> {
        (self.terms > 0).then(|| AllanPoint {
            m: self.m,
            deviation: (self.sum_squares / (2.0 * self.terms as f64)).sqrt(),
            terms: self.terms,
        })
    }
}

/// All octaves at once.
#[derive(Debug, Clone)]
pub(crate) struct StreamingAllan {
    octaves: Vec<Octave>,
    pushed: u64,
}

impl StreamingAllan {
    pub(crate) fn new() -> Self {
        Self { octaves: vec![Octave::new(1, 1)], pushed: 0 }
    }

    /// Another value. An octave is opened when the first value that it needs arrives; it must see all values from the
    /// first on, so octaves are opened in advance, before the value that could miss one.
    pub(crate) fn push(&mut self, y: f64) {
        if self.pushed == 0 {
            for k in 1..OCTAVES {
                let m = 1u64 << k;
                self.octaves.push(Octave::new(m, (m / LONGEST_OVERLAP).max(1)));
            }
        }
        self.pushed += 1;
        for o in &mut self.octaves {
            o.push(y);
        }
    }

    pub(crate) fn points(&self) -> Vec<AllanPoint> {
        self.octaves.iter().filter_map(Octave::point).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn octaves_equal_the_direct_formula() {
        let mut x = 12345u64;
        let y: Vec<f64> = (0..3000)
            .map(|_| {
                x = x * 16807 % 2_147_483_647;
                x as f64 / 2_147_483_647.0
            })
            .collect();
        let mut s = StreamingAllan::new();
        for v in &y {
            s.push(*v);
        }
        for p in s.points() {
            let m = p.m as usize;
            let mean = |j: usize| y[j..j + m].iter().sum::<f64>() / m as f64;
            // Beyond 512 the averages overlap in steps of a group.
            let step = (m / LONGEST_OVERLAP as usize).max(1);
            let squares: Vec<f64> = (0..y.len())
                .map(|k| k * step)
                .take_while(|j| j + 2 * m <= y.len())
                .map(|j| (mean(j + m) - mean(j)) * (mean(j + m) - mean(j)))
                .collect();
            let want = (squares.iter().sum::<f64>() / (2.0 * squares.len() as f64)).sqrt();
            assert!((p.deviation / want - 1.0).abs() < 1e-9, "m = {m}: {} {want}", p.deviation);
            assert_eq!(p.terms, squares.len() as u64);
        }
    }
}
