//! Two builds: the changed phase is named, the unchanged are not called changed, and the days follow.

mod common;

use common::Lehmer;
use overwinter_traces::{Analysis, Options, compare, days_gained};
use std::fmt::Write as _;

/// Sleep 20 µA; every second a wake of 20 ms at 8 mA, `radio_s` at 90 mA, 30 ms at 15 mA.
fn build(radio_s: f64, seed: u64) -> Analysis {
    let mut g = Lehmer(seed);
    let mut text = String::from("time_s,current_a\n");
    let mut k = 0u64;
    let mut put = |a: f64, seconds: f64, g: &mut Lehmer| {
        for _ in 0..(seconds * 2000.0).round() as usize {
            let _ = writeln!(text, "{:.4},{:.9}", k as f64 * 5e-4, a * (1.0 + 0.03 * g.z()));
            k += 1;
        }
    };
    put(20e-6, 0.5, &mut g);
    for _ in 0..20 {
        put(8e-3, 0.020, &mut g);
        let scatter = 0.002 * (g.u() - 0.5);
        put(90e-3, radio_s + scatter, &mut g);
        put(15e-3, 0.030, &mut g);
        put(20e-6, 0.95 - radio_s - scatter, &mut g);
    }
    common::read(text, None, &Options::default()).unwrap()
}

#[test]
fn the_phase_that_changed_is_found() {
    let (a, b) = (build(0.040, 11), build(0.060, 12));
    let c = compare(&a, &b);
    assert!(c.cautions.is_empty(), "{:?}", c.cautions);
    let changed = &c.phases[0];
    assert!(changed.phase.contains("90"), "{changed:?}");
    let d = changed.duration_s.unwrap();
    assert!((d.difference - 0.020).abs() < 5e-4 && d.significant(0.001) == Some(true), "{d:?}");
    assert!((changed.charge_difference_c / (0.020 * 90e-3) - 1.0).abs() < 0.03);
    // Sleep, the other phases: no change.
    for p in &c.phases[1..] {
        assert!(p.charge_difference_c.abs() < 0.02 * changed.charge_difference_c, "{p:?}");
    }
    let q = &c.wake_charge_c[0].2;
    assert_eq!(q.significant(0.001), Some(true));
    assert!((q.difference / (0.020 * (90e-3 - 20e-6)) - 1.0).abs() < 0.03, "{}", q.difference);
    // Means: 20 µA + charge per second; 1000 C last so many days less.
    let mean =
        |radio: f64| 20e-6 + 0.020 * 8e-3 + radio * 90e-3 + 0.030 * 15e-3 - 20e-6 * (0.05 + radio);
    let want = (1000.0 / mean(0.060) - 1000.0 / mean(0.040)) / 86_400.0;
    let days = days_gained(&c, 1000.0).unwrap();
    assert!(days < 0.0 && (days / want - 1.0).abs() < 0.03, "{days} {want}");
}

#[test]
fn the_same_build_twice_is_not_called_changed() {
    let c = compare(&build(0.040, 21), &build(0.040, 22));
    let q = &c.wake_charge_c[0].2;
    assert_eq!(q.significant(0.001), Some(false), "{q:?}");
    assert_eq!(c.sleep_a.unwrap().significant(0.001), Some(false));
    assert!(c.phases.iter().all(|p| !p.new && !p.gone), "{:?}", c.phases);
}

/// Equal durations leave the sampling's own uncertainty, both edges in both traces (JCGM 100:2008, 4.3.7); one sample more is within it.
#[test]
fn what_the_sampling_hides_is_no_difference() {
    const STEP_S: f64 = 1e-3;
    let exact = |awake: usize| {
        let mut text = String::from("time_s,current_a\n");
        let cycle =
            (0..900).map(|_| 20e-6).chain((0..awake).map(|_| 8e-3)).chain((0..300).map(|_| 20e-6));
        let samples = (0..12).flat_map(|_| cycle.clone());
        for (k, a) in samples.enumerate() {
            let _ = writeln!(text, "{:.3},{a:.9}", k as f64 * STEP_S);
        }
        common::read(text, None, &Options::default()).unwrap()
    };
    let of = |a: usize, b: usize| compare(&exact(a), &exact(b)).phases[0].duration_s.unwrap();
    let same = of(100, 100);
    let hidden = STEP_S * (2.0f64 / 6.0).sqrt();
    assert!(same.difference.abs() < 1e-9, "{same:?}");
    assert!((same.standard_uncertainty.unwrap() / hidden - 1.0).abs() < 1e-6, "{same:?}");
    let one_more = of(100, 101);
    assert!((one_more.difference / STEP_S - 1.0).abs() < 1e-6, "{one_more:?}");
    assert_eq!(one_more.significant(0.01), Some(false), "{one_more:?}");
    assert_eq!(of(100, 110).significant(0.01), Some(true));
}
