//! Cell models against outside values; sources in `tests/data/README.md` and beside each check.

mod common;

use common::{activity, direct_path, load, plain_cell, scenario, segment};
use overwinter_engine::cell::{RcPair, Resistance, ResistanceCurve, SelfDischarge, TwoWell};
use overwinter_engine::relations::{
    PowerLaw, sinusoid_mean_factor, steady_life_s, two_wells_after, two_wells_capacity,
};
use overwinter_engine::{CellState, Curve, Ending, Engine};

const DAY_S: f64 = 86_400.0;

/// Rows of a data file: comments and the heading left out.
fn rows(text: &str) -> Vec<Vec<&str>> {
    text.lines()
        .filter(|l| !l.starts_with('#'))
        .skip(1)
        .map(|l| l.split(',').map(str::trim).collect())
        .collect()
}

fn number(text: &str) -> f64 {
    text.parse().unwrap()
}

fn flat() -> Curve {
    Curve::linear(&[(0.0, 3.0), (1.0, 4.0)]).unwrap()
}

/// Jongerden & Haverkort 2009: the sixteen lifetimes, from the forecast itself.
#[test]
fn sixteen_two_well_lifetimes() {
    let mut engine = Engine::new();
    let mut worst = 0.0_f64;
    let rows = rows(include_str!("data/kibam_itsy.csv"));
    assert_eq!(rows.len(), 16);
    for row in rows {
        let (capacity, name, minutes) = (number(row[0]), row[1], number(row[2]));
        // Minutes as seconds and ampere-minutes as coulombs: the equations have no other scale.
        let mut cell = plain_cell(capacity * 60.0, flat(), 0.0);
        cell.two_well = Some(TwoWell { available_share: 0.166, rate_per_s: 0.122 / 60.0 });
        let on = |ma: f64| segment("on", 60.0, ma * 1e-3);
        let activities = match name {
            "CL 250" => vec![activity("load", 60.0, vec![on(250.0)])],
            "CL 500" => vec![activity("load", 60.0, vec![on(500.0)])],
            "CL alt" => vec![activity("load", 120.0, vec![on(500.0), on(250.0)])],
            "ILs 250" => vec![activity("load", 120.0, vec![on(250.0)])],
            "ILs 500" => vec![activity("load", 120.0, vec![on(500.0)])],
            // 500 mA, pause, 250 mA, pause.
            "ILs alt" => {
                vec![activity("load", 240.0, vec![on(500.0), segment("off", 60.0, 0.0), on(250.0)])]
            }
            "ILl 250" => vec![activity("load", 180.0, vec![on(250.0)])],
            "ILl 500" => vec![activity("load", 180.0, vec![on(500.0)])],
            other => panic!("unknown load {other}"),
        };
        let life = engine.life(&scenario(load(0.0, activities), direct_path(), cell)).unwrap();
        assert_eq!(life.ending, Ending::ChargeExhausted, "{name}");
        worst = worst.max((life.life_s / 60.0 - minutes).abs());
    }
    // The file prints four decimals.
    assert!(worst < 1e-4, "largest difference {worst} min");
    println!("sixteen lifetimes: largest difference {worst:.1e} min");
}

/// Manwell & McGowan 1993: capacity at a constant current; forecast with sleep current alone.
#[test]
fn two_well_capacity_curve() {
    let mut engine = Engine::new();
    let (mut worst, mut worst_closed) = (0.0_f64, 0.0_f64);
    for row in rows(include_str!("data/kibam_capacity.csv")) {
        let v: Vec<f64> = row.iter().map(|t| number(t)).collect();
        let (q_max, c, k, hours, capacity, amps) = (v[0], v[1], v[2], v[3], v[4], v[5]);
        let closed = two_wells_capacity(q_max, c, k, hours);
        worst_closed = worst_closed.max((closed / capacity - 1.0).abs());
        let mut cell = plain_cell(q_max * 3600.0, flat(), 0.0);
        cell.two_well = Some(TwoWell { available_share: c, rate_per_s: k / 3600.0 });
        let life = engine.life(&scenario(load(amps, vec![]), direct_path(), cell)).unwrap();
        worst = worst.max((life.life_s / 3600.0 / hours - 1.0).abs());
    }
    assert!(worst_closed < 1e-8, "closed form {worst_closed}");
    assert!(worst < 1e-8, "forecast {worst}");
    println!("capacity curve: closed form {worst_closed:.1e}, forecast {worst:.1e}");
}

