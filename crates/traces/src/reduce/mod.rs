//! The reduction: samples in order, in blocks that depend on the sample's number alone.
//!
//! A block of 1024 samples is cut into cells of 64. Within a cell four lanes run side by side; between cells sums are compensated. A cell
//! whose intervals are all ordinary takes one straight loop; one with a gap, a backward step or a negative sample is walked sample by sample.
//! Where the sample's number tells the time, neither times nor samples are looked at again once a cell's sums are known.

mod finish;
mod lanes;
mod run;

pub(crate) use finish::{Reduced, Tallies};
pub(crate) use lanes::{CellSums, highest, sum};
pub(crate) use run::{Clock, Run};

use crate::analysis::Located;
use crate::cells::{Cell, Coalescing, Sum};
use crate::defects::{DefectKind, Tally};
use crate::floor::lowest_dense_mode;
use crate::histogram::LogHistogram;
use crate::options::Options;
use crate::rows::Parsed;
use crate::wakes::Machine;
use lanes::Intervals;

pub(crate) const CELL: usize = 64;
pub(crate) const BLOCK: usize = 1024;
/// Samples looked at before the sleep floor is first placed.
const LEAD: usize = 1 << 18;
/// Cells of the whole-trace envelope.
const ENVELOPE: usize = 1 << 16;

/// Receives whole blocks beside the reduction (the stored form).
pub(crate) trait Tap {
    /// Before the first block: what was taken off all times (s).
    fn begin(&mut self, _origin_s: f64) {}
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
    /// Samples come without stamps.
    regular: bool,
    /// No sample is missing so far: the sample's number tells its time.
    contiguous: bool,
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
    pub(crate) totals: Totals,
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
    /// Why the first and the last row without a sample have none; NaN and overload are told apart.
    refusals: Option<(String, String)>,
    volts: Option<Volts>,
    envelope: Coalescing,
    lead: Option<Lead>,
    machine: Option<Machine>,
}

/// Sums over the whole trace.
#[derive(Clone, Copy, Default)]
pub(crate) struct Totals {
    pub(crate) charge: Sum,
    covered: Sum,
    sum: Sum,
    squares: Sum,
}

impl Totals {
    fn add(&mut self, cell: &Cell, squares: f64) {
        self.charge.add(cell.charge_c);
        self.covered.add(cell.covered_s);
        self.sum.add(cell.sum_a);
        self.squares.add(squares);
    }
}

/// The cells that are looked at for the instrument's resolution.
fn looked_at_for_steps(number: u64) -> bool {
    number < 64 || number.is_multiple_of(32)
}

/// Cells in a row of one block in which nothing happens: asleep, no new extreme, no stamp out of the ordinary. They are joined.
struct Quiet {
    cell: Option<Cell>,
    squares: f64,
    /// Their samples lie no lower, their highest ones between these (A).
    lowest: f64,
    lowest_top: f64,
    below: f64,
    /// Their intervals keep to these (s).
    shortest_s: f64,
    longest_s: f64,
    /// Shorter together than this: the floor's window does not end (s).
    left_s: f64,
    /// The envelope's cells are finer than a block.
    apart: bool,
}

impl Quiet {
    #[inline]
    fn takes(&self, cell: &Cell, intervals: Intervals, number: u64) -> bool {
        cell.min_a >= self.lowest
            && cell.max_a >= self.lowest_top
            && cell.max_a < self.below
            && intervals.shortest >= self.shortest_s
            && intervals.longest <= self.longest_s
            && self.cell.map_or(0.0, |c| c.covered_s) + cell.covered_s < self.left_s
            && !looked_at_for_steps(number)
    }

    #[inline]
    fn add(&mut self, cell: Cell, squares: f64) {
        match &mut self.cell {
            Some(all) => all.merge(&cell),
            None => {
                self.cell = Some(cell);
                self.squares = 0.0;
            }
        }
        self.squares += squares;
    }
}

