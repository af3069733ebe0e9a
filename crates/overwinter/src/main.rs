//! The command line: arguments in, reports rendered out. Results on standard output, everything else on standard error.
#![forbid(unsafe_code)]

mod args;
mod bench;
mod chart;
mod measure;
mod page;
mod render;
mod spreadsheet;
mod sun;
mod trace;

use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

use anyhow::{Context, Result};
use clap::{CommandFactory, Parser};
use overwinter_documents::Diagnostic;
use overwinter_workbench::ask::{Reply, Request, ask};
use overwinter_workbench::bench::Bench;
use overwinter_workbench::bill::bill;
use overwinter_workbench::question::QuestionError;
use overwinter_workbench::report::{NeedVerdict, SCHEMA_VERSION};

use args::{Arguments, Command, Common, Draws, Format};
use bench::{Refusal, read};

/// Exit statuses; documented in the help.
const FINE: u8 = 0;
const ANSWER_IS_NO: u8 = 1;
const BAD_INPUT: u8 = 2;

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    match run(&arguments) {
        Ok(status) => ExitCode::from(status),
        Err(error) if is_broken_pipe(&error) => ExitCode::from(FINE),
        Err(error) => {
            match error.downcast_ref::<Refusal>() {
                Some(refusal) => anstream::eprint!("{}", refusal.text(arguments.common.format)),
                None => anstream::eprintln!("error: {error:#}"),
            }
            ExitCode::from(BAD_INPUT)
        }
    }
}

/// Whether the reader of standard output went away: not an error of ours.
fn is_broken_pipe(error: &anyhow::Error) -> bool {
    error.chain().any(|cause| {
        cause
            .downcast_ref::<std::io::Error>()
            .is_some_and(|e| e.kind() == std::io::ErrorKind::BrokenPipe)
    })
}

