//! The trace commands: arguments in, reports of `overwinter_recordings` out.

mod args;
mod watch;

use std::path::{Path, PathBuf};
use std::time::Duration;

use anyhow::{Context, Result};
use overwinter_quantity::{Duration as Time, Voltage};
use overwinter_recordings::answer::{Recordings, project_of};
use overwinter_recordings::floor::{At, floor_reading};
use overwinter_recordings::keep::{New, keep};
use overwinter_recordings::load::{Loading, load};
use overwinter_recordings::rail::{Circumstances, Threshold, judge, write_trial};
use overwinter_recordings::report::report;
use overwinter_recordings::{RecordingError, Stated, Subject};
use overwinter_store::write_file;
use overwinter_traces::plot::Plot;
use overwinter_traces::{Analysis, StoredTrace, analyse};
use overwinter_workbench::bench::Bench;
use overwinter_workbench::question::QuestionError;
use overwinter_workbench::report::SCHEMA_VERSION;
use overwinter_workbench::trace_report::RailAnswer;

use crate::args::{Common, Format};
use crate::bench::{Refusal, read};
use crate::measure::write;
use crate::{ANSWER_IS_NO, FINE, json, page, render, say, shown, spreadsheet};

pub(crate) use args::Trace;
use args::{Facts, Input, Stating};
use watch::Watch;

#[allow(clippy::needless_pass_by_value, reason = "it is what map_err hands over")]
fn refuse(error: RecordingError) -> anyhow::Error {
    Refusal(vec![error.diagnostic()]).into()
}

/// The folder's bench; a folder that is none is an empty one, for a bare file needs no folder.
fn bench(common: &Common) -> Result<Bench> {
    read(&common.folder, common.format)
}

/// One pass over a subject, watched.
fn pass(subject: &Subject, stated: &Stated, watch: &mut Watch) -> Result<Analysis> {
    let opened = subject.open(stated).map_err(refuse)?;
    let analysis =
        analyse(opened.source, Some(opened.layout), &opened.options, &mut |p| watch.see(p))
            .map_err(|error| refuse(error.into()));
    watch.done();
    let analysis = analysis?;
    if let Some(stop) = &analysis.extent.stopped {
        anstream::eprintln!(
            "{} ends early at row {}, byte {}: {}; what follows covers the {} samples before",
            subject.name(),
            stop.row,
            stop.byte,
            stop.reason,
            analysis.extent.samples
        );
    }
    Ok(analysis)
}

/// Runs a trace command; gives the exit status.
pub(crate) fn run(common: &Common, command: &Trace) -> Result<u8> {
    match command {
        Trace::Read { input, follow, quiet } => read_trace(common, input, *follow, quiet.as_ref()),
        Trace::Keep { input, facts } => keep_trace(common, input, facts),
        Trace::Plot { input, from, to, output, width, height } => {
            let span = (from.as_ref().map(Time::si), to.as_ref().map(Time::si));
            plot(common, input, span, output.as_deref(), (*width, *height))
        }
        Trace::Compare { before, after, project, stated } => {
            compare(common, (before, after), project.as_deref(), stated)
        }
        Trace::Rail {
            input,
            threshold,
            tolerance,
            filter,
            write,
            event,
            doing,
            edge,
            cell_voltage,
            session,
        } => {
            let threshold = Threshold {
                threshold_v: threshold.as_ref().map(Voltage::si),
                tolerance_v: tolerance.as_ref().map(Voltage::si),
                filter_s: filter.as_ref().map(Time::si),
            };
            let given = Circumstances {
                event: *event,
                doing: *doing,
                edge: *edge,
                cell_v: cell_voltage.as_ref().map(Voltage::si),
                session: session.clone(),
            };
            rail(common, input, &threshold, write.then_some(&given))
        }
        Trace::Load { input, project, activity, wake, take_interval, segments, dry_run } => {
            let loading = Loading {
                activity: letter(wake)?,
                name: activity.clone(),
                interval: *take_interval,
                segments: *segments,
            };
            load_trace(common, input, project.as_deref(), &loading, *dry_run)
        }
        Trace::Floor { input, session, settled_for, dry_run } => {
            let settled_s = settled_for.as_ref().map(Time::si);
            floor(common, input, (session.as_deref(), settled_s), *dry_run)
        }
        Trace::List => {
            let bench = bench(common)?;
            let list = Recordings::new(&common.folder).list(&bench, &|| true);
            match common.format {
                Format::Json => json(&serde_json::json!({
                    "schema_version": SCHEMA_VERSION, "recordings": list
                }))?,
                Format::Human => say(&render::trace::list(&list))?,
                Format::Csv => say(&spreadsheet::write(&render::trace_csv::list(&list))?)?,
            }
            Ok(FINE)
        }
    }
}

