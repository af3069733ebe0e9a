//! The questions people ask: documents in, reports out.
#![forbid(unsafe_code)]

pub mod answers;
pub mod ask;
pub mod bench;
pub mod bill;
pub mod case;
#[cfg(feature = "findings")]
pub mod check;
pub mod choice;
pub mod compare;
mod conditions;
pub mod demo;
pub mod explore;
pub mod facts;
pub mod measure;
pub mod priors;
pub mod question;
pub mod ranking;
pub mod readings;
pub mod report;
pub mod resolve;
pub mod sampling;
pub mod spread;
pub mod starter;
pub mod stepwise;
pub mod sun;
pub mod table;
pub mod text;
pub mod trace_report;
pub mod trace_request;
pub mod trace_worth;
pub mod traits;
mod twin;
