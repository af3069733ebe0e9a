//! From leap to leap: one for a constant climate, one a month with seasons or ageing.

use super::frame::{Dependence, Frame};
use super::profile::{Profile, Surroundings};
use super::record::Recorder;
use super::search::{Hit, Leap, Search};
use crate::climate::YEAR_S;
use crate::outcome::{Ending, Flag, Flags, Life, Place};
use crate::scenario::Scenario;

/// Nodes and weights of the three-point Gauss–Legendre rule on 0…1.
const GAUSS: [(f64, f64); 3] = [
    (0.112_701_665_379_258_3, 5.0 / 18.0),
    (0.5, 8.0 / 18.0),
    (0.887_298_334_620_741_7, 5.0 / 18.0),
];

/// Panels narrower than this share of the charge are merged.
const LEAST_PANEL: f64 = 0.02;

/// How a march ended: the life, and the leap and instant it ended in.
#[derive(Debug, Clone, Copy)]
pub(crate) struct End {
    pub(crate) life: Life,
    pub(crate) leap: Leap,
}

#[derive(Debug, Default)]
pub(crate) struct March {
    pub(crate) frame: Frame,
    /// Profile of the current leap; at the end that of the end.
    pub(crate) profile: Profile,
    /// Profiles of the months (currents that do not depend on the voltage).
    months: Vec<Profile>,
    knots: Vec<f64>,
}

impl March {
    /// Surroundings of a new cell under conditions `index`.
    fn around(&self, sc: &Scenario, index: usize) -> Surroundings {
        Surroundings {
            conditions: self.frame.conditions[index],
            capacity_c: sc.cell.capacity_c,
            growth: 1.0,
        }
    }

    /// Runs the whole life.
    pub(crate) fn run(&mut self, sc: &Scenario, mut recorder: Option<&mut Recorder>) -> End {
        let full_c = sc.cell.capacity_c * sc.cell.initial_charge;
        let (end_s, end_kind) = match sc.cell.shelf_life_s {
            Some(shelf) if shelf <= self.frame.horizon_s => (shelf, Ending::ShelfLife),
            _ => (self.frame.horizon_s, Ending::AliveAtHorizon),
        };
        let first = if self.frame.monthly { self.frame.leap_at(sc, 0.0).0 } else { 0 };
        let around = self.around(sc, first);
        self.profile.reset(&self.frame);
        let passes = if self.frame.dependence == Some(Dependence::None) { 1 } else { 4 };
        self.profile.build(sc, &self.frame, &around, full_c, passes);
        let mut flags = self.frame.flags;
        if self.profile.fill_checks(&self.frame) {
            flags.insert(Flag::ActivitiesOverlap);
        }
        // The mean charge starts above the true one by the ripple there.
        let mut start_c = full_c;
        for (j, train) in self.frame.trains.iter().enumerate() {
            let phase = (train.interval_ns - train.offset_ns) % train.interval_ns;
            let ripple = self.profile.response(&self.frame, j, phase).1;
            start_c -= ripple;
            if let Some(r) = recorder.as_deref_mut() {
                r.start_ripple(j, ripple);
            }
        }
        if let Some(r) = recorder.as_deref_mut() {
            r.point(0.0, start_c, &around);
        }
        let (hit, leap) = if self.frame.monthly {
            self.by_months(sc, start_c, end_s, &mut flags, recorder)
        } else {
            self.at_once(sc, around, start_c, end_s, recorder)
        };
        flags.extend(self.profile.flags);
        let life = match hit {
            Some(hit) => Life {
                life_s: hit.instant_s,
                ending: hit.ending,
                place: hit.place,
                shortfall_v: hit.shortfall_v,
                at_once: hit.at_once,
                state_of_charge: hit.state_of_charge,
                flags,
            },
            None => Life {
                life_s: end_s,
                ending: end_kind,
                place: Place::Sleep,
                shortfall_v: 0.0,
                at_once: false,
                state_of_charge: super::profile::charge_state(
                    leap.charge(end_s),
                    leap.capacity(end_s),
                    leap.around.conditions.cold_share,
                ),
                flags,
            },
        };
        End { life: self.last_flags(sc, life), leap }
    }

