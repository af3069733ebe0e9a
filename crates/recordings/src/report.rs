//! From an analysis to the report a person reads.

use overwinter_documents::Folder;
use overwinter_documents::types::recording::Recording;
use overwinter_quantity::{AnyQuantity, ChargeDimension, CurrentDimension};
use overwinter_traces::{
    Analysis, Defect, DefectKind, Estimate, NamingRule, Phase, WakeKind, WakeSummary,
};
use overwinter_workbench::report::SCHEMA_VERSION;
use overwinter_workbench::trace_report::{
    TraceActivity, TraceActivityPhase, TraceDefect, TraceDrift, TraceFloor, TracePhase, TracePlace,
    TraceQuantile, TraceReport, TraceStop, TraceSummary, TraceVoltage, TraceWake,
};

use crate::subject::rules;
use crate::text::{charge, current, figure, lasts};

/// Most phases of a whole trace in a report.
const MOST_PHASES: usize = 2000;

/// The whole report. `document` gives the names of phases and, with `folder`, the instrument's limits.
pub fn report(
    name: &str,
    analysis: &Analysis,
    document: Option<&Recording>,
    folder: &Folder,
) -> TraceReport {
    let a = analysis;
    let naming = document.map_or_else(Vec::new, rules);
    let outliers: Vec<u64> =
        a.wakes.iter().flat_map(|w| &w.outliers).map(|wake| wake.number).collect();
    let wakes = |list: &[WakeSummary]| list.iter().map(|w| wake(w, &outliers)).collect();
    TraceReport {
        schema_version: SCHEMA_VERSION,
        name: name.to_owned(),
        read_as: a.read_as.clone(),
        samples: a.extent.samples,
        rows: a.extent.rows,
        refused_rows: a.extent.refused_rows,
        first_s: a.extent.first_s,
        last_s: a.extent.last_s,
        covered_s: a.extent.covered_s,
        stopped: a.extent.stopped.as_ref().map(|s| TraceStop {
            row: s.row,
            byte: s.byte,
            reason: s.reason.clone(),
        }),
        interval_s: a.sampling.interval_s,
        rate_hz: a.sampling.rate_hz,
        even: a.sampling.even,
        charge_c: a.current.charge_c,
        mean_a: a.current.mean_a,
        rms_a: a.current.rms_a,
        min_a: a.current.min.value,
        min_at_s: a.current.min.time_s,
        max_a: a.current.max.value,
        max_at_s: a.current.max.time_s,
        quantiles: a
            .quantiles
            .iter()
            .map(|q| TraceQuantile {
                probability: q.probability,
                current_a: q.current_a,
                half_width_a: q.half_width_a,
            })
            .collect(),
        voltage: a.voltage.as_ref().map(|v| TraceVoltage {
            mean_v: v.mean_v,
            min_v: v.min_v,
            max_v: v.max_v,
            energy_j: v.energy_j,
        }),
        floor: floor(a),
        drift: a.drift.iter().flat_map(|d| &d.points).map(drift).collect(),
        drift_a_per_s: a.drift.as_ref().map(|d| d.slope_a_per_s),
        wakes: a.wakes.as_ref().map_or(0, |w| w.count),
        cut_wakes: a.wakes.as_ref().map_or(0, |w| w.cut),
        activities: activities(a),
        wake_list: a.wakes.as_ref().map_or_else(Vec::new, |w| wakes(&w.listed)),
        outliers: a.wakes.as_ref().map_or_else(Vec::new, |w| wakes(&w.outliers)),
        phases: phases(&a.phases, &naming, MOST_PHASES),
        load_mean_a: a.load.mean_current_a(),
        defects: a.defects.iter().map(defect).collect(),
        remarks: remarks(a, document, folder),
    }
}

