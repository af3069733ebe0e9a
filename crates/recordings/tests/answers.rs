//! The local server's questions, answered on the demo folder and held against what was put into its traces.

use overwinter_recordings::answer::Recordings;
use overwinter_recordings::demo::{build, write};
use overwinter_recordings::files::check_files;
use overwinter_recordings::publish::published;
use overwinter_workbench::bench::Bench;
use overwinter_workbench::trace_report::{RailAnswer, TraceReply, TraceRequest};

const FIRST: &str = "BOWLINE-1 build 1.4";
const SECOND: &str = "BOWLINE-1 build 1.5";

struct Demo {
    folder: tempfile::TempDir,
    bench: Bench,
    recordings: Recordings,
}

impl Demo {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let files = overwinter_workbench::demo::FILES.iter().copied();
        overwinter_store::create_folder(folder.path(), files).unwrap();
        write(folder.path()).unwrap();
        let (read, _) = overwinter_store::read_folder(folder.path()).unwrap();
        let recordings = Recordings::new(folder.path());
        Self { bench: Bench::new(read), recordings, folder }
    }

    fn ask(&self, request: &str) -> TraceReply {
        let request: TraceRequest = serde_json::from_str(request).unwrap();
        self.recordings.answer(&self.bench, &request, &|| true)
    }
}

/// The samples as the file has them: microamperes with two decimals.
fn samples() -> Vec<f64> {
    build(false).samples().0.iter().map(|a| (a * 1e8).round() * 1e-8).collect()
}

