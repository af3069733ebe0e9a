//! Questions about recordings, as the app asks the local server, and the replies: one key a question, one key a reply.

use overwinter_documents::Diagnostic;
use serde::{Deserialize, Serialize};

use crate::trace_report::{
    RailCapture, RecordingLine, TraceBetween, TraceComparison, TraceOverlay, TraceReport,
    TraceWindow,
};

/// A question about recordings. `recording` is a recording's name.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum TraceRequest {
    /// All recordings of the folder, each with its summary.
    Recordings {},
    /// Everything one pass finds.
    Read {
        /// Which.
        recording: String,
    },
    /// A stretch of a recording for drawing.
    Window {
        /// Which.
        recording: String,
        /// From (s); the beginning if left out.
        #[serde(default)]
        from_s: Option<f64>,
        /// To (s); the end if left out.
        #[serde(default)]
        to_s: Option<f64>,
        /// Columns on the screen; 1000 if left out, at most 8192.
        #[serde(default)]
        columns: Option<usize>,
    },
    /// Wakes of one activity laid over each other.
    Wakes {
        /// Which.
        recording: String,
        /// Which activity, as numbered in [`TraceReport::activities`]; the most frequent if left out.
        #[serde(default)]
        activity: Option<usize>,
        /// Most wakes; 24 if left out.
        #[serde(default)]
        most: Option<usize>,
        /// Points on the common time base; 400 if left out.
        #[serde(default)]
        points: Option<usize>,
    },
    /// Charge, mean and duration between two cursors.
    Between {
        /// Which.
        recording: String,
        /// One cursor (s).
        from_s: f64,
        /// The other (s).
        to_s: f64,
    },
    /// Two recordings compared.
    Compare {
        /// The first.
        before: String,
        /// The second.
        after: String,
        /// The project whose days are gained; the only one of the folder if left out.
        #[serde(default)]
        project: Option<String>,
    },
    /// A capture of the rail judged.
    Rail {
        /// Which.
        recording: String,
    },
}

/// An answer.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
#[serde(rename_all = "snake_case")]
pub enum TraceReply {
    /// All recordings.
    Recordings(Vec<RecordingLine>),
    /// Everything one pass finds.
    Read(Box<TraceReport>),
    /// A stretch.
    Window(Box<TraceWindow>),
    /// Wakes laid over each other.
    Wakes(Box<TraceOverlay>),
    /// Between two cursors.
    Between(TraceBetween),
    /// Two recordings compared.
    Compare(Box<TraceComparison>),
    /// A rail capture.
    Rail(Box<RailCapture>),
    /// The question could not be answered.
    Error(Vec<Diagnostic>),
}
