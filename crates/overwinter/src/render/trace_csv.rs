//! Traces for spreadsheets: long tables of one figure a row, SI.

use overwinter_traces::Cell;
use overwinter_workbench::trace_report::{
    RailCapture, RecordingLine, TraceChange, TraceComparison, TraceFigure, TraceFloorReading,
    TraceKept, TraceLoad, TraceReport,
};

fn number(x: f64) -> String {
    format!("{x}")
}

fn maybe(x: Option<f64>) -> String {
    x.map_or_else(String::new, number)
}

fn head(names: &[&str]) -> Vec<String> {
    names.iter().map(|n| (*n).to_owned()).collect()
}

/// Rows `part, what, value, standard uncertainty, standard deviation, count, unit`.
struct Long(Vec<Vec<String>>);

impl Long {
    fn new() -> Self {
        Self(vec![head(&[
            "part",
            "what",
            "value",
            "standard_uncertainty",
            "standard_deviation",
            "count",
            "unit",
        ])])
    }

    fn plain(&mut self, part: &str, what: &str, value: f64, unit: &str) {
        self.0.push(vec![
            part.to_owned(),
            what.to_owned(),
            number(value),
            String::new(),
            String::new(),
            String::new(),
            unit.to_owned(),
        ]);
    }

    fn maybe(&mut self, part: &str, what: &str, value: Option<f64>, unit: &str) {
        if let Some(value) = value {
            self.plain(part, what, value, unit);
        }
    }

    fn figure(&mut self, part: &str, what: &str, f: &TraceFigure, unit: &str) {
        self.0.push(vec![
            part.to_owned(),
            what.to_owned(),
            number(f.value),
            maybe(f.standard_uncertainty),
            maybe(f.standard_deviation),
            f.count.to_string(),
            unit.to_owned(),
        ]);
    }
}

/// Everything of a trace but its wakes and phases one by one, which JSON has.
pub(crate) fn read(r: &TraceReport) -> Vec<Vec<String>> {
    let mut t = Long::new();
    let whole = "trace";
    t.plain(whole, "samples", r.samples as f64, "");
    t.plain(whole, "refused rows", r.refused_rows as f64, "");
    t.plain(whole, "first time", r.first_s, "s");
    t.plain(whole, "last time", r.last_s, "s");
    t.plain(whole, "covered", r.covered_s, "s");
    t.plain(whole, "rate", r.rate_hz, "Hz");
    t.plain(whole, "charge", r.charge_c, "C");
    t.plain(whole, "mean", r.mean_a, "A");
    t.plain(whole, "RMS", r.rms_a, "A");
    t.plain(whole, "lowest", r.min_a, "A");
    t.plain(whole, "highest", r.max_a, "A");
    for q in &r.quantiles {
        t.plain(whole, &format!("quantile {}", q.probability), q.current_a, "A");
    }
    if let Some(v) = &r.voltage {
        t.plain(whole, "voltage", v.mean_v, "V");
        t.plain(whole, "energy", v.energy_j, "J");
    }
    if let Some(f) = &r.floor {
        t.figure("asleep", "floor", &f.current_a, "A");
        t.plain("asleep", "threshold", f.threshold_a, "A");
        t.plain("asleep", "time", f.asleep_s, "s");
        t.plain("asleep", "bursts", f.bursts as f64, "");
        t.maybe("asleep", "burst period", f.burst_period_s, "s");
        t.maybe("asleep", "burst charge", f.burst_charge_c, "C");
    }
    for d in &r.drift {
        t.plain("drift", &format!("Allan deviation over {} s", d.tau_s), d.deviation_a, "A");
    }
    t.maybe("drift", "slope", r.drift_a_per_s, "A/s");
    t.plain("wakes", "all", r.wakes as f64, "");
    t.plain("wakes", "cut", r.cut_wakes as f64, "");
    t.plain("wakes", "outliers", r.outliers.len() as f64, "");
    for a in &r.activities {
        if let Some(every) = &a.interval_s {
            t.figure(&a.name, "interval", every, "s");
        }
        t.maybe(&a.name, "jitter", a.jitter_s, "s");
        t.figure(&a.name, "duration", &a.duration_s, "s");
        t.figure(&a.name, "charge", &a.charge_c, "C");
        t.plain(&a.name, "peak", a.peak_a, "A");
        for p in &a.phases {
            let part = format!("{} / {}", a.name, p.name);
            t.figure(&part, "duration", &p.duration_s, "s");
            t.figure(&part, "current", &p.current_a, "A");
            t.plain(&part, "charge", p.charge_c, "C");
            t.plain(&part, "peak", p.peak_a, "A");
            t.plain(&part, "seen in", p.seen_in, "");
        }
    }
    t.maybe("load", "mean", r.load_mean_a, "A");
    for d in &r.defects {
        t.plain("defect", &d.kind, d.count as f64, "");
    }
    t.0
}

