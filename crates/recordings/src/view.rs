//! Looking into a kept recording: windows, wakes laid over each other, what lies between two cursors.

use overwinter_traces::{Analysis, StoredTrace, WakeSummary, Zoom, ZoomCell};
use overwinter_workbench::trace_report::{
    TraceBetween, TraceColumns, TraceOverlay, TraceOverlayWake, TraceWindow,
};

use crate::RecordingError;
use crate::report::{phases, wake};
use crate::text::{charge, current, duration};

/// Columns where nobody says how many.
pub const COLUMNS: usize = 1000;
/// Most columns of a window.
const MOST_COLUMNS: usize = 8192;
/// Most phases and wakes in a window.
const MOST_IN_VIEW: usize = 400;
/// Cells that the figures between two cursors are made of; below this many samples, the samples themselves.
const CURSOR_CELLS: usize = 65_536;

/// Joins the cells to at most `columns`; the number of samples in a column.
fn columns_of(zoom: &Zoom, columns: usize) -> (TraceColumns, u64) {
    let every = zoom.cells.len().div_ceil(columns.max(1)).max(1);
    let mut out = TraceColumns::default();
    for group in zoom.cells.chunks(every) {
        out.start_s.push(group[0].start_s);
        out.min_a.push(group.iter().map(|c| c.min_a).fold(f64::INFINITY, f64::min));
        out.max_a.push(group.iter().map(|c| c.max_a).fold(f64::NEG_INFINITY, f64::max));
        out.mean_a.push(group.iter().map(|c| c.mean_a).sum::<f64>() / group.len() as f64);
    }
    (out, zoom.samples_per_cell * every as u64)
}

/// A stretch for drawing. Every sample of it lies between the extremes of a column.
///
/// # Errors
/// The kept form is damaged or gone.
pub fn window(
    name: &str,
    trace: &mut StoredTrace,
    analysis: &Analysis,
    naming: &[overwinter_traces::NamingRule],
    from_s: Option<f64>,
    to_s: Option<f64>,
    columns: usize,
) -> Result<TraceWindow, RecordingError> {
    let (first_s, last_s) = trace.span_s();
    let from = from_s.unwrap_or(first_s).clamp(first_s, last_s);
    let to = to_s.unwrap_or(last_s).clamp(first_s, last_s);
    let (from_s, to_s) = (from.min(to), from.max(to));
    let columns = columns.clamp(16, MOST_COLUMNS);
    let zoom = trace.zoom(from_s, to_s, columns)?;
    let (columns, samples_per_column) = columns_of(&zoom, columns);
    let seen: Vec<_> =
        analysis.phases.iter().filter(|p| p.end_s > from_s && p.start_s < to_s).cloned().collect();
    let outliers: Vec<u64> =
        analysis.wakes.iter().flat_map(|w| &w.outliers).map(|w| w.number).collect();
    let listed = analysis.wakes.iter().flat_map(|w| &w.listed);
    let wakes = listed
        .filter(|w| w.start_s < to_s && w.start_s + w.duration_s > from_s)
        .take(MOST_IN_VIEW)
        .map(|w| wake(w, &outliers))
        .collect();
    Ok(TraceWindow {
        recording: name.to_owned(),
        from_s,
        to_s,
        first_s,
        last_s,
        samples_per_column,
        resolution_s: samples_per_column as f64 * analysis.sampling.interval_s,
        columns,
        phases: phases(&seen, naming, MOST_IN_VIEW),
        wakes,
        floor_a: analysis.floor.as_ref().map(|f| f.mean_a),
        threshold_a: analysis.floor.as_ref().map(|f| f.threshold_a),
    })
}

