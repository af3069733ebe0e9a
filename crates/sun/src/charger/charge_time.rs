//! How long a charge takes: precondition, constant current, constant voltage, in closed form between the knots of the open-circuit curve.
//!
//! With `OCV = a + b·s` between two knots and a resistance `R`: constant current to `s_cc = (V_hold − I·R − a)/b`, then `s` relaxes with
//! `τ = R·Q/b`. Exact for a piecewise linear curve; no polarisation, so a real cell takes somewhat longer.

use super::{Charger, Precondition};

/// Why the charge ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
pub enum ChargeEnd {
    /// The current fell below the termination current.
    Terminated,
    /// The cell is full by its curve before the current has fallen so far.
    Full,
    /// The safety timer ended it first.
    SafetyTimer,
    /// It never ends: the load keeps the charger's current above its termination current, or there is no termination; the cell is held at
    /// full voltage.
    HeldForever,
    /// The load takes everything the charger gives: the cell does not fill.
    LoadTakesAll,
}

/// A charge from a state to its end.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct ChargeTime {
    /// Precondition, s.
    pub precondition_s: f64,
    /// Constant current, s.
    pub constant_current_s: f64,
    /// Constant voltage, s (until 99.9 % of the way where it never ends).
    pub constant_voltage_s: f64,
    /// State of charge at the end.
    pub end_state: f64,
    /// Why it ended.
    pub end: ChargeEnd,
}

impl ChargeTime {
    /// All of it, s.
    pub fn total_s(&self) -> f64 {
        self.precondition_s + self.constant_current_s + self.constant_voltage_s
    }
}

/// A cell for the purpose of a charge: knots `(state, open-circuit volts)` rising in both, a resistance, a capacity in coulombs.
#[derive(Debug, Clone, PartialEq)]
pub struct ChargeCell<'a> {
    /// Knots.
    pub open_circuit: &'a [(f64, f64)],
    /// Ohms.
    pub resistance_ohm: f64,
    /// Coulombs.
    pub capacity_c: f64,
}

/// A curve that is no open-circuit curve, or a state outside it.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ChargeTimeError {
    /// Fewer than two knots, or knots that do not rise.
    #[error(
        "the open-circuit curve needs two or more knots that rise in state and voltage (knot {knot})"
    )]
    Curve {
        /// The first knot that does not.
        knot: usize,
    },
    /// A start outside the curve.
    #[error("state of charge {got} is outside the curve's {low} to {high}")]
    State {
        /// The state given.
        got: f64,
        /// First knot.
        low: f64,
        /// Last knot.
        high: f64,
    },
    /// Capacity, resistance or current not above zero.
    #[error("{what} is {got}, but must be above zero")]
    NotPositive {
        /// Which.
        what: &'static str,
        /// Its value.
        got: f64,
    },
}

/// Time to charge from a state, with a steady load on the node and a limit to what the source gives.
///
/// # Errors
/// [`ChargeTimeError`].
pub fn charge_time(
    cell: &ChargeCell<'_>,
    charger: &Charger,
    source_limit_a: f64,
    load_a: f64,
    start: f64,
) -> Result<ChargeTime, ChargeTimeError> {
    let knots = cell.open_circuit;
    if knots.len() < 2 {
        return Err(ChargeTimeError::Curve { knot: knots.len() });
    }
    if let Some(i) = knots.windows(2).position(|w| w[1].0 <= w[0].0 || w[1].1 <= w[0].1) {
        return Err(ChargeTimeError::Curve { knot: i + 1 });
    }
    let (low, high) = (knots[0].0, knots[knots.len() - 1].0);
    if !(low..=high).contains(&start) {
        return Err(ChargeTimeError::State { got: start, low, high });
    }
    for (what, got) in [
        ("capacity", cell.capacity_c),
        ("resistance", cell.resistance_ohm),
        ("set current", charger.set_current_a),
    ] {
        if !(got > 0.0 && got.is_finite()) {
            return Err(ChargeTimeError::NotPositive { what, got });
        }
    }
    let own_load = if charger.power_path { 0.0 } else { load_a };
    let mut result = ChargeTime {
        precondition_s: 0.0,
        constant_current_s: 0.0,
        constant_voltage_s: 0.0,
        end_state: start,
        end: ChargeEnd::Full,
    };
    let timer = charger.safety_timer_s.unwrap_or(f64::INFINITY);
    let mut s = start;
    // Precondition, then constant current: the voltage rises with the state, so each phase ends at one state.
    let phases = [charger.precondition, None];
    for (index, phase) in phases.iter().enumerate() {
        let preconditioning = index == 0;
        let share = match phase {
            Some(Precondition { share, .. }) => *share,
            None if preconditioning => continue,
            None => 1.0,
        };
        let net = (share * charger.set_current_a).min(source_limit_a) - load_a;
        let until_v = match phase {
            Some(p) => p.below_v,
            None => charger.hold_v,
        };
        let until = state_at(knots, until_v - net * cell.resistance_ohm).clamp(low, high);
        if until <= s {
            continue;
        }
        if net <= 0.0 {
            result.end = ChargeEnd::LoadTakesAll;
            result.end_state = s;
            return Ok(result);
        }
        let time = (until - s) * cell.capacity_c / net;
        let left = timer - result.total_s();
        let (time, reached) =
            if time > left { (left, s + left * net / cell.capacity_c) } else { (time, until) };
        if preconditioning {
            result.precondition_s = time;
        } else {
            result.constant_current_s = time;
        }
        s = reached;
        if time >= left {
            result.end = ChargeEnd::SafetyTimer;
            result.end_state = s;
            return Ok(result);
        }
    }
    // Constant voltage: into the cell flows (V_hold − OCV)/R; the charger carries the load on top.
    let never = charger.termination_share.is_none() || own_load >= charger.termination_a();
    let end_current = if never {
        // Towards, but never at, the end: stop where 0.1 % of the set current is left.
        1e-3 * charger.set_current_a
    } else {
        charger.termination_a() - own_load
    };
    let end_state = state_at(knots, charger.hold_v - end_current * cell.resistance_ohm).min(high);
    let mut left = timer - result.total_s();
    result.end = if never {
        ChargeEnd::HeldForever
    } else if end_state >= high {
        ChargeEnd::Full
    } else {
        ChargeEnd::Terminated
    };
    while s < end_state - 1e-15 {
        let k = knots.windows(2).position(|w| s < w[1].0).unwrap_or(knots.len() - 2);
        let slope = (knots[k + 1].1 - knots[k].1) / (knots[k + 1].0 - knots[k].0);
        let to = knots[k + 1].0.min(end_state);
        let volts = |state: f64| charger.hold_v - (knots[k].1 + slope * (state - knots[k].0));
        let tau = cell.resistance_ohm * cell.capacity_c / slope;
        let time = tau * libm::log(volts(s) / volts(to));
        if time > left {
            s = to.min(s + volts(s) / slope * (1.0 - libm::exp(-left / tau)));
            result.constant_voltage_s += left;
            result.end = ChargeEnd::SafetyTimer;
            break;
        }
        result.constant_voltage_s += time;
        left -= time;
        s = to;
    }
    result.end_state = s;
    Ok(result)
}

/// The state at which the open-circuit curve has a voltage; the curve's end segments go on beyond its ends.
fn state_at(knots: &[(f64, f64)], volts: f64) -> f64 {
    let k = knots.windows(2).position(|w| volts < w[1].1).unwrap_or(knots.len() - 2);
    let (a, b) = (knots[k], knots[k + 1]);
    a.0 + (volts - a.1) * (b.0 - a.0) / (b.1 - a.1)
}
