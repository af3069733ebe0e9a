//! Files that lie beside the documents and are named in them: a weather file.

use std::fs;
use std::io::Read;
use std::path::Path;

use crate::error::StoreError;
use crate::write::below;

/// Largest file beside the documents that is read, in bytes: a century of hours with ten columns fits.
pub const BESIDE_BYTES: u64 = 128 << 20;

/// The text of a file inside the folder. It may be UTF-8 or, as many instruments still write, Latin-1.
///
/// # Errors
/// The path leads out of the folder (also by a link), the file is not there, no plain file, or larger than [`BESIDE_BYTES`].
pub fn read_beside(root: &Path, relative: &str) -> Result<String, StoreError> {
    let path = below(root, relative)?;
    let real = |path: &Path| fs::canonicalize(path).map_err(|error| StoreError::read(path, error));
    // A link inside the folder may still lead out of it.
    let (home, found) = (real(root)?, real(&path)?);
    if !found.starts_with(&home) {
        return Err(StoreError::Outside { path: relative.into() });
    }
    let metadata = fs::metadata(&found).map_err(|error| StoreError::read(&path, error))?;
    if !metadata.is_file() {
        return Err(StoreError::NotAFile { path });
    }
    let too_large = |bytes| StoreError::TooLarge { path: path.clone(), bytes, most: BESIDE_BYTES };
    if metadata.len() > BESIDE_BYTES {
        return Err(too_large(metadata.len()));
    }
    let mut bytes = Vec::with_capacity(metadata.len() as usize + 1);
    fs::File::open(&found)
        .and_then(|file| file.take(BESIDE_BYTES + 1).read_to_end(&mut bytes))
        .map_err(|error| StoreError::read(&path, error))?;
    if bytes.len() as u64 > BESIDE_BYTES {
        return Err(too_large(bytes.len() as u64));
    }
    Ok(String::from_utf8(bytes)
        .unwrap_or_else(|error| error.into_bytes().into_iter().map(char::from).collect()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_plain_files_inside_are_read() {
        let base = std::env::temp_dir().join(format!("overwinter-beside-{}", std::process::id()));
        let root = base.join("bench");
        fs::create_dir_all(root.join("weather")).unwrap();
        fs::write(base.join("secret.csv"), "no").unwrap();
        fs::write(root.join("weather/hut.csv"), b"time;T \xb0C\n").unwrap();
        assert_eq!(read_beside(&root, "weather/hut.csv").unwrap(), "time;T °C\n");
        for outside in ["../secret.csv", "/etc/hostname", "weather/../../secret.csv", ""] {
            assert!(
                matches!(read_beside(&root, outside), Err(StoreError::Outside { .. })),
                "{outside}"
            );
        }
        assert!(matches!(read_beside(&root, "weather"), Err(StoreError::NotAFile { .. })));
        assert!(matches!(read_beside(&root, "weather/no.csv"), Err(StoreError::Read { .. })));
        #[cfg(unix)]
        {
            std::os::unix::fs::symlink(base.join("secret.csv"), root.join("weather/link.csv"))
                .unwrap();
            let linked = read_beside(&root, "weather/link.csv");
            assert!(matches!(linked, Err(StoreError::Outside { .. })), "{linked:?}");
        }
        fs::remove_dir_all(base).unwrap();
    }
}
