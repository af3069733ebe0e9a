//! What must hold for every scenario.

mod common;

use common::{activity, direct_path, linear_path, load, plain_cell, scenario, segment};
use overwinter_engine::cell::{
    Ageing, Protection, RcPair, Resistance, ResistanceCurve, SelfDischarge, TwoWell,
};
use overwinter_engine::climate::Monthly;
use overwinter_engine::load::{Demand, ExponentialTemperature, Peak, SleepCurrent};
use overwinter_engine::path::{AlwaysOn, Conversion, Drain, Regulator, Switching};
use overwinter_engine::{Account, Climate, Curve, Engine, Scenario};
use proptest::prelude::*;

/// A scenario from plain numbers; `kind` picks the regulator.
#[derive(Debug, Clone)]
struct Numbers {
    sleep_a: f64,
    wake_a: f64,
    wake_s: f64,
    interval_s: f64,
    capacity_c: f64,
    ohm: f64,
    kind: u8,
    wells: bool,
    seasons: bool,
    reading: bool,
}

fn numbers() -> impl Strategy<Value = Numbers> {
    (
        (1e-6..3e-4, 0.005..0.2, 0.05..5.0, 20.0..2000.0),
        (200.0..20_000.0, 0.02..1.0, 0_u8..5),
        (any::<bool>(), any::<bool>(), any::<bool>()),
    )
        .prop_map(|((sleep_a, wake_a, wake_s, interval_s), (capacity_c, ohm, kind), flags)| {
            Numbers {
                sleep_a,
                wake_a,
                wake_s,
                interval_s,
                capacity_c,
                ohm,
                kind,
                wells: flags.0,
                seasons: flags.1,
                reading: flags.2,
            }
        })
}

fn build(n: &Numbers) -> Scenario {
    let mut cell = plain_cell(n.capacity_c, Curve::monotone(&common::LI_ION).unwrap(), 0.0);
    cell.resistance = Some(Resistance {
        at_25: ResistanceCurve::Rising { ohm: n.ohm, rise: 1.5, scale: 0.08 },
        b_kelvin: Some(2500.0),
    });
    cell.rc = vec![RcPair { resistance_ohm: 0.5 * n.ohm, time_constant_s: 12.0 }];
    cell.self_discharge = Some(SelfDischarge { rate_at_20_per_s: 7.7e-9, doubling_kelvin: 10.0 });
    cell.protection = Some(Protection { own_current_a: Some(4e-6), cutoff_v: Some(2.8) });
    if n.wells {
        cell.two_well = Some(TwoWell { available_share: 0.5, rate_per_s: 0.005 });
    }
    let switching = Switching {
        set_v: 3.3,
        quiescent_a: Some(8e-6),
        conversion: Conversion::Loss { proportional: 0.08, resistance_ohm: 0.2 },
        min_input_v: Some(2.2),
        switch_limit_a: None,
        pass_ohm: 0.2,
    };
    let mut path = match n.kind {
        1 | 2 => linear_path(3.0, 3e-6, 0.5, 2.6),
        _ => direct_path(),
    };
    match n.kind {
        2 => {
            if let Regulator::Linear(r) = &mut path.regulator {
                r.ground_in_dropout_a = Some(150e-6);
            }
        }
        3 => path.regulator = Regulator::BuckBoost(switching),
        4 => {
            path.regulator = Regulator::StepDown(Switching { set_v: 2.5, ..switching });
        }
        _ => {}
    }
    path.series_ohm = 0.05;
    path.reset_v = Some(2.4);
    path.always_on = vec![
        AlwaysOn {
            name: "divider".into(),
            drain: if n.kind == 0 || n.kind == 3 {
                Drain::Ohmic { resistance_ohm: 2e5 }
            } else {
                Drain::Constant { current_a: 5e-7 }
            },
            in_sleep_reading: true,
        },
        AlwaysOn {
            name: "gauge".into(),
            drain: Drain::Constant { current_a: 2e-6 },
            in_sleep_reading: false,
        },
    ];
    let mut transmit = segment("transmit", n.wake_s, n.wake_a);
    transmit.peak = Some(Peak { current_a: 1.5 * n.wake_a, duration_s: 0.01 });
    if n.kind == 3 {
        transmit.demand = Demand::Power { power_w: 3.3 * n.wake_a };
    }
    let boot = segment("boot", 0.5 * n.wake_s, 0.4 * n.wake_a);
    let mut sc = scenario(
        load(
            n.sleep_a,
            vec![
                activity("report", n.interval_s, vec![boot, transmit]),
                activity("synchronise", 24.0 * n.interval_s, vec![segment("listen", 1.0, 0.03)]),
            ],
        ),
        path,
        cell,
    );
    if n.reading {
        sc.load.sleep.current = SleepCurrent::Battery { current_a: n.sleep_a + 60e-6 };
    }
    if n.seasons {
        sc.cell.ageing = Some(Ageing {
            capacity_loss_per_sqrt_year: 0.04,
            activation_j_per_mol: 50e3,
            resistance_rise_per_sqrt_year: Some(0.1),
        });
        sc.load.sleep.temperature =
            Some(ExponentialTemperature { per_kelvin: 0.05, reference_celsius: 22.0 });
        sc.climate = Climate::Monthly(Monthly {
            mean_celsius: [-2., 0., 4., 9., 14., 18., 20., 19., 15., 9., 3., -1.],
            daily_amplitude_kelvin: [3.0; 12],
            start_day: 200,
        });
    }
    sc.horizon_s = 20.0 * 365.0 * 86_400.0;
    sc
}