fn letter(text: &str) -> Result<usize> {
    let name = text.trim().trim_start_matches("wake").trim();
    match name.as_bytes() {
        [c @ b'A'..=b'Z'] => Ok(usize::from(c - b'A')),
        [c @ b'a'..=b'z'] => Ok(usize::from(c - b'a')),
        _ => Err(refuse(RecordingError::missing(
            format!("“{text}” is no wake"),
            "say A for the most frequent, B for the next, as `trace read` names them",
        ))),
    }
}

fn find(common: &Common, bench: &Bench, name: &str) -> Result<Subject> {
    Subject::find(bench.folder(), &common.folder, name).map_err(refuse)
}

fn read_trace(common: &Common, input: &Input, follow: bool, quiet: Option<&Time>) -> Result<u8> {
    let bench = bench(common)?;
    let subject = find(common, &bench, &input.trace)?;
    let mut watch = Watch::new(input.stated.progress, follow);
    let mut stated = watch.stated(&input.stated);
    if follow {
        stated.follow = Some(quiet.map(|t| Duration::from_secs_f64(t.si().clamp(0.0, 1e6))));
    }
    let analysis = pass(&subject, &stated, &mut watch)?;
    let found = report(&subject.name(), &analysis, subject.document(), bench.folder());
    write(common, &found, render::trace::read, render::trace_csv::read)?;
    Ok(FINE)
}

fn keep_trace(common: &Common, input: &Input, facts: &Facts) -> Result<u8> {
    let bench = bench(common)?;
    let subject = find(common, &bench, &input.trace)?;
    let mut watch = Watch::new(input.stated.progress, false);
    let mut stated = watch.stated(&input.stated);
    stated.rail = facts.rail;
    let new = New {
        name: facts.name.clone(),
        date: facts.date.unwrap_or_else(page::today).to_string(),
        facts: facts.texts(),
    };
    let kept = keep(bench.folder(), &common.folder, &subject, &stated, &new, &mut |p| watch.see(p));
    watch.done();
    let (report, _) = kept.map_err(refuse)?;
    write(common, &report, render::trace::kept, render::trace_csv::kept)?;
    Ok(FINE)
}

fn plot(
    common: &Common,
    input: &Input,
    (from_s, to_s): (Option<f64>, Option<f64>),
    output: Option<&Path>,
    (width, height): (u32, u32),
) -> Result<u8> {
    let ending = output.map(|path| {
        path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default()
    });
    if let Some(ending) = ending.as_deref().filter(|e| !matches!(*e, "svg" | "png")) {
        return Err(refuse(RecordingError::missing(
            format!("“.{ending}” is no kind of drawing"),
            "end the file's name in .svg or .png",
        )));
    }
    let bench = bench(common)?;
    let subject = find(common, &bench, &input.trace)?;
    let drawn = drawn(&subject, input, (from_s, to_s), width as usize)?;
    match (output, ending.as_deref()) {
        (Some(path), Some(ending)) => {
            let bytes = if ending == "png" {
                drawn.png(width, height).map_err(|e| refuse(e.into()))?
            } else {
                drawn.svg(width, height).into_bytes()
            };
            replace(path, &bytes)?;
            anstream::eprintln!("wrote {}", shown(path));
        }
        _ if common.format == Format::Human => {
            let lines = terminal_size::terminal_size().map_or(24, |(_, h)| usize::from(h.0));
            let (columns, lines) = (render::width(), lines.clamp(12, 40) - 2);
            say(&format!("{}\n{}", drawn.title, drawn.terminal(columns, lines)))?;
        }
        _ if common.format == Format::Json => json(&serde_json::json!({
            "schema_version": SCHEMA_VERSION, "title": drawn.title, "cells": drawn.cells,
        }))?,
        _ => say(&spreadsheet::write(&render::trace_csv::cells(&drawn.cells))?)?,
    }
    Ok(FINE)
}

