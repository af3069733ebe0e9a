//! Asleep or awake: a machine with hysteresis that follows the samples in order.
//!
//! Whole cells below the threshold cost one comparison; only cells that reach it are walked sample by sample. A short excursion with
//! little charge is a regulator's burst and belongs to sleep. A wake ends after a stretch of quiet; its samples
//! are then cut into phases and compared with the wakes before.

use crate::analysis::{Floor, Located, WakeReport, WakeSegment, WakeSummary};
use crate::cells::{Cell, Coalescing, Spread, Sum};
use crate::defects::{DefectKind, Tally};
use crate::floor::{FloorWindows, Mode, lowest_dense_mode};
use crate::histogram::LogHistogram;
use crate::kinds::Kinds;
use crate::options::Options;
use crate::reduce::Run;
use crate::segment::{Cut, cut};
use crate::stretch::{Samples, Stretch};

/// Cells kept of one wake; a longer one is kept at half, a quarter, … of the resolution.
const WAKE_CELLS: usize = 1 << 16;
/// A burst holds no more charge than this many seconds of the floor, ten times over: bursts come every 1 ms to 2 s and carry
/// the sleep current's charge. Common practice, no source.
const BURST_FLOOR_S: f64 = 20.0;
/// Highest share of the floor's level that lies far below it.
const FAR_BELOW: f64 = 0.35;
/// Cells in a row that must lie far below the floor before it is learnt anew (an active start of the recording).
const RELEARN_CELLS: usize = 64;

#[derive(Debug, Clone, Copy, PartialEq)]
enum State {
    Asleep,
    /// Above the threshold for less than a burst may last.
    Rising,
    Awake,
}

/// One sample with the interval that leads to it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Step {
    pub(crate) sample: u64,
    pub(crate) time_s: f64,
    pub(crate) current_a: f64,
    pub(crate) charge_c: f64,
    pub(crate) covered_s: f64,
    /// The interval is a gap or a backward step.
    pub(crate) broken: bool,
}

/// The samples of one wake: single at first, in ever wider cells once there are too many.
#[derive(Debug, Default)]
struct WakeBuffer {
    first: Option<Step>,
    time_s: Vec<f64>,
    current_a: Vec<f64>,
    wide: Option<Coalescing>,
}

impl WakeBuffer {
    fn clear(&mut self) {
        self.first = None;
        self.time_s.clear();
        self.current_a.clear();
        self.wide = None;
    }

    #[inline]
    fn push(&mut self, s: Step) {
        if let Some(wide) = &mut self.wide {
            wide.push(Cell::single(s.sample, s.time_s, s.current_a, s.charge_c, s.covered_s));
            return;
        }
        if self.first.is_none() {
            self.first = Some(s);
        }
        self.time_s.push(s.time_s);
        self.current_a.push(s.current_a);
        self.widen_if_full();
    }

    /// A whole cell of ordinary samples.
    fn extend(&mut self, cell: &Cell, run: Run<'_>) {
        match &mut self.wide {
            Some(wide) if wide.width() >= cell.samples => wide.push(*cell),
            Some(wide) => {
                // The charge of a sample's interval is its share of the cell's: the samples of one cell lie close together.
                let n = cell.samples as f64;
                for (k, i) in run.current.iter().enumerate() {
                    wide.push(Cell::single(
                        cell.first_sample + k as u64,
                        run.time_s(k),
                        *i,
                        cell.charge_c / n,
                        cell.covered_s / n,
                    ));
                }
            }
            None => {
                run.times_to(&mut self.time_s);
                self.current_a.extend_from_slice(run.current);
                self.widen_if_full();
            }
        }
    }

    fn widen_if_full(&mut self) {
        if self.time_s.len() >= WAKE_CELLS - crate::reduce::CELL {
            let mut wide = Coalescing::new(WAKE_CELLS);
            for c in self.singles() {
                wide.push(c);
            }
            self.wide = Some(wide);
            self.time_s.clear();
            self.current_a.clear();
        }
    }

    fn singles(&self) -> Vec<Cell> {
        let Some(first) = self.first else { return Vec::new() };
        let mut out = Vec::with_capacity(self.time_s.len());
        let (mut t, mut i) = (first.time_s, first.current_a);
        for (k, (&time, &current)) in self.time_s.iter().zip(&self.current_a).enumerate() {
            let (charge, covered) = if k == 0 {
                (first.charge_c, first.covered_s)
            } else {
                (0.5 * (i + current) * (time - t), time - t)
            };
            out.push(Cell::single(first.sample + k as u64, time, current, charge, covered));
            (t, i) = (time, current);
        }
        out
    }

