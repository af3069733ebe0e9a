//! Burden, sampling, settling, ride-through, specimens: the job's check values (common practice) and
//! the sources named beside each check.
#![allow(missing_docs)] // a test program has no public items to document

use overwinter_figures::burden::{
    BoardUnderTest, HookUp, MeterRange, advise, calibrated_capacitance, capacitor_droop,
    clamp_is_harmless, largest_series_resistance, with_tolerance,
};
use overwinter_figures::ride_through::{
    Consistency, HandOver, Trials, assess, compare, resets_a_year,
};
use overwinter_figures::sampling::{Bursts, averaging_window_s, bandwidth_hz, point_sampling};
use overwinter_figures::settling::{Advice, Settling};
use overwinter_figures::specimens::{
    SpecimenError, SpreadBasis, SpreadPrior, prediction_factor, type_figure,
};
use overwinter_statistics::special::normal_quantile;
use overwinter_statistics::{Distribution, Draws, Figure, Source};

fn near(got: f64, want: f64, tolerance: f64, what: &str) {
    assert!((got - want).abs() <= tolerance, "{what}: {got} against {want} ± {tolerance}");
}

fn trap_3() -> BoardUnderTest {
    BoardUnderTest {
        source_v: 3.70,
        source_ohm: 0.15,
        dropout_v: 0.28,
        brown_out_v: 2.80,
        sleep_a: 12.6e-6,
        boot_a: 0.08,
        peak_a: 0.340,
    }
}

fn range(name: &str, full_scale_a: f64, shunt_ohm: f64, offset_limit_a: f64) -> MeterRange {
    MeterRange {
        name: name.to_owned(),
        full_scale_a,
        shunt_ohm,
        leads_ohm: 0.0,
        gain_limit: 0.01,
        offset_limit_a,
    }
}

#[test]
fn trap_3_burden() {
    let board = trap_3();
    let ranges = [
        range("200 µA", 200e-6, 1000.0, 0.2e-6),
        range("200 mA", 0.2, 1.8, 200e-6),
        range("400 mA", 0.4, 1.8, 200e-6),
        range("10 A", 10.0, 0.1, 20e-3),
    ];
    let advice = advise(&board, &ranges);
    near(advice.ranges[2].rail_peak_v, 2.757, 5e-4, "rail behind 1.8 Ω");
    assert!(!advice.ranges[2].transmits && advice.ranges[2].boots, "reboot loop at the radio");
    // Without the meter's own 0.15 Ω of source: 3.335 V at 0.1 Ω.
    near(advice.ranges[3].rail_peak_v, 3.335, 5e-4, "rail behind 0.1 Ω");
    near(advice.largest_meter_ohm, 1.67, 5e-3, "meter limit");
    near(largest_series_resistance(&board), (3.70 - 0.28 - 2.80) / 0.340, 1e-12, "R_max");
    assert!(!advice.ranges[1].peak_in_range);
    assert!(!advice.ranges[0].boots, "no start behind the µA range");
    assert_eq!(advice.sleep, HookUp::BypassSwitch { range: "200 µA".to_owned() });
    assert_eq!(advice.peak_range.as_deref(), Some("10 A"));
    assert_eq!(advise(&board, &ranges[1..]).sleep, HookUp::CapacitorDroop);
    let weak = BoardUnderTest { source_v: 3.0, ..board };
    assert_eq!(advise(&weak, &ranges).sleep, HookUp::StifferSourceSensedAtBoard);
}

#[test]
fn microamp_shunt_asleep_and_awake() {
    // 100 Ω, 3.3 V: 30 µA drop 3.0 mV; 20 mA drop 2.0 V, which browns out (direct supply, reset at 2.8 V).
    let board = BoardUnderTest {
        source_v: 3.3,
        source_ohm: 0.0,
        dropout_v: 0.0,
        brown_out_v: 2.8,
        sleep_a: 30e-6,
        boot_a: 20e-3,
        peak_a: 20e-3,
    };
    let v = &advise(&board, &[range("µA", 1e-3, 100.0, 0.0)]).ranges[0];
    near(v.drop_asleep_v, 3.0e-3, 1e-15, "asleep");
    near(v.drop_peak_v, 2.0, 1e-12, "awake");
    assert!(!v.transmits && !v.boots);
}

