//! A bench folder's recordings: documents and traces in, reports out.
//!
//! What a person recorded lies in `traces/`, what is known of it in `recordings/*.toml`. This crate joins the two: it opens a
//! recording (or a bare file, or standard input) with its remembered layout ([`Subject`]), turns an analysis into the
//! reports of [`overwinter_workbench::trace_report`] ([`report::report`], [`compare::compare`], [`rail::judge`]), keeps a
//! trace compressed with its pyramid ([`keep`](keep::keep)), and answers zooms from the kept form ([`view`]).
//! The command line and the local server share it. It reads and writes files; it prints nothing.

#![forbid(unsafe_code)]

pub mod answer;
pub mod compare;
pub mod demo;
mod error;
pub mod files;
pub mod floor;
pub mod keep;
mod layout;
pub mod load;
pub mod publish;
pub mod rail;
pub mod report;
mod subject;
mod text;
pub mod view;

pub use error::RecordingError;
pub use layout::complete;
pub use subject::{Opened, Stated, Subject};
