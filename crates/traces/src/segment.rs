//! Segmentation of log current into phases.
//!
//! Optimal partitioning with pruning (PELT): the breaks that minimise `Σ cost(segment) + β·(number of breaks)`, the cost
//! being the sum of squares about the segment's mean. Exact, not approximate.
//! Source: R. Killick, P. Fearnhead, I. A. Eckley, *J. Am. Stat. Assoc.* 107 (2012) 1590–1598.
//!
//! The logarithm is taken of each cell's mean, so that charge is kept and a phase at 10 µA counts as much as one at 100 mA. Steps
//! smaller than [`SMALLEST_STEP`] are not phases; a level that flaps between two values (a regulator's bursts, a polling
//! loop) is one phase marked `bursts`.

use crate::analysis::Phase;
use crate::cells::Cell;
use crate::stretch::Stretch;

/// A step smaller than this many decades (10 %) is drift, not a phase. Common practice, no source.
pub(crate) const SMALLEST_STEP: f64 = 0.0414;
/// Noise assumed at least (decades), so that a noiseless trace is not cut at its last digit.
const SMALLEST_NOISE: f64 = 0.004;
/// Cells handed to the exact segmentation at most; breaks are then placed on single cells.
const COARSE: usize = 1024;
/// Changes of level in a row, to and fro, that make a flapping phase: four periods.
const FLAPS: usize = 8;

/// Breaks and their cost.
#[derive(Debug, Clone, PartialEq)]
pub struct Segmentation {
    /// End of each segment, exclusive; the last is the number of values.
    pub ends: Vec<usize>,
    /// Sum of squares about the segments' means, penalty not included.
    pub cost: f64,
}

/// Exact penalised least-squares segmentation of `y`; segments hold at least `min_size` values.
///
/// `penalty` is β, per break. Values must be finite; others are taken as the previous value. Empty input: no segments.
pub fn pelt(y: &[f64], penalty: f64, min_size: usize) -> Segmentation {
    pelt_at(y, penalty, min_size, |_| true)
}

/// The same with breaks only where `allowed`.
fn pelt_at(
    y: &[f64],
    penalty: f64,
    min_size: usize,
    allowed: impl Fn(usize) -> bool,
) -> Segmentation {
    let n = y.len();
    let min_size = min_size.max(1);
    if n == 0 {
        return Segmentation { ends: Vec::new(), cost: 0.0 };
    }
    let sums = Prefix::new(y);
    let mut best = vec![f64::INFINITY; n + 1];
    let mut from = vec![0usize; n + 1];
    best[0] = -penalty;
    // Candidate and the position at which it was beaten; with a least size it can still win until a segment fits behind that.
    let mut candidates: Vec<(usize, usize)> = Vec::new();
    for t in 1..=n {
        if t >= min_size {
            let s = t - min_size;
            if s == 0 || (s >= min_size && allowed(s)) {
                candidates.push((s, usize::MAX));
            }
        }
        candidates.retain(|&(_, beaten)| beaten == usize::MAX || t < beaten + min_size);
        if t < n && !allowed(t) {
            continue;
        }
        for &(s, _) in &candidates {
            let v = best[s] + sums.cost(s, t) + penalty;
            if v < best[t] {
                best[t] = v;
                from[t] = s;
            }
        }
        if best[t].is_finite() {
            for c in &mut candidates {
                if c.1 == usize::MAX && best[c.0] + sums.cost(c.0, t) > best[t] {
                    c.1 = t;
                }
            }
        }
    }
    if !best[n].is_finite() {
        return Segmentation { ends: vec![n], cost: sums.cost(0, n) };
    }
    let mut ends = Vec::new();
    let mut t = n;
    while t > 0 {
        ends.push(t);
        t = from[t];
    }
    ends.reverse();
    let mut cost = 0.0;
    let mut start = 0;
    for &e in &ends {
        cost += y[start..e].iter().map(|v| v - sums.mean(start, e)).map(|d| d * d).sum::<f64>();
        start = e;
    }
    Segmentation { ends, cost }
}

/// β = 2·σ²·ln n: the usual penalty for a change of mean in Gaussian noise of standard deviation `noise`.
/// Source: Y.-C. Yao, *Statistics & Probability Letters* 6 (1988) 181–189 (a Schwarz criterion for the number of changes).
pub fn pelt_penalty(noise: f64, values: usize) -> f64 {
    2.0 * noise * noise * libm::log(values.max(2) as f64)
}