#[test]
fn capacitor_droop_method() {
    // 4700 µF, 0.20 V in 63 s: 14.9 µA.
    let c = with_tolerance("capacitance", 4700e-6, 0.05);
    let volt = |v: f64, id: &str| {
        Figure::exact(v)
            .plus_source(Source::rectangular("meter / 20 V / gain", 0.005), v)
            .plus_source(Source::rectangular("meter / 20 V / offset", 0.003), 1.0)
            .plus_source(Source::rectangular(id, 0.0005), 1.0)
    };
    let (v1, v2) = (volt(3.9, "first"), volt(3.7, "second"));
    let t = Figure::with_source(63.0, Source::normal("stopwatch", 0.3));
    let i = capacitor_droop(&c, &v1, &v2, &t, &Figure::exact(0.0)).unwrap();
    near(i.value(), 14.9e-6, 0.05e-6, "current");
    // The meter's offset cancels, its gain acts on the difference only: capacitance dominates.
    let budget = i.budget();
    assert_eq!(budget.rows[0].source.name(), "capacitance");
    assert!(budget.rows.iter().all(|r| r.source.name() != "meter / 20 V / offset"));
    near(i.standard_uncertainty() / i.value(), 0.05 / 3.0_f64.sqrt(), 0.002, "relative u");
    assert_eq!(capacitor_droop(&c, &v1, &v2, &Figure::exact(0.0), &Figure::exact(0.0)), None);
    // Calibrated with 1 MΩ (3.8 µA at 3.8 V): the same 4700 µF back from its own discharge.
    let r = with_tolerance("resistor", 1e6, 0.01);
    let seconds = 1e6 * 4700e-6 * libm::log(3.9 / 3.7);
    let back = calibrated_capacitance(&r, &v1, &v2, &Figure::exact(seconds)).unwrap();
    near(back.value(), 4700e-6, 1e-12, "C");
    assert!(clamp_is_harmless(0.5e-9, 1e-6) && !clamp_is_harmless(20e-9, 1e-6));
}

#[test]
fn trap_9_point_sampling() {
    let bursts = Bursts { floor_a: 61e-6, burst_a: 0.2, width_s: 1e-3, period_s: 1.0 };
    let s = point_sampling(&bursts, 10.0, 60.0).unwrap();
    near(s.true_mean_a, 261e-6, 1e-12, "true mean");
    near(s.expected_hits, 0.6, 1e-12, "hits");
    near(s.chance_of_missing_all, 0.55, 0.005, "chance of reading 61");
    near(s.relative_scatter_of_bursts, 1.29, 0.005, "scatter");
    // Brute force: the same sampling 2000 times, seed fixed.
    let draws = Draws::new(9);
    let mut missed = 0;
    for run in 0..2000_usize {
        let column = draws.column(run);
        missed += usize::from((0..600).all(|i| column.unit(i * 7919 + 13) >= 1e-3));
    }
    near(missed as f64 / 2000.0, s.chance_of_missing_all, 0.04, "brute force");
    near(averaging_window_s(2.0, 0.01).unwrap(), 200.0, 1e-9, "100 periods for 1 %");
    near(bandwidth_hz(20e-6).unwrap(), 17.5e3, 1e-6, "0.35/t_r");
    assert_eq!(point_sampling(&bursts, 0.0, 60.0), None);
}

