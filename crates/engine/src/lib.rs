//! The physics: load, supply path, cell, and the exact-leap forecast with its ledger.
//!
//! ```
//! use overwinter_engine::cell::{Resistance, ResistanceCurve, SelfDischarge};
//! use overwinter_engine::load::{Activity, Demand, Segment, Sleep, SleepCurrent};
//! use overwinter_engine::path::{Dropout, LinearRegulator, Regulator, ReverseProtection};
//! use overwinter_engine::{Cell, Climate, Curve, Ending, Engine, Load, Scenario, SupplyPath};
//!
//! let scenario = Scenario {
//!     load: Load {
//!         sleep: Sleep { current: SleepCurrent::Rail { current_a: 6.4e-6 }, temperature: None },
//!         activities: vec![Activity {
//!             name: "report".into(),
//!             interval_s: 900.0,
//!             first_s: None,
//!             segments: vec![Segment {
//!                 name: "transmit".into(),
//!                 duration_s: 2.0,
//!                 demand: Demand::Current { current_a: 0.095 },
//!                 peak: None,
//!             }],
//!         }],
//!     },
//!     path: SupplyPath {
//!         regulator: Regulator::Linear(LinearRegulator {
//!             set_v: 3.3,
//!             ground_current_a: Some(1.5e-6),
//!             ground_per_load: 0.0,
//!             dropout: Some(Dropout::resistive(0.17, 0.34)),
//!             ground_in_dropout_a: None,
//!         }),
//!         series_ohm: 0.0,
//!         reverse: ReverseProtection::Nothing,
//!         bulk: None,
//!         always_on: vec![],
//!         reset_v: Some(2.8),
//!     },
//!     cell: Cell {
//!         capacity_c: 9000.0,
//!         capacity_by_temperature: None,
//!         open_circuit_v: Curve::monotone(&[(0.0, 3.0), (0.1, 3.55), (0.5, 3.77), (1.0, 4.18)])?,
//!         resistance: Some(Resistance {
//!             at_25: ResistanceCurve::Constant { ohm: 0.18 },
//!             b_kelvin: None,
//!         }),
//!         rc: vec![],
//!         two_well: None,
//!         self_discharge: Some(SelfDischarge::from_loss(0.02, 30.4 * 86_400.0, 10.0)),
//!         protection: None,
//!         cutoff_v: Some(3.2),
//!         ageing: None,
//!         passivating: false,
//!         initial_charge: 1.0,
//!         shelf_life_s: None,
//!         discharge_celsius: None,
//!         max_current_a: None,
//!     },
//!     climate: Climate::Constant { celsius: 22.0 },
//!     horizon_s: 10.0 * 365.0 * 86_400.0,
//! };
//! let forecast = Engine::new().forecast(&scenario, 0)?;
//! assert_eq!(forecast.life.ending, Ending::CellCutoff);
//! let sum: f64 = forecast.ledger.iter().map(|entry| entry.charge_c).sum();
//! assert!((sum / forecast.initial_charge_c - 1.0).abs() < 1e-9);
//! # Ok::<(), overwinter_engine::InputError>(())
//! ```
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
pub mod state;
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
pub use state::CellState;
