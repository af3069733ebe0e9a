//! The cell's state stepped exactly under a constant current: for a simulation that has its own currents.

use crate::cell::{Cell, MAX_RC};
use crate::relations::decayed_time;

/// Charge, imbalance of the wells and polarisation of a cell; see [`crate::cell`] for the equations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CellState {
    /// Total charge.
    pub charge_c: f64,
    /// `q1 − c·q`: what the available well lacks; 0 when rested or with one well.
    pub imbalance_c: f64,
    /// Voltages of the RC pairs.
    pub polarisation_v: [f64; MAX_RC],
}

impl CellState {
    /// A rested cell at a state of charge 0…1.
    pub fn rested(cell: &Cell, state_of_charge: f64) -> Self {
        Self {
            charge_c: cell.capacity_c * state_of_charge,
            imbalance_c: 0.0,
            polarisation_v: [0.0; MAX_RC],
        }
    }

    /// The state after `dt_s` seconds at `current_a` (positive discharges) and `celsius`.
    ///
    /// Exact for a constant current and temperature: `q → q·e^(−λt) − i·(1 − e^(−λt))/λ`, the imbalance with
    /// `k' + λ` and `(1 − c)·i`, each RC pair `v → v·e^(−t/τ) + i·R·(1 − e^(−t/τ))`. Charging currents are
    /// negative; neither full nor empty stops it: ask [`CellState::state_of_charge`].
    pub fn advance(&mut self, cell: &Cell, celsius: f64, current_a: f64, dt_s: f64) {
        let lambda = cell.self_discharge.map_or(0.0, |s| s.rate_per_s(celsius));
        self.charge_c -= (self.charge_c * lambda + current_a) * decayed_time(lambda, dt_s);
        if let Some(wells) = cell.two_well {
            let rate = lambda + wells.rate_per_s;
            let drive = (1.0 - wells.available_share) * current_a;
            self.imbalance_c -= (self.imbalance_c * rate + drive) * decayed_time(rate, dt_s);
        }
        let factor = ohm_factor(cell, celsius);
        for (v, pair) in self.polarisation_v.iter_mut().zip(&cell.rc) {
            let end = current_a * pair.resistance_ohm * factor;
            *v += (end - *v) * -libm::expm1(-dt_s / pair.time_constant_s);
        }
    }

    /// State of charge of the available well, `1 − (Q − h)/(Q·f(T))`; at most 0: it gives nothing more.
    pub fn state_of_charge(&self, cell: &Cell, celsius: f64) -> f64 {
        let share = cell.capacity_by_temperature.as_ref().map_or(1.0, |c| c.at(celsius));
        let available = cell.two_well.map_or(1.0, |w| w.available_share);
        let head = self.charge_c + self.imbalance_c / available;
        1.0 - (1.0 - head / cell.capacity_c) / share
    }

    /// Terminal voltage under a current, `OCV(s) − R0(s, T)·i − Σv`.
    pub fn terminal_v(&self, cell: &Cell, celsius: f64, current_a: f64) -> f64 {
        let s = self.state_of_charge(cell, celsius);
        let ohm = crate::forecast::resistance_at(cell.resistance.as_ref(), s.max(0.0));
        let polarisation: f64 = self.polarisation_v.iter().sum();
        cell.open_circuit_v.at(s) - ohm * ohm_factor(cell, celsius) * current_a - polarisation
    }

    /// Charges of the available and the bound well.
    pub fn wells_c(&self, cell: &Cell) -> (f64, f64) {
        let c = cell.two_well.map_or(1.0, |w| w.available_share);
        let available = c * self.charge_c + self.imbalance_c;
        (available, self.charge_c - available)
    }
}

fn ohm_factor(cell: &Cell, celsius: f64) -> f64 {
    cell.resistance
        .as_ref()
        .and_then(|r| r.b_kelvin)
        .map_or(1.0, |b| libm::exp(b * (1.0 / (celsius + 273.15) - 1.0 / 298.15)))
}
