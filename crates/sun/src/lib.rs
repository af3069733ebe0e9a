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
