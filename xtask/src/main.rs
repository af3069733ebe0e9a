//! The repository's own helper.
//!
//! `cargo xtask demo` builds the tool and runs the demo; `cargo xtask test` is what the continuous integration runs;
//! `cargo xtask bench NAME` measures; `cargo xtask schemas` writes the JSON Schemas from the types.
#![forbid(unsafe_code)]
#![allow(clippy::print_stdout, reason = "a helper talks on standard output")]

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use anyhow::{Context, Result, bail};

/// The benchmarks: name, package, bench target.
const BENCHES: &[(&str, &str, &str)] = &[
    ("forecast", "overwinter-engine", "forecast"),
    ("choice", "overwinter", "choice"),
    ("figures", "overwinter-figures", "figures"),
    ("traces", "overwinter-traces", "traces"),
    ("sun", "overwinter-sun", "sun"),
];

const HELP: &str = "\
cargo xtask demo             build the tool, write the demo bench folder, answer its question
cargo xtask test             formatting, lints, schemas, all tests (what the continuous integration runs)
cargo xtask bench NAME       measure: forecast, choice, figures, traces, sun
cargo xtask schemas          write the JSON Schemas from the types
cargo xtask schemas --check  fail if the committed schemas are out of date";

fn main() -> Result<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match words.as_slice() {
        ["demo"] => demo(),
        ["test"] => test(),
        ["bench", name] => bench(name),
        ["schemas"] => schemas(&[]),
        ["schemas", "--check"] => schemas(&["--check"]),
        _ => {
            println!("{HELP}");
            if words.is_empty() || words == ["help"] || words == ["--help"] {
                return Ok(());
            }
            bail!("unknown command: {}", words.join(" "))
        }
    }
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("xtask lies in the workspace").to_owned()
}

fn cargo(arguments: &[&str]) -> Result<()> {
    run(&std::env::var("CARGO").unwrap_or_else(|_| "cargo".into()), arguments)
}

fn run(program: &str, arguments: &[&str]) -> Result<()> {
    println!(
        "» {} {}",
        Path::new(program).file_name().map_or(program.into(), |n| n.to_string_lossy()),
        arguments.join(" ")
    );
    let started = Instant::now();
    let status = Command::new(program)
        .args(arguments)
        .current_dir(root())
        .status()
        .with_context(|| format!("cannot start {program}"))?;
    if !status.success() {
        bail!("{program} {} ended with {status}", arguments.join(" "));
    }
    println!("  ({:.1} s)", started.elapsed().as_secs_f64());
    Ok(())
}

fn demo() -> Result<()> {
    cargo(&["build", "--release", "--package", "overwinter"])?;
    let target =
        std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| root().join("target"), PathBuf::from);
    let tool = target.join("release").join(format!("overwinter{}", std::env::consts::EXE_SUFFIX));
    let tool = tool.to_str().context("the target folder's name is not UTF-8")?;
    let folder = target.join("demo-bench");
    let folder = folder.to_str().context("the target folder's name is not UTF-8")?;
    if !Path::new(folder).exists() {
        run(tool, &["demo", folder])?;
    }
    run(tool, &["table", "--folder", folder])?;
    run(tool, &["choose", "footbridges", "--folder", folder])?;
    println!("The demo folder is {folder}; try: {tool} --help");
    Ok(())
}

fn test() -> Result<()> {
    cargo(&["fmt", "--all", "--check"])?;
    cargo(&["clippy", "--workspace", "--all-targets", "--", "--deny", "warnings"])?;
    schemas(&["--check"])?;
    cargo(&["test", "--workspace"])
}

fn bench(name: &str) -> Result<()> {
    let Some((_, package, target)) = BENCHES.iter().find(|(n, ..)| *n == name) else {
        let names: Vec<&str> = BENCHES.iter().map(|(n, ..)| *n).collect();
        bail!("no benchmark named {name}; there are: {}", names.join(", "));
    };
    cargo(&["bench", "--package", package, "--bench", target, "--all-features"])
}

fn schemas(arguments: &[&str]) -> Result<()> {
    let mut all =
        vec!["run", "--quiet", "--package", "overwinter-documents", "--example", "schemas", "--"];
    all.extend(arguments);
    cargo(&all)
}
