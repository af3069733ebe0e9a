//! Writes a trace by board and day as plain Parquet, for an engine that queries many machines' worth of it.
//!
//! ```text
//! cargo run --release -p overwinter-traces --example partition -- trace.csv north fleet
//! cargo run --release -p overwinter-traces --example partition -- undated.csv north fleet 1772323200
//! ```
//! The last argument says when an undated trace's own zero was, in seconds since 1970.
#![allow(clippy::print_stdout, reason = "an example prints")]

use overwinter_traces::{Control, Options, Partition, Source, partition};
use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    match run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            eprintln!("{e}");
            ExitCode::FAILURE
        }
    }
}

fn run() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let (trace, board, folder, start) = match arguments.as_slice() {
        [t, b, f] => (t, b, f, None),
        [t, b, f, s] => (t, b, f, Some(s.parse()?)),
        _ => return Err("say trace, board and folder, and for an undated trace its start".into()),
    };
    let source = Source::open(Path::new(trace))?;
    let stem =
        Path::new(trace).file_stem().map_or_else(String::new, |s| s.to_string_lossy().into_owned());
    let to =
        Partition { folder: folder.into(), board: board.clone(), part: stem, start_unix_s: start };
    let (a, parts) = partition(source, None, &Options::default(), &to, &mut |_| Control::Continue)?;
    println!("{} samples, {:.6} C", a.extent.samples, a.current.charge_c);
    for p in parts {
        println!("{}", p.display());
    }
    Ok(())
}
