//! Parquet in every dress the format has for numbers: the same samples.

#[path = "fuzz/corpus.rs"]
#[allow(dead_code, reason = "shared with the damaged files")]
mod corpus;

use overwinter_traces::{Source, read_series};

#[test]
fn versions_compressions_and_encodings_say_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("t.parquet");
    let mut seen = 0;
    for seed in corpus::all().into_iter().filter(|s| s.name.starts_with("parquet")) {
        std::fs::write(&path, &seed.bytes).unwrap();
        let s = read_series(Source::open(&path).unwrap(), None, usize::MAX).unwrap();
        let ks: Vec<u32> = (0..300).filter(|k| k % 11 != 3).collect();
        assert_eq!(s.time_s.len(), ks.len(), "{}", seed.name);
        for (k, n) in ks.iter().enumerate() {
            let want = (f64::from(*n) * 1e-3, corpus::level(*n), 3.0 + f64::from(*n % 9));
            assert_eq!(
                (s.time_s[k], s.current_a[k], s.voltage_v[k]),
                want,
                "{} row {n}",
                seed.name
            );
        }
        seen += 1;
    }
    assert_eq!(seen, 5);
}
