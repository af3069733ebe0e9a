//! Traces for people: how a file was read and what it holds, recordings, what was kept. The others stand in `trace_more`.

use overwinter_traces::counted;
use overwinter_workbench::text::{charge, current, duration, percent, significant};
use overwinter_workbench::trace_report::{
    RecordingLine, TraceActivity, TraceDefect, TraceFloor, TraceKept, TracePlace, TraceReport,
    TraceShows, TraceWake,
};

use super::columns::{Cell, Columns};
use super::{CARE, DIM, HEADING, list as bullets, styled, width, wrap};

pub(super) fn heading(text: &str) -> String {
    format!("\n{}\n", styled(HEADING, text))
}

/// A number of samples with blanks between thousands.
pub(super) fn grouped(n: u64) -> String {
    let digits = n.to_string();
    let mut out = String::new();
    for (k, c) in digits.chars().enumerate() {
        if k > 0 && (digits.len() - k).is_multiple_of(3) {
            out.push('\u{a0}');
        }
        out.push(c);
    }
    out
}

/// `12.6 ± 0.7 µA` without the coverage factor, which stands in the heading.
pub(super) fn bare(text: &str) -> String {
    text.replace(" (k = 2)", "")
}

/// A time inside a trace.
pub(super) fn at(seconds: f64) -> String {
    format!("{} s", significant(seconds, 7))
}

/// The whole report.
pub(crate) fn read(r: &TraceReport) -> String {
    let mut out = format!("{}\n{}\n\n", styled(HEADING, &r.name), wrap(&r.read_as, 0));
    let even = if r.even { "evenly" } else { "unevenly" };
    out.push_str(&wrap(
        &format!(
            "{} samples over {}, {even}, {} Hz.",
            grouped(r.samples),
            duration(r.last_s - r.first_s),
            significant(r.rate_hz, 4)
        ),
        0,
    ));
    out.push('\n');
    if r.refused_rows > 0 {
        out.push_str(&format!("{} of {} rows gave no sample.\n", r.refused_rows, r.rows));
    }
    if let Some(stop) = &r.stopped {
        let text = format!(
            "Ends early at row {}, byte {}: {}. What follows covers what was read before.",
            stop.row, stop.byte, stop.reason
        );
        out.push_str(&format!("{}\n", styled(CARE, &wrap(&text, 0))));
    }
    let mut whole = Columns::new(&[]);
    whole.row([
        "  charge",
        &charge(r.charge_c),
        "  lowest",
        &format!("{} at {}", current(r.min_a), at(r.min_at_s)),
    ]);
    whole.row([
        "  mean",
        &current(r.mean_a),
        "  highest",
        &format!("{} at {}", current(r.max_a), at(r.max_at_s)),
    ]);
    let middle = r.quantiles.iter().find(|q| q.probability == 0.5);
    whole.row([
        "  RMS",
        &current(r.rms_a),
        "  median",
        &middle.map_or_else(|| "unknown".to_owned(), |q| current(q.current_a)),
    ]);
    out.push_str(&whole.text(width()));
    if let Some(v) = &r.voltage {
        out.push_str(&format!(
            "  voltage {} ({} to {}), energy {}\n",
            volts(v.mean_v),
            volts(v.min_v),
            volts(v.max_v),
            energy(v.energy_j)
        ));
    }
    out.push_str(&floor(r.floor.as_ref()));
    if !r.drift.is_empty() {
        let points: Vec<String> = r
            .drift
            .iter()
            .map(|d| format!("{} over {}", current(d.deviation_a), duration(d.tau_s)))
            .collect();
        out.push_str(&format!(
            "  {}\n",
            wrap(&format!("drift (Allan deviation): {}", points.join(", ")), 4)
        ));
    }
    if let Some(slope) = r.drift_a_per_s {
        out.push_str(&format!("  slope {} an hour\n", current(slope * 3600.0)));
    }
    out.push_str(&wakes(r));
    out.push_str(&defects(&r.defects));
    out.push_str(&bullets("Mind", &r.remarks));
    out
}

pub(super) fn volts(si: f64) -> String {
    overwinter_workbench::text::voltage(si)
}