/// The whole trace from one pass; a stretch of a kept one from its pyramid.
fn drawn(
    subject: &Subject,
    input: &Input,
    (from_s, to_s): (Option<f64>, Option<f64>),
    width: usize,
) -> Result<Plot> {
    let whole = from_s.is_none() && to_s.is_none();
    if !whole && let Some((path, true)) = subject.file(true) {
        let mut trace = StoredTrace::open(&path).map_err(|e| refuse(e.into()))?;
        let (first, last) = trace.span_s();
        let (a, b) = (from_s.unwrap_or(first), to_s.unwrap_or(last));
        let zoom = trace.zoom(a, b, width.clamp(100, 8192)).map_err(|e| refuse(e.into()))?;
        if zoom.cells.is_empty() {
            return Err(outside(&subject.name(), first, last));
        }
        return Ok(Plot::of_cells(&subject.name(), zoom.reduced(8192)));
    }
    let mut watch = Watch::new(input.stated.progress, false);
    let analysis = pass(subject, &watch.stated(&input.stated), &mut watch)?;
    let mut plot = Plot::of(&analysis);
    plot.title = subject.name();
    if !whole {
        let (a, b) = (from_s.unwrap_or(f64::NEG_INFINITY), to_s.unwrap_or(f64::INFINITY));
        plot.cells.retain(|c| c.end_s >= a && c.start_s <= b);
        plot.phases.retain(|p| p.end_s >= a && p.start_s <= b);
        if plot.cells.is_empty() {
            return Err(outside(&subject.name(), analysis.extent.first_s, analysis.extent.last_s));
        }
        if analysis.envelope.samples_per_cell > 1 && plot.cells.len() < width / 4 {
            anstream::eprintln!(
                "drawn from {} columns; `trace keep` makes every sample visible",
                plot.cells.len()
            );
        }
    }
    Ok(plot)
}

fn outside(name: &str, first_s: f64, last_s: f64) -> anyhow::Error {
    refuse(RecordingError::missing(
        format!("nothing of “{name}” lies there"),
        format!("it reaches from {first_s} s to {last_s} s"),
    ))
}

/// A file whole or not at all.
fn replace(path: &Path, bytes: &[u8]) -> Result<()> {
    use overwinter_store::{FileWriter, Writer};
    FileWriter.replace(path, bytes).with_context(|| format!("cannot write {}", shown(path)))
}

fn compare(
    common: &Common,
    (before, after): (&str, &str),
    project: Option<&str>,
    stating: &Stating,
) -> Result<u8> {
    let bench = bench(common)?;
    let project = project_of(&bench, project).map_err(refuse)?;
    let mut analyses = Vec::new();
    let mut names = Vec::new();
    for name in [before, after] {
        let subject = find(common, &bench, name)?;
        let mut watch = Watch::new(stating.progress, false);
        analyses.push(pass(&subject, &watch.stated(stating), &mut watch)?);
        names.push(subject.name());
    }
    let found = overwinter_recordings::compare::compare(
        (&names[0], &names[1]),
        &analyses[0],
        &analyses[1],
        project.map(|project| (&bench, project)),
    );
    write(common, &found, render::trace_more::compare, render::trace_csv::compare)?;
    Ok(FINE)
}

fn rail(
    common: &Common,
    input: &Input,
    threshold: &Threshold,
    write_it: Option<&Circumstances>,
) -> Result<u8> {
    let bench = bench(common)?;
    let subject = find(common, &bench, &input.trace)?;
    let watch = Watch::new(input.stated.progress, false);
    let mut found =
        judge(&bench, &subject, &watch.stated(&input.stated), threshold).map_err(refuse)?;
    if let Some(given) = write_it {
        let document = subject.document().ok_or_else(|| {
            refuse(RecordingError::missing(
                "only a recording of the folder can become a trial",
                "keep it first:  overwinter trace keep FILE --rail --specimen NAME",
            ))
        })?;
        let written =
            write_trial(&common.folder, &bench, document, &found, given).map_err(refuse)?;
        found.written = Some(written);
    }
    write(common, &found, render::trace_more::rail, render::trace_csv::rail)?;
    Ok(if found.answer == RailAnswer::RidesThrough { FINE } else { ANSWER_IS_NO })
}

