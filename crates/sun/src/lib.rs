//! Sun position, plane of array, panel, charger and the year-round energy balance.
//!
//! From light to life, in the order of the modules:
//!
//! 1. [`time`], [`position`]: where the sun stands; [`clear_sky`], [`extraterrestrial`], [`diffuse`]: how much light there is;
//! 2. [`resource`]: measured weather of any layout; [`synthetic`]: years of weather made from twelve monthly figures;
//! 3. [`skyline`], [`transposition`], [`plane`]: what of it falls on the panel;
//! 4. [`panel`], [`charger`]: what of that reaches the cell;
//! 5. [`balance`]: hour by hour for years, with the engine's load, supply path and cell; chances with their [`interval`]; [`cautions`].
//!
//! Angles are degrees, azimuths clockwise from north, east and north positive; hours of synthetic weather are hours of apparent solar time.
//!
//! ```
//! use overwinter_sun::balance::map::{Years, midsummer};
//! use overwinter_sun::balance::summary::simulate;
//! use overwinter_sun::balance::tables::{SteadyDemand, TableBank};
//! use overwinter_sun::balance::{Node, NodeTables};
//! use overwinter_sun::charger::{Charger, Coupling, NightLeak, Source};
//! use overwinter_sun::panel::label::{Label, from_label};
//! use overwinter_sun::plane::Site;
//! use overwinter_sun::position::Observer;
//! use overwinter_sun::synthetic::climate::{Climate, ClimateInput, Season, Temperature};
//! use overwinter_sun::synthetic::geometry::YearGeometry;
//! use overwinter_sun::transposition::Plane;
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let climate = Climate::new(ClimateInput {
//!     latitude_deg: 47.0,
//!     irradiation_kwh_m2: [1.15, 2.0, 3.2, 4.3, 5.0, 5.5, 5.7, 4.9, 3.6, 2.2, 1.25, 0.90].map(Some),
//!     day_correlation: 0.3,
//!     between_year_cv: 0.15,
//!     temperature: Temperature {
//!         season: Season::Cosine { mean_c: 7.0, amplitude_k: 9.0, coldest_day: 15.0 },
//!         spread_k: 4.0,
//!         day_correlation: 0.7,
//!         weather_correlation: [0.0, 0.0],
//!         daily_range_k: 8.0,
//!     },
//! })?;
//! let site = Site::open(Observer::at(47.0, 8.0, 500.0)?);
//! let geometry = YearGeometry::new(&site, &Plane::towards_equator(70.0, 47.0)?);
//! let label = Label { power_w: Some(0.3), maximum_power_v: Some(6.0), ..Label::default() };
//! let source = Source {
//!     panel: from_label(&label)?.panel,
//!     heating_k_m2_per_w: 0.03,
//!     coupling: Coupling::Straight,
//!     charger: Charger::usual(0.1),
//!     night_leak: NightLeak::default(),
//! };
//! // The engine's scenario takes the place of both by `balance::engine::EngineNode`.
//! let bank = TableBank::lithium_ion(0.4 * 3600.0);
//! let load = SteadyDemand { current_a: 200e-6, dark_a: 5e-6, lowest_state: 0.05 };
//! let tables = NodeTables::new(&bank, &load)?;
//! let years = Years { climate: &climate, geometry: &geometry, seed: 1, first_year: 0, years: 20, first_day: midsummer(47.0) };
//! let summary = simulate(&Node::new(&tables, &source), &years).ok_or("no years")?;
//! assert_eq!(summary.years_with_outage.share, 0.0);
//! // Never seen in twenty years: still up to 14 % of years, at 95 % confidence.
//! assert!(summary.years_with_outage.high > 0.13);
//! # Ok(())
//! # }
//! ```
#![forbid(unsafe_code)]

pub mod balance;
pub mod cautions;
pub mod charger;
pub mod clear_sky;
pub mod diffuse;
pub mod extraterrestrial;
pub mod interval;
mod maths;
pub mod panel;
pub mod plane;
pub mod position;
pub mod random;
pub mod resource;
pub mod skyline;
pub mod synthetic;
pub mod time;
pub mod transposition;