/// Charge, mean and extremes between two cursors.
///
/// From the samples where there are fewer than about four million between them (trapezoid, the ends interpolated), else from
/// at least 65 536 cells of the pyramid, the two at the ends counted by their share of time.
///
/// # Errors
/// The kept form is damaged or gone.
pub fn between(
    name: &str,
    trace: &mut StoredTrace,
    analysis: &Analysis,
    from_s: f64,
    to_s: f64,
) -> Result<TraceBetween, RecordingError> {
    if !(from_s.is_finite() && to_s.is_finite()) {
        return Err(RecordingError::missing("a cursor is no time", "give two times in seconds"));
    }
    let (first_s, last_s) = trace.span_s();
    let clamped = (from_s.clamp(first_s, last_s), to_s.clamp(first_s, last_s));
    let (from_s, to_s) = (clamped.0.min(clamped.1), clamped.0.max(clamped.1));
    let interval_s = analysis.sampling.interval_s;
    // One interval more on both sides, so that the ends can be interpolated.
    let zoom = trace.zoom(from_s - 1.01 * interval_s, to_s + 1.01 * interval_s, CURSOR_CELLS)?;
    let sum = if zoom.samples_per_cell == 1 {
        trapezoid(&zoom.cells, from_s, to_s, 3.0 * interval_s)
    } else {
        by_cells(&zoom, from_s, to_s, last_s, interval_s)
    };
    let duration_s = to_s - from_s;
    let mean_a = if sum.covered_s > 0.0 { sum.charge_c / sum.covered_s } else { sum.max_a };
    let floor = analysis.floor.as_ref().map(|f| f.mean_a);
    let text =
        format!("{} in {}, mean {}", charge(sum.charge_c), duration(duration_s), current(mean_a));
    Ok(TraceBetween {
        recording: name.to_owned(),
        from_s,
        to_s,
        duration_s,
        charge_c: sum.charge_c,
        above_floor_c: floor.map(|floor| sum.charge_c - floor * sum.covered_s),
        mean_a,
        min_a: sum.min_a,
        max_a: sum.max_a,
        samples_per_column: zoom.samples_per_cell,
        text,
    })
}

struct Sum {
    charge_c: f64,
    covered_s: f64,
    min_a: f64,
    max_a: f64,
}

/// Between samples the current runs straight; an interval longer than `gap_s` holds no charge.
fn trapezoid(cells: &[ZoomCell], from_s: f64, to_s: f64, gap_s: f64) -> Sum {
    let mut sum =
        Sum { charge_c: 0.0, covered_s: 0.0, min_a: f64::INFINITY, max_a: f64::NEG_INFINITY };
    let mut seen = |x: f64| {
        sum.min_a = sum.min_a.min(x);
        sum.max_a = sum.max_a.max(x);
    };
    let mut charge_c = 0.0;
    let mut covered_s = 0.0;
    for cell in cells.iter().filter(|c| c.start_s >= from_s && c.start_s <= to_s) {
        seen(cell.mean_a);
    }
    for pair in cells.windows(2) {
        let (t0, t1) = (pair[0].start_s, pair[1].start_s);
        let (a, b) = (t0.max(from_s), t1.min(to_s));
        if b <= a || t1 - t0 > gap_s {
            continue;
        }
        let at = |t: f64| pair[0].mean_a + (pair[1].mean_a - pair[0].mean_a) * (t - t0) / (t1 - t0);
        seen(at(a));
        seen(at(b));
        charge_c += 0.5 * (at(a) + at(b)) * (b - a);
        covered_s += b - a;
    }
    sum.charge_c = charge_c;
    sum.covered_s = covered_s;
    if !sum.min_a.is_finite() {
        let nearest = cells.first().map_or(0.0, |c| c.mean_a);
        (sum.min_a, sum.max_a) = (nearest, nearest);
    }
    sum
}

fn by_cells(zoom: &Zoom, from_s: f64, to_s: f64, last_s: f64, interval_s: f64) -> Sum {
    let mut sum =
        Sum { charge_c: 0.0, covered_s: 0.0, min_a: f64::INFINITY, max_a: f64::NEG_INFINITY };
    let width_s = zoom.samples_per_cell as f64 * interval_s;
    for (k, cell) in zoom.cells.iter().enumerate() {
        let next = zoom.cells.get(k + 1).map_or(last_s, |c| c.start_s);
        // A cell with a gap in it is longer than its samples; they count for their own time.
        let end = if next - cell.start_s > 1.5 * width_s { cell.start_s + width_s } else { next };
        let (a, b) = (cell.start_s.max(from_s), end.min(to_s));
        if b <= a {
            continue;
        }
        sum.charge_c += cell.mean_a * (b - a);
        sum.covered_s += b - a;
        sum.min_a = sum.min_a.min(cell.min_a);
        sum.max_a = sum.max_a.max(cell.max_a);
    }
    sum
}