fn settle(limit: f64, amplitude: f64, tau: f64, u: f64, noise: f64, seed: u64) -> (f64, f64) {
    // Pushes a reading every 5 s until told to take it; returns value and time.
    let column = Draws::new(seed).column(0);
    let mut settling = Settling::new(u);
    for i in 0..400 {
        let t = 5.0 * f64::from(i);
        let value =
            limit + amplitude * libm::exp(-t / tau) + noise * normal_quantile(column.unit(i));
        if let Advice::Take { value, .. } = settling.push(t, value).unwrap() {
            return (value, t);
        }
    }
    panic!("never settled");
}

#[test]
fn settling_waits_until_half_an_uncertainty_is_left() {
    let (limit, amplitude, tau, u) = (12.6, 4.0, 30.0, 0.3);
    let due = tau * libm::log(amplitude / (0.5 * u)); // 98.5 s
    for seed in 0..20 {
        let (value, t) = settle(limit, amplitude, tau, u, 0.02, seed);
        assert!((value - limit).abs() < u, "seed {seed}: {value} at {t} s");
        assert!(t > 0.85 * due && t < 1.6 * due, "seed {seed}: taken at {t} s, due at {due} s");
    }
    // A settled reading is taken once a transient of 60 s is ruled out by the noise at hand.
    let (value, t) = settle(12.6, 0.0, 30.0, 0.3, 0.02, 1);
    assert!(t <= 60.0 && (value - 12.6).abs() < 0.1);
}

#[test]
fn settling_says_how_long() {
    let mut s = Settling::new(0.3);
    let mut advice = None;
    for i in 0..13 {
        let t = 5.0 * f64::from(i);
        advice = Some(s.push(t, 12.6 + 4.0 * libm::exp(-t / 30.0)).unwrap());
    }
    // At 60 s 0.541 is left; 30·ln(0.541/0.15) = 38.5 s more.
    let Some(Advice::Wait { seconds, limit, .. }) = advice else { panic!("{advice:?}") };
    near(seconds, 30.0 * libm::log(4.0 * libm::exp(-2.0) / 0.15), 0.1, "wait");
    near(limit, 12.6, 1e-6, "limit");
    assert!(s.push(60.0, 1.0).is_err(), "the clock must advance");
    assert!(s.push(f64::NAN, 1.0).is_err());
    // A slow drift without an end in the record is neither extrapolated nor taken.
    let mut slow = Settling::new(0.3);
    let mut last = None;
    for i in 0..10 {
        let t = 5.0 * f64::from(i);
        last = Some(slow.push(t, 12.6 + 20.0 * libm::exp(-t / 3000.0)).unwrap());
    }
    assert!(matches!(last, Some(Advice::NoEndInSight { .. })), "{last:?}");
}

#[test]
fn fast_readings_of_a_slow_transient_are_not_taken_too_early() {
    // Readings every second of a transient of 60 s: the change from reading to reading is small, but
    // the value is taken only when less than u is left; the same with a second, slower transient.
    for (fast, slow, tau_slow) in [(0.0, 4.0, 60.0), (4.0, 2.0, 60.0), (0.0, 4.0, 20.0)] {
        for seed in 0..10 {
            let column = Draws::new(100 + seed).column(0);
            let mut settling = Settling::new(0.3);
            let taken = (0..2000).find_map(|i| {
                let t = f64::from(i);
                let true_value =
                    12.6 + fast * libm::exp(-t / 5.0) + slow * libm::exp(-t / tau_slow);
                let read = true_value + 0.02 * normal_quantile(column.unit(i));
                match settling.push(t, read).unwrap() {
                    Advice::Take { value, .. } => Some((t, value)),
                    _ => None,
                }
            });
            let (t, value) = taken.unwrap();
            assert!(
                (value - 12.6).abs() < 0.3,
                "{fast} {slow} {tau_slow} seed {seed}: {value} at {t} s"
            );
        }
    }
}

