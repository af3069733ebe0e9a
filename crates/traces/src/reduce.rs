//! The reduction: samples in order, in blocks that depend on the sample's number alone.
//!
//! A block of 1024 samples is cut into cells of 64. Within a cell four lanes run side by side (so the compiler can use vector
//! registers); between cells sums are compensated. A cell whose intervals are all ordinary takes one straight loop; one with a gap,
//! a backward step or a negative sample is walked sample by sample.

use crate::analysis::{CurrentFigures, Extent, Located, Sampling, VoltageFigures};
use crate::cells::{Cell, Coalescing, Sum};
use crate::defects::{DefectKind, Tally};
use crate::floor::lowest_dense_mode;
use crate::histogram::LogHistogram;
use crate::options::Options;
use crate::rows::Parsed;
use crate::wakes::{Machine, Step};

pub(crate) const CELL: usize = 64;
pub(crate) const BLOCK: usize = 1024;
/// Samples looked at before the sleep floor is first placed.
const LEAD: usize = 1 << 18;
/// Cells of the whole-trace envelope.
const ENVELOPE: usize = 1 << 16;

/// Receives whole blocks beside the reduction (the stored form).
pub(crate) trait Tap {
    fn block(&mut self, first_sample: u64, time_s: &[f64], current_a: &[f64], voltage_v: &[f64]);
}

pub(crate) struct Reducer<'a> {
    options: Options,
    tap: Option<&'a mut (dyn Tap + Send)>,
    stated_interval_s: Option<f64>,
    pub(crate) interval_s: f64,
    gap_s: f64,
    time: Vec<f64>,
    current: Vec<f64>,
    voltage: Vec<f64>,
    fill: usize,
    index: u64,
    pub(crate) samples: u64,
    pub(crate) lines: u64,
    pub(crate) rows: u64,
    pub(crate) refused: u64,
    pub(crate) bytes: u64,
    wraps_daily: bool,
    days_s: f64,
    base_s: f64,
    last_stamp_s: f64,
    first_s: f64,
    last_s: f64,
    last_a: f64,
    pub(crate) charge: Sum,
    covered: Sum,
    sum: Sum,
    squares: Sum,
    min: Located,
    max: Located,
    shortest_s: f64,
    longest_s: f64,
    repeated: u64,
    top_count: u64,
    top_run: u64,
    top_longest: u64,
    top_first: Located,
    equal_seen: u64,
    equal_looked: u64,
    step_a: f64,
    cell_number: u64,
    gaps: Tally,
    backwards: Tally,
    negative: Tally,
    pub(crate) refused_rows: Tally,
    pub(crate) not_numbers: Tally,
    pub(crate) first_refusal: Option<String>,
    volts: Option<Volts>,
    envelope: Coalescing,
    lead: Option<Lead>,
    machine: Option<Machine>,
}

#[derive(Default)]
struct Lead {
    time: Vec<f64>,
    current: Vec<f64>,
    cells: Vec<(Cell, bool)>,
    before: Option<(f64, f64)>,
}

#[derive(Clone, Copy)]
struct Volts {
    sum: Sum,
    count: u64,
    min: f64,
    max: f64,
    energy: Sum,
    last: f64,
}

/// Result of the reduction, before it is put into words.
pub(crate) struct Reduced {
    pub(crate) extent: Extent,
    pub(crate) sampling: Sampling,
    pub(crate) current: CurrentFigures,
    pub(crate) voltage: Option<VoltageFigures>,
    pub(crate) cells: Vec<Cell>,
    pub(crate) samples_per_cell: u64,
    pub(crate) machine: Option<Machine>,
    pub(crate) tallies: Tallies,
}

pub(crate) struct Tallies {
    pub(crate) gaps: Tally,
    pub(crate) backwards: Tally,
    pub(crate) negative: Tally,
    pub(crate) refused_rows: Tally,
    pub(crate) not_numbers: Tally,
    pub(crate) repeated: u64,
    pub(crate) top: Located,
    pub(crate) top_count: u64,
    pub(crate) top_longest: u64,
    pub(crate) equal_share: f64,
    pub(crate) step_a: f64,
}

const NOWHERE: Located = Located { value: f64::NAN, sample: 0, time_s: 0.0 };

