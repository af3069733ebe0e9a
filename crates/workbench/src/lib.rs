//! The questions people ask: documents in, reports out.
#![forbid(unsafe_code)]

pub mod case;
pub mod choice;
pub mod explore;
pub mod ranking;
pub mod report;
pub mod sampling;
pub mod text;
