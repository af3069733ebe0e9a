//! Reading a folder with limits. What cannot be read is told, never silently skipped; the rest is read all the same.

use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};

use overwinter_documents::{Diagnostic, DocumentKind, Folder, Severity};

use crate::error::{StoreError, reason};

/// Limits that keep a wrong folder from filling the memory.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Largest document, in bytes. A document is typed by hand; a trace belongs elsewhere.
    pub file_bytes: u64,
    /// Most documents in a folder.
    pub files: usize,
    /// Deepest folder inside a kind's folder.
    pub depth: usize,
    /// Most bytes in all.
    pub total_bytes: u64,
}

impl Default for Limits {
    fn default() -> Self {
        Self { file_bytes: 4 << 20, files: 50_000, depth: 4, total_bytes: 256 << 20 }
    }
}

/// Reads and checks a folder.
///
/// # Errors
/// The folder is not there or is no folder. Faults inside it are diagnostics.
pub fn read_folder(root: &Path) -> Result<(Folder, Vec<Diagnostic>), StoreError> {
    read_folder_with(root, Limits::default())
}

/// [`read_folder`] with limits of your own.
///
/// # Errors
/// The folder is not there or is no folder. Faults inside it are diagnostics.
pub fn read_folder_with(
    root: &Path,
    limits: Limits,
) -> Result<(Folder, Vec<Diagnostic>), StoreError> {
    let (files, mut diagnostics) = read_files(root, limits)?;
    let (folder, more) = Folder::read(files);
    diagnostics.extend(more);
    Ok((folder, diagnostics))
}

type Files = Vec<(String, String)>;

/// Reads the documents' texts: `(path relative to the folder with /, text)`, sorted by path.
///
/// # Errors
/// The folder is not there or is no folder. Faults inside it are diagnostics.
pub fn read_files(root: &Path, limits: Limits) -> Result<(Files, Vec<Diagnostic>), StoreError> {
    let metadata = fs::metadata(root).map_err(|error| match error.kind() {
        std::io::ErrorKind::NotFound => StoreError::NoFolder { path: root.to_owned() },
        _ => StoreError::read(root, error),
    })?;
    if !metadata.is_dir() {
        return Err(StoreError::NotAFolder { path: root.to_owned() });
    }
    let mut walk =
        Walk { limits, files: Vec::new(), bytes: 0, diagnostics: Vec::new(), full: false };
    for entry in sorted(root).map_err(|error| StoreError::read(root, error))? {
        let Some(name) = entry.file_name().and_then(|name| name.to_str()).map(str::to_owned) else {
            continue;
        };
        if DocumentKind::of_folder(&name).is_some() {
            walk.folder(&entry, &name, 0);
        } else if entry.is_dir() && !is_known_beside(&name) {
            walk.strange_folder(&entry, &name);
        }
    }
    Ok((walk.files, walk.diagnostics))
}

/// Folders that may lie beside the documents.
fn is_known_beside(name: &str) -> bool {
    name.starts_with('.') || matches!(name, "schemas" | "photos" | "traces" | "reports" | "weather")
}

fn sorted(folder: &Path) -> std::io::Result<Vec<PathBuf>> {
    let mut entries: Vec<PathBuf> = fs::read_dir(folder)?
        .map(|entry| entry.map(|entry| entry.path()))
        .collect::<Result<_, _>>()?;
    entries.sort();
    Ok(entries)
}

struct Walk {
    limits: Limits,
    files: Files,
    bytes: u64,
    diagnostics: Vec<Diagnostic>,
    full: bool,
}

impl Walk {
    fn tell(
        &mut self,
        code: &'static str,
        severity: Severity,
        file: &str,
        message: String,
        help: impl Into<String>,
    ) {
        self.diagnostics.push(Diagnostic::new(code, severity, message).in_file(file).help(help));
    }