fn energy(si: f64) -> String {
    overwinter_quantity::Energy::from_si(si).value_text(4)
}

fn floor(floor: Option<&TraceFloor>) -> String {
    let mut out = heading("Asleep");
    let Some(f) = floor else {
        out.push_str(
            "  no sleep floor: no dense low level stands out, so nothing counts as a wake\n",
        );
        return out;
    };
    out.push_str(&format!(
        "  {}   {}\n",
        f.current_a.text,
        styled(
            DIM,
            &format!(
                "over {} asleep, {} of {}; awake above {}",
                duration(f.asleep_s),
                counted(f.windows, "window"),
                duration(f.window_s),
                current(f.threshold_a)
            )
        )
    ));
    if f.bursts > 0 {
        let period =
            f.burst_period_s.map_or_else(String::new, |s| format!(", one every {}", duration(s)));
        let holds = f.burst_charge_c.map_or_else(String::new, |c| format!(", {} each", charge(c)));
        out.push_str(&format!("  {} regulator bursts{period}{holds}, in the mean\n", f.bursts));
    }
    out
}

fn wakes(r: &TraceReport) -> String {
    if r.floor.is_none() {
        return String::new();
    }
    let mut out = heading("Wakes (k = 2)");
    if r.wakes == 0 {
        out.push_str("  none\n");
        return out;
    }
    let cut = match r.cut_wakes {
        0 => String::new(),
        1 => ", one of them cut by an end or a gap and not counted below".to_owned(),
        n => format!(", {n} of them cut by an end or a gap and not counted below"),
    };
    out.push_str(&format!("  {}{cut}\n", r.wakes));
    for activity in &r.activities {
        out.push_str(&one_activity(activity));
    }
    if !r.outliers.is_empty() {
        out.push_str(&format!("\n  {}\n", styled(CARE, "Unlike the others")));
        for wake in r.outliers.iter().take(12) {
            out.push_str(&format!("    {}\n", one_wake(wake)));
        }
        if r.outliers.len() > 12 {
            out.push_str(&format!("    … {} in all\n", r.outliers.len()));
        }
    }
    if let Some(mean) = r.load_mean_a {
        out.push_str(&format!("\n  floor and wakes together: {} on average\n", current(mean)));
    }
    out
}

fn one_wake(w: &TraceWake) -> String {
    format!(
        "wake {} at {}: {} in {}, peak {}",
        w.number,
        at(w.start_s),
        charge(w.charge_c),
        duration(w.duration_s),
        current(w.peak_a)
    )
}

fn one_activity(a: &TraceActivity) -> String {
    let mut out = format!("\n  {}  {} whole", styled(HEADING, &a.name), a.wakes);
    if let Some(every) = &a.interval_s {
        out.push_str(&format!(", every {}", bare(&every.text)));
        if let Some(jitter) = a.jitter_s {
            out.push_str(&format!(" (jitter {})", duration(jitter)));
        }
    }
    out.push_str(&format!(
        "\n    charge per wake {} above the floor{}\n    {} long, peak {}\n",
        styled(HEADING, &bare(&a.charge_c.text)),
        if a.wakes > 1 {
            format!(" ({} to {})", charge(a.charge_min_c), charge(a.charge_max_c))
        } else {
            String::new()
        },
        bare(&a.duration_s.text),
        current(a.peak_a)
    ));
    if a.phases.is_empty() {
        return out;
    }
    let mut table =
        Columns::new(&["    phase", "long", "current", "charge", "share", "peak", "seen in"])
            .right(&[3, 4, 5, 6]);
    for p in &a.phases {
        let bursts = if p.bursts { " ~" } else { "" };
        table.row([
            Cell::from(format!("    {}{bursts}", p.name)),
            Cell::from(bare(&p.duration_s.text)),
            Cell::from(bare(&p.current_a.text)),
            Cell::from(charge(p.charge_c)),
            Cell::from(percent(p.share)),
            Cell::from(current(p.peak_a)),
            Cell::from(percent(p.seen_in)),
        ]);
    }
    out.push_str(&table.text(width()));
    if a.phases.iter().any(|p| p.bursts) {
        out.push_str(&format!("    {}\n", styled(DIM, "~ alternates between two levels")));
    }
    out
}

