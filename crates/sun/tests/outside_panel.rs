//! Panel curve and charge time against an open reference library and closed forms.
#![allow(
    clippy::print_stdout,
    clippy::disallowed_methods,
    clippy::format_push_string,
    clippy::format_collect,
    reason = "checks print their figures, write small tables and may use the standard elementary functions"
)]

mod common;

use common::{number, table};
use overwinter_sun::charger::Charger;
use overwinter_sun::charger::charge_time::{ChargeCell, ChargeEnd, charge_time};
use overwinter_sun::panel::Panel;
use overwinter_sun::panel::label::solve;

/// The made-up 6 V, 2 W module of the reference table.
const MODULE: Panel = Panel {
    light_current_a: 0.36,
    saturation_a: 5e-10,
    ideality_v: 0.339,
    series_ohm: 0.9,
    shunt_ohm: 2500.0,
    current_coefficient_a_per_k: 0.0005 * 0.36,
};

fn close(what: &str, got: f64, expected: f64, relative: f64) {
    assert!(
        (got - expected).abs() <= relative * expected.abs(),
        "{what}: got {got}, expected {expected}"
    );
}

/// pvlib 0.16.1, calcparams_desoto and singlediode: ten conditions, every column.
#[test]
fn ten_conditions() {
    for row in table(include_str!("data/pvlib_singlediode_small_panel.csv")) {
        let curve = MODULE.curve(number(&row, "G_Wm2"), number(&row, "Tcell_C"));
        close("Isc", curve.short_circuit_a(), number(&row, "Isc"), 1e-9);
        close("Voc", curve.open_circuit_v(), number(&row, "Voc"), 1e-9);
        let top = curve.maximum_power();
        close("Pmp", top.power_w(), number(&row, "Pmp"), 1e-9);
        // A flat maximum: the library finds its place to about 1e-7.
        close("Vmp", top.voltage_v, number(&row, "Vmp"), 1e-6);
        close("Imp", top.current_a, number(&row, "Imp"), 1e-6);
        close("I at 4.5 V", curve.current_a(4.5), number(&row, "I_at_4.5V"), 1e-9);
    }
}

/// From the same module's Isc, Voc, Imp and Vmp back to its parameters.
#[test]
fn parameters_from_the_label() {
    let found =
        solve(0.35987044583963185, 6.911211, 0.3364286076226242, 5.650795052697052, 0.339).unwrap();
    close("I_L", found.light_current_a, 0.36, 1e-5);
    close("I_0", found.saturation_a, 5e-10, 1e-5);
    close("R_s", found.series_ohm, 0.9, 1e-4);
    close("R_sh", found.shunt_ohm, 2500.0, 1e-2);
}

/// Closed form of CC/CV for OCV = a + b·s with a series resistance; PyBaMM 26.10.1.1 without RC pairs gives 1.4190476 + 0.6578815 h (design notes, E4).
#[test]
fn constant_current_then_constant_voltage() {
    let curve = [(0.0, 3.2), (1.0, 4.25)];
    let cell = ChargeCell { open_circuit: &curve, resistance_ohm: 0.15, capacity_c: 2.0 * 3600.0 };
    let mut charger = Charger::usual(1.0);
    charger.precondition = None;
    let t = charge_time(&cell, &charger, f64::INFINITY, 0.0, 0.1).unwrap();
    assert_eq!(t.end, ChargeEnd::Terminated);
    assert!((t.constant_current_s / 3600.0 - 1.4190476).abs() < 5e-8);
    assert!((t.constant_voltage_s / 3600.0 - 0.6578815).abs() < 5e-8);
    assert!((t.total_s() / 3600.0 - 2.0769291).abs() < 1e-7);
    assert!((t.end_state - 0.9380952).abs() < 5e-8);
    // The same curve with a knot in the middle: the same times.
    let split = [(0.0, 3.2), (0.85, 3.2 + 1.05 * 0.85), (1.0, 4.25)];
    let again = charge_time(
        &ChargeCell { open_circuit: &split, ..cell.clone() },
        &charger,
        f64::INFINITY,
        0.0,
        0.1,
    )
    .unwrap();
    assert!((again.total_s() - t.total_s()).abs() < 1e-6);
    // A load above the termination current: held for ever; with a timer: ended early.
    let held = charge_time(&cell, &charger, f64::INFINITY, 0.12, 0.1).unwrap();
    assert_eq!(held.end, ChargeEnd::HeldForever);
    charger.safety_timer_s = Some(3600.0);
    let early = charge_time(&cell, &charger, f64::INFINITY, 0.0, 0.1).unwrap();
    assert_eq!(early.end, ChargeEnd::SafetyTimer);
    assert!((early.end_state - 0.6).abs() < 1e-12 && (early.total_s() - 3600.0).abs() < 1e-9);
    charger.safety_timer_s = None;
    assert_eq!(charge_time(&cell, &charger, 0.05, 0.12, 0.1).unwrap().end, ChargeEnd::LoadTakesAll);
    assert!(charge_time(&cell, &charger, 1.0, 0.0, 1.2).is_err());
}
