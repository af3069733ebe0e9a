//! The files behind the documents: are they there, and are they still what they were.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use overwinter_documents::{Diagnostic, Folder, KeyPath, Origin, Severity};
use sha2::{Digest, Sha256};

use crate::RecordingError;
use crate::subject::stays;

/// SHA-256 of a file, hexadecimal.
///
/// # Errors
/// The file cannot be read.
pub fn sha256(path: &Path) -> Result<String, RecordingError> {
    let io = |cause| RecordingError::io(path, cause);
    let mut file = File::open(path).map_err(io)?;
    let mut hash = Sha256::new();
    let mut buffer = vec![0_u8; 1 << 16];
    loop {
        let n = file.read(&mut buffer).map_err(io)?;
        if n == 0 {
            break;
        }
        hash.update(&buffer[..n]);
    }
    Ok(hex(&hash.finalize()))
}

pub(crate) fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// Notes on recordings whose source changed or is missing, or whose kept form is missing or of another source.
pub fn check_files(folder: &Folder, root: &Path) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    for entry in folder.recordings.iter().filter(|entry| entry.origin == Origin::Folder) {
        let recording = &entry.document;
        // Paths that lead out are an error of the document and are not followed.
        let paths = [Some(recording.trace.as_str()), recording.kept.as_deref()];
        if paths.into_iter().flatten().any(|path| stays(path).is_err()) {
            continue;
        }
        let key = |name: &str| KeyPath::root().key("recording").key(name);
        let mut tell = |code: &'static str, place: &str, message: String, help: &str| {
            let note = Diagnostic::new(code, Severity::Note, message).help(help);
            found.push(entry.place(note, &key(place)));
        };
        let source = root.join(&recording.trace);
        if source.is_file() {
            match (sha256(&source), &recording.sha256) {
                (Ok(now), Some(then)) if !now.eq_ignore_ascii_case(then) => tell(
                    "recording-changed",
                    "trace",
                    format!("{} is no longer the file that was kept", recording.trace),
                    "what is known of the recording belongs to the old file: `trace keep` it again, or bring the old file back",
                ),
                (Err(error), _) => tell(
                    "recording-unreadable",
                    "trace",
                    error.to_string(),
                    "give yourself the right to read it",
                ),
                _ => {}
            }
        } else {
            let help = if recording.kept.as_ref().is_some_and(|kept| root.join(kept).is_file()) {
                "the kept form is there and is read instead"
            } else {
                "bring it back, or correct the path"
            };
            tell("recording-missing", "trace", format!("{} is not there", recording.trace), help);
        }
        let Some(kept) = &recording.kept else { continue };
        let path = root.join(kept);
        if !path.is_file() {
            tell(
                "recording-missing",
                "kept",
                format!("the kept form {kept} is not there"),
                "`trace keep` makes it again from its source",
            );
            continue;
        }
        let provenance =
            overwinter_traces::StoredTrace::open(&path).and_then(|stored| stored.provenance());
        match (provenance, &recording.sha256) {
            (Err(error), _) => tell(
                "recording-unreadable",
                "kept",
                error.to_string(),
                "`trace keep` makes it again from its source",
            ),
            (Ok(provenance), Some(then))
                if !provenance.source_sha256.is_empty()
                    && !provenance.source_sha256.eq_ignore_ascii_case(then) =>
            {
                tell(
                    "recording-changed",
                    "kept",
                    format!("the kept form {kept} was made from another file"),
                    "`trace keep` makes it again from its source",
                );
            }
            _ => {}
        }
    }
    found
}
