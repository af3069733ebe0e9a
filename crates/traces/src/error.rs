//! What can stop a trace from being read at all.

use std::io;

/// An error that leaves no result. What stops a pass half-way is not an error: it is an [`crate::Stopped`]
/// in the [`crate::Analysis`], beside everything that could be read.
#[derive(Debug, thiserror::Error)]
pub enum TraceError {
    /// The operating system refused.
    #[error("{name}: {cause}")]
    Io {
        /// What was being read or written.
        name: String,
        /// The system's own words.
        cause: io::Error,
    },
    /// A directory was given where a file is needed.
    #[error("{name} is a directory; name the trace file inside it")]
    Directory {
        /// The directory.
        name: String,
    },
    /// Nothing to read.
    #[error("{name} is empty: 0 bytes")]
    Empty {
        /// The file.
        name: String,
    },
    /// A compressed file that gives nothing.
    #[error("{name} is compressed with {kind}, and {reason}")]
    Packed {
        /// The file.
        name: String,
        /// How.
        kind: &'static str,
        /// What is wrong, and what to do.
        reason: String,
    },
    /// There are lines, but none with numbers.
    #[error(
        "{name}: {} no numbers: is it a header without its data?",
        match lines {
            1 => "its one line holds".to_owned(),
            n => format!("its {n} lines up to byte {looked_at_bytes} hold"),
        }
    )]
    NoNumbers {
        /// The file.
        name: String,
        /// Lines seen.
        lines: u64,
        /// How far detection looked.
        looked_at_bytes: u64,
    },
    /// Binary data of an unknown kind.
    #[error(
        "{name} is not text (byte {byte} is 0x{value:02x}); raw samples need a layout that states f32 or f64 and the rate"
    )]
    NotText {
        /// The file.
        name: String,
        /// Position of the first byte that no text has.
        byte: u64,
        /// That byte.
        value: u8,
    },
    /// No line end within the limit.
    #[error(
        "{name}: no line end within {limit_bytes} bytes from byte {byte} on; this is not a table of samples"
    )]
    EndlessLine {
        /// The file.
        name: String,
        /// Where the line starts.
        byte: u64,
        /// The limit.
        limit_bytes: u64,
    },
    /// The layout lacks something that only the person knows.
    #[error("{what}: {advice}")]
    Undecided {
        /// What could not be decided from the file.
        what: String,
        /// What to state.
        advice: String,
    },
    /// The layout names a column that is not there, or a value that cannot be.
    #[error("layout: {reason}")]
    Layout {
        /// Which part is wrong, and why.
        reason: String,
    },
    /// The Parquet library's complaint.
    #[error("{name}: not readable as Parquet: {reason}")]
    Parquet {
        /// The file.
        name: String,
        /// The library's words.
        reason: String,
    },
    /// Damage in an Arrow file or stream, before its first samples.
    #[error("{name}: not readable as Arrow: {reason}")]
    Arrow {
        /// The file.
        name: String,
        /// What is wrong.
        reason: String,
    },
    /// A stored trace's own part is damaged.
    #[error("{name}: stored trace: {reason}")]
    Stored {
        /// The file.
        name: String,
        /// What is wrong.
        reason: String,
    },
    /// A trace that cannot be written by board and day.
    #[error("board {board}: {reason}")]
    Partition {
        /// The board.
        board: String,
        /// What is wrong, and what to do.
        reason: String,
    },
    /// All rows were read and not one sample was usable.
    #[error("{name}: {rows} rows read, none of them gave a sample; first: {first}")]
    NoSamples {
        /// The file.
        name: String,
        /// Rows looked at.
        rows: u64,
        /// Why the first was refused.
        first: String,
    },
    /// The person stopped the work; nothing was left half-written.
    #[error("stopped on request; nothing was written")]
    Cancelled,
}

impl TraceError {
    pub(crate) fn io(name: &str, cause: io::Error) -> Self {
        Self::Io { name: name.to_owned(), cause }
    }
}

/// So many of them, in words: "1 row", "2 rows".
pub fn counted(n: u64, one: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {one}s") }
}
