//! Serves the demo bench from memory, for a look and for the browser tests: `serve_demo [PORT]`; prints its address.
#![allow(clippy::print_stdout, reason = "the address is this program's result")]
use std::collections::BTreeMap;
use std::process::ExitCode;
use std::sync::Mutex;

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

fn main() -> ExitCode {
    let port = std::env::args().nth(1).and_then(|text| text.parse().ok()).unwrap_or(0);
    let files = FILES.iter().filter(|(path, _)| path.contains('/'));
    let files = files.map(|(path, text)| ((*path).to_owned(), (*text).to_owned())).collect();
    let publication = Publication {
        title: "The drawer of the footbridge club".into(),
        licence: "demo data, free of rights".into(),
        date: "2026-07-01".into(),
        version: env!("CARGO_PKG_VERSION").into(),
    };
    let run = bind(Box::new(Memory(Mutex::new(files))), &publication, port).and_then(|serving| {
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
