//! The engine's shortcuts against the plain way: same life where the physics is the same.

mod common;

use common::{activity, direct_path, linear_path, load, plain_cell, scenario, segment};
use overwinter_engine::cell::{Ageing, Resistance, ResistanceCurve, SelfDischarge};
use overwinter_engine::climate::Monthly;
use overwinter_engine::load::{Demand, Peak, SleepCurrent};
use overwinter_engine::path::{Conversion, Regulator, Switching};
use overwinter_engine::{Climate, Curve, Engine, Life, Scenario};

const YEAR_S: f64 = 365.0 * 86_400.0;

/// A node that lives for about a year and a half at 25 °C.
fn node() -> Scenario {
    let mut cell = plain_cell(9000.0, Curve::linear(&common::LI_ION).unwrap(), 0.0);
    cell.resistance = Some(Resistance {
        at_25: ResistanceCurve::Rising { ohm: 0.18, rise: 1.5, scale: 0.08 },
        b_kelvin: Some(2500.0),
    });
    cell.self_discharge = Some(SelfDischarge { rate_at_20_per_s: 7.7e-9, doubling_kelvin: 10.0 });
    cell.cutoff_v = Some(3.0);
    let mut wake = segment("report", 1.6, 0.095);
    wake.peak = Some(Peak { current_a: 0.34, duration_s: 0.003 });
    let mut sc = scenario(
        load(9e-6, vec![activity("report", 900.0, vec![wake])]),
        linear_path(3.0, 1.5e-6, 0.5, 2.8),
        cell,
    );
    sc.horizon_s = 10.0 * YEAR_S;
    sc
}

fn with_seasons(mut sc: Scenario) -> Scenario {
    sc.climate = Climate::Monthly(Monthly {
        mean_celsius: [-3.0, -2.0, 3.0, 8.0, 13.0, 17.0, 19.0, 18.0, 14.0, 8.0, 2.0, -2.0],
        daily_amplitude_kelvin: [6.0; 12],
        start_day: 273,
    });
    sc.cell.ageing = Some(Ageing {
        capacity_loss_per_sqrt_year: 0.03,
        activation_j_per_mol: 50e3,
        resistance_rise_per_sqrt_year: None,
    });
    sc
}

/// The life, equal from [`Engine::life`] and [`Engine::forecast`], with a ledger that adds up.
fn life(sc: &Scenario) -> Life {
    let life = Engine::new().life(sc).unwrap();
    let full = Engine::new().forecast(sc, 5).unwrap();
    assert_eq!(life.life_s.to_bits(), full.life.life_s.to_bits());
    assert_eq!(life, full.life);
    let sum: f64 = full.ledger.iter().map(|entry| entry.charge_c).sum();
    assert!((sum / full.initial_charge_c - 1.0).abs() < 1e-9, "ledger {sum}");
    life
}

fn relative(a: &Life, b: &Life) -> f64 {
    assert_eq!((a.ending, a.place), (b.ending, b.place));
    (a.life_s / b.life_s - 1.0).abs()
}

/// A ground current that hardly changes in dropout is a life whose current does not depend on the voltage.
#[test]
fn a_leap_in_regulation_equals_the_linear_life() {
    for base in [node(), with_seasons(node())] {
        let mut sc = base.clone();
        if let Regulator::Linear(linear) = &mut sc.path.regulator {
            linear.ground_in_dropout_a = linear.ground_current_a.map(|a| a * (1.0 + 1e-9));
        }
        let (plain, leap) = (life(&base), life(&sc));
        assert!(plain.life_s > 300.0 * 86_400.0, "{plain:?}");
        assert!(relative(&leap, &plain) < 1e-6, "{leap:?} {plain:?}");
    }
}

/// A flat table of sleep currents is a constant sleep current. It is integrated, so a peak that fails by some microvolts
/// can fall to the report before or after.
#[test]
fn a_flat_table_equals_a_constant_sleep_current() {
    for mut sc in [node(), with_seasons(node())] {
        sc.load.sleep.current = SleepCurrent::Battery { current_a: 12e-6 };
        let plain = life(&sc);
        let flat = Curve::linear(&[(3.0, 12e-6), (3.4, 12e-6), (4.2, 12e-6)]).unwrap();
        sc.load.sleep.current = SleepCurrent::BatteryByVoltage(flat);
        let table = life(&sc);
        let report_s = sc.load.activities[0].interval_s;
        let most = 1e-6 + report_s / plain.life_s;
        assert!(relative(&table, &plain) < most, "{table:?} {plain:?}");
        assert!((table.state_of_charge - plain.state_of_charge).abs() < 2e-5, "{table:?}");
    }
}

/// Whatever little is left between the start and the end: a life, and never a panic.
#[test]
fn a_start_hardly_above_its_end_has_a_short_life() {
    let mut sc = node();
    sc.path = direct_path();
    sc.path.reset_v = Some(2.8);
    sc.path.regulator = Regulator::BuckBoost(Switching {
        set_v: 3.3,
        quiescent_a: Some(12e-6),
        conversion: Conversion::Loss { proportional: 0.08, resistance_ohm: 0.25 },
        min_input_v: Some(2.0),
        switch_limit_a: None,
        pass_ohm: 0.2,
    });
    for segment in &mut sc.load.activities[0].segments {
        segment.demand = Demand::Power { power_w: 0.3 };
    }
    for sc in [sc.clone(), with_seasons(sc)] {
        let mut sc = sc;
        let (mut dead, mut alive) = (0.0, 1.0);
        let mut shortest_s = f64::INFINITY;
        for _ in 0..60 {
            sc.cell.initial_charge = 0.5 * (dead + alive);
            let found = life(&sc);
            if found.at_once {
                dead = sc.cell.initial_charge;
            } else {
                alive = sc.cell.initial_charge;
                shortest_s = shortest_s.min(found.life_s);
            }
        }
        // The least start that is no failure at once lasts to the second report.
        assert!(shortest_s < 2000.0, "{shortest_s}");
    }
}