/// Reference notes E2: q10 0.6, q20 1.2, I 0.4, t 1.5, c 0.3, k' 0.5 → 0.092867263, 1.107132737.
#[test]
fn two_well_closed_form() {
    let (q1, q2) = two_wells_after(0.6, 1.2, 0.4, 0.3, 0.5, 1.5);
    assert!((q1 - 0.092867263).abs() < 1e-9 && (q2 - 1.107132737).abs() < 1e-9, "{q1} {q2}");
    let mut cell = plain_cell(1.8, flat(), 0.0);
    cell.two_well = Some(TwoWell { available_share: 0.3, rate_per_s: 0.5 });
    let mut state = CellState::rested(&cell, 1.0);
    state.imbalance_c = 0.6 - 0.3 * 1.8;
    state.advance(&cell, 25.0, 0.4, 1.5);
    let wells = state.wells_c(&cell);
    assert!((wells.0 - q1).abs() < 1e-14 && (wells.1 - q2).abs() < 1e-14, "{wells:?}");
}

/// Pulses on a one-RC cell against the exact solution and PyBaMM's Thevenin model.
#[test]
fn thevenin_pulses() {
    let ocv = Curve::linear(&[(0.0, 3.2), (1.0, 4.1)]).unwrap();
    let mut cell = plain_cell(7200.0, ocv, 0.12);
    cell.rc = vec![RcPair { resistance_ohm: 0.06, time_constant_s: 30.0 }];
    let (mut exact, mut pybamm) = (0.0_f64, 0.0_f64);
    let mut count = 0;
    let mut state = CellState::rested(&cell, 0.8);
    let mut now = 0.0;
    let mut amps = 0.0;
    for row in rows(include_str!("data/thevenin_1rc_pulses.csv")) {
        let t = number(row[0]);
        // The current of a row holds since the row before (both rows of a step stand at its time).
        if t > now {
            amps = number(row[1]);
        }
        state.advance(&cell, 25.0, amps, t - now);
        now = t;
        amps = number(row[1]);
        let v = state.terminal_v(&cell, 25.0, amps);
        exact = exact.max((v - number(row[4])).abs());
        pybamm = pybamm.max((v - number(row[5])).abs());
        count += 1;
    }
    assert!(count > 900, "{count} rows");
    assert!(exact < 1e-9, "exact solution: {exact} V"); // printed to nine decimals
    assert!(pybamm < 5e-9, "PyBaMM: {pybamm} V"); // its own distance is 1.3e-9 V
    println!("{count} pulse rows: exact {exact:.1e} V, PyBaMM {pybamm:.1e} V");
}

/// Reference notes E3, two RC pairs: R2 0.04 Ω, C2 20000 F, 1 A for 1200 s, then rest for 1800 s.
#[test]
fn thevenin_two_pairs() {
    let ocv = Curve::linear(&[(0.0, 3.2), (1.0, 4.1)]).unwrap();
    let mut cell = plain_cell(7200.0, ocv, 0.12);
    cell.rc = vec![
        RcPair { resistance_ohm: 0.06, time_constant_s: 30.0 },
        RcPair { resistance_ohm: 0.04, time_constant_s: 800.0 },
    ];
    let mut state = CellState::rested(&cell, 0.8);
    state.advance(&cell, 25.0, 1.0, 600.0);
    let at_600 = state.terminal_v(&cell, 25.0, 1.0);
    state.advance(&cell, 25.0, 1.0, 600.0);
    let (loaded, released) =
        (state.terminal_v(&cell, 25.0, 1.0), state.terminal_v(&cell, 25.0, 0.0));
    state.advance(&cell, 25.0, 0.0, 1800.0);
    let rested = state.terminal_v(&cell, 25.0, 0.0);
    for (got, want) in [
        (at_600, 3.643894662),
        (loaded, 3.558925206),
        (released, 3.678925206),
        (rested, 3.766724741),
    ] {
        assert!((got - want).abs() < 1e-9, "{got} {want}");
    }
}

