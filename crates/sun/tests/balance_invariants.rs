//! What must hold for every balance: charge is conserved, offers add up, more panel or more cell never hurts, the engine's board fits in.
#![allow(
    clippy::print_stdout,
    clippy::disallowed_methods,
    clippy::format_push_string,
    clippy::format_collect,
    reason = "checks print their figures, write small tables and may use the standard elementary functions"
)]

use overwinter_sun::balance::step::{Detail, Weather, run};
use overwinter_sun::balance::tables::{SteadyDemand, TableBank};
use overwinter_sun::balance::{Node, NodeTables, RideThrough};
use overwinter_sun::charger::charge_time::{ChargeCell, charge_time};
use overwinter_sun::charger::{Charger, Coupling, FoldBack, NightLeak, Source};
use overwinter_sun::panel::label::{Label, from_label};
use proptest::prelude::*;

fn source(power_w: f64, set_a: f64) -> Source {
    let label = Label { power_w: Some(power_w), maximum_power_v: Some(6.0), ..Label::default() };
    Source {
        panel: from_label(&label).unwrap().panel,
        heating_k_m2_per_w: 0.03,
        coupling: Coupling::Straight,
        charger: Charger::usual(set_a),
        night_leak: NightLeak { at_25_a: 1e-6, doubling_k: 10.0 },
    }
}

fn tables(mah: f64, load_a: f64) -> NodeTables {
    let demand = SteadyDemand { current_a: load_a, dark_a: load_a * 0.05, lowest_state: 0.1 };
    NodeTables::new(&TableBank::lithium_ion(mah * 3.6), &demand).unwrap()
}

/// Days whose light swings from nothing to `peak`, with a cold spell in the middle.
fn weather(days: usize, peak: f64, cold: f64) -> (Vec<f32>, Vec<f32>) {
    let mut light = Vec::new();
    let mut air = Vec::new();
    for d in 0..days {
        let day_peak = peak * (0.5 + 0.5 * (d as f64 * 1.7).sin());
        for h in 0..24 {
            let height = (std::f64::consts::PI * (f64::from(h) - 6.0) / 12.0).sin().max(0.0);
            light.push((day_peak * height) as f32);
            air.push(
                (if d > days / 3 && d < 2 * days / 3 { cold } else { 15.0 } + 5.0 * height) as f32,
            );
        }
    }
    (light, air)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn charge_is_conserved(
        power in 0.05..5.0_f64,
        set in 0.02..1.0_f64,
        mah in 50.0..5000.0_f64,
        load in 1e-6..0.05_f64,
        peak in 0.0..1200.0_f64,
        cold in -30.0..20.0_f64,
        start in 0.0..1.0_f64,
        coupling in 0..3_u8,
        power_path: bool,
        window: bool,
        timer: bool,
        high_threshold: bool,
        step_minutes in prop::sample::select(vec![60_u32, 30, 10]),
    ) {
        let mut s = source(power, set);
        s.coupling = match coupling {
            0 => Coupling::Straight,
            1 => Coupling::Diode { forward_v: 0.35 },
            _ => Coupling::MaximumPower { efficiency: 0.85, own_current_a: 2e-5, least_power_w: 0.005 },
        };
        s.charger.power_path = power_path;
        s.charger.temperature_window_c = window.then_some((0.0, 45.0));
        s.charger.safety_timer_s = timer.then_some(5.0 * 3600.0);
        s.charger.fold_back = Some(FoldBack { limit_c: 110.0, resistance_k_per_w: 130.0 });
        if high_threshold {
            s.charger.input_rise_v = 4.6;
            s.charger.input_fall_v = 4.3;
        }
        let t = tables(mah, load);
        let mut node = Node::new(&t, &s);
        node.start_state = start;
        node.ride_through = RideThrough::AboveCellV(3.65);
        let (light, air) = weather(24, peak, cold);
        let steps = Weather { step_s: f64::from(step_minutes) * 60.0, first_day: 340, irradiance_w_m2: &light, air_c: &air, thermal: None };
        let y = run(&node, &steps, Detail::Full);
        let scale = y.ledger.start_c + y.ledger.charged_c + 1.0;
        prop_assert!(y.ledger.residual_c().abs() < 1e-9 * scale, "{:?}", y.ledger);
        prop_assert!(y.ledger.offer_residual_c().abs() < 1e-9 * (y.ledger.offered_c + 1.0), "{:?}", y.ledger);
        for part in [
            y.ledger.charged_c, y.ledger.load_c, y.ledger.dark_drain_c, y.ledger.self_discharge_c, y.ledger.night_leak_c,
            y.ledger.end_c, y.ledger.unserved_c, y.ledger.refused_temperature_c, y.ledger.refused_timer_c, y.ledger.refused_limit_c,
        ] {
            prop_assert!(part >= -1e-9 * scale, "{:?}", y.ledger);
        }
        prop_assert!(y.ledger.refused_full_c >= -1e-6 * scale, "{:?}", y.ledger);
        prop_assert!(y.ledger.end_c <= t.capacity_c() * (1.0 + 1e-12));
        prop_assert!((y.hours - light.len() as f64 * f64::from(step_minutes) / 60.0).abs() < 1e-6);
        prop_assert!(y.lowest_state >= 0.0 && y.lowest_state <= 1.0);
        if window {
            prop_assert!(y.frost_charge_h == 0.0);
        }
        // The quick run sees the same outages.
        let quick = run(&node, &steps, Detail::Outages);
        prop_assert_eq!(quick.outage_days, y.outage_days);
    }
}