    /// The samples, where they are kept one by one.
    fn samples(&self) -> Option<Samples<'_>> {
        let first = self.first.filter(|_| self.wide.is_none())?;
        Some(Samples { first, time_s: &self.time_s, current_a: &self.current_a })
    }
}

#[derive(Debug, Clone, Copy, Default)]
struct Excursion {
    start_s: f64,
    charge_c: f64,
    covered_s: f64,
}

pub(crate) struct Machine {
    mode: Mode,
    on_a: f64,
    off_a: f64,
    longest_burst_s: f64,
    quiet_s: f64,
    state: State,
    excursion: Excursion,
    in_excursion: bool,
    last_active_s: f64,
    last_active_sample: u64,
    buffer: WakeBuffer,
    started_cut: bool,
    previous_a: f64,
    pub(crate) floor: FloorWindows,
    asleep_charge: Sum,
    asleep_s: Sum,
    bursts: u64,
    burst_charge: Sum,
    burst_period: Spread,
    last_burst_s: Option<f64>,
    low_run: Vec<f64>,
    low_cells: usize,
    pub(crate) kinds: Kinds,
    pub(crate) range_switch: Tally,
    stated_threshold: bool,
}

impl Machine {
    pub(crate) fn new(mode: Mode, interval_s: f64, options: &Options) -> Self {
        let on_a = options.wake_threshold_a.unwrap_or(mode.threshold_a);
        let shortest_window = (options.floor_window_s).max(8.0 * interval_s);
        let window_s = (shortest_window / options.floor_window_s - 1e-9).ceil().max(1.0)
            * options.floor_window_s;
        Self {
            mode,
            on_a,
            off_a: off_threshold(on_a, mode.level_a),
            longest_burst_s: options.longest_burst_s.max(if options.longest_burst_s > 0.0 {
                1.5 * interval_s
            } else {
                0.0
            }),
            quiet_s: options.quiet_after_wake_s.max(8.0 * interval_s),
            state: State::Asleep,
            excursion: Excursion::default(),
            in_excursion: false,
            last_active_s: 0.0,
            last_active_sample: 0,
            buffer: WakeBuffer::default(),
            started_cut: false,
            previous_a: f64::NAN,
            floor: FloorWindows::new(window_s),
            asleep_charge: Sum::default(),
            asleep_s: Sum::default(),
            bursts: 0,
            burst_charge: Sum::default(),
            burst_period: Spread::default(),
            last_burst_s: None,
            low_run: Vec::new(),
            low_cells: 0,
            kinds: Kinds::new(options),
            range_switch: Tally::new(DefectKind::RangeSwitch),
            stated_threshold: options.wake_threshold_a.is_some(),
        }
    }

    /// While asleep: a cell whose highest sample lies at or above the first and below the second figure (A) needs no look at its samples, as
    /// long as it and those before it in its row stay shorter than the third (s). `None`: each cell has to be looked at.
    pub(crate) fn asleep_between(&self) -> Option<(f64, f64, f64)> {
        let lowest =
            if self.stated_threshold { f64::NEG_INFINITY } else { FAR_BELOW * self.mode.level_a };
        (self.state == State::Asleep && self.low_cells == 0)
            .then(|| (lowest, self.on_a, self.floor.left_s()))
    }

    /// Cells that keep to [`Self::asleep_between`], joined.
    pub(crate) fn slept(&mut self, cell: &Cell) {
        self.asleep(cell.charge_c, cell.covered_s, cell.end_s);
        self.previous_a = f64::NAN;
    }

