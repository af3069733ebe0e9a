//! Reports on current traces: plain serialisable types only. The crate `recordings` fills them from a bench folder's
//! recordings; the command line, the local server and the published page show them.
//!
//! Units are SI (`_a`, `_s`, `_c`, `_v`); times are seconds from the trace's own zero. `None` is unknown, never zero.

use serde::Serialize;

pub use crate::trace_request::{TraceReply, TraceRequest};

/// What a recording shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
#[serde(rename_all = "snake_case")]
pub enum TraceShows {
    /// A current.
    Current,
    /// The voltage of a supply rail while the source comes or goes.
    Rail,
}

/// A figure from repetitions: with its text.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceFigure {
    /// Mean.
    pub value: f64,
    /// Standard uncertainty of the mean from the record; `None` for a single repetition.
    pub standard_uncertainty: Option<f64>,
    /// Standard deviation of one repetition.
    pub standard_deviation: Option<f64>,
    /// Repetitions.
    pub count: u64,
    /// As the trade prints it, k = 2.
    pub text: String,
}

/// One recording of the folder.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct RecordingLine {
    /// Name.
    pub name: String,
    /// Its document, relative to the folder.
    pub path: String,
    /// Current or rail.
    pub shows: TraceShows,
    /// The specimen.
    pub specimen: Option<String>,
    /// The specimen's board.
    pub board: Option<String>,
    /// When, as 2026-05-12.
    pub date: String,
    /// Who.
    pub who: Option<String>,
    /// Instrument and range or shunt, in words.
    pub instrument: Option<String>,
    /// Supply voltage at the board (V).
    pub supply_v: Option<f64>,
    /// Temperature (°C).
    pub temperature_c: Option<f64>,
    /// Firmware, in words.
    pub firmware: Option<String>,
    /// A remark.
    pub note: Option<String>,
    /// The source file, relative to the folder.
    pub trace: String,
    /// The kept form, relative to the folder, where there is one.
    pub kept: Option<String>,
    /// The summary; `None` where it could not be read.
    pub summary: Option<TraceSummary>,
    /// Why there is no summary, or what is wrong with the files.
    pub problem: Option<String>,
}

/// A recording in short.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceSummary {
    /// Samples.
    pub samples: u64,
    /// First time (s).
    pub first_s: f64,
    /// Last time (s).
    pub last_s: f64,
    /// Sampling rate (Hz).
    pub rate_hz: f64,
    /// Mean current (A); of a rail capture: the mean voltage (V).
    pub mean: f64,
    /// The sleep floor (A).
    pub floor_a: Option<TraceFigure>,
    /// Wakes, cut ones included.
    pub wakes: u64,
    /// What the board does awake, most frequent first.
    pub activities: Vec<TraceActivity>,
    /// What is wrong with the trace.
    pub defects: Vec<TraceDefect>,
}

/// What one kind of wake does.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceActivity {
    /// "wake A", "wake B", … in order of frequency.
    pub name: String,
    /// Whole wakes of it.
    pub wakes: u64,
    /// Start to start (s).
    pub interval_s: Option<TraceFigure>,
    /// Standard deviation of that time (s).
    pub jitter_s: Option<f64>,
    /// Duration (s).
    pub duration_s: TraceFigure,
    /// Charge above the floor (C).
    pub charge_c: TraceFigure,
    /// Least of one wake (C).
    pub charge_min_c: f64,
    /// Most of one wake (C).
    pub charge_max_c: f64,
    /// Highest current (A).
    pub peak_a: f64,
    /// Its phases, in order.
    pub phases: Vec<TraceActivityPhase>,
}

/// A phase of an activity.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceActivityPhase {
    /// Named by the person's rules, or by order and level.
    pub name: String,
    /// Duration (s).
    pub duration_s: TraceFigure,
    /// Mean current, floor included (A).
    pub current_a: TraceFigure,
    /// Charge of a wake in it, floor included (C).
    pub charge_c: f64,
    /// Share of the activity's charge, 0…1.
    pub share: f64,
    /// Highest current (A).
    pub peak_a: f64,
    /// The longest such peak (s).
    pub peak_s: f64,
    /// Share of the wakes in which it was recognised, 0…1.
    pub seen_in: f64,
    /// Alternates between two levels.
    pub bursts: bool,
}