impl<'a> Reducer<'a> {
    pub(crate) fn new(
        options: &Options,
        stated_interval_s: Option<f64>,
        has_voltage: bool,
        tap: Option<&'a mut (dyn Tap + Send)>,
    ) -> Self {
        Self {
            options: options.clone(),
            tap,
            stated_interval_s,
            interval_s: f64::NAN,
            gap_s: f64::INFINITY,
            time: vec![0.0; BLOCK],
            current: vec![0.0; BLOCK],
            voltage: Vec::with_capacity(if has_voltage { BLOCK } else { 0 }),
            fill: 0,
            index: 0,
            samples: 0,
            lines: 0,
            rows: 0,
            refused: 0,
            bytes: 0,
            wraps_daily: false,
            days_s: 0.0,
            base_s: 0.0,
            last_stamp_s: f64::NAN,
            first_s: f64::NAN,
            last_s: f64::NAN,
            last_a: f64::NAN,
            charge: Sum::default(),
            covered: Sum::default(),
            sum: Sum::default(),
            squares: Sum::default(),
            min: Located { value: f64::INFINITY, ..NOWHERE },
            max: Located { value: f64::NEG_INFINITY, ..NOWHERE },
            shortest_s: f64::INFINITY,
            longest_s: 0.0,
            repeated: 0,
            top_count: 0,
            top_run: 0,
            top_longest: 0,
            top_first: NOWHERE,
            equal_seen: 0,
            equal_looked: 0,
            step_a: f64::INFINITY,
            cell_number: 0,
            gaps: Tally::new(DefectKind::Gap),
            backwards: Tally::new(DefectKind::ClockBackwards),
            negative: Tally::new(DefectKind::Negative),
            refused_rows: Tally::new(DefectKind::RefusedRow),
            not_numbers: Tally::new(DefectKind::NotANumber),
            first_refusal: None,
            volts: has_voltage.then_some(Volts {
                sum: Sum::default(),
                count: 0,
                min: f64::INFINITY,
                max: f64::NEG_INFINITY,
                energy: Sum::default(),
                last: f64::NAN,
            }),
            envelope: Coalescing::of_width(ENVELOPE, CELL as u64),
            lead: Some(Lead::default()),
            machine: None,
        }
    }

    /// The newest time laid down, reduced or not.
    fn newest_s(&self) -> f64 {
        if self.fill > 0 { self.time[self.fill - 1] } else { self.last_s }
    }

    pub(crate) fn newest_a(&self) -> f64 {
        self.last_a
    }

    /// The next chunk in order.
    pub(crate) fn chunk(&mut self, chunk: &mut Parsed) {
        if self.wraps_daily {
            self.unwrap_days(&mut chunk.time);
        }
        for issue in &chunk.issues {
            // The time of the sample before it; the trace's zero where there is none.
            let k = issue.samples_before;
            let before = match (chunk.regular, k) {
                (true, _) => {
                    self.base_s
                        + (self.index + k as u64) as f64 * self.stated_interval_s.unwrap_or(1.0)
                }
                (false, 1..) => chunk.time.get(k - 1).copied().unwrap_or(self.newest_s()),
                (false, 0) => self.newest_s(),
            };
            let place = Located {
                value: (self.lines + issue.line_in_chunk + 1) as f64,
                sample: issue.byte,
                time_s: if before.is_finite() { before } else { 0.0 },
            };
            let tally =
                if issue.not_a_number { &mut self.not_numbers } else { &mut self.refused_rows };
            tally.add(place, 0.0, |_, _| false);
            if self.first_refusal.is_none() {
                self.first_refusal =
                    Some(format!("row {} (byte {}): {}", place.value, issue.byte, issue.reason));
            }
        }
        // Issues are listed up to a limit per chunk; the counts are complete.
        let listed_nan = chunk.issues.iter().filter(|i| i.not_a_number).count() as u64;
        let listed_refused = chunk.issues.len() as u64 - listed_nan;
        self.not_numbers.count += chunk.not_numbers - listed_nan;
        self.refused_rows.count += chunk.refused - chunk.not_numbers - listed_refused;
        self.lines += chunk.lines;
        self.rows += chunk.rows;
        self.refused += chunk.refused;
        self.bytes += chunk.bytes;
        if chunk.regular {
            self.regular(chunk);
            return;
        }
        let n = chunk.current.len();
        let mut k = 0;
        while k < n {
            if self.fill == 0 && n - k >= BLOCK {
                let volts = chunk.voltage.get(k..k + BLOCK).unwrap_or(&[]);
                self.block(&chunk.time[k..k + BLOCK], &chunk.current[k..k + BLOCK], volts);
                k += BLOCK;
                continue;
            }
            let take = (BLOCK - self.fill).min(n - k);
            self.time[self.fill..self.fill + take].copy_from_slice(&chunk.time[k..k + take]);
            self.current[self.fill..self.fill + take].copy_from_slice(&chunk.current[k..k + take]);
            if !chunk.voltage.is_empty() {
                self.voltage.extend_from_slice(&chunk.voltage[k..k + take]);
            }
            self.advance(take);
            k += take;
        }
    }

