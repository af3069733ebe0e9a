//! From a trace to a reading: the sleep floor into a session of its specimen, with its scatter, instrument, zero and where it comes from.

use std::path::Path;

use overwinter_documents::Choice;
use overwinter_documents::types::recording::Recording;
use overwinter_quantity::{CurrentDimension, Dimension, DurationDimension, Quantity};
use overwinter_store::{Field, put_in_list};
use overwinter_traces::{Analysis, DefectKind, Estimate, counted};
use overwinter_workbench::bench::Bench;
use overwinter_workbench::report::SCHEMA_VERSION;
use overwinter_workbench::trace_report::TraceFloorReading;

use crate::RecordingError;
use crate::keep::{line, slug};
use crate::report::{floor_estimate, limit_a};
use crate::text::{current, duration, figure, printed};

/// The session's text with the reading in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Floored {
    /// What was done, for reading.
    pub report: TraceFloorReading,
    /// The session document's text before; `None`: there is no such document.
    pub before: Option<String>,
    /// And after.
    pub after: String,
}

/// Circumstances of a floor that its recording does not tell.
#[derive(Debug, Clone, Copy, Default)]
pub struct At<'a> {
    /// What was taken off every current of the trace (A).
    pub offset_a: f64,
    /// How long the board had settled (s).
    pub settled_s: Option<f64>,
    /// The session; one of its own if left out.
    pub session: Option<&'a str>,
}

fn exactly<D: Dimension>(si: f64) -> String {
    Quantity::<D>::from_si(si).value_text(6)
}

/// Puts the floor of an analysis into a session as a sleep current; nothing is written to the disk here.
///
/// Where the instrument's range is known, the value goes in as the instrument showed it, with
/// the zero beside it and the record's own scatter as Type A (JCGM 100:2008, 4.2): gain, offset and resolution are added where every reading gets
/// them. Else value and scatter stand as measured, and the reading says that no instrument is known.
///
/// # Errors
/// There is no floor or no specimen, or the session is another's.
pub fn floor_reading(
    root: &Path,
    bench: &Bench,
    document: &Recording,
    analysis: &Analysis,
    at: &At<'_>,
) -> Result<Floored, RecordingError> {
    let name = &document.name;
    let At { offset_a, settled_s, session } = *at;
    let Some((floor, estimate)) = analysis.floor.as_ref().zip(floor_estimate(analysis)) else {
        return Err(RecordingError::missing(
            format!("“{name}” has no sleep floor"),
            "a stretch asleep of some tenths of a second is needed; `trace read` says what was found",
        ));
    };
    let specimen = document.specimen.as_deref().ok_or_else(|| {
        RecordingError::missing(
            "a reading needs the specimen",
            "write `specimen` into the recording's document",
        )
    })?;
    let limit = limit_a(Some(document), bench.folder(), floor.mean_a);
    let scatter = floor.standard_uncertainty_a.filter(|u| *u > 0.0);
    let mut fields = vec![("what", Field::Text("sleep current".to_owned()))];
    let zero = |text: Option<String>| text.map_or(Field::Absent, Field::Text);
    if limit.is_some() {
        let value = Quantity::<CurrentDimension>::from_si(floor.mean_a + offset_a);
        fields.push(("value", Field::Text(value.value_text(6))));
        fields.push((
            "type_a",
            zero(scatter.map(|u| Quantity::<CurrentDimension>::from_si(u).value_text(3))),
        ));
        let taken = (offset_a != 0.0).then(|| exactly::<CurrentDimension>(offset_a));
        fields.push(("zero_before", zero(taken)));
    } else {
        let value = printed::<CurrentDimension>(floor.mean_a, scatter);
        fields.push(("value", Field::Text(value)));
        fields.extend([("type_a", Field::Absent), ("zero_before", Field::Absent)]);
    }
    let texts = [
        ("instrument", document.instrument.clone()),
        ("range", document.range.clone()),
        (
            "supply",
            document
                .supply
                .as_ref()
                .map(|q| q.text().map_or_else(|| q.value_text(4), str::to_owned)),
        ),
        ("source", document.source.map(|s| s.word().to_owned())),
        ("temperature", document.temperature.as_ref().map(ToString::to_string)),
    ];
    fields.extend(texts.into_iter().filter_map(|(key, text)| Some((key, Field::Text(text?)))));
    fields.push((
        "window",
        Field::Text(Quantity::<DurationDimension>::from_si(floor.asleep_s).value_text(4)),
    ));
    if let Some(settled) = settled_s {
        fields.push(("settled_for", Field::Text(exactly::<DurationDimension>(settled))));
    }
    let mut note = format!(
        "sleep floor of the recording: {} of {} asleep between the wakes",
        counted(floor.windows, "window"),
        duration(floor.window_s)
    );
    if limit.is_none() && offset_a != 0.0 {
        note.push_str(&format!("; the zero, {}, is taken off", current(offset_a)));
    }
    fields.push(("note", Field::Text(note)));

    let folder = bench.folder();
    let session =
        session.map_or_else(|| format!("{} {specimen} traces", document.date), str::to_owned);
    let (path, before) = match folder.sessions.get(&session) {
        Some(entry) if entry.document.specimen.as_deref() == Some(specimen) => {
            (entry.path.clone(), Some(entry.text.to_string()))
        }
        Some(_) => {
            return Err(RecordingError::missing(
                format!("session “{session}” is not about {specimen}"),
                "name another one with --session",
            ));
        }
        None => (format!("sessions/{}.toml", slug(&session)), None),
    };
    if before.is_none() && root.join(&path).exists() {
        return Err(RecordingError::missing(
            format!("{path} is there already"),
            "name the session with --session",
        ));
    }
    let text = before.clone().unwrap_or_else(|| new_session(&session, document));
    let place = ("session", "readings");
    let (after, new) = put_in_list(&path, &text, place, ("recording", name), &fields)?;
    let report = TraceFloorReading {
        schema_version: SCHEMA_VERSION,
        recording: name.clone(),
        specimen: specimen.to_owned(),
        session,
        file: path,
        new,
        current_a: figure::<CurrentDimension>(&Estimate { ..estimate }),
        limit_a: limit,
        zero_a: offset_a,
        windows: floor.windows,
        asleep_s: floor.asleep_s,
        written: false,
        cautions: cautions(analysis, document, (scatter, limit, settled_s)),
    };
    Ok(Floored { report, before, after })
}