/// Sums from the start, of values less their overall mean, so that large offsets do not cancel digits.
struct Prefix {
    shift: f64,
    sum: Vec<f64>,
    squares: Vec<f64>,
}

impl Prefix {
    fn new(y: &[f64]) -> Self {
        let shift = y.iter().copied().filter(|v| v.is_finite()).sum::<f64>() / y.len() as f64;
        let mut sum = Vec::with_capacity(y.len() + 1);
        let mut squares = Vec::with_capacity(y.len() + 1);
        let (mut a, mut b, mut last) = (0.0, 0.0, 0.0);
        sum.push(0.0);
        squares.push(0.0);
        for &v in y {
            let d = if v.is_finite() { v - shift } else { last };
            last = d;
            a += d;
            b += d * d;
            sum.push(a);
            squares.push(b);
        }
        Self { shift, sum, squares }
    }

    #[inline]
    fn cost(&self, s: usize, t: usize) -> f64 {
        let d = self.sum[t] - self.sum[s];
        (self.squares[t] - self.squares[s] - d * d / (t - s) as f64).max(0.0)
    }

    fn mean(&self, s: usize, t: usize) -> f64 {
        self.shift + (self.sum[t] - self.sum[s]) / (t - s) as f64
    }
}

/// Noise of a level, from the median absolute first difference: steps hardly move it.
pub(crate) fn noise_of(y: &[f64]) -> f64 {
    let mut d: Vec<f64> = y.windows(2).map(|w| (w[1] - w[0]).abs()).collect();
    // 1.4826: median absolute deviation to standard deviation of a Gaussian; √2: a difference has twice the variance.
    median(&mut d).map_or(0.0, |m| m * 1.4826 / std::f64::consts::SQRT_2)
}

pub(crate) fn median(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let mid = values.len() / 2;
    Some(*values.select_nth_unstable_by(mid, f64::total_cmp).1)
}

fn level(a: f64) -> f64 {
    // One picoampere stands for everything at and below it: zero and negative currents have no logarithm.
    libm::log10(a.max(1e-12))
}

/// A cut of cells: `[start, end)` and whether it flaps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Cut {
    pub(crate) start: usize,
    pub(crate) end: usize,
    pub(crate) bursts: bool,
}

/// Cuts the first `n` elements of a stretch into phases.
pub(crate) fn cut<S: Stretch + ?Sized>(stretch: &S, n: usize) -> Vec<Cut> {
    if n == 0 {
        return Vec::new();
    }
    let every = n.div_ceil(COARSE);
    let coarse: Vec<f64> =
        (0..n).step_by(every).map(|k| level(stretch.mean_a(k..(k + every).min(n)))).collect();
    let noise = noise_of(&coarse).max(SMALLEST_NOISE);
    let allowed = contrasts(&coarse, noise);
    // Half as much again as Yao's penalty: real noise has heavier tails than a Gaussian.
    let found = pelt_at(&coarse, 1.5 * pelt_penalty(noise, coarse.len()), 2, |k| allowed[k]);
    let mut ends = found.ends;
    join_small_steps(&coarse, &mut ends);
    let mut cuts = join_flaps(&coarse, &ends);
    if every > 1 {
        refine(stretch, n, &mut cuts, every);
        join_alike(stretch, &mut cuts);
    }
    cuts
}

/// Where a break may stand: where the means of 2, 4 or 16 values on both sides differ by more than twice their noise.
/// A level without steps then costs next to nothing, instead of the square of its length.
fn contrasts(y: &[f64], noise: f64) -> Vec<bool> {
    let n = y.len();
    let sums = Prefix::new(y);
    let mut allowed = vec![false; n];
    for reach in [2usize, 4, 16] {
        let limit = (2.0 * noise * (2.0 / reach as f64).sqrt()).max(0.5 * SMALLEST_STEP);
        for (k, place) in allowed.iter_mut().enumerate().skip(1) {
            let (low, high) = (k.saturating_sub(reach), (k + reach).min(n));
            if (sums.mean(low, k) - sums.mean(k, high)).abs() > limit {
                *place = true;
            }
        }
    }
    allowed
}

