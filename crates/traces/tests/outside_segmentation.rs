//! Break points and cost against the Python library ruptures 1.1.10 (data and source: tests/data/README.md).

mod common;

use overwinter_traces::{
    CurrentSource, Delimiter, Format, Layout, Options, TextFormat, TimeSource, pelt, pelt_penalty,
};

fn columns(text: &str) -> Vec<Vec<f64>> {
    text.lines()
        .filter(|l| l.starts_with(|c: char| c.is_ascii_digit()))
        .map(|l| l.split(',').map(|f| f.parse().unwrap()).collect())
        .collect()
}

const TRUTH: [usize; 7] = [300, 340, 460, 520, 620, 650, 1000];

#[test]
fn the_reference_trace_has_exactly_the_reference_breaks_and_cost() {
    let y: Vec<f64> =
        columns(include_str!("data/segmentation_trace.csv")).iter().map(|r| r[2]).collect();
    let penalty = pelt_penalty(0.03, y.len());
    assert!((penalty - 0.012434).abs() < 5e-7, "the header prints 0.012434");
    for factor in [1.0, 1.5] {
        let found = pelt(&y, factor * penalty, 2);
        assert_eq!(found.ends, TRUTH);
        assert!((found.cost - 0.842214351).abs() < 1e-9, "{}", found.cost);
    }
    let whole = pelt(&y, 1e9, 2);
    assert_eq!(whole.ends, [1000]);
    assert!((whole.cost - 2533.299651).abs() < 1e-6, "{}", whole.cost);
}

#[test]
fn the_hand_case() {
    let y = [0.0, 0.0, 0.0, 0.0, 5.0, 5.0, 5.0, 1.0, 1.0, 1.0, 1.0, 1.0];
    let found = pelt(&y, 1.0, 2);
    assert_eq!((found.ends.as_slice(), found.cost), ([4, 7, 12].as_slice(), 0.0));
    assert!((pelt(&y, 1e9, 2).cost - 46.6667).abs() < 1e-4);
}

#[test]
fn ten_generated_traces() {
    let rows = columns(include_str!("data/pelt_traces.csv"));
    let cases: serde_json::Value =
        serde_json::from_str(include_str!("data/pelt_expected.json")).unwrap();
    let cases = cases.as_array().unwrap();
    assert_eq!(cases.len(), 10);
    for case in cases {
        let id = case["case"].as_f64().unwrap();
        let y: Vec<f64> = rows.iter().filter(|r| r[0] == id).map(|r| r[1]).collect();
        let found = pelt(
            &y,
            case["penalty"].as_f64().unwrap(),
            case["min_size"].as_u64().unwrap() as usize,
        );
        let ends: Vec<usize> =
            case["ends"].as_array().unwrap().iter().map(|e| e.as_u64().unwrap() as usize).collect();
        assert_eq!(found.ends, ends, "case {id}");
        assert!(
            (found.cost - case["cost"].as_f64().unwrap()).abs() < 1e-9,
            "case {id}: {}",
            found.cost
        );
    }
}

#[test]
fn the_whole_pass_finds_the_same_phases_and_the_wake() {
    let layout = Layout {
        format: Format::Text(TextFormat {
            delimiter: Delimiter::Comma,
            decimal_comma: false,
            skip_lines: 2,
        }),
        time: TimeSource::Index { column: 0, interval_s: 1e-3 },
        current: CurrentSource::Column { column: 1, amperes_per_unit: 1.0 },
        voltage: None,
        offset_a: 0.0,
        column_names: Vec::new(),
        doubts: Vec::new(),
    };
    let a = common::read(
        include_str!("data/segmentation_trace.csv"),
        Some(layout),
        &Options::default(),
    )
    .unwrap();
    let ends: Vec<u64> = a.phases.iter().map(|p| p.end_sample).collect();
    assert_eq!(ends, TRUTH.map(|e| e as u64));
    // The header of the reference: mean 12.7237644 mA.
    assert!((a.current.sample_mean_a - 12.7237644e-3).abs() < 5e-11);
    let w = a.wakes.unwrap();
    assert_eq!(w.count, 1);
    assert!((w.listed[0].duration_s - 0.350).abs() < 1e-9, "{}", w.listed[0].duration_s);
    assert_eq!(w.listed[0].segments.len(), 5);
    let f = a.floor.unwrap();
    assert!((f.mean_a / 12e-6 - 1.0).abs() < 0.01, "{}", f.mean_a);
}