/// A recording in short.
pub fn summary(analysis: &Analysis) -> TraceSummary {
    TraceSummary {
        samples: analysis.extent.samples,
        first_s: analysis.extent.first_s,
        last_s: analysis.extent.last_s,
        rate_hz: analysis.sampling.rate_hz,
        mean: analysis.current.mean_a,
        floor_a: floor(analysis).map(|floor| floor.current_a),
        wakes: analysis.wakes.as_ref().map_or(0, |w| w.count),
        activities: activities(analysis),
        defects: analysis.defects.iter().map(defect).collect(),
    }
}

/// The floor as an estimate: windows are its repetitions.
pub(crate) fn floor_estimate(analysis: &Analysis) -> Option<Estimate> {
    let floor = analysis.floor.as_ref()?;
    Some(Estimate {
        value: floor.mean_a,
        standard_uncertainty: floor.standard_uncertainty_a,
        standard_deviation: None,
        count: floor.windows,
    })
}

fn floor(analysis: &Analysis) -> Option<TraceFloor> {
    let floor = analysis.floor.as_ref()?;
    Some(TraceFloor {
        current_a: figure::<CurrentDimension>(&floor_estimate(analysis)?),
        mode_a: floor.mode_a,
        threshold_a: floor.threshold_a,
        asleep_s: floor.asleep_s,
        windows: floor.windows,
        window_s: floor.window_s,
        bursts: floor.bursts,
        burst_period_s: floor.burst_period_s,
        burst_charge_c: floor.burst_charge_c,
    })
}

fn drift(point: &overwinter_traces::DriftPoint) -> TraceDrift {
    TraceDrift { tau_s: point.tau_s, deviation_a: point.deviation_a }
}

/// Mean over wakes with the standard error s/√n.
fn over_wakes(mean: f64, deviation: Option<f64>, count: u64) -> Estimate {
    Estimate {
        value: mean,
        standard_uncertainty: deviation.map(|s| s / (count as f64).sqrt()),
        standard_deviation: deviation,
        count,
    }
}

/// What the board does awake.
pub(crate) fn activities(analysis: &Analysis) -> Vec<TraceActivity> {
    let kinds: &[WakeKind] = analysis.wakes.as_ref().map_or(&[], |w| &w.kinds);
    let one = |(activity, kind): (&overwinter_traces::Activity, &WakeKind)| {
        let whole: f64 = activity
            .segments
            .iter()
            .map(|s| s.duration_s.value * s.current_a.value * s.seen_in)
            .sum();
        let phases = activity.segments.iter().map(|s| {
            let charge_c = s.duration_s.value * s.current_a.value * s.seen_in;
            TraceActivityPhase {
                name: s.name.clone(),
                duration_s: lasts(&s.duration_s, analysis.sampling.interval_s),
                current_a: figure::<CurrentDimension>(&s.current_a),
                charge_c,
                share: if whole > 0.0 { charge_c / whole } else { 0.0 },
                peak_a: s.peak_a,
                peak_s: s.peak_s,
                seen_in: s.seen_in,
                bursts: s.bursts,
            }
        });
        let duration = over_wakes(kind.duration_mean_s, kind.duration_deviation_s, kind.count);
        TraceActivity {
            name: activity.name.clone(),
            wakes: kind.count,
            interval_s: activity
                .interval_s
                .as_ref()
                .map(|every| lasts(every, analysis.sampling.interval_s)),
            jitter_s: kind.jitter_s,
            duration_s: lasts(&duration, analysis.sampling.interval_s),
            charge_c: figure::<ChargeDimension>(&activity.charge_c),
            charge_min_c: kind.charge_min_c,
            charge_max_c: kind.charge_max_c,
            peak_a: kind.peak_a,
            phases: phases.collect(),
        }
    };
    analysis.load.activities.iter().zip(kinds).map(one).collect()
}

pub(crate) fn wake(wake: &WakeSummary, outliers: &[u64]) -> TraceWake {
    TraceWake {
        number: wake.number + 1,
        start_s: wake.start_s,
        duration_s: wake.duration_s,
        charge_c: wake.charge_c,
        peak_a: wake.peak_a,
        activity: wake.kind,
        cut: wake.cut,
        outlier: outliers.contains(&wake.number),
    }
}