#[derive(Default)]
struct Lead {
    time: Vec<f64>,
    current: Vec<f64>,
    cells: Vec<(Cell, bool)>,
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
            regular: false,
            contiguous: true,
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
            totals: Totals::default(),
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
            refusals: None,
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
            if !issue.not_a_number {
                let told = || issue.reason.clone();
                match &mut self.refusals {
                    Some((_, last)) => *last = told(),
                    None => self.refusals = Some((told(), told())),
                }
            }
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
            self.regular = true;
            self.regular(chunk);
            return;
        }
        let n = chunk.current.len();
        // Sums were taken by the row's number: of use as long as that is the sample's.
        let numbered = chunk.first_sample == Some(self.samples + self.fill as u64);
        let mut k = 0;
        while k < n {
            if self.fill == 0 && n - k >= BLOCK {
                let volts = chunk.voltage.get(k..k + BLOCK).unwrap_or(&[]);
                let time = Clock::Stamps(&chunk.time[k..k + BLOCK]);
                let known = chunk.sums_at(self.samples).filter(|_| numbered).unwrap_or(&[]);
                self.block(time, &chunk.current[k..k + BLOCK], volts, known);
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
        let n = chunk.current.len();
        let mut k = 0;
        while k < n {
            let take = (BLOCK - self.fill).min(n - k);
            let part = &chunk.current[k..k + take];
            let volts = chunk.voltage.get(k..k + take).unwrap_or(&[]);
            if chunk.has_nan && part.iter().any(|x| !x.is_finite()) {
                self.begin_stamps();
            }
            if !self.contiguous {
                self.stamped(part, volts);
            } else if take == BLOCK {
                let known = chunk.sums_at(self.index).unwrap_or(&[]);
                self.block(self.even_clock(), part, volts, known);
                self.index += BLOCK as u64;
            } else {
                self.current[self.fill..self.fill + take].copy_from_slice(part);
                self.voltage.extend_from_slice(volts);
                self.index += take as u64;
                self.advance(take);
            }
            k += take;
        }
    }

    fn even_clock(&self) -> Clock<'static> {
        Clock::Even { zero_s: self.base_s, step_s: self.stated_interval_s.unwrap_or(1.0) }
    }

    /// A sample is missing: from here on times are written down, those of the unfinished block too.
    fn begin_stamps(&mut self) {
        if !std::mem::take(&mut self.contiguous) {
            return;
        }
        let dt = self.stated_interval_s.unwrap_or(1.0);
        let first = self.index - self.fill as u64;
        for (j, t) in self.time[..self.fill].iter_mut().enumerate() {
            *t = self.base_s + (first + j as u64) as f64 * dt;
        }
    }

    fn stamped(&mut self, part: &[f64], volts: &[f64]) {
        let dt = self.stated_interval_s.unwrap_or(1.0);
        let mut kept = 0;
        for (j, x) in part.iter().enumerate().filter(|(_, x)| x.is_finite()) {
            self.time[self.fill + kept] = self.base_s + (self.index + j as u64) as f64 * dt;
            self.current[self.fill + kept] = *x;
            self.voltage.extend(volts.get(j));
            kept += 1;
        }
        self.index += part.len() as u64;
        self.advance(kept);
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
        let clock = if self.regular && self.contiguous {
            self.even_clock()
        } else {
            Clock::Stamps(&time[..n])
        };
        self.block(clock, &current[..n], &voltage, &[]);
        self.time = time;
        self.current = current;
        self.voltage = voltage;
        self.voltage.clear();
    }

    /// One block; `known` are the sums of its cells, where a worker has taken them.
    fn block(&mut self, clock: Clock<'_>, current: &[f64], voltage: &[f64], known: &[CellSums]) {
        let n = current.len();
        if self.samples == 0 {
            self.start(clock, n);
        }
        self.block_beside(clock, current, voltage);
        // By value through the block: kept in registers.
        let mut totals = self.totals;
        let mut quiet = self.quiet();
        let mut k = 0;
        while k < n {
            let end = (k + CELL).min(n);
            let run = Run {
                first_sample: self.samples,
                before: (self.samples > 0).then_some((self.last_s, self.last_a)),
                clock: match clock {
                    Clock::Stamps(t) => Clock::Stamps(&t[k..end]),
                    even @ Clock::Even { .. } => even,
                },
                current: &current[k..end],
                gap_s: self.gap_s,
            };
            let sums =
                known.get(k / CELL).copied().unwrap_or_else(|| CellSums::of(&current[k..end]));
            let intervals = match (clock, run.before) {
                (Clock::Even { step_s, .. }, before) => {
                    Intervals::even(step_s, before.map_or(f64::NAN, |b| b.1), &sums)
                }
                (Clock::Stamps(t), _) if k > 0 => {
                    Intervals::of(&t[k - 1..end], &current[k - 1..end])
                }
                // The block's first cell: the sample before it is set in front. The first sample of all pairs with itself.
                (Clock::Stamps(t), before) => {
                    let m = end + 1;
                    let (mut tt, mut ii) = ([0.0f64; CELL + 1], [0.0f64; CELL + 1]);
                    (tt[0], ii[0]) = before.unwrap_or((t[0], current[0]));
                    tt[1..m].copy_from_slice(&t[..end]);
                    ii[1..m].copy_from_slice(&current[..end]);
                    Intervals::of(&tt[..m], &ii[..m])
                }
            };
            let cell = run.cell(&sums, 0.5 * intervals.twice_charge);
            if quiet.takes(&cell, intervals, self.cell_number) {
                quiet.add(cell, sums.squares);
                if quiet.apart {
                    self.envelope.push(cell);
                }
            } else {
                self.settle(&mut quiet, &mut totals);
                self.cell(run, cell, &sums, intervals, &mut totals);
                quiet = self.quiet();
            }
            self.cell_number += 1;
            self.samples += cell.samples;
            self.last_s = cell.end_s;
            self.last_a = sums.last;
            if self.lead.as_ref().is_some_and(|l| l.current.len() >= LEAD) {
                self.end_of_lead();
            }
            k = end;
        }
        self.settle(&mut quiet, &mut totals);
        self.totals = totals;
    }

    /// What a cell must keep to so that nothing has to be looked at in it.
    fn quiet(&self) -> Quiet {
        let asleep = self.machine.as_ref().and_then(Machine::asleep_between);
        let (lowest_top, below, left_s) = asleep.unwrap_or((f64::INFINITY, f64::NEG_INFINITY, 0.0));
        Quiet {
            cell: None,
            squares: 0.0,
            lowest: self.min.value.max(0.0),
            lowest_top,
            below: below.min(self.max.value),
            shortest_s: self.shortest_s,
            longest_s: self.longest_s,
            left_s,
            apart: self.envelope.width() < BLOCK as u64,
        }
    }

    /// Quiet cells in a row are one step for everything that follows the samples.
    fn settle(&mut self, quiet: &mut Quiet, totals: &mut Totals) {
        let Some(cell) = quiet.cell.take() else { return };
        self.top_run = 0;
        totals.add(&cell, quiet.squares);
        if !quiet.apart {
            self.envelope.push(cell);
        }
        if let Some(machine) = &mut self.machine {
            machine.slept(&cell);
        }
    }

    /// What takes whole blocks beside the cells: the stored form, the voltage.
    fn block_beside(&mut self, clock: Clock<'_>, current: &[f64], voltage: &[f64]) {
        let volts = self.volts.is_some() && voltage.len() == current.len();
        if self.tap.is_none() && !volts {
            return;
        }
        let mut written = Vec::new();
        let time = match clock {
            Clock::Stamps(t) => t,
            Clock::Even { .. } => {
                let (first_sample, gap_s) = (self.samples, self.gap_s);
                Run { first_sample, before: None, clock, current, gap_s }.times_to(&mut written);
                &written
            }
        };
        if let Some(tap) = &mut self.tap {
            tap.block(self.samples, time, current, voltage);
        }
        if volts {
            self.block_volts(time, current, voltage);
        }
    }

    fn start(&mut self, clock: Clock<'_>, n: usize) {
        let pair;
        let time = match clock {
            Clock::Stamps(t) => t,
            Clock::Even { zero_s, step_s } => {
                pair = [zero_s, zero_s + step_s];
                &pair[..n.min(2)]
            }
        };
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

    fn cell(
        &mut self,
        run: Run<'_>,
        mut cell: Cell,
        sums: &CellSums,
        intervals: Intervals,
        totals: &mut Totals,
    ) {
        let ordinary =
            intervals.shortest > 0.0 && intervals.longest <= self.gap_s && run.before.is_some();
        let mut broken = false;
        if ordinary {
            if intervals.shortest < self.shortest_s {
                self.shortest_s = intervals.shortest;
            }
            if intervals.longest > self.longest_s {
                self.longest_s = intervals.longest;
            }
        } else {
            broken = self.odd_cell(run, &mut cell);
        }
        if sums.min < 0.0 {
            self.negatives(run);
        }
        if sums.min < self.min.value {
            self.min = Located { value: sums.min, sample: self.samples, time_s: cell.start_s };
        }
        // Cells at a top that was reached before are left out of the look at equal neighbours: clipping makes them equal.
        if sums.max != self.max.value && looked_at_for_steps(self.cell_number) {
            self.look_at_steps(run.current);
        }
        if sums.max >= self.max.value {
            self.top(run, sums.max);
        } else {
            self.top_run = 0;
        }
        totals.add(&cell, sums.squares);
        self.envelope.push(cell);
        if let Some(machine) = &mut self.machine {
            machine.cell(&cell, broken, run);
        } else if let Some(lead) = &mut self.lead {
            run.times_to(&mut lead.time);
            lead.current.extend_from_slice(run.current);
            lead.cells.push((cell, broken));
        }
    }

    /// A cell with a gap, a backward or repeated stamp, or the very first sample. Corrects charge and covered time.
    fn odd_cell(&mut self, run: Run<'_>, cell: &mut Cell) -> bool {
        cell.charge_c = 0.0;
        cell.covered_s = 0.0;
        let mut broken = false;
        let mut before = run.before;
        for k in 0..run.len() {
            let (t, i) = (run.time_s(k), run.current[k]);
            let Some((last_t, last_i)) = before.replace((t, i)) else { continue };
            let dt = t - last_t;
            let place = Located { value: dt, sample: self.samples + k as u64, time_s: last_t };
            if dt > self.gap_s {
                self.gaps.add(place, dt, |a, b| a > b);
                broken = true;
            } else if dt > 0.0 {
                cell.charge_c += 0.5 * (i + last_i) * dt;
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

    fn negatives(&mut self, run: Run<'_>) {
        for (k, &x) in run.current.iter().enumerate() {
            if x < 0.0 {
                let sample = self.samples + k as u64;
                let place = Located { value: x, sample, time_s: run.time_s(k) };
                self.negative.add(place, 0.0, |a, b| a < b);
            }
        }
    }

    /// Counts samples at the highest value and the longest run of them.
    fn top(&mut self, run: Run<'_>, max: f64) {
        if max > self.max.value {
            self.max = Located { value: max, sample: self.samples, time_s: run.time_s(0) };
            (self.top_count, self.top_run, self.top_longest) = (0, 0, 0);
            self.top_first = NOWHERE;
        }
        for (k, &x) in run.current.iter().enumerate() {
            if x >= self.max.value {
                if self.top_count == 0 {
                    let sample = self.samples + k as u64;
                    self.top_first = Located { value: x, sample, time_s: run.time_s(k) };
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
        let mut k = 0;
        for (cell, broken) in &lead.cells {
            let end = k + cell.samples as usize;
            let run = Run {
                first_sample: cell.first_sample,
                before: k.checked_sub(1).map(|b| (lead.time[b], lead.current[b])),
                clock: Clock::Stamps(&lead.time[k..end]),
                current: &lead.current[k..end],
                gap_s: self.gap_s,
            };
            machine.cell(cell, *broken, run);
            k = end;
        }
        self.machine = Some(machine);
    }
}