    /// Times of day without a date: a step back by more than half a day is midnight.
    fn unwrap_days(&mut self, time: &mut [f64]) {
        for t in time {
            if *t < self.last_stamp_s - 43_200.0 {
                self.days_s += 86_400.0;
            }
            self.last_stamp_s = *t;
            *t += self.days_s;
        }
    }

    /// The layout's lines before the first row, and whether its times start over at midnight.
    pub(crate) fn begin(&mut self, lines_before: u64, wraps_daily: bool, base_s: f64) {
        self.base_s = base_s;
        self.lines = lines_before;
        self.wraps_daily = wraps_daily;
    }

    /// Samples without stamps: the time is the sample's number times the stated interval; a refused row takes its time.
    fn regular(&mut self, chunk: &Parsed) {
        let dt = self.stated_interval_s.unwrap_or(1.0);
        let n = chunk.current.len();
        let mut k = 0;
        while k < n {
            let take = (BLOCK - self.fill).min(n - k);
            if take == BLOCK && !chunk.has_nan {
                let mut time = std::mem::take(&mut self.time);
                let (base, zero) = (self.index as f64, self.base_s);
                for (j, t) in time.iter_mut().enumerate() {
                    *t = zero + (base + j as f64) * dt;
                }
                let volts = chunk.voltage.get(k..k + BLOCK).unwrap_or(&[]);
                self.block(&time, &chunk.current[k..k + BLOCK], volts);
                self.time = time;
                self.index += BLOCK as u64;
                k += BLOCK;
                continue;
            }
            let mut kept = 0;
            if chunk.has_nan {
                for j in k..k + take {
                    if chunk.current[j].is_finite() {
                        self.time[self.fill + kept] =
                            self.base_s + (self.index + (j - k) as u64) as f64 * dt;
                        self.current[self.fill + kept] = chunk.current[j];
                        if let Some(v) = chunk.voltage.get(j) {
                            self.voltage.push(*v);
                        }
                        kept += 1;
                    }
                }
            } else {
                kept = take;
                let (base, zero) = (self.index as f64, self.base_s);
                for (j, t) in self.time[self.fill..self.fill + take].iter_mut().enumerate() {
                    *t = zero + (base + j as f64) * dt;
                }
                self.current[self.fill..self.fill + take]
                    .copy_from_slice(&chunk.current[k..k + take]);
                if !chunk.voltage.is_empty() {
                    self.voltage.extend_from_slice(&chunk.voltage[k..k + take]);
                }
            }
            self.index += take as u64;
            self.advance(kept);
            k += take;
        }
    }

    fn advance(&mut self, by: usize) {
        self.fill += by;
        if self.fill == BLOCK {
            self.flush();
        }
    }

    fn flush(&mut self) {
        let n = self.fill;
        if n == 0 {
            return;
        }
        self.fill = 0;
        let time = std::mem::take(&mut self.time);
        let current = std::mem::take(&mut self.current);
        let voltage = std::mem::take(&mut self.voltage);
        self.block(&time[..n], &current[..n], &voltage);
        self.time = time;
        self.current = current;
        self.voltage = voltage;
        self.voltage.clear();
    }

