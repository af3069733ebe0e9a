//! Measures the forecast and prints one line of figures at the end.
//!
//! `cargo bench -p overwinter-engine --bench forecast` (also `cargo xtask bench forecast`). The peer is a
//! compiled brute force with a fixed step of 1 ms over a 62-day life, run once in the same process; set
//! `OVERWINTER_BENCH_PEER=skip` to leave it out (its figures are then `nan`). Times are the least of
//! several rounds, per forecast, preparation included.
#![allow(clippy::print_stdout)] // a bench prints

#[path = "../tests/common/mod.rs"]
mod common;

use common::{activity, brute_force, linear_path, load, plain_cell, scenario, segment};
use overwinter_engine::cell::{Ageing, RcPair, Resistance, ResistanceCurve, SelfDischarge};
use overwinter_engine::climate::Monthly;
use overwinter_engine::load::{Demand, ExponentialTemperature, Peak};
use overwinter_engine::path::{Conversion, Regulator, Switching};
use overwinter_engine::{Cell, Climate, Curve, Engine, Scenario};
use std::hint::black_box;
use std::time::Instant;

const DAY_S: f64 = 86_400.0;

fn li_ion(capacity_c: f64) -> Cell {
    let mut cell = plain_cell(capacity_c, Curve::linear(&common::LI_ION).expect("a curve"), 0.0);
    cell.resistance = Some(Resistance {
        at_25: ResistanceCurve::Rising { ohm: 0.18, rise: 1.5, scale: 0.08 },
        b_kelvin: Some(2500.0),
    });
    cell.rc = vec![RcPair { resistance_ohm: 0.06, time_constant_s: 20.0 }];
    cell.self_discharge = Some(SelfDischarge::from_loss(0.02, 30.4 * DAY_S, 10.0));
    cell.cutoff_v = Some(3.0);
    cell
}

fn wake() -> overwinter_engine::load::Activity {
    let mut transmit = segment("transmit", 0.35, 0.120);
    transmit.peak = Some(Peak { current_a: 0.340, duration_s: 0.002 });
    activity(
        "report",
        900.0,
        vec![segment("boot", 0.4, 0.045), segment("join", 1.4, 0.090), transmit],
    )
}

fn one() -> Scenario {
    scenario(load(12e-6, vec![wake()]), linear_path(3.0, 2e-6, 0.6, 2.8), li_ion(9000.0))
}

fn three() -> Scenario {
    let mut sc = one();
    sc.load.activities = vec![
        activity("measure", 300.0, vec![segment("sense", 0.05, 0.012)]),
        wake(),
        activity("synchronise", 86_400.0, vec![segment("listen", 8.0, 0.095)]),
    ];
    sc
}

fn power() -> Scenario {
    let mut sc = one();
    sc.path.regulator = Regulator::BuckBoost(Switching {
        set_v: 3.3,
        quiescent_a: Some(12e-6),
        conversion: Conversion::Loss { proportional: 0.08, resistance_ohm: 0.25 },
        min_input_v: Some(2.0),
        switch_limit_a: None,
        pass_ohm: 0.2,
    });
    for segment in &mut sc.load.activities[0].segments {
        if let Demand::Current { current_a } = segment.demand {
            segment.demand = Demand::Power { power_w: 3.3 * current_a };
        }
    }
    sc
}

fn seasons() -> Scenario {
    let mut sc = one();
    // A large primary-like cell, so that ten years are really gone through.
    sc.cell.capacity_c = 120_000.0;
    sc.cell.self_discharge = Some(SelfDischarge::from_loss(0.01, 365.0 * DAY_S, 10.0));
    sc.cell.capacity_by_temperature = Some(
        Curve::linear(&[(-20.0, 0.75), (-10.0, 0.85), (25.0, 1.0), (45.0, 1.0)]).expect("a curve"),
    );
    sc.cell.ageing = Some(Ageing {
        capacity_loss_per_sqrt_year: 0.03,
        activation_j_per_mol: 50e3,
        resistance_rise_per_sqrt_year: None,
    });
    sc.load.sleep.temperature =
        Some(ExponentialTemperature { per_kelvin: 0.05, reference_celsius: 22.0 });
    sc.climate = Climate::Monthly(Monthly {
        mean_celsius: [-3.0, -2.0, 3.0, 8.0, 13.0, 17.0, 19.0, 18.0, 14.0, 8.0, 2.0, -2.0],
        daily_amplitude_kelvin: [3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 8.0, 7.0, 6.0, 5.0, 4.0, 3.0],
        start_day: 181,
    });
    sc.horizon_s = 10.0 * 365.0 * DAY_S;
    sc
}

/// Least time of one forecast over several rounds, µs.
fn time_us(sc: &Scenario) -> f64 {
    let mut engine = Engine::new();
    let count = 2000;
    let mut least = f64::INFINITY;
    for _ in 0..15 {
        let start = Instant::now();
        for _ in 0..count {
            black_box(engine.life(black_box(sc)).expect("a life"));
        }
        least = least.min(start.elapsed().as_secs_f64() * 1e6 / f64::from(count));
    }
    least
}

