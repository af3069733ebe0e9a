//! Whole lives of random loads × cells × regulators against brute-force integration.
//!
//! Source of the reference: `common::brute_force`, classical Runge–Kutta on the physical state, every
//! cycle stepped through. The generator's seed is fixed; the lives are short (small cells) so that the
//! reference can afford them.
#![allow(clippy::print_stdout)] // the quantiles, for whoever runs it with --nocapture

mod common;

use common::{Random, brute_force, direct_path, plain_cell, scenario};
use overwinter_engine::cell::{
    Ageing, RcPair, Resistance, ResistanceCurve, SelfDischarge, TwoWell,
};
use overwinter_engine::climate::Monthly;
use overwinter_engine::load::{
    Activity, Demand, ExponentialTemperature, Load, Peak, Segment, Sleep, SleepCurrent,
};
use overwinter_engine::path::{
    AlwaysOn, Conversion, Drain, Dropout, EfficiencyTable, LinearRegulator, Regulator,
    ReverseProtection, Switching,
};
use overwinter_engine::{Climate, Curve, Engine, Scenario};

#[derive(Clone, Copy, PartialEq, Debug)]
enum Class {
    /// Currents do not depend on the voltage.
    Linear,
    /// They do.
    Voltage,
}

fn random_scenario(r: &mut Random, class: Class) -> Scenario {
    let ocv_points = if r.unit() < 0.5 {
        common::LI_ION.to_vec()
    } else {
        // PyBaMM's Prada2013 (LFP) curve, every 10 %; see tests/data/README.md.
        vec![
            (0.0, 2.0),
            (0.1, 2.97809),
            (0.2, 3.16849),
            (0.3, 3.20582),
            (0.4, 3.2525),
            (0.5, 3.26603),
            (0.6, 3.26882),
            (0.7, 3.27403),
            (0.8, 3.30969),
            (0.9, 3.31417),
            (1.0, 3.6),
        ]
    };
    let ocv = if r.unit() < 0.5 {
        Curve::linear(&ocv_points).unwrap()
    } else {
        Curve::monotone(&ocv_points).unwrap()
    };
    let capacity = r.log_between(40.0, 200.0);
    let mut cell = plain_cell(capacity, ocv, 0.0);
    let ohm = r.between(0.05, 0.6);
    let at_25 = match r.index(4) {
        0 => ResistanceCurve::Constant { ohm },
        1 => ResistanceCurve::Rising { ohm, rise: r.between(1.0, 2.0), scale: 0.08 },
        2 => ResistanceCurve::Depth { ohm: [ohm, 0.0, 2.0 * ohm] },
        _ => ResistanceCurve::Table(
            Curve::linear(&[(0.0, 3.0 * ohm), (0.2, 1.4 * ohm), (0.5, ohm), (1.0, ohm)]).unwrap(),
        ),
    };
    cell.resistance = Some(Resistance { at_25, b_kelvin: None });
    for _ in 0..r.index(3) {
        cell.rc.push(RcPair {
            resistance_ohm: r.between(0.02, 0.3),
            time_constant_s: r.log_between(4.0, 60.0),
        });
    }
    if r.unit() < 0.4 {
        cell.two_well = Some(TwoWell {
            available_share: r.between(0.3, 0.9),
            rate_per_s: r.log_between(1e-2, 1e-1),
        });
    }
    if r.unit() < 0.7 {
        cell.self_discharge = Some(SelfDischarge {
            rate_at_20_per_s: r.log_between(1e-9, 3e-7),
            doubling_kelvin: 10.0,
        });
    }
    cell.initial_charge = r.between(0.6, 1.0);
    if r.unit() < 0.5 {
        cell.cutoff_v = Some(r.between(2.2, 3.0));
    }
    let mut path = direct_path();
    path.series_ohm = r.between(0.0, 0.2);
    path.reset_v = Some(r.between(1.9, 2.8));
    if r.unit() < 0.3 {
        path.reverse = ReverseProtection::Diode { forward_v: 0.15, slope_ohm: 0.1 };
    }
    path.always_on.push(AlwaysOn {
        name: "protection".into(),
        drain: Drain::Constant { current_a: 4e-6 },
        in_sleep_reading: false,
    });
    let linear = |r: &mut Random, in_dropout: Option<f64>| {
        Regulator::Linear(LinearRegulator {
            set_v: r.between(2.9, 3.3),
            ground_current_a: Some(r.log_between(1e-6, 60e-6)),
            ground_per_load: r.between(0.0, 0.02),
            dropout: Some(Dropout {
                fixed_v: r.between(0.0, 0.1),
                resistance_ohm: r.between(0.1, 0.8),
            }),
            ground_in_dropout_a: in_dropout,
        })
    };
    match class {
        Class::Linear => {
            if r.unit() < 0.7 {
                path.regulator = linear(r, None);
            }
        }
        Class::Voltage => {
            let mut switching = Switching {
                set_v: 3.3,
                quiescent_a: Some(r.log_between(1e-6, 40e-6)),
                conversion: Conversion::Loss {
                    proportional: r.between(0.03, 0.15),
                    resistance_ohm: r.between(0.1, 0.4),
                },
                min_input_v: Some(r.between(1.8, 2.4)),
                switch_limit_a: if r.unit() < 0.3 { Some(1.2) } else { None },
                pass_ohm: 0.3,
            };
            match r.index(6) {
                0 => {
                    switching.set_v = r.between(1.8, 2.8);
                    path.reset_v = Some(1.7);
                    path.regulator = Regulator::StepDown(switching);
                }
                1 => {
                    switching.set_v = r.between(4.4, 5.0);
                    path.regulator = Regulator::StepUp(switching);
                }
                2 => path.regulator = Regulator::BuckBoost(switching),
                3 => {
                    switching.quiescent_a = Some(2e-6);
                    switching.conversion = Conversion::Table(EfficiencyTable {
                        input_v: vec![2.0, 3.0, 4.5],
                        output_a: vec![1e-5, 1e-3, 0.1, 0.5],
                        efficiency: vec![
                            0.70, 0.80, 0.84, 0.75, 0.75, 0.86, 0.90, 0.84, 0.72, 0.85, 0.92, 0.88,
                        ],
                    });
                    path.regulator = Regulator::BuckBoost(switching);
                }
                4 => path.regulator = linear(r, Some(r.0 as f64 / u64::MAX as f64 * 3e-4 + 1e-4)),
                _ => {
                    path.regulator = linear(r, None);
                    path.always_on.push(AlwaysOn {
                        name: "divider".into(),
                        drain: Drain::Ohmic { resistance_ohm: r.log_between(2e4, 2e6) },
                        in_sleep_reading: false,
                    });
                }
            }
        }
    }
    // One to three activities; several ones nested, so that they follow each other.
    let interval = r.log_between(20.0, 120.0).round();
    let mut activities = Vec::new();
    let mut every = interval;
    for j in 0..=r.index(3) {
        let mut segments = Vec::new();
        for k in 0..=r.index(3) {
            let current = r.log_between(2e-3, 0.25);
            let power = class == Class::Voltage && r.unit() < 0.4;
            segments.push(Segment {
                name: format!("part {k}"),
                duration_s: (r.log_between(0.05, 2.0) * 1e3).round() / 1e3,
                demand: if power {
                    Demand::Power { power_w: current * 3.0 }
                } else {
                    Demand::Current { current_a: current }
                },
                peak: (r.unit() < 0.3)
                    .then(|| Peak { current_a: current * r.between(1.2, 2.0), duration_s: 0.01 }),
            });
        }
        activities.push(Activity {
            name: format!("activity {j}"),
            interval_s: every,
            first_s: None,
            segments,
        });
        every *= 2.0 + r.index(6) as f64;
    }
    let sleep = r.log_between(3e-6, 300e-6);
    let load = Load {
        sleep: Sleep { current: SleepCurrent::Rail { current_a: sleep }, temperature: None },
        activities,
    };
    scenario(load, path, cell)
}

