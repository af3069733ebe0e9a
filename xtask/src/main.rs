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
    ("figures", "overwinter-workbench", "figures"),
    ("traces", "overwinter-traces", "traces"),
    ("sun", "overwinter-sun", "sun"),
];

const HELP: &str = "\
cargo xtask demo             build the tool, write the demo bench folder, answer its question
cargo xtask test             formatting, lints, schemas, all tests, those in a real browser too (what the continuous integration runs; needs Node)
cargo xtask bench NAME       measure: forecast, choice, figures, traces, sun, page (the page in a real Chromium)
cargo xtask app              build page and app (needs Node; gets the rest), then rebuild the tool
cargo xtask app test         the tests in a real browser
cargo xtask picture          draw the README's picture from the tool's real output
cargo xtask schemas          write the JSON Schemas from the types
cargo xtask schemas --check  fail if the committed schemas are out of date";

fn main() -> Result<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match words.as_slice() {
        ["demo"] => demo(),
        ["test"] => test(),
        ["bench", "page"] => run("bash", &["app/bench.sh"]),
        ["bench", name] => bench(name),
        ["app"] => run("bash", &["app/build.sh"]),
        ["app", "test"] => run("bash", &["app/test.sh"]),
        ["picture"] => picture(),
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
    let (tool, folder) = built_demo()?;
    run(&tool, &["table", "--folder", &folder])?;
    run(&tool, &["choose", "footbridges", "--folder", &folder])?;
    println!("The demo folder is {folder}; try: {tool} --help");
    Ok(())
}

/// Draws `docs/choice.svg`: the first lines of the demo's choice as text in an SVG, light and dark.
fn picture() -> Result<()> {
    let (tool, folder) = built_demo()?;
    let output = Command::new(&tool)
        .args(["choose", "footbridges", "--folder", &folder])
        .env("NO_COLOR", "1")
        .output()
        .context("cannot run the tool")?;
    let text = String::from_utf8(output.stdout).context("the tool's output is not UTF-8")?;
    let lines: Vec<&str> = text.lines().take(30).collect();
    let columns = lines.iter().map(|l| l.chars().count()).max().unwrap_or(80);
    let (width, height) = (columns as f64 * 8.43 + 32.0, lines.len() as f64 * 19.0 + 32.0);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width:.0} {height:.0}\" role=\"img\" aria-label=\"Output of overwinter choose footbridges\">\n\
<style>text{{font:14px ui-monospace,'DejaVu Sans Mono',monospace;white-space:pre;fill:#1d2529}}rect{{fill:#f7f6f2}}\
@media(prefers-color-scheme:dark){{text{{fill:#dfe4e2}}rect{{fill:#171b1d}}}}</style>\n<rect width=\"100%\" height=\"100%\" rx=\"6\"/>\n"
    );
    for (row, line) in lines.iter().enumerate() {
        let escaped = line.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
        let y = 30.0 + row as f64 * 19.0;
        svg.push_str(&format!(
            "<text x=\"16\" y=\"{y:.0}\" xml:space=\"preserve\">{escaped}</text>\n"
        ));
    }
    svg.push_str("</svg>\n");
    let path = root().join("docs");
    std::fs::create_dir_all(&path)?;
    std::fs::write(path.join("choice.svg"), svg).context("cannot write docs/choice.svg")
}

/// Builds the tool and, once, the demo folder; paths of both.
fn built_demo() -> Result<(String, String)> {
    cargo(&["build", "--release", "--package", "overwinter"])?;
    let target =
        std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| root().join("target"), PathBuf::from);
    let tool = target.join("release").join(format!("overwinter{}", std::env::consts::EXE_SUFFIX));
    let tool = tool.to_str().context("the target folder's name is not UTF-8")?.to_owned();
    let folder = target.join("demo-bench");
    let folder = folder.to_str().context("the target folder's name is not UTF-8")?.to_owned();
    if !Path::new(&folder).exists() {
        run(&tool, &["demo", &folder])?;
    }
    Ok((tool, folder))
}

fn test() -> Result<()> {
    cargo(&["fmt", "--all", "--check"])?;
    cargo(&["clippy", "--workspace", "--all-targets", "--", "--deny", "warnings"])?;
    schemas(&["--check"])?;
    cargo(&[
        "run",
        "--quiet",
        "--package",
        "overwinter-workbench",
        "--features",
        "typescript",
        "--example",
        "typescript",
        "--",
        "--check",
    ])?;
    // The server's tests take the built page in, so it is built first.
    run("bash", &["app/build.sh"])?;
    cargo(&["test", "--workspace"])?;
    run("bash", &["app/test.sh"])
}

fn bench(name: &str) -> Result<()> {
    let Some((_, package, target)) = BENCHES.iter().find(|(n, ..)| *n == name) else {
        let names: Vec<&str> = BENCHES.iter().map(|(n, ..)| *n).collect();
        bail!("no benchmark named {name}; there are: {}", names.join(", ") + ", page");
    };
    cargo(&["bench", "--package", package, "--bench", target, "--all-features"])
}

fn schemas(arguments: &[&str]) -> Result<()> {
    let mut all =
        vec!["run", "--quiet", "--package", "overwinter-documents", "--example", "schemas", "--"];
    all.extend(arguments);
    cargo(&all)
}