    /// A cell and its samples, which are walked one by one where that is needed.
    #[inline]
    pub(crate) fn cell(&mut self, cell: &Cell, broken: bool, run: Run<'_>) {
        if !broken
            && self.state == State::Asleep
            && cell.max_a < self.on_a
            && cell.covered_s < self.floor.left_s()
        {
            self.slept(cell);
            if cell.max_a < FAR_BELOW * self.mode.level_a && !self.stated_threshold {
                self.far_below(run.current);
            } else if self.low_cells > 0 {
                self.low_cells = 0;
                self.low_run.clear();
            }
            return;
        }
        if !broken && self.state == State::Awake && cell.min_a >= self.off_a && self.in_excursion {
            self.buffer.extend(cell, run);
            self.excursion.charge_c += cell.charge_c - self.mode.level_a * cell.covered_s;
            self.excursion.covered_s += cell.covered_s;
            if cell.end_s - self.excursion.start_s > self.longest_burst_s {
                self.last_active_s = cell.end_s;
                self.last_active_sample = cell.first_sample + cell.samples - 1;
            }
            return;
        }
        if !broken
            && self.state == State::Awake
            && !self.in_excursion
            && cell.max_a < self.on_a
            && cell.end_s - self.last_active_s < self.quiet_s
        {
            // The wait after a wake for its end.
            self.buffer.extend(cell, run);
            self.previous_a = run.current[run.len() - 1];
            return;
        }
        let whole_window = broken || cell.covered_s >= self.floor.left_s();
        let mut k = 0;
        while k < run.len() {
            let slept = match self.state {
                State::Asleep if !whole_window => {
                    let rest = &run.current[k..];
                    rest.iter().position(|x| *x >= self.on_a).unwrap_or(rest.len())
                }
                _ => 0,
            };
            if slept > 1 {
                // Below the threshold: one step for all.
                let (charge_c, covered_s) = run.between(k, k + slept);
                self.asleep(charge_c, covered_s, run.time_s(k + slept - 1));
                self.previous_a = run.current[k + slept - 1];
                k += slept;
                continue;
            }
            self.step(run.step(k));
            k += 1;
        }
    }

    #[inline]
    fn asleep(&mut self, charge_c: f64, covered_s: f64, now_s: f64) {
        self.asleep_charge.add(charge_c);
        self.asleep_s.add(covered_s);
        self.floor.add(charge_c, covered_s, now_s);
    }

    #[inline]
    fn step(&mut self, s: Step) {
        if s.broken {
            self.broken(s.time_s);
        }
        match self.state {
            State::Asleep => {
                if s.current_a >= self.on_a {
                    self.buffer.clear();
                    self.excursion = Excursion {
                        start_s: s.time_s,
                        charge_c: s.charge_c - self.mode.level_a * s.covered_s,
                        covered_s: s.covered_s,
                    };
                    self.in_excursion = true;
                    self.started_cut = s.broken || s.sample == 0;
                    if self.previous_a < 0.3 * self.mode.level_a && self.mode.level_a > 0.0 {
                        let place = Located {
                            value: self.previous_a,
                            sample: s.sample.saturating_sub(1),
                            time_s: s.time_s,
                        };
                        self.range_switch.add(place, 0.0, |a, b| a < b);
                    }
                    self.push(s);
                    self.state = State::Rising;
                } else {
                    self.asleep(s.charge_c, s.covered_s, s.time_s);
                }
            }
            State::Rising => {
                if s.current_a >= self.off_a {
                    self.push(s);
                    self.excursion.charge_c += s.charge_c - self.mode.level_a * s.covered_s;
                    self.excursion.covered_s += s.covered_s;
                    if s.time_s - self.excursion.start_s > self.longest_burst_s {
                        self.wake(s);
                    }
                } else {
                    self.excursion.charge_c += s.charge_c - self.mode.level_a * s.covered_s;
                    self.excursion.covered_s += s.covered_s;
                    if self.is_burst(s) {
                        self.burst(s);
                        self.state = State::Asleep;
                    } else {
                        self.last_active_s = s.time_s - s.covered_s;
                        self.last_active_sample = s.sample.saturating_sub(1);
                        self.in_excursion = false;
                        self.push(s);
                        self.state = State::Awake;
                    }
                }
            }
            State::Awake => {
                self.push(s);
                if s.current_a >= if self.in_excursion { self.off_a } else { self.on_a } {
                    if !self.in_excursion {
                        self.in_excursion = true;
                        self.excursion =
                            Excursion { start_s: s.time_s, charge_c: 0.0, covered_s: 0.0 };
                    }
                    self.excursion.charge_c += s.charge_c - self.mode.level_a * s.covered_s;
                    self.excursion.covered_s += s.covered_s;
                    if s.time_s - self.excursion.start_s > self.longest_burst_s {
                        self.wake(s);
                    }
                } else {
                    if self.in_excursion {
                        self.in_excursion = false;
                        if !self.is_burst(s) {
                            self.last_active_s = s.time_s - s.covered_s;
                            self.last_active_sample = s.sample.saturating_sub(1);
                        }
                    }
                    if s.time_s - self.last_active_s >= self.quiet_s
                        && s.sample - self.last_active_sample >= 8
                    {
                        self.end_wake(false);
                    }
                }
            }
        }
        self.previous_a = s.current_a;
    }