    fn last_flags(&self, sc: &Scenario, mut life: Life) -> Life {
        let flags = &mut life.flags;
        if sc.cell.ageing.is_none() && life.life_s > YEAR_S {
            flags.insert(Flag::AgeingUnknown);
        }
        if let Some(most_a) = sc.cell.max_current_a
            && self.profile.segs.iter().any(|s| s.point.cell_a > most_a)
        {
            flags.insert(Flag::AboveCellCurrent);
        }
        if self.frame.dependence != Some(Dependence::None) {
            let shortest = self.frame.trains.iter().map(|t| t.interval_s).fold(0.0, f64::max);
            if life.life_s < 200.0 * shortest {
                flags.insert(Flag::FewCycles);
            }
            if self.frame.modes > self.frame.rc
                && life.life_s * self.frame.rate[self.frame.rc] < 50.0
            {
                flags.insert(Flag::SlowWells);
            }
        }
        life
    }

    /// One leap for a constant climate without ageing.
    fn at_once(
        &mut self,
        sc: &Scenario,
        around: Surroundings,
        start_c: f64,
        end_s: f64,
        recorder: Option<&mut Recorder>,
    ) -> (Option<Hit>, Leap) {
        self.final_leap(sc, around, 0.0, start_c, 0.0, end_s, recorder)
    }

    /// Mean charge at which the first bound fails, by a few rounds of profile and requirement.
    /// Leaves the profile of that charge behind.
    fn threshold(&mut self, sc: &Scenario, around: &Surroundings, start_c: f64) -> f64 {
        let mut q = 0.1 * around.capacity_c;
        let rounds = if self.frame.dependence == Some(Dependence::None) { 1 } else { 4 };
        for _ in 0..rounds {
            self.profile.build(sc, &self.frame, around, q.min(start_c), rounds.min(2));
            self.profile.fill_checks(&self.frame);
            let next = self.needed(sc, around).min(start_c);
            let change = (next - q).abs();
            q = next;
            if change < 1e-9 * around.capacity_c {
                break;
            }
        }
        if rounds > 1 {
            self.profile.build(sc, &self.frame, around, q, 2);
            self.profile.fill_checks(&self.frame);
        }
        q
    }

    /// Largest mean charge at which any check's bound fails, for the present profile.
    fn needed(&self, sc: &Scenario, around: &Surroundings) -> f64 {
        let leap = Leap {
            around: *around,
            t0_s: 0.0,
            q0_c: 0.0,
            mean_a: self.profile.mean_a,
            lambda: 0.0,
            lambda_age: 0.0,
        };
        let search = Search { sc, frame: &self.frame, profile: &self.profile, leap };
        search.needed_charge()
    }

