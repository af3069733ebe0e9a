//! Files that appear whole or not at all.

use std::fs::File;
use std::io;
use std::path::Path;
use std::time::Duration;
use tempfile::NamedTempFile;

const UNFINISHED: &str = ".unfinished-";
const LEFT_BEHIND: Duration = Duration::from_hours(1);

/// A file that is being written beside its place; it goes away by itself unless it is put there. Whoever may read the person's other new
/// files may read this one.
pub(crate) fn unfinished_in(folder: &Path) -> io::Result<NamedTempFile> {
    clear_leftovers(folder, UNFINISHED);
    let mut builder = tempfile::Builder::new();
    builder.prefix(UNFINISHED);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        // The system takes off what the person's mask forbids.
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    let file = builder.tempfile_in(folder)?;
    // Locked as long as it is written: how another process tells it from one that was left behind. Where there are no locks, age alone tells.
    let _ = file.as_file().try_lock();
    Ok(file)
}

/// Takes away hidden files of this tool that a process left which was killed: not locked by anyone and not touched for an hour.
/// What cannot be looked at or taken away stays; it harms nothing.
pub fn clear_leftovers(folder: &Path, prefix: &str) {
    let hidden = |name: &str| name.starts_with(prefix) && prefix.starts_with('.');
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        if !entry.file_name().to_str().is_some_and(hidden) {
            continue;
        }
        let old = entry
            .metadata()
            .ok()
            .filter(std::fs::Metadata::is_file)
            .and_then(|m| m.modified().ok()?.elapsed().ok())
            .is_some_and(|age| age > LEFT_BEHIND);
        if old && File::open(entry.path()).is_ok_and(|f| f.try_lock().is_ok()) {
            let _ = std::fs::remove_file(entry.path());
        }
    }
}