    #[inline]
    fn push(&mut self, s: Step) {
        self.buffer.push(s);
    }

    fn wake(&mut self, s: Step) {
        self.state = State::Awake;
        self.last_active_s = s.time_s;
        self.last_active_sample = s.sample;
    }

    /// `s` is the first sample below again.
    fn is_burst(&self, s: Step) -> bool {
        let duration = s.time_s - self.excursion.start_s;
        let limit = BURST_FLOOR_S * self.mode.level_a.abs().max(1e-9);
        duration <= self.longest_burst_s && self.excursion.charge_c <= limit
    }

    fn burst(&mut self, s: Step) {
        self.bursts += 1;
        self.burst_charge.add(self.excursion.charge_c);
        if let Some(last) = self.last_burst_s {
            let period = self.excursion.start_s - last;
            if period <= BURST_FLOOR_S / 10.0 {
                self.burst_period.add(period);
            }
        }
        self.last_burst_s = Some(self.excursion.start_s);
        let charge = self.excursion.charge_c + self.mode.level_a * self.excursion.covered_s;
        let covered = self.excursion.covered_s;
        self.in_excursion = false;
        self.buffer.clear();
        self.asleep(charge, covered, s.time_s);
    }

    /// A gap or the end cuts an excursion that has been no more than a burst so far: it belongs to sleep.
    fn was_burst(&mut self, now_s: f64) -> bool {
        if self.excursion.charge_c > BURST_FLOOR_S * self.mode.level_a.abs().max(1e-9) {
            return false;
        }
        let charge = self.excursion.charge_c + self.mode.level_a * self.excursion.covered_s;
        let covered = self.excursion.covered_s;
        self.state = State::Asleep;
        self.in_excursion = false;
        self.buffer.clear();
        self.asleep(charge, covered, now_s);
        true
    }

    fn broken(&mut self, now_s: f64) {
        self.floor.interrupt();
        self.last_burst_s = None;
        match self.state {
            State::Asleep => {}
            State::Rising => {
                if !self.was_burst(now_s) {
                    self.last_active_s = now_s;
                    self.last_active_sample = u64::MAX;
                    self.end_wake(true);
                }
            }
            State::Awake => {
                if self.in_excursion {
                    self.last_active_sample = u64::MAX;
                }
                self.end_wake(self.in_excursion);
            }
        }
        self.kinds.interrupt();
    }

    fn end_wake(&mut self, cut: bool) {
        self.state = State::Asleep;
        self.in_excursion = false;
        self.last_burst_s = None;
        self.floor.interrupt();
        let mut buffer = std::mem::take(&mut self.buffer);
        if let Some(wide) = &buffer.wide {
            self.keep_wake(wide.finished().as_slice(), cut);
        } else if let Some(samples) = buffer.samples() {
            self.keep_wake(&samples, cut);
        }
        buffer.clear();
        self.buffer = buffer;
    }

    /// A wake is over: its phases, its charge above the floor.
    fn keep_wake<S: Stretch + ?Sized>(&mut self, stretch: &S, cut_off: bool) {
        let end = stretch.up_to_sample(self.last_active_sample);
        if end == 0 {
            return;
        }
        let baseline = self
            .floor
            .recent_a()
            .or_else(|| self.asleep_mean())
            .unwrap_or(self.mode.level_a)
            .min(self.on_a);
        let cuts = cut(stretch, end);
        self.range_switches(stretch, end, &cuts);
        let (covered, charge) = (stretch.covered_s(0..end), stretch.charge_c(0..end));
        let edge = stretch.single(end).map_or(0.0, |_| {
            stretch.charge_c(end..end + 1) - baseline * stretch.covered_s(end..end + 1)
        });
        let start_s = stretch.start_s(0);
        let segments: Vec<WakeSegment> =
            cuts.iter().map(|c| segment(stretch, *c, start_s)).collect();
        let summary = WakeSummary {
            number: 0,
            start_s,
            duration_s: covered,
            charge_c: charge - baseline * covered + edge,
            baseline_a: baseline,
            peak_a: stretch.max_a(0..end),
            kind: None,
            cut: cut_off || self.started_cut,
            segments,
        };
        self.kinds.add(summary);
    }