/// The sleep floor.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceFloor {
    /// Mean asleep, regulator bursts included (A).
    pub current_a: TraceFigure,
    /// The lowest dense level (A).
    pub mode_a: f64,
    /// Above this the board counts as awake (A).
    pub threshold_a: f64,
    /// Time asleep (s).
    pub asleep_s: f64,
    /// Windows averaged.
    pub windows: u64,
    /// Length of a window (s).
    pub window_s: f64,
    /// Regulator bursts found asleep.
    pub bursts: u64,
    /// From burst to burst (s).
    pub burst_period_s: Option<f64>,
    /// Charge of a burst above the floor (C).
    pub burst_charge_c: Option<f64>,
}

/// Stability of the floor at one averaging time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceDrift {
    /// Averaging time (s).
    pub tau_s: f64,
    /// Overlapping Allan deviation (A).
    pub deviation_a: f64,
}

/// A stretch at one level.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TracePhase {
    /// Named by the person's rules; `None` where none holds.
    pub name: Option<String>,
    /// From (s).
    pub start_s: f64,
    /// To (s).
    pub end_s: f64,
    /// Mean current (A).
    pub mean_a: f64,
    /// Lowest (A).
    pub min_a: f64,
    /// Highest (A).
    pub max_a: f64,
    /// Charge (C).
    pub charge_c: f64,
    /// Alternates between two levels.
    pub bursts: bool,
}

/// One wake.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceWake {
    /// Number, from 1, over the whole trace.
    pub number: u64,
    /// Start (s).
    pub start_s: f64,
    /// Duration (s).
    pub duration_s: f64,
    /// Charge above the floor (C).
    pub charge_c: f64,
    /// Highest current (A).
    pub peak_a: f64,
    /// Which activity.
    pub activity: Option<usize>,
    /// Cut by an end of the trace or by a gap: not in the statistics.
    pub cut: bool,
    /// Far from the others of its activity.
    pub outlier: bool,
}

/// One defect of a trace.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceDefect {
    /// In words: "gap", "clipping", ….
    pub kind: String,
    /// How many samples, intervals or rows.
    pub count: u64,
    /// Seconds concerned; 0 where that has no meaning.
    pub seconds: f64,
    /// What it means and what to do.
    pub message: String,
    /// The first places.
    pub places: Vec<TracePlace>,
}

/// Where a defect is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TracePlace {
    /// Time (s), where it has one.
    pub time_s: Option<f64>,
    /// Row of the file, where it is one (1 is the first line).
    pub row: Option<u64>,
    /// Byte of the (decompressed) file, from 0.
    pub byte: Option<u64>,
    /// The value that shows it; its unit depends on the kind.
    pub value: Option<f64>,
}

/// Where and why reading ended early.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceStop {
    /// Row.
    pub row: u64,
    /// Byte.
    pub byte: u64,
    /// Why.
    pub reason: String,
}

/// One quantile of the samples.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceQuantile {
    /// Probability.
    pub probability: f64,
    /// Current (A).
    pub current_a: f64,
    /// Half-width of the bin it was read from (A).
    pub half_width_a: f64,
}

/// A recorded voltage.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceVoltage {
    /// Mean (V).
    pub mean_v: f64,
    /// Lowest (V).
    pub min_v: f64,
    /// Highest (V).
    pub max_v: f64,
    /// ∫ v·i dt (J).
    pub energy_j: f64,
}

