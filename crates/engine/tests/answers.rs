//! What a forecast says beside the life: margins, flags, samples, places, the bulk capacitor.

mod common;

use common::{LI_ION, activity, direct_path, linear_path, load, plain_cell, scenario, segment};
use overwinter_engine::cell::{Protection, RcPair, SelfDischarge};
use overwinter_engine::climate::Monthly;
use overwinter_engine::load::{Peak, SleepCurrent};
use overwinter_engine::path::{AlwaysOn, Bulk, Drain, Regulator};
use overwinter_engine::{Account, Climate, Curve, Ending, Engine, Flag, InputError, Scenario};

fn node() -> Scenario {
    let mut cell = plain_cell(9000.0, Curve::linear(&LI_ION).unwrap(), 0.18);
    cell.rc = vec![RcPair { resistance_ohm: 0.06, time_constant_s: 20.0 }];
    cell.self_discharge = Some(SelfDischarge::from_loss(0.02, 30.4 * 86_400.0, 10.0));
    cell.protection = Some(Protection { own_current_a: Some(4e-6), cutoff_v: Some(2.8) });
    let mut transmit = segment("transmit", 2.0, 0.095);
    transmit.peak = Some(Peak { current_a: 0.34, duration_s: 0.002 });
    let mut path = linear_path(3.3, 2e-6, 0.5, 2.8);
    if let Regulator::Linear(r) = &mut path.regulator {
        r.ground_in_dropout_a = Some(2e-6);
    }
    scenario(load(12e-6, vec![activity("report", 600.0, vec![transmit])]), path, cell)
}

#[test]
fn margins_name_every_other_limit() {
    let mut sc = node();
    sc.cell.shelf_life_s = Some(20.0 * 365.0 * 86_400.0);
    let f = Engine::new().forecast(&sc, 9).unwrap();
    assert_eq!(f.life.ending, Ending::RailBelowReset);
    let margin = |limit| f.margins.iter().find(|m| m.limit == limit).unwrap().margin;
    // The failing limit is met (to the cell's last cycle), the others are not.
    assert!(margin(Ending::RailBelowReset) <= 1e-9 && margin(Ending::RailBelowReset) > -1e-3);
    assert!(margin(Ending::ProtectionCutoff) > 0.0);
    assert!((margin(Ending::ChargeExhausted) - f.stranded_c).abs() < 1e-9);
    assert!((margin(Ending::ShelfLife) - (20.0 * 365.0 * 86_400.0 - f.life.life_s)).abs() < 1e-3);
    assert!(f.life.shortfall_v > 0.0 && f.life.shortfall_v < 1e-3);
    // Samples fall, and the last one stands at the limit.
    assert_eq!(f.samples.len(), 9);
    assert!(f.samples.windows(2).all(|w| w[1].state_of_charge < w[0].state_of_charge));
    assert!((f.samples[8].lowest_rail_v.unwrap() - 2.8).abs() < 1e-3);
    assert!((f.samples[8].time_s - f.life.life_s).abs() < 1e-6);
}

#[test]
fn a_board_that_never_works_is_told_at_once() {
    let mut sc = node();
    sc.path.series_ohm = 5.0;
    let life = Engine::new().life(&sc).unwrap();
    assert!(life.at_once);
    assert_eq!(life.life_s, 2.0); // the end of the first peak
    // 4.18 V less the sag of the first peak in hand: the shortfall in volts.
    assert!(life.shortfall_v > 0.3 && life.shortfall_v < 0.8, "{}", life.shortfall_v);
}

