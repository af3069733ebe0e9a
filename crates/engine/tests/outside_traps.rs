//! The traps of the trade that are engine physics: the naive figure, shown wrong, and the right one.
//!
//! Source of every check value: the job notes' list of traps (practitioner's knowledge, textbook physics;
//! common practice, no source beyond it). Each value is recomputed here through the engine.

mod common;

use common::{LI_ION, activity, direct_path, linear_path, load, plain_cell, scenario, segment};
use overwinter_engine::cell::{Protection, Resistance, ResistanceCurve, SelfDischarge};
use overwinter_engine::load::{Peak, SleepCurrent};
use overwinter_engine::path::{Bulk, Conversion, Dropout, LinearRegulator, Regulator, Switching};
use overwinter_engine::relations::{
    PowerLaw, burst_sag_v, largest_meter_ohm, lowest_open_circuit_v, lowest_ride_through_v,
    rail_through_meter_v, recharge_s, sinusoid_mean_factor, smallest_capacitor_f, steady_life_s,
};
use overwinter_engine::{Cell, Climate, Curve, Ending, Engine, Place};

const DAY_S: f64 = 86_400.0;
const YEAR_S: f64 = 365.25 * DAY_S;
const MAH: f64 = 3.6;

fn near(got: f64, want: f64, tolerance: f64) {
    assert!((got - want).abs() <= tolerance, "{got} is not {want} ± {tolerance}");
}

fn line(low: f64, high: f64) -> Curve {
    Curve::linear(&[(0.0, low), (1.0, high)]).unwrap()
}

/// 1. Sleep only: 1708 d becomes 195.8 d.
#[test]
fn trap_1_sleep_only() {
    near(2500.0 * MAH / 61e-6 / DAY_S, 1708.0, 0.5);
    let mut cell = plain_cell(2500.0 * MAH, line(3.0, 4.0), 0.0);
    cell.protection = Some(Protection { own_current_a: Some(4e-6), cutoff_v: Some(3.15) }); // 15 % left
    let wake = activity("wake", 600.0, vec![segment("report", 2.2, 0.095)]);
    let mut sc = scenario(load(61e-6, vec![wake]), direct_path(), cell);
    sc.climate = Climate::Constant { celsius: 20.0 };
    let without = Engine::new().life(&sc).unwrap();
    near(without.life_s / DAY_S, 214.3, 0.05);
    sc.cell.self_discharge = Some(SelfDischarge::from_loss(0.02, 30.4 * DAY_S, 10.0));
    let f = Engine::new().forecast(&sc, 0).unwrap();
    near(f.life.life_s / DAY_S, 195.8, 0.05);
    assert_eq!(f.life.ending, Ending::ProtectionCutoff);
    near(f.mean_current_a * 1e6, 409.1 + 4.0, 0.05);
}

/// 3. Burden: a meter's 1.8 Ω makes a reboot loop of a working board.
#[test]
fn trap_3_burden() {
    near(rail_through_meter_v(3.70, 0.340, 0.15, 1.8, 0.28), 2.757, 5e-4);
    near(rail_through_meter_v(3.70, 0.340, 0.15, 0.1, 0.28), 3.335, 5e-4);
    near(largest_meter_ohm(3.70, 0.340, 0.15, 0.28, 2.80), 1.67, 5e-3);
    // The same through the engine: the meter in series with the path.
    let mut burst = segment("transmit", 0.1, 0.340);
    burst.peak = Some(Peak { current_a: 0.340, duration_s: 0.1 });
    let cell = plain_cell(9000.0, line(3.70, 3.70), 0.15);
    let mut path = linear_path(3.3, 0.0, 0.28 / 0.340, 2.80);
    path.series_ohm = 1.8;
    let mut sc = scenario(load(1e-5, vec![activity("wake", 60.0, vec![burst])]), path, cell);
    let life = Engine::new().life(&sc).unwrap();
    assert!(life.at_once && life.ending == Ending::RailBelowReset);
    near(life.shortfall_v, 2.80 - 2.757, 1e-3);
    sc.path.series_ohm = 0.1;
    assert!(!Engine::new().life(&sc).unwrap().at_once);
}

