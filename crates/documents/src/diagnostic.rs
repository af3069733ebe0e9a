//! What a person sees of a fault: code, severity, message, place, help. Renderers only draw it.

use std::ops::Range;
use std::sync::Arc;

use crate::locate::{KeyPath, locate};

/// How bad it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// Probably not meant so; the answer may be misleading.
    Warning,
    /// Dangerous to a board, a cell or a person.
    Danger,
    /// The document cannot be used.
    Error,
}

/// A place in a text.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct Place {
    /// Start, in bytes.
    pub start: usize,
    /// End, in bytes, exclusive.
    pub end: usize,
    /// Line of the start, from 1.
    pub line: usize,
    /// Column of the start in characters, from 1.
    pub column: usize,
    /// The lines that hold it, for drawing; empty where the text is not at hand.
    #[serde(skip)]
    pub excerpt: Arc<str>,
    /// Byte offset of the excerpt's start in the file.
    #[serde(skip)]
    pub excerpt_start: usize,
    /// Line number of the excerpt's first line.
    #[serde(skip)]
    pub excerpt_line: usize,
}

/// A fault, warning or remark about a document or folder.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct Diagnostic {
    /// A stable word, such as `unknown-key`.
    #[cfg_attr(feature = "typescript", ts(type = "string"))]
    pub code: &'static str,
    /// How bad it is.
    pub severity: Severity,
    /// What is wrong.
    pub message: String,
    /// The file, relative to the folder, with `/`.
    pub file: Option<String>,
    /// Where in the file.
    pub span: Option<Place>,
    /// What to do.
    pub help: Option<String>,
}

impl Diagnostic {
    /// A diagnostic without place and help.
    pub fn new(code: &'static str, severity: Severity, message: impl Into<String>) -> Self {
        Self { code, severity, message: message.into(), file: None, span: None, help: None }
    }

    /// An error.
    pub fn error(code: &'static str, message: impl Into<String>) -> Self {
        Self::new(code, Severity::Error, message)
    }

    /// A warning.
    pub fn warning(code: &'static str, message: impl Into<String>) -> Self {
        Self::new(code, Severity::Warning, message)
    }

    /// With what to do.
    #[must_use]
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }

    /// In a file, without a place in it.
    #[must_use]
    pub fn in_file(mut self, file: &str) -> Self {
        self.file = Some(file.to_owned());
        self
    }

    /// At bytes of a file's text.
    #[must_use]
    pub fn at(mut self, file: &str, text: &str, span: Range<usize>) -> Self {
        self.file = Some(file.to_owned());
        self.span = Some(Place::new(text, span));
        self
    }

    /// At a key of a file's text.
    #[must_use]
    pub fn at_key(self, file: &str, text: &str, path: &KeyPath) -> Self {
        match locate(text, path) {
            Some(span) => self.at(file, text, span),
            None => self.in_file(file),
        }
    }

    /// Whether the document cannot be used.
    pub fn is_error(&self) -> bool {
        self.severity == Severity::Error
    }
}

impl Place {
    /// The place of a span, with line, column and the lines that hold it (at most 240 characters of a long line).
    pub fn new(text: &str, span: Range<usize>) -> Self {
        let start = floor_boundary(text, span.start);
        let end = floor_boundary(text, span.end.max(start)).max(start);
        let line_start = text[..start].rfind('\n').map_or(0, |place| place + 1);
        let line = text[..start].matches('\n').count() + 1;
        let column = text[line_start..start].chars().count() + 1;
        // One line is enough to draw: a span that runs on is cut at its first line's end.
        let line_end = text[start..].find('\n').map_or(text.len(), |place| start + place);
        let from = floor_boundary(text, line_start.max(start.saturating_sub(EXCERPT_BYTES)));
        let to = floor_boundary(text, line_end.min(start + EXCERPT_BYTES));
        Self {
            start,
            end,
            line,
            column,
            excerpt: Arc::from(text[from..to.max(from)].trim_end_matches('\r')),
            excerpt_start: from,
            excerpt_line: line,
        }
    }
}

const EXCERPT_BYTES: usize = 120;

fn floor_boundary(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}