#[test]
fn unknown_is_flagged_and_never_a_number() {
    let mut sc = node();
    let known = Engine::new().forecast(&sc, 0).unwrap();
    assert!(known.warnings.is_empty(), "{:?}", known.warnings);
    sc.cell.resistance = None;
    sc.cell.self_discharge = None;
    sc.cell.protection = Some(Protection { own_current_a: None, cutoff_v: None });
    sc.path.reset_v = None;
    if let Regulator::Linear(r) = &mut sc.path.regulator {
        r.ground_current_a = None;
        r.ground_in_dropout_a = None;
    }
    let f = Engine::new().forecast(&sc, 0).unwrap();
    assert!(f.warnings.contains(&Flag::GroundInDropoutUnknown), "{:?}", f.warnings);
    if let Regulator::Linear(r) = &mut sc.path.regulator {
        r.dropout = None;
    }
    sc.path.bulk = Some(Bulk { capacitance_f: 1e-4, esr_ohm: 0.1, leakage_a: None });
    sc.cell.passivating = true;
    let f = Engine::new().forecast(&sc, 0).unwrap();
    for flag in [
        Flag::ResistanceUnknown,
        Flag::SelfDischargeUnknown,
        Flag::ProtectionCurrentUnknown,
        Flag::CutoffUnknown,
        Flag::ResetThresholdUnknown,
        Flag::GroundCurrentUnknown,
        Flag::DropoutUnknown,
        Flag::BulkLeakageUnknown,
        Flag::Passivation,
    ] {
        assert!(f.warnings.contains(&flag), "{flag:?} is missing from {:?}", f.warnings);
    }
    // Away from room temperature the missing temperature laws are told.
    let mut cold = node();
    cold.climate = Climate::Constant { celsius: -10.0 };
    let f = Engine::new().forecast(&cold, 0).unwrap();
    for flag in [
        Flag::CapacityTemperatureUnknown,
        Flag::ResistanceTemperatureUnknown,
        Flag::SleepTemperatureUnknown,
    ] {
        assert!(f.warnings.contains(&flag), "{flag:?}");
    }
    // Outside the tables and limits of the cell.
    cold.cell.capacity_by_temperature = Some(Curve::linear(&[(0.0, 0.95), (25.0, 1.0)]).unwrap());
    cold.cell.discharge_celsius = Some((0.0, 45.0));
    cold.cell.max_current_a = Some(0.05);
    let f = Engine::new().forecast(&cold, 0).unwrap();
    for flag in
        [Flag::OutsideCapacityTable, Flag::OutsideDischargeTemperature, Flag::AboveCellCurrent]
    {
        assert!(f.warnings.contains(&flag), "{flag:?}");
    }
}

#[test]
fn a_sleep_reading_is_split_into_its_parts() {
    let mut sc = node();
    sc.load.sleep.current = SleepCurrent::Battery { current_a: 178e-6 };
    sc.path.always_on = vec![
        AlwaysOn {
            name: "bridge".into(),
            drain: Drain::Constant { current_a: 105e-6 },
            in_sleep_reading: true,
        },
        AlwaysOn {
            name: "divider".into(),
            drain: Drain::Ohmic { resistance_ohm: 200e3 },
            in_sleep_reading: true,
        },
    ];
    let f = Engine::new().forecast(&sc, 0).unwrap();
    let charge = |a: &Account| f.ledger.iter().find(|e| e.account == *a).unwrap().charge_c;
    let t = f.life.life_s;
    assert!((charge(&Account::AlwaysOn(0)) / t - 105e-6).abs() < 1e-9);
    let divider = charge(&Account::AlwaysOn(1)) / t;
    assert!(divider > 17e-6 && divider < 21e-6, "{divider}");
    // 178 − 105 − divider − 2 (regulator) is left for the module, while asleep.
    let asleep = 1.0 - 2.0 / 600.0;
    let module = charge(&Account::Sleep) / t / asleep;
    assert!((module - (178e-6 - 105e-6 - 2e-6 - divider)).abs() < 1e-7, "{module}");
    assert!(f.warnings.is_empty(), "{:?}", f.warnings);
    // A bill above the reading is told.
    sc.path.always_on[0].drain = Drain::Constant { current_a: 200e-6 };
    let f = Engine::new().forecast(&sc, 0).unwrap();
    assert!(f.warnings.contains(&Flag::BillExceedsReading));
}

#[test]
fn cold_locks_charge_in_and_warmth_gives_it_back() {
    let table = Curve::linear(&[(-20.0, 0.6), (25.0, 1.0)]).unwrap();
    let mut sc = node();
    sc.cell.capacity_by_temperature = Some(table);
    sc.path.reset_v = None;
    sc.cell.protection = None;
    let warm = Engine::new().forecast(&sc, 0).unwrap();
    sc.climate = Climate::Constant { celsius: -20.0 };
    let cold = Engine::new().forecast(&sc, 0).unwrap();
    assert_eq!(cold.life.ending, Ending::ChargeExhausted);
    assert!((cold.stranded_c - 0.4 * 9000.0).abs() < 1.0, "{}", cold.stranded_c);
    assert!(warm.stranded_c.abs() < 1.0);
    // A cold January, met with half of the charge left, is lived through and costs nothing …
    let mut mean = [25.0; 12];
    mean[0] = -20.0;
    let mut from = |start_day| {
        sc.cell.self_discharge = None;
        sc.climate = Climate::Monthly(Monthly {
            mean_celsius: mean,
            daily_amplitude_kelvin: [0.0; 12],
            start_day,
        });
        let seasons = Engine::new().life(&sc).unwrap().life_s;
        sc.climate = Climate::Constant { celsius: 25.0 };
        (seasons, Engine::new().life(&sc).unwrap().life_s)
    };
    let (seasons, warm) = from(250);
    assert!((seasons - warm).abs() < 1e-3, "{seasons} {warm}");
    // … but met nearly empty it is the end, on its first day.
    let (seasons, warm) = from(60);
    assert!(seasons < warm);
    assert!((seasons / 86_400.0 - 305.0).abs() < 0.02, "{}", seasons / 86_400.0);
}