fn place(p: &TracePlace) -> String {
    match (p.row, p.byte, p.time_s) {
        (Some(row), Some(byte), _) => format!("row {row} (byte {byte})"),
        (Some(row), None, _) => format!("row {row}"),
        (None, _, Some(time)) => at(time),
        (None, Some(byte), None) => format!("byte {byte}"),
        (None, None, None) => String::new(),
    }
}

/// Defects, each counted and located.
pub(super) fn defects(defects: &[TraceDefect]) -> String {
    let mut out = heading("Defects");
    if defects.is_empty() {
        out.push_str("  none found\n");
        return out;
    }
    for d in defects {
        let text = format!("{}, {}: {}", d.kind, d.count, d.message);
        out.push_str(&format!("  {} {}\n", styled(CARE, "·"), wrap(&text, 4)));
        let places: Vec<String> = d.places.iter().take(6).map(place).collect();
        if !places.is_empty() {
            let more = if d.count as usize > places.len() { ", …" } else { "" };
            out.push_str(&format!(
                "    {}\n",
                styled(DIM, &wrap(&format!("at {}{more}", places.join(", ")), 4))
            ));
        }
    }
    out
}

/// The recordings of a folder.
pub(crate) fn list(lines: &[RecordingLine]) -> String {
    if lines.is_empty() {
        return "No recordings yet; `trace keep FILE` makes one.\n".to_owned();
    }
    let mut table = Columns::new(&[
        "recording",
        "date",
        "specimen",
        "asleep (k = 2)",
        "charge per wake",
        "defects",
    ]);
    for line in lines {
        let summary = line.summary.as_ref();
        let unknown = || Cell::styled(DIM, "unknown");
        let rail = line.shows == TraceShows::Rail;
        let floor = summary.and_then(|s| s.floor_a.as_ref());
        let wake = summary.and_then(|s| s.activities.first());
        table.row([
            Cell::styled(HEADING, line.name.clone()),
            line.date.clone().into(),
            line.specimen.clone().map_or_else(unknown, Cell::from),
            if rail { "rail".into() } else { floor.map_or_else(unknown, |f| bare(&f.text).into()) },
            if rail {
                "–".into()
            } else {
                wake.map_or_else(unknown, |w| {
                    format!("{} × {}", w.wakes, bare(&w.charge_c.text)).into()
                })
            },
            match summary {
                None => unknown(),
                Some(s) if s.defects.is_empty() => "none".into(),
                Some(s) => {
                    let kinds: Vec<&str> = s.defects.iter().map(|d| d.kind.as_str()).collect();
                    Cell::styled(CARE, kinds.join(", "))
                }
            },
        ]);
    }
    let mut out = table.text(width());
    for line in lines {
        if let Some(problem) = &line.problem {
            out.push_str(&format!(
                "{}\n",
                styled(DIM, &wrap(&format!("{}: {problem}", line.name), 2))
            ));
        }
    }
    out
}

/// What was kept.
pub(crate) fn kept(k: &TraceKept) -> String {
    let mut out = format!("{}\n{}\n\n", styled(HEADING, &k.recording), wrap(&k.read_as, 0));
    let size = |bytes: u64| match bytes as f64 {
        b if b >= 1e9 => format!("{:.2} GB", b / 1e9),
        b if b >= 1e6 => format!("{:.1} MB", b / 1e6),
        b => format!("{:.0} kB", b / 1e3),
    };
    let from = k.source_bytes.map_or_else(String::new, |bytes| format!(" from {}", size(bytes)));
    out.push_str(&format!(
        "kept {} samples in {}, {}{from}\n",
        grouped(k.samples),
        k.kept,
        size(k.kept_bytes)
    ));
    if let Some(stop) = &k.stopped {
        let text = format!(
            "the source ends early at row {}, byte {}: {}; what was read before is kept",
            stop.row, stop.byte, stop.reason
        );
        out.push_str(&format!("{}\n", styled(CARE, &wrap(&text, 0))));
    }
    out.push_str(&format!("document: {}\n", k.document));
    out.push_str(&bullets("Defects", &k.defects));
    out.push_str(&format!("\nNext:  overwinter trace read \"{}\"\n", k.recording));
    out
}