/// Everything one pass finds.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceReport {
    /// See [`crate::report::SCHEMA_VERSION`].
    pub schema_version: u32,
    /// The recording, or the file.
    pub name: String,
    /// "I read this as …".
    pub read_as: String,
    /// Samples.
    pub samples: u64,
    /// Rows seen.
    pub rows: u64,
    /// Rows that gave no sample.
    pub refused_rows: u64,
    /// First time (s).
    pub first_s: f64,
    /// Last time (s).
    pub last_s: f64,
    /// Time that counts: gaps and backward steps excluded (s).
    pub covered_s: f64,
    /// Why reading ended before the end, if it did.
    pub stopped: Option<TraceStop>,
    /// Nominal interval (s).
    pub interval_s: f64,
    /// Rate (Hz).
    pub rate_hz: f64,
    /// All intervals alike.
    pub even: bool,
    /// Charge (C).
    pub charge_c: f64,
    /// Mean current (A).
    pub mean_a: f64,
    /// Root mean square (A).
    pub rms_a: f64,
    /// Lowest sample (A).
    pub min_a: f64,
    /// When (s).
    pub min_at_s: f64,
    /// Highest sample (A).
    pub max_a: f64,
    /// When (s).
    pub max_at_s: f64,
    /// Quantiles of the samples.
    pub quantiles: Vec<TraceQuantile>,
    /// A voltage recorded beside it.
    pub voltage: Option<TraceVoltage>,
    /// The sleep floor; `None` where none stands out.
    pub floor: Option<TraceFloor>,
    /// Stability of the floor; empty with too little sleep.
    pub drift: Vec<TraceDrift>,
    /// Slope of the floor (A/s).
    pub drift_a_per_s: Option<f64>,
    /// Wakes, cut ones included.
    pub wakes: u64,
    /// Wakes cut by an end of the trace or a gap.
    pub cut_wakes: u64,
    /// What the board does awake.
    pub activities: Vec<TraceActivity>,
    /// Wakes one by one, at most 4096 of them.
    pub wake_list: Vec<TraceWake>,
    /// Wakes unlike the others.
    pub outliers: Vec<TraceWake>,
    /// The whole trace in phases, the longest 2000 of them.
    pub phases: Vec<TracePhase>,
    /// Mean current of the load by floor, charges and intervals (A).
    pub load_mean_a: Option<f64>,
    /// What is wrong with the trace.
    pub defects: Vec<TraceDefect>,
    /// The instrument's own limits where instrument and range are known, and what is not in the uncertainties.
    pub remarks: Vec<String>,
}

/// Columns of minimum, mean and maximum; column `k` reaches from `start_s[k]` to the next start.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceColumns {
    /// Starts (s).
    pub start_s: Vec<f64>,
    /// Lowest (A).
    pub min_a: Vec<f64>,
    /// Mean (A).
    pub mean_a: Vec<f64>,
    /// Highest (A).
    pub max_a: Vec<f64>,
}

/// A stretch of a recording for drawing.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceWindow {
    /// The recording.
    pub recording: String,
    /// From (s).
    pub from_s: f64,
    /// To (s).
    pub to_s: f64,
    /// First time of the whole recording (s).
    pub first_s: f64,
    /// Last time of the whole recording (s).
    pub last_s: f64,
    /// Samples in a column; 1: the samples themselves.
    pub samples_per_column: u64,
    /// The finest that can be seen here (s): a column's width.
    pub resolution_s: f64,
    /// The columns.
    pub columns: TraceColumns,
    /// Phases in view, the longest 400.
    pub phases: Vec<TracePhase>,
    /// Wakes in view, at most 400.
    pub wakes: Vec<TraceWake>,
    /// The sleep floor (A).
    pub floor_a: Option<f64>,
    /// Above this the board counts as awake (A).
    pub threshold_a: Option<f64>,
}

/// Wakes laid over each other.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceOverlay {
    /// The recording.
    pub recording: String,
    /// The activity's name.
    pub activity: String,
    /// Common time base, 0 where a wake starts (s).
    pub time_s: Vec<f64>,
    /// The wakes, each a mean current per point; `null` where the recording has nothing.
    pub wakes: Vec<TraceOverlayWake>,
    /// The middle one of the wakes shown, point by point (A).
    pub median_a: Vec<Option<f64>>,
}

/// One wake of an overlay.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceOverlayWake {
    /// Number, from 1.
    pub number: u64,
    /// Start in the recording (s).
    pub start_s: f64,
    /// Charge above the floor (C).
    pub charge_c: f64,
    /// Far from the others.
    pub outlier: bool,
    /// Mean current at each point (A).
    pub mean_a: Vec<Option<f64>>,
}

/// Between two cursors.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceBetween {
    /// The recording.
    pub recording: String,
    /// From (s), the earlier cursor, inside the recording.
    pub from_s: f64,
    /// To (s).
    pub to_s: f64,
    /// Time between them (s).
    pub duration_s: f64,
    /// Charge (C); gaps hold none.
    pub charge_c: f64,
    /// Charge above the sleep floor (C).
    pub above_floor_c: Option<f64>,
    /// Mean current (A).
    pub mean_a: f64,
    /// Lowest (A).
    pub min_a: f64,
    /// Highest (A).
    pub max_a: f64,
    /// Samples in a column that it was computed from; 1: from the samples.
    pub samples_per_column: u64,
    /// In words.
    pub text: String,
}