/// Recordings, one a row.
pub(crate) fn list(lines: &[RecordingLine]) -> Vec<Vec<String>> {
    let mut rows = vec![head(&[
        "recording",
        "date",
        "specimen",
        "board",
        "trace",
        "kept",
        "samples",
        "floor_a",
        "floor_u_a",
        "wakes",
        "charge_c",
        "charge_u_c",
        "defects",
        "problem",
    ])];
    for l in lines {
        let s = l.summary.as_ref();
        let floor = s.and_then(|s| s.floor_a.as_ref());
        let wake = s.and_then(|s| s.activities.first()).map(|a| &a.charge_c);
        let text = |t: &Option<String>| t.clone().unwrap_or_default();
        rows.push(vec![
            l.name.clone(),
            l.date.clone(),
            text(&l.specimen),
            text(&l.board),
            l.trace.clone(),
            text(&l.kept),
            s.map_or_else(String::new, |s| s.samples.to_string()),
            maybe(floor.map(|f| f.value)),
            maybe(floor.and_then(|f| f.standard_uncertainty)),
            s.map_or_else(String::new, |s| s.wakes.to_string()),
            maybe(wake.map(|f| f.value)),
            maybe(wake.and_then(|f| f.standard_uncertainty)),
            s.map_or_else(String::new, |s| {
                s.defects.iter().map(|d| d.kind.as_str()).collect::<Vec<_>>().join(" ")
            }),
            text(&l.problem),
        ]);
    }
    rows
}

/// What was kept.
pub(crate) fn kept(k: &TraceKept) -> Vec<Vec<String>> {
    vec![
        head(&["recording", "document", "kept", "kept_bytes", "source_bytes", "sha256", "samples"]),
        vec![
            k.recording.clone(),
            k.document.clone(),
            k.kept.clone(),
            k.kept_bytes.to_string(),
            k.source_bytes.map_or_else(String::new, |b| b.to_string()),
            k.sha256.clone().unwrap_or_default(),
            k.samples.to_string(),
        ],
    ]
}

/// The envelope of a drawing.
pub(crate) fn cells(cells: &[Cell]) -> Vec<Vec<String>> {
    let mut rows = vec![head(&["start_s", "min_a", "mean_a", "max_a"])];
    rows.extend(
        cells
            .iter()
            .map(|c| vec![number(c.start_s), number(c.min_a), number(c.mean_a()), number(c.max_a)]),
    );
    rows
}

/// A comparison, one figure a row.
pub(crate) fn compare(c: &TraceComparison) -> Vec<Vec<String>> {
    let mut rows = vec![head(&[
        "part",
        "what",
        "before",
        "u_before",
        "after",
        "u_after",
        "difference",
        "u_difference",
        "p_value",
        "unit",
    ])];
    let mut row = |part: &str, what: &str, x: &TraceChange, unit: &str| {
        rows.push(vec![
            part.to_owned(),
            what.to_owned(),
            number(x.before.value),
            maybe(x.before.standard_uncertainty),
            number(x.after.value),
            maybe(x.after.standard_uncertainty),
            number(x.difference),
            maybe(x.standard_uncertainty),
            maybe(x.p_value),
            unit.to_owned(),
        ]);
    };
    if let Some(sleep) = &c.sleep_a {
        row("asleep", "floor", sleep, "A");
    }
    for w in &c.wakes {
        row(&w.before, "charge", &w.charge_c, "C");
        if let Some(every) = &w.interval_s {
            row(&w.before, "interval", every, "s");
        }
    }
    for p in &c.phases {
        let part = format!("{} / {}", p.activity, p.phase);
        if let Some(x) = &p.duration_s {
            row(&part, "duration", x, "s");
        }
        if let Some(x) = &p.current_a {
            row(&part, "current", x, "A");
        }
    }
    if let Some(d) = &c.days {
        rows.push(vec![
            d.project.clone(),
            "days".to_owned(),
            number(d.before_days),
            String::new(),
            number(d.after_days),
            String::new(),
            number(d.gained_days),
            maybe(d.standard_uncertainty_days),
            String::new(),
            "d".to_owned(),
        ]);
    }
    rows
}

/// A rail capture.
pub(crate) fn rail(r: &RailCapture) -> Vec<Vec<String>> {
    let mut t = Long::new();
    let part = "rail";
    t.plain(part, "threshold", r.threshold_v, "V");
    t.plain(part, "tolerance", r.tolerance_v, "V");
    t.plain(part, "before", r.before_v, "V");
    t.plain(part, "after", r.after_v, "V");
    t.plain(part, "lowest", r.lowest_v, "V");
    t.plain(part, "lowest sample", r.lowest_sample_v, "V");
    t.plain(part, "filter", r.filter_s, "s");
    t.plain(part, "noise left", r.noise_left_v, "V");
    t.plain(part, "lowest at", r.lowest_at_s, "s");
    t.plain(part, "dip", r.dip_v, "V");
    t.plain(part, "dip lasts", r.dip_duration_s, "s");
    t.plain(part, "under the threshold", r.under_threshold_s, "s");
    t.plain(part, "times under", r.times_under as f64, "");
    t.plain(part, "margin", r.margin_v, "V");
    t.plain(part, "noise", r.noise_v, "V");
    t.0
}

/// A floor.
pub(crate) fn floor(f: &TraceFloorReading) -> Vec<Vec<String>> {
    let mut t = Long::new();
    t.figure(&f.specimen, "sleep current", &f.current_a, "A");
    if let Some(limit) = f.limit_a {
        t.plain(&f.specimen, "instrument limit", limit, "A");
    }
    t.plain(&f.specimen, "zero", f.zero_a, "A");
    t.plain(&f.specimen, "windows", f.windows as f64, "");
    t.plain(&f.specimen, "asleep", f.asleep_s, "s");
    t.0
}

/// A load.
pub(crate) fn load(l: &TraceLoad) -> Vec<Vec<String>> {
    let mut t = Long::new();
    t.plain(&l.activity, "every", l.every_s, "s");
    t.figure(&l.activity, "charge", &l.charge_c, "C");
    t.figure(&l.activity, "duration", &l.duration_s, "s");
    t.plain(&l.activity, "peak", l.peak_a, "A");
    t.plain(&l.activity, "peak lasts", l.peak_s, "s");
    t.0
}
