//! Parts by board and day: together they hold the trace, and nothing is left where nothing comes of it.

use overwinter_traces::{
    Analysis, Control, Options, Partition, Provenance, Source, TraceError, analyse, partition,
    store,
};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// Four hours at 10 Hz from 22:00 on, over midnight.
fn dated(folder: &Path) -> PathBuf {
    let mut text = String::from("time,current_ua,vbat_v\n");
    for k in 0..144_000u32 {
        let s = 22 * 3600 * 10 + k;
        let (day, tenths) = (1 + s / 864_000, s % 864_000);
        let a = if k % 600 < 8 { 9000.0 } else { 12.0 + f64::from(k % 7) * 0.1 };
        let (h, m) = (tenths / 36_000, tenths / 600 % 60);
        let _ = writeln!(
            text,
            "2026-03-{day:02} {h:02}:{m:02}:{:02}.{},{a:.1},3.{}",
            tenths / 10 % 60,
            tenths % 10,
            k % 10
        );
    }
    let path = folder.join("dated.csv");
    std::fs::write(&path, text).unwrap();
    path
}

fn to(folder: &Path, board: &str) -> Partition {
    let (folder, part) = (folder.join("fleet"), "part".to_owned());
    Partition { folder, board: board.to_owned(), part, start_unix_s: None }
}

fn write(trace: &Path, to: &Partition) -> Result<(Analysis, Vec<PathBuf>), TraceError> {
    partition(Source::open(trace)?, None, &Options::default(), to, &mut |_| Control::Continue)
}

fn read(path: &Path) -> Analysis {
    analyse(Source::open(path).unwrap(), None, &Options::default(), &mut |_| Control::Continue)
        .unwrap()
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        if entry.path().is_dir() {
            found.extend(files(&entry.path()));
        } else {
            found.push(entry.path());
        }
    }
    found
}

#[test]
fn the_parts_hold_the_trace() {
    let folder = tempfile::tempdir().unwrap();
    let trace = dated(folder.path());
    let (whole, parts) = write(&trace, &to(folder.path(), "north 2")).unwrap();
    let names: Vec<String> = parts
        .iter()
        .map(|p| p.strip_prefix(folder.path()).unwrap().to_string_lossy().replace('\\', "/"))
        .collect();
    assert_eq!(
        names,
        [
            "fleet/board=north%202/day=2026-03-01/part.parquet",
            "fleet/board=north%202/day=2026-03-02/part.parquet"
        ]
    );
    assert_eq!(files(&folder.path().join("fleet")).len(), 2);
    let (a, b) = (read(&parts[0]), read(&parts[1]));
    assert_eq!((a.extent.samples, b.extent.samples), (72_000, 72_000));
    // 2026-03-01 22:00 and 2026-03-02 00:00, by the calendar of another program (`date -u`).
    assert_eq!(a.extent.origin_s + a.extent.first_s, 1_772_402_400.0);
    assert_eq!(b.extent.origin_s + b.extent.first_s, 1_772_409_600.0);
    // Between the parts lies one interval of 0.1 s, across midnight, from 12.4 µA (71 999 is 4 more than a multiple of 7) to a wake's 9 mA.
    // f32 keeps 24 bits: 6e-8 of each sample.
    let between = whole.current.charge_c - a.current.charge_c - b.current.charge_c;
    let want = 0.5 * (12.4e-6 + 9e-3) * 0.1;
    assert!((between - want).abs() < 6e-8 * whole.current.charge_c, "{between:e}");
    let volts = |a: &Analysis| a.voltage.as_ref().unwrap().mean_v;
    assert!((volts(&a) - 3.45).abs() < 1e-6 && (volts(&b) - 3.45).abs() < 1e-6);
}

#[test]
fn a_stored_trace_keeps_its_date() {
    let folder = tempfile::tempdir().unwrap();
    let trace = dated(folder.path());
    let kept = folder.path().join("kept.parquet");
    let o = Options::default();
    store(&trace, None, &o, Provenance::default(), &kept, &mut |_| Control::Continue).unwrap();
    assert_eq!(read(&kept).extent.origin_s, read(&trace).extent.origin_s);
    let (_, parts) = write(&kept, &to(folder.path(), "north")).unwrap();
    assert!(parts[1].ends_with("board=north/day=2026-03-02/part.parquet"), "{parts:?}");
    assert_eq!(read(&parts[1]).extent.samples, 72_000);
}

#[test]
fn an_undated_trace_needs_its_start() {
    let folder = tempfile::tempdir().unwrap();
    let trace = folder.path().join("undated.csv");
    let rows: String = (0..200).fold(String::from("time_s,current_a\n"), |mut s, k| {
        let _ = writeln!(s, "{k}.0,0.001");
        s
    });
    std::fs::write(&trace, rows).unwrap();
    let mut place = to(folder.path(), "bench");
    let refused = write(&trace, &place).unwrap_err();
    assert!(refused.to_string().contains("no date"), "{refused}");
    assert!(!place.folder.exists());
    place.start_unix_s = Some(86_300.0);
    let (_, parts) = write(&trace, &place).unwrap();
    assert_eq!((read(&parts[0]).extent.samples, read(&parts[1]).extent.samples), (100, 100));
    // A second time it would take the place of what is there.
    let refused = write(&trace, &place).unwrap_err();
    assert!(refused.to_string().contains("is there already"), "{refused}");
    assert_eq!(files(&place.folder).len(), 2);
    // A dated one must not be moved.
    let refused = write(&dated(folder.path()), &place).unwrap_err();
    assert!(refused.to_string().contains("date of their own"), "{refused}");
}

#[test]
fn nothing_is_left_of_what_was_stopped_or_cannot_be() {
    let folder = tempfile::tempdir().unwrap();
    let trace = dated(folder.path());
    let place = to(folder.path(), "north");
    let source = Source::open(&trace).unwrap();
    let stopped = partition(source, None, &Options::default(), &place, &mut |_| Control::Stop);
    assert!(matches!(stopped, Err(TraceError::Cancelled)));
    assert!(!place.folder.exists());
    let text = "time,current_a\n2026-03-02 00:00:00.0,0.01\n2026-03-02 00:00:00.1,0.01\n2026-03-01 23:59:59.9,0.01\n2026-03-02 00:00:00.2,0.01\n";
    std::fs::write(&trace, text).unwrap();
    let refused = write(&trace, &place).unwrap_err();
    assert!(refused.to_string().contains("from 2026-03-02 to 2026-03-01 at sample 2"), "{refused}");
    assert!(!place.folder.exists());
}

#[test]
fn stamps_beyond_nanoseconds_are_refused() {
    // Found by damaging files: milliseconds with three digits too many.
    let folder = tempfile::tempdir().unwrap();
    let (trace, place) = (folder.path().join("far.csv"), to(folder.path(), "north"));
    let rows = "t_ms,i_ma\n1764076800000000,1\n1764076800000100,1\n1764076800000200,1\n";
    std::fs::write(&trace, rows).unwrap();
    let refused = write(&trace, &place).unwrap_err();
    assert!(refused.to_string().contains("outside the years"), "{refused}");
    assert!(!place.folder.exists());
}
