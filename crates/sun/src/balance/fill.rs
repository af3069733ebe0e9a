//! Constant current, then constant voltage, inside one step: exact between the knots of the open-circuit table.

use super::tables::STATES;

/// How a filling step ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum FillEnd {
    /// The step was over first.
    StepOver,
    /// The current into the cell fell to the termination's, or the cell was full by its curve while termination is possible.
    Terminated,
    /// At the held voltage with nothing more flowing in, and no termination.
    Held,
}

/// What a filling step did.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fill {
    /// State of charge reached.
    pub(super) state: f64,
    /// What was left of the step, s.
    pub(super) left_s: f64,
    /// How it ended.
    pub(super) end: FillEnd,
}

/// The charger and cell of one step.
#[derive(Debug, Clone, Copy)]
pub(super) struct Filling<'a> {
    /// Open-circuit voltage at the states, V.
    pub(super) open_circuit_v: &'a [f64],
    /// Current into the cell at constant current, A (above zero).
    pub(super) net_a: f64,
    /// Held voltage, V.
    pub(super) hold_v: f64,
    /// Resistance, Ω.
    pub(super) resistance_ohm: f64,
    /// Capacity that can be drawn, C.
    pub(super) capacity_c: f64,
    /// Current into the cell at which the charge ends, A; `None`: it never ends.
    pub(super) end_a: Option<f64>,
}

impl Filling<'_> {
    /// Fills from a state (0…1) for at most `step_s`.
    pub(super) fn run(&self, state: f64, step_s: f64) -> Fill {
        let (r, q) = (self.resistance_ohm, self.capacity_c);
        let mut state = state;
        let mut left_s = step_s;
        let ended = if self.end_a.is_some() { FillEnd::Terminated } else { FillEnd::Held };
        let end_gap = self.end_a.map_or(0.0, |a| a * r);
        let mut k = ((state * STATES as f64) as usize).min(STATES - 1);
        loop {
            if left_s <= 0.0 {
                return Fill { state, left_s: 0.0, end: FillEnd::StepOver };
            }
            if k >= STATES || state >= 1.0 {
                return Fill { state: 1.0, left_s, end: ended };
            }
            let (v0, v1) = (self.open_circuit_v[k], self.open_circuit_v[k + 1]);
            let (s0, s1) = (k as f64 / STATES as f64, (k + 1) as f64 / STATES as f64);
            // A level stretch of the curve is given a hair of slope, so that the formulas hold.
            let slope = ((v1 - v0) / (s1 - s0)).max(1e-9);
            // Constant current up to the knot, or to the state at which the held voltage is met.
            let meets = s0 + (self.hold_v - self.net_a * r - v0) / slope;
            let until = s1.min(meets);
            if until > state {
                let time = (until - state) * q / self.net_a;
                if time >= left_s {
                    return Fill {
                        state: state + left_s * self.net_a / q,
                        left_s: 0.0,
                        end: FillEnd::StepOver,
                    };
                }
                left_s -= time;
                state = until;
            }
            if state >= s1 {
                k += 1;
                state = s1;
                continue;
            }
            // Constant voltage: s relaxes with τ = R·Q/slope.
            let gap = self.hold_v - (v0 + slope * (state - s0));
            if gap <= end_gap + 1e-12 {
                return Fill { state, left_s, end: ended };
            }
            let target = end_gap.max(self.hold_v - v1);
            let tau = r * q / slope;
            let time = if target > 0.0 { tau * libm::log(gap / target) } else { f64::INFINITY };
            if time >= left_s {
                let state = state + gap / slope * -libm::expm1(-left_s / tau);
                return Fill { state: state.min(s1), left_s: 0.0, end: FillEnd::StepOver };
            }
            left_s -= time;
            if target > end_gap {
                state = s1;
                k += 1;
            } else {
                state = (state + (gap - target) / slope).min(s1);
                return Fill { state, left_s, end: ended };
            }
        }
    }
}