/// Adds weather, ageing and temperature laws, and stretches the life over months.
fn with_seasons(r: &mut Random, mut sc: Scenario) -> Scenario {
    sc.cell.capacity_by_temperature =
        Some(Curve::linear(&[(-25.0, 0.7), (-10.0, 0.85), (25.0, 1.0), (50.0, 1.02)]).unwrap());
    if let Some(resistance) = &mut sc.cell.resistance {
        resistance.b_kelvin = Some(r.between(1500.0, 3500.0));
    }
    if r.unit() < 0.6 {
        sc.cell.ageing = Some(Ageing {
            capacity_loss_per_sqrt_year: r.between(0.02, 0.06),
            activation_j_per_mol: r.between(40e3, 60e3),
            resistance_rise_per_sqrt_year: (r.unit() < 0.5).then_some(0.05),
        });
    }
    if r.unit() < 0.6 {
        sc.load.sleep.temperature = Some(ExponentialTemperature {
            per_kelvin: r.between(0.02, 0.07),
            reference_celsius: 22.0,
        });
    }
    let (mean, half) = (r.between(5.0, 20.0), r.between(2.0, 14.0));
    let mut monthly = Monthly {
        mean_celsius: [0.0; 12],
        daily_amplitude_kelvin: [0.0; 12],
        start_day: r.index(365) as u16,
    };
    for m in 0..12 {
        let phase = core::f64::consts::TAU * (m as f64 - 6.0) / 12.0;
        monthly.mean_celsius[m] = mean + half * libm::cos(phase);
        monthly.daily_amplitude_kelvin[m] = r.between(0.0, 8.0);
    }
    sc.climate = Climate::Monthly(monthly);
    for activity in &mut sc.load.activities {
        activity.interval_s *= 120.0;
    }
    if let SleepCurrent::Rail { current_a } = &mut sc.load.sleep.current {
        *current_a *= 0.02;
    }
    if let Some(part) = sc.path.always_on.first_mut() {
        part.drain = Drain::Constant { current_a: 1e-7 };
    }
    if let Regulator::Linear(l) = &mut sc.path.regulator {
        l.ground_current_a = Some(3e-7);
    }
    sc
}

