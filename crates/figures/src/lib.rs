//! From readings to defended figures: uncertainty budget, burden, settling, bill, voltage sweep, ride-through, disagreement.
//!
//! Pure: plain input structs in SI units, no input or output, no clock, no threads.

pub mod bill;
pub mod burden;
pub mod cautions;
pub mod conditions;
pub mod disagreement;
pub mod history;
pub mod identify;
pub mod next_test;
pub mod polarity;
pub mod protocol;
pub mod reading;
pub mod ride_through;
pub mod sampling;
pub mod settling;
pub mod specimens;
pub mod sweep;
pub mod temperature;
