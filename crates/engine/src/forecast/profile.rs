//! One cycle at a given charge: currents of sleep and segments, and every train's periodic responses.
//!
//! With currents fixed, each mode `du/dt = a·(i − u)` of a periodic train is periodic after its start-up:
//! the state at the end of an activity is a geometric sum over all earlier ones. Different trains
//! superpose, whatever their intervals. The total charge is its mean `Q̄` plus a zero-mean ripple, known in
//! closed form too.
#![allow(clippy::needless_range_loop)] // the mode index runs over several arrays side by side

use super::frame::{
    Conditions, Dependence, Frame, Kind, MODES, NS, PerMode, REST_PARTS, decay, resistance_at,
};
use crate::load::{Demand, SleepCurrent};
use crate::outcome::Flags;
use crate::scenario::Scenario;
use crate::supply::{Carried, DrainSum, Draw, Point, SleepTable, Source, operate};

/// Time constants after which a capacitor's help is spent: `e^(−40)` is below half an ulp of 1.
const SPENT: f64 = 40.0;

/// A train's periodic response, per ampere-carrying mode, above sleep.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct TrainState {
    /// Mode currents at the start of an activity, and at its end.
    pub(crate) start: PerMode,
    pub(crate) end: PerMode,
    /// Largest value in the cycle.
    pub(crate) peak: PerMode,
    /// Charge of one activity above sleep, its mean current, its ripple at the start.
    pub(crate) excess_c: f64,
    pub(crate) mean_a: f64,
    pub(crate) ripple_start_c: f64,
    pub(crate) ripple_least_c: f64,
    pub(crate) largest_excess_a: f64,
}

/// A segment's currents and states.
#[derive(Debug, Clone, Copy)]
pub(crate) struct SegState {
    pub(crate) point: Point,
    pub(crate) excess_a: f64,
    /// Mode currents above sleep at the segment's end.
    pub(crate) end: PerMode,
    pub(crate) drawn_end_c: f64,
    /// Means over the segment, for the next pass.
    mean: PerMode,
    mean_ripple_c: f64,
}

/// What a check sees, apart from charge and other trains at their actual phase.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct CheckState {
    /// Own mode currents with sleep, and the peak's own rise.
    pub(crate) own: PerMode,
    /// The same with every other train at its worst phase.
    pub(crate) worst: PerMode,
    pub(crate) own_ripple_c: f64,
    pub(crate) worst_ripple_c: f64,
    /// Current of other activities that may run at the same time.
    pub(crate) worst_extra_a: f64,
}

#[derive(Debug, Clone)]
pub(crate) struct Profile {
    pub(crate) sleep: Point,
    pub(crate) trains: Vec<TrainState>,
    pub(crate) segs: Vec<SegState>,
    pub(crate) checks: Vec<CheckState>,
    /// Mean cell current.
    pub(crate) mean_a: f64,
    /// Periodic part of the modes at time 0, subtracted while the start-up from rest decays.
    pub(crate) at_rest: PerMode,
    pub(crate) flags: Flags,
    /// Mean mode currents asleep.
    pub(crate) sleep_u: PerMode,
}

impl Default for Profile {
    fn default() -> Self {
        Self {
            sleep: Point::NONE,
            trains: Vec::new(),
            segs: Vec::new(),
            checks: Vec::new(),
            mean_a: 0.0,
            at_rest: [0.0; MODES],
            flags: Flags::NONE,
            sleep_u: [0.0; MODES],
        }
    }
}

/// The cell's charge-independent state during a leap, as the averages see it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Surroundings {
    pub(crate) conditions: Conditions,
    /// Capacity now, aged.
    pub(crate) capacity_c: f64,
    /// Rise of resistance by age.
    pub(crate) growth: f64,
}

/// State of charge of a head `h`: `s = 1 − (1 − h/Q)/f`.
#[inline]
pub(crate) fn charge_state(head_c: f64, capacity_c: f64, share: f64) -> f64 {
    1.0 - (1.0 - head_c / capacity_c) / share
}

pub(crate) fn sleep_table(sc: &Scenario) -> SleepTable<'_> {
    match &sc.load.sleep.current {
        SleepCurrent::BatteryByVoltage(curve) => Some(curve),
        _ => None,
    }
}

