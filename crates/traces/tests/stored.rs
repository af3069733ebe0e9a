//! The stored form: whole or not at all, the pyramid brackets the samples, and a pass over it finds what a pass over the source found.

#![allow(clippy::format_collect, reason = "short strings, once")]

mod common;

use common::Lehmer;
use overwinter_traces::{
    Control, Options, Provenance, Source, StoredTrace, TraceError, analyse, read_series, store,
};
use std::fmt::Write as _;
use std::path::Path;

fn text(rows: usize, even: bool) -> String {
    let mut g = Lehmer(4242);
    let mut s = String::from("time_s,current_a\n");
    let mut t = 5.0;
    for k in 0..rows {
        let a = if k % 5000 > 4800 { 0.05 } else { 1.2e-5 } * (1.0 + 0.05 * g.z());
        let _ = writeln!(s, "{t:.6},{a:.9}");
        t += if even { 1e-3 } else { 1e-3 * (0.5 + g.u()) };
    }
    s
}

fn keep(folder: &Path, even: bool, rows: usize) -> (std::path::PathBuf, std::path::PathBuf) {
    let (source, target) = (folder.join("source.csv"), folder.join("trace.parquet"));
    std::fs::write(&source, text(rows, even)).unwrap();
    let p = Provenance {
        instrument: Some("bench meter".to_owned()),
        shunt_ohm: Some(0.1),
        ..Provenance::default()
    };
    store(&source, None, &Options::default(), p, &target, &mut |_| Control::Continue).unwrap();
    (source, target)
}

#[test]
fn a_pass_over_the_stored_form_finds_the_same() {
    for even in [true, false] {
        let folder = tempfile::tempdir().unwrap();
        let (source, target) = keep(folder.path(), even, 300_000);
        let of = |p: &Path| {
            analyse(Source::open(p).unwrap(), None, &Options::default(), &mut |_| Control::Continue)
                .unwrap()
        };
        let (a, b) = (of(&source), of(&target));
        assert_eq!(a.extent.samples, b.extent.samples);
        // f32 keeps 24 bits: 6e-8 of each sample.
        assert!((a.current.charge_c / b.current.charge_c - 1.0).abs() < 1e-8);
        assert!((a.current.max.value / b.current.max.value - 1.0).abs() < 6e-8);
        assert!((a.extent.last_s - b.extent.last_s).abs() < 1e-8);
        let (w, v) = (a.wakes.unwrap(), b.wakes.unwrap());
        assert_eq!((w.count, w.kinds[0].count), (v.count, v.kinds[0].count));
        assert!(
            std::fs::metadata(&target).unwrap().len()
                < std::fs::metadata(&source).unwrap().len() / 3
        );
    }
}

#[test]
fn every_zoom_brackets_its_samples() {
    for even in [true, false] {
        let folder = tempfile::tempdir().unwrap();
        let (source, target) = keep(folder.path(), even, 300_000);
        let all = read_series(Source::open(&source).unwrap(), None, usize::MAX).unwrap();
        let mut s = StoredTrace::open(&target).unwrap();
        assert_eq!(s.samples(), 300_000);
        let (from, to) = s.span_s();
        let mut g = Lehmer(99);
        for _ in 0..60 {
            let width = (to - from) * libm::pow(10.0, -4.5 * g.u());
            let a = from + (to - from - width) * g.u();
            let columns = 20 + (500.0 * g.u()) as usize;
            let z = s.zoom(a, a + width, columns).unwrap();
            let first = all.time_s.partition_point(|t| *t < a + 1e-9);
            let end = all.time_s.partition_point(|t| *t <= a + width - 1e-9);
            assert!(
                z.cells.len() as u64 * z.samples_per_cell >= (end - first) as u64,
                "{even} {}",
                z.cells.len()
            );
            assert!(
                z.cells.len() <= 64.max(4 * columns + 2).max(64 * columns),
                "{} cells",
                z.cells.len()
            );
            for k in first..end {
                let c = z.cells.partition_point(|c| c.start_s <= all.time_s[k] + 1e-9) - 1;
                let c = &z.cells[c];
                let (i, slack) = (all.current_a[k], 1e-7 * all.current_a[k]);
                assert!(
                    i >= c.min_a - slack && i <= c.max_a + slack,
                    "{even}: sample {k} {i} outside {c:?}"
                );
                assert!(c.mean_a >= c.min_a - slack && c.mean_a <= c.max_a + slack);
            }
        }
        let whole = s.zoom(from, to, 100).unwrap();
        let low = whole.cells.iter().map(|c| c.min_a).fold(f64::INFINITY, f64::min);
        assert!(
            (low / all.current_a.iter().copied().fold(f64::INFINITY, f64::min) - 1.0).abs() < 1e-6
        );
        assert!(whole.bytes_read < 300_000, "{}", whole.bytes_read);
    }
}

