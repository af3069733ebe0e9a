//! What can go wrong with a recording, and the diagnostic a person sees.

use overwinter_documents::{Diagnostic, did_you_mean};
use overwinter_store::StoreError;
use overwinter_traces::TraceError;

/// A recording that cannot be read, kept or used.
#[derive(Debug, thiserror::Error)]
pub enum RecordingError {
    /// The trace itself.
    #[error(transparent)]
    Trace(#[from] TraceError),
    /// A document.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// Neither a recording of the folder nor a file.
    #[error("there is no recording and no file named “{name}”")]
    NoSuch {
        /// What was asked for.
        name: String,
        /// Recordings of the folder.
        known: Vec<String>,
    },
    /// The question needs something that is not there.
    #[error("{what}")]
    Missing {
        /// What is not there.
        what: String,
        /// What to do.
        help: String,
    },
    /// The system refused.
    #[error("{path}: {cause}")]
    Io {
        /// The file.
        path: String,
        /// The system's words.
        cause: std::io::Error,
    },
}

impl RecordingError {
    /// Something is not there.
    pub fn missing(what: impl Into<String>, help: impl Into<String>) -> Self {
        Self::Missing { what: what.into(), help: help.into() }
    }

    pub(crate) fn io(path: &std::path::Path, cause: std::io::Error) -> Self {
        Self::Io { path: path.display().to_string(), cause }
    }

    /// As a person sees it.
    pub fn diagnostic(&self) -> Diagnostic {
        match self {
            Self::Store(error) => error.diagnostic(),
            Self::Trace(error) => {
                let code = match error {
                    TraceError::Undecided { .. } | TraceError::Layout { .. } => "trace-layout",
                    TraceError::Cancelled => "stopped",
                    _ => "trace",
                };
                let found = Diagnostic::error(code, error.to_string());
                match help(error) {
                    Some(help) => found.help(help),
                    None => found,
                }
            }
            Self::NoSuch { name, known } => {
                let help = match did_you_mean(name, known.iter().map(String::as_str)) {
                    Some(near) => format!("did you mean \"{near}\"?"),
                    None if known.is_empty() => {
                        "give a file, or - for standard input; the folder has no recordings".into()
                    }
                    None => format!("give a file, -, or one of: {}", known.join(", ")),
                };
                Diagnostic::error("no-such", self.to_string()).help(help)
            }
            Self::Missing { help, .. } => {
                Diagnostic::error("missing", self.to_string()).help(help.as_str())
            }
            Self::Io { .. } => Diagnostic::error("cannot-read", self.to_string()),
        }
    }
}

fn help(error: &TraceError) -> Option<&'static str> {
    Some(match error {
        TraceError::Undecided { .. } => {
            "say it with --rate \"10 kHz\" or --interval, --shunt \"0.1 Ω\", --current-column N"
        }
        TraceError::NotText { .. } => {
            "for raw numbers add --samples f32 (or f64) and --rate \"10 kHz\""
        }
        TraceError::NoNumbers { .. } | TraceError::NoSamples { .. } => {
            "if the columns were mistaken, say --between semicolon, --decimal-comma or --current-column N"
        }
        TraceError::Stored { .. } => "keep the trace again from its source",
        TraceError::Empty { .. } => "was the recording stopped before its first sample?",
        _ => return None,
    })
}
