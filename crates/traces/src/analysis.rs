//! The result of a pass: plain structs, serialisable, each figure with what it needs to be believed.

use crate::cells::Envelope;
use crate::defects::Defect;
use crate::histogram::LogHistogram;
use crate::layout::Layout;
use crate::load::LoadProfile;
use serde::{Deserialize, Serialize};

/// Everything one pass finds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Analysis {
    /// Where it came from.
    pub name: String,
    /// How it was read.
    pub layout: Layout,
    /// The same in one sentence ("I read this as …").
    pub read_as: String,
    /// How much was read.
    pub extent: Extent,
    /// Sampling interval and its regularity.
    pub sampling: Sampling,
    /// Charge, mean, extremes, RMS.
    pub current: CurrentFigures,
    /// The recorded voltage, if a column holds one.
    pub voltage: Option<VoltageFigures>,
    /// Currents by log-scale bins (samples, not time).
    pub histogram: LogHistogram,
    /// Quantiles of the samples, with the half-width of the bin each was read from.
    pub quantiles: Vec<Quantile>,
    /// The sleep floor; `None` where no dense low mode stands out.
    pub floor: Option<Floor>,
    /// Stability of the floor over time; `None` with fewer than 4 whole windows of sleep.
    pub drift: Option<Drift>,
    /// Minimum, mean and maximum over equal stretches of the whole trace, for drawing.
    pub envelope: Envelope,
    /// The whole trace cut into phases at the envelope's resolution (exact for traces up to 65 536 samples).
    pub phases: Vec<Phase>,
    /// Wakes; `None` without a sleep floor to wake from.
    pub wakes: Option<WakeReport>,
    /// What a project uses: activities with durations and currents, and sleep.
    pub load: LoadProfile,
    /// What is wrong with the trace, counted and located; never smoothed over.
    pub defects: Vec<Defect>,
}

/// How much was read, and whether that was all.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Extent {
    /// Usable samples.
    pub samples: u64,
    /// Data rows seen, usable or not.
    pub rows: u64,
    /// Rows that gave no sample.
    pub refused_rows: u64,
    /// Bytes of (decompressed) input.
    pub bytes: u64,
    /// Taken off all times (s): with dated stamps, seconds since 1970 of the first day; with large numbers, their whole part.
    pub origin_s: f64,
    /// First time stamp (s).
    pub first_s: f64,
    /// Last time stamp (s).
    pub last_s: f64,
    /// Sum of the intervals that count: gaps and backward steps excluded (s).
    pub covered_s: f64,
    /// Why reading ended before the end, if it did.
    pub stopped: Option<Stopped>,
}

/// Why a pass ended early. What had been read until then is in the result.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stopped {
    /// The file's row (1 is the first line).
    pub row: u64,
    /// The byte, from 0, in the decompressed input.
    pub byte: u64,
    /// Why.
    pub reason: String,
}

/// Sampling.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sampling {
    /// Nominal interval (s): the median of the first intervals, or as stated by the layout.
    pub interval_s: f64,
    /// Its reciprocal (Hz).
    pub rate_hz: f64,
    /// Shortest forward interval (s).
    pub shortest_s: f64,
    /// Longest interval that is no gap (s).
    pub longest_s: f64,
    /// All intervals within 1 % of nominal, or as close as the file's digits allow.
    pub even: bool,
}

/// A value and where it was.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Located {
    /// Value.
    pub value: f64,
    /// Sample number, from 0.
    pub sample: u64,
    /// Time (s).
    pub time_s: f64,
}

/// Figures of the whole current.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CurrentFigures {
    /// ∫ i dt by the trapezoid, compensated between blocks (C); gaps contribute nothing.
    pub charge_c: f64,
    /// Charge over covered time (A).
    pub mean_a: f64,
    /// Plain mean of the samples (A).
    pub sample_mean_a: f64,
    /// Root mean square of the samples (A).
    pub rms_a: f64,
    /// Standard deviation of the samples (A); `None` for one sample.
    pub standard_deviation_a: Option<f64>,
    /// Lowest sample, located to its cell of 64 samples.
    pub min: Located,
    /// Highest sample, located to its cell of 64 samples.
    pub max: Located,
}

/// Figures of a voltage column.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct VoltageFigures {
    /// Mean of the samples (V).
    pub mean_v: f64,
    /// Lowest (V).
    pub min_v: f64,
    /// Highest (V).
    pub max_v: f64,
    /// ∫ v·i dt (J), gaps excluded.
    pub energy_j: f64,
}

/// One quantile of the samples.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Quantile {
    /// Probability.
    pub probability: f64,
    /// Current (A).
    pub current_a: f64,
    /// The true sample quantile lies within ± this (A).
    pub half_width_a: f64,
}

