//! Keeping a trace: stored compressed with its pyramid and provenance, its document written or brought up to date.

use std::path::{Path, PathBuf};

use overwinter_documents::{DocumentKind, Edit, EditValue, Folder, KeyPath, schema_line};
use overwinter_quantity::{
    CurrentDimension, DurationDimension, FrequencyDimension, Quantity, VoltageDimension,
};
use overwinter_store::{apply_edits, write_file};
use overwinter_traces::{
    Analysis, Control, CurrentSource, DateOrder, Delimiter, Format, Layout, Progress, Provenance,
    RawKind, StoredTrace, TimeSource, TraceError, store_source,
};
use overwinter_workbench::report::SCHEMA_VERSION;
use overwinter_workbench::trace_report::{TraceKept, TraceStop};

use crate::RecordingError;
use crate::report::defect_word;
use crate::subject::{Stated, Subject};

/// What a person states of a new recording, as it is written in its document: key and text.
pub type Facts = Vec<(&'static str, String)>;

/// A new recording.
#[derive(Debug, Clone, Default)]
pub struct New {
    /// Its name; the file's, if left out.
    pub name: Option<String>,
    /// When, as 2026-05-12.
    pub date: String,
    /// Texts of the document: specimen, who, instrument, range, supply, temperature, note, ….
    pub facts: Facts,
}

/// A file's name made of a name.
pub(crate) fn slug(name: &str) -> String {
    let mut out = String::new();
    for c in name.to_lowercase().chars() {
        if c.is_alphanumeric() || c == '.' || c == '_' {
            out.push(c);
        } else if !out.ends_with('-') && !out.is_empty() {
            out.push('-');
        }
    }
    let out = out.trim_matches(['-', '.']).to_owned();
    if out.is_empty() { "recording".to_owned() } else { out }
}

/// `key = "text"` with its line end, escaped as TOML wants it.
pub(crate) fn line(key: &str, text: &str) -> String {
    format!("{key} = {}\n", toml_edit::Value::from(text))
}

/// Where things go.
struct Plan {
    name: String,
    /// Relative to the folder.
    document: String,
    kept: String,
    /// The source relative to the folder; `None` for standard input.
    trace: Option<String>,
    new: bool,
}

fn plan(
    folder: &Folder,
    root: &Path,
    subject: &Subject,
    new: &New,
) -> Result<Plan, RecordingError> {
    if let Subject::Recording { document, path, .. } = subject {
        let kept = document
            .kept
            .clone()
            .unwrap_or_else(|| format!("traces/{}.parquet", slug(&document.name)));
        return Ok(Plan {
            name: document.name.clone(),
            document: path.clone(),
            kept,
            trace: Some(document.trace.clone()),
            new: false,
        });
    }
    let (stem, trace) = match subject {
        Subject::File(path) => {
            let stem = path.file_name().map(|n| n.to_string_lossy().into_owned());
            let stem = stem.unwrap_or_default();
            let stem = stem.split('.').next().unwrap_or_default().to_owned();
            (stem, Some(inside(root, path)?))
        }
        _ => (String::new(), None),
    };
    let name = match (&new.name, stem.is_empty()) {
        (Some(name), _) => name.clone(),
        (None, false) => stem,
        (None, true) => {
            return Err(RecordingError::missing(
                "a recording from standard input needs a name",
                "say --name \"before\"",
            ));
        }
    };
    let document = format!("recordings/{}.toml", slug(&name));
    let kept = format!("traces/{}.parquet", slug(&name));
    if folder.recordings.get(&name).is_some() || root.join(&document).exists() {
        return Err(RecordingError::missing(
            format!("there is a recording “{name}” already"),
            "keep it again by that name, or give this one another with --name",
        ));
    }
    if root.join(&kept).exists() {
        return Err(RecordingError::missing(
            format!("{kept} is there already and belongs to no recording of that name"),
            "move it away, or say --name",
        ));
    }
    Ok(Plan { name, document, kept, trace, new: true })
}

/// A file's path from the folder on.
fn inside(root: &Path, path: &Path) -> Result<String, RecordingError> {
    let whole = |p: &Path| std::fs::canonicalize(p).map_err(|cause| RecordingError::io(p, cause));
    let (root_whole, path_whole) = (whole(root)?, whole(path)?);
    let Ok(relative) = path_whole.strip_prefix(&root_whole) else {
        return Err(RecordingError::missing(
            format!("{} does not lie in the folder {}", path.display(), root.display()),
            "put it into the folder's traces/ first: a recording names its source from the folder on",
        ));
    };
    let parts: Vec<String> =
        relative.components().map(|c| c.as_os_str().to_string_lossy().into_owned()).collect();
    Ok(parts.join("/"))
}

/// Keeps a trace. The kept form appears whole or not at all; the document follows it.
///
/// # Errors
/// The trace cannot be read, the folder refuses, or `progress` stopped the work ([`TraceError::Cancelled`]; nothing is written then).
pub fn keep(
    folder: &Folder,
    root: &Path,
    subject: &Subject,
    stated: &Stated,
    new: &New,
    progress: &mut dyn FnMut(&Progress) -> Control,
) -> Result<(TraceKept, Analysis), RecordingError> {
    let plan = plan(folder, root, subject, new)?;
    let stated = Stated { kept: false, ..stated.clone() };
    let opened = subject.open(&stated)?;
    let source_path = subject.file(false);
    if source_path.as_ref().is_some_and(|(_, kept)| *kept) {
        return Err(RecordingError::missing(
            "only the kept form is there, its source is not",
            "bring the source back to keep it again",
        ));
    }
    let target = root.join(&plan.kept);
    let parent = target.parent().unwrap_or(root).to_owned();
    std::fs::create_dir_all(&parent).map_err(|cause| RecordingError::io(&parent, cause))?;
    overwinter_traces::clear_leftovers(&parent, ".overwinter-");
    // A place of our own: removed on every way out but the last, so a stopped work leaves nothing.
    let temporary = tempfile::Builder::new()
        .prefix(".overwinter-")
        .suffix(".parquet")
        .tempfile_in(&parent)
        .map_err(|cause| RecordingError::io(&parent, cause))?
        .into_temp_path();
    let layout = opened.layout.clone();
    let provenance = provenance(subject, &stated, new);
    let analysis = store_source(
        opened.source,
        Some(opened.layout),
        &opened.options,
        provenance,
        &temporary,
        progress,
    )?;
    if stated.cancel.load(std::sync::atomic::Ordering::Relaxed) && stated.follow.is_none() {
        return Err(TraceError::Cancelled.into());
    }
    let stored = StoredTrace::open(&temporary)?.provenance()?;
    let sha256 = Some(stored.source_sha256.clone()).filter(|sum| !sum.is_empty());
    readable(&temporary).map_err(|cause| RecordingError::io(&target, cause))?;
    let replaced = target.exists();
    temporary.persist(&target).map_err(|e| RecordingError::io(&target, e.error))?;
    if let Err(error) =
        write_document(root, &plan, subject, new, &layout, sha256.as_deref(), &stated)
    {
        if !replaced {
            let _ = std::fs::remove_file(&target);
        }
        return Err(error);
    }
    let size = |path: &Path| std::fs::metadata(path).map_or(0, |m| m.len());
    let report = TraceKept {
        schema_version: SCHEMA_VERSION,
        recording: plan.name,
        document: plan.document,
        kept_bytes: size(&target),
        kept: plan.kept,
        source_bytes: source_path.map(|(path, _): (PathBuf, bool)| size(&path)),
        sha256,
        read_as: analysis.read_as.clone(),
        samples: analysis.extent.samples,
        stopped: analysis.extent.stopped.as_ref().map(|s| TraceStop {
            row: s.row,
            byte: s.byte,
            reason: s.reason.clone(),
        }),
        defects: analysis
            .defects
            .iter()
            .map(|d| format!("{}: {}", defect_word(d.kind), d.message))
            .collect(),
    };
    Ok((report, analysis))
}

/// A temporary file is for its owner alone; a kept trace is like any other file.
#[cfg(unix)]
fn readable(path: &Path) -> std::io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn readable(_: &Path) -> std::io::Result<()> {
    Ok(())
}

fn provenance(subject: &Subject, stated: &Stated, new: &New) -> Provenance {
    let fact = |key: &str| new.facts.iter().find(|(k, _)| *k == key).map(|(_, v)| v.clone());
    let document = subject.document();
    Provenance {
        instrument: document.and_then(|d| d.instrument.clone()).or_else(|| fact("instrument")),
        range: document.and_then(|d| d.range.clone()).or_else(|| fact("range")),
        shunt_ohm: stated
            .shunt_ohm
            .or_else(|| document.and_then(|d| d.shunt.as_ref()).map(|r| r.si())),
        note: document.and_then(|d| d.note.clone()).or_else(|| fact("note")),
        ..Provenance::default()
    }
}

fn write_document(
    root: &Path,
    plan: &Plan,
    subject: &Subject,
    new: &New,
    layout: &Layout,
    sha256: Option<&str>,
    stated: &Stated,
) -> Result<(), RecordingError> {
    if !plan.new {
        let edit = |key: &str, value: &str| Edit {
            file: plan.document.clone(),
            key: KeyPath::root().key("recording").key(key),
            value: Some(EditValue::Text(value.to_owned())),
            was: String::new(),
            now: value.to_owned(),
        };
        let mut edits = vec![edit("kept", &plan.kept)];
        edits.extend(sha256.map(|sum| edit("sha256", sum)));
        apply_edits(root, &edits)?;
        return Ok(());
    }
    let mut text =
        format!("{}\n# {}\n", schema_line(DocumentKind::Recording), one_line(&layout.describe()));
    text.push_str("[recording]\n");
    text.push_str(&line("name", &plan.name));
    text.push_str(&format!("date = {}\n", new.date));
    for (key, value) in &new.facts {
        text.push_str(&line(key, value));
    }
    // From standard input there is no source but what was kept.
    text.push_str(&line("trace", plan.trace.as_deref().unwrap_or(&plan.kept)));
    if let (Some(sum), Some(_)) = (sha256, &plan.trace) {
        text.push_str(&line("sha256", sum));
    }
    text.push_str(&line("kept", &plan.kept));
    if stated.rail {
        text.push_str(&line("shows", "rail"));
    }
    if let Some(ohm) = stated.shunt_ohm {
        text.push_str(&line("shunt", &overwinter_workbench::text::resistance(ohm)));
    }
    if layout.offset_a != 0.0 && plan.trace.is_some() {
        text.push_str(&line("offset", &exact::<CurrentDimension>(layout.offset_a, "A")));
    }
    if plan.trace.is_some() && !matches!(subject, Subject::Standard) {
        text.push_str("\n# How the file is read: found in it, or as stated. A line taken out is found again.\n[recording.layout]\n");
        text.push_str(&remembered(layout, stated.rail));
    }
    text.push_str(
        "\n# Names for phases, the first that holds:\n# [[recording.phases]]\n# name = \"radio\"\n# current_from = \"80 mA\"\n# lasts_from = \"10 ms\"\n",
    );
    // The document must read, or it is not written.
    if let Err(found) = overwinter_documents::parse_document(&plan.document, &text) {
        let first = found.into_iter().next();
        return Err(RecordingError::missing(
            first.as_ref().map_or_else(String::new, |d| {
                format!("the document would not read: {}", d.message)
            }),
            first.and_then(|d| d.help).unwrap_or_default(),
        ));
    }
    write_file(root, &plan.document, &text)?;
    Ok(())
}

fn one_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

/// A value that reads back to the last digit.
fn exact<D: overwinter_quantity::Dimension>(si: f64, unit: &str) -> String {
    let short = Quantity::<D>::from_si(si).value_text(6);
    let back: Option<Quantity<D>> = short.parse().ok();
    match back {
        Some(q) if (q.si() - si).abs() <= 1e-12 * si.abs() => short,
        _ => format!("{si} {unit}"),
    }
}

fn order_word(order: DateOrder) -> &'static str {
    match order {
        DateOrder::YearMonthDay => "year, month, day",
        DateOrder::DayMonthYear => "day, month, year",
        DateOrder::MonthDayYear => "month, day, year",
    }
}

