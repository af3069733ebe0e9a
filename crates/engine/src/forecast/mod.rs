//! The forecast by exact leaps.

use crate::error::InputError;
use crate::outcome::{Forecast, Life};
use crate::scenario::Scenario;

/// The forecaster with its scratch memory; keep one per thread.
#[derive(Debug, Default)]
pub struct Engine {}

impl Engine {
    /// A new engine.
    pub fn new() -> Self {
        Self::default()
    }

    /// The life alone, without allocation after the first call.
    ///
    /// # Errors
    /// [`InputError`] when the scenario cannot be forecast.
    pub fn life(&mut self, scenario: &Scenario) -> Result<Life, InputError> {
        let _ = scenario;
        Err(InputError::NoSolution { what: "the forecast is not built yet" })
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
        let _ = samples;
        self.life(scenario)?;
        Err(InputError::NoSolution { what: "the forecast is not built yet" })
    }
}
