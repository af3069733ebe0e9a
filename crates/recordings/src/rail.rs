//! A capture of the rail while the source comes or goes: judged against the board's reset threshold, and written as a trial.

use std::path::Path;

use overwinter_documents::Choice;
use overwinter_documents::types::recording::Recording;
use overwinter_documents::types::session::{Doing, Edge, SourceEvent};
use overwinter_quantity::{Voltage, VoltageDimension};
use overwinter_store::{Field, put_in_list, write_file};
use overwinter_traces::{RailOptions, RailVerdict, analyse_rail, read_series};
use overwinter_workbench::bench::Bench;
use overwinter_workbench::priors;
use overwinter_workbench::report::SCHEMA_VERSION;
use overwinter_workbench::resolve::module_of;
use overwinter_workbench::trace_report::{RailAnswer, RailCapture, RailColumns};

use crate::RecordingError;
use crate::report::limit_a;
use crate::subject::{Stated, Subject};
use crate::text::{duration, printed};

/// Most samples of a capture: a dip is short, its capture small.
const MOST_SAMPLES: usize = 20_000_000;
/// Columns of the drawing.
const COLUMNS: usize = 1000;

/// What a person states of the threshold.
#[derive(Debug, Clone, Default)]
pub struct Threshold {
    /// Reset threshold (V); the board's if left out.
    pub threshold_v: Option<f64>,
    /// ± of threshold and probe together (V).
    pub tolerance_v: Option<f64>,
    /// The rail is averaged over this before it is judged, and shorter than this under the threshold does no harm (s); derived from the noise if left
    /// out.
    pub filter_s: Option<f64>,
}

fn volts(si: f64) -> String {
    printed::<VoltageDimension>(si, None)
}

/// Threshold, its tolerance, and where they come from.
fn threshold(
    bench: &Bench,
    document: Option<&Recording>,
    stated: &Threshold,
) -> Result<(f64, f64, String), RecordingError> {
    let specimen = document.and_then(|d| d.specimen.as_deref()).and_then(|id| bench.specimen(id));
    let known = specimen.and_then(|(board, specimen)| {
        let own = board.supply_of(specimen).reset_threshold.map(|f| (f, board.name.clone()));
        let module = module_of(bench, board);
        own.or_else(|| module.and_then(|m| Some((m.reset_threshold.clone()?, m.name.clone()))))
    });
    let probe = |at: f64| limit_a(document, bench.folder(), at).unwrap_or(0.0);
    if let Some(v) = stated.threshold_v {
        let assumed = 2.0 * priors::RESET_THRESHOLD * v;
        let tolerance = stated.tolerance_v.unwrap_or(assumed + probe(v));
        let how = if stated.tolerance_v.is_some() {
            "as stated"
        } else {
            "stated, its tolerance assumed"
        };
        return Ok((v, tolerance, how.to_owned()));
    }
    let Some((figure, of)) = known else {
        return Err(RecordingError::missing(
            "the reset threshold is not known",
            "say --threshold \"2.80 V\", or write `reset_threshold` under [board.supply]",
        ));
    };
    let v = figure.si();
    let own = figure.value.standard_uncertainty().map(|u| 2.0 * u);
    let assumed = own.unwrap_or(2.0 * priors::RESET_THRESHOLD * v);
    let tolerance = stated.tolerance_v.unwrap_or(assumed + probe(v));
    let how = match (own, stated.tolerance_v) {
        (None, None) => format!("{of}; its tolerance assumed, 2 %"),
        _ => of,
    };
    Ok((v, tolerance, how))
}

/// Judges a capture.
///
/// # Errors
/// It cannot be read, holds too few samples, or no threshold is known.
pub fn judge(
    bench: &Bench,
    subject: &Subject,
    stated: &Stated,
    options: &Threshold,
) -> Result<RailCapture, RecordingError> {
    let stated = Stated { rail: true, ..stated.clone() };
    let opened = subject.open(&stated)?;
    let read_as = opened
        .layout
        .describe()
        .replace("current: ", "rail voltage: ")
        .replace(" in A", " in V")
        .replace(" in mA", " in mV");
    let series = read_series(opened.source, Some(opened.layout), MOST_SAMPLES)?;
    let (threshold_v, tolerance_v, threshold_source) =
        threshold(bench, subject.document(), options)?;
    let settings = RailOptions {
        reset_threshold_v: threshold_v,
        tolerance_v,
        filter_s: options.filter_s.map(|s| s.max(0.0)),
    };
    let found = analyse_rail(&series.time_s, &series.current_a, &settings).ok_or_else(|| {
        RecordingError::missing(
            format!(
                "“{}” is no capture of a rail that can be judged: {} samples",
                opened.name,
                series.time_s.len()
            ),
            "at least 8 samples with times that advance are needed",
        )
    })?;
    let mut cautions = found.cautions.clone();
    if series.cut {
        cautions.push(format!("only the first {MOST_SAMPLES} samples were read"));
    }
    let (answer, verdict) = match found.verdict {
        RailVerdict::RidesThrough => (
            RailAnswer::RidesThrough,
            format!(
                "rides through: lowest {}, {} above the reset threshold",
                volts(found.lowest_v),
                volts(found.margin_v)
            ),
        ),
        RailVerdict::Resets => (
            RailAnswer::Resets,
            format!(
                "resets: {} under {}, lowest {}",
                duration(found.under_threshold_s),
                volts(threshold_v),
                volts(found.lowest_v)
            ),
        ),
        RailVerdict::Marginal => (
            RailAnswer::Marginal,
            format!(
                "cannot be told: the lowest, {}, lies within ± {} of the threshold, or under it for less than the filter",
                volts(found.lowest_v),
                volts(tolerance_v)
            ),
        ),
        RailVerdict::NoEvent => (RailAnswer::NoEvent, "no dip in the capture".to_owned()),
    };
    Ok(RailCapture {
        schema_version: SCHEMA_VERSION,
        name: opened.name,
        read_as,
        samples: series.time_s.len() as u64,
        threshold_v,
        tolerance_v,
        threshold_source,
        before_v: found.before_v,
        after_v: found.after_v,
        lowest_v: found.lowest_v,
        lowest_sample_v: found.lowest_sample_v,
        filter_s: found.filter_s,
        filter_derived: found.filter_derived,
        noise_left_v: found.noise_left_v,
        lowest_at_s: found.lowest_at_s,
        dip_v: found.dip_v,
        highest_v: found.highest_v,
        start_s: found.start_s,
        dip_duration_s: found.dip_duration_s,
        under_threshold_s: found.under_threshold_s,
        times_under: found.times_under,
        margin_v: found.margin_v,
        noise_v: found.noise_v,
        answer,
        verdict,
        cautions,
        columns: columns(&series.time_s, &series.current_a),
        written: None,
    })
}