impl Profile {
    /// Sets the sizes; keeps memory.
    pub(crate) fn reset(&mut self, frame: &Frame) {
        let blank = SegState {
            point: Point::NONE,
            excess_a: 0.0,
            end: [0.0; MODES],
            drawn_end_c: 0.0,
            mean: [0.0; MODES],
            mean_ripple_c: 0.0,
        };
        self.trains.clear();
        self.trains.resize(frame.trains.len(), TrainState::default());
        self.segs.clear();
        self.segs.resize(frame.segs.len(), blank);
        self.checks.clear();
        self.checks.resize(frame.checks.len(), CheckState::default());
        self.sleep_u = [0.0; MODES];
        self.mean_a = 0.0;
    }

    /// Currents at mean charge `q_c`, `passes` times with the polarisation of the pass before.
    pub(crate) fn build(
        &mut self,
        sc: &Scenario,
        frame: &Frame,
        at: &Surroundings,
        q_c: f64,
        passes: usize,
    ) {
        // The ripple moves the charge too little within a cycle to matter for the resistance.
        let factor = at.conditions.ohm_factor * at.growth;
        let s_mean = charge_state(q_c, at.capacity_c, at.conditions.share).max(0.0);
        let ohm = resistance_at(sc.cell.resistance.as_ref(), s_mean) * factor;
        for _ in 0..passes {
            self.pass(sc, frame, at, q_c, factor, ohm);
        }
    }

