//! The forecast by exact leaps.
//!
//! With currents that do not depend on the cell's voltage the state follows a linear equation with a
//! periodic input, so it is known in closed form at any time: the total charge is an exponential (or a
//! line) plus a periodic ripple, each RC pair and the wells' imbalance a periodic response less its
//! start-up. Activities with any intervals superpose. The first failing peak is found by bounds
//! (module `search`), not by stepping: a life of years costs microseconds.
//!
//! Currents that depend on the voltage (switching regulators, dropout, resistive drains, constant power)
//! change slowly from cycle to cycle. The mean charge then follows `dQ/dt = −λQ − I(Q)`, with `I(Q)` the
//! mean current of the periodic cycle at charge Q; it is integrated by Gauss–Legendre quadrature in Q on
//! panels that end at the knots of the tables, and the ripple is added back. This first-order averaging
//! with corrected start is off by the square of the relative change per cycle; against brute force below
//! 1e-5 of the life, checked in `tests/brute_force.rs`.
//!
//! Seasons and ageing take one leap a month; see [`crate::climate`] and [`crate::cell`].

mod frame;
mod march;
mod profile;
mod record;
mod report;
mod requirement;
mod search;
mod validate;

use crate::error::InputError;
use crate::outcome::{Forecast, Life};
use crate::scenario::Scenario;
pub(crate) use frame::resistance_at;
use march::March;

/// The forecaster with its scratch memory; keep one per thread.
#[derive(Debug, Default)]
pub struct Engine {
    march: March,
}

impl Engine {
    /// A new engine.
    pub fn new() -> Self {
        Self::default()
    }

    /// The life alone, without allocation after the first call of a kind.
    ///
    /// # Errors
    /// [`InputError`] when the scenario cannot be forecast.
    pub fn life(&mut self, scenario: &Scenario) -> Result<Life, InputError> {
        self.march.frame.prepare(scenario)?;
        Ok(self.march.run(scenario, None).life)
    }

    /// The full forecast with ledger, margins and `samples` points over the life.
    ///
    /// # Errors
    /// [`InputError`] when the scenario cannot be forecast.
    pub fn forecast(
        &mut self,
        scenario: &Scenario,
        samples: usize,
    ) -> Result<Forecast, InputError> {
        self.march.frame.prepare(scenario)?;
        Ok(report::full(&mut self.march, scenario, samples))
    }
}
