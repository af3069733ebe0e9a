//! Parquet in every dress the format has for numbers: the same samples.

#[path = "fuzz/corpus.rs"]
#[allow(dead_code, reason = "shared with the damaged files")]
mod corpus;

use overwinter_traces::{Control, Options, Source, TimeSource, analyse, detect, read_series};
use parquet::basic::{Compression, Encoding};
use parquet::data_type::{DoubleType, Int64Type};
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::parser::parse_message_type;
use std::sync::Arc;

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

/// One row group of 700 001 rows, cut into parts for the threads: pages of odd sizes, nulls, a dictionary, an encoding that the library decodes.
#[test]
fn a_large_row_group_is_read_in_parts() {
    const ROWS: u32 = 700_001;
    let level = |k: u32| 1e-5 * f64::from(k % 1013 + 1);
    let there = |k: u32| k % 977 != 5;
    let schema = parse_message_type(
        "message m { REQUIRED DOUBLE time_s; OPTIONAL DOUBLE current_a; REQUIRED INT64 t_us; }",
    )
    .unwrap();
    for dictionary in [true, false] {
        let properties = WriterProperties::builder()
            .set_compression(Compression::SNAPPY)
            .set_data_page_row_count_limit(10_007)
            .set_dictionary_enabled(false)
            .set_column_dictionary_enabled("current_a".into(), dictionary)
            .set_column_encoding("t_us".into(), Encoding::DELTA_BINARY_PACKED)
            .set_column_encoding("time_s".into(), Encoding::BYTE_STREAM_SPLIT)
            .build();
        let mut bytes = Vec::new();
        let mut writer =
            SerializedFileWriter::new(&mut bytes, Arc::new(schema.clone()), Arc::new(properties))
                .unwrap();
        let mut group = writer.next_row_group().unwrap();
        let times: Vec<f64> = (0..ROWS).map(|k| f64::from(k) / 1024.0).collect();
        let some: Vec<f64> = (0..ROWS).filter(|k| there(*k)).map(level).collect();
        let levels: Vec<i16> = (0..ROWS).map(|k| i16::from(there(k))).collect();
        let micro: Vec<i64> = (0..ROWS).map(|k| i64::from(k) * 500 + i64::from(k % 3)).collect();
        let mut c = group.next_column().unwrap().unwrap();
        c.typed::<DoubleType>().write_batch(&times, None, None).unwrap();
        c.close().unwrap();
        let mut c = group.next_column().unwrap().unwrap();
        c.typed::<DoubleType>().write_batch(&some, Some(&levels), None).unwrap();
        c.close().unwrap();
        let mut c = group.next_column().unwrap().unwrap();
        c.typed::<Int64Type>().write_batch(&micro, None, None).unwrap();
        c.close().unwrap();
        group.close().unwrap();
        writer.close().unwrap();
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("large.parquet");
        std::fs::write(&path, &bytes).unwrap();
        for (column, seconds_per_unit) in [(0, 1.0), (2, 1e-6)] {
            let mut layout = detect(&mut Source::open(&path).unwrap()).unwrap();
            layout.time = TimeSource::Column { column, seconds_per_unit };
            let s = read_series(Source::open(&path).unwrap(), Some(layout), usize::MAX).unwrap();
            let kept: Vec<u32> = (0..ROWS).filter(|k| there(*k)).collect();
            assert_eq!(s.time_s.len(), kept.len());
            for (k, n) in kept.iter().enumerate() {
                let time =
                    if column == 0 { times[*n as usize] } else { micro[*n as usize] as f64 * 1e-6 };
                assert_eq!((s.time_s[k], s.current_a[k]), (time, level(*n)), "row {n}");
            }
        }
    }
}

/// What threads have read behind a damaged row group is no part of the result, neither of its extent nor of its histogram.
#[test]
fn the_result_ends_at_the_first_damaged_row_group() {
    const ROWS: u32 = 20_000;
    let level = |k: u32| 1e-5 * f64::from(k % 1013 + 1);
    for (dictionary, stamps) in [(true, false), (true, true), (false, true)] {
        let schema =
            parse_message_type("message m { REQUIRED DOUBLE time_s; REQUIRED DOUBLE current_a; }")
                .unwrap();
        let properties = WriterProperties::builder()
            .set_compression(Compression::UNCOMPRESSED)
            .set_dictionary_enabled(dictionary)
            .set_column_dictionary_enabled("time_s".into(), false)
            .build();
        let mut bytes = Vec::new();
        let mut damaged_at = 0;
        let mut writer =
            SerializedFileWriter::new(&mut bytes, Arc::new(schema), Arc::new(properties)).unwrap();
        for n in 0..12 {
            let rows = n * ROWS..(n + 1) * ROWS;
            let mut group = writer.next_row_group().unwrap();
            let times: Vec<f64> = rows.clone().map(|k| f64::from(k) / 1024.0).collect();
            let mut c = group.next_column().unwrap().unwrap();
            c.typed::<DoubleType>().write_batch(&times, None, None).unwrap();
            c.close().unwrap();
            let mut c = group.next_column().unwrap().unwrap();
            let levels: Vec<f64> = rows.map(level).collect();
            c.typed::<DoubleType>().write_batch(&levels, None, None).unwrap();
            c.close().unwrap();
            let metadata = group.close().unwrap();
            if n == 5 {
                damaged_at = metadata.columns().last().unwrap().data_page_offset() as usize;
            }
        }
        writer.close().unwrap();
        bytes[damaged_at..damaged_at + 64].fill(0xff);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("damaged.parquet");
        std::fs::write(&path, &bytes).unwrap();
        let mut layout = detect(&mut Source::open(&path).unwrap()).unwrap();
        if !stamps {
            layout.time = TimeSource::Interval { interval_s: 1e-3 };
        }
        for threads in [1, 2, 3, 8, 8, 8, 8, 8] {
            let options = Options { threads, ..Options::default() };
            let source = Source::open(&path).unwrap();
            let found = analyse(source, Some(layout.clone()), &options, &mut |_| Control::Continue)
                .unwrap();
            let stopped = found.extent.stopped.expect("it is damaged");
            assert!(stopped.reason.contains("row group 6"), "{}", stopped.reason);
            assert_eq!(found.extent.samples, u64::from(5 * ROWS), "{threads} threads");
            assert_eq!(found.histogram.total(), u64::from(5 * ROWS), "{threads} threads");
        }
    }
}