/// The layout as keys of the document.
fn remembered(layout: &Layout, rail: bool) -> String {
    let mut out = String::new();
    let mut number = |key: &str, n: usize| out.push_str(&format!("{key} = {n}\n"));
    let mut texts: Vec<(&str, String)> = Vec::new();
    match &layout.format {
        Format::Text(text) => {
            let between = match text.delimiter {
                Delimiter::Comma => "comma",
                Delimiter::Semicolon => "semicolon",
                Delimiter::Tab => "tab",
                Delimiter::Pipe => "bar",
                Delimiter::Spaces => "spaces",
            };
            texts.push(("samples", "text".to_owned()));
            texts.push(("between", between.to_owned()));
            if text.decimal_comma {
                texts.push(("decimal_comma", "yes".to_owned()));
            }
        }
        Format::Raw(raw) => {
            let width = if raw.kind == RawKind::F32 { "f32" } else { "f64" };
            texts.push(("samples", width.to_owned()));
            if raw.big_endian {
                texts.push(("big_endian", "yes".to_owned()));
            }
        }
        Format::Arrow => texts.push(("samples", "Arrow".to_owned())),
        Format::Parquet => texts.push(("samples", "Parquet".to_owned())),
    }
    match &layout.time {
        TimeSource::Column { column, seconds_per_unit } => {
            number("time_column", *column + 1);
            texts.push(("time_unit", exact::<DurationDimension>(*seconds_per_unit, "s")));
        }
        TimeSource::Stamp { column, order } => {
            number("stamp_column", *column + 1);
            texts.push(("date", order_word(*order).to_owned()));
        }
        TimeSource::Interval { interval_s } | TimeSource::Index { interval_s, .. } => {
            let rate = (1.0 / interval_s).round();
            if (rate * interval_s - 1.0).abs() < 1e-12 {
                texts.push(("rate", exact::<FrequencyDimension>(rate, "Hz")));
            } else {
                texts.push(("interval", exact::<DurationDimension>(*interval_s, "s")));
            }
        }
        TimeSource::Split { date, time, fraction, fraction_seconds_per_unit, order } => {
            number("clock_column", *time + 1);
            // 0: there is none, so that none is found.
            number("date_column", date.map_or(0, |c| c + 1));
            number("fraction_column", fraction.map_or(0, |c| c + 1));
            if fraction.is_some() {
                let unit = exact::<DurationDimension>(*fraction_seconds_per_unit, "s");
                texts.push(("fraction_unit", unit));
            }
            if date.is_some() {
                texts.push(("date", order_word(*order).to_owned()));
            }
        }
    }
    match &layout.current {
        CurrentSource::Column { column, amperes_per_unit } if rail => {
            number("voltage_column", *column + 1);
            texts.push(("voltage_unit", exact::<VoltageDimension>(*amperes_per_unit, "V")));
        }
        CurrentSource::Column { column, amperes_per_unit } => {
            number("current_column", *column + 1);
            texts.push(("current_unit", exact::<CurrentDimension>(*amperes_per_unit, "A")));
        }
        CurrentSource::Shunt { column, volts_per_unit, .. } => {
            number("current_column", *column + 1);
            texts.push(("shunt_unit", exact::<VoltageDimension>(*volts_per_unit, "V")));
        }
        CurrentSource::Difference { plus, minus, volts_per_unit, .. } => {
            number("current_column", *plus + 1);
            number("less_column", *minus + 1);
            texts.push(("shunt_unit", exact::<VoltageDimension>(*volts_per_unit, "V")));
        }
    }
    if let Some(voltage) = &layout.voltage {
        number("voltage_column", voltage.column + 1);
        texts.push(("voltage_unit", exact::<VoltageDimension>(voltage.volts_per_unit, "V")));
    }
    if let Format::Text(text) = &layout.format {
        out.push_str(&format!("skip_lines = {}\n", text.skip_lines));
    }
    if let Format::Raw(raw) = &layout.format {
        out.push_str(&format!("channels = {}\nskip_bytes = {}\n", raw.channels, raw.skip_bytes));
    }
    for (key, text) in texts {
        out.push_str(&line(key, &text));
    }
    out
}