/// 4. A LiFePO4 cell keeps a 3.3 V linear regulator in dropout: 21.1 years become 276 days.
#[test]
fn trap_4_dropout_ground_current() {
    near(1500.0 * MAH / 8.1e-6 / YEAR_S, 21.1, 0.05);
    let lfp = Curve::linear(&[(0.0, 2.6), (0.1, 3.13), (0.5, 3.29), (1.0, 3.38)]).unwrap();
    let mut path = linear_path(3.3, 1.7e-6, 0.0, 2.0);
    path.reset_v = None;
    if let Regulator::Linear(r) = &mut path.regulator {
        r.dropout = Some(Dropout::fixed(0.15));
        r.ground_in_dropout_a = Some(220e-6);
    }
    let mut sc = scenario(load(6.4e-6, vec![]), path, plain_cell(1500.0 * MAH, lfp, 0.0));
    let life = Engine::new().life(&sc).unwrap();
    near(life.life_s / DAY_S, 276.0, 0.5);
    if let Regulator::Linear(r) = &mut sc.path.regulator {
        r.ground_in_dropout_a = None;
    }
    let blind = Engine::new().forecast(&sc, 0).unwrap();
    assert!(blind.life.life_s > 20.0 * YEAR_S);
    assert!(
        blind.warnings.contains(&overwinter_engine::Flag::GroundInDropoutUnknown),
        "the unknown ground current must be told"
    );
}

/// 5. A step-down regulator does not always win: a tie every 10 min, 30 % worse every hour.
#[test]
fn trap_5_step_down_against_linear() {
    let mean_ua = |interval: f64, regulator: Regulator| {
        let mut path = direct_path();
        path.regulator = regulator;
        let wake = activity("wake", interval, vec![segment("report", 2.2, 0.095)]);
        let cell = plain_cell(2500.0 * MAH, line(3.75, 3.75), 0.0);
        let f = Engine::new().forecast(&scenario(load(6.4e-6, vec![wake]), path, cell), 0).unwrap();
        f.mean_current_a * 1e6
    };
    let linear = || {
        Regulator::Linear(LinearRegulator {
            set_v: 3.3,
            ground_current_a: Some(1.5e-6),
            ground_per_load: 0.0,
            dropout: Some(Dropout::resistive(0.2, 0.3)),
            ground_in_dropout_a: None,
        })
    };
    let buck = || {
        Regulator::StepDown(Switching {
            set_v: 3.3,
            quiescent_a: Some(25e-6),
            conversion: Conversion::Loss { proportional: 0.06, resistance_ohm: 0.3 },
            min_input_v: None,
            switch_limit_a: None,
            pass_ohm: 0.3,
        })
    };
    near(mean_ua(600.0, linear()), 356.2, 0.05);
    near(mean_ua(600.0, buck()), 358.5, 0.05);
    near(mean_ua(3600.0, linear()), 65.95, 0.005);
    near(mean_ua(3600.0, buck()), 85.56, 0.005);
}

/// 6. Full capacity: an old regulator's dropout leaves 31.9 h of naive 8.6 d.
#[test]
fn trap_6_usable_capacity() {
    near(2500.0 / 12.1 / 24.0, 8.6, 0.05);
    near(lowest_open_circuit_v(2.80, 1.15, 0.34 * 0.18), 4.011, 5e-4);
    let mut path = linear_path(3.3, 0.0, 0.0, 2.80);
    if let Regulator::Linear(r) = &mut path.regulator {
        r.dropout = Some(Dropout::fixed(1.15));
    }
    let mut burst = segment("radio", 0.001, 12.1e-3);
    burst.peak = Some(Peak { current_a: 0.340, duration_s: 0.0005 });
    let mut sc = scenario(
        load(0.0, vec![activity("transmit", 60.0, vec![burst])]),
        path,
        plain_cell(2500.0 * MAH, Curve::linear(&LI_ION).unwrap(), 0.18),
    );
    sc.load.sleep.current = SleepCurrent::Battery { current_a: 12.1e-3 };
    let life = Engine::new().life(&sc).unwrap();
    assert_eq!(life.ending, Ending::RailBelowReset);
    assert_eq!(life.place, Place::Peak { activity: 0, segment: 0 });
    near(life.life_s / 3600.0, 31.9, 0.05);
    near(life.state_of_charge, 0.846, 5e-4);
}

fn coin(ocv: f64) -> Cell {
    let mut cell = plain_cell(220.0 * MAH, line(ocv, ocv), 0.0);
    cell.resistance = Some(Resistance {
        at_25: ResistanceCurve::Depth { ohm: [12.0, 0.0, 33.0 / 0.49] },
        b_kelvin: Some(2500.0),
    });
    cell
}