/// The sleep floor.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Floor {
    /// The lowest dense mode of the log histogram (A).
    pub mode_a: f64,
    /// Mean over whole windows of sleep, regulator bursts included (A): the figure a forecast wants.
    pub mean_a: f64,
    /// Standard uncertainty of the mean from the record alone, correlated noise included (A): the largest standard
    /// error over dyadic batch sizes (Flyvbjerg & Petersen 1989), with the truncated burst added. `None`: fewer than 2 windows.
    pub standard_uncertainty_a: Option<f64>,
    /// Windows averaged.
    pub windows: u64,
    /// Length of a window (s): whole mains periods.
    pub window_s: f64,
    /// Time asleep (s), bursts included.
    pub asleep_s: f64,
    /// Above this the board counts as awake (A).
    pub threshold_a: f64,
    /// Regulator bursts found asleep.
    pub bursts: u64,
    /// Mean time between their starts (s), where there are enough.
    pub burst_period_s: Option<f64>,
    /// Mean charge of a burst above the floor (C).
    pub burst_charge_c: Option<f64>,
}

/// Stability of the floor.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Drift {
    /// Overlapping Allan deviation of the floor windows at averaging times of 1, 2, 4 … windows.
    pub points: Vec<DriftPoint>,
    /// Slope of the floor over the trace by least squares (A/s).
    pub slope_a_per_s: f64,
}

/// One Allan deviation.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DriftPoint {
    /// Averaging time (s).
    pub tau_s: f64,
    /// Overlapping Allan deviation (A).
    pub deviation_a: f64,
    /// Squared differences averaged.
    pub terms: u64,
}

/// A stretch at one level.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Phase {
    /// From (s).
    pub start_s: f64,
    /// To (s).
    pub end_s: f64,
    /// First sample.
    pub first_sample: u64,
    /// One past the last sample.
    pub end_sample: u64,
    /// Mean current (A).
    pub mean_a: f64,
    /// Lowest (A).
    pub min_a: f64,
    /// Highest (A).
    pub max_a: f64,
    /// Charge (C).
    pub charge_c: f64,
    /// Alternates between two levels (a regulator's bursts, a polling loop).
    pub bursts: bool,
}

/// A phase inside a wake, times from the wake's start.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WakeSegment {
    /// Start after the wake's start (s).
    pub start_s: f64,
    /// Duration (s).
    pub duration_s: f64,
    /// Mean current (A).
    pub mean_a: f64,
    /// Highest current (A).
    pub peak_a: f64,
    /// Time above half-way between mean and peak (s).
    pub peak_s: f64,
    /// Charge, baseline not removed (C).
    pub charge_c: f64,
    /// Alternates between two levels.
    pub bursts: bool,
    /// Which segment of its kind's activity this is; `None`: this wake has something the others do not.
    pub recognised: Option<usize>,
}

/// One wake.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WakeSummary {
    /// Number, from 0, over the whole trace.
    pub number: u64,
    /// Start (s).
    pub start_s: f64,
    /// Duration (s).
    pub duration_s: f64,
    /// Charge above the floor (C).
    pub charge_c: f64,
    /// The floor that was taken off (A).
    pub baseline_a: f64,
    /// Highest current (A).
    pub peak_a: f64,
    /// Index into [`WakeReport::kinds`]; `None` where there were too many kinds.
    pub kind: Option<usize>,
    /// Cut by the start or the end of the trace, or by a gap: not in the statistics.
    pub cut: bool,
    /// Phases.
    pub segments: Vec<WakeSegment>,
}

/// Wakes alike.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WakeKind {
    /// Wakes of this kind, cut ones excluded.
    pub count: u64,
    /// Mean time from start to start (s).
    pub period_s: Option<f64>,
    /// Standard deviation of that time (s).
    pub jitter_s: Option<f64>,
    /// Duration: mean, standard deviation over wakes.
    pub duration_mean_s: f64,
    /// Standard deviation over wakes (s).
    pub duration_deviation_s: Option<f64>,
    /// Charge above the floor (C), mean over wakes.
    pub charge_mean_c: f64,
    /// Standard deviation over wakes (C).
    pub charge_deviation_c: Option<f64>,
    /// Least (C).
    pub charge_min_c: f64,
    /// Most (C).
    pub charge_max_c: f64,
    /// Highest current of all (A).
    pub peak_a: f64,
}

/// All wakes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WakeReport {
    /// All wakes found, cut ones included.
    pub count: u64,
    /// Wakes cut by an end of the trace or a gap.
    pub cut: u64,
    /// Kinds, most frequent first.
    pub kinds: Vec<WakeKind>,
    /// Wakes one by one: all of them up to [`crate::Options::listed_wakes`], then every 2nd, 4th, …
    pub listed: Vec<WakeSummary>,
    /// Every how manieth is listed.
    pub listed_every: u64,
    /// Wakes whose charge is far from their kind's median (beyond 5 robust standard deviations and 10 %).
    pub outliers: Vec<WakeSummary>,
}