/// A larger panel and a larger cell never go dark more often (same weather, no chatter).
#[test]
fn more_is_never_less() {
    let (light, air) = weather(200, 300.0, 2.0);
    let steps = Weather {
        step_s: 3600.0,
        first_day: 1,
        irradiance_w_m2: &light,
        air_c: &air,
        thermal: None,
    };
    let mut before = u32::MAX;
    for power in [0.02, 0.05, 0.1, 0.2, 0.5, 1.0] {
        let (t, s) = (tables(300.0, 2e-3), source(power, 0.1));
        let days = run(&Node::new(&t, &s), &steps, Detail::Full).outage_days;
        assert!(days <= before, "{power} W: {days} after {before}");
        before = days;
    }
    assert_eq!(before, 0);
    let mut before = u32::MAX;
    for mah in [50.0, 100.0, 300.0, 1000.0] {
        let (t, s) = (tables(mah, 2e-3), source(0.06, 0.1));
        let days = run(&Node::new(&t, &s), &steps, Detail::Full).outage_days;
        assert!(days <= before, "{mah} mAh: {days} after {before}");
        before = days;
    }
}

/// A charge in the balance takes the closed form's time: constant light far above need, minute steps.
#[test]
fn the_balance_charges_like_the_closed_form() {
    let bank = TableBank {
        resistance_ohm: 0.15,
        b_kelvin: 0.0,
        self_discharge_at_20_per_s: 0.0,
        ..TableBank::lithium_ion(2.0 * 3600.0)
    };
    let mut s = source(20.0, 1.0);
    s.charger.precondition = None;
    let t =
        NodeTables::new(&bank, &SteadyDemand { current_a: 0.0, dark_a: 0.0, lowest_state: 0.0 })
            .unwrap();
    let mut node = Node::new(&t, &s);
    node.start_state = 0.1;
    let cell = ChargeCell {
        open_circuit: &bank.open_circuit,
        resistance_ohm: 0.15,
        capacity_c: 2.0 * 3600.0,
    };
    let exact = charge_time(&cell, &s.charger, 10.0, 0.0, 0.1).unwrap();
    for (step_s, tolerance) in [(60.0, 2e-3), (3600.0, 2e-3)] {
        let n = (exact.total_s() / step_s) as usize;
        let light = vec![1000.0_f32; n];
        let air = vec![25.0_f32; n];
        let y = run(
            &node,
            &Weather {
                step_s,
                first_day: 100,
                irradiance_w_m2: &light,
                air_c: &air,
                thermal: None,
            },
            Detail::Full,
        );
        let left_s = exact.total_s() - n as f64 * step_s;
        let now = charge_time(&cell, &s.charger, 10.0, 0.0, y.ledger.end_c / 7200.0).unwrap();
        assert!(
            (now.total_s() - left_s).abs() < tolerance * exact.total_s(),
            "{step_s}: {} {left_s}",
            now.total_s()
        );
    }
    // Twice as long: it has ended, at the closed form's state.
    let n = 2 * (exact.total_s() / 60.0) as usize;
    let (light, air) = (vec![1000.0_f32; n], vec![25.0_f32; n]);
    let y = run(
        &node,
        &Weather {
            step_s: 60.0,
            first_day: 100,
            irradiance_w_m2: &light,
            air_c: &air,
            thermal: None,
        },
        Detail::Full,
    );
    assert!(
        (y.ledger.end_c / 7200.0 - exact.end_state).abs() < 1e-3,
        "{} {}",
        y.ledger.end_c / 7200.0,
        exact.end_state
    );
}