    /// One pass with the cell's resistance `ohm`, the factor of the modes' resistances being `factor`.
    fn pass(
        &mut self,
        sc: &Scenario,
        frame: &Frame,
        at: &Surroundings,
        q_c: f64,
        factor: f64,
        ohm: f64,
    ) {
        let cond = &at.conditions;
        self.flags = Flags::NONE;
        let table = sleep_table(sc);
        let solve = |draw: Draw, drains: &DrainSum, u: &PerMode, ripple_c: f64| {
            let wells = if frame.modes > frame.rc { frame.well_c_per_a * u[frame.rc] } else { 0.0 };
            let head = q_c + ripple_c - wells;
            let s = charge_state(head, at.capacity_c, cond.share);
            let mut emf_v = sc.cell.open_circuit_v.at(s);
            for m in 0..frame.rc {
                emf_v -= frame.mode_ohm[m] * factor * u[m];
            }
            operate(&sc.path, drains, draw, Source { emf_v, ohm }, None, table)
        };
        let sleep_draw = Frame::sleep_draw(sc, cond);
        // A mean voltage is enough where the current is nearly linear in it.
        if frame.modes == 0
            || frame.trains.is_empty()
            || frame.dependence != Some(Dependence::InDropout)
        {
            self.sleep = solve(sleep_draw, &frame.asleep, &self.sleep_u, 0.0);
        } else {
            // While the polarisation relaxes the voltage moves: the mean of three parts of the rest.
            let mut mean = Point::NONE;
            mean.reach_v = f64::INFINITY;
            for (part, share) in REST_PARTS.iter().enumerate() {
                let u = self.sleep_part(frame, part);
                let point = solve(sleep_draw, &frame.asleep, &u, 0.0);
                mean.cell_a += share * point.cell_a;
                mean.input_a += share * point.input_a;
                mean.rail_a += share * point.rail_a;
                mean.cell_v += share * point.cell_v;
                mean.input_v += share * point.input_v;
                mean.rail_v += share * point.rail_v;
                mean.reach_v = mean.reach_v.min(point.reach_v);
                mean.dropout |= point.dropout;
                mean.flags.extend(point.flags);
            }
            self.sleep = mean;
        }
        self.flags.extend(self.sleep.flags);
        let sleep_a = self.sleep.cell_a;
        let others_a = self.mean_a - sleep_a; // mean excess of all trains, from the pass before
        let mut mean_a = sleep_a;
        let mut sleep_u = [0.0; MODES];
        for (j, train) in frame.trains.iter().enumerate() {
            let beside_a = if self.mean_a == 0.0 { 0.0 } else { others_a - self.trains[j].mean_a };
            // Currents.
            let mut drawn = 0.0;
            let mut integral = 0.0;
            let mut largest = 0.0_f64;
            for k in train.first_seg..train.end_seg {
                let seg = &frame.segs[k];
                let state = &mut self.segs[k];
                let mut u = state.mean;
                for value in u.iter_mut().take(frame.modes) {
                    *value += sleep_a + beside_a;
                }
                state.point = solve(Draw::Rail(seg.demand), &frame.awake, &u, state.mean_ripple_c);
                self.flags.extend(state.point.flags);
                state.excess_a = state.point.cell_a - sleep_a;
                integral += (drawn + 0.5 * state.excess_a * seg.duration_s) * seg.duration_s;
                drawn += state.excess_a * seg.duration_s;
                state.drawn_end_c = drawn;
                largest = largest.max(state.excess_a);
            }
            // Ripple.
            let train_state = &mut self.trains[j];
            train_state.excess_c = drawn;
            train_state.mean_a = drawn / train.interval_s;
            train_state.largest_excess_a = largest;
            let rest_s = train.interval_s - train.duration_s;
            train_state.ripple_start_c =
                (integral + drawn * rest_s) / train.interval_s - 0.5 * drawn;
            train_state.ripple_least_c =
                train_state.ripple_start_c - drawn + train_state.mean_a * train.duration_s;
            // Modes.
            let mut end = [0.0; MODES];
            for m in 0..frame.modes {
                let mut x = 0.0;
                for k in train.first_seg..train.end_seg {
                    let i = self.segs[k].excess_a;
                    x = i + (x - i) * frame.segs[k].decay[m];
                }
                end[m] = x * train.norm[m];
            }
            let mut start = [0.0; MODES];
            let mut peak = end;
            for m in 0..frame.modes {
                start[m] = end[m] * train.rest_decay[m];
                let mut x = start[m];
                for k in train.first_seg..train.end_seg {
                    let (seg, state) = (&frame.segs[k], &mut self.segs[k]);
                    let i = state.excess_a;
                    state.mean[m] = i + (x - i) * seg.mean[m];
                    x = i + (x - i) * seg.decay[m];
                    state.end[m] = x;
                    peak[m] = peak[m].max(x);
                }
                sleep_u[m] += end[m] * train.rest_mean[m];
            }
            train_state.start = start;
            train_state.end = end;
            train_state.peak = peak;
            let (mean, begin) = (train_state.mean_a, train_state.ripple_start_c);
            let mut from_s = 0.0;
            let mut before = 0.0;
            for k in train.first_seg..train.end_seg {
                let (seg, state) = (&frame.segs[k], &mut self.segs[k]);
                let middle_s = from_s + 0.5 * seg.duration_s;
                state.mean_ripple_c = begin - 0.5 * (before + state.drawn_end_c) + mean * middle_s;
                from_s += seg.duration_s;
                before = state.drawn_end_c;
            }
            mean_a += mean;
        }
        self.mean_a = mean_a;
        for value in sleep_u.iter_mut().take(frame.modes) {
            *value += sleep_a;
        }
        self.sleep_u = sleep_u;
    }

    /// Mode currents in a part of the rest after the most frequent activity, the others at their mean.
    pub(crate) fn sleep_part(&self, frame: &Frame, part: usize) -> PerMode {
        let mut u = self.sleep_u;
        let j = frame.shortest;
        let (train, state) = (&frame.trains[j], &self.trains[j]);
        for m in 0..frame.modes {
            u[m] += state.end[m] * (train.part_mean[part][m] - train.rest_mean[m]);
        }
        u
    }