/// Wakes of one activity on a common time base: at most `most`, spread over the recording, outliers first.
///
/// # Errors
/// The kept form is damaged or gone; there is no such activity.
pub fn overlay(
    name: &str,
    trace: &mut StoredTrace,
    analysis: &Analysis,
    activity: usize,
    most: usize,
    points: usize,
) -> Result<TraceOverlay, RecordingError> {
    let report = analysis.wakes.as_ref().filter(|w| activity < w.kinds.len()).ok_or_else(|| {
        RecordingError::missing(
            format!("“{name}” has no wakes of activity {}", activity + 1),
            "a sleep floor with wakes above it is needed",
        )
    })?;
    let (most, points) = (most.clamp(1, 200), points.clamp(16, 4000));
    let of: Vec<&WakeSummary> =
        report.listed.iter().filter(|w| w.kind == Some(activity) && !w.cut).collect();
    let is_outlier = |w: &WakeSummary| report.outliers.iter().any(|o| o.number == w.number);
    let mut chosen: Vec<&WakeSummary> =
        of.iter().copied().filter(|w| is_outlier(w)).take(most / 2).collect();
    let rest: Vec<&WakeSummary> = of.iter().copied().filter(|w| !is_outlier(w)).collect();
    let room = most - chosen.len();
    let every = rest.len().div_ceil(room.max(1)).max(1);
    chosen.extend(rest.into_iter().step_by(every).take(room));
    chosen.sort_by_key(|w| w.number);
    let longest = chosen.iter().map(|w| w.duration_s).fold(0.0, f64::max);
    let (lead_s, span_s) = (0.05 * longest, 1.15 * longest);
    let step_s = span_s / points as f64;
    let time_s: Vec<f64> = (0..points).map(|k| k as f64 * step_s - lead_s).collect();
    let gap_s = 3.0 * analysis.sampling.interval_s;
    let mut wakes = Vec::with_capacity(chosen.len());
    for w in chosen {
        let from = w.start_s - lead_s;
        let zoom = trace.zoom(from, from + span_s, points)?;
        wakes.push(TraceOverlayWake {
            number: w.number + 1,
            start_s: w.start_s,
            charge_c: w.charge_c,
            outlier: is_outlier(w),
            mean_a: resampled(&zoom, from, step_s, points, gap_s),
        });
    }
    let median_a = (0..points)
        .map(|k| {
            let mut column: Vec<f64> = wakes.iter().filter_map(|w| w.mean_a[k]).collect();
            column.sort_by(f64::total_cmp);
            match column.len() {
                0 => None,
                n if n % 2 == 1 => Some(column[n / 2]),
                n => Some(0.5 * (column[n / 2 - 1] + column[n / 2])),
            }
        })
        .collect();
    let activity = analysis.load.activities.get(activity);
    Ok(TraceOverlay {
        recording: name.to_owned(),
        activity: activity.map_or_else(String::new, |a| a.name.clone()),
        time_s,
        wakes,
        median_a,
    })
}

/// Means over equal steps, each cell counted by the time it shares with a step; `None` where no cell reaches.
fn resampled(zoom: &Zoom, from_s: f64, step_s: f64, points: usize, gap_s: f64) -> Vec<Option<f64>> {
    let mut sum = vec![0.0; points];
    let mut time = vec![0.0; points];
    let widest = zoom.samples_per_cell as f64 * gap_s;
    for (k, cell) in zoom.cells.iter().enumerate() {
        let width = zoom.cells.get(k + 1).map_or(widest / 3.0, |next| next.start_s - cell.start_s);
        let end = cell.start_s + if width > widest { widest / 3.0 } else { width };
        let first = ((cell.start_s - from_s) / step_s).floor().max(0.0) as usize;
        for p in first..points {
            let start = from_s + p as f64 * step_s;
            let shared = end.min(start + step_s) - cell.start_s.max(start);
            if start >= end {
                break;
            }
            if shared > 0.0 {
                sum[p] += cell.mean_a * shared;
                time[p] += shared;
            }
        }
    }
    sum.iter().zip(&time).map(|(s, t)| (*t > 0.0).then(|| s / t)).collect()
}