/// The bulk capacitor's filtered current against a plain simulation of capacitor and source.
#[test]
fn bulk_capacitor_equals_a_circuit_simulation() {
    let (emf, source, esr, farads) = (3.0, 20.0, 0.5, 220e-6);
    let currents = [(0.030, 0.002), (0.004, 0.010), (0.050, 0.015)];
    let sleep = 5e-6;
    let interval = 0.100;
    // Explicit steps of 0.2 µs over several cycles: capacitor voltage, node voltage.
    let (mut vc, h): (f64, f64) = (emf, 2e-7);
    let mut lowest = [f64::INFINITY; 3];
    for cycle in 0..6 {
        let mut t = 0.0;
        while t < interval - 0.5 * h {
            let (mut i, mut from, mut part) = (sleep, 0.0, 3);
            for (k, (a, d)) in currents.iter().enumerate() {
                if t >= from - 1e-12 && t < from + d - 1e-12 {
                    (i, part) = (*a, k);
                }
                from += d;
            }
            // Node: (emf − v)/R + (vc − v)/ESR = i
            let v = (emf / source + vc / esr - i) / (1.0 / source + 1.0 / esr);
            vc += h * (v - vc) / esr / farads;
            if cycle == 5 && part < 3 {
                lowest[part] = v; // the last one stays: the end of the part
            }
            t += h;
        }
    }
    // The deepest part decides: a threshold just under its voltage is survived, one just over is not.
    let deepest = lowest.iter().copied().fold(f64::INFINITY, f64::min);
    let flat = Curve::linear(&[(0.0, emf), (1.0, emf)]).unwrap();
    let mut path = direct_path();
    path.bulk = Some(Bulk { capacitance_f: farads, esr_ohm: esr, leakage_a: Some(0.0) });
    let segments: Vec<_> = currents.iter().map(|(a, d)| segment("part", *d, *a)).collect();
    for (offset, dies) in [(-1e-4, false), (1e-4, true)] {
        path.reset_v = Some(deepest + offset);
        let mut sc = scenario(
            load(sleep, vec![activity("burst", interval, segments.clone())]),
            path.clone(),
            plain_cell(9000.0, flat.clone(), source),
        );
        sc.horizon_s = 60.0;
        let f = Engine::new().forecast(&sc, 0).unwrap();
        assert_eq!(f.life.at_once, dies, "{deepest} {f:?}");
        // 5·(20 + 0.5)·220 µF = 22.6 ms fit into 73 ms of rest.
        assert!(!f.warnings.contains(&Flag::BulkNotRecharged));
        sc.load.activities[0].interval_s = 0.040;
        let f = Engine::new().forecast(&sc, 0).unwrap();
        assert!(f.warnings.contains(&Flag::BulkNotRecharged));
    }
}

#[test]
fn input_errors_name_quantity_and_range() {
    let mut sc = node();
    sc.cell.capacity_c = -1.0;
    assert!(matches!(
        Engine::new().life(&sc),
        Err(InputError::OutOfRange { what: "the cell's capacity (C)", .. })
    ));
    let mut sc = node();
    sc.load.activities[0].interval_s = 1.0;
    assert!(matches!(Engine::new().life(&sc), Err(InputError::ActivityTooLong { .. })));
    let mut sc = node();
    sc.cell.open_circuit_v = Curve::linear(&[(0.0, 3.0), (0.5, 3.6), (1.0, 3.5)]).unwrap();
    assert!(matches!(
        Engine::new().life(&sc),
        Err(InputError::OpenCircuitNotMonotone { from: 0.5, to: 1.0 })
    ));
}