fn life(sc: &Scenario) -> f64 {
    Engine::new().life(sc).unwrap().life_s
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 512,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// Every coulomb of the start is in exactly one account.
    #[test]
    fn ledger_adds_up(n in numbers()) {
        let f = Engine::new().forecast(&build(&n), 4).unwrap();
        let sum: f64 = f.ledger.iter().map(|e| e.charge_c).sum();
        prop_assert!((sum / f.initial_charge_c - 1.0).abs() < 1e-9, "{} of {}", sum, f.initial_charge_c);
        for e in &f.ledger {
            let free = matches!(e.account, Account::Regulator);
            prop_assert!(free || e.charge_c >= -1e-6 * f.initial_charge_c, "{:?}", e);
        }
    }

    /// The short answer is the long one, and an engine that was used before gives the same bits.
    #[test]
    fn same_answer_whatever_came_before(a in numbers(), b in numbers()) {
        let (a, b) = (build(&a), build(&b));
        let mut engine = Engine::new();
        engine.life(&b).unwrap();
        let used = engine.life(&a).unwrap();
        let fresh = Engine::new().life(&a).unwrap();
        let full = Engine::new().forecast(&a, 3).unwrap();
        prop_assert_eq!(used.life_s.to_bits(), fresh.life_s.to_bits());
        prop_assert_eq!(full.life.life_s.to_bits(), fresh.life_s.to_bits());
        prop_assert_eq!(full.life.ending, fresh.ending);
    }

    /// More sleep current, a longer or stronger wake, a further drain never lengthen the life.
    #[test]
    fn more_load_never_lives_longer(n in numbers(), more in 1.01..2.0_f64) {
        let base = life(&build(&n));
        let slack = 1e-5 * base + 1e-6;
        let sleepier = Numbers { sleep_a: n.sleep_a * more, ..n.clone() };
        prop_assert!(life(&build(&sleepier)) <= base + slack);
        let stronger = Numbers { wake_a: n.wake_a * more, ..n.clone() };
        prop_assert!(life(&build(&stronger)) <= base + slack);
        let mut leaky = build(&n);
        leaky.path.always_on[1].drain = Drain::Constant { current_a: 2e-6 * more };
        prop_assert!(life(&leaky) <= base + slack);
    }

    /// A segment written as two halves is the same load.
    #[test]
    fn splitting_a_segment_changes_nothing(n in numbers()) {
        let mut sc = build(&n);
        // Durations in whole milliseconds, so that halves are whole nanoseconds.
        for s in &mut sc.load.activities[0].segments {
            s.duration_s = (s.duration_s * 1e3).round().max(1.0) / 1e3;
        }
        let whole = life(&sc);
        let segments = &mut sc.load.activities[0].segments;
        let mut first = segments[1].clone();
        first.peak = None;
        first.duration_s *= 0.5;
        segments[1].duration_s *= 0.5;
        segments.insert(1, first);
        let split = life(&sc);
        // With currents that depend on the voltage the mean over the segment is taken in two parts.
        let slack = if n.kind == 0 || n.kind >= 2 { 1e-4 } else { 1e-9 };
        prop_assert!((split / whole - 1.0).abs() < slack + n.interval_s / whole * f64::from(n.kind != 1), "{} {}", whole, split);
    }

    /// Charge and currents doubled, resistances halved: the same voltages at the same times.
    #[test]
    fn scales(n in numbers()) {
        let n = Numbers { kind: 1, seasons: false, reading: false, ..n };
        let mut sc = build(&n);
        let base = life(&sc);
        sc.cell.capacity_c *= 2.0;
        if let Some(Resistance { at_25: ResistanceCurve::Rising { ohm, .. }, .. }) = &mut sc.cell.resistance {
            *ohm *= 0.5;
        }
        sc.cell.rc[0].resistance_ohm *= 0.5;
        sc.cell.protection = Some(Protection { own_current_a: Some(8e-6), cutoff_v: Some(2.8) });
        sc.path.series_ohm *= 0.5;
        for p in &mut sc.path.always_on {
            if let Drain::Constant { current_a } = &mut p.drain { *current_a *= 2.0; }
        }
        if let Regulator::Linear(r) = &mut sc.path.regulator {
            r.ground_current_a = Some(6e-6);
            r.dropout = r.dropout.map(|d| overwinter_engine::path::Dropout { resistance_ohm: 0.5 * d.resistance_ohm, ..d });
        }
        sc.load.sleep.current = SleepCurrent::Rail { current_a: 2.0 * n.sleep_a };
        for s in sc.load.activities.iter_mut().flat_map(|a| &mut a.segments) {
            if let Demand::Current { current_a } = &mut s.demand { *current_a *= 2.0; }
            if let Some(p) = &mut s.peak { p.current_a *= 2.0; }
        }
        prop_assert!((life(&sc) / base - 1.0).abs() < 1e-9);
    }

    /// No input, however odd, panics.
    #[test]
    fn odd_numbers_do_not_panic(n in numbers(), which in 0_usize..12, value in prop_oneof![
        Just(f64::NAN), Just(f64::INFINITY), Just(-1.0), Just(0.0), Just(1e300), Just(1e-300)
    ]) {
        let mut sc = build(&n);
        match which {
            0 => sc.cell.capacity_c = value,
            1 => sc.cell.initial_charge = value,
            2 => sc.load.activities[0].interval_s = value,
            3 => sc.load.activities[0].segments[0].duration_s = value,
            4 => sc.load.activities[0].segments[0].demand = Demand::Current { current_a: value },
            5 => sc.path.series_ohm = value,
            6 => sc.horizon_s = value,
            7 => sc.climate = Climate::Constant { celsius: value },
            8 => sc.cell.rc[0].time_constant_s = value,
            9 => sc.path.reset_v = Some(value),
            10 => sc.cell.cutoff_v = Some(value),
            _ => sc.load.sleep.current = SleepCurrent::Battery { current_a: value },
        }
        if let Ok(life) = Engine::new().life(&sc) {
            prop_assert!(life.life_s >= 0.0 && life.life_s.is_finite(), "{:?}", life);
        }
        let _ = Engine::new().forecast(&sc, 2);
    }
}