fn load_trace(
    common: &Common,
    input: &Input,
    project: Option<&str>,
    loading: &Loading,
    dry_run: bool,
) -> Result<u8> {
    let bench = bench(common)?;
    let subject = find(common, &bench, &input.trace)?;
    let chosen = project_of(&bench, project).map_err(refuse)?.ok_or_else(|| {
        let names: Vec<&str> = bench.projects().map(|p| p.name.as_str()).collect();
        anyhow::Error::from(Refusal::question(&QuestionError::NoSuch {
            kind: "project",
            name: "(not named)".into(),
            help: format!("say which with --project: {}", names.join(", ")),
        }))
    })?;
    let entry = bench.folder().projects.get(&chosen.name).context("the project has no document")?;
    let mut watch = Watch::new(input.stated.progress, false);
    let analysis = pass(&subject, &watch.stated(&input.stated), &mut watch)?;
    let name = subject.name();
    let mut loaded =
        load(&bench, entry, &name, &analysis, subject.document(), loading).map_err(refuse)?;
    if !dry_run {
        put(common, &loaded.report.file, Some(&loaded.before), &loaded.after)?;
        loaded.report.written = true;
    }
    if dry_run && common.format == Format::Human {
        say(&render::trace_more::difference(&loaded.before, &loaded.after))?;
    }
    write(common, &loaded.report, render::trace_more::load, render::trace_csv::load)?;
    Ok(FINE)
}

/// Writes a document, unless somebody saved it in an editor while the trace was read.
fn put(common: &Common, file: &str, before: Option<&str>, after: &str) -> Result<()> {
    let path: PathBuf = common.folder.join(file);
    let changed = match before {
        Some(before) => {
            let now = std::fs::read_to_string(&path)
                .with_context(|| format!("cannot read {}", shown(&path)))?;
            now.trim_start_matches('\u{feff}') != before
        }
        None => path.exists(),
    };
    if changed {
        return Err(refuse(RecordingError::missing(
            format!("{file} was changed by somebody else meanwhile"),
            "nothing was written; run it again",
        )));
    }
    write_file(&common.folder, file, after).map_err(|error| refuse(error.into()))?;
    Ok(())
}

fn floor(
    common: &Common,
    input: &Input,
    (session, settled_s): (Option<&str>, Option<f64>),
    dry_run: bool,
) -> Result<u8> {
    let bench = bench(common)?;
    let subject = find(common, &bench, &input.trace)?;
    let document = subject.document().filter(|_| !subject.shows_rail()).ok_or_else(|| {
        refuse(RecordingError::missing(
            "only a recording of a current can become a reading of its specimen",
            "keep the file first:  overwinter trace keep FILE --specimen NAME --instrument NAME --range NAME",
        ))
    })?;
    let mut watch = Watch::new(input.stated.progress, false);
    let analysis = pass(&subject, &watch.stated(&input.stated), &mut watch)?;
    let offset_a = input
        .stated
        .stated()
        .offset_a
        .or_else(|| document.offset.as_ref().map(|q| q.si()))
        .unwrap_or(0.0);
    let mut found = floor_reading(
        &common.folder,
        &bench,
        document,
        &analysis,
        &At { offset_a, settled_s, session },
    )
    .map_err(refuse)?;
    if !dry_run {
        put(common, &found.report.file, found.before.as_deref(), &found.after)?;
        found.report.written = true;
    } else if common.format == Format::Human {
        let before = found.before.as_deref().unwrap_or_default();
        say(&render::trace_more::difference(before, &found.after))?;
    }
    write(common, &found.report, render::trace_more::floor, render::trace_csv::floor)?;
    Ok(FINE)
}
