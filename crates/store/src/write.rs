//! Writing: a temporary file in the same folder, synchronised, then renamed over the old one.

use std::fs;
use std::io::{self, Write};
use std::path::{Component, Path, PathBuf};

use overwinter_documents::schemas;

use crate::error::StoreError;

/// Where bytes go; tests put a full disk here.
pub trait Writer {
    /// Writes a file whole or not at all.
    ///
    /// # Errors
    /// The system's reason; the old file is as it was.
    fn replace(&mut self, path: &Path, bytes: &[u8]) -> io::Result<()>;
}

/// Writes to the disk.
#[derive(Clone, Copy, Debug, Default)]
pub struct FileWriter;

impl Writer for FileWriter {
    fn replace(&mut self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        // A link is written through, so that it stays a link.
        let path = fs::canonicalize(path).unwrap_or_else(|_missing| path.to_owned());
        let folder =
            path.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
        // Renaming over a file needs no right to write it; the person who took that right away means it.
        let permissions = fs::metadata(&path).ok().map(|metadata| metadata.permissions());
        if permissions.as_ref().is_some_and(fs::Permissions::readonly) {
            return Err(io::Error::new(io::ErrorKind::PermissionDenied, "the file is read-only"));
        }
        let mut file =
            tempfile::Builder::new().prefix(".overwinter-").suffix(".tmp").tempfile_in(folder)?;
        file.write_all(bytes)?;
        match permissions {
            Some(permissions) => file.as_file().set_permissions(permissions)?,
            None => readable_by_others(file.as_file())?,
        }
        file.as_file().sync_all()?;
        file.persist(&path).map_err(|error| error.error)?;
        sync_folder(folder);
        Ok(())
    }
}

/// A temporary file is for its owner alone; a new document is like any other file.
#[cfg(unix)]
fn readable_by_others(file: &fs::File) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    file.set_permissions(fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn readable_by_others(_: &fs::File) -> io::Result<()> {
    Ok(())
}

/// The rename itself reaches the disk; where the system cannot do that for folders, nothing is lost but time.
fn sync_folder(folder: &Path) {
    if let Ok(folder) = fs::File::open(folder) {
        let _ = folder.sync_all();
    }
}

/// Writes `text` at a path below `root`, making the folders between.
///
/// # Errors
/// The path leads out of the folder, or the system refuses; nothing is half-written.
pub fn write_file(root: &Path, relative: &str, text: &str) -> Result<PathBuf, StoreError> {
    write_file_with(&mut FileWriter, root, relative, text)
}

/// [`write_file`] through a writer of your own.
///
/// # Errors
/// As [`write_file`].
pub fn write_file_with(
    writer: &mut dyn Writer,
    root: &Path,
    relative: &str,
    text: &str,
) -> Result<PathBuf, StoreError> {
    let path = below(root, relative)?;
    if let Some(parent) = path.parent() {
        fs::create_dir_all(parent).map_err(|error| StoreError::write(&path, error))?;
    }
    writer.replace(&path, text.as_bytes()).map_err(|error| StoreError::write(&path, error))?;
    Ok(path)
}

/// `root` joined with a relative path that stays below it.
pub(crate) fn below(root: &Path, relative: &str) -> Result<PathBuf, StoreError> {
    let path = Path::new(relative);
    let stays =
        path.components().all(|part| matches!(part, Component::Normal(_))) && !relative.is_empty();
    if stays { Ok(root.join(path)) } else { Err(StoreError::Outside { path: path.to_owned() }) }
}

/// Makes a bench folder of `(relative path, text)` pairs with the schemas beside them, in a folder that is new or empty.
///
/// # Errors
/// The folder is not empty, a path leads out of it, or the system refuses; then what this call made is removed again.
pub fn create_folder<'a>(
    root: &Path,
    files: impl IntoIterator<Item = (&'a str, &'a str)>,
) -> Result<(), StoreError> {
    let existed = match fs::read_dir(root) {
        Ok(mut entries) => {
            if entries.next().is_some() {
                return Err(StoreError::NotEmpty { path: root.to_owned() });
            }
            true
        }
        Err(error) if error.kind() == io::ErrorKind::NotFound => false,
        Err(error) if error.kind() == io::ErrorKind::NotADirectory => {
            return Err(StoreError::NotAFolder { path: root.to_owned() });
        }
        Err(error) => return Err(StoreError::read(root, error)),
    };
    let made = fill(root, files);
    if made.is_err() {
        undo(root, existed);
    }
    made
}

fn fill<'a>(
    root: &Path,
    files: impl IntoIterator<Item = (&'a str, &'a str)>,
) -> Result<(), StoreError> {
    fs::create_dir_all(root).map_err(|error| StoreError::write(root, error))?;
    for (relative, text) in files {
        write_file(root, relative, text)?;
    }
    for (name, text) in schemas() {
        write_file(root, &format!("schemas/{name}"), &text)?;
    }
    Ok(())
}

/// Removes what was made in a folder that was new or empty before.
fn undo(root: &Path, existed: bool) {
    if existed {
        for entry in fs::read_dir(root).into_iter().flatten().flatten() {
            let path = entry.path();
            let _ = if path.is_dir() { fs::remove_dir_all(path) } else { fs::remove_file(path) };
        }
    } else {
        let _ = fs::remove_dir_all(root);
    }
}
