//! Sun position, plane of array, panel, charger and the year-round energy balance.
#![forbid(unsafe_code)]

pub mod balance;
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