/// 7. Coin cell: 2.51 years naive; 0.55 in the cold without a capacitor; 470 µF rescue it.
#[test]
fn trap_7_coin_cell() {
    near(220.0 * MAH / 10e-6 / YEAR_S, 2.51, 0.005);
    // 22 °C at 70 % depth: 2.92 − 0.015·45 = 2.245.
    near(2.92 - 0.015 * 45.0, 2.245, 1e-12);
    // −10 °C: × 3.05.
    let cold = 45.0 * libm::exp(2500.0 * (1.0 / 263.15 - 1.0 / 298.15));
    near(cold, 137.3, 0.1);
    near(2.87 - 0.015 * cold, 0.81, 0.005);
    near(2.87 - burst_sag_v(0.015, 137.3, 220e-6, 0.5, 0.020), 1.871, 5e-4);
    near(2.87 - burst_sag_v(0.015, 137.3, 470e-6, 0.5, 0.020), 2.317, 5e-4);
    near(recharge_s(137.3, 470e-6, 0.5), 0.32, 0.005);
    let least = smallest_capacitor_f(0.015, 137.3, 0.5, 0.020, 2.87 - 2.20).unwrap();
    assert!(least > 220e-6 && least < 470e-6, "{least}");
    near(burst_sag_v(0.015, 137.3, least, 0.5, 0.020), 0.67, 1e-9);

    let mut burst = segment("beacon", 0.020, 10e-6);
    burst.peak = Some(Peak { current_a: 0.015, duration_s: 0.020 });
    let mut path = direct_path();
    path.reset_v = Some(2.20);
    let wake = vec![activity("beacon", 10.0, vec![burst])];
    let mut sc = scenario(load(10e-6, wake), path, coin(2.90));
    sc.climate = Climate::Constant { celsius: -10.0 };
    let bare = Engine::new().life(&sc).unwrap();
    assert_eq!(bare.ending, Ending::RailBelowReset);
    near(bare.life_s / YEAR_S, 0.55, 0.01);
    near(1.0 - bare.state_of_charge, 0.22, 0.005);
    // With a capacitor: at 70 % depth (OCV 2.87) 220 µF have failed before, 470 µF still pass.
    sc.cell.open_circuit_v = line(2.87, 2.87);
    let at_70_percent_s = 0.7 * 220.0 * MAH / 10e-6;
    for (farads, passes) in [(220e-6, false), (470e-6, true)] {
        sc.path.bulk = Some(Bulk { capacitance_f: farads, esr_ohm: 0.5, leakage_a: Some(0.0) });
        let life = Engine::new().life(&sc).unwrap();
        assert_eq!(life.life_s > at_70_percent_s, passes, "{farads} F: {life:?}");
    }
}

/// 10. A power law far outside its span: 11.4 years become 2.64.
#[test]
fn trap_10_power_law() {
    let law = PowerLaw {
        nominal_c: 2500.0 * MAH,
        nominal_a: 0.1,
        exponent: 1.2,
        span_a: (0.025, 0.5),
        low_rate_c: 2850.0 * MAH,
    };
    let naive = PowerLaw { span_a: (0.0, 1.0), low_rate_c: f64::INFINITY, ..law };
    near(naive.capacity(1e-4).charge_c / MAH, 9953.0, 1.0);
    near(naive.capacity(1e-4).charge_c / 1e-4 / YEAR_S, 11.4, 0.05);
    let right = law.capacity(1e-4);
    assert!(right.outside_span && right.capped);
    let k = -libm::log1p(-0.025) / YEAR_S;
    let life = steady_life_s(right.charge_c, 0.15 * right.charge_c, 1e-4, k).unwrap();
    near(life / YEAR_S, 2.64, 0.005);
}

/// R. Ride-through: passes at 4.1 V, resets at 3.6 V, safe above 3.65 V.
#[test]
fn trap_r_ride_through() {
    near(lowest_ride_through_v(2.80, 0.15, 0.70), 3.65, 1e-12);
    near(4.1 - 0.70 - 0.15, 3.25, 1e-12);
    assert!(3.6 < lowest_ride_through_v(2.80, 0.15, 0.70));
}

/// T. Mean of 25 °C ± 20 K: the naive factor is 1.00, the right one 1.54.
#[test]
fn trap_t_temperature_swing() {
    near(sinusoid_mean_factor(0.0693 * 20.0), 1.54, 0.005);
}