/// Power law (reference notes E1), and its refusal outside the measured span.
#[test]
fn power_law() {
    let mut worst = 0.0_f64;
    for row in rows(include_str!("data/peukert.csv")) {
        let v: Vec<f64> = row.iter().map(|t| number(t)).collect();
        let (capacity, hours, n, amps, t) = (v[0], v[1], v[2], v[3], v[4]);
        let law = PowerLaw {
            nominal_c: capacity,
            nominal_a: capacity / hours,
            exponent: n,
            span_a: (0.0, f64::INFINITY),
            low_rate_c: f64::INFINITY,
        };
        worst = worst.max((law.capacity(amps).charge_c / amps / t - 1.0).abs());
    }
    assert!(worst < 1e-8, "{worst}"); // nine digits printed
    // (5 A, 20 h), (100 A, 0.5 h): n = 1.231378.
    let n = PowerLaw::exponent_from((5.0, 20.0), (100.0, 0.5));
    assert!((n - 1.231378).abs() < 1e-6, "{n}");
    let narrow = PowerLaw {
        nominal_c: 2500.0,
        nominal_a: 0.1,
        exponent: 1.2,
        span_a: (0.025, 1.0),
        low_rate_c: 2850.0,
    };
    let far = narrow.capacity(1e-4);
    assert!(far.outside_span && far.capped && far.charge_c == 2850.0);
}

/// Self-discharge arithmetic (reference notes E6, recomputed there).
#[test]
fn self_discharge_arithmetic() {
    let near = |got: f64, want: f64, digits: f64| {
        assert!((got - want).abs() <= digits, "{got} is not {want} ± {digits}");
    };
    let month = SelfDischarge::from_loss(0.02, 30.4 * DAY_S, 10.0);
    // 2 %/month → 0.0664 %/d (month of 30.4 d), 78.47 % after twelve.
    near(-libm::expm1(-month.rate_per_s(20.0) * DAY_S) * 100.0, 0.0664, 5e-5);
    near(100.0 * libm::exp(-month.rate_per_s(20.0) * 12.0 * 30.4 * DAY_S), 78.47, 5e-3);
    // Q10 = 2, 20 → 45 °C: × 5.657.
    near(month.rate_per_s(45.0) / month.rate_per_s(20.0), 5.657, 5e-4);
    // Job trap 1: k = 6.6456e-4 per day.
    near(month.rate_per_s(20.0) * DAY_S, 6.6456e-4, 5e-9);
    // Mean factor of ±20 K with a doubling every 10 K: 1.54 (job section 3 and trap T).
    near(sinusoid_mean_factor(core::f64::consts::LN_2 / 10.0 * 20.0), 1.54, 5e-3);
    // The same through the forecast: a cell at rest in a ±20 K day loses 1.54 times as much.
    let mut cell = plain_cell(9000.0, flat(), 0.0);
    cell.self_discharge = Some(month);
    let at = |amplitude: f64| {
        let mut sc = scenario(load(0.0, vec![]), direct_path(), cell.clone());
        sc.climate = overwinter_engine::Climate::Monthly(overwinter_engine::climate::Monthly {
            mean_celsius: [25.0; 12],
            daily_amplitude_kelvin: [amplitude; 12],
            start_day: 0,
        });
        sc.horizon_s = 365.0 * DAY_S;
        let f = Engine::new().forecast(&sc, 0).unwrap();
        libm::log(f.initial_charge_c / f.stranded_c)
    };
    near(at(20.0) / at(0.0), 1.54, 5e-3);
}

/// Steady load and self-discharge through the forecast against the closed form.
#[test]
fn steady_load_closed_form() {
    let mut cell = plain_cell(9000.0, flat(), 0.0);
    cell.self_discharge = Some(SelfDischarge::from_loss(0.02, 30.4 * DAY_S, 10.0));
    let rate = cell.self_discharge.unwrap().rate_per_s(25.0);
    let life = Engine::new().life(&scenario(load(1e-4, vec![]), direct_path(), cell)).unwrap();
    let want = steady_life_s(9000.0, 0.0, 1e-4, rate).unwrap();
    assert!((life.life_s / want - 1.0).abs() < 1e-12, "{} {want}", life.life_s);
    // No self-discharge: Q/i.
    let plain = plain_cell(9000.0, flat(), 0.0);
    let life = Engine::new().life(&scenario(load(1e-3, vec![]), direct_path(), plain)).unwrap();
    assert!((life.life_s - 9e6).abs() < 1e-3, "{}", life.life_s);
}