#[test]
fn a_window_holds_every_sample_between_its_extremes() {
    let demo = Demo::new();
    let samples = samples();
    for (from, to, columns) in [(0.0, 60.0, 300), (7.4, 9.7, 500), (20.0, 20.05, 100)] {
        let TraceReply::Window(w) = demo.ask(&format!(
            r#"{{"window":{{"recording":"{FIRST}","from_s":{from},"to_s":{to},"columns":{columns}}}}}"#
        )) else {
            panic!()
        };
        let c = &w.columns;
        assert!(c.start_s.len() <= columns, "{} columns", c.start_s.len());
        assert_eq!(c.start_s.len(), c.mean_a.len());
        let mut seen = 0;
        for (n, x) in samples.iter().enumerate() {
            let t = n as f64 / 1000.0;
            if t < from - 1e-9 || t > to + 1e-9 {
                continue;
            }
            let k = c.start_s.partition_point(|s| *s <= t + 1e-9) - 1;
            // Single precision in the kept form.
            let slack = 1e-6 * x.abs();
            assert!(
                c.min_a[k] - slack <= *x && *x <= c.max_a[k] + slack,
                "{t} s: {x} in column {k}"
            );
            seen += 1;
        }
        assert!(seen >= 50, "{seen}");
    }
    let TraceReply::Window(w) =
        demo.ask(&format!(r#"{{"window":{{"recording":"{FIRST}","from_s":7.4,"to_s":9.7}}}}"#))
    else {
        panic!()
    };
    assert_eq!(w.wakes.len(), 1);
    let names: Vec<_> = w.phases.iter().filter_map(|p| p.name.as_deref()).collect();
    assert!(names.contains(&"start") && names.contains(&"measure"), "{names:?}");
    assert!(w.floor_a.is_some() && w.threshold_a.is_some());
}

/// Trapezoid over the samples with interpolated ends, written here once more in the plainest way.
fn trapezoid(samples: &[f64], from: f64, to: f64) -> f64 {
    let at = |t: f64| {
        let k = ((t * 1000.0).floor() as usize).min(samples.len() - 2);
        samples[k] + (samples[k + 1] - samples[k]) * (t * 1000.0 - k as f64)
    };
    let inner: Vec<f64> =
        (0..samples.len()).map(|n| n as f64 / 1000.0).filter(|t| *t > from && *t < to).collect();
    let times: Vec<f64> = std::iter::once(from).chain(inner).chain([to]).collect();
    times.windows(2).map(|w| 0.5 * (at(w[0]) + at(w[1])) * (w[1] - w[0])).sum()
}

#[test]
fn the_charge_between_two_cursors_is_the_trapezoid_of_the_samples() {
    let demo = Demo::new();
    let samples = samples();
    for (from, to) in [(7.0_f64, 10.0_f64), (0.0, 59.9), (7.5125, 7.5175), (9.7, 7.4)] {
        let TraceReply::Between(b) = demo.ask(&format!(
            r#"{{"between":{{"recording":"{FIRST}","from_s":{from},"to_s":{to}}}}}"#
        )) else {
            panic!()
        };
        let truth = trapezoid(&samples, from.min(to), from.max(to));
        assert!(
            (b.charge_c / truth - 1.0).abs() < 1e-6,
            "{from} to {to}: {} for {truth}",
            b.charge_c
        );
        assert!((b.mean_a * b.duration_s / truth - 1.0).abs() < 1e-6);
        assert_eq!(b.samples_per_column, 1);
    }
}

#[test]
fn wakes_lie_over_each_other() {
    let demo = Demo::new();
    let TraceReply::Wakes(o) = demo.ask(&format!(r#"{{"wakes":{{"recording":"{FIRST}"}}}}"#))
    else {
        panic!()
    };
    assert_eq!((o.time_s.len(), o.median_a.len(), o.activity.as_str()), (400, 400, "wake A"));
    assert_eq!(o.wakes.len(), 10);
    // Every wake and their median begin with the start phase: 42 mA for 0.30 s.
    for k in (0..400).filter(|k| (0.02..0.27).contains(&o.time_s[*k])) {
        assert!((o.median_a[k].unwrap() / 42.0e-3 - 1.0).abs() < 0.01, "{k}");
        for wake in &o.wakes {
            assert!((wake.mean_a[k].unwrap() / 42.0e-3 - 1.0).abs() < 0.02, "{k}: {wake:?}");
        }
    }
    // The mean of a drawn wake times the step is its charge.
    let step = o.time_s[1] - o.time_s[0];
    for wake in &o.wakes {
        let drawn: f64 = wake.mean_a.iter().flatten().sum::<f64>() * step;
        assert!((drawn / wake.charge_c - 1.0).abs() < 2e-3, "{drawn} for {}", wake.charge_c);
    }
}

#[test]
fn the_comparison_names_the_phase_and_the_days() {
    let demo = Demo::new();
    let TraceReply::Compare(c) = demo.ask(&format!(
        r#"{{"compare":{{"before":"{FIRST}","after":"{SECOND}","project":"footbridges"}}}}"#
    )) else {
        panic!()
    };
    assert_eq!(c.phases[0].phase, "radio");
    let lasts = c.phases[0].duration_s.as_ref().unwrap();
    // Put in: 0.995 s and 0.877 s, spread by 1.4 % of the radio.
    assert!((lasts.difference + 0.118).abs() < 0.02, "{}", lasts.difference);
    assert_eq!(lasts.significant, Some(true));
    assert_eq!(c.sleep_a.as_ref().unwrap().significant, Some(false));
    assert_eq!(c.wakes[0].charge_c.significant, Some(true));
    let days = c.days.as_ref().unwrap();
    // Closed form: 9000 C over 9.4 µA and the charges put in over 900 s.
    let by_hand = |second: bool| {
        let truth = build(second);
        let charges = truth.samples().1;
        let mean = charges.iter().sum::<f64>() / charges.len() as f64;
        9000.0 / (truth.floor_a + mean / 900.0) / 86_400.0
    };
    let gained = by_hand(true) - by_hand(false);
    assert!((days.gained_days / gained - 1.0).abs() < 0.02, "{} for {gained}", days.gained_days);
    assert!(c.verdict.iter().any(|line| line.contains("gained")), "{:?}", c.verdict);
}

#[test]
fn rail_list_and_refusals() {
    let demo = Demo::new();
    let TraceReply::Rail(r) = demo.ask(r#"{"rail":{"recording":"SLIPKNOT-1 USB removed"}}"#) else {
        panic!()
    };
    assert_eq!(r.answer, RailAnswer::Resets);
    let TraceReply::Recordings(list) = demo.ask(r#"{"recordings":{}}"#) else { panic!() };
    let names: Vec<&str> = list.iter().map(|l| l.name.as_str()).collect();
    assert_eq!(names, [FIRST, SECOND, "SLIPKNOT-1 USB removed"]);
    assert!(list.iter().all(|l| l.summary.is_some() && l.problem.is_none()), "{list:#?}");
    for (request, code) in [
        (r#"{"read":{"recording":"BOWLINE-1 build 1.6"}}"#, "no-such"),
        (r#"{"read":{"recording":"traces/bowline-1-build-1.4.csv"}}"#, "no-such"),
        (r#"{"read":{"recording":"/etc/hostname"}}"#, "no-such"),
        (r#"{"window":{"recording":"SLIPKNOT-1 USB removed"}}"#, "missing"),
        (r#"{"wakes":{"recording":"BOWLINE-1 build 1.4","activity":7}}"#, "missing"),
    ] {
        let TraceReply::Error(found) = demo.ask(request) else { panic!("{request}") };
        assert_eq!(found[0].code, code, "{request}: {found:?}");
        assert!(found[0].help.is_some());
    }
}

#[test]
fn a_document_that_leads_out_of_the_folder_is_not_followed() {
    let demo = Demo::new();
    let out = demo.folder.path().parent().unwrap().join("outside.csv");
    std::fs::write(&out, "time_s,current_a\n0,1\n1,1\n2,1\n").unwrap();
    for trace in ["../outside.csv", out.to_str().unwrap()] {
        let text = format!("[recording]\nname = \"out\"\ndate = 2026-01-01\ntrace = \"{trace}\"\n");
        std::fs::write(demo.folder.path().join("recordings/out.toml"), text).unwrap();
        let (read, diagnostics) = overwinter_store::read_folder(demo.folder.path()).unwrap();
        assert!(diagnostics.iter().any(|d| d.code == "recording-path"), "{diagnostics:?}");
        let bench = Bench::new(read);
        let request = TraceRequest::Read { recording: "out".into() };
        let reply = demo.recordings.answer(&bench, &request, &|| true);
        assert!(matches!(reply, TraceReply::Error(_)), "{reply:?}");
        assert_eq!(check_files(bench.folder(), demo.folder.path()), []);
    }
    std::fs::remove_file(out).unwrap();
}

#[test]
fn a_changed_or_missing_source_is_a_note() {
    let demo = Demo::new();
    let root = demo.folder.path();
    let trace = root.join("traces/bowline-1-build-1.4.csv");
    let mut text = std::fs::read_to_string(&trace).unwrap();
    text.push_str("60.000,9.40\n");
    std::fs::write(&trace, text).unwrap();
    std::fs::remove_file(root.join("traces/bowline-1-build-1.5.csv")).unwrap();
    let found = check_files(demo.bench.folder(), root);
    let codes: Vec<&str> = found.iter().map(|d| d.code).collect();
    assert_eq!(codes, ["recording-changed", "recording-missing"], "{found:#?}");
    assert!(found.iter().all(|d| d.severity == overwinter_documents::Severity::Note));
}

#[test]
fn the_page_carries_tens_of_kilobytes_a_recording() {
    let demo = Demo::new();
    let traces = published(&demo.bench, demo.folder.path());
    assert_eq!(traces.len(), 3);
    for one in &traces {
        let bytes = serde_json::to_vec(one).unwrap().len();
        assert!(bytes < 80_000, "{}: {bytes}", one.recording.name);
        eprintln!("{}: {bytes} bytes", one.recording.name);
        if let Some(rail) = &one.rail {
            assert!(one.overview.is_none() && !rail.columns.start_s.is_empty());
            continue;
        }
        let overview = one.overview.as_ref().unwrap();
        assert!(overview.columns.start_s.len() <= 1200 && overview.resolution_s > 0.0);
        assert_eq!(one.overlay.as_ref().unwrap().wakes.len(), 10);
    }
}

#[test]
fn a_pass_that_nobody_waits_for_is_given_up_and_not_remembered() {
    let demo = Demo::new();
    let folder = demo.folder.path();
    let mut rows = String::from("time_s,current_a\n");
    (0..2000).for_each(|k| rows.push_str(&format!("{}.{:03},0.000012\n", k / 1000, k % 1000)));
    std::fs::write(folder.join("traces/short.csv"), rows).unwrap();
    let text = "[recording]\nname = \"short\"\ndate = 2026-01-01\ntrace = \"traces/short.csv\"\n";
    std::fs::write(folder.join("recordings/short.toml"), text).unwrap();
    let (read, _) = overwinter_store::read_folder(folder).unwrap();
    let bench = Bench::new(read);
    let request = TraceRequest::Read { recording: "short".into() };
    let TraceReply::Error(faults) = demo.recordings.answer(&bench, &request, &|| false) else {
        panic!("answered to nobody")
    };
    assert_eq!(faults[0].code, "stopped");
    // Somebody who asks again gets the whole of it.
    let TraceReply::Read(found) = demo.recordings.answer(&bench, &request, &|| true) else {
        panic!("not read")
    };
    assert_eq!(found.samples, 2000);
}
