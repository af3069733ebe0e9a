//! What a person may set for a pass, and what a long pass reports while it runs.

use crate::load::NamingRule;
use serde::{Deserialize, Serialize};

/// Options of one analysis. `Options::default()` suits a sleeping board that wakes now and then.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Options {
    /// Parsing threads; 0 takes as many as the machine has, at most 8.
    pub threads: usize,
    /// Bytes parsed at a time. The result does not depend on it.
    pub chunk_bytes: usize,
    /// An interval longer than this many nominal intervals is a gap. Common practice, no source.
    pub gap_factor: f64,
    /// An excursion from the sleep floor no longer than this (and no longer than 1.5 samples at slow rates), with little
    /// charge, is a regulator's burst and belongs to sleep. Common practice, no source.
    pub longest_burst_s: f64,
    /// Quiet this long (and at least 8 samples) ends a wake. Common practice, no source.
    pub quiet_after_wake_s: f64,
    /// Mean over whole mains periods: the floor is averaged over windows of whole multiples of this.
    /// 0.1 s holds five periods of 50 Hz and six of 60 Hz.
    pub floor_window_s: f64,
    /// State the sleep threshold instead of finding it (A): current above it is awake.
    pub wake_threshold_a: Option<f64>,
    /// The instrument's full scale, where known (A): samples at it are clipped.
    pub full_scale_a: Option<f64>,
    /// Rules that name phases by level and duration.
    pub naming: Vec<NamingRule>,
    /// Most wakes listed one by one; statistics cover all of them.
    pub listed_wakes: usize,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            threads: 0,
            chunk_bytes: 256 * 1024,
            gap_factor: 3.0,
            longest_burst_s: 1.0e-3,
            quiet_after_wake_s: 0.05,
            floor_window_s: 0.1,
            wake_threshold_a: None,
            full_scale_a: None,
            naming: Vec::new(),
            listed_wakes: 4096,
        }
    }
}

/// How far a pass is.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Progress {
    /// Bytes of the input consumed (compressed bytes where the input is compressed).
    pub done_bytes: u64,
    /// Bytes of the input, where known.
    pub total_bytes: Option<u64>,
    /// Samples reduced.
    pub samples: u64,
    /// Seconds since the start.
    pub elapsed_s: f64,
    /// Bytes per second since the start.
    pub rate_bytes_per_s: f64,
    /// Seconds left at that rate, where the total is known.
    pub left_s: Option<f64>,
    /// Charge so far (C), for a live display.
    pub charge_c: f64,
    /// The newest sample (A), for a live display.
    pub newest_a: f64,
}

/// The progress callback's answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Control {
    /// Go on.
    Continue,
    /// Stop here; the result covers what was read and says so.
    Stop,
}