    fn block(&mut self, time: &[f64], current: &[f64], voltage: &[f64]) {
        if self.samples == 0 {
            self.start(time);
        }
        if let Some(tap) = &mut self.tap {
            tap.block(self.samples, time, current, voltage);
        }
        if self.volts.is_some() && voltage.len() == current.len() {
            self.block_volts(time, current, voltage);
        }
        // Neighbour pairs: the sample before a cell stands in front of it. Only the block's first cell has to be copied for that;
        // the first sample of all has no interval and pairs with itself.
        let n = time.len().min(CELL);
        let first = self.samples == 0;
        let mut tt = [0.0f64; CELL + 1];
        let mut ii = [0.0f64; CELL + 1];
        (tt[0], ii[0]) = if first { (time[0], current[0]) } else { (self.last_s, self.last_a) };
        tt[1..=n].copy_from_slice(&time[..n]);
        ii[1..=n].copy_from_slice(&current[..n]);
        self.cell(&tt[..=n], &ii[..=n], first);
        let mut k = CELL;
        while k < time.len() {
            let end = (k + CELL).min(time.len());
            self.cell(&time[k - 1..end], &current[k - 1..end], false);
            k += CELL;
        }
    }

    fn start(&mut self, time: &[f64]) {
        self.first_s = time[0];
        let mut steps: Vec<f64> =
            time.windows(2).map(|w| w[1] - w[0]).filter(|d| *d > 0.0).collect();
        let found = crate::segment::median(&mut steps);
        // Stamps rounded to a coarse clock repeat; then the mean step is nearer the truth than the median.
        let repeats = time.len() > 4 && steps.len() * 2 < time.len() - 1;
        let mean = (time[time.len() - 1] - time[0]) / (time.len() - 1).max(1) as f64;
        self.interval_s =
            self.stated_interval_s.or(if repeats { Some(mean) } else { found }).unwrap_or(1.0);
        // The digits of the stamps must not make a gap of exactly so many intervals.
        self.gap_s = (1.0 + 1e-6)
            * self.options.gap_factor.max(1.01)
            * self.interval_s.max(found.unwrap_or(0.0));
    }

    /// One cell, the sample before it in front.
    fn cell(&mut self, tt: &[f64], ii: &[f64], first: bool) {
        let (before_t, before_i) = (tt[0], ii[0]);
        let (t, i) = (&tt[1..], &ii[1..]);
        let n = t.len();
        let sums = match (tt.first_chunk(), ii.first_chunk()) {
            (Some(tt), Some(ii)) => Lanes::whole(tt, ii),
            _ => Lanes::part(tt, ii),
        };
        let ordinary = sums.shortest > 0.0 && sums.longest <= self.gap_s && !first;
        let mut cell = Cell {
            first_sample: self.samples,
            samples: n as u64,
            start_s: t[0],
            end_s: t[n - 1],
            min_a: sums.min,
            max_a: sums.max,
            sum_a: sums.sum,
            charge_c: 0.5 * sums.twice_charge,
            covered_s: t[n - 1] - before_t,
        };
        let mut broken = false;
        if ordinary {
            if sums.shortest < self.shortest_s {
                self.shortest_s = sums.shortest;
            }
            if sums.longest > self.longest_s {
                self.longest_s = sums.longest;
            }
        } else {
            broken = self.odd_cell(tt, ii, &mut cell, first);
        }
        if sums.min < 0.0 {
            self.negatives(t, i);
        }
        if sums.min < self.min.value {
            self.min = Located { value: sums.min, sample: self.samples, time_s: t[0] };
        }
        // Cells at a top that was reached before are left out of the look at equal neighbours: clipping makes them equal.
        if sums.max != self.max.value
            && (self.cell_number < 64 || self.cell_number.is_multiple_of(32))
        {
            self.look_at_steps(i);
        }
        if sums.max >= self.max.value {
            self.top(t, i, sums.max);
        } else {
            self.top_run = 0;
        }
        self.cell_number += 1;
        self.charge.add(cell.charge_c);
        self.covered.add(cell.covered_s);
        self.sum.add(sums.sum);
        self.squares.add(sums.squares);
        let gap = self.gap_s;
        let start = self.samples;
        let steps = || steps(start, tt, ii, gap, first);
        self.envelope.push(cell);
        if let Some(machine) = &mut self.machine {
            machine.cell(&cell, broken, (t, i), steps());
        } else if let Some(lead) = &mut self.lead {
            if lead.before.is_none() {
                lead.before = Some((before_t, before_i));
            }
            lead.time.extend_from_slice(t);
            lead.current.extend_from_slice(i);
            lead.cells.push((cell, broken));
        }
        self.samples += n as u64;
        self.last_s = t[n - 1];
        self.last_a = i[n - 1];
        if self.lead.as_ref().is_some_and(|l| l.current.len() >= LEAD) {
            self.end_of_lead();
        }
    }

