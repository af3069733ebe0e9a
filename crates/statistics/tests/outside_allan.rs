//! Allan family against the 1000-point and 9-point test suites of Riley & Howe 2008, NIST SP 1065,
//! section 12.4 (printed to seven digits).
#![allow(missing_docs)] // a test program has no public items to document

use overwinter_statistics::allan::{Deviation, stability};
use overwinter_statistics::univariate::summary;

/// The generator printed in the handbook: n(i+1) = 16807·n(i) mod (2³¹ − 1).
fn thousand_points() -> Vec<f64> {
    let mut n = 1_234_567_890_u64;
    (0..1000)
        .map(|_| {
            let y = n as f64 / 2_147_483_647.0;
            n = n * 16807 % 2_147_483_647;
            y
        })
        .collect()
}

fn close(got: f64, printed: f64) {
    assert!((got / printed - 1.0).abs() < 5e-7, "{got} against {printed}");
}

#[test]
fn thousand_point_suite() {
    let y = thousand_points();
    let s = summary(&y).unwrap();
    close(s.mean, 0.4897745);
    close(s.standard_deviation.unwrap(), 0.2884664);
    for (deviation, printed) in [
        (Deviation::Allan, [2.922319e-1, 9.965736e-2, 3.897804e-2]),
        (Deviation::OverlappingAllan, [2.922319e-1, 9.159953e-2, 3.241343e-2]),
        (Deviation::ModifiedAllan, [2.922319e-1, 6.172376e-2, 2.170921e-2]),
        (Deviation::Time, [1.687202e-1, 3.563623e-1, 1.253382]),
        (Deviation::Hadamard, [2.943883e-1, 1.052754e-1, 3.910860e-2]),
        (Deviation::OverlappingHadamard, [2.943883e-1, 9.581083e-2, 3.237638e-2]),
    ] {
        for (m, printed) in [1, 10, 100].into_iter().zip(printed) {
            let got = stability(&y, 1.0, m, deviation).unwrap();
            close(got.deviation, printed);
        }
    }
}

#[test]
fn nine_point_suite() {
    let f = [892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0];
    for (deviation, printed) in [
        (Deviation::Allan, [91.22945, 115.8082]),
        (Deviation::OverlappingAllan, [91.22945, 85.95287]),
        (Deviation::ModifiedAllan, [91.22945, 74.78849]),
        (Deviation::Time, [52.67135, 86.35831]),
        (Deviation::Hadamard, [70.80608, 116.7980]),
    ] {
        for (m, printed) in [1, 2].into_iter().zip(printed) {
            close(stability(&f, 1.0, m, deviation).unwrap().deviation, printed);
        }
    }
    assert_eq!(stability(&f, 1.0, 6, Deviation::Allan), None);
    assert_eq!(stability(&f, 1.0, 4, Deviation::ModifiedAllan), None);
}
