//! Writes the published page of the demo bench, for a look and for the browser tests: `publish_demo FILE [DRAWS]`.
use std::process::ExitCode;

use overwinter_server::{DRAWS, Publication, prepare, publish};
use overwinter_workbench::bench::Bench;
use overwinter_workbench::demo::FILES;

fn main() -> ExitCode {
    let mut arguments = std::env::args().skip(1);
    let Some(file) = arguments.next() else {
        eprintln!("usage: publish_demo FILE [DRAWS]");
        return ExitCode::from(2);
    };
    let draws = arguments.next().and_then(|text| text.parse().ok()).unwrap_or(DRAWS);
    let files: Vec<(String, String)> = FILES
        .iter()
        .filter(|(path, _)| path.contains('/'))
        .map(|(path, text)| ((*path).to_owned(), (*text).to_owned()))
        .collect();
    let (bench, _) = Bench::read(files.clone());
    let prepared = prepare(&bench, draws, |project| eprintln!("» choosing for {project}"));
    let publication = Publication {
        title: "The drawer of the footbridge club".into(),
        licence: "demo data, free of rights".into(),
        date: "2026-07-01".into(),
        version: env!("CARGO_PKG_VERSION").into(),
    };
    let written = publish(&files, &prepared, &[], &publication)
        .map_err(|error| error.to_string())
        .and_then(|page| std::fs::write(&file, page).map_err(|error| error.to_string()));
    match written {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}
