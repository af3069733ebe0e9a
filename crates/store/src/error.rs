//! What can go wrong on the disk; each knows its diagnostic.

use std::io;
use std::path::{Path, PathBuf};

use overwinter_documents::Diagnostic;

/// A fault of reading or writing.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The folder is not there.
    #[error("there is no folder {}", path.display())]
    NoFolder {
        /// The folder.
        path: PathBuf,
    },
    /// A file stands where a folder is needed.
    #[error("{} is a file, a folder is needed", path.display())]
    NotAFolder {
        /// The path.
        path: PathBuf,
    },
    /// A new folder would be made over files that are there.
    #[error("{} is not empty", path.display())]
    NotEmpty {
        /// The folder.
        path: PathBuf,
    },
    /// A path of the folder leads out of it.
    #[error("{} leads out of the folder", path.display())]
    Outside {
        /// The path.
        path: PathBuf,
    },
    /// The disk or the rights refuse to write.
    #[error("{} cannot be written", path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: io::Error,
    },
    /// The disk or the rights refuse to read.
    #[error("{} cannot be read", path.display())]
    Read {
        /// The file or folder.
        path: PathBuf,
        /// The system's reason.
        source: io::Error,
    },
    /// A file beside the documents is no plain file.
    #[error("{} is not a plain file", path.display())]
    NotAFile {
        /// The path.
        path: PathBuf,
    },
    /// A file beside the documents is larger than what is read.
    #[error("{} is too large: {bytes} bytes, at most {most} are read", path.display())]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Its size.
        bytes: u64,
        /// The limit.
        most: u64,
    },
    /// The file changed between reading and writing.
    #[error("{} was changed by somebody else meanwhile", path.display())]
    Changed {
        /// The file.
        path: PathBuf,
    },
    /// The text to edit is no TOML.
    #[error("{file} is no TOML any more: {reason}")]
    NotToml {
        /// The file.
        file: String,
        /// The parser's reason.
        reason: String,
    },
    /// The edited text would no longer be a good document.
    #[error("the change would break {file}: {}", diagnostic.message)]
    WouldBreak {
        /// The file.
        file: String,
        /// What would be wrong, in the edited text.
        diagnostic: Box<Diagnostic>,
    },
    /// The key to edit is not where the edit says.
    #[error("there is no place {key} in {file}")]
    NoPlace {
        /// The file.
        file: String,
        /// The key path.
        key: String,
    },
}

impl StoreError {
    pub(crate) fn write(path: &Path, source: io::Error) -> Self {
        Self::Write { path: path.to_owned(), source }
    }

    pub(crate) fn read(path: &Path, source: io::Error) -> Self {
        Self::Read { path: path.to_owned(), source }
    }

    /// What a person is told.
    pub fn diagnostic(&self) -> Diagnostic {
        let (code, help) = match self {
            Self::NoFolder { .. } => {
                ("no-folder", "check the path, or make a new folder".to_owned())
            }
            Self::NotAFolder { .. } => {
                ("not-a-folder", "give the folder that holds boards/, cells/ and so on".to_owned())
            }
            Self::NotEmpty { .. } => {
                ("not-empty", "give a new or an empty folder; nothing was written".to_owned())
            }
            Self::Outside { .. } => {
                ("outside", "write a path below the folder, without `..`".to_owned())
            }
            Self::Write { source, .. } => (
                "cannot-write",
                format!("{}; nothing was written, the old file is as it was", reason(source)),
            ),
            Self::Read { source, .. } => ("cannot-read", reason(source)),
            Self::NotAFile { .. } => ("not-a-file", "only plain files are read".to_owned()),
            Self::TooLarge { .. } => {
                ("too-large", "cut it to the years that are needed".to_owned())
            }
            Self::Changed { .. } => (
                "changed-meanwhile",
                "nothing was written; read the folder again and repeat".to_owned(),
            ),
            Self::NotToml { .. } => ("toml", "nothing was written; mend the file first".to_owned()),
            Self::WouldBreak { diagnostic, .. } => {
                let help = diagnostic.help.as_deref().unwrap_or("correct the cell");
                ("would-break", format!("nothing was written; {help}"))
            }
            Self::NoPlace { .. } => {
                ("no-place", "nothing was written; read the folder again and repeat".to_owned())
            }
        };
        Diagnostic::error(code, self.to_string()).help(help)
    }
}

/// The system's reason in plain words, with what to do.
pub(crate) fn reason(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::PermissionDenied => {
            "the rights do not allow it: change them, or use another folder".to_owned()
        }
        io::ErrorKind::ReadOnlyFilesystem => "the disk is read-only: use another folder".to_owned(),
        io::ErrorKind::StorageFull => "the disk is full: make room and repeat".to_owned(),
        io::ErrorKind::QuotaExceeded => {
            "your share of the disk is used up: make room and repeat".to_owned()
        }
        io::ErrorKind::NotFound => "it is not there (any more)".to_owned(),
        _ => format!("the system says: {error}"),
    }
}
