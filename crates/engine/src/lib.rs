//! The physics: load, supply path, cell, and the exact-leap forecast with its ledger.
#![forbid(unsafe_code)]

pub mod cell;
pub mod climate;
pub mod curve;
pub mod error;
pub mod forecast;
pub mod load;
pub mod outcome;
pub mod path;
pub mod relations;
pub mod scenario;
pub mod supply;

pub use cell::Cell;
pub use climate::Climate;
pub use curve::Curve;
pub use error::InputError;
pub use forecast::Engine;
pub use load::Load;
pub use outcome::{Account, Ending, Flag, Flags, Forecast, Life, Place};
pub use path::SupplyPath;
pub use scenario::Scenario;
