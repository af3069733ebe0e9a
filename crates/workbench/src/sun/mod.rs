//! Sun: the folder's site, panel, board, cell and project as the year-round balance of `overwinter-sun`.
//!
//! Load, supply path, cell and temperature laws are those of the forecast ([`crate::resolve`]); what is not written down is taken, noted
//! with its kind and handed out with the answer. Every board meets the same years of weather.

pub mod balance;
pub mod charge;
mod draws;
#[cfg(feature = "findings")]
mod findings;
mod known;
pub mod map;
mod need;
mod node;
pub mod place;
pub mod report;
pub mod request;
mod setting;
mod source;
pub mod tilt;
mod weather;

pub use balance::{sun, sun_while};
pub use charge::charge;
#[cfg(feature = "findings")]
pub(crate) use findings::findings;
pub use known::hourly_file;
pub use map::sun_map;
pub(crate) use need::outage_needs;
pub use tilt::tilt;