/// Puts each break on the cell that splits its neighbourhood best; cuts come in groups of `every` cells.
fn refine<S: Stretch + ?Sized>(stretch: &S, n: usize, cuts: &mut [Cut], every: usize) {
    for c in cuts.iter_mut() {
        c.start *= every;
        c.end = (c.end * every).min(n);
    }
    for k in 1..cuts.len() {
        let at = cuts[k].start;
        let low = at.saturating_sub(2 * every).max(cuts[k - 1].start + 1);
        let high = (at + 2 * every).min(cuts[k].end);
        if high < low + 4 {
            continue;
        }
        let y: Vec<f64> = (low..high).map(|k| level(stretch.mean_a(k..k + 1))).collect();
        let window = Prefix::new(&y);
        let m = y.len();
        let cost = |a: usize| window.cost(0, a) + window.cost(a, m);
        if let Some(best) = (1..m).min_by(|&a, &b| cost(a).total_cmp(&cost(b))) {
            cuts[k].start = low + best;
            cuts[k - 1].end = low + best;
        }
    }
}

/// A coarse cell across a step looks like a level of its own; once its edges are placed, it is like a neighbour and joins it.
fn join_alike<S: Stretch + ?Sized>(stretch: &S, cuts: &mut Vec<Cut>) {
    cuts.retain(|c| c.end > c.start);
    let mean = |c: &Cut| level(stretch.mean_a(c.start..c.end));
    let mut k = 0;
    while k + 1 < cuts.len() {
        let (a, b) = (cuts[k], cuts[k + 1]);
        if !a.bursts && !b.bursts && (mean(&a) - mean(&b)).abs() < SMALLEST_STEP {
            cuts[k].end = b.end;
            cuts.remove(k + 1);
            k = k.saturating_sub(1);
        } else {
            k += 1;
        }
    }
}

fn join_small_steps(y: &[f64], ends: &mut Vec<usize>) {
    let sums = Prefix::new(y);
    loop {
        let mut start = 0;
        let mut smallest: Option<(usize, f64)> = None;
        for k in 0..ends.len().saturating_sub(1) {
            let step = (sums.mean(start, ends[k]) - sums.mean(ends[k], ends[k + 1])).abs();
            if step < SMALLEST_STEP && smallest.is_none_or(|(_, s)| step < s) {
                smallest = Some((k, step));
            }
            start = ends[k];
        }
        match smallest {
            Some((k, _)) => {
                ends.remove(k);
            }
            None => return,
        }
    }
}

fn join_flaps(y: &[f64], ends: &[usize]) -> Vec<Cut> {
    let sums = Prefix::new(y);
    let mut cuts: Vec<Cut> = Vec::new();
    let mut start = 0;
    let pieces: Vec<(usize, usize, f64)> = ends
        .iter()
        .map(|&e| {
            let p = (start, e, sums.mean(start, e));
            start = e;
            p
        })
        .collect();
    // A piece of few cells has an uncertain level: its edges fall inside cells.
    let alike = |a: &(usize, usize, f64), b: &(usize, usize, f64)| {
        let few = (a.1 - a.0).min(b.1 - b.0) <= 4;
        let longer = (a.1 - a.0).max(b.1 - b.0) as f64 / (b.1 - b.0).min(a.1 - a.0).max(1) as f64;
        (a.2 - b.2).abs() < if few { 0.35 } else { 0.15 } && longer < 4.0
    };
    let mut k = 0;
    while k < pieces.len() {
        let mut last = k;
        while last + 2 < pieces.len()
            && (last < k + 1 || alike(&pieces[last - 1], &pieces[last + 1]))
        {
            if alike(&pieces[last], &pieces[last + 2]) {
                last += 1;
            } else {
                break;
            }
        }
        let end = (last + 1).min(pieces.len() - 1);
        if last > k && end - k + 1 >= FLAPS {
            cuts.push(Cut { start: pieces[k].0, end: pieces[end].1, bursts: true });
            k = end + 1;
        } else {
            cuts.push(Cut { start: pieces[k].0, end: pieces[k].1, bursts: false });
            k += 1;
        }
    }
    cuts
}

/// Cuts a run of cells into phases.
pub fn segment_log_current(cells: &[Cell]) -> Vec<Phase> {
    cut(cells, cells.len())
        .into_iter()
        .map(|cut| {
            let group = &cells[cut.start..cut.end];
            let mut all = group[0];
            for c in &group[1..] {
                all.merge(c);
            }
            Phase {
                start_s: all.start_s,
                end_s: cells.get(cut.end).map_or(all.end_s, |c| c.start_s),
                first_sample: all.first_sample,
                end_sample: all.first_sample + all.samples,
                mean_a: all.mean_a(),
                min_a: all.min_a,
                max_a: all.max_a,
                charge_c: all.charge_c,
                bursts: cut.bursts,
            }
        })
        .collect()
}