#[derive(Default)]
struct Outcome {
    /// Relative errors of lives that end in the same cycle of the most frequent activity.
    same: Vec<f64>,
    /// Relative errors of those that end in a neighbouring one, and of any others.
    next: Vec<f64>,
    other: Vec<f64>,
    endings_differ: usize,
    at_once: usize,
}

fn compare(class: Class, seasons: bool, count: usize, seed: u64) -> Outcome {
    let mut r = Random(seed);
    let mut engine = Engine::new();
    let mut out = Outcome::default();
    let mut done = 0;
    while done < count {
        let mut sc = random_scenario(&mut r, class);
        if seasons {
            sc = with_seasons(&mut r, sc);
        }
        let Some(truth) = brute_force(&sc, 400_000) else { continue };
        let full = engine.forecast(&sc, 0).unwrap();
        if full.life.at_once {
            out.at_once += 1;
            assert!((truth.life_s - full.life.life_s).abs() < 1e-6, "{:?} {truth:?}", full.life);
            continue;
        }
        let interval = sc.load.activities[0].interval_s;
        if truth.life_s < 30.0 * interval {
            continue;
        }
        done += 1;
        let off_s = (full.life.life_s - truth.life_s).abs();
        let error = off_s / truth.life_s;
        if std::env::var_os("SHOW").is_some() && error > 1e-6 {
            println!(
                "{error:.2e} off {:.3} of {:.0} cycles, engine {:?} {:?} brute {} {:?} {:?} {:?}",
                off_s / interval,
                truth.life_s / interval,
                full.life.life_s,
                full.life.ending,
                truth.life_s,
                truth.ending,
                (sc.load.activities.len(), sc.cell.rc.len(), sc.cell.two_well.is_some()),
                &sc.path.regulator,
            );
        }
        if off_s < 0.3 * interval {
            out.same.push(error);
        } else if off_s < 1.05 * interval {
            out.next.push(error);
        } else {
            out.other.push(error);
        }
        if full.life.ending != truth.ending {
            out.endings_differ += 1;
        }
        let sum: f64 = full.ledger.iter().map(|e| e.charge_c).sum();
        assert!((sum / full.initial_charge_c - 1.0).abs() < 1e-9, "ledger {sum}");
    }
    out.same.sort_by(f64::total_cmp);
    out
}