#[test]
fn a_dead_panel_goes_dark_after_the_autonomy() {
    let (t, s) = (tables(1000.0, 5e-3), source(1.0, 0.1));
    let node = Node::new(&t, &s);
    let (light, air) = (vec![0.0_f32; 24 * 30], vec![20.0_f32; 24 * 30]);
    let y = run(
        &node,
        &Weather {
            step_s: 3600.0,
            first_day: 1,
            irradiance_w_m2: &light,
            air_c: &air,
            thermal: None,
        },
        Detail::Full,
    );
    // 900 mAh usable at 20 °C (capacity share between −5 and 25 °C: 0.987), 5 mA: 7.4 days; self-discharge and the dark panel's leak take little.
    let days = (y.hours - y.dark_h) / 24.0;
    let expected = t.usable_c(20.0) / 5e-3 / 86400.0;
    assert!(days < expected && days > 0.98 * expected, "{days} {expected}");
    assert_eq!(y.outage_days, 30 - days as u32);
    assert!((y.longest_dark_h - y.dark_h).abs() < 1e-6);
    assert!(y.ledger.unserved_c > 0.0);
}

#[test]
fn a_board_that_does_not_ride_through_resets_every_evening() {
    let (t, s) = (tables(1000.0, 1e-3), source(1.0, 0.1));
    let (light, air) = weather(30, 600.0, 10.0);
    let steps = Weather {
        step_s: 3600.0,
        first_day: 1,
        irradiance_w_m2: &light,
        air_c: &air,
        thermal: None,
    };
    let mut node = Node::new(&t, &s);
    let y = run(&node, &steps, Detail::Full);
    assert!((y.inputs_lost - 30.0).abs() <= 2.0, "{}", y.inputs_lost);
    assert_eq!(y.resets_least, 0.0, "unknown ride-through");
    assert!(y.resets_most > 25.0);
    node.ride_through = RideThrough::Always;
    assert_eq!(run(&node, &steps, Detail::Full).resets_most, 0.0);
    node.ride_through = RideThrough::Never;
    assert!(run(&node, &steps, Detail::Full).resets_least > 25.0);
    // A threshold above the cell's voltage: hundreds of starts at dawn and dusk.
    let mut high = s.clone();
    high.charger.input_rise_v = 4.8;
    high.charger.input_fall_v = 4.5;
    let node = Node { source: &high, ride_through: RideThrough::Never, ..node };
    let chatter = run(&node, &steps, Detail::Full);
    assert!(chatter.chatter_events > 100.0 * y.inputs_lost, "{}", chatter.chatter_events);
    assert!(chatter.resets_least > 1000.0);
}

mod board {
    use overwinter_engine::cell::{Protection, Resistance, ResistanceCurve, SelfDischarge};
    use overwinter_engine::load::{Activity, Demand, Load, Peak, Segment, Sleep, SleepCurrent};
    use overwinter_engine::path::{Dropout, LinearRegulator, Regulator, ReverseProtection};
    use overwinter_engine::{Cell, Climate, Curve, Ending, Scenario, SupplyPath};
    use overwinter_sun::balance::engine::EngineNode;
    use overwinter_sun::balance::tables::{Bank, Demand as _, LITHIUM_ION_OCV};

    /// A board like those of the demo: 190 mC every 15 min, 12.6 µA asleep, 340 mA peaks, 2.80 V reset, 0.17 V dropout.
    pub(super) fn scenario() -> Scenario {
        Scenario {
            load: Load {
                sleep: Sleep {
                    current: SleepCurrent::Battery { current_a: 9.3e-6 },
                    temperature: None,
                },
                activities: vec![Activity {
                    name: "report".into(),
                    interval_s: 900.0,
                    first_s: None,
                    segments: vec![Segment {
                        name: "radio".into(),
                        duration_s: 2.0,
                        demand: Demand::Current { current_a: 0.095 },
                        peak: Some(Peak { current_a: 0.34, duration_s: 0.002 }),
                    }],
                }],
            },
            path: SupplyPath {
                regulator: Regulator::Linear(LinearRegulator {
                    set_v: 3.3,
                    ground_current_a: Some(1.5e-6),
                    ground_per_load: 0.0,
                    dropout: Some(Dropout::resistive(0.17, 0.34)),
                    ground_in_dropout_a: Some(1.5e-6),
                }),
                series_ohm: 0.0,
                reverse: ReverseProtection::Nothing,
                bulk: None,
                always_on: vec![],
                reset_v: Some(2.8),
            },
            cell: Cell {
                capacity_c: 9000.0,
                capacity_by_temperature: None,
                open_circuit_v: Curve::linear(&LITHIUM_ION_OCV).unwrap(),
                resistance: Some(Resistance {
                    at_25: ResistanceCurve::Constant { ohm: 0.18 },
                    b_kelvin: Some(2500.0),
                }),
                rc: vec![],
                two_well: None,
                self_discharge: Some(SelfDischarge::from_loss(0.02, 30.4 * 86400.0, 10.0)),
                protection: Some(Protection { own_current_a: Some(4e-6), cutoff_v: Some(2.5) }),
                cutoff_v: Some(3.0),
                ageing: None,
                passivating: false,
                initial_charge: 1.0,
                shelf_life_s: None,
                discharge_celsius: None,
                max_current_a: None,
            },
            climate: Climate::Constant { celsius: 20.0 },
            horizon_s: 20.0 * 365.0 * 86400.0,
        }
    }