/// Open-circuit curves of published parameter sets as cells: the curve holds its points, a slow discharge
/// to the set's own cut-off gives the whole capacity, a faster one through a resistance ends where the
/// curve says it must.
#[test]
fn published_open_circuit_curves() {
    let text = include_str!("data/pybamm_ocv_curves.csv");
    let mut engine = Engine::new();
    let mut sets = 0;
    for row in rows(text) {
        let capacity_c = number(row[1]) * 3600.0;
        let (v_min, v_max) = (number(row[2]), number(row[3]));
        let points: Vec<(f64, f64)> =
            row[4..].iter().enumerate().map(|(i, v)| (0.05 * i as f64, number(v))).collect();
        assert_eq!(points.len(), 21);
        for ocv in [Curve::linear(&points).unwrap(), Curve::monotone(&points).unwrap()] {
            assert!((ocv.at(0.0) - v_min).abs() < 1e-9 && (ocv.at(1.0) - v_max).abs() < 1e-9);
            for (s, v) in &points {
                assert!((ocv.at(*s) - v).abs() < 1e-12, "{} at {s}", row[0]);
            }
            let mut cell = plain_cell(capacity_c, ocv.clone(), 0.1);
            cell.cutoff_v = Some(v_min);
            let slow = scenario(load(1e-7, vec![]), direct_path(), cell.clone());
            let mut slow = slow;
            slow.horizon_s = 200.0 * 365.0 * DAY_S;
            slow.cell.capacity_c = 100.0;
            let life = engine.life(&slow).unwrap();
            assert!((life.life_s / 1e9 - 1.0).abs() < 1e-6, "{}: {life:?}", row[0]);
            // 0.2 C through 0.1 Ω: the cell must end at the charge where OCV = V_min + I·R.
            let amps = capacity_c / 3600.0 * 0.2;
            let life = engine.life(&scenario(load(amps, vec![]), direct_path(), cell)).unwrap();
            assert_eq!(life.ending, Ending::CellCutoff);
            let left = 1.0 - amps * life.life_s / capacity_c;
            assert!((ocv.at(left) - v_min - 0.1 * amps).abs() < 1e-9, "{}", row[0]);
        }
        sets += 1;
    }
    assert!(sets >= 4, "{sets} sets");
}

/// The forecast's closed form of one cycle against the exact step-by-step state, state by state.
#[test]
fn forecast_equals_exact_steps() {
    let ocv = Curve::linear(&common::LI_ION).unwrap();
    let mut cell = plain_cell(50.0, ocv, 0.0);
    cell.resistance =
        Some(Resistance { at_25: ResistanceCurve::Constant { ohm: 0.3 }, b_kelvin: None });
    cell.rc = vec![RcPair { resistance_ohm: 0.2, time_constant_s: 15.0 }];
    cell.two_well = Some(TwoWell { available_share: 0.4, rate_per_s: 0.01 });
    cell.self_discharge = Some(SelfDischarge { rate_at_20_per_s: 1e-7, doubling_kelvin: 10.0 });
    cell.cutoff_v = Some(3.3);
    let segments = vec![segment("a", 1.0, 0.05), segment("b", 0.5, 0.2)];
    let sc = scenario(load(2e-5, vec![activity("x", 30.0, segments)]), direct_path(), cell);
    let life = Engine::new().life(&sc).unwrap();
    let mut state = CellState::rested(&sc.cell, 1.0);
    let mut t = 0.0;
    'cycles: loop {
        for (dt, amps) in [(1.0, 0.05), (0.5, 0.2), (28.5, 2e-5)] {
            let mut next = state;
            next.advance(&sc.cell, 25.0, amps, dt);
            if next.terminal_v(&sc.cell, 25.0, amps) < 3.3 {
                // Inside this part: bisect.
                let (mut low, mut high) = (0.0, dt);
                for _ in 0..60 {
                    let middle = 0.5 * (low + high);
                    let mut m = state;
                    m.advance(&sc.cell, 25.0, amps, middle);
                    if m.terminal_v(&sc.cell, 25.0, amps) < 3.3 {
                        high = middle;
                    } else {
                        low = middle;
                    }
                }
                t += high;
                break 'cycles;
            }
            state = next;
            t += dt;
        }
    }
    assert!((life.life_s / t - 1.0).abs() < 1e-9, "{} {t}", life.life_s);
}