    fn asleep_mean(&self) -> Option<f64> {
        let t = self.asleep_s.value();
        (t > 0.0).then(|| self.asleep_charge.value() / t)
    }

    /// A few samples outside both levels where the level changes by a factor of five or more.
    fn range_switches<S: Stretch + ?Sized>(&mut self, stretch: &S, n: usize, cuts: &[Cut]) {
        if stretch.single(0).is_none() {
            return;
        }
        let mean = |c: &Cut| stretch.mean_a(c.start..c.end);
        let long: Vec<&Cut> = cuts.iter().filter(|c| c.end - c.start > 5).collect();
        for pair in long.windows(2) {
            let (a, b) = (mean(pair[0]), mean(pair[1]));
            let (low, high) = (a.min(b), a.max(b));
            if high < 5.0 * low.max(1e-12) {
                continue;
            }
            let from = pair[0].end.saturating_sub(4);
            let to = (pair[1].start + 4).min(n);
            let outside = (from..to)
                .filter_map(|k| stretch.single(k))
                .find(|(_, _, i)| *i < 0.3 * low || *i > 3.0 * high);
            if let Some((sample, time_s, value)) = outside {
                let place = Located { value, sample, time_s };
                self.range_switch.add(place, 0.0, |a, b| a.abs() > b.abs());
            }
        }
    }

    /// The floor was learnt from an active start: learn it anew from what lies far below it.
    fn far_below(&mut self, current_a: &[f64]) {
        self.low_cells += 1;
        self.low_run.extend_from_slice(current_a);
        if self.low_cells < RELEARN_CELLS {
            return;
        }
        let run = std::mem::take(&mut self.low_run);
        self.low_cells = 0;
        let Some(mode) = lowest_dense_mode(&LogHistogram::of(&run)) else { return };
        self.mode = mode;
        self.on_a = mode.threshold_a;
        self.off_a = off_threshold(self.on_a, mode.level_a);
        self.floor = FloorWindows::new(self.floor.window_s);
        (self.asleep_charge, self.asleep_s) = (Sum::default(), Sum::default());
        (self.bursts, self.burst_charge, self.burst_period) =
            (0, Sum::default(), Spread::default());
        self.kinds.restart();
    }

    /// The end of the trace.
    pub(crate) fn finish(&mut self, last_sample: u64, last_s: f64) {
        match self.state {
            State::Asleep => {}
            State::Rising => {
                if !self.was_burst(last_s) {
                    self.last_active_sample = u64::MAX;
                    self.end_wake(true);
                }
            }
            State::Awake => {
                let quiet = !self.in_excursion
                    && last_sample.saturating_sub(self.last_active_sample) >= 8
                    && last_s - self.last_active_s >= 0.1 * self.quiet_s;
                if !quiet {
                    self.last_active_sample = u64::MAX;
                }
                self.end_wake(!quiet);
            }
        }
    }

    /// The floor, with the mode of the whole trace's histogram.
    pub(crate) fn floor(&self) -> Option<Floor> {
        let asleep_s = self.asleep_s.value();
        let mean = self.floor.mean_a().or_else(|| self.asleep_mean())?;
        // A record that starts or ends inside a burst period is off by at most one burst: rectangular, hence /√3.
        let truncated = if self.bursts > 0 {
            self.burst_charge.value() / self.bursts as f64 / asleep_s / 3f64.sqrt()
        } else {
            0.0
        };
        Some(Floor {
            mode_a: self.mode.level_a,
            mean_a: mean,
            standard_uncertainty_a: self
                .floor
                .standard_error_a()
                .map(|u| (u * u + truncated * truncated).sqrt()),
            windows: self.floor.count,
            window_s: self.floor.window_s,
            asleep_s,
            threshold_a: self.on_a,
            bursts: self.bursts,
            burst_period_s: (self.burst_period.count >= 3).then_some(self.burst_period.mean),
            burst_charge_c: (self.bursts > 0)
                .then(|| self.burst_charge.value() / self.bursts as f64),
        })
    }

    pub(crate) fn report(self) -> WakeReport {
        self.kinds.report()
    }
}

fn off_threshold(on_a: f64, level_a: f64) -> f64 {
    level_a + 0.7 * (on_a - level_a)
}

