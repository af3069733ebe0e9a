//! The questions people ask: documents in, reports out.
#![forbid(unsafe_code)]

pub mod bench;
pub mod case;
pub mod choice;
pub mod explore;
pub mod priors;
pub mod ranking;
pub mod readings;
pub mod report;
pub mod resolve;
pub mod sampling;
pub mod spread;
pub mod text;