/// The peer: one activity of three segments, one RC pair, self-discharge, a linear regulator; a fixed
/// step of 1 ms, charge with compensated summation, the rail looked at in every step.
fn one_millisecond(sc: &Scenario) -> f64 {
    let h = 1e-3;
    let cell = &sc.cell;
    let knots = cell.open_circuit_v.knots();
    let volts = cell.open_circuit_v.values();
    let pair = cell.rc[0];
    let lambda = cell.self_discharge.map_or(0.0, |s| s.rate_per_s(25.0));
    let keep = libm::exp(-h / pair.time_constant_s);
    let Some(ResistanceCurve::Rising { ohm, rise, scale }) =
        cell.resistance.as_ref().map(|r| r.at_25.clone())
    else {
        return f64::NAN;
    };
    let wake = &sc.load.activities[0];
    let ms = |s: f64| libm::round(s * 1e3) as u64;
    let interval = ms(wake.interval_s);
    let parts: Vec<(u64, f64, Option<f64>)> = wake
        .segments
        .iter()
        .map(|s| {
            let Demand::Current { current_a } = s.demand else { return (0, 0.0, None) };
            (ms(s.duration_s), current_a, s.peak.map(|p| p.current_a))
        })
        .collect();
    // Sleep is the last part of the cycle.
    let awake: u64 = parts.iter().map(|p| p.0).sum();
    let mut parts = parts;
    parts.push((interval - awake, 12e-6, None));
    let (mut q, mut lost) = (cell.capacity_c, 0.0);
    let mut v = 0.0;
    let mut step = 0_u64;
    let mut at = knots.len() - 2;
    let per_charge = 1.0 / cell.capacity_c;
    loop {
        // The rise of the resistance costs an exponential: once a cycle.
        let r0 = ohm * (1.0 + rise * libm::exp(-q * per_charge / scale));
        for &(length, rail_a, peak) in &parts {
            let current = rail_a + 2e-6;
            let end_v = current * pair.resistance_ohm;
            let drop_v = if rail_a > 1e-3 {
                (r0 * current + 3.0).max(r0 * current + 0.6 * rail_a + 2.8)
            } else {
                r0 * current + 3.0
            };
            for left in (0..length).rev() {
                v = end_v + (v - end_v) * keep;
                let term = -(current + lambda * q) * h - lost;
                let next = q + term;
                lost = (next - q) - term;
                q = next;
                step += 1;
                let s = q * per_charge;
                while at > 0 && s < knots[at] {
                    at -= 1;
                }
                let u = (s - knots[at]) / (knots[at + 1] - knots[at]);
                let emf = volts[at] + u * (volts[at + 1] - volts[at]) - v;
                if emf < drop_v || s <= 0.0 {
                    return step as f64 * h;
                }
                if left == 0
                    && let Some(peak) = peak
                {
                    let rise_v = pair.resistance_ohm
                        * (peak - rail_a)
                        * -libm::expm1(-0.002 / pair.time_constant_s);
                    let sag_v = rise_v + r0 * (peak + 2e-6);
                    if emf < sag_v + (0.6 * peak + 2.8).max(3.0) {
                        return step as f64 * h;
                    }
                }
            }
        }
    }
}

fn main() {
    let us_one = time_us(&one());
    println!("one activity: {us_one:.2} µs, {:?}", Engine::new().life(&one()));
    let us_three = time_us(&three());
    println!("three activities: {us_three:.2} µs, {:?}", Engine::new().life(&three()));
    let us_power = time_us(&power());
    println!("constant power: {us_power:.2} µs, {:?}", Engine::new().life(&power()));
    let us_seasons = time_us(&seasons());
    println!("seasons, ageing: {us_seasons:.2} µs, {:?}", Engine::new().life(&seasons()));

    let mut both = seasons();
    both.path = power().path;
    both.load.activities = power().load.activities;
    println!("seasons, ageing and constant power: {:.1} µs", time_us(&both));
    let mut interleaved = three();
    for (activity, interval_s) in
        interleaved.load.activities.iter_mut().zip([317.3, 901.7, 86_011.9])
    {
        activity.interval_s = interval_s;
    }
    println!("three activities, intervals not nested: {:.1} µs", time_us(&interleaved));

    // Constant power against Runge–Kutta over the whole life.
    let engine_s = Engine::new().life(&power()).expect("a life").life_s;
    let truth_s = brute_force(&power(), u64::MAX).map_or(f64::NAN, |b| b.life_s);
    let power_error = (engine_s / truth_s - 1.0).abs();
    println!("constant power, against Runge–Kutta: {power_error:.1e}");

    let (mut ratio, mut error) = (f64::NAN, f64::NAN);
    if std::env::var_os("OVERWINTER_BENCH_PEER").is_none() {
        let mut sc = one();
        // Smaller, so that it lives for about 62 days.
        sc.cell.capacity_c = 1250.0;
        let us_here = time_us(&sc);
        let life_s = Engine::new().life(&sc).expect("a life").life_s;
        let start = Instant::now();
        let peer_s = black_box(one_millisecond(black_box(&sc)));
        let took_s = start.elapsed().as_secs_f64();
        ratio = took_s * 1e6 / us_here;
        error = (life_s / peer_s - 1.0).abs();
        println!(
            "peer: 1 ms steps, life {:.3} d in {took_s:.1} s; engine {:.6} d in {us_here:.2} µs",
            peer_s / DAY_S,
            life_s / DAY_S,
        );
    }
    println!(
        "forecast: us_one={us_one:.2} us_three={us_three:.2} us_power={us_power:.1} us_seasons={us_seasons:.1} ratio_to_brute={ratio:.2e} rel_error_max={:.1e}",
        error.max(power_error)
    );
}