    /// Fills what the checks see, from the currents.
    pub(crate) fn fill_checks(&mut self, frame: &Frame) -> bool {
        let sleep_a = self.sleep.cell_a;
        let n = frame.trains.len();
        self.at_rest = [0.0; MODES];
        for m in 0..frame.modes {
            self.at_rest[m] = sleep_a;
        }
        for j in 0..n {
            let train = &frame.trains[j];
            let phase_ns = (train.interval_ns - train.offset_ns) % train.interval_ns;
            let (u, _, _) = self.response(frame, j, phase_ns);
            for m in 0..frame.modes {
                self.at_rest[m] += u[m];
            }
        }
        let mut overlap = false;
        for (c, check) in frame.checks.iter().enumerate() {
            let mut state = CheckState::default();
            if check.train == usize::MAX {
                for m in 0..frame.modes {
                    state.own[m] = sleep_a;
                }
                state.worst = state.own;
                self.checks[c] = state;
                continue;
            }
            let train = &self.trains[check.train];
            let theta_s = check.theta_ns as f64 * NS;
            state.own_ripple_c = train.ripple_start_c + train.mean_a * theta_s;
            let mut own = train.start;
            if check.kind != Kind::Sleep {
                state.own_ripple_c -= self.segs[check.seg].drawn_end_c;
                own = self.segs[check.seg].end;
            }
            for m in 0..frame.modes {
                state.own[m] = own[m] + sleep_a;
            }
            state.worst = state.own;
            state.worst_ripple_c = state.own_ripple_c;
            for k in 0..n {
                if k == check.train {
                    continue;
                }
                let nearest_ns = frame.nearest_phase(check, k);
                let other = &frame.trains[k];
                if other.runs_at(nearest_ns, check.kind) {
                    overlap = true;
                    let s = &self.trains[k];
                    for m in 0..frame.modes {
                        state.worst[m] += s.peak[m];
                    }
                    state.worst_ripple_c += s.ripple_least_c.min(s.ripple_start_c);
                    state.worst_extra_a += s.largest_excess_a.max(0.0);
                } else {
                    let (u, ripple, _) = self.response(frame, k, nearest_ns);
                    for m in 0..frame.modes {
                        state.worst[m] += u[m];
                    }
                    state.worst_ripple_c += ripple;
                }
            }
            self.checks[c] = state;
        }
        overlap
    }

    /// A train's mode currents above sleep, ripple and current above sleep at a phase in `0..=T`.
    #[inline]
    pub(crate) fn response(&self, frame: &Frame, j: usize, phase_ns: i64) -> (PerMode, f64, f64) {
        let train = &frame.trains[j];
        let state = &self.trains[j];
        let phase_s = phase_ns as f64 * NS;
        let mut u = [0.0; MODES];
        if phase_ns >= train.duration_ns {
            let since_s = (phase_ns - train.duration_ns) as f64 * NS;
            for m in 0..frame.modes {
                let x = frame.rate[m] * since_s;
                u[m] = if x < 40.0 { state.end[m] * libm::exp(-x) } else { 0.0 };
            }
            let ripple = state.ripple_start_c - state.excess_c + state.mean_a * phase_s;
            // At its very end the activity still draws, for a check that looks just before that time.
            let last_a = if phase_ns == train.duration_ns && train.end_seg > train.first_seg {
                self.segs[train.end_seg - 1].excess_a
            } else {
                0.0
            };
            return (u, ripple, last_a);
        }
        let mut from_ns = 0;
        let mut x = state.start;
        let mut before = 0.0;
        for k in train.first_seg..train.end_seg {
            let (seg, s) = (&frame.segs[k], &self.segs[k]);
            if phase_ns <= seg.end_ns {
                let t = (phase_ns - from_ns) as f64 * NS;
                for m in 0..frame.modes {
                    u[m] = s.excess_a + (x[m] - s.excess_a) * decay(frame.rate[m] * t);
                }
                let ripple =
                    state.ripple_start_c - before - s.excess_a * t + state.mean_a * phase_s;
                return (u, ripple, s.excess_a);
            }
            from_ns = seg.end_ns;
            x = s.end;
            before = s.drawn_end_c;
        }
        (x, state.ripple_start_c - before + state.mean_a * phase_s, 0.0)
    }