/// One figure in both recordings.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceChange {
    /// In the first.
    pub before: TraceFigure,
    /// In the second.
    pub after: TraceFigure,
    /// After less before.
    pub difference: f64,
    /// Standard uncertainty of the difference.
    pub standard_uncertainty: Option<f64>,
    /// Probability of a difference as large by chance (Welch's test).
    pub p_value: Option<f64>,
    /// More than chance at 1 %; `None` where too few repetitions tell.
    pub significant: Option<bool>,
}

/// An activity in both recordings.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceWakeChange {
    /// Its name in the first.
    pub before: String,
    /// Its name in the second.
    pub after: String,
    /// Charge per wake (C).
    pub charge_c: TraceChange,
    /// Interval (s).
    pub interval_s: Option<TraceChange>,
}

/// A phase in both recordings.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TracePhaseChange {
    /// The activity.
    pub activity: String,
    /// The phase.
    pub phase: String,
    /// Duration (s); `None` where it is in one recording only.
    pub duration_s: Option<TraceChange>,
    /// Mean current (A).
    pub current_a: Option<TraceChange>,
    /// In the second only.
    pub new: bool,
    /// In the first only.
    pub gone: bool,
    /// Difference of charge per wake (C).
    pub charge_difference_c: f64,
}

/// Days gained for a project.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceDays {
    /// The project.
    pub project: String,
    /// The cell.
    pub cell: String,
    /// Charge it was reckoned with (C).
    pub capacity_c: f64,
    /// From wake to wake in the project (s).
    pub every_s: f64,
    /// Days with the first recording's load.
    pub before_days: f64,
    /// Days with the second's.
    pub after_days: f64,
    /// Difference.
    pub gained_days: f64,
    /// Its standard uncertainty, from the records' alone.
    pub standard_uncertainty_days: Option<f64>,
    /// P(a board with the second's load outlasts one with the first's), from the same uncertainty: Φ(gain/u).
    pub chance_after_outlasts: Option<f64>,
    /// What this leaves out.
    pub basis: String,
}

/// Two recordings compared.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct TraceComparison {
    /// See [`crate::report::SCHEMA_VERSION`].
    pub schema_version: u32,
    /// The first.
    pub before: String,
    /// The second.
    pub after: String,
    /// The sleep floor (A).
    pub sleep_a: Option<TraceChange>,
    /// Activity by activity.
    pub wakes: Vec<TraceWakeChange>,
    /// Phases, the largest change of charge first.
    pub phases: Vec<TracePhaseChange>,
    /// Mean current of the load as recorded (A).
    pub mean_before_a: Option<f64>,
    /// After.
    pub mean_after_a: Option<f64>,
    /// What it is worth in a project.
    pub days: Option<TraceDays>,
    /// The answer in words.
    pub verdict: Vec<String>,
    /// What stands in the way of the comparison.
    pub cautions: Vec<String>,
}

/// What a rail capture says of the processor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
#[serde(rename_all = "snake_case")]
pub enum RailAnswer {
    /// Above the threshold by more than the tolerance.
    RidesThrough,
    /// Cannot be told.
    Marginal,
    /// Under the threshold by more than the tolerance, for longer than the filter.
    Resets,
    /// No dip in the capture.
    NoEvent,
}

/// A capture of the rail judged.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct RailCapture {
    /// See [`crate::report::SCHEMA_VERSION`].
    pub schema_version: u32,
    /// The recording, or the file.
    pub name: String,
    /// "I read this as …".
    pub read_as: String,
    /// Samples.
    pub samples: u64,
    /// The reset threshold (V).
    pub threshold_v: f64,
    /// ± of threshold and probe together (V).
    pub tolerance_v: f64,
    /// Where the threshold comes from.
    pub threshold_source: String,
    /// Median before the event (V).
    pub before_v: f64,
    /// Median at the end (V).
    pub after_v: f64,
    /// Lowest, averaged over the filter (V).
    pub lowest_v: f64,
    /// Lowest single sample (V).
    pub lowest_sample_v: f64,
    /// The rail is averaged over this before it is judged (s); 0: sample by sample.
    pub filter_s: f64,
    /// It was derived from the noise, not stated.
    pub filter_derived: bool,
    /// What noise may still move the lowest point by (V).
    pub noise_left_v: f64,
    /// When (s).
    pub lowest_at_s: f64,
    /// Depth of the dip (V).
    pub dip_v: f64,
    /// Highest (V).
    pub highest_v: f64,
    /// Start of the event (s).
    pub start_s: Option<f64>,
    /// Length of the dip at a tenth of its depth (s).
    pub dip_duration_s: f64,
    /// Time under the threshold (s).
    pub under_threshold_s: f64,
    /// How often it went under.
    pub times_under: u64,
    /// Lowest less threshold (V).
    pub margin_v: f64,
    /// Noise before the event (V).
    pub noise_v: f64,
    /// The answer.
    pub answer: RailAnswer,
    /// The same in words.
    pub verdict: String,
    /// Why it might not be trusted.
    pub cautions: Vec<String>,
    /// The capture in at most 1000 columns, in volts.
    pub columns: RailColumns,
    /// The document the trial was written to, where it was.
    pub written: Option<String>,
}