fn segment<S: Stretch + ?Sized>(stretch: &S, cut: Cut, wake_start_s: f64) -> WakeSegment {
    let range = cut.start..cut.end;
    let (mean, peak) = (stretch.mean_a(range.clone()), stretch.max_a(range.clone()));
    WakeSegment {
        start_s: stretch.start_s(cut.start) - wake_start_s,
        duration_s: stretch.covered_s(range.clone()),
        mean_a: mean,
        peak_a: peak,
        peak_s: stretch.covered_above_s(range.clone(), f64::midpoint(mean, peak)),
        charge_c: stretch.charge_c(range),
        bursts: cut.bursts,
        recognised: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reduce::{CELL, CellSums, Clock};
    use proptest::prelude::*;

    const STEP_S: f64 = 1e-4;

    /// Sleep with bursts and wakes, by turns: lengths in samples, and a stream of noise.
    fn board(turns: &[(usize, usize, usize)], seed: u64) -> Vec<f64> {
        let mut x = seed | 1;
        let mut noise = || {
            x ^= x << 13;
            x ^= x >> 7;
            x ^= x << 17;
            1.0 + 0.1 * ((x >> 40) as f64 / (1u64 << 24) as f64 - 0.5)
        };
        let mut out = Vec::new();
        for &(asleep, burst, awake) in turns {
            out.extend((0..asleep).map(|_| 12e-6 * noise()));
            out.extend((0..burst).map(|_| 900e-6 * noise()));
            out.extend((0..asleep / 2).map(|_| 12e-6 * noise()));
            out.extend((0..awake).map(|k| if k * 2 < awake { 8e-3 } else { 25e-3 } * noise()));
        }
        out
    }

    fn machine() -> Machine {
        let mode = Mode { level_a: 12e-6, threshold_a: 36e-6 };
        Machine::new(mode, STEP_S, &Options::default())
    }

    fn close(a: f64, b: f64) -> bool {
        (a - b).abs() <= 1e-9 * a.abs().max(b.abs()) || (a.is_nan() && b.is_nan())
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]
        /// Cells that are passed over as a whole, and stretches of them, tell the same as every sample by itself.
        #[test]
        fn short_cuts_change_nothing(
            turns in prop::collection::vec((20usize..9000, 0usize..6, prop_oneof![Just(0usize), 30usize..700]), 1..8),
            seed in any::<u64>(),
            stamped in any::<bool>(),
        ) {
            let current = board(&turns, seed);
            let time: Vec<f64> = (0..current.len()).map(|k| k as f64 * STEP_S).collect();
            let (mut cells, mut singly) = (machine(), machine());
            for first in (0..current.len()).step_by(CELL) {
                let end = (first + CELL).min(current.len());
                let run = Run {
                    first_sample: first as u64,
                    before: first.checked_sub(1).map(|b| (time[b], current[b])),
                    clock: if stamped { Clock::Stamps(&time[first..end]) } else { Clock::Even { zero_s: 0.0, step_s: STEP_S } },
                    current: &current[first..end],
                    gap_s: 1.0,
                };
                let charge_c = run.steps().map(|s| s.charge_c).sum();
                let cell = run.cell(&CellSums::of(run.current), charge_c);
                cells.cell(&cell, false, run);
                for step in run.steps() {
                    singly.step(step);
                }
            }
            for m in [&mut cells, &mut singly] {
                m.finish(current.len() as u64 - 1, time[time.len() - 1]);
            }
            let (a, b) = (cells.floor(), singly.floor());
            prop_assert_eq!(a.is_some(), b.is_some());
            if let (Some(a), Some(b)) = (a, b) {
                prop_assert_eq!((a.windows, a.bursts), (b.windows, b.bursts));
                prop_assert!(close(a.mean_a, b.mean_a), "{} {}", a.mean_a, b.mean_a);
                prop_assert!(close(a.asleep_s, b.asleep_s), "{} {}", a.asleep_s, b.asleep_s);
                prop_assert!(close(a.burst_charge_c.unwrap_or(f64::NAN), b.burst_charge_c.unwrap_or(f64::NAN)));
                prop_assert!(close(a.burst_period_s.unwrap_or(f64::NAN), b.burst_period_s.unwrap_or(f64::NAN)));
            }
            let (a, b) = (cells.report(), singly.report());
            prop_assert_eq!((a.count, a.cut, a.listed.len()), (b.count, b.cut, b.listed.len()));
            for (a, b) in a.listed.iter().zip(&b.listed) {
                prop_assert!(close(a.start_s, b.start_s) && close(a.duration_s, b.duration_s));
                prop_assert!(close(a.charge_c, b.charge_c), "{} {}", a.charge_c, b.charge_c);
            }
        }
    }
}