    /// The leap from `t0_s` on, to the failure or to `end_s`; `None` when it survives, with the leap
    /// that holds at `end_s`.
    #[allow(clippy::too_many_arguments)] // one call site each for a life and for its last month
    fn final_leap(
        &mut self,
        sc: &Scenario,
        around: Surroundings,
        t0_s: f64,
        start_c: f64,
        lambda_age: f64,
        end_s: f64,
        mut recorder: Option<&mut Recorder>,
    ) -> (Option<Hit>, Leap) {
        let lambda = around.conditions.lambda;
        let mut voltage_dependent = self.frame.dependence == Some(Dependence::Always);
        let mut target_c = 0.0;
        if self.frame.dependence != Some(Dependence::None) {
            target_c = self.threshold(sc, &around, start_c);
            if !voltage_dependent {
                voltage_dependent =
                    self.profile.sleep.dropout || self.profile.segs.iter().any(|s| s.point.dropout);
            }
        }
        if !voltage_dependent {
            let leap = Leap {
                around,
                t0_s,
                q0_c: start_c,
                mean_a: self.profile.mean_a,
                lambda,
                lambda_age,
            };
            let search = Search { sc, frame: &self.frame, profile: &self.profile, leap };
            let hit = search.first_failure(t0_s, end_s);
            if let Some(r) = recorder {
                let until_s = hit.map_or(end_s, |h| h.instant_s);
                r.linear(sc, &self.frame, &self.profile, &leap, until_s);
            }
            return (hit, leap);
        }
        // Quadrature of dt = −dQ/(λQ + I(Q)) down to the charge where the first bound fails.
        let rate = lambda + lambda_age;
        let (mut t, mut q) = (t0_s, start_c);
        self.fill_knots(sc, &around, start_c, target_c);
        let mut alive = None;
        let mut index = 0;
        while index + 1 < self.knots.len() {
            let (a, b) = (self.knots[index], self.knots[index + 1]);
            let mut dt = 0.0;
            let mut nodes = [(0.0, 0.0); 3];
            for (node, (x, w)) in nodes.iter_mut().zip(GAUSS) {
                let at = a + (b - a) * x;
                self.profile.build(sc, &self.frame, &around, at, 2);
                let fall = rate * at + self.profile.mean_a;
                if fall <= 0.0 {
                    alive = Some(a);
                    break;
                }
                *node = (at, w * (a - b) / fall);
                dt += node.1;
            }
            if t + dt > end_s || alive.is_some() {
                // The end comes inside this panel: an exact leap with the current of its middle.
                alive = Some(a);
                break;
            }
            if let Some(r) = recorder.as_deref_mut() {
                for (at, share_s) in nodes {
                    self.profile.build(sc, &self.frame, &around, at, 2);
                    r.node(sc, &self.frame, &self.profile, at, share_s, lambda, lambda_age);
                }
                r.point(t + dt, b, &around);
            }
            t += dt;
            q = b;
            index += 1;
        }
        if let Some(a) = alive {
            // Half-way current of what is left of the time, found in two rounds.
            let mut middle = a;
            for _ in 0..3 {
                self.profile.build(sc, &self.frame, &around, middle, 2);
                let fall = rate * middle + self.profile.mean_a;
                middle = a - 0.5 * fall * (end_s - t);
            }
            self.profile.fill_checks(&self.frame);
        } else {
            self.profile.build(sc, &self.frame, &around, target_c, 3);
            self.profile.fill_checks(&self.frame);
        }
        let leap =
            Leap { around, t0_s: t, q0_c: q, mean_a: self.profile.mean_a, lambda, lambda_age };
        let search = Search { sc, frame: &self.frame, profile: &self.profile, leap };
        let hit = search.first_failure(t0_s, end_s);
        if let Some(r) = recorder {
            let until_s = hit.map_or(end_s, |h| h.instant_s);
            r.linear(sc, &self.frame, &self.profile, &leap, until_s);
        }
        (hit, leap)
    }

    /// Panel ends between two charges, falling: knots of the cell's curves and the charges at which
    /// sleep or a segment enters dropout.
    fn fill_knots(&mut self, sc: &Scenario, around: &Surroundings, start_c: f64, end_c: f64) {
        self.knots.clear();
        let share = around.conditions.share;
        let charge = |s: f64| around.capacity_c * (1.0 - (1.0 - s) * share);
        let knots = &mut self.knots;
        let mut add = |q: f64| {
            if q < start_c && q > end_c {
                knots.push(q);
            }
        };
        let ocv = &sc.cell.open_circuit_v;
        let mut last = f64::INFINITY;
        for &s in ocv.knots().iter().rev() {
            if last - s >= LEAST_PANEL {
                add(charge(s));
                last = s;
            }
        }
        if let Some(crate::cell::ResistanceCurve::Table(t)) =
            sc.cell.resistance.as_ref().map(|r| &r.at_25)
        {
            for &s in t.knots() {
                add(charge(s));
            }
        }
        // Where the currents themselves have a kink.
        let search = Search {
            sc,
            frame: &self.frame,
            profile: &self.profile,
            leap: Leap {
                around: *around,
                t0_s: 0.0,
                q0_c: 0.0,
                mean_a: 0.0,
                lambda: 0.0,
                lambda_age: 0.0,
            },
        };
        search.kinks(|q| add(q));
        if ocv.knots().len() < 5 {
            for i in 1..8 {
                add(end_c + (start_c - end_c) * f64::from(i) / 8.0);
            }
        }
        self.knots.push(start_c);
        self.knots.push(end_c);
        self.knots.sort_unstable_by(|a, b| b.total_cmp(a));
        let least = 1e-9 * around.capacity_c;
        self.knots.dedup_by(|b, a| *a - *b < least);
    }