fn run(arguments: &Arguments) -> Result<u8> {
    let common = &arguments.common;
    match &arguments.command {
        Command::Demo { folder } => {
            let files = overwinter_workbench::demo::FILES;
            bench::create(folder, files)?;
            let traces = overwinter_recordings::demo::write(folder)
                .map_err(|error| anyhow::Error::from(Refusal(vec![error.diagnostic()])))?;
            say(&format!(
                "Wrote the demo, {} files and {traces} traces, to {}\nNext:  overwinter -C {1} choose footbridges\n",
                files.len(),
                folder.display()
            ))?;
            Ok(FINE)
        }
        Command::New { folder } => {
            let files = overwinter_workbench::starter::FILES;
            bench::create(folder, files)?;
            say(&format!(
                "Wrote {} commented examples to {}; edit them, then:  overwinter check\n",
                files.len(),
                folder.display()
            ))?;
            Ok(FINE)
        }
        Command::Table { columns, sort, conditions, specimens } => {
            if columns.iter().any(|c| c == "?") {
                return list_columns(common);
            }
            let request = Request::Table {
                columns: columns.clone(),
                sort: sort.clone(),
                filter: conditions.clone(),
                specimens: *specimens,
            };
            answer(common, request)
        }
        Command::Choose { project, draws } => {
            let Draws { draws, seed } = *draws;
            let mut bench = read(&common.folder, common.format)?;
            // Only the need on outages asks the sun.
            let asking =
                bench.project(project).filter(|p| p.needs.outage.is_some() && p.panel.is_some());
            let site = asking.and_then(|p| p.site.clone());
            sun::attach_weather(&mut bench, common, site.as_deref())?;
            let request = Request::Choose { project: project.clone(), draws, seed };
            answer_from(common, &bench, request)
        }
        Command::Forecast { board, project, specimen, draws } => {
            let bench = read(&common.folder, common.format)?;
            let project = match project {
                Some(name) => name.clone(),
                None => only_project(&bench)?,
            };
            let Draws { draws, seed } = *draws;
            let request = Request::Forecast {
                board: board.clone(),
                specimen: specimen.clone(),
                project,
                draws,
                seed,
            };
            answer_from(common, &bench, request)
        }
        Command::Bill { board, specimen } => {
            let bench = read(&common.folder, common.format)?;
            let found = bench.board(board).ok_or_else(|| {
                Refusal::question(&QuestionError::no_such(
                    "board",
                    board,
                    bench.boards().map(|b| b.name.as_str()),
                ))
            })?;
            let report = bill(&bench, found, specimen.as_deref())
                .map_err(|e| Refusal::question(&e.into()))?;
            match common.format {
                Format::Human => say(&render::bill::bill(&report))?,
                Format::Json => json(&report)?,
                Format::Csv => say(&spreadsheet::bill(&report)?)?,
            }
            Ok(FINE)
        }
        Command::Measure(command) => measure::run(common, command),
        Command::Trace { command } => trace::run(common, command),
        Command::Sun(command) => sun::run(common, command),
        Command::Check => check(common),
        Command::Schemas { folder } => {
            let files = overwinter_documents::schemas();
            bench::write_all(folder, &files)?;
            say(&format!("Wrote {} schemas to {}\n", files.len(), folder.display()))?;
            Ok(FINE)
        }
        Command::Publish { file, title, licence, date } => {
            read(&common.folder, common.format)?;
            page::write(&common.folder, file, title, licence, *date)?;
            say(&format!("Wrote {}; open it from disk or put it on any web host\n", shown(file)))?;
            Ok(FINE)
        }
        Command::Serve { port, title } => {
            page::serve(&common.folder, title, *port, |address| {
                say(&format!("{address}\nCtrl-C ends it.\n"))
            })?;
            Ok(FINE)
        }
        Command::Export { european } => {
            let bench = read(&common.folder, common.format)?;
            say(&spreadsheet::export(&bench, *european))?;
            Ok(FINE)
        }
        Command::Import { table, apply } => import(common, table, *apply),
        Command::Completions { shell } => {
            let mut text = Vec::new();
            clap_complete::generate(*shell, &mut Arguments::command(), "overwinter", &mut text);
            say(&String::from_utf8(text)?)?;
            Ok(FINE)
        }
        Command::Man => {
            let mut text = Vec::new();
            clap_mangen::Man::new(Arguments::command()).render(&mut text)?;
            say(&String::from_utf8(text)?)?;
            Ok(FINE)
        }
    }
}

fn only_project(bench: &Bench) -> Result<String> {
    let names: Vec<&str> = bench.projects().map(|p| p.name.as_str()).collect();
    match names.as_slice() {
        [one] => Ok((*one).to_owned()),
        _ => Err(Refusal::question(&QuestionError::NoSuch {
            kind: "project",
            name: "(not named)".into(),
            help: if names.is_empty() {
                "the folder has no project yet; write one in projects/".into()
            } else {
                format!("say which with --project: {}", names.join(", "))
            },
        })
        .into()),
    }
}

fn answer(common: &Common, request: Request) -> Result<u8> {
    let bench = read(&common.folder, common.format)?;
    answer_from(common, &bench, request)
}

fn answer_from(common: &Common, bench: &Bench, request: Request) -> Result<u8> {
    let reply = ask(bench, request);
    match (&reply, common.format) {
        (Reply::Error(diagnostics), _) => return Err(Refusal(diagnostics.clone()).into()),
        (Reply::Table(report), Format::Human) => say(&render::table::table(report))?,
        (Reply::Table(report), Format::Json) => json(report)?,
        (Reply::Table(report), Format::Csv) => say(&spreadsheet::table(report)?)?,
        (Reply::Choice(report), Format::Human) => say(&render::choice::choice(report))?,
        (Reply::Choice(report), Format::Json) => json(report)?,
        (Reply::Choice(report), Format::Csv) => say(&spreadsheet::choice(report)?)?,
        (Reply::Forecast(report), Format::Human) => say(&render::forecast::forecast(report))?,
        (Reply::Forecast(report), Format::Json) => json(report)?,
        (Reply::Forecast(report), Format::Csv) => say(&spreadsheet::forecast(report)?)?,
        (reply, _) => json(reply)?,
    }
    let no = matches!(&reply, Reply::Choice(report) if report.boards.iter().all(|b| b.verdict == NeedVerdict::DoesNot));
    Ok(if no { ANSWER_IS_NO } else { FINE })
}

