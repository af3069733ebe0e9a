//! Parquet files as other programs write them (polars, duckdb; see tests/data/README.md): every sample, exactly.

use overwinter_traces::{Control, Options, Source, analyse, read_series};
use std::path::{Path, PathBuf};

/// The generator's own formula; the rows of `generate_parquet.py` without a current are left out.
fn rows() -> impl Iterator<Item = (f64, f64, f64)> {
    (0..1000u32).filter(|k| k % 101 != 7).map(|k| {
        let a = if k % 97 < 6 { 0.02 } else { 0.000012 + 0.000001 * f64::from(k % 7) };
        (f64::from(k) / 1000.0, a, 3.0 + f64::from(k % 9) / 8.0)
    })
}

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(name)
}

#[test]
fn every_sample_of_other_writers_is_read() {
    for name in ["parquet_polars.parquet", "parquet_duckdb.parquet"] {
        let s = read_series(Source::open(&data(name)).unwrap(), None, usize::MAX).unwrap();
        let found: Vec<_> =
            (0..s.time_s.len()).map(|k| (s.time_s[k], s.current_a[k], s.voltage_v[k])).collect();
        assert_eq!(found, rows().collect::<Vec<_>>(), "{name}");
        let a = analyse(Source::open(&data(name)).unwrap(), None, &Options::default(), &mut |_| {
            Control::Continue
        })
        .unwrap();
        assert_eq!((a.extent.rows, a.extent.refused_rows), (1000, 10), "{name}");
        let counted: u64 = a.histogram.bins.iter().map(|b| b.count).sum();
        assert_eq!(counted, 990, "{name}");
    }
}

#[test]
fn time_stamps_and_milliamperes_of_another_writer() {
    let open = || Source::open(&data("parquet_stamps.parquet")).unwrap();
    let a = analyse(open(), None, &Options::default(), &mut |_| Control::Continue).unwrap();
    assert_eq!(a.extent.origin_s + a.extent.first_s, 1_772_323_200.0, "{}", a.read_as);
    let s = read_series(open(), None, usize::MAX).unwrap();
    let want: Vec<_> = rows().collect();
    assert_eq!(s.time_s.len(), want.len());
    for ((t, i), (want_t, want_i, _)) in s.time_s.iter().zip(&s.current_a).zip(&want) {
        // The writer multiplied by 1000, the reader divides: one rounding each.
        assert!((t - want_t).abs() < 1e-9 && (i / want_i - 1.0).abs() < 4.0 * f64::EPSILON);
    }
}