    /// Month after month.
    fn by_months(
        &mut self,
        sc: &Scenario,
        start_c: f64,
        end_s: f64,
        flags: &mut Flags,
        mut recorder: Option<&mut Recorder>,
    ) -> (Option<Hit>, Leap) {
        let count = if self.frame.seasonal { 12 } else { 1 };
        let mut linear = self.frame.dependence == Some(Dependence::None);
        let mut needed = [0.0; 12];
        let mut filled = [false; 12];
        while self.months.len() < count {
            self.months.push(Profile::default());
        }
        for m in 0..count {
            self.months[m].reset(&self.frame);
        }
        if self.frame.dependence == Some(Dependence::InDropout) {
            // In regulation all year at the charge each month needs? Then it is linear.
            linear = true;
            for m in 0..count {
                let around = self.around(sc, m);
                self.threshold(sc, &around, start_c);
                linear &= !self.profile.sleep.dropout
                    && !self.profile.segs.iter().any(|s| s.point.dropout);
            }
        }
        let rise = sc.cell.ageing.and_then(|a| a.resistance_rise_per_sqrt_year).unwrap_or(0.0);
        let prefactor = sc.cell.ageing.map_or(0.0, |a| a.capacity_loss_per_sqrt_year);
        let (mut t, mut q) = (0.0, start_c);
        // Squared ageing law (years at 25 °C), its loss, and the capacity left.
        let mut aged_years = 0.0;
        let mut left = 1.0;
        let (mut index, mut leap_end) = self.frame.leap_at(sc, 0.0);
        loop {
            let to = leap_end.min(end_s);
            let length = to - t;
            let cond = self.frame.conditions[index];
            let aged_after = aged_years + cond.ageing_square * length / YEAR_S;
            let mut left_after = 1.0 - prefactor * aged_after.sqrt();
            if left_after < 0.5 {
                flags.insert(Flag::AgeingBeyondHalf);
                left_after = left_after.max(0.02);
            }
            let lambda_age =
                if prefactor > 0.0 { libm::log(left / left_after) / length } else { 0.0 };
            let around = Surroundings {
                conditions: cond,
                capacity_c: sc.cell.capacity_c * left,
                growth: 1.0 + rise * aged_after.sqrt(),
            };
            if !filled[index] {
                // Currents of this month: once for all years where they do not depend on the voltage.
                core::mem::swap(&mut self.profile, &mut self.months[index]);
                self.profile.build(sc, &self.frame, &around, q, if linear { 1 } else { 2 });
                if self.profile.fill_checks(&self.frame) {
                    flags.insert(Flag::ActivitiesOverlap);
                }
                needed[index] = if linear {
                    self.needed_share(sc, &around)
                } else {
                    self.threshold(sc, &around, start_c);
                    self.needed_share(sc, &around)
                };
                core::mem::swap(&mut self.profile, &mut self.months[index]);
                filled[index] = rise == 0.0;
            }
            let after = if linear {
                let leap = Leap {
                    around,
                    t0_s: t,
                    q0_c: q,
                    mean_a: self.months[index].mean_a,
                    lambda: cond.lambda,
                    lambda_age,
                };
                leap.charge(to)
            } else {
                self.runge_kutta(sc, &around, q, cond.lambda + lambda_age, length)
            };
            let capacity_after = sc.cell.capacity_c * left_after;
            if after < needed[index] * capacity_after {
                // Somewhere in this month a bound fails: look closely.
                core::mem::swap(&mut self.profile, &mut self.months[index]);
                let mark = recorder.as_deref_mut().map(|r| r.mark());
                let (hit, leap) =
                    self.final_leap(sc, around, t, q, lambda_age, to, recorder.as_deref_mut());
                if hit.is_some() {
                    return (hit, leap);
                }
                core::mem::swap(&mut self.profile, &mut self.months[index]);
                if let (Some(r), Some(mark)) = (recorder.as_deref_mut(), mark) {
                    r.rewind(mark);
                }
            }
            let leap = Leap {
                around,
                t0_s: t,
                q0_c: q,
                mean_a: if linear { self.months[index].mean_a } else { self.profile.mean_a },
                lambda: cond.lambda,
                lambda_age,
            };
            if let Some(r) = recorder.as_deref_mut() {
                if linear {
                    r.linear(sc, &self.frame, &self.months[index], &leap, to);
                } else {
                    self.record_runge_kutta(sc, &around, q, cond.lambda, lambda_age, length, r);
                }
                r.point(to, after, &around);
            }
            if to >= end_s {
                if linear {
                    core::mem::swap(&mut self.profile, &mut self.months[index]);
                }
                // Anchor at the end, so that whoever asks for the charge there gets it.
                let around = Surroundings { capacity_c: capacity_after, ..around };
                return (None, Leap { around, t0_s: to, q0_c: after, ..leap });
            }
            q = after;
            aged_years = aged_after;
            left = left_after;
            t = to;
            if self.frame.seasonal {
                index = (index + 1) % 12;
                leap_end += f64::from(crate::climate::MONTH_DAYS[index]) * crate::climate::DAY_S;
            } else {
                (_, leap_end) = self.frame.leap_at(sc, t);
            }
        }
    }

