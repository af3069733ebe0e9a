//! From leap to leap: one for a constant climate, one a month with seasons or ageing.

use super::frame::{Dependence, Frame, resistance_at};
use super::profile::{Profile, Surroundings};
use super::record::Recorder;
use super::search::{Hit, Leap, Search};
use crate::climate::YEAR_S;
use crate::load::Demand;
use crate::outcome::{Ending, Flag, Flags, Life, Place};
use crate::path::Regulator;
use crate::relations::log1p_over;
use crate::scenario::Scenario;

/// Nodes and weights of the two-point Gauss–Legendre rule on 0…1.
const GAUSS: [(f64, f64); 2] = [(0.211_324_865_405_187_1, 0.5), (0.788_675_134_594_812_9, 0.5)];

/// Panels narrower than this share of the charge are merged.
const LEAST_PANEL: f64 = 0.02;

/// Panels over whose two nodes the mean current changes by more than this share are halved …
const STEEPEST: f64 = 0.02;

/// … down to this share of the whole way.
const FINEST_PANEL: f64 = 0.002;

/// How exactly the charge at which a bound fails is found before the last search, as a share of the capacity.
const THRESHOLD_TOLERANCE: f64 = 1e-7;

/// Panels of the charge do not become narrower than this share of the capacity.
const SAME_KNOT: f64 = 1e-5;

/// Kinks that move by less than this voltage with the currents stay where they are, V.
const SAME_KINK_V: f64 = 1e-3;

/// How far above the first kink currents are read as those in regulation, as a share of the capacity.
const REGULATED_MARGIN: f64 = 1e-6;

/// First guess of the charge at which a life ends, as a share of the capacity.
const FIRST_GUESS: f64 = 0.1;

/// Largest and least step of the charge within a month, as shares of the capacity: the ground current of a regulator that
/// enters dropout can rise a hundredfold within little charge.
const LARGEST_STEP: f64 = 0.25;
const LEAST_STEP: f64 = 0.004;

/// Second difference of the current over a step within a month, as a share of it, above which the step is halved.
const MOST_BEND: f64 = 1e-4;

/// Added to the share of charge that a month is said to need, where that is found in two rounds only.
const SPARE_SHARE: f64 = 0.005;

/// How a march ended: the life, and the leap and instant it ended in.
#[derive(Debug, Clone, Copy)]
pub(crate) struct End {
    pub(crate) life: Life,
    pub(crate) leap: Leap,
}

/// A stretch whose currents depend on the voltage.
#[derive(Debug, Clone, Copy)]
struct Way {
    around: Surroundings,
    /// When the capacity in `around` holds.
    t0_s: f64,
    lambda: f64,
    lambda_age: f64,
    end_s: f64,
}