    /// A cell with a gap, a backward or repeated stamp, or the very first sample. Corrects charge and covered time.
    fn odd_cell(&mut self, tt: &[f64], ii: &[f64], cell: &mut Cell, first: bool) -> bool {
        cell.charge_c = 0.0;
        cell.covered_s = 0.0;
        let mut broken = false;
        for k in 1..tt.len() {
            if first && k == 1 {
                continue;
            }
            let dt = tt[k] - tt[k - 1];
            let place =
                Located { value: dt, sample: self.samples + k as u64 - 1, time_s: tt[k - 1] };
            if dt > self.gap_s {
                self.gaps.add(place, dt, |a, b| a > b);
                broken = true;
            } else if dt > 0.0 {
                cell.charge_c += 0.5 * (ii[k] + ii[k - 1]) * dt;
                cell.covered_s += dt;
                if dt < self.shortest_s {
                    self.shortest_s = dt;
                }
                if dt > self.longest_s {
                    self.longest_s = dt;
                }
            } else if dt < 0.0 {
                self.backwards.add(place, -dt, |a, b| a < b);
                broken = true;
            } else {
                self.repeated += 1;
            }
        }
        broken
    }

    fn negatives(&mut self, t: &[f64], i: &[f64]) {
        for (k, &x) in i.iter().enumerate() {
            if x < 0.0 {
                let place = Located { value: x, sample: self.samples + k as u64, time_s: t[k] };
                self.negative.add(place, 0.0, |a, b| a < b);
            }
        }
    }

    /// Counts samples at the highest value and the longest run of them.
    fn top(&mut self, t: &[f64], i: &[f64], max: f64) {
        if max > self.max.value {
            self.max = Located { value: max, sample: self.samples, time_s: t[0] };
            (self.top_count, self.top_run, self.top_longest) = (0, 0, 0);
            self.top_first = NOWHERE;
        }
        for (k, &x) in i.iter().enumerate() {
            if x >= self.max.value {
                if self.top_count == 0 {
                    self.top_first =
                        Located { value: x, sample: self.samples + k as u64, time_s: t[k] };
                }
                self.top_count += 1;
                self.top_run += 1;
                self.top_longest = self.top_longest.max(self.top_run);
            } else {
                self.top_run = 0;
            }
        }
    }

    /// How often neighbours are equal, and the smallest step between two that are not: the instrument's resolution.
    fn look_at_steps(&mut self, i: &[f64]) {
        for w in i.windows(2) {
            let d = (w[1] - w[0]).abs();
            self.equal_looked += 1;
            if d == 0.0 {
                self.equal_seen += 1;
            } else if d < self.step_a {
                self.step_a = d;
            }
        }
    }

    fn block_volts(&mut self, time: &[f64], current: &[f64], voltage: &[f64]) {
        let Some(v) = &mut self.volts else { return };
        let (mut lt, mut li) = (self.last_s, self.last_a);
        for k in 0..voltage.len() {
            let x = voltage[k];
            let dt = time[k] - lt;
            if x.is_finite() {
                v.sum.add(x);
                v.count += 1;
                v.min = v.min.min(x);
                v.max = v.max.max(x);
                if dt > 0.0 && dt <= self.gap_s && v.last.is_finite() {
                    v.energy.add(0.5 * (x * current[k] + v.last * li) * dt);
                }
            }
            v.last = x;
            (lt, li) = (time[k], current[k]);
        }
    }