    /// The mean charge that a month needs, as a share of the capacity then; on the safe side over a
    /// capacity that shrinks to half.
    fn needed_share(&self, sc: &Scenario, around: &Surroundings) -> f64 {
        let full = self.needed(sc, around) / around.capacity_c;
        let half = Surroundings { capacity_c: 0.5 * sc.cell.capacity_c, ..*around };
        full.max(self.needed(sc, &half) / half.capacity_c)
    }

    fn fall(&mut self, sc: &Scenario, around: &Surroundings, q: f64, rate: f64) -> f64 {
        self.profile.build(sc, &self.frame, around, q, 2);
        rate * q + self.profile.mean_a
    }

    /// Charge after a month whose currents depend on the voltage: classical Runge–Kutta, one step.
    fn runge_kutta(
        &mut self,
        sc: &Scenario,
        around: &Surroundings,
        q: f64,
        rate: f64,
        length: f64,
    ) -> f64 {
        let k1 = self.fall(sc, around, q, rate);
        let k2 = self.fall(sc, around, q - 0.5 * length * k1, rate);
        let k3 = self.fall(sc, around, q - 0.5 * length * k2, rate);
        let k4 = self.fall(sc, around, q - length * k3, rate);
        q - length / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4)
    }

    #[allow(clippy::too_many_arguments)] // the same step again, with every stage recorded
    fn record_runge_kutta(
        &mut self,
        sc: &Scenario,
        around: &Surroundings,
        q: f64,
        lambda: f64,
        lambda_age: f64,
        length: f64,
        recorder: &mut Recorder,
    ) {
        let rate = lambda + lambda_age;
        let mut at = q;
        for (weight, next) in [(1.0, 0.5), (2.0, 0.5), (2.0, 1.0), (1.0, 0.0)] {
            let k = self.fall(sc, around, at, rate);
            let share_s = weight * length / 6.0;
            recorder.node(sc, &self.frame, &self.profile, at, share_s, lambda, lambda_age);
            at = q - next * length * k;
        }
    }
}
