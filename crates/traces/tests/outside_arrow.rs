//! Arrow files and streams as other programs write them (pyarrow, polars; see tests/data/README.md): every sample, exactly; and what damage leaves.

use overwinter_traces::{Analysis, Control, Options, Source, TraceError, analyse, read_series};
use std::io::Cursor;
use std::path::{Path, PathBuf};

/// The generator's own formula; the rows without a current are left out.
fn rows() -> impl Iterator<Item = (f64, f64, f64)> {
    (0..1000u32).filter(|k| k % 101 != 7).map(|k| {
        let a = if k % 97 < 6 { 0.02 } else { 0.000012 + 0.000001 * f64::from(k % 7) };
        (f64::from(k) / 1000.0, a, 3.0 + f64::from(k % 9) / 8.0)
    })
}

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(name)
}

fn pipe(bytes: Vec<u8>) -> Result<Source, TraceError> {
    Source::from_reader("standard input", Box::new(Cursor::new(bytes)))
}

fn read(source: Result<Source, TraceError>) -> Result<Analysis, TraceError> {
    source.and_then(|s| analyse(s, None, &Options::default(), &mut |_| Control::Continue))
}

const PLAIN: [&str; 6] = [
    "arrow_plain.arrow",
    "arrow_stream.arrows",
    "arrow_lz4.arrow",
    "arrow_zstd.arrow",
    "arrow_polars.arrow",
    "arrow_polars.arrows",
];

#[test]
fn every_sample_of_other_writers_is_read_from_a_file_and_from_a_pipe() {
    for name in PLAIN {
        let whole = std::fs::read(data(name)).unwrap();
        let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
        std::io::Write::write_all(&mut packed, &whole).unwrap();
        for source in [Source::open(&data(name)), pipe(whole), pipe(packed.finish().unwrap())] {
            let s = read_series(source.unwrap(), None, usize::MAX).unwrap();
            let found: Vec<_> = (0..s.time_s.len())
                .map(|k| (s.time_s[k], s.current_a[k], s.voltage_v[k]))
                .collect();
            assert_eq!(found, rows().collect::<Vec<_>>(), "{name}");
        }
        let a = read(Source::open(&data(name))).unwrap();
        assert_eq!((a.extent.rows, a.extent.refused_rows), (1000, 10), "{name}");
        assert!(a.extent.stopped.is_none(), "{name}");
        assert!(
            a.read_as.starts_with(
                "I read this as Arrow; time: column 1 \"time_s\" in s; current: column 3"
            ),
            "{}",
            a.read_as
        );
    }
}

#[test]
fn stamps_decimals_codes_and_dictionaries() {
    let want: Vec<_> = rows().collect();
    let same = |name: &str, origin: f64| {
        let a = read(Source::open(&data(name))).unwrap();
        assert!(a.extent.stopped.is_none(), "{name}: {:?}", a.extent.stopped);
        let s = read_series(Source::open(&data(name)).unwrap(), None, usize::MAX).unwrap();
        assert_eq!(s.time_s.len(), want.len(), "{name}: {}", a.read_as);
        for (k, (t, i, v)) in want.iter().enumerate() {
            // Units are powers of ten: one rounding each.
            let apart = (s.time_s[k] + a.extent.origin_s - origin - t).abs();
            assert!(apart < if origin == 0.0 { 1e-12 } else { 1e-6 }, "{name}: {k}: {apart}");
            assert!((s.current_a[k] / i - 1.0).abs() < 8.0 * f64::EPSILON, "{name}: {k}");
            if !s.voltage_v.is_empty() {
                assert!((s.voltage_v[k] - v).abs() < 1e-12, "{name}: {k}");
            }
        }
        a
    };
    let stamps = same("arrow_types.arrow", 1_772_323_200.0);
    assert_eq!(stamps.extent.origin_s, 1_772_323_200.0);
    assert!(stamps.voltage.is_some());
    same("arrow_dictionary.arrows", 0.0);
    same("arrow_delta.arrows", 0.0);
}

/// Cut anywhere: an error, or the whole batches before the cut with the extent stated.
#[test]
fn what_was_cut_keeps_its_whole_batches() {
    for name in PLAIN.into_iter().chain(["arrow_types.arrow", "arrow_dictionary.arrows"]) {
        let whole = std::fs::read(data(name)).unwrap();
        let (mut told, mut most) = (0, 0);
        for end in (1..whole.len()).step_by(97) {
            let Ok(a) = read(pipe(whole[..end].to_vec())) else { continue };
            most = most.max(a.extent.rows);
            match &a.extent.stopped {
                Some(stop) => {
                    told += 1;
                    assert!(stop.row == a.extent.rows && stop.byte <= end as u64, "{stop:?}");
                    assert!(stop.reason.contains("record batch"), "{}", stop.reason);
                }
                // Only a stream may end between two batches and be whole; a file's footer is not needed.
                None => assert!(a.extent.rows % 300 == 0 || a.extent.rows == 1000, "{name} {end}"),
            }
        }
        // One writer puts all rows into one batch: whole or nothing.
        assert!(told > 0 || name.contains("polars"), "{name}: {told} of {most}");
    }
}

#[test]
fn messages() {
    let whole = std::fs::read(data("arrow_plain.arrow")).unwrap();
    let told = |bytes: Vec<u8>| read(pipe(bytes)).unwrap_err().to_string();
    assert_eq!(
        told(whole[..100].to_vec()),
        "standard input: not readable as Arrow: the input ends inside a message"
    );
    let empty = without_rows();
    assert_eq!(told(empty), "standard input: not readable as Arrow: it holds no rows");
}

/// The first 8 bytes and the schema of the plain file, its end mark behind it: a table without rows.
fn without_rows() -> Vec<u8> {
    let whole = std::fs::read(data("arrow_plain.arrow")).unwrap();
    let length = u32::from_le_bytes(whole[12..16].try_into().unwrap()) as usize;
    let mut out = whole[..16 + length].to_vec();
    out.extend_from_slice(&[0xff, 0xff, 0xff, 0xff, 0, 0, 0, 0]);
    out
}