    /// The bulk capacitor's share at a check: filtered current before it and what is left of its help.
    pub(crate) fn carried(
        &self,
        sc: &Scenario,
        frame: &Frame,
        check: &super::frame::Check,
        source_ohm: f64,
    ) -> Option<Carried> {
        let bulk = sc.path.bulk?;
        if check.train == usize::MAX || check.kind == Kind::Sleep {
            return None;
        }
        let total = source_ohm + bulk.esr_ohm;
        let tau = total * bulk.capacitance_f;
        if tau <= 0.0 {
            return None;
        }
        let seg = &frame.segs[check.seg];
        let last_s = match (check.kind, seg.peak) {
            (Kind::Peak, Some(peak)) => peak.duration_s,
            _ => seg.duration_s,
        };
        if last_s > SPENT * tau {
            return None; // nothing is left of its help
        }
        let train = &frame.trains[check.train];
        let mut x = 0.0;
        for k in train.first_seg..train.end_seg {
            let i = self.segs[k].excess_a;
            x = i + (x - i) * decay(frame.segs[k].duration_s / tau);
        }
        let rest_s = train.interval_s - train.duration_s;
        let start = x * decay(rest_s / tau) / -libm::expm1(-(train.interval_s / tau).min(700.0));
        let mut x = start;
        for k in train.first_seg..check.seg {
            let i = self.segs[k].excess_a;
            x = i + (x - i) * decay(frame.segs[k].duration_s / tau);
        }
        if check.kind == Kind::Peak
            && let Some(peak) = seg.peak
        {
            let before_s = (seg.duration_s - peak.duration_s).max(0.0);
            let i = self.segs[check.seg].excess_a;
            x = i + (x - i) * decay(before_s / tau);
        }
        let sleeping = self.sleep.input_a;
        let left = source_ohm / total * decay(last_s / tau);
        Some(Carried {
            offset_v: source_ohm * left * (sleeping + x),
            ohm: source_ohm * (1.0 - left),
        })
    }

    /// Operating point of a check at state of charge `s` with mode currents `u`.
    #[inline]
    #[allow(clippy::too_many_arguments)] // the check's whole state, once
    pub(crate) fn point(
        &self,
        sc: &Scenario,
        frame: &Frame,
        at: &Surroundings,
        check: &super::frame::Check,
        s: f64,
        u: &PerMode,
        extra_a: f64,
    ) -> Point {
        let factor = at.conditions.cold_ohm_factor * at.growth;
        let ohm = resistance_at(sc.cell.resistance.as_ref(), s.max(0.0)) * factor;
        let mut emf_v = sc.cell.open_circuit_v.at(s);
        let (draw, drains) = match check.kind {
            Kind::Sleep => (Frame::sleep_draw(sc, &at.conditions), &frame.asleep),
            Kind::SegmentEnd => (Draw::Rail(frame.segs[check.seg].demand), &frame.awake),
            Kind::Peak => {
                let peak_a = frame.segs[check.seg].peak.map_or(0.0, |p| p.current_a);
                (Draw::Rail(Demand::Current { current_a: peak_a }), &frame.awake)
            }
        };
        let mut drains = *drains;
        drains.constant_a += extra_a;
        for m in 0..frame.rc {
            emf_v -= frame.mode_ohm[m] * factor * u[m];
        }
        let mut ohm = ohm;
        if check.kind == Kind::Peak {
            // The peak's current above its segment's mean charges the RC pairs while it lasts: for that
            // part they act as a resistance `Σ R·(1 − e^(−d/τ))`.
            let seg = &frame.segs[check.seg];
            let mut rising_ohm = 0.0;
            for m in 0..frame.rc {
                rising_ohm += frame.mode_ohm[m] * factor * seg.peak_rise[m];
            }
            emf_v += rising_ohm * self.segs[check.seg].point.cell_a;
            ohm += rising_ohm;
        }
        let mut carried = None;
        if sc.path.bulk.is_some() {
            carried = self.carried(sc, frame, check, sc.path.feed_ohm(ohm, &drains));
        }
        operate(&sc.path, &drains, draw, Source { emf_v, ohm }, carried, sleep_table(sc))
    }

    /// Coulombs by which the wells' imbalance lowers the head.
    #[inline]
    pub(crate) fn imbalance_c(frame: &Frame, u: &PerMode) -> f64 {
        if frame.modes > frame.rc { frame.well_c_per_a * u[frame.rc] } else { 0.0 }
    }
}

impl Frame {
    /// Smallest phase of train `k` that a check can meet after its activity ended; below its duration
    /// when they can overlap. Exact for nested intervals, a bound otherwise.
    pub(crate) fn nearest_phase(&self, check: &super::frame::Check, k: usize) -> i64 {
        let n = self.trains.len();
        let g = self.gcds[check.train * n + k];
        let own = &self.trains[check.train];
        let other = &self.trains[k];
        let mut least = (own.offset_ns + check.theta_ns - other.offset_ns).rem_euclid(g);
        if least == 0 {
            least = g; // just before the other one starts
        }
        // In flight anywhere? The smallest phase tells: it is the least of its residue class.
        least
    }
}