fn quantile(sorted: &[f64], p: f64) -> f64 {
    sorted[((sorted.len() - 1) as f64 * p).round() as usize]
}

fn print(what: &str, out: &Outcome) {
    println!(
        "{what}: same cycle {} (median {:.1e}, 90 % {:.1e}, 99 % {:.1e}, largest {:.1e}); neighbouring cycle {:?}; others {:?}; endings that differ {}; dead at once {}",
        out.same.len(),
        quantile(&out.same, 0.5),
        quantile(&out.same, 0.9),
        quantile(&out.same, 0.99),
        quantile(&out.same, 1.0),
        out.next,
        out.other,
        out.endings_differ,
        out.at_once,
    );
}

// Tolerances. With currents that do not depend on the voltage the engine is exact and the reference is
// not (its Runge–Kutta steps): what is left is the reference's. With voltage-dependent currents the
// averaging and the quadrature have errors of the order of 1e-6 of the life; where that shifts the charge
// across a check of a single cycle, the life ends one cycle (or, with a rare heavy activity that decides,
// one of its intervals) earlier or later, and the short lives used here make a cycle as much as 1e-3.

#[test]
fn linear_lives_equal_brute_force() {
    let out = compare(Class::Linear, false, 110, 20_261_125);
    print("linear", &out);
    assert!(out.next.is_empty() && out.other.is_empty());
    assert!(quantile(&out.same, 0.9) < 1e-8);
    assert!(quantile(&out.same, 1.0) < 1e-6);
    assert!(out.endings_differ <= 2); // the charge is used up at the cut-off voltage itself
}

#[test]
fn voltage_dependent_lives_equal_brute_force() {
    let out = compare(Class::Voltage, false, 90, 47);
    print("voltage-dependent", &out);
    assert!(quantile(&out.same, 0.9) < 1e-5);
    assert!(quantile(&out.same, 1.0) < 1e-4);
    assert!(out.next.len() + out.other.len() <= 6);
    assert!(out.next.iter().chain(&out.other).all(|e| *e < 5e-3));
    assert!(out.endings_differ <= 2);
}

#[test]
fn seasonal_lives_equal_brute_force() {
    let out = compare(Class::Linear, true, 14, 3);
    print("seasons, linear", &out);
    assert!(out.next.is_empty() && out.other.is_empty());
    assert!(quantile(&out.same, 0.9) < 1e-6);
    assert!(quantile(&out.same, 1.0) < 1e-5);
    assert_eq!(out.endings_differ, 0);
}

#[test]
fn seasonal_voltage_dependent_lives_equal_brute_force() {
    let out = compare(Class::Voltage, true, 12, 4);
    print("seasons, voltage-dependent", &out);
    assert!(quantile(&out.same, 0.75) < 1e-5);
    assert!(quantile(&out.same, 1.0) < 2e-4);
    assert!(out.next.len() + out.other.len() <= 3);
    assert!(out.next.iter().chain(&out.other).all(|e| *e < 5e-3));
    assert!(out.endings_differ <= 1);
}