/// Columns of a rail capture.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct RailColumns {
    /// Starts (s).
    pub start_s: Vec<f64>,
    /// Lowest (V).
    pub min_v: Vec<f64>,
    /// Highest (V).
    pub max_v: Vec<f64>,
}

/// A recording inside a published page: what can be seen without the trace itself.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct PublishedTrace {
    /// The recording with its summary.
    pub recording: RecordingLine,
    /// The whole trace in at most about 1200 columns; its `resolution_s` is the finest the page can show.
    pub overview: Option<TraceWindow>,
    /// Wakes of the most frequent activity.
    pub overlay: Option<TraceOverlay>,
    /// The rail's verdict, of a rail capture.
    pub rail: Option<RailCapture>,
}

/// A load profile written into a project.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TraceLoad {
    /// See [`crate::report::SCHEMA_VERSION`].
    pub schema_version: u32,
    /// The recording, or the file.
    pub recording: String,
    /// The project.
    pub project: String,
    /// Its document, relative to the folder.
    pub file: String,
    /// The activity.
    pub activity: String,
    /// It was not there before.
    pub new: bool,
    /// Its interval in the project (s).
    pub every_s: f64,
    /// The recording's interval (s).
    pub recorded_interval_s: Option<f64>,
    /// Charge of a wake above the floor (C), the instrument's limits included where they are known.
    pub charge_c: TraceFigure,
    /// Duration (s).
    pub duration_s: TraceFigure,
    /// Highest current (A).
    pub peak_a: f64,
    /// How long it lasts (s).
    pub peak_s: f64,
    /// The document was written; else this is what would be written.
    pub written: bool,
    /// What to mind.
    pub cautions: Vec<String>,
}

/// A sleep floor written into a session as a reading.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TraceFloorReading {
    /// See [`crate::report::SCHEMA_VERSION`].
    pub schema_version: u32,
    /// The recording.
    pub recording: String,
    /// Its specimen.
    pub specimen: String,
    /// The session.
    pub session: String,
    /// Its document, relative to the folder.
    pub file: String,
    /// The reading was not there before.
    pub new: bool,
    /// The floor (A), its zero taken off; uncertainty by its own scatter.
    pub current_a: TraceFigure,
    /// Half-width of the instrument's limits at it (A), where instrument and range are known; the reading's budget adds them.
    pub limit_a: Option<f64>,
    /// The zero that was taken off (A).
    pub zero_a: f64,
    /// Windows that were averaged.
    pub windows: u64,
    /// Time asleep (s).
    pub asleep_s: f64,
    /// The document was written; else this is what would be written.
    pub written: bool,
    /// What to mind.
    pub cautions: Vec<String>,
}

/// A trace kept.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TraceKept {
    /// See [`crate::report::SCHEMA_VERSION`].
    pub schema_version: u32,
    /// The recording.
    pub recording: String,
    /// Its document, relative to the folder.
    pub document: String,
    /// The kept form, relative to the folder.
    pub kept: String,
    /// Size of the kept form (bytes).
    pub kept_bytes: u64,
    /// Size of the source (bytes), where it is a file.
    pub source_bytes: Option<u64>,
    /// SHA-256 of the source.
    pub sha256: Option<String>,
    /// "I read this as …".
    pub read_as: String,
    /// Samples.
    pub samples: u64,
    /// Where and why reading ended early.
    pub stopped: Option<TraceStop>,
    /// Defects in words.
    pub defects: Vec<String>,
}