/// The longest `most` phases, in the order of time, with the person's names.
pub(crate) fn phases(all: &[Phase], naming: &[NamingRule], most: usize) -> Vec<TracePhase> {
    let length = |p: &Phase| p.end_s - p.start_s;
    let mut shortest = f64::NEG_INFINITY;
    if all.len() > most {
        let mut lengths: Vec<f64> = all.iter().map(length).collect();
        lengths.sort_by(|a, b| b.total_cmp(a));
        shortest = lengths[most - 1];
    }
    let shown = all.iter().filter(|p| length(p) >= shortest).take(most);
    shown
        .map(|p| TracePhase {
            name: naming.iter().find(|r| r.holds(p.mean_a, length(p))).map(|r| r.name.clone()),
            start_s: p.start_s,
            end_s: p.end_s,
            mean_a: p.mean_a,
            min_a: p.min_a,
            max_a: p.max_a,
            charge_c: p.charge_c,
            bursts: p.bursts,
        })
        .collect()
}

/// The trade's word for a kind of defect.
pub fn defect_word(kind: DefectKind) -> &'static str {
    match kind {
        DefectKind::Gap => "gap",
        DefectKind::ClockBackwards => "clock backwards",
        DefectKind::Clipping => "clipping",
        DefectKind::Negative => "negative current",
        DefectKind::RangeSwitch => "range switch",
        DefectKind::Quantisation => "quantisation",
        DefectKind::WrongUnit => "wrong unit",
        DefectKind::UnevenStamps => "uneven stamps",
        DefectKind::RefusedRow => "unreadable row",
        DefectKind::NotANumber => "not a number",
    }
}

fn defect(defect: &Defect) -> TraceDefect {
    let rows = matches!(defect.kind, DefectKind::RefusedRow | DefectKind::NotANumber);
    let place = |p: &overwinter_traces::Located| {
        if rows {
            let row = Some(p.value as u64);
            TracePlace { time_s: None, row, byte: Some(p.sample), value: None }
        } else {
            TracePlace { time_s: Some(p.time_s), row: None, byte: None, value: Some(p.value) }
        }
    };
    TraceDefect {
        kind: defect_word(defect.kind).to_owned(),
        count: defect.count,
        seconds: defect.seconds,
        message: defect.message.clone(),
        places: defect.places.iter().map(place).collect(),
    }
}

/// Half-width of the instrument's limits at a current, where instrument and range are stated and say so.
pub(crate) fn limit_a(document: Option<&Recording>, folder: &Folder, at_a: f64) -> Option<f64> {
    let document = document?;
    let range = folder.range(document.instrument.as_deref(), document.range.as_deref())?;
    let resolution = range.resolution.as_ref().map(AnyQuantity::si);
    range.accuracy.as_ref()?.limit(at_a, resolution, Some(range.limit.si()))
}

fn remarks(analysis: &Analysis, document: Option<&Recording>, folder: &Folder) -> Vec<String> {
    let floor = analysis.floor.as_ref().map(|f| f.mean_a);
    let limit = floor.and_then(|floor| limit_a(document, folder, floor));
    let mut remarks = Vec::new();
    match (document, limit) {
        (Some(document), Some(limit)) => {
            let instrument = document.instrument.as_deref().unwrap_or_default();
            let mut text = format!(
                "uncertainties are of this record alone; the {} range of {instrument} adds ± {} at the floor",
                document.range.as_deref().unwrap_or_default(),
                current(limit)
            );
            if let Some((kind, limit)) = analysis.wakes.as_ref().and_then(|w| {
                let kind = w.kinds.first()?;
                let mean = kind.charge_mean_c / kind.duration_mean_s;
                Some((kind, limit_a(Some(document), folder, mean)?))
            }) {
                let width = limit * kind.duration_mean_s;
                text.push_str(&format!(" and ± {} to a wake's charge", charge(width)));
            }
            remarks.push(text + " (limits)");
        }
        _ => remarks.push(
            "uncertainties are of this record alone: without instrument and range its accuracy is not in them"
                .to_owned(),
        ),
    }
    remarks
}
