//! Current traces: readers of any layout, the one-pass analysis, phases, the stored form with its pyramid.
//!
//! The way through the crate:
//!
//! 1. [`Source::open`] opens a file, standard input (`-`), a compressed or a growing file.
//! 2. [`detect`] reads the first lines and says how it reads the rest: a [`Layout`], which prints as
//!    "I read this as …" ([`Layout::describe`]), can be overridden field by field and remembered (serde).
//! 3. [`analyse`] makes one streaming pass in constant memory and returns an [`Analysis`].
//! 4. [`compare`](fn@compare) sets two analyses side by side, [`analyse_rail`] judges a supply rail's dip,
//!    [`store`](fn@store) keeps the samples columnar with a pyramid, [`partition`](fn@partition) writes them by board and day for an engine of
//!    many machines, and [`plot`] draws.
//!
//! # Method
//! Worker threads parse chunks of the input; whichever thread completes the next chunk in line reduces it, so
//! the reduction sees the samples in order, in blocks that depend on the sample's number alone: the result
//! is the same whatever the chunk size and the number of threads.
//!
//! Values are SI (`_a`, `_s`, `_c`, `_v`), time is in seconds from the trace's own zero.

#![forbid(unsafe_code)]
#![allow(
    clippy::single_match_else,
    reason = "two arms of a match read alike; if-let-else hides the second"
)]

mod allan;
mod analysis;
mod arrow;
mod binary;
mod cells;
mod columnar;
mod compare;
mod convert;
mod defects;
mod detect;
mod error;
mod files;
mod floor;
mod histogram;
mod kinds;
mod layout;
mod load;
mod number;
mod options;
mod packed;
mod pages;
mod partition;
mod pipeline;
pub mod plot;
mod pyramid;
mod rail;
mod reduce;
mod rows;
mod segment;
mod series;
#[cfg(target_arch = "x86_64")]
mod shape;
mod source;
mod steps;
mod stored;
mod stretch;
mod student;
mod text;
mod wakes;
mod window;

pub use allan::{AllanPoint, overlapping_allan};
pub use analysis::{
    Analysis, CurrentFigures, Drift, DriftPoint, Extent, Floor, Located, Phase, Quantile, Sampling,
    Stopped, VoltageFigures, WakeKind, WakeReport, WakeSegment, WakeSummary,
};
pub use cells::{Cell, Envelope};
#[doc(hidden)]
pub use columnar::unpack_only;
pub use compare::{Change, Comparison, PhaseChange, compare, days_gained};
pub use defects::{Defect, DefectKind};
pub use detect::{detect, detect_stated};
pub use error::{TraceError, counted};
pub use files::clear_leftovers;
pub use histogram::{HistogramBin, LogHistogram};
pub use layout::{
    CurrentSource, DateOrder, Delimiter, Format, Layout, RawFormat, RawKind, TextFormat,
    TimeSource, VoltageSource,
};
pub use load::{Activity, ActivitySegment, Estimate, LoadProfile, NamingRule};
pub use options::{Control, Options, Progress};
pub use partition::{Partition, partition};
pub use pipeline::analyse;
#[doc(hidden)]
pub use pipeline::parse_only;
pub use rail::{RailOptions, RailReport, RailVerdict, analyse_rail};
pub use segment::{Segmentation, pelt, pelt_penalty, segment_log_current};
pub use series::{Series, read_series};
pub use source::{Compression, Source};
pub use stored::{KeptAnalysis, Provenance, StoredTrace, Zoom, ZoomCell, store, store_source};