fn list_columns(common: &Common) -> Result<u8> {
    let all = overwinter_workbench::table::all_columns();
    if common.format == Format::Json {
        json(&all)?;
        return Ok(FINE);
    }
    let mut table = render::columns::Columns::new(&["key", "column", "group", "unit"]);
    for column in all {
        table.row(vec![column.key, column.title, column.group, column.unit.unwrap_or_default()]);
    }
    say(&table.text(render::width()))?;
    Ok(FINE)
}

fn check(common: &Common) -> Result<u8> {
    let (mut bench, mut findings) = bench::read_all(&common.folder)?;
    findings.extend(sun::attach_all_weather(&mut bench, &common.folder));
    findings.extend(overwinter_workbench::check::check(&bench));
    findings.extend(overwinter_recordings::files::check_files(bench.folder(), &common.folder));
    findings.sort_by(|a, b| b.severity.cmp(&a.severity).then_with(|| a.file.cmp(&b.file)));
    // Reading and asking may stumble over the same place.
    let line = |f: &Diagnostic| f.span.as_ref().map(|s| s.line);
    let mut seen: Vec<(Option<String>, Option<usize>, String)> = Vec::new();
    findings.retain(|f| {
        let key = (f.file.clone(), line(f), f.message.clone());
        let new = !seen.contains(&key);
        seen.push(key);
        new
    });
    if common.format == Format::Json {
        json(&serde_json::json!({ "schema_version": SCHEMA_VERSION, "findings": findings }))?;
    } else {
        say(&bench::render_all(&findings))?;
    }
    let worst = findings.iter().map(|f| f.severity).max();
    Ok(match worst {
        Some(overwinter_documents::Severity::Error) => BAD_INPUT,
        Some(overwinter_documents::Severity::Danger) => ANSWER_IS_NO,
        _ => FINE,
    })
}

/// Compares a table that came back from a spreadsheet with the folder; changes it only when told to.
fn import(common: &Common, table: &Path, apply: bool) -> Result<u8> {
    let bench = read(&common.folder, common.format)?;
    let text =
        std::fs::read_to_string(table).with_context(|| format!("cannot read {}", shown(table)))?;
    let proposed =
        overwinter_documents::sheet::propose(&spreadsheet::sheet(&bench), &shown(table), &text);
    if !proposed.diagnostics.is_empty() {
        anstream::eprint!("{}", bench::render_all(&proposed.diagnostics));
    }
    if common.format == Format::Json {
        json(
            &serde_json::json!({ "schema_version": SCHEMA_VERSION, "edits": proposed.edits, "findings": proposed.diagnostics }),
        )?;
    } else {
        say(&spreadsheet::edits(&proposed.edits))?;
    }
    if apply && !proposed.edits.is_empty() {
        let files = bench::apply(&common.folder, &proposed.edits)?;
        anstream::eprintln!("changed {}: {}", files.len(), files.join(", "));
    } else if !proposed.edits.is_empty() {
        anstream::eprintln!("nothing was changed; `--apply` writes these changes");
    }
    let errors = proposed.diagnostics.iter().any(overwinter_documents::Diagnostic::is_error);
    Ok(if errors { BAD_INPUT } else { FINE })
}

/// Writes a result to standard output.
fn say(text: &str) -> Result<()> {
    let mut out = anstream::stdout().lock();
    out.write_all(text.as_bytes()).context("cannot write to standard output")?;
    out.flush().context("cannot write to standard output")
}

fn json(value: &impl serde::Serialize) -> Result<()> {
    say(&(serde_json::to_string_pretty(value)? + "\n"))
}

/// A path as it is told to people.
pub(crate) fn shown(path: &Path) -> String {
    path.display().to_string()
}
