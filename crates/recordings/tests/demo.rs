//! The demo's recordings are what their documents say, and tell what was put into them.

use overwinter_recordings::demo::{build, traces, write};
use overwinter_recordings::files::{check_files, sha256};
use overwinter_recordings::rail::{Threshold, judge};
use overwinter_recordings::{Stated, Subject};
use overwinter_traces::{Control, analyse};
use overwinter_workbench::bench::Bench;
use overwinter_workbench::trace_report::RailAnswer;

fn demo() -> (tempfile::TempDir, Bench) {
    let folder = tempfile::tempdir().unwrap();
    overwinter_store::create_folder(
        folder.path(),
        overwinter_workbench::demo::FILES.iter().copied(),
    )
    .unwrap();
    assert_eq!(write(folder.path()).unwrap(), traces().len());
    let (read, diagnostics) = overwinter_store::read_folder(folder.path()).unwrap();
    assert!(diagnostics.iter().all(|d| !d.is_error()), "{diagnostics:#?}");
    (folder, Bench::new(read))
}

/// The checksums stand in the demo's documents, which are embedded: a change of the generator must change them there too.
#[test]
fn generated_files_match_their_documents() {
    let folder = tempfile::tempdir().unwrap();
    for (path, text) in traces() {
        overwinter_store::write_file(folder.path(), path, &text).unwrap();
        let sum = sha256(&folder.path().join(path)).unwrap();
        let found =
            overwinter_workbench::demo::FILES.iter().find(|(_, document)| document.contains(path));
        let (name, document) = found.unwrap();
        assert!(document.contains(&sum), "{name}: sha256 = \"{sum}\"");
    }
}

#[test]
fn nothing_changes_when_the_demo_keeps_its_traces() {
    let (folder, bench) = demo();
    for (path, text) in overwinter_workbench::demo::FILES {
        assert_eq!(std::fs::read_to_string(folder.path().join(path)).unwrap(), *text, "{path}");
    }
    assert_eq!(check_files(bench.folder(), folder.path()), []);
}

#[test]
fn the_wakes_hold_the_charge_that_was_put_in() {
    let (folder, bench) = demo();
    for (name, second) in [("BOWLINE-1 build 1.4", false), ("BOWLINE-1 build 1.5", true)] {
        let truth = build(second);
        let (_, charges) = truth.samples();
        let mean = charges.iter().sum::<f64>() / charges.len() as f64;
        let subject = Subject::find(bench.folder(), folder.path(), name).unwrap();
        let opened = subject.open(&Stated::default()).unwrap();
        let analysis = analyse(opened.source, Some(opened.layout), &opened.options, &mut |_| {
            Control::Continue
        })
        .unwrap();
        let charge = &analysis.load.activities[0].charge_c;
        assert_eq!(charge.count as usize, charges.len(), "{name}");
        // The edges of a wake are trapezoids of half a sample: 0.5 ms of 340 mA is 0.1 % of 190 mC.
        assert!((charge.value / mean - 1.0).abs() < 2e-3, "{name}: {} for {mean}", charge.value);
        let floor = analysis.floor.as_ref().unwrap();
        assert!((floor.mean_a / truth.floor_a - 1.0).abs() < 3e-3, "{}", floor.mean_a);
        let names: Vec<&str> =
            analysis.load.activities[0].segments.iter().map(|s| s.name.as_str()).collect();
        assert_eq!(names, ["start", "measure", "radio"], "{name}");
    }
}

#[test]
fn the_rail_resets_the_processor() {
    let (folder, bench) = demo();
    let subject = Subject::find(bench.folder(), folder.path(), "SLIPKNOT-1 USB removed").unwrap();
    let found = judge(&bench, &subject, &Stated::default(), &Threshold::default()).unwrap();
    // The lowest level put in is 2.650 V for 5 ms (3.50 V less 0.70 V of body diode and 0.15 V of dropout) with 6 mV of noise; the board's threshold is 2.80 V.
    assert_eq!(found.samples, 2000);
    assert!((found.threshold_v - 2.80).abs() < 1e-9);
    assert!((found.lowest_v - 2.65).abs() < 0.03, "{}", found.lowest_v);
    // 5 ms at the bottom and 0.15/0.65 of a millisecond on either slope.
    assert!((found.under_threshold_s - 5.46e-3).abs() < 0.1e-3, "{}", found.under_threshold_s);
    assert_eq!(found.answer, RailAnswer::Resets);
    assert_eq!(found.cautions, [] as [String; 0]);
}