#[test]
fn trap_r_ride_through() {
    let hand_over = HandOver {
        diode_v: Figure::exact(0.7),
        dropout_v: Figure::exact(0.15),
        load_a: Figure::exact(0.0),
        path_ohm: Figure::exact(0.0),
        bulk_help_v: Figure::exact(0.0),
        brown_out_v: Figure::exact(2.80),
    };
    near(hand_over.rail_v(&Figure::exact(4.1)).value(), 3.25, 1e-12, "4.1 V passes");
    near(hand_over.rail_v(&Figure::exact(3.6)).value(), 2.75, 1e-12, "3.6 V resets");
    near(hand_over.lowest_safe_cell_v().value(), 3.65, 1e-12, "safe above");
    near(hand_over.reset_probability(&Figure::exact(4.1)), 0.0, 0.0, "4.1");
    near(hand_over.reset_probability(&Figure::exact(3.6)), 1.0, 0.0, "3.6");
    let unsure =
        HandOver { diode_v: Figure::with_source(0.7, Source::normal("diode", 0.05)), ..hand_over };
    near(unsure.reset_probability(&Figure::exact(3.65)), 0.5, 1e-6, "on the edge");
    near(unsure.lowest_safe_cell_v().standard_uncertainty(), 0.05, 1e-12, "its uncertainty");
    let twenty = |resets| Trials { resets, tried: 20 };
    let at = Figure::exact(3.9);
    assert_eq!(compare(&unsure, &at, twenty(0)), Some(Consistency::Agrees));
    assert_eq!(compare(&unsure, &at, twenty(9)), Some(Consistency::WorseThanPredicted));
    let low = Figure::exact(3.4);
    assert_eq!(compare(&unsure, &low, twenty(0)), Some(Consistency::BetterThanPredicted));
}

#[test]
fn trials_and_resets_a_year() {
    // 0/20: < 14 % at 95 % (one-sided); 200 source events a year.
    let a = assess(Trials { resets: 0, tried: 20 }, 0.95).unwrap();
    near(a.at_most, 0.139, 5e-4, "at most");
    let year = resets_a_year(&a, 200.0).unwrap();
    assert_eq!(year.expected, Some(0.0));
    near(year.high, 200.0 * 0.16843347, 1e-4, "two-sided upper bound (scipy 1.17.1 binomtest)");
    let none = assess(Trials { resets: 0, tried: 0 }, 0.95).unwrap();
    assert_eq!((none.observed, none.low, none.high), (None, 0.0, 1.0));
    assert_eq!(assess(Trials { resets: 5, tried: 4 }, 0.95), None);
}

#[test]
fn prediction_of_the_next_specimen() {
    for (n, k) in [(2, 15.6), (3, 4.97), (5, 3.04)] {
        near(prediction_factor(n, 0.95).unwrap(), k, 0.05, "t·√(1 + 1/n)");
    }
    assert_eq!(prediction_factor(1, 0.95), None);
    let x = |v: f64| Figure::with_source(v, Source::normal("r", 0.2e-6));
    let three = type_figure(&[x(12e-6), x(14e-6), x(13e-6)], SpreadPrior::default()).unwrap();
    assert!(matches!(three.basis, SpreadBasis::Measured { n: 3, .. }));
    near(three.half_width_95, 4.97e-6, 0.005e-6, "half-width");
    assert!(three.next.quantile(0.0) >= 0.0, "no negative current");
    let one = type_figure(&[x(12.6e-6)], SpreadPrior { coefficient_of_variation: 0.2 }).unwrap();
    let Distribution::LogNormal { median, .. } = one.next else { panic!("{one:?}") };
    near(median, 12.6e-6, 1e-15, "median");
    near(one.next.sd() / one.next.mean(), 0.2_f64.hypot(0.2 / 12.6), 1e-9, "prior and reading");
    assert_eq!(type_figure(&[], SpreadPrior::default()), Err(SpecimenError::None));
    assert!(type_figure(&[x(-1e-6)], SpreadPrior::default()).is_err());
}
