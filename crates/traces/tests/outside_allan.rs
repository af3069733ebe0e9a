//! Overlapping Allan deviation against the published test suites: W. Riley, D. Howe, NIST SP 1065 (2008), section 12.4.

use overwinter_traces::overlapping_allan;

#[test]
fn thousand_points() {
    let mut n = 1_234_567_890u64;
    let mut y = Vec::new();
    for _ in 0..1000 {
        y.push(n as f64 / 2_147_483_647.0);
        n = n * 16807 % 2_147_483_647;
    }
    // Printed to seven digits; the numbers of terms from the table beside the check data.
    for (m, deviation, terms) in
        [(1, 2.922319e-1, 999), (10, 9.159953e-2, 981), (100, 3.241343e-2, 801)]
    {
        let p = overlapping_allan(&y, m).unwrap();
        assert!((p.deviation / deviation - 1.0).abs() < 2e-7, "{m}: {}", p.deviation);
        assert_eq!(p.terms, terms);
    }
}

#[test]
fn nine_points() {
    let f = [892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0];
    for (m, deviation) in [(1, 91.22945), (2, 85.95287)] {
        assert!((overlapping_allan(&f, m).unwrap().deviation - deviation).abs() < 5e-6);
    }
    assert_eq!(overlapping_allan(&f, 5), None);
    assert_eq!(overlapping_allan(&f, 0), None);
}
