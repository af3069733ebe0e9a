//! Readers fed with nonsense: an error or a result, no panic, no hang.

mod common;

use overwinter_traces::{
    Control, CurrentSource, Delimiter, Format, Layout, Options, RawFormat, RawKind, Source,
    StoredTrace, TextFormat, TimeSource, VoltageSource, analyse,
};
use proptest::prelude::*;
use std::io::Write as _;

fn options() -> Options {
    Options { threads: 2, chunk_bytes: 200, ..Options::default() }
}

fn tableish() -> impl Strategy<Value = Vec<u8>> {
    let cell = prop_oneof![
        "[-+]?[0-9]{1,9}(\\.[0-9]{0,9})?(e-?[0-9]{1,3})?",
        Just("NaN".to_owned()),
        Just("2026-03-01 12:00:00.5".to_owned()),
        Just("12:00:01".to_owned()),
        Just(String::new()),
        "[a-zµ\\[\\]()\" ]{0,8}",
    ];
    let row = (
        proptest::collection::vec(cell, 0..5),
        prop_oneof![Just(","), Just(";"), Just("\t"), Just(" ")],
    );
    let end = prop_oneof![Just("\n"), Just("\r\n"), Just("\r"), Just("")];
    proptest::collection::vec((row, end), 0..40).prop_map(|rows| {
        let mut out = Vec::new();
        for ((cells, d), end) in rows {
            out.extend_from_slice(cells.join(d).as_bytes());
            out.extend_from_slice(end.as_bytes());
        }
        out
    })
}

fn layouts() -> impl Strategy<Value = Layout> {
    let format = prop_oneof![
        (any::<u8>(), any::<bool>(), 0u64..4).prop_map(|(d, decimal_comma, skip_lines)| {
            let delimiter = [
                Delimiter::Comma,
                Delimiter::Semicolon,
                Delimiter::Tab,
                Delimiter::Pipe,
                Delimiter::Spaces,
            ][usize::from(d) % 5];
            Format::Text(TextFormat { delimiter, decimal_comma, skip_lines })
        }),
        (any::<bool>(), any::<bool>(), 1usize..5, 0u64..20).prop_map(
            |(wide, big_endian, channels, skip_bytes)| {
                let kind = if wide { RawKind::F64 } else { RawKind::F32 };
                Format::Raw(RawFormat { kind, big_endian, channels, skip_bytes })
            }
        ),
        Just(Format::Parquet),
        Just(Format::Arrow),
    ];
    let time = prop_oneof![
        (0usize..4).prop_map(|column| TimeSource::Column { column, seconds_per_unit: 1e-3 }),
        Just(TimeSource::Interval { interval_s: 0.01 }),
        (0usize..4).prop_map(|column| TimeSource::Stamp {
            column,
            order: overwinter_traces::DateOrder::DayMonthYear
        }),
    ];
    (format, time, 0usize..40, any::<bool>()).prop_map(|(format, time, column, volts)| Layout {
        format,
        time,
        current: CurrentSource::Column { column, amperes_per_unit: 1e-3 },
        voltage: volts.then_some(VoltageSource { column: 1, volts_per_unit: 1.0 }),
        offset_a: 0.0,
        column_names: Vec::new(),
        doubts: Vec::new(),
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn tables(input in tableish()) {
        if let Ok(a) = common::read(input, None, &options()) {
            prop_assert!(a.extent.samples > 0);
            prop_assert!(a.current.min.value <= a.current.max.value);
            let _ = overwinter_traces::plot::Plot::of(&a).svg(300, 200);
            let _ = overwinter_traces::plot::Plot::of(&a).terminal(40, 10);
        }
    }

    #[test]
    fn bytes(input in proptest::collection::vec(any::<u8>(), 0..600)) {
        let _ = common::read(input, None, &options());
    }

    #[test]
    fn any_layout(input in prop_oneof![tableish(), proptest::collection::vec(any::<u8>(), 0..300)], layout in layouts()) {
        let _ = common::read(input, Some(layout), &options());
    }
}

/// A small stored trace, for damaging.
fn stored() -> Vec<u8> {
    let mut file = tempfile::NamedTempFile::new().unwrap();
    writeln!(file, "time_s,current_a").unwrap();
    for k in 0..2000 {
        writeln!(file, "{:.3},{:.7}", f64::from(k) * 1e-3, 1e-5 * f64::from(1 + k % 7)).unwrap();
    }
    let target = tempfile::NamedTempFile::new().unwrap();
    let o = Options::default();
    overwinter_traces::store(
        file.path(),
        None,
        &o,
        overwinter_traces::Provenance::default(),
        target.path(),
        &mut |_| Control::Continue,
    )
    .unwrap();
    std::fs::read(target.path()).unwrap()
}

#[test]
fn damaged_stored_traces() {
    let whole = stored();
    let mut runner = proptest::test_runner::TestRunner::new(ProptestConfig::with_cases(150));
    let length = whole.len();
    runner
        .run(
            &(
                proptest::collection::vec((0..length, any::<u8>()), 1..6),
                prop_oneof![Just(length), 0..length],
            ),
            |(edits, keep)| {
                let mut bytes = whole.clone();
                for (at, value) in edits {
                    bytes[at] = value;
                }
                bytes.truncate(keep);
                let file = tempfile::NamedTempFile::new().unwrap();
                std::fs::write(file.path(), &bytes).unwrap();
                if let Ok(source) = Source::open(file.path()) {
                    let _ = analyse(source, None, &options(), &mut |_| Control::Continue);
                }
                if let Ok(mut s) = StoredTrace::open(file.path()) {
                    let _ = s.zoom(0.0, 2.0, 10);
                    let _ = s.zoom(0.5, 0.6, 1000);
                }
                Ok(())
            },
        )
        .unwrap();
}