    /// Enough is seen to place the floor: the machine starts and takes what was held back.
    fn end_of_lead(&mut self) {
        let Some(lead) = self.lead.take() else { return };
        let Some(mode) = lowest_dense_mode(&LogHistogram::of(&lead.current)) else { return };
        let mut machine = Machine::new(mode, self.interval_s, &self.options);
        let (mut before_t, mut before_i) = lead.before.unwrap_or((0.0, 0.0));
        let mut k = 0;
        for (cell, broken) in &lead.cells {
            let n = cell.samples as usize;
            let mut tt = [0.0f64; CELL + 1];
            let mut ii = [0.0f64; CELL + 1];
            tt[0] = before_t;
            ii[0] = before_i;
            tt[1..=n].copy_from_slice(&lead.time[k..k + n]);
            ii[1..=n].copy_from_slice(&lead.current[k..k + n]);
            let samples = (&tt[1..=n], &ii[1..=n]);
            machine.cell(
                cell,
                *broken,
                samples,
                steps(cell.first_sample, &tt[..=n], &ii[..=n], self.gap_s, k == 0),
            );
            (before_t, before_i) = (tt[n], ii[n]);
            k += n;
        }
        self.machine = Some(machine);
    }

    /// The end of the input; `None` without a single sample.
    pub(crate) fn finish(mut self) -> Option<Reduced> {
        self.flush();
        if self.samples == 0 {
            return None;
        }
        // A short trace is drawn and cut sample by sample.
        if let Some(lead) = self.lead.as_ref().filter(|l| l.current.len() <= ENVELOPE) {
            let mut fine = Coalescing::new(2 * ENVELOPE);
            let (mut bt, mut bi) = lead.before.unwrap_or((0.0, 0.0));
            for (k, (&t, &i)) in lead.time.iter().zip(&lead.current).enumerate() {
                for s in steps(k as u64, &[bt, t], &[bi, i], self.gap_s, k == 0) {
                    fine.push(Cell::single(
                        s.sample,
                        s.time_s,
                        s.current_a,
                        s.charge_c,
                        s.covered_s,
                    ));
                }
                (bt, bi) = (t, i);
            }
            self.envelope = fine;
        }
        self.end_of_lead();
        if let Some(machine) = &mut self.machine {
            machine.finish(self.samples - 1, self.last_s);
        }
        let n = self.samples as f64;
        let mean = self.sum.value() / n;
        let square = self.squares.value() / n;
        let covered = self.covered.value();
        let charge = self.charge.value();
        // Σ(x−x̄)² = Σx² − n·x̄²: the spread of a trace is of the order of its mean or larger, so few digits cancel.
        let variance = (square - mean * mean).max(0.0) * n / (n - 1.0).max(1.0);
        let longest = if self.longest_s > 0.0 { self.longest_s } else { self.interval_s };
        let shortest = if self.shortest_s.is_finite() { self.shortest_s } else { self.interval_s };
        let digits = 8.0 * f64::EPSILON * self.last_s.abs().max(self.first_s.abs());
        // Where rows were refused, an interval may span two or three samples; that is told as refused rows, not as uneven stamps.
        let spanned = longest / self.interval_s;
        let whole = self.refused > 0 && (spanned - spanned.round()).abs() < 0.02;
        let longest_step = if whole { longest / spanned.round().max(1.0) } else { longest };
        let even = longest_step - shortest <= 0.02 * self.interval_s + digits && self.repeated == 0;
        Some(Reduced {
            extent: Extent {
                samples: self.samples,
                rows: self.rows,
                refused_rows: self.refused,
                bytes: self.bytes,
                origin_s: 0.0,
                first_s: self.first_s,
                last_s: self.last_s,
                covered_s: covered,
                stopped: None,
            },
            sampling: Sampling {
                interval_s: self.interval_s,
                rate_hz: 1.0 / self.interval_s,
                shortest_s: shortest,
                longest_s: longest,
                even,
            },
            current: CurrentFigures {
                charge_c: charge,
                mean_a: if covered > 0.0 { charge / covered } else { mean },
                sample_mean_a: mean,
                rms_a: square.sqrt(),
                standard_deviation_a: (self.samples > 1).then(|| variance.sqrt()),
                min: self.min,
                max: self.max,
            },
            voltage: self.volts.filter(|v| v.count > 0).map(|v| VoltageFigures {
                mean_v: v.sum.value() / v.count as f64,
                min_v: v.min,
                max_v: v.max,
                energy_j: v.energy.value(),
            }),
            samples_per_cell: self.envelope.width(),
            cells: self.envelope.finished(),
            machine: self.machine,
            tallies: Tallies {
                gaps: self.gaps,
                backwards: self.backwards,
                negative: self.negative,
                refused_rows: self.refused_rows,
                not_numbers: self.not_numbers,
                repeated: self.repeated,
                top: self.top_first,
                top_count: self.top_count,
                top_longest: self.top_longest,
                equal_share: self.equal_seen as f64 / self.equal_looked.max(1) as f64,
                step_a: self.step_a,
            },
        })
    }
}