#[test]
fn provenance_names_the_source_and_its_checksum() {
    use sha2::Digest as _;
    let folder = tempfile::tempdir().unwrap();
    let (source, target) = keep(folder.path(), true, 5000);
    let p = StoredTrace::open(&target).unwrap().provenance().unwrap();
    let bytes = std::fs::read(&source).unwrap();
    let want: String = sha2::Sha256::digest(&bytes).iter().map(|b| format!("{b:02x}")).collect();
    assert_eq!(
        (p.source_sha256, p.source_bytes, p.source_name.as_str()),
        (want, bytes.len() as u64, "source.csv")
    );
    assert_eq!((p.instrument.as_deref(), p.shunt_ohm), (Some("bench meter"), Some(0.1)));
    assert!(p.read_as.starts_with("I read this as text with commas"));
}

#[test]
fn nothing_is_left_half_written() {
    let folder = tempfile::tempdir().unwrap();
    let source = folder.path().join("source.csv");
    std::fs::write(&source, "time_s,current_a\nno,numbers\n").unwrap();
    let target = folder.path().join("trace.parquet");
    let o = Options::default();
    assert!(
        store(&source, None, &o, Provenance::default(), &target, &mut |_| Control::Continue)
            .is_err()
    );
    std::fs::write(&source, text(100, true)).unwrap();
    // The callback is called at least once at the end of the pass.
    let r = store(&source, None, &o, Provenance::default(), &target, &mut |_| Control::Stop);
    assert!(matches!(r, Err(TraceError::Cancelled)), "{r:?}");
    let names: Vec<_> =
        std::fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(names, ["source.csv"]);
}

#[test]
fn what_is_no_stored_trace_is_refused() {
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), b"PAR1").unwrap();
    assert!(matches!(StoredTrace::open(file.path()), Err(TraceError::Stored { .. })));
    std::fs::write(file.path(), vec![b'x'; 100]).unwrap();
    assert!(matches!(StoredTrace::open(file.path()), Err(TraceError::Stored { .. })));
}

#[test]
fn the_analysis_is_kept_with_the_samples() {
    for name in ["trace_clean.csv", "trace_gap.csv", "trace_not_a_number.csv", "trace_uneven.csv"] {
        let folder = tempfile::tempdir().unwrap();
        let kept = folder.path().join("kept.parquet");
        let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(name);
        let o = Options::default();
        let made =
            store(&source, None, &o, Provenance::default(), &kept, &mut |_| Control::Continue)
                .unwrap();
        let mut trace = StoredTrace::open(&kept).unwrap();
        let back = trace.analysis(&Options { threads: 1, ..o.clone() }).expect("kept");
        // As text, since what is not a number is not equal to itself.
        assert_eq!(format!("{back:?}"), format!("{made:?}"), "{name}");
        assert!(trace.analysis(&Options { quiet_after_wake_s: 1.0, ..o.clone() }).is_none());
        // A damaged one is none: the samples tell it again.
        let mut bytes = std::fs::read(&kept).unwrap();
        let at = bytes.windows(4).rposition(|w| w == [0x28, 0xb5, 0x2f, 0xfd]).unwrap();
        bytes[at + 40] ^= 1;
        std::fs::write(&kept, bytes).unwrap();
        assert!(StoredTrace::open(&kept).unwrap().analysis(&o).is_none());
    }
}

/// What a killed process left is taken away after an hour; what another one is writing is not.
#[test]
fn leftovers_are_cleared() {
    let folder = tempfile::tempdir().unwrap();
    let hour_ago = std::time::SystemTime::now() - std::time::Duration::from_secs(4000);
    let make = |name: &str| {
        let file = std::fs::File::create(folder.path().join(name)).unwrap();
        file.set_modified(hour_ago).unwrap();
        file
    };
    make(".unfinished-old");
    make("traces.parquet");
    let busy = make(".unfinished-busy");
    busy.lock().unwrap();
    std::fs::File::create(folder.path().join(".unfinished-new")).unwrap();
    overwinter_traces::clear_leftovers(folder.path(), ".unfinished-");
    let mut left: Vec<_> =
        std::fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    left.sort();
    assert_eq!(left, [".unfinished-busy", ".unfinished-new", "traces.parquet"]);
}
