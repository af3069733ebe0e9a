//! The balance of light and load: hour by hour, year after year.
//!
//! State: the charge `q` in the cell. `dq/dt = I_charger − I_load − I_night − λ(T)·q`; state of charge `s = 1 − (Q − q)/(Q·f(T))` with `f` the
//! share of the capacity that can be drawn at `T` (the engine's definition: cold locks charge in, warmth gives it back).
//! Within a step irradiance, temperature and mean load are constant; constant current, the relaxation at constant voltage, the
//! end of the charge and the instants at which the cell is full or the board goes dark are found inside the step, so an hour
//! is short enough down to banks of a few hours (see [`node::Node::substeps`]). Not modelled: polarisation and the two wells (they level out
//! within the hour), clouds that pass within the step (the count of lost inputs is a lower bound for hourly data).

pub mod daily;
pub mod engine;
mod fill;
pub mod map;
pub mod node;
pub mod result;
pub mod step;
pub mod summary;
pub mod tables;

pub use node::{Node, RideThrough};
pub use result::{Ledger, MonthFlow, YearResult};
pub use tables::{Bank, Demand, NodeTables};

/// Runs `f` for every index and gives the results in order; on all cores with the feature `parallel`, with the same result.
pub fn for_each_year<T: Send>(years: usize, f: impl Fn(u64) -> T + Sync + Send) -> Vec<T> {
    #[cfg(feature = "parallel")]
    {
        use rayon::prelude::*;
        (0..years as u64).into_par_iter().map(f).collect()
    }
    #[cfg(not(feature = "parallel"))]
    {
        (0..years as u64).map(f).collect()
    }
}
