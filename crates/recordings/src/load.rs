//! From a trace to a project: the load as an activity, with its uncertainties; comments of the project stay.

use overwinter_documents::types::project::Project;
use overwinter_documents::types::recording::Recording;
use overwinter_documents::types::session::Source as Fed;
use overwinter_documents::types::supply::RegulatorKind;
use overwinter_documents::{Entry, Origin};
use overwinter_quantity::{
    ChargeDimension, CurrentDimension, Dimension, DurationDimension, Quantity,
};
use overwinter_store::{Field, put_in_list};
use overwinter_traces::{Analysis, Estimate};
use overwinter_workbench::bench::Bench;
use overwinter_workbench::report::SCHEMA_VERSION;
use overwinter_workbench::trace_report::TraceLoad;

use crate::RecordingError;
use crate::report::limit_a;
use crate::text::{duration, figure, printed};

/// What is to be written.
#[derive(Debug, Clone, Default)]
pub struct Loading {
    /// Which of the trace's activities, from 0; the most frequent is 0.
    pub activity: usize,
    /// The project's activity that it becomes; the project's only one, else the trace's own name.
    pub name: Option<String>,
    /// The project takes the trace's interval too.
    pub interval: bool,
    /// Phase by phase instead of one charge.
    pub segments: bool,
}

/// The project's text with the load in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Loaded {
    /// What was done, for reading.
    pub report: TraceLoad,
    /// The project document's text before.
    pub before: String,
    /// And after.
    pub after: String,
}

/// Standard uncertainty with the instrument's rectangular limits, half-width `limit`: u² = u_A² + limit²/3 (JCGM 100:2008, 4.3.7).
fn with_limit(estimate: &Estimate, limit: Option<f64>) -> Estimate {
    let b = limit.map(|half_width| half_width / 3.0_f64.sqrt());
    let u = match (estimate.standard_uncertainty, b) {
        (Some(a), Some(b)) => Some((a * a + b * b).sqrt()),
        (a, b) => a.or(b),
    };
    Estimate { standard_uncertainty: u, ..*estimate }
}

fn text<D: Dimension>(estimate: &Estimate) -> String {
    printed::<D>(estimate.value, estimate.standard_uncertainty)
}

/// Puts the load of an analysis into a project of the folder; nothing is written to the disk here.
///
/// # Errors
/// The trace has no such activity, the project is not in the folder, or its document has no place for it.
pub fn load(
    bench: &Bench,
    project: &Entry<Project>,
    name: &str,
    analysis: &Analysis,
    document: Option<&Recording>,
    loading: &Loading,
) -> Result<Loaded, RecordingError> {
    if project.origin == Origin::Library {
        return Err(RecordingError::missing("this project is not of the folder", "copy it there"));
    }
    let folder = bench.folder();
    let activities = &analysis.load.activities;
    let activity = activities.get(loading.activity).ok_or_else(|| {
        RecordingError::missing(
            format!("“{name}” has {} activities, not {}", activities.len(), loading.activity + 1),
            "look at them with `trace read`; a load needs a sleep floor and whole wakes above it",
        )
    })?;
    let kind = analysis.wakes.as_ref().and_then(|w| w.kinds.get(loading.activity));
    let (duration_s, deviation) =
        kind.map_or((0.0, None), |k| (k.duration_mean_s, k.duration_deviation_s));
    if duration_s <= 0.0 {
        return Err(RecordingError::missing(
            format!("the wakes of “{name}” have no duration"),
            "a longer recording may help",
        ));
    }
    let count = activity.charge_c.count;
    let lasts = Estimate {
        value: duration_s,
        standard_uncertainty: deviation.map(|s| s / (count as f64).sqrt()),
        standard_deviation: deviation,
        count,
    };
    let mean = activity.charge_c.value / duration_s;
    let limit = limit_a(document, folder, mean);
    let charge = with_limit(&activity.charge_c, limit.map(|limit| limit * duration_s));
    let top = activity.segments.iter().max_by(|a, b| a.peak_a.total_cmp(&b.peak_a));
    let (peak_a, peak_s) = top.map_or((0.0, 0.0), |s| (s.peak_a, s.peak_s));
    let own = &project.document.activities;
    let becomes = loading.name.clone().unwrap_or_else(|| match own.as_slice() {
        [only] => only.name.clone(),
        _ => activity.name.clone(),
    });
    let there = own.iter().find(|a| a.name == becomes);
    let recorded_interval_s = activity.interval_s.map(|e| e.value);
    let every_s = match (there, recorded_interval_s) {
        (Some(there), _) if !loading.interval => there.every.si(),
        (_, Some(recorded)) => recorded,
        _ => {
            return Err(RecordingError::missing(
                format!("“{name}” shows one wake only, so it tells no interval"),
                "name an activity of the project with --activity, whose interval holds",
            ));
        }
    };
    let source = format!("recording {name}, {count} wakes");
    let measured = |text: String| {
        Field::Table(vec![
            ("value", text),
            ("kind", "measured".to_owned()),
            ("source", source.clone()),
        ])
    };
    let interval_s = analysis.sampling.interval_s;
    // Of bursts the trace tells how long they last together; how long one does stays as the project has it.
    let own_peak = there.and_then(|a| a.peak.as_ref()).and_then(|p| p.duration.as_ref());
    let bursts = top.is_some_and(|s| s.bursts);
    let peak = peak_table(
        peak_a,
        if bursts { own_peak.map(|d| d.value.to_string()) } else { Some(short(peak_s)) },
    );
    let mut fields: Vec<(&str, Field)> = Vec::new();
    if there.is_none() || loading.interval {
        fields.push(("every", Field::Text(duration(every_s))));
    }
    if loading.segments {
        let floor = analysis.floor.as_ref().map_or(0.0, |f| f.mean_a);
        let rows = activity.segments.iter().map(|s| {
            let above = Estimate { value: (s.current_a.value - floor).max(0.0), ..s.current_a };
            let at = limit_a(document, folder, s.current_a.value);
            // A phase that is not in every wake counts by its share.
            let lasts = Estimate { value: s.duration_s.value * s.seen_in, ..s.duration_s };
            vec![
                ("name", Field::Text(s.name.clone())),
                ("duration", Field::Text(crate::text::lasts(&lasts, interval_s).text)),
                ("current", measured(text::<CurrentDimension>(&with_limit(&above, at)))),
                ("peak", peak_table(s.peak_a, (!s.bursts).then(|| short(s.peak_s)))),
            ]
        });
        fields.push(("segments", Field::List(rows.collect())));
        fields.extend([
            ("charge", Field::Absent),
            ("duration", Field::Absent),
            ("peak", Field::Absent),
        ]);
    } else {
        fields.push(("charge", measured(text::<ChargeDimension>(&charge))));
        fields.push(("duration", Field::Text(crate::text::lasts(&lasts, interval_s).text)));
        fields.push(("peak", peak));
        fields.push(("segments", Field::Absent));
    }
    let before = project.text.to_string();
    let (after, new) = put_in_list(
        &project.path,
        &before,
        ("project", "activities"),
        ("name", &becomes),
        &fields,
    )?;
    let report = TraceLoad {
        schema_version: SCHEMA_VERSION,
        recording: name.to_owned(),
        project: project.document.name.clone(),
        file: project.path.clone(),
        activity: becomes,
        new,
        every_s,
        recorded_interval_s,
        cautions: {
            let mut all = cautions(bench, analysis, document, &charge, limit, there);
            if bursts && own_peak.is_none() {
                all.push("how long one burst of the peak lasts is not told: without a `duration` it counts as long".to_owned());
            }
            all
        },
        charge_c: figure::<ChargeDimension>(&charge),
        duration_s: crate::text::lasts(&lasts, interval_s),
        peak_a,
        peak_s,
        written: false,
    };
    Ok(Loaded { report, before, after })
}

