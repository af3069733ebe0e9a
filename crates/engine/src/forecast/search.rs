//! The first failing peak of a leap, found by bounds, and the instant inside its cycle.
//!
//! A bound holds every other activity at the worst phase a check can meet and leaves out the start-up from
//! rest; it falls steadily, so the earliest time it can fail is solved directly. Where the bound is not
//! exact, occurrences from there on are searched by branch and bound, earliest first: a window whose
//! bound passes is skipped whole. So the *first* failing peak is found, also when it is not the lowest one.

use super::frame::resistance_at;
use super::frame::{Check, Frame, Kind, MODES, NS, PerMode, decay};
use super::profile::{Profile, Surroundings, charge_state, sleep_table};
use crate::outcome::{Ending, Place};
use crate::path::{Drain, Regulator};
use crate::relations::{decayed_time, log1p_over};
use crate::scenario::Scenario;
use crate::supply::DrainSum;

/// A stretch of time with constant mean current and rates, anchored at one of its instants.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Leap {
    pub(crate) around: Surroundings,
    pub(crate) t0_s: f64,
    pub(crate) q0_c: f64,
    pub(crate) mean_a: f64,
    /// Self-discharge, and the decay that stands for calendar ageing.
    pub(crate) lambda: f64,
    pub(crate) lambda_age: f64,
}

impl Leap {
    /// Mean charge at a time.
    #[inline]
    pub(crate) fn charge(&self, t_s: f64) -> f64 {
        let rate = self.lambda + self.lambda_age;
        let dt = t_s - self.t0_s;
        self.q0_c - (self.q0_c * rate + self.mean_a) * decayed_time(rate, dt)
    }

    #[inline]
    pub(crate) fn capacity(&self, t_s: f64) -> f64 {
        if self.lambda_age == 0.0 {
            return self.around.capacity_c;
        }
        self.around.capacity_c * libm::exp(-self.lambda_age * (t_s - self.t0_s))
    }

    /// When `Q̄(t) + offset` has fallen to the head that state of charge `s` needs.
    fn time_at(&self, s: f64, share: f64, offset_c: f64) -> f64 {
        let weight = 1.0 - (1.0 - s) * share;
        let rate = self.lambda + self.lambda_age;
        let target = self.around.capacity_c * weight - offset_c;
        if target >= self.q0_c && self.lambda_age == 0.0 {
            // Before the anchor, in closed form too (the anchor may be the end).
            let end_rate = rate * target + self.mean_a;
            if end_rate <= 0.0 {
                return f64::NEG_INFINITY;
            }
            return self.t0_s + log1p_over(rate, (self.q0_c - target) / end_rate);
        }
        let end_rate = rate * target + self.mean_a;
        if end_rate <= 0.0 {
            return f64::INFINITY;
        }
        let ratio = (self.q0_c - target) / end_rate;
        let mut t = self.t0_s + if rate * ratio > -1.0 { log1p_over(rate, ratio) } else { 0.0 };
        if self.lambda_age != 0.0 {
            for _ in 0..6 {
                let (q, cap) = (self.charge(t), self.capacity(t));
                let gap = q + offset_c - cap * weight;
                let slope = -(rate * q + self.mean_a) + self.lambda_age * cap * weight;
                if slope >= 0.0 {
                    return f64::INFINITY;
                }
                let step = gap / slope;
                t -= step;
                if step.abs() <= 1e-9 + 1e-15 * t.abs() {
                    break;
                }
            }
        }
        t
    }
}

/// Where a life ends.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Hit {
    pub(crate) instant_s: f64,
    pub(crate) ending: Ending,
    pub(crate) place: Place,
    pub(crate) shortfall_v: f64,
    pub(crate) state_of_charge: f64,
    pub(crate) at_once: bool,
}

pub(crate) struct Search<'a> {
    pub(crate) sc: &'a Scenario,
    pub(crate) frame: &'a Frame,
    pub(crate) profile: &'a Profile,
    pub(crate) leap: Leap,
}

/// Margin at a state of charge and voltage: charge first, then the voltages.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Margin {
    pub(crate) volts: f64,
    pub(crate) ending: Ending,
}

