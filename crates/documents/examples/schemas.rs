//! Writes the JSON Schemas of the documents to `schemas/`, or with `--check` fails if a committed one is out of date.
#![allow(clippy::print_stderr, reason = "a build helper talks to its user")]

use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../schemas");
    let check = std::env::args().any(|argument| argument == "--check");
    let mut stale = Vec::new();
    for (name, text) in overwinter_documents::schemas() {
        let path = folder.join(&name);
        if check {
            if std::fs::read_to_string(&path).ok().as_deref() != Some(&text) {
                stale.push(name);
            }
        } else if let Err(error) =
            std::fs::create_dir_all(&folder).and_then(|()| std::fs::write(&path, text))
        {
            eprintln!("cannot write {}: {error}", path.display());
            return ExitCode::FAILURE;
        }
    }
    if stale.is_empty() {
        return ExitCode::SUCCESS;
    }
    eprintln!("out of date: {}; run `cargo xtask schemas` and commit", stale.join(", "));
    ExitCode::FAILURE
}