#[derive(Debug, Default)]
pub(crate) struct March {
    pub(crate) frame: Frame,
    /// Profile of the current leap; at the end that of the end.
    pub(crate) profile: Profile,
    /// Profiles of the months (currents that do not depend on the voltage).
    months: Vec<Profile>,
    knots: Vec<f64>,
    /// What was seen on the way, at every charge that was really gone through.
    seen: Flags,
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
        self.seen = Flags::NONE;
        self.profile.reset(&self.frame);
        let passes = match self.frame.dependence {
            Some(Dependence::None) => 1,
            _ => 2 * self.passes(),
        };
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
        let ending_s = hit.map_or(end_s, |h| h.instant_s);
        if self.frame.dependence == Some(Dependence::None) {
            // The same currents again, but what has to be said of them (dropout) is said at the end.
            let around = Surroundings { capacity_c: leap.capacity(ending_s), ..leap.around };
            self.profile.build(sc, &self.frame, &around, leap.charge(ending_s), 1);
        }
        flags.extend(self.profile.flags);
        flags.extend(self.seen);
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
        let guess_c = FIRST_GUESS * around.capacity_c;
        self.final_leap(sc, around, 0.0, start_c, 0.0, end_s, guess_c, recorder)
    }

    /// Mean charge at which the first bound fails, by a few rounds of profile and requirement from a guess.
    /// Leaves the profile of that charge behind.
    fn threshold(
        &mut self,
        sc: &Scenario,
        around: &Surroundings,
        start_c: f64,
        guess_c: f64,
        most_rounds: usize,
    ) -> f64 {
        let mut q = guess_c;
        let mut last_change = around.capacity_c;
        let rounds = if self.frame.dependence == Some(Dependence::None) { 1 } else { most_rounds };
        for _ in 0..rounds {
            let passes = if rounds == 1 { 1 } else { self.passes() };
            self.profile.build(sc, &self.frame, around, q.min(start_c), passes);
            self.profile.fill_checks(&self.frame);
            let next = self.needed(sc, around, q.min(start_c)).min(start_c);
            let change = (next - q).abs();
            q = next;
            // Each round changes it by about the same share of the change before: what the next would do.
            if change * change <= THRESHOLD_TOLERANCE * around.capacity_c * last_change {
                break;
            }
            last_change = change;
        }
        if rounds > 1 {
            self.profile.build(sc, &self.frame, around, q, self.passes());
            self.profile.fill_checks(&self.frame);
        }
        q
    }

    /// Largest mean charge at which any check's bound fails, for the present profile.
    fn needed(&self, sc: &Scenario, around: &Surroundings, near_c: f64) -> f64 {
        let search = self.search(sc, around, Some(near_c));
        search.needed_share(sc.cell.capacity_c.min(around.capacity_c), 1.0) * around.capacity_c
    }

    /// The checks with the present profile, at no time in particular.
    fn search<'a>(
        &'a self,
        sc: &'a Scenario,
        around: &Surroundings,
        near_c: Option<f64>,
    ) -> Search<'a> {
        let leap = Leap {
            around: *around,
            t0_s: 0.0,
            q0_c: 0.0,
            mean_a: self.profile.mean_a,
            lambda: 0.0,
            lambda_age: 0.0,
        };
        Search { sc, frame: &self.frame, profile: &self.profile, leap, near_c }
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
        guess_c: f64,
        mut recorder: Option<&mut Recorder>,
    ) -> (Option<Hit>, Leap) {
        let lambda = around.conditions.lambda;
        let mut voltage_dependent = self.frame.dependence == Some(Dependence::Always);
        let mut target_c = 0.0;
        if self.frame.dependence != Some(Dependence::None) {
            target_c = self.threshold(sc, &around, start_c, guess_c, 4);
            if !voltage_dependent {
                voltage_dependent = self.in_dropout();
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
            let (frame, profile) = (&self.frame, &self.profile);
            let search = Search { sc, frame, profile, leap, near_c: None };
            let hit = search.first_failure(t0_s, end_s);
            if let Some(r) = recorder {
                let until_s = hit.map_or(end_s, |h| h.instant_s);
                r.linear(sc, &self.frame, &self.profile, &leap, until_s);
            }
            return (hit, leap);
        }
        let mut way = Way { around, t0_s, lambda, lambda_age, end_s };
        let (mut t, mut q) = (t0_s, start_c);
        let mut alive = false;
        // With ageing the charge that is needed moves while it is approached.
        for _ in 0..4 {
            (t, q, alive) = self.descend(sc, &way, t, q, target_c, recorder.as_deref_mut());
            if alive || lambda_age == 0.0 {
                break;
            }
            way.around.capacity_c = around.capacity_c * libm::exp(-lambda_age * (t - t0_s));
            way.t0_s = t;
            target_c = self.threshold(sc, &way.around, q, target_c, 4);
            if q - target_c <= 1e-7 * around.capacity_c {
                break;
            }
        }
        let around = way.around;
        if alive {
            // Half-way current of what is left of the time, found in a few rounds.
            let mut middle = q;
            for _ in 0..3 {
                self.profile.build(sc, &self.frame, &around, middle, 2);
                let fall = (lambda + lambda_age) * middle + self.profile.mean_a;
                middle = q - 0.5 * fall * (end_s - t);
            }
        } else {
            self.profile.build(sc, &self.frame, &around, q, 1 + self.passes());
        }
        self.profile.fill_checks(&self.frame);
        let leap = Leap {
            around: Surroundings {
                capacity_c: around.capacity_c * libm::exp(-lambda_age * (t - way.t0_s)),
                ..around
            },
            t0_s: t,
            q0_c: q,
            mean_a: self.profile.mean_a,
            lambda,
            lambda_age,
        };
        let (frame, profile) = (&self.frame, &self.profile);
        let search = Search { sc, frame, profile, leap, near_c: Some(q) };
        let hit = search.first_failure(t0_s, end_s);
        if let Some(r) = recorder {
            let until_s = hit.map_or(end_s, |h| h.instant_s);
            r.linear(sc, &self.frame, &self.profile, &leap, until_s);
        }
        (hit, leap)
    }

    /// Passes of a profile beside one that was built at a charge nearby: the polarisation needs a second.
    fn passes(&self) -> usize {
        if self.frame.modes == 0 { 1 } else { 2 }
    }

    /// Builds the profile at a charge and tells whether the regulator regulates throughout the cycle there.
    fn regulated_at(&mut self, sc: &Scenario, around: &Surroundings, q_c: f64) -> bool {
        self.profile.build(sc, &self.frame, around, q_c, self.passes());
        self.seen.extend(self.profile.flags);
        !self.in_dropout()
    }

    fn in_dropout(&self) -> bool {
        self.profile.sleep.dropout || self.profile.segs.iter().any(|s| s.point.dropout)
    }

    /// Quadrature of `dt = −dQ/(λQ + I(Q))` from `(t, q)` down to `target_c`; `true` when the end of the
    /// time comes first, with the last panel's start.
    fn descend(
        &mut self,
        sc: &Scenario,
        way: &Way,
        from_s: f64,
        start_c: f64,
        target_c: f64,
        mut recorder: Option<&mut Recorder>,
    ) -> (f64, f64, bool) {
        let rate = way.lambda + way.lambda_age;
        let (mut t, mut q) = (from_s, start_c);
        if target_c >= start_c {
            return (t, q, false);
        }
        self.fill_knots(sc, &way.around, start_c, target_c);
        let least_panel = (start_c - target_c) * FINEST_PANEL;
        let mut index = 0;
        let mut b = self.knots[1];
        let mut last_dt = 0.0;
        if self.frame.dependence == Some(Dependence::InDropout)
            && self.regulated_at(sc, &way.around, b + REGULATED_MARGIN * way.around.capacity_c)
        {
            // Constant currents down to the first kink: one exact leap.
            let mean_a = self.profile.mean_a;
            let fall = rate * b + mean_a;
            let dt = if fall > 0.0 { log1p_over(rate, (q - b) / fall) } else { f64::INFINITY };
            if t + dt > way.end_s {
                return (t, q, true);
            }
            if let Some(r) = recorder.as_deref_mut() {
                let (lambda, lambda_age) = (way.lambda, way.lambda_age);
                let leap =
                    Leap { around: way.around, t0_s: t, q0_c: q, mean_a, lambda, lambda_age };
                r.linear(sc, &self.frame, &self.profile, &leap, t + dt);
            }
            (t, q, index) = (t + dt, b, 1);
            b = self.knots.get(2).copied().unwrap_or(target_c);
        }
        let passes = self.passes();
        while q > target_c && index + 1 < self.knots.len() {
            let a = q;
            let mut around = way.around;
            if way.lambda_age != 0.0 {
                let middle_s = t - way.t0_s + 0.5 * last_dt;
                around.capacity_c *= libm::exp(-way.lambda_age * middle_s);
            }
            let mut dt = 0.0;
            let mark = recorder.as_deref_mut().map(|r| r.mark());
            let mut falls = [0.0; 2];
            let mut stuck = false;
            for ((x, w), kept) in GAUSS.into_iter().zip(&mut falls) {
                let at = a + (b - a) * x;
                self.profile.build(sc, &self.frame, &around, at, passes);
                self.seen.extend(self.profile.flags);
                let fall = rate * at + self.profile.mean_a;
                if fall <= 0.0 {
                    stuck = true;
                    break;
                }
                *kept = fall;
                let share_s = w * (a - b) / fall;
                dt += share_s;
                if let Some(r) = recorder.as_deref_mut() {
                    r.node(sc, &self.frame, &self.profile, at, share_s, way.lambda, way.lambda_age);
                }
            }
            let steep = (falls[0] - falls[1]).abs() > STEEPEST * falls[0];
            let late = stuck || t + dt > way.end_s;
            if late || (steep && a - b > least_panel) {
                if let (Some(r), Some(mark)) = (recorder.as_deref_mut(), mark) {
                    r.rewind(mark);
                }
                if late {
                    return (t, q, true);
                }
                // The current changes too much for one panel (a kink that moved, a steep curve).
                b = 0.5 * (a + b);
                continue;
            }
            if let Some(r) = recorder.as_deref_mut() {
                r.point(t + dt, b, &around);
            }
            t += dt;
            q = b;
            last_dt = dt;
            if q <= self.knots[index + 1] {
                index += 1;
            }
            b = self.knots.get(index + 1).copied().unwrap_or(target_c);
        }
        (t, q, false)
    }

    /// Panel ends between two charges, falling: knots of the cell's curves and the charges at which
    /// sleep or a segment enters dropout.
    fn fill_knots(&mut self, sc: &Scenario, around: &Surroundings, start_c: f64, end_c: f64) {
        self.knots.clear();
        // Where the currents themselves have a kink, from the currents at the end and, for a regulator
        // whose ground current changes in dropout, also from those before it.
        self.add_kinks(sc, around, start_c, end_c);
        let mut top_c = start_c;
        if self.frame.dependence == Some(Dependence::InDropout) {
            if self.kinks_move(sc, around) {
                self.profile.build(sc, &self.frame, around, start_c, 2);
                self.add_kinks(sc, around, start_c, end_c);
            }
            // In regulation nothing depends on the voltage: no panel needs to end there.
            top_c = self.knots.iter().copied().fold(end_c, f64::max);
        }
        let share = around.conditions.share;
        let charge = |s: f64| around.capacity_c * (1.0 - (1.0 - s) * share);
        let knots = &mut self.knots;
        let mut add = |q: f64| {
            if q < top_c && q > end_c {
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
        self.knots.push(start_c);
        self.knots.sort_unstable_by(|a, b| b.total_cmp(a));
        let least = SAME_KNOT * around.capacity_c;
        self.knots.dedup_by(|b, a| *a - *b < least);
        while self.knots.len() > 1 && self.knots[self.knots.len() - 1] - end_c < least {
            self.knots.pop();
        }
        self.knots.push(end_c);
    }

    /// Whether the currents in dropout move the kinks away from where those in regulation put them.
    fn kinks_move(&self, sc: &Scenario, around: &Surroundings) -> bool {
        let powers = self.frame.segs.iter().any(|s| matches!(s.demand, Demand::Power { .. }));
        let Regulator::Linear(linear) = &sc.path.regulator else { return true };
        let quiet_a = linear.ground_current_a.unwrap_or(0.0);
        let jump_a = linear.ground_in_dropout_a.map_or(0.0, |a| a - quiet_a);
        let factor = around.conditions.ohm_factor * around.growth;
        let cell_ohm = resistance_at(sc.cell.resistance.as_ref(), 0.0)
            + self.frame.mode_ohm[..self.frame.rc].iter().sum::<f64>();
        let ohm = sc.path.feed_ohm(cell_ohm * factor, &self.frame.awake);
        powers || jump_a.abs() * ohm > SAME_KINK_V
    }

    fn add_kinks(&mut self, sc: &Scenario, around: &Surroundings, start_c: f64, end_c: f64) {
        let leap = Leap {
            around: *around,
            t0_s: 0.0,
            q0_c: 0.0,
            mean_a: 0.0,
            lambda: 0.0,
            lambda_age: 0.0,
        };
        let (frame, profile) = (&self.frame, &self.profile);
        let search = Search { sc, frame, profile, leap, near_c: None };
        let knots = &mut self.knots;
        search.kinks(end_c, start_c, |q| {
            if q < start_c && q > end_c {
                knots.push(q);
            }
        });
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
            let mut guess_c = FIRST_GUESS * sc.cell.capacity_c;
            linear = (0..count).all(|m| {
                let around = self.around(sc, m);
                guess_c = self.threshold(sc, &around, start_c, guess_c, 4);
                !self.in_dropout()
            });
        }
        let rise = sc.cell.ageing.and_then(|a| a.resistance_rise_per_sqrt_year).unwrap_or(0.0);
        let prefactor = sc.cell.ageing.map_or(0.0, |a| a.capacity_loss_per_sqrt_year);
        let mut guess_c = FIRST_GUESS * sc.cell.capacity_c;
        // Where the margins rise with the charge, a look at each month's end tells what to look at closely.
        let look = !linear && self.frame.resistance_falls;
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
            if !look && !filled[index] {
                // Currents of this month: once for all years where they do not depend on the voltage.
                core::mem::swap(&mut self.profile, &mut self.months[index]);
                self.profile.build(sc, &self.frame, &around, q, if linear { 1 } else { 2 });
                self.seen.extend(self.profile.flags);
                if self.profile.fill_checks(&self.frame) {
                    flags.insert(Flag::ActivitiesOverlap);
                }
                needed[index] = if linear {
                    self.needed_share(sc, &around)
                } else {
                    // Close enough to tell the months in which to look closely: two rounds, and some more.
                    guess_c = self.threshold(sc, &around, start_c, guess_c, 2);
                    self.needed_share(sc, &around) + SPARE_SHARE
                };
                core::mem::swap(&mut self.profile, &mut self.months[index]);
                filled[index] = rise == 0.0;
            }
            let mark = recorder.as_deref_mut().map(|r| r.mark());
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
                let rates = (cond.lambda, lambda_age);
                self.through_month(sc, &around, q, rates, length, recorder.as_deref_mut())
            };
            let capacity_after = sc.cell.capacity_c * left_after;
            let survives = if look {
                if self.profile.fill_checks(&self.frame) {
                    flags.insert(Flag::ActivitiesOverlap);
                }
                // The profile is that of the month's last step, a little earlier: hence the spare charge.
                let aged = Surroundings { capacity_c: capacity_after, ..around };
                self.search(sc, &aged, None).holds_at(after - SPARE_SHARE * capacity_after)
            } else {
                after >= needed[index] * capacity_after
            };
            if !survives {
                // Somewhere in this month a bound fails: look closely.
                if look {
                    guess_c = after.max(FIRST_GUESS * capacity_after);
                } else {
                    core::mem::swap(&mut self.profile, &mut self.months[index]);
                }
                let mut kept = None;
                if let (Some(r), Some(mark)) = (recorder.as_deref_mut(), mark) {
                    kept = Some(r.clone());
                    r.rewind(mark);
                }
                let (hit, leap) = self.final_leap(
                    sc,
                    around,
                    t,
                    q,
                    lambda_age,
                    to,
                    guess_c,
                    recorder.as_deref_mut(),
                );
                if hit.is_some() {
                    return (hit, leap);
                }
                if !look {
                    core::mem::swap(&mut self.profile, &mut self.months[index]);
                }
                if let (Some(r), Some(kept)) = (recorder.as_deref_mut(), kept) {
                    *r = kept;
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
                }
                r.point(to, after, &around);
            }
            if to >= end_s {
                if linear {
                    core::mem::swap(&mut self.profile, &mut self.months[index]);
                } else {
                    self.profile.fill_checks(&self.frame);
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
        let search = self.search(sc, around, None);
        search.needed_share(sc.cell.capacity_c.min(around.capacity_c), 0.5)
    }

    fn fall(&mut self, sc: &Scenario, around: &Surroundings, q: f64, rate: f64) -> f64 {
        self.profile.build(sc, &self.frame, around, q, 1);
        self.seen.extend(self.profile.flags);
        rate * q + self.profile.mean_a
    }

    /// Charge after a month whose currents depend on the voltage: the third-order rule of Kutta (Simpson's nodes), in steps
    /// that are halved where the current bends by more than [`MOST_BEND`], down to [`LEAST_STEP`] of the capacity. Each
    /// evaluation starts from the polarisation of the one before; a step begins with the current in which the last one ended.
    fn through_month(
        &mut self,
        sc: &Scenario,
        around: &Surroundings,
        start_c: f64,
        rates: (f64, f64),
        length_s: f64,
        mut recorder: Option<&mut Recorder>,
    ) -> f64 {
        let rate = rates.0 + rates.1;
        // The charge at which the present profile was built, and how fast the charge falls there.
        let mut at_c = start_c;
        let mut fall = self.fall(sc, around, at_c, rate);
        if self.frame.dependence == Some(Dependence::InDropout) && !self.in_dropout() {
            // In regulation to the end of the month too? Then the currents are constant.
            let mean_a = self.profile.mean_a;
            let (lambda, lambda_age) = rates;
            let leap = Leap { around: *around, t0_s: 0.0, q0_c: at_c, mean_a, lambda, lambda_age };
            let after = leap.charge(length_s);
            let aged = Surroundings { capacity_c: leap.capacity(length_s), ..*around };
            if after > 0.0 && self.regulated_at(sc, &aged, after) {
                if let Some(r) = recorder {
                    r.constant(sc, &self.frame, &self.profile, &leap, length_s);
                }
                return after;
            }
            fall = self.fall(sc, around, at_c, rate);
        }
        let aged = |t_s: f64| Surroundings {
            capacity_c: around.capacity_c * libm::exp(-rates.1 * t_s),
            ..*around
        };
        let step_s =
            |share: f64, fall: f64| share * around.capacity_c / fall.max(f64::MIN_POSITIVE);
        let (mut t, mut q) = (0.0, start_c);
        let mut h = length_s.min(step_s(LARGEST_STEP, fall));
        while t < length_s {
            h = h.min(length_s - t);
            let mark = recorder.as_deref_mut().map(|r| r.mark());
            let mut record = |march: &Self, at_c: f64, share_s: f64| {
                if let Some(r) = recorder.as_deref_mut() {
                    r.node(sc, &march.frame, &march.profile, at_c, share_s, rates.0, rates.1);
                }
            };
            record(self, at_c, h / 6.0);
            let middle_c = q - 0.5 * h * fall;
            let middle = self.fall(sc, &aged(t + 0.5 * h), middle_c, rate);
            record(self, middle_c, h * 2.0 / 3.0);
            let end_c = q - h * (2.0 * middle - fall);
            let end = self.fall(sc, &aged(t + h), end_c, rate);
            record(self, end_c, h / 6.0);
            // What the third-order rule adds to the second-order one.
            let bent = h * (fall - 2.0 * middle + end).abs() > 6.0 * MOST_BEND * around.capacity_c;
            if bent && h > step_s(LEAST_STEP, fall.max(end)) {
                if let (Some(r), Some(mark)) = (recorder.as_deref_mut(), mark) {
                    r.rewind(mark);
                }
                h *= 0.5;
                fall = self.fall(sc, &aged(t), q, rate);
                at_c = q;
                continue;
            }
            q -= h * (fall + 4.0 * middle + end) / 6.0;
            t = if h >= length_s - t { length_s } else { t + h };
            if q <= 0.0 {
                break; // the life ends in this month: how it does is looked at closely
            }
            (fall, at_c) = (end, end_c);
            h = if bent { h } else { 2.0 * h };
            h = h.min(step_s(LARGEST_STEP, fall));
        }
        q
    }
}