impl Search<'_> {
    pub(super) fn place(&self, check: &Check) -> Place {
        let seg = self.frame.segs.get(check.seg);
        match (check.kind, seg) {
            (Kind::SegmentEnd, Some(s)) => Place::Segment { activity: s.train, segment: s.index },
            (Kind::Peak, Some(s)) => Place::Peak { activity: s.train, segment: s.index },
            _ => Place::Sleep,
        }
    }

    #[inline]
    fn margin(&self, check: &Check, s: f64, u: &PerMode, extra_a: f64) -> Margin {
        let point =
            self.profile.point(self.sc, self.frame, &self.leap.around, check, s, u, extra_a);
        let (volts, ending) = self.frame.limits().margin(&point);
        // An empty available well ends the life whatever the curve says there; in units of volts so
        // that the margins stay comparable and steady in `s`.
        if s < volts || (s <= 0.0 && s < volts.max(0.0)) {
            return Margin { volts: s, ending: Ending::ChargeExhausted };
        }
        Margin { volts, ending }
    }

    #[inline]
    pub(super) fn state(&self, t_s: f64, ripple_c: f64, u: &PerMode) -> f64 {
        let head = self.leap.charge(t_s) + ripple_c - Profile::imbalance_c(self.frame, u);
        charge_state(head, self.leap.capacity(t_s), self.leap.around.conditions.cold_share)
    }

    fn start_up(&self, t_s: f64, u: &mut PerMode) {
        for m in 0..self.frame.modes {
            let x = self.frame.rate[m] * t_s;
            if x < 45.0 {
                u[m] -= self.profile.at_rest[m] * libm::exp(-x);
            }
        }
    }

    /// Margin of the bound at a time.
    pub(crate) fn bound(&self, c: usize, t_s: f64) -> Margin {
        let state = &self.profile.checks[c];
        let s = self.state(t_s, state.worst_ripple_c, &state.worst);
        self.margin(&self.frame.checks[c], s, &state.worst, state.worst_extra_a)
    }

    /// Exact margin of an occurrence's check, with the state of charge there.
    fn exact(&self, c: usize, n: i64) -> (Margin, f64) {
        let check = &self.frame.checks[c];
        let state = &self.profile.checks[c];
        let train = &self.frame.trains[check.train];
        let t_ns = train.offset_ns + n * train.interval_ns + check.theta_ns;
        self.with_others(check, t_ns, state.own, state.own_ripple_c)
    }

    fn with_others(&self, check: &Check, t_ns: i64, own: PerMode, ripple_c: f64) -> (Margin, f64) {
        let (mut u, mut ripple, mut extra) = (own, ripple_c, 0.0);
        for (k, other) in self.frame.trains.iter().enumerate() {
            if k == check.train {
                continue;
            }
            let mut phase = (t_ns - other.offset_ns).rem_euclid(other.interval_ns);
            if phase == 0 {
                phase = other.interval_ns;
            }
            let (v, r, i) = self.profile.response(self.frame, k, phase);
            for m in 0..self.frame.modes {
                u[m] += v[m];
            }
            ripple += r;
            extra += i;
        }
        let t_s = t_ns as f64 * NS;
        self.start_up(t_s, &mut u);
        let s = self.state(t_s, ripple, &u);
        (self.margin(check, s, &u, extra), s)
    }

    /// Lower bound of the margins of occurrences `a..=b`.
    fn window(&self, c: usize, a: i64, b: i64) -> f64 {
        let check = &self.frame.checks[c];
        let state = &self.profile.checks[c];
        let train = &self.frame.trains[check.train];
        let ta = train.offset_ns + a * train.interval_ns + check.theta_ns;
        let tb = train.offset_ns + b * train.interval_ns + check.theta_ns;
        let (mut u, mut ripple, mut extra) = (state.own, state.own_ripple_c, 0.0);
        for (k, other) in self.frame.trains.iter().enumerate() {
            if k == check.train {
                continue;
            }
            let mut phase = (ta - other.offset_ns).rem_euclid(other.interval_ns);
            if phase == 0 {
                phase = other.interval_ns;
            }
            if phase + (tb - ta) > other.interval_ns {
                phase = self.frame.nearest_phase(check, k);
            }
            let s = &self.profile.trains[k];
            if phase < other.duration_ns {
                for m in 0..self.frame.modes {
                    u[m] += s.peak[m];
                }
                ripple += s.ripple_least_c.min(s.ripple_start_c);
                extra += s.largest_excess_a.max(0.0);
            } else {
                let (v, r, _) = self.profile.response(self.frame, k, phase);
                for m in 0..self.frame.modes {
                    u[m] += v[m];
                }
                ripple += r;
            }
        }
        let t_s = tb as f64 * NS;
        self.start_up(t_s, &mut u);
        let s = self.state(t_s, ripple, &u);
        self.margin(check, s, &u, extra).volts
    }

    /// First failing occurrence in `a..=b`, by branch and bound.
    fn first_in(&self, c: usize, a: i64, b: i64) -> Option<i64> {
        let mut stack = [(0_i64, 0_i64); 72];
        let mut depth = 1;
        stack[0] = (a, b);
        while depth > 0 {
            depth -= 1;
            let (a, b) = stack[depth];
            if a == b {
                if self.exact(c, a).0.volts < 0.0 {
                    return Some(a);
                }
                continue;
            }
            if self.window(c, a, b) >= 0.0 {
                continue;
            }
            let middle = a + (b - a) / 2;
            stack[depth] = (middle + 1, b);
            stack[depth + 1] = (a, middle);
            depth += 2;
        }
        None
    }

    /// Highest state of charge at which a check's bound fails; above 1 when it fails even there.
    pub(crate) fn required(&self, c: usize) -> f64 {
        let state = &self.profile.checks[c];
        let check = &self.frame.checks[c];
        let f = |s: f64| self.margin(check, s, &state.worst, state.worst_extra_a).volts;
        self.crossing(f)
    }

    /// Largest mean charge at which any check's bound fails.
    pub(crate) fn needed_charge(&self) -> f64 {
        let share = self.leap.around.conditions.cold_share;
        let capacity = self.leap.around.capacity_c;
        let charge_of = |c: usize, s: f64| {
            let state = &self.profile.checks[c];
            let offset = state.worst_ripple_c - Profile::imbalance_c(self.frame, &state.worst);
            capacity * (1.0 - (1.0 - s) * share) - offset
        };
        // Worst at half charge first; the others only where they fail at what that one needs.
        let (mut first, mut least) = (0, f64::INFINITY);
        for (c, check) in self.frame.checks.iter().enumerate() {
            let state = &self.profile.checks[c];
            let m = self.margin(check, 0.4, &state.worst, state.worst_extra_a).volts;
            if m < least {
                (first, least) = (c, m);
            }
        }
        let mut most = charge_of(first, self.required(first));
        for (c, check) in self.frame.checks.iter().enumerate() {
            let state = &self.profile.checks[c];
            let offset = state.worst_ripple_c - Profile::imbalance_c(self.frame, &state.worst);
            let s = charge_state(most + offset, capacity, share);
            if c != first && self.margin(check, s, &state.worst, state.worst_extra_a).volts < 0.0 {
                most = most.max(charge_of(c, self.required(c)));
            }
        }
        most
    }

    /// Charges at which the regulator changes its mode or a voltage table has a knot.
    pub(crate) fn kinks(&self, mut add: impl FnMut(f64)) {
        let around = &self.leap.around;
        let charge = |s: f64| around.capacity_c * (1.0 - (1.0 - s) * around.conditions.share);
        let sleep_a = self.profile.sleep.cell_a;
        let set = match &self.sc.path.regulator {
            Regulator::Direct | Regulator::BuckBoost(_) => None,
            Regulator::Linear(r) => {
                Some((r.set_v, r.dropout.map_or((0.0, 0.0), |d| (d.fixed_v, d.resistance_ohm))))
            }
            Regulator::StepDown(r) | Regulator::StepUp(r) => Some((r.set_v, (0.0, r.pass_ohm))),
        };
        let factor = around.conditions.ohm_factor * around.growth;
        let mut u = [sleep_a; MODES];
        let mut at_voltage = |target: f64, current_a: f64, u: &PerMode, beside_ohm: f64| {
            // Cell voltage at a fixed current over the charge.
            let f = |s: f64| {
                let ohm = resistance_at(self.sc.cell.resistance.as_ref(), s) * factor + beside_ohm;
                let mut v = self.sc.cell.open_circuit_v.at(s) - ohm * current_a - target;
                for m in 0..self.frame.rc {
                    v -= self.frame.mode_ohm[m] * factor * u[m];
                }
                v
            };
            if f(0.0) < 0.0 && f(1.0) > 0.0 {
                add(charge(self.crossing(f)));
            }
        };
        if let Some((set_v, (fixed_v, ohm))) = set {
            let path_ohm = self.sc.path.feed_ohm(0.0, &DrainSum::default());
            at_voltage(set_v + fixed_v, sleep_a, &u, path_ohm + ohm);
            for (k, state) in self.profile.segs.iter().enumerate() {
                for m in 0..self.frame.rc {
                    u[m] = sleep_a + state.end[m];
                }
                let _ = k;
                at_voltage(set_v + fixed_v, state.point.cell_a, &u, path_ohm + ohm);
            }
        }
        let sleeping = [sleep_a; MODES];
        if let Some(table) = sleep_table(self.sc) {
            for &v in table.knots() {
                at_voltage(v, sleep_a, &sleeping, 0.0);
            }
        }
        for part in &self.sc.path.always_on {
            if let Drain::ByVoltage(table) = &part.drain {
                for &v in table.knots() {
                    at_voltage(v, sleep_a, &sleeping, 0.0);
                }
            }
        }
    }

    fn crossing(&self, f: impl Fn(f64) -> f64) -> f64 {
        if f(1.0) < 0.0 {
            return 2.0;
        }
        let knots = self.sc.cell.open_circuit_v.knots();
        let (mut low, mut high) = (0.0, 1.0);
        let (mut f_low, mut f_high) = (f64::NAN, f64::NAN);
        if self.frame.resistance_falls {
            let (mut i, mut k) = (0, knots.len());
            while k - i > 1 {
                let middle = i + (k - i) / 2;
                let x = knots[middle];
                if x >= high || x <= low {
                    if x >= high {
                        k = middle
                    } else {
                        i = middle
                    }
                    continue;
                }
                let y = f(x);
                if y < 0.0 {
                    (low, f_low, i) = (x, y, middle);
                } else {
                    (high, f_high, k) = (x, y, middle);
                }
            }
        } else {
            // The resistance may rise with the charge: come from the top, in small steps.
            let mut x = 1.0;
            for step in 1..=64 {
                let next = 1.0 - f64::from(step) / 64.0;
                let y = f(next);
                if y < 0.0 {
                    (low, f_low) = (next, y);
                    break;
                }
                (high, f_high) = (next, y);
                x = next;
            }
            if x <= 0.0 {
                return 0.0;
            }
        }
        if f_low.is_nan() {
            f_low = f(low);
        }
        if f_high.is_nan() {
            f_high = f(high);
        }
        if f_low >= 0.0 {
            return low;
        }
        illinois(low, f_low, high, f_high, 1e-14, f)
    }

    /// The first failure in `(begin, end]`, if any.
    pub(crate) fn first_failure(&self, begin_s: f64, end_s: f64) -> Option<Hit> {
        let n = self.frame.checks.len();
        // The check that looks worst at the end goes first, so that the others can be skipped.
        let mut worst = (f64::INFINITY, 0);
        for c in 0..n {
            let margin = self.bound(c, end_s).volts;
            if margin < worst.0 {
                worst = (margin, c);
            }
        }
        if worst.0 >= 0.0 {
            return None;
        }
        let mut best: Option<Hit> = None;
        let mut limit = end_s;
        for round in 0..=n {
            let c = if round == 0 { worst.1 } else { round - 1 };
            if round > 0 && (c == worst.1 || self.bound(c, limit).volts >= 0.0) {
                continue;
            }
            if let Some((hit, raw_s)) = self.first_of(c, begin_s, limit) {
                limit = limit.min(raw_s);
                if best.is_none_or(|b| hit.instant_s < b.instant_s) {
                    best = Some(hit);
                }
            }
        }
        best
    }

    fn first_of(&self, c: usize, begin_s: f64, limit_s: f64) -> Option<(Hit, f64)> {
        let check = self.frame.checks[c];
        let state = &self.profile.checks[c];
        let share = self.leap.around.conditions.cold_share;
        let offset = state.worst_ripple_c - Profile::imbalance_c(self.frame, &state.worst);
        let s = self.required(c);
        let mut earliest =
            if s > 1.0 { begin_s } else { self.leap.time_at(s, share, offset).max(begin_s) };
        if check.train == usize::MAX {
            return self.without_activities(c, &check, earliest, begin_s, limit_s);
        }
        let train = &self.frame.trains[check.train];
        let first_ns = train.offset_ns + check.theta_ns;
        let span = train.interval_ns;
        let last = ((limit_s.min(9e9) * 1e9 + 0.5) as i64 - first_ns).div_euclid(span);
        if last < 0 {
            return None;
        }
        if !earliest.is_finite() {
            earliest = begin_s;
        }
        let from_ns = libm::ceil(earliest.min(9e9) * 1e9 - 0.5) as i64;
        let mut n = ((from_ns - first_ns) + span - 1).div_euclid(span).max(0);
        if n > last {
            return None;
        }
        let alone = self.frame.trains.len() == 1
            && (0..self.frame.modes).all(|m| self.frame.rate[m] * earliest > 40.0);
        if !alone {
            let mut width = 1;
            n = loop {
                let b = (n + width - 1).min(last);
                if let Some(found) = self.first_in(c, n, b) {
                    break found;
                }
                if b == last {
                    return None;
                }
                n = b + 1;
                width *= 2;
            };
        }
        let (margin, s) = self.exact(c, n);
        let raw_ns = first_ns + n * span;
        let raw_s = raw_ns as f64 * NS;
        let instant_s = self.refine(&check, n, raw_ns, begin_s);
        let hit = Hit {
            instant_s,
            ending: margin.ending,
            place: self.place(&check),
            shortfall_v: if margin.ending == Ending::ChargeExhausted {
                0.0
            } else {
                (-margin.volts).max(0.0)
            },
            state_of_charge: s,
            at_once: n == 0,
        };
        Some((hit, raw_s))
    }

    fn without_activities(
        &self,
        c: usize,
        check: &Check,
        earliest: f64,
        begin_s: f64,
        limit_s: f64,
    ) -> Option<(Hit, f64)> {
        let own = self.profile.checks[c].own;
        let at = |t: f64| {
            let mut u = own;
            self.start_up(t, &mut u);
            let s = self.state(t, 0.0, &u);
            (self.margin(check, s, &u, 0.0), s)
        };
        let mut t = earliest.max(begin_s);
        let (mut margin, mut s) = at(t);
        if margin.volts >= 0.0 && (0..self.frame.modes).any(|m| self.frame.rate[m] * t < 40.0) {
            // The bound ignores the start-up; the true crossing comes later.
            let (end_margin, _) = at(limit_s);
            if end_margin.volts >= 0.0 {
                return None;
            }
            t = illinois(limit_s, end_margin.volts, t, margin.volts, 1e-12 * limit_s, |x| {
                at(x).0.volts
            });
            (margin, s) = at(t);
        }
        if t > limit_s {
            return None;
        }
        let at_once = t <= 0.0;
        let mut ending = margin.ending;
        if !at_once {
            // At the crossing itself the margin is zero: ask just behind it which limit it is.
            ending = at(t + 1e-9 * t + 1e-6).0.ending;
        }
        let shortfall_v = if at_once { (-margin.volts).max(0.0) } else { 0.0 };
        let hit = Hit {
            instant_s: t,
            ending,
            place: Place::Sleep,
            shortfall_v,
            state_of_charge: s,
            at_once,
        };
        Some((hit, t))
    }

    /// The instant before a failing check at which its margin crosses zero.
    fn refine(&self, check: &Check, n: i64, raw_ns: i64, begin_s: f64) -> f64 {
        let raw_s = raw_ns as f64 * NS;
        let train = &self.frame.trains[check.train];
        match check.kind {
            Kind::Peak => raw_s,
            Kind::SegmentEnd => {
                let seg = &self.frame.segs[check.seg];
                let duration_ns = libm::round(seg.duration_s * 1e9) as i64;
                let start_ns = raw_ns - duration_ns;
                let state = &self.profile.segs[check.seg];
                let own_train = &self.profile.trains[check.train];
                let (from, before) = if check.seg == train.first_seg {
                    (own_train.start, 0.0)
                } else {
                    let p = &self.profile.segs[check.seg - 1];
                    (p.end, p.drawn_end_c)
                };
                let f = |tau: f64| {
                    let mut u = [0.0; MODES];
                    for m in 0..self.frame.modes {
                        u[m] = state.excess_a
                            + (from[m] - state.excess_a) * decay(self.frame.rate[m] * tau)
                            + self.profile.sleep.cell_a;
                    }
                    let theta = (start_ns - train.offset_ns - n * train.interval_ns) as f64 * NS;
                    let ripple = own_train.ripple_start_c - before - state.excess_a * tau
                        + own_train.mean_a * (theta + tau);
                    let t_ns = start_ns + libm::round(tau * 1e9) as i64;
                    self.with_others(check, t_ns, u, ripple).0.volts
                };
                let at_start = f(0.0);
                if at_start < 0.0 {
                    return (start_ns as f64 * NS).max(begin_s);
                }
                let at_end = f(seg.duration_s);
                if at_end >= 0.0 {
                    return raw_s;
                }
                let tolerance = 1e-10 * seg.duration_s + 1e-9;
                let tau = illinois(seg.duration_s, at_end, 0.0, at_start, tolerance, f);
                start_ns as f64 * NS + tau
            }
            Kind::Sleep => {
                // Since the last activity of any train ended.
                let mut since_ns = 0;
                for other in &self.frame.trains {
                    let count = (raw_ns - 1 - other.offset_ns - other.duration_ns)
                        .div_euclid(other.interval_ns);
                    if count >= 0 {
                        let end = other.offset_ns + other.duration_ns + count * other.interval_ns;
                        since_ns = since_ns.max(end);
                    }
                }
                let f = |t: f64| {
                    let t_ns = libm::round(t * 1e9) as i64;
                    let mut phase = (t_ns - train.offset_ns).rem_euclid(train.interval_ns);
                    if phase == 0 {
                        phase = train.interval_ns;
                    }
                    let (mut own, ripple, _) =
                        self.profile.response(self.frame, check.train, phase);
                    for value in own.iter_mut().take(self.frame.modes) {
                        *value += self.profile.sleep.cell_a;
                    }
                    self.with_others(check, t_ns, own, ripple).0.volts
                };
                let since_s = (since_ns as f64 * NS).max(begin_s);
                let at_start = f(since_s);
                if at_start < 0.0 {
                    return since_s;
                }
                let at_end = f(raw_s);
                if at_end >= 0.0 {
                    return raw_s;
                }
                illinois(raw_s, at_end, since_s, at_start, 1e-9 * (raw_s - since_s) + 1e-9, f)
            }
        }
    }
}

/// Root between `low` (value below zero) and `high` (not below zero): false position, Illinois variant
/// with bisection as a safeguard.
pub(crate) fn illinois(
    low: f64,
    f_low: f64,
    high: f64,
    f_high: f64,
    tolerance: f64,
    f: impl Fn(f64) -> f64,
) -> f64 {
    let (mut a, mut fa, mut b, mut fb) = (low, f_low, high, f_high);
    let mut side = 0;
    let mut last = f64::INFINITY;
    for round in 0..100 {
        if fb == 0.0 {
            return b;
        }
        let mut x = (a * fb - b * fa) / (fb - fa);
        let (least, most) = if a < b { (a, b) } else { (b, a) };
        if !(x > least && x < most) || round % 8 == 7 {
            x = 0.5 * (a + b);
        }
        if (x - last).abs() <= tolerance || x == a || x == b {
            return x;
        }
        last = x;
        let y = f(x);
        if y < 0.0 {
            if side == -1 {
                fb *= 0.5;
            }
            (a, fa, side) = (x, y, -1);
        } else {
            if side == 1 {
                fa *= 0.5;
            }
            (b, fb, side) = (x, y, 1);
        }
    }
    0.5 * (a + b)
}
