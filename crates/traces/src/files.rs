//! Files that appear whole or not at all.

use std::io;
use std::path::Path;
use tempfile::NamedTempFile;

/// A file that is being written beside its place; it goes away by itself unless it is put there. Whoever may read the person's other new
/// files may read this one.
pub(crate) fn unfinished_in(folder: &Path) -> io::Result<NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(".unfinished-");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        // The system takes off what the person's mask forbids.
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    builder.tempfile_in(folder)
}
