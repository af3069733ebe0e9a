//! The published page and the app on loopback: the folder's documents handed to `overwinter-server`.

use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use overwinter_documents::{Date, Diagnostic};
use overwinter_recordings::answer::Recordings;
use overwinter_server::{
    DRAWS, Documents, NotBuilt, Publication, SaveFault, bind, is_built, prepare, publish,
};
use overwinter_store::{Limits, read_beside, read_files, write_file};
use overwinter_workbench::ask::Waiting;
use overwinter_workbench::bench::Bench;
use overwinter_workbench::trace_report::{TraceReply, TraceRequest};

use crate::shown;

/// The documents of a folder on disk, and what could not be read of them.
fn documents(folder: &Path) -> Result<Vec<(String, String)>, String> {
    let (files, _) = read_files(folder, Limits::default()).map_err(|error| error.to_string())?;
    Ok(files)
}

/// Writes the folder as one page that needs no server and no network.
pub(crate) fn write(
    folder: &Path,
    file: &Path,
    title: &str,
    licence: &str,
    date: Option<Date>,
) -> Result<()> {
    // Said before the choosing, which takes its time.
    if !is_built() {
        return Err(NotBuilt.into());
    }
    let files = documents(folder).map_err(anyhow::Error::msg)?;
    let (bench, _) = Bench::read(files.clone());
    let prepared =
        prepare(&bench, DRAWS, |project| anstream::eprintln!("choosing for {project} …"));
    let traces = overwinter_recordings::publish::published(&bench, folder);
    for one in &traces {
        if let Some(problem) = &one.recording.problem {
            anstream::eprintln!("recording {}: {problem}", one.recording.name);
        }
    }
    let page = publish(&files, &prepared, &traces, &publication(title, licence, date))?;
    let name = file.file_name().and_then(|n| n.to_str()).context("the page needs a file name")?;
    let parent = file.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    write_file(parent, name, &page).with_context(|| format!("cannot write {}", shown(file)))?;
    Ok(())
}

fn publication(title: &str, licence: &str, date: Option<Date>) -> Publication {
    Publication {
        title: title.to_owned(),
        licence: licence.to_owned(),
        date: date.unwrap_or_else(today).to_string(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
    }
}

/// Today in universal time; the clock is read here and nowhere deeper.
pub(crate) fn today() -> Date {
    let seconds = std::time::SystemTime::now()
        .duration_since(std::time::UNIX_EPOCH)
        .map_or(0, |since| since.as_secs());
    let days = i64::try_from(seconds / 86_400).unwrap_or(0);
    let year = u16::try_from(1970 + days / 366).unwrap_or(1970);
    (year..=year.saturating_add(2))
        .flat_map(|y| (1..=12).flat_map(move |m| (1..=31).filter_map(move |d| Date::new(y, m, d))))
        .find(|date| date.days_since_epoch() == days)
        .unwrap_or(Date { year: 1970, month: 1, day: 1 })
}

/// Serves the folder on 127.0.0.1 until the process ends; `tell` gets the address.
pub(crate) fn serve(
    folder: &Path,
    title: &str,
    port: u16,
    tell: impl FnOnce(&str) -> Result<()>,
) -> Result<()> {
    documents(folder).map_err(anyhow::Error::msg)?;
    let serving =
        bind(Box::new(OnDisk::new(folder)), &publication(title, "not published", None), port)?;
    tell(&serving.address())?;
    serving.run()?;
    Ok(())
}

struct OnDisk {
    folder: PathBuf,
    recordings: Recordings,
}

impl OnDisk {
    fn new(folder: &Path) -> Self {
        Self { folder: folder.to_owned(), recordings: Recordings::new(folder) }
    }
}

impl Documents for OnDisk {
    fn read(&self) -> Result<Vec<(String, String)>, String> {
        documents(&self.folder)
    }

    fn save(&self, path: &str, was: Option<&str>, text: &str) -> Result<(), SaveFault> {
        let now = match std::fs::read_to_string(self.folder.join(path)) {
            Ok(now) => Some(now),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => None,
            Err(error) => return Err(SaveFault::Failed(format!("cannot read {path}: {error}"))),
        };
        if now.as_deref() != was {
            return Err(SaveFault::Changed { path: path.to_owned(), now });
        }
        write_file(&self.folder, path, text)
            .map_err(|error| SaveFault::Failed(error.to_string()))?;
        Ok(())
    }

    fn beside(&self, path: &str) -> Result<String, Box<Diagnostic>> {
        read_beside(&self.folder, path).map_err(|error| Box::new(error.diagnostic()))
    }

    fn trace(&self, bench: &Bench, request: &TraceRequest, waiting: Waiting<'_>) -> TraceReply {
        self.recordings.answer(bench, request, waiting)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_changed_meanwhile_is_left_as_it_is() {
        let folder = std::env::temp_dir().join(format!("overwinter-page-{}", std::process::id()));
        std::fs::create_dir_all(folder.join("boards")).unwrap();
        let path = "boards/a.toml";
        std::fs::write(folder.join(path), "[board]\nname = \"A\"\n").unwrap();
        let on_disk = OnDisk::new(&folder);
        let read = on_disk.read().unwrap();
        assert_eq!(read, [(path.to_owned(), "[board]\nname = \"A\"\n".to_owned())]);
        assert!(matches!(
            on_disk.save(path, Some("old"), "new"),
            Err(SaveFault::Changed { now: Some(_), .. })
        ));
        on_disk.save(path, Some(&read[0].1), "[board]\nname = \"B\"\n").unwrap();
        assert_eq!(std::fs::read_to_string(folder.join(path)).unwrap(), "[board]\nname = \"B\"\n");
        std::fs::remove_dir_all(folder).unwrap();
    }

    #[test]
    fn today_is_in_this_century() {
        assert!(today() > Date::new(2026, 1, 1).unwrap());
    }
}