/// The head of a session that holds what a recording shows.
pub(crate) fn new_session(name: &str, document: &Recording) -> String {
    let kind = overwinter_documents::DocumentKind::Session;
    let mut text = format!("{}\n[session]\n", overwinter_documents::schema_line(kind));
    text.push_str(&line("name", name));
    text.push_str(&line("specimen", document.specimen.as_deref().unwrap_or_default()));
    text.push_str(&format!("date = {}\n", document.date));
    for (key, value) in [
        ("who", document.who.clone()),
        ("temperature", document.temperature.as_ref().map(ToString::to_string)),
        ("kind", document.kind.map(|k| k.to_string())),
    ] {
        if let Some(value) = value {
            text.push_str(&line(key, &value));
        }
    }
    if let Some(firmware) = &document.firmware {
        let parts =
            [("version", &firmware.version), ("hash", &firmware.hash), ("state", &firmware.state)];
        let parts: Vec<String> = parts
            .iter()
            .filter_map(|(key, value)| Some(line(key, value.as_deref()?).trim_end().to_owned()))
            .collect();
        if !parts.is_empty() {
            text.push_str(&format!("firmware = {{ {} }}\n", parts.join(", ")));
        }
    }
    text
}

fn cautions(
    analysis: &Analysis,
    document: &Recording,
    (scatter, limit, settled_s): (Option<f64>, Option<f64>, Option<f64>),
) -> Vec<String> {
    let mut out = Vec::new();
    if limit.is_none() {
        out.push("the instrument's own limits are not in the uncertainty: no instrument and range of the folder are stated".to_owned());
    }
    if scatter.is_none() {
        out.push("one window tells no scatter".to_owned());
    }
    if settled_s.is_none() {
        out.push("how long the board had settled is not stated (--settled-for): the budget assumes a minute, which may be most of it".to_owned());
    }
    if document.supply.is_none() {
        out.push(
            "the supply voltage is not stated: the reading cannot be compared at another"
                .to_owned(),
        );
    }
    if let Some(stop) = &analysis.extent.stopped {
        out.push(format!("the trace ends early at row {}: {}", stop.row, stop.reason));
    }
    for kind in [
        DefectKind::WrongUnit,
        DefectKind::Negative,
        DefectKind::Quantisation,
        DefectKind::RangeSwitch,
        DefectKind::Gap,
    ] {
        out.extend(analysis.defects.iter().find(|d| d.kind == kind).map(|d| d.message.clone()));
    }
    out
}