fn short(seconds: f64) -> String {
    Quantity::<DurationDimension>::from_si(seconds).value_text(3)
}

fn peak_table(peak_a: f64, duration: Option<String>) -> Field {
    let mut pairs = vec![("current", Quantity::<CurrentDimension>::from_si(peak_a).value_text(3))];
    pairs.extend(duration.map(|text| ("duration", text)));
    Field::Table(pairs)
}

fn cautions(
    bench: &Bench,
    analysis: &Analysis,
    document: Option<&Recording>,
    charge: &Estimate,
    limit: Option<f64>,
    there: Option<&overwinter_documents::types::project::Activity>,
) -> Vec<String> {
    let mut out = Vec::new();
    if charge.standard_uncertainty.is_none() {
        out.push("one wake tells no spread: the forecast assumes one".to_owned());
    } else if limit.is_none() {
        out.push(
            "the instrument's own limits are not in the uncertainty: no instrument and range are stated".to_owned(),
        );
    }
    if let Some(retries) = there.and_then(|a| a.retries.as_ref()) {
        out.push(format!(
            "the project multiplies the charge by {} for retries: is that in the recording already?",
            retries.value
        ));
    }
    if let Some(stop) = &analysis.extent.stopped {
        out.push(format!("the trace ends early at row {}: {}", stop.row, stop.reason));
    }
    let cut = |kind| analysis.defects.iter().find(|d| d.kind == kind).map(|d| d.message.clone());
    out.extend(cut(overwinter_traces::DefectKind::Clipping));
    out.extend(cut(overwinter_traces::DefectKind::WrongUnit));
    out.extend(cut(overwinter_traces::DefectKind::Gap));
    let switching = document
        .filter(|d| d.source.is_none_or(|fed| fed != Fed::Rail))
        .and_then(|d| bench.specimen(d.specimen.as_deref()?))
        .and_then(|(board, specimen)| bench.folder().regulator(&board.supply_of(specimen)))
        .and_then(|(kind, _)| kind)
        .is_some_and(|kind| !matches!(kind, RegulatorKind::Linear | RegulatorKind::Direct));
    if switching {
        out.push(
            "recorded in front of a switching regulator: a project's charge is that of the rail, which differs by V_cell·η/V_rail; record at the rail, or allow for it"
                .to_owned(),
        );
    }
    out
}