    #[test]
    fn the_engines_board_fits_in() {
        let node = EngineNode::new(&scenario()).unwrap();
        // By hand: 0.095 A·2 s/900 s + 1.5 µA·2/900 + 9.3 µA·(1 − 2/900) + 4 µA protection.
        let by_hand =
            0.095 * 2.0 / 900.0 + 1.5e-6 * 2.0 / 900.0 + 9.3e-6 * (1.0 - 2.0 / 900.0) + 4e-6;
        assert!((node.mean_current_a(3.9, 20.0) - by_hand).abs() < 1e-10);
        assert!((node.dark_current_a(3.9, 20.0) - 4e-6).abs() < 1e-15);
        // Lowest state by hand at 25 °C: OCV = 2.80 + 0.17 + 0.34·0.18 = 3.031 V, or the cell's own 3.0 V under 340 mA: 3.061 V, whichever is higher.
        let need: f64 = (2.80 + 0.17 + 0.34 * 0.18_f64).max(3.0 + 0.34 * 0.18);
        let state = 0.05 * (need - 3.0) / 0.42;
        let lowest = node.lowest_usable_state(25.0);
        assert!((lowest - state).abs() < 2e-3, "{lowest} {state} {:?}", node.ending(25.0));
        assert!(
            node.lowest_usable_state(-20.0) > node.lowest_usable_state(20.0),
            "cold raises the floor"
        );
        assert!(matches!(node.ending(20.0), Ending::CellCutoff | Ending::RailBelowReset));
        assert!(
            (node.resistance_ohm(0.5, -10.0) / node.resistance_ohm(0.5, 25.0) - 3.05).abs() < 0.01
        );
    }
}

/// Without sun the balance and the engine's forecast give the same life.
#[test]
fn without_sun_it_is_the_forecast() {
    use overwinter_engine::{Climate, Engine};
    use overwinter_sun::balance::engine::EngineNode;
    let mut scenario = board::scenario();
    // A cell of 100 mAh, so that the life is weeks.
    scenario.cell.capacity_c = 360.0;
    scenario.climate = Climate::Constant { celsius: 20.0 };
    let life = Engine::new().life(&scenario).unwrap();
    let engine_node = EngineNode::new(&scenario).unwrap();
    let t = NodeTables::new(&engine_node, &engine_node).unwrap();
    let mut s = source(1.0, 0.1);
    s.night_leak = NightLeak::default();
    let n = 24 * 60;
    let (light, air) = (vec![0.0_f32; n], vec![20.0_f32; n]);
    let y = run(
        &Node::new(&t, &s),
        &Weather {
            step_s: 3600.0,
            first_day: 1,
            irradiance_w_m2: &light,
            air_c: &air,
            thermal: None,
        },
        Detail::Full,
    );
    let alive_s = (y.hours - y.dark_h) * 3600.0;
    println!("forecast {:.4} d, balance {:.4} d", life.life_s / 86400.0, alive_s / 86400.0);
    assert!((alive_s / life.life_s - 1.0).abs() < 2e-3, "{} {}", alive_s, life.life_s);
}

/// A bank of a few hours: hourly weather cut as the node asks gives what minute steps give.
#[test]
fn a_small_bank_is_cut_finely_enough() {
    let (light, air) = weather(200, 250.0, 4.0);
    let (t, s) = (tables(20.0, 2e-3), source(0.3, 0.1));
    let node = Node::new(&t, &s);
    assert!(node.substeps(3600.0) > 5, "{}", node.substeps(3600.0));
    let hourly = Weather {
        step_s: 3600.0,
        first_day: 1,
        irradiance_w_m2: &light,
        air_c: &air,
        thermal: None,
    };
    let each = |v: &[f32]| v.iter().flat_map(|x| std::iter::repeat_n(*x, 60)).collect::<Vec<_>>();
    let (fine_light, fine_air) = (each(&light), each(&air));
    let minutes = Weather {
        step_s: 60.0,
        first_day: 1,
        irradiance_w_m2: &fine_light,
        air_c: &fine_air,
        thermal: None,
    };
    let (a, b) = (run(&node, &hourly, Detail::Full), run(&node, &minutes, Detail::Full));
    println!("dark {:.2} h and {:.2} h of {:.0} h", a.dark_h, b.dark_h, a.hours);
    assert!(b.dark_h > 100.0);
    assert!((a.dark_h / b.dark_h - 1.0).abs() < 0.01, "{} {}", a.dark_h, b.dark_h);
    assert!(a.outage_days.abs_diff(b.outage_days) <= 1);
    assert!((a.ledger.charged_c / b.ledger.charged_c - 1.0).abs() < 0.005);
}
