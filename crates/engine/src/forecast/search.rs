//! The first failing peak of a leap, found by bounds, and the instant inside its cycle.
//!
//! A bound holds every other activity at the worst phase a check can meet and leaves out the start-up from
//! rest; it falls steadily, so the earliest time it can fail is solved directly. Where the bound is not
//! exact, occurrences from there on are searched by branch and bound, earliest first: a window whose
//! bound passes is skipped whole. So the *first* failing peak is found, also when it is not the lowest one.
#![allow(clippy::needless_range_loop)] // the mode index runs over several arrays side by side

use super::frame::{Check, Frame, Kind, MODES, NS, PerMode, decay, to_ns};
use super::profile::{Profile, Surroundings, charge_state};
use super::requirement::illinois;
use crate::outcome::{Ending, Place};
use crate::relations::{decayed_time, log1p_over};
use crate::scenario::Scenario;

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
    /// A mean charge near the one at which the first bound fails, where one is known.
    pub(crate) near_c: Option<f64>,
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
    pub(super) fn margin(&self, check: &Check, s: f64, u: &PerMode, extra_a: f64) -> Margin {
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
            if other.runs_at(phase, check.kind) {
                extra += i;
            }
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
            if other.runs_at(phase, check.kind) {
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

    /// The first failure in `(begin, end]`, if any.
    pub(crate) fn first_failure(&self, begin_s: f64, end_s: f64) -> Option<Hit> {
        let n = self.frame.checks.len();
        // The likeliest check goes first, so that the others can be skipped.
        let first = self.likeliest();
        let mut best: Option<Hit> = None;
        let mut limit_ns = to_ns(end_s);
        for round in 0..=n {
            let c = if round == 0 { first } else { round - 1 };
            if round > 0 && c == first {
                continue;
            }
            // The bound falls steadily with time, unless the resistance falls with the charge too.
            if self.frame.resistance_falls && self.bound(c, limit_ns as f64 * NS).volts >= 0.0 {
                continue;
            }
            if let Some((hit, raw_ns)) = self.first_of(c, begin_s, limit_ns) {
                limit_ns = limit_ns.min(raw_ns);
                if best.is_none_or(|b| hit.instant_s < b.instant_s) {
                    best = Some(hit);
                }
            }
        }
        best
    }

    fn first_of(&self, c: usize, begin_s: f64, limit_ns: i64) -> Option<(Hit, i64)> {
        let check = self.frame.checks[c];
        let state = &self.profile.checks[c];
        let share = self.leap.around.conditions.cold_share;
        let offset = state.worst_ripple_c - Profile::imbalance_c(self.frame, &state.worst);
        let s = self.required(c);
        let mut earliest =
            if s > 1.0 { begin_s } else { self.leap.time_at(s, share, offset).max(begin_s) };
        if check.train == usize::MAX {
            let limit_s = limit_ns as f64 * NS;
            return self.without_activities(c, &check, earliest, begin_s, limit_s);
        }
        let train = &self.frame.trains[check.train];
        let first_ns = train.offset_ns + check.theta_ns;
        let span = train.interval_ns;
        let last = (limit_ns - first_ns).div_euclid(span);
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
        Some((hit, raw_ns))
    }

    fn without_activities(
        &self,
        c: usize,
        check: &Check,
        earliest: f64,
        begin_s: f64,
        limit_s: f64,
    ) -> Option<(Hit, i64)> {
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
            // The bound ignores the start-up; the true crossing comes later: bracket it by doubling.
            let (mut low, mut low_margin) = (t, margin.volts);
            let mut span = (low - begin_s).max(1e-3);
            let (high, high_margin) = loop {
                let next = (low + span).min(limit_s);
                let there = at(next).0.volts;
                if there < 0.0 {
                    break (next, there);
                }
                if next >= limit_s {
                    return None;
                }
                (low, low_margin) = (next, there);
                span *= 2.0;
            };
            let tolerance = 1e-14 * high + 1e-12;
            t = illinois(high, high_margin, low, low_margin, tolerance, |x| at(x).0.volts);
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
        Some((hit, to_ns(t)))
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
                    // Just after the start: an activity that ended there draws no more.
                    let t_ns = start_ns + (libm::round(tau * 1e9) as i64).max(1);
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