/// Samples one by one, each with the interval that leads to it.
fn steps<'a>(
    first_sample: u64,
    tt: &'a [f64],
    ii: &'a [f64],
    gap_s: f64,
    first: bool,
) -> impl Iterator<Item = Step> + 'a {
    (1..tt.len()).map(move |k| {
        let dt = tt[k] - tt[k - 1];
        let none = first && k == 1;
        let broken = !none && (dt < 0.0 || dt > gap_s);
        let counts = !none && !broken;
        Step {
            sample: first_sample + k as u64 - 1,
            time_s: tt[k],
            current_a: ii[k],
            charge_c: if counts { 0.5 * (ii[k] + ii[k - 1]) * dt } else { 0.0 },
            covered_s: if counts { dt } else { 0.0 },
            broken,
        }
    })
}

/// Sums of a cell in four lanes.
struct Lanes {
    sum: f64,
    squares: f64,
    twice_charge: f64,
    min: f64,
    max: f64,
    shortest: f64,
    longest: f64,
}

impl Lanes {
    #[inline]
    fn whole(tt: &[f64; CELL + 1], ii: &[f64; CELL + 1]) -> Self {
        let mut sum = [0.0f64; 4];
        let mut squares = [0.0f64; 4];
        let mut min = [f64::INFINITY; 4];
        let mut max = [f64::NEG_INFINITY; 4];
        for k in 0..CELL / 4 {
            for l in 0..4 {
                let x = ii[1 + 4 * k + l];
                sum[l] += x;
                squares[l] += x * x;
                min[l] = if x < min[l] { x } else { min[l] };
                max[l] = if x > max[l] { x } else { max[l] };
            }
        }
        let mut charge = [0.0f64; 4];
        let mut shortest = [f64::INFINITY; 4];
        let mut longest = [f64::NEG_INFINITY; 4];
        for k in 0..CELL / 4 {
            for l in 0..4 {
                let j = 4 * k + l;
                let dt = tt[j + 1] - tt[j];
                charge[l] += (ii[j] + ii[j + 1]) * dt;
                shortest[l] = if dt < shortest[l] { dt } else { shortest[l] };
                longest[l] = if dt > longest[l] { dt } else { longest[l] };
            }
        }
        Self {
            sum: (sum[0] + sum[1]) + (sum[2] + sum[3]),
            squares: (squares[0] + squares[1]) + (squares[2] + squares[3]),
            twice_charge: (charge[0] + charge[1]) + (charge[2] + charge[3]),
            min: min[0].min(min[1]).min(min[2].min(min[3])),
            max: max[0].max(max[1]).max(max[2].max(max[3])),
            shortest: shortest[0].min(shortest[1]).min(shortest[2].min(shortest[3])),
            longest: longest[0].max(longest[1]).max(longest[2].max(longest[3])),
        }
    }

    fn part(tt: &[f64], ii: &[f64]) -> Self {
        let mut s = Self {
            sum: 0.0,
            squares: 0.0,
            twice_charge: 0.0,
            min: f64::INFINITY,
            max: f64::NEG_INFINITY,
            shortest: f64::INFINITY,
            longest: f64::NEG_INFINITY,
        };
        for k in 1..tt.len() {
            let (x, dt) = (ii[k], tt[k] - tt[k - 1]);
            s.sum += x;
            s.squares += x * x;
            s.twice_charge += (ii[k - 1] + x) * dt;
            s.min = s.min.min(x);
            s.max = s.max.max(x);
            s.shortest = s.shortest.min(dt);
            s.longest = s.longest.max(dt);
        }
        s
    }
}
