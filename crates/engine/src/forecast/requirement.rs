//! The charge that a check needs, and the charges at which currents have kinks.
#![allow(clippy::needless_range_loop)] // the mode index runs over several arrays side by side

use super::frame::{Kind, PerMode, resistance_at};
use super::profile::{Profile, charge_state, sleep_table};
use super::search::Search;
use crate::path::{Drain, Regulator, ReverseProtection};
use crate::supply::{DROPOUT_RAMP_V, DrainSum};

/// How exactly a kink is found, as a state of charge: panels need not end on it to the last digit.
const KINK_TOLERANCE: f64 = 1e-7;

/// First step from a guessed state of charge to the other side of a crossing.
const FIRST_STEP: f64 = 5e-4;

impl Search<'_> {
    /// Highest state of charge at which a check's bound fails; above 1 when it fails even there.
    pub(crate) fn required(&self, c: usize) -> f64 {
        let state = &self.profile.checks[c];
        let check = &self.frame.checks[c];
        let f = |s: f64| self.margin(check, s, &state.worst, state.worst_extra_a).volts;
        if self.frame.resistance_falls
            && let Some(near_c) = self.near_c
        {
            let share = self.leap.around.conditions.cold_share;
            let offset_c = state.worst_ripple_c - Profile::imbalance_c(self.frame, &state.worst);
            let s = charge_state(near_c + offset_c, self.leap.around.capacity_c, share);
            return Self::crossing_near(s, f);
        }
        self.crossing(f)
    }

    /// Whether every bound still holds at mean charge `q_c`, for a margin that rises with the charge.
    pub(crate) fn holds_at(&self, q_c: f64) -> bool {
        self.frame.checks.iter().zip(&self.profile.checks).all(|(check, state)| {
            let head_c =
                q_c + state.worst_ripple_c - Profile::imbalance_c(self.frame, &state.worst);
            let around = &self.leap.around;
            let s = charge_state(head_c, around.capacity_c, around.conditions.cold_share);
            self.margin(check, s, &state.worst, state.worst_extra_a).volts >= 0.0
        })
    }

    /// The check with the largest current: most likely the one that decides.
    pub(super) fn likeliest(&self) -> usize {
        let (mut first, mut most) = (0, f64::NEG_INFINITY);
        for (c, check) in self.frame.checks.iter().enumerate() {
            let current = match check.kind {
                Kind::Sleep => self.profile.sleep.cell_a,
                Kind::SegmentEnd => self.profile.segs[check.seg].point.cell_a,
                Kind::Peak => self.frame.segs[check.seg].peak.map_or(0.0, |p| p.current_a),
            };
            if current > most {
                (first, most) = (c, current);
            }
        }
        first
    }

    /// Largest mean charge at which any check's bound fails, as a share of the capacity; on the safe
    /// side for capacities from `least_left·capacity` on.
    pub(crate) fn needed_share(&self, capacity: f64, least_left: f64) -> f64 {
        let share = self.leap.around.conditions.cold_share;
        let offset = |c: usize| {
            let state = &self.profile.checks[c];
            let coulombs = state.worst_ripple_c - Profile::imbalance_c(self.frame, &state.worst);
            if coulombs < 0.0 { coulombs / (capacity * least_left) } else { coulombs / capacity }
        };
        let needs = |c: usize| 1.0 - (1.0 - self.required(c)) * share - offset(c);
        let first = self.likeliest();
        let mut most = needs(first);
        for (c, check) in self.frame.checks.iter().enumerate() {
            if c == first {
                continue;
            }
            // Does this one fail at what the others need?
            let state = &self.profile.checks[c];
            let s = 1.0 - (1.0 - most - offset(c)) / share;
            if !self.frame.resistance_falls
                || self.margin(check, s, &state.worst, state.worst_extra_a).volts < 0.0
            {
                most = most.max(needs(c));
            }
        }
        most
    }

    /// Charges between two others at which the regulator changes its mode or a voltage table has a knot.
    pub(crate) fn kinks(&self, low_c: f64, high_c: f64, mut add: impl FnMut(f64)) {
        let around = &self.leap.around;
        let share = around.conditions.share;
        let charge = |s: f64| around.capacity_c * (1.0 - (1.0 - s) * share);
        let low = charge_state(low_c, around.capacity_c, share).max(0.0);
        let high = charge_state(high_c, around.capacity_c, share).min(1.0);
        let sleep_a = self.profile.sleep.cell_a;
        let set = match &self.sc.path.regulator {
            Regulator::Direct | Regulator::BuckBoost(_) => None,
            Regulator::Linear(r) => {
                Some((r.set_v, r.dropout.map_or((0.0, 0.0), |d| (d.fixed_v, d.resistance_ohm))))
            }
            Regulator::StepDown(r) | Regulator::StepUp(r) => Some((r.set_v, (0.0, r.pass_ohm))),
        };
        let factor = around.conditions.ohm_factor * around.growth;
        let mut u = self.profile.sleep_u;
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
            let (f_low, f_high) = (f(low), f(high));
            if f_low < 0.0 && f_high > 0.0 {
                add(charge(illinois(low, f_low, high, f_high, KINK_TOLERANCE, f)));
            }
        };
        // A linear regulator's ground current bends where dropout begins and where its ramp ends.
        let ramps = match &self.sc.path.regulator {
            Regulator::Linear(r) if r.ground_in_dropout_a.is_some() => 2,
            _ => 1,
        };
        if let Some((set_v, (fixed_v, ohm))) = set {
            let path_ohm = self.sc.path.feed_ohm(0.0, &DrainSum::default());
            let diode_v = match self.sc.path.reverse {
                ReverseProtection::Diode { forward_v, .. } => forward_v,
                _ => 0.0,
            };
            for ramp in 0..ramps {
                let target_v = set_v + fixed_v + diode_v - f64::from(ramp) * DROPOUT_RAMP_V;
                if ramps == 2 && self.frame.modes > 0 && !self.frame.trains.is_empty() {
                    for part in 0..3 {
                        u = self.profile.sleep_part(self.frame, part);
                        at_voltage(target_v, sleep_a, &u, path_ohm + ohm);
                    }
                } else {
                    u = self.profile.sleep_u;
                    at_voltage(target_v, sleep_a, &u, path_ohm + ohm);
                }
                for state in &self.profile.segs {
                    for m in 0..self.frame.rc {
                        u[m] = sleep_a + state.end[m];
                    }
                    at_voltage(target_v, state.point.cell_a, &u, path_ohm + ohm);
                }
            }
        }
        let sleeping = self.profile.sleep_u;
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

    /// [`Search::crossing`] of a rising `f` from a guess: brackets it in widening steps.
    fn crossing_near(guess: f64, f: impl Fn(f64) -> f64) -> f64 {
        let (mut a, mut step) = (guess.clamp(0.0, 1.0), FIRST_STEP);
        let mut f_a = f(a);
        let failing = f_a < 0.0;
        loop {
            if failing && a >= 1.0 {
                return 2.0;
            }
            if !failing && a <= 0.0 {
                return 0.0;
            }
            let b = (if failing { a + step } else { a - step }).clamp(0.0, 1.0);
            let f_b = f(b);
            if (f_b < 0.0) != failing {
                let (low, f_low, high, f_high) =
                    if failing { (a, f_a, b, f_b) } else { (b, f_b, a, f_a) };
                return illinois(low, f_low, high, f_high, 1e-13, f);
            }
            (a, f_a) = (b, f_b);
            step *= 6.0;
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
                        k = middle;
                    } else {
                        i = middle;
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
        illinois(low, f_low, high, f_high, 1e-13, f)
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