fn columns(time_s: &[f64], rail_v: &[f64]) -> RailColumns {
    let every = time_s.len().div_ceil(COLUMNS).max(1);
    let mut out = RailColumns::default();
    for (t, v) in time_s.chunks(every).zip(rail_v.chunks(every)) {
        out.start_s.push(t[0]);
        out.min_v.push(v.iter().copied().fold(f64::INFINITY, f64::min));
        out.max_v.push(v.iter().copied().fold(f64::NEG_INFINITY, f64::max));
    }
    out
}

/// Circumstances of a trial, over what the recording's document states.
#[derive(Debug, Clone, Default)]
pub struct Circumstances {
    /// What happened to the source.
    pub event: Option<SourceEvent>,
    /// What the board was doing.
    pub doing: Option<Doing>,
    /// How the source came or went.
    pub edge: Option<Edge>,
    /// Voltage of the cell (V).
    pub cell_v: Option<f64>,
    /// The session it belongs to; one of its own if left out.
    pub session: Option<String>,
}

/// Writes the trial that a capture shows into a session of its specimen; the session's document, relative to the folder.
///
/// # Errors
/// The capture decides nothing, or specimen, event or cell voltage are not stated.
pub fn write_trial(
    root: &Path,
    bench: &Bench,
    document: &Recording,
    capture: &RailCapture,
    given: &Circumstances,
) -> Result<String, RecordingError> {
    let resets = match capture.answer {
        RailAnswer::Resets => 1,
        RailAnswer::RidesThrough => 0,
        RailAnswer::Marginal | RailAnswer::NoEvent => {
            return Err(RecordingError::missing(
                format!("this capture decides nothing ({})", capture.verdict),
                "nothing was written; read the reset cause, or capture again",
            ));
        }
    };
    let missing = |what: &str, option: &str| {
        RecordingError::missing(
            format!("a trial needs {what}"),
            format!("say {option}, or write it into the recording's document"),
        )
    };
    let specimen = document
        .specimen
        .as_deref()
        .ok_or_else(|| missing("the specimen", "`specimen` in the recording's document"))?;
    let event =
        given.event.or(document.event).ok_or_else(|| missing("the event", "--event removed"))?;
    let cell_voltage = given
        .cell_v
        .map(Voltage::from_si)
        .or_else(|| document.cell_voltage.clone())
        .ok_or_else(|| missing("the voltage of the cell", "--cell-voltage \"3.60 V\""))?;
    let mut fields = vec![("event", Field::Text(event.word().to_owned()))];
    if let Some(doing) = given.doing.or(document.doing) {
        fields.push(("doing", Field::Text(doing.word().to_owned())));
    }
    if let Some(edge) = given.edge.or(document.edge) {
        fields.push(("edge", Field::Text(edge.word().to_owned())));
    }
    let cell_text = cell_voltage.text().map_or_else(|| cell_voltage.value_text(4), str::to_owned);
    fields.extend([
        ("cell_voltage", Field::Text(cell_text)),
        ("resets", Field::Whole(resets)),
        ("trials", Field::Whole(1)),
        ("note", Field::Text(format!("seen on the rail: {}", capture.verdict))),
    ]);
    let folder = bench.folder();
    let name =
        given.session.clone().unwrap_or_else(|| format!("{} {specimen} rail", document.date));
    let (path, text) = match folder.sessions.get(&name) {
        Some(entry) if entry.document.specimen.as_deref() == Some(specimen) => {
            (entry.path.clone(), entry.text.to_string())
        }
        Some(_) => {
            return Err(RecordingError::missing(
                format!("session “{name}” is not about {specimen}"),
                "name another one with --session",
            ));
        }
        None => (
            format!("sessions/{}.toml", crate::keep::slug(&name)),
            crate::floor::new_session(&name, document),
        ),
    };
    if folder.sessions.get(&name).is_none() && root.join(&path).exists() {
        return Err(RecordingError::missing(
            format!("{path} is there already"),
            "name the session with --session",
        ));
    }
    let place = ("session", "ride_through");
    let (after, _) = put_in_list(&path, &text, place, ("recording", &document.name), &fields)?;
    write_file(root, &path, &after)?;
    Ok(path)
}