    fn folder(&mut self, path: &Path, relative: &str, depth: usize) {
        if depth > self.limits.depth {
            let message = format!("the folder lies more than {} folders deep", self.limits.depth);
            self.tell(
                "too-deep",
                Severity::Error,
                relative,
                message,
                "move its files up; nothing below it was read",
            );
            return;
        }
        let entries = match sorted(path) {
            Ok(entries) => entries,
            Err(error) => {
                let message = "the folder cannot be read".to_owned();
                self.tell("cannot-read", Severity::Error, relative, message, reason(&error));
                return;
            }
        };
        for entry in entries {
            if self.full {
                return;
            }
            let Some(name) = entry.file_name().and_then(|name| name.to_str()) else {
                let message = "a file's name is not UTF-8".to_owned();
                self.tell(
                    "file-name",
                    Severity::Error,
                    relative,
                    message,
                    "rename it; it was not read",
                );
                continue;
            };
            let relative = format!("{relative}/{name}");
            if name.starts_with('.') {
                continue;
            }
            let kind = match fs::symlink_metadata(&entry) {
                Ok(metadata) => metadata.file_type(),
                Err(error) => {
                    self.tell(
                        "cannot-read",
                        Severity::Error,
                        &relative,
                        "the file cannot be read".into(),
                        reason(&error),
                    );
                    continue;
                }
            };
            let is_toml =
                entry.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("toml"));
            if kind.is_symlink() {
                self.link(&entry, &relative, is_toml);
            } else if kind.is_dir() {
                self.folder(&entry, &relative, depth + 1);
            } else if is_toml {
                self.file(&entry, &relative);
            }
        }
    }

    /// A link to a file is read; a link to a folder is not followed, for it may lead in a circle.
    fn link(&mut self, entry: &Path, relative: &str, is_toml: bool) {
        match fs::metadata(entry) {
            Ok(target) if target.is_dir() => {
                let message =
                    "a link to a folder is not followed: it may lead in a circle".to_owned();
                self.tell(
                    "link",
                    Severity::Warning,
                    relative,
                    message,
                    "put the files themselves here",
                );
            }
            Ok(_) if is_toml => self.file(entry, relative),
            Ok(_) => {}
            Err(error) => {
                // The code of "too many levels of symbolic links" is not mapped on every system.
                let help = format!("remove the link or mend it ({})", reason(&error));
                self.tell(
                    "link",
                    Severity::Error,
                    relative,
                    "the link leads nowhere or in a circle".into(),
                    help,
                );
            }
        }
    }

    fn file(&mut self, path: &Path, relative: &str) {
        if self.files.len() >= self.limits.files {
            self.full = true;
            let message = format!("there are more than {} documents", self.limits.files);
            let help = "is this the right folder? The files from here on were not read";
            self.tell("too-many-files", Severity::Error, relative, message, help);
            return;
        }
        match self.bytes_of(path) {
            Ok(Content::Text(text)) => {
                self.bytes += text.len() as u64;
                self.files.push((relative.to_owned(), text));
            }
            Ok(Content::NotUtf8 { at, byte }) => {
                let message = format!("the file is not UTF-8: byte {at} is 0x{byte:02X}");
                let help =
                    "save it as UTF-8 in the editor; the µ of an old encoding is the usual cause";
                self.tell("not-utf-8", Severity::Error, relative, message, help);
            }
            Ok(Content::TooLarge { bytes }) => {
                let message = format!(
                    "the file is too large for a document: {bytes} bytes, at most {} are read",
                    self.limits.file_bytes
                );
                let help = "a document holds one board, session or cell; keep traces and photographs in files of their own";
                self.tell("too-large", Severity::Error, relative, message, help);
            }
            Ok(Content::TotalTooLarge) => {
                self.full = true;
                let message = format!(
                    "the folder's documents hold more than {} bytes",
                    self.limits.total_bytes
                );
                let help = "is this the right folder? The files from here on were not read";
                self.tell("too-large", Severity::Error, relative, message, help);
            }
            Ok(Content::NotAFile) => {
                let help = "remove it; only plain files are read";
                self.tell(
                    "not-a-file",
                    Severity::Error,
                    relative,
                    "this is not a plain file".into(),
                    help,
                );
            }
            Err(error) => {
                self.tell(
                    "cannot-read",
                    Severity::Error,
                    relative,
                    "the file cannot be read".into(),
                    reason(&error),
                );
            }
        }
    }

    fn bytes_of(&self, path: &Path) -> std::io::Result<Content> {
        // The type first: opening a pipe would wait for ever.
        let metadata = fs::metadata(path)?;
        if !metadata.is_file() {
            return Ok(Content::NotAFile);
        }
        if metadata.len() > self.limits.file_bytes {
            return Ok(Content::TooLarge { bytes: metadata.len() });
        }
        if self.bytes + metadata.len() > self.limits.total_bytes {
            return Ok(Content::TotalTooLarge);
        }
        let mut bytes = Vec::with_capacity(metadata.len() as usize + 1);
        // One byte more than allowed tells a file that grows while it is read.
        fs::File::open(path)?.take(self.limits.file_bytes + 1).read_to_end(&mut bytes)?;
        if bytes.len() as u64 > self.limits.file_bytes {
            return Ok(Content::TooLarge { bytes: bytes.len() as u64 });
        }
        Ok(match String::from_utf8(bytes) {
            Ok(text) => {
                Content::Text(text.strip_prefix('\u{feff}').map(str::to_owned).unwrap_or(text))
            }
            Err(error) => {
                let at = error.utf8_error().valid_up_to();
                Content::NotUtf8 { at, byte: error.as_bytes().get(at).copied().unwrap_or(0) }
            }
        })
    }

    /// A folder that is probably a misspelt kind.
    fn strange_folder(&mut self, path: &Path, name: &str) {
        let known = DocumentKind::ALL.iter().map(|kind| kind.folder());
        if let Some(meant) = overwinter_documents::did_you_mean(name, known) {
            let holds_toml = sorted(path).is_ok_and(|entries| {
                entries
                    .iter()
                    .any(|entry| entry.extension().is_some_and(|extension| extension == "toml"))
            });
            if holds_toml {
                let message = format!("the folder {name}/ is not read");
                self.tell(
                    "unknown-folder",
                    Severity::Warning,
                    name,
                    message,
                    format!("did you mean {meant}/?"),
                );
            }
        }
    }
}

enum Content {
    Text(String),
    NotUtf8 { at: usize, byte: u8 },
    TooLarge { bytes: u64 },
    TotalTooLarge,
    NotAFile,
}
