//! Serves the demo bench, for a look and for the browser tests: `serve_demo [PORT [FOLDER]]`; prints its address. Without a
//! folder it is kept in memory; a new or empty folder is filled with the demo first.
#![allow(clippy::print_stdout, reason = "the address is this program's result")]
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Mutex;

use overwinter_documents::Diagnostic;
use overwinter_server::{Documents, Publication, SaveFault, bind};
use overwinter_workbench::demo::FILES;

struct Memory(Mutex<BTreeMap<String, String>>);

impl Documents for Memory {
    fn read(&self) -> Result<Vec<(String, String)>, String> {
        let files = self.0.lock().map_err(|error| error.to_string())?;
        Ok(files.iter().map(|(path, text)| (path.clone(), text.clone())).collect())
    }

    fn save(&self, path: &str, was: Option<&str>, text: &str) -> Result<(), SaveFault> {
        let mut files = self.0.lock().map_err(|error| SaveFault::Failed(error.to_string()))?;
        if files.get(path).map(String::as_str) != was {
            return Err(SaveFault::Changed {
                path: path.to_owned(),
                now: files.get(path).cloned(),
            });
        }
        files.insert(path.to_owned(), text.to_owned());
        Ok(())
    }
}

/// A folder on disk.
struct OnDisk(PathBuf);

impl Documents for OnDisk {
    fn read(&self) -> Result<Vec<(String, String)>, String> {
        let read = overwinter_store::read_files(&self.0, overwinter_store::Limits::default());
        read.map(|(files, _)| files).map_err(|error| error.to_string())
    }

    fn save(&self, path: &str, was: Option<&str>, text: &str) -> Result<(), SaveFault> {
        let now = std::fs::read_to_string(self.0.join(path)).ok();
        if now.as_deref() != was {
            return Err(SaveFault::Changed { path: path.to_owned(), now });
        }
        overwinter_store::write_file(&self.0, path, text)
            .map(|_| ())
            .map_err(|error| SaveFault::Failed(error.to_string()))
    }

    fn beside(&self, path: &str) -> Result<String, Box<Diagnostic>> {
        overwinter_store::read_beside(&self.0, path).map_err(|error| Box::new(error.diagnostic()))
    }
}

fn main() -> ExitCode {
    let port = std::env::args().nth(1).and_then(|text| text.parse().ok()).unwrap_or(0);
    let folder = std::env::args().nth(2).map(PathBuf::from);
    let files = FILES.iter().filter(|(path, _)| path.contains('/'));
    let documents: Box<dyn Documents> = if let Some(folder) = folder {
        if std::fs::read_dir(&folder).map_or(true, |mut entries| entries.next().is_none())
            && let Err(error) = overwinter_store::create_folder(&folder, files.copied())
        {
            eprintln!("{error}");
            return ExitCode::FAILURE;
        }
        Box::new(OnDisk(folder))
    } else {
        let files = files.map(|(path, text)| ((*path).to_owned(), (*text).to_owned())).collect();
        Box::new(Memory(Mutex::new(files)))
    };
    let publication = Publication {
        title: "The drawer of the footbridge club".into(),
        licence: "demo data, free of rights".into(),
        date: "2026-07-01".into(),
        version: env!("CARGO_PKG_VERSION").into(),
    };
    let run = bind(documents, &publication, port).and_then(|serving| {
        println!("{}", serving.address());
        serving.run()
    });
    match run {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}
