//! Panel, what lies between, and the board's charger as the balance's source; what the board does when the source comes and goes.

use overwinter_documents::types::board::Traits;
use overwinter_documents::types::cell::{Cell, CellFigures};
use overwinter_documents::types::project::Project;
use overwinter_documents::types::sun::{Converter, Panel as Documented, Through};
use overwinter_documents::types::supply::{Charger as Stated, ChargerKind, LoadSharing};
use overwinter_documents::{Diagnostic, Entry, KeyPath, YesNo};
use overwinter_sun::balance::RideThrough;
use overwinter_sun::charger::{Charger, Coupling, FoldBack, NightLeak, Precondition, Source};
use overwinter_sun::panel::label::{Assumed, Label, LabelError, from_label};
use overwinter_sun::panel::{OPEN_BACK_K_M2_PER_W, Panel};

use super::known::{Assumptions, Basis};
use crate::bench::Bench;
use crate::facts::Shown;
use crate::measure::ride::ride;
use crate::text::{current, significant, voltage};

/// Temperatures at which a lithium-ion cell is charged where its document does not say, °C.
const USUAL_WINDOW_C: (f64, f64) = (0.0, 45.0);

/// A panel with what its label says.
pub(crate) struct Labelled {
    pub(crate) panel: Panel,
    pub(crate) rated_w: f64,
    pub(crate) maximum_power_a: f64,
    /// Relative standard uncertainty of its current.
    pub(crate) current_u: f64,
    pub(crate) heating_k_m2_per_w: f64,
    pub(crate) diode_v: f64,
}

/// The panel of a label.
///
/// # Errors
/// A diagnostic at the figure that cannot be.
pub(crate) fn labelled(
    entry: &Entry<Documented>,
    known: &mut Assumptions,
) -> Result<Labelled, Vec<Diagnostic>> {
    let document = &entry.document;
    let (volts, amperes) =
        (document.maximum_power_voltage.si(), document.maximum_power_current.si());
    let label = Label {
        power_w: None,
        maximum_power_v: Some(volts),
        maximum_power_a: Some(amperes),
        open_circuit_v: document.open_circuit_voltage.as_ref().map(|v| v.si()),
        short_circuit_a: document.short_circuit_current.as_ref().map(|i| i.si()),
        cells_in_series: document.cells_in_series.map(|n| n.min(1000) as u16),
        current_coefficient_per_k: document.current_coefficient.as_ref().map(|c| c.si()),
        voltage_coefficient_per_k: document.voltage_coefficient.as_ref().map(|c| c.si()),
    };
    let found = from_label(&label).map_err(|error| {
        let key = match &error {
            LabelError::NotPositive { what: "short-circuit current", .. } => {
                "short_circuit_current"
            }
            LabelError::NotPositive { what: "open-circuit voltage", .. }
            | LabelError::Order { .. }
            | LabelError::NoCurve { .. } => "open_circuit_voltage",
            _ => "maximum_power_voltage",
        };
        let help = "compare with the label; a figure that is not on it may be left out";
        vec![entry.place(
            Diagnostic::error("label", error.to_string()).help(help),
            &KeyPath::root().key("panel").key(key),
        )]
    })?;
    for assumed in &found.assumed {
        let (unknown, taken, basis, settle) = match assumed {
            Assumed::OpenCircuitV(v) => (
                "the panel's open-circuit voltage",
                voltage(*v),
                Basis::CommonPractice,
                "a voltmeter in full sun; enter `open_circuit_voltage`",
            ),
            Assumed::ShortCircuitA(a) => (
                "the panel's short-circuit current",
                current(*a),
                Basis::CommonPractice,
                "an ammeter in full sun; enter `short_circuit_current`",
            ),
            Assumed::CellsInSeries(n) => (
                "cells in series",
                n.to_string(),
                Basis::CommonPractice,
                "count them; enter `cells_in_series`",
            ),
            Assumed::CurrentCoefficientPerK(_) => (
                "how the panel's current goes with temperature",
                "+0.05 %/K".to_owned(),
                Basis::CommonPractice,
                "enter `current_coefficient`",
            ),
            // Follows from the label's points: nothing that a person could look up.
            Assumed::Ideality(_) => continue,
        };
        known.take(unknown, taken, basis, settle);
    }
    let heating_k_m2_per_w = match &document.nominal_temperature {
        Some(t) => ((t.value.celsius() - 20.0) / 800.0).max(0.0),
        None => known.or(
            None,
            "how warm the panel gets in the sun",
            OPEN_BACK_K_M2_PER_W,
            "25 K above the air at 800 W/m², back in the open",
            Basis::CommonPractice,
            "enter `nominal_temperature`",
        ),
    };
    Ok(Labelled {
        panel: found.panel.with_lead(document.lead_resistance.as_ref().map_or(0.0, |r| r.si())),
        rated_w: volts * amperes,
        maximum_power_a: amperes,
        current_u: document.maximum_power_current.value.standard_uncertainty().unwrap_or(0.0)
            / amperes,
        heating_k_m2_per_w,
        diode_v: document.blocking_diode.as_ref().map_or(0.0, |d| d.forward.si()),
    })
}

/// Why a board cannot be charged by the panel, and what to do.
#[derive(Debug, Clone)]
pub(crate) struct NoCharge {
    pub(crate) why: String,
    pub(crate) help: String,
    /// Whether it is a plain no, or an unknown.
    pub(crate) is_no: bool,
}

impl NoCharge {
    fn no(why: String, help: &str) -> Self {
        Self { why, help: help.to_owned(), is_no: true }
    }
}

/// The charger that stands between panel and cell, how the panel meets it, and how uncertain its current is.
pub(crate) struct Between {
    pub(crate) charger: Charger,
    pub(crate) coupling: Coupling,
    /// Relative standard uncertainty of the set current.
    pub(crate) current_u: f64,
    /// Whether the set current is known.
    pub(crate) current_known: bool,
    /// Whether the pace at which it starts and stops is known.
    pub(crate) pace_known: bool,
    pub(crate) spreads: Spreads,
    pub(crate) flags: Vec<String>,
}

/// Standard uncertainties of the charger's other figures: those of the document, else what is common practice for a figure without a stated spread,
/// more for one that is from memory.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Spreads {
    /// Of both input thresholds together, V.
    pub(crate) input_v: f64,
    /// Of the held voltage, V.
    pub(crate) hold_v: f64,
    /// Of the current at which it ends, relative.
    pub(crate) termination: f64,
    /// Of the voltage it needs above the cell, relative.
    pub(crate) dropout: f64,
    /// Of the logarithm of its wait between two tries.
    pub(crate) retry: f64,
    /// Of its efficiency.
    pub(crate) efficiency: f64,
}

/// A stated figure's own uncertainty, or `stated`; `taken` where there is no figure.
macro_rules! spread {
    ($figure:expr, $stated:expr, $taken:expr) => {
        match &$figure {
            Some(figure) => figure.value.standard_uncertainty().unwrap_or($stated),
            None => $taken,
        }
    };
}

/// Panel, coupling and charger together.
pub(crate) fn source(labelled: &Labelled, between: &Between) -> Source {
    Source {
        panel: labelled.panel,
        heating_k_m2_per_w: labelled.heating_k_m2_per_w,
        coupling: behind_diode(between.coupling, labelled.diode_v),
        charger: between.charger.clone(),
        // What leaks back at night is part of the sleep reading, which is taken with nothing at the input.
        night_leak: NightLeak::default(),
    }
}

/// The coupling with one more diode before it.
fn behind_diode(coupling: Coupling, more_v: f64) -> Coupling {
    match coupling {
        Coupling::Straight if more_v > 0.0 => Coupling::Diode { forward_v: more_v },
        Coupling::Diode { forward_v } => Coupling::Diode { forward_v: forward_v + more_v },
        Coupling::StepDown { efficiency, forward_v } => {
            Coupling::StepDown { efficiency, forward_v: forward_v + more_v }
        }
        Coupling::Straight | Coupling::MaximumPower { .. } => coupling,
    }
}

/// The charge window of a cell, °C.
pub(crate) fn charge_window(figures: &CellFigures, known: &mut Assumptions) -> (f64, f64) {
    figures.charge_temperature.as_ref().map_or_else(
        || {
            known.take(
                "temperatures at which the cell may be charged",
                "0 to 45 °C",
                Basis::CommonPractice,
                "its data sheet; enter `charge_temperature`",
            );
            USUAL_WINDOW_C
        },
        |window| (window.from.celsius(), window.to.celsius()),
    )
}

/// What charges the cell on this board in this project.
///
/// # Errors
/// [`NoCharge`] where nothing does, or nobody knows.
pub(crate) fn between(
    bench: &Bench,
    project: Option<&Project>,
    cell: &Cell,
    shown: &Shown<'_>,
    traits: &Traits,
    window_c: (f64, f64),
    known: &mut Assumptions,
) -> Result<Between, NoCharge> {
    let figures = bench.cell_figures(cell);
    let name = &shown.board.name;
    let through = project.and_then(|p| p.mounting.as_ref()).and_then(|m| m.through.as_ref());
    if let Some(Through::Converter(converter)) = through {
        let cell_v = figures
            .charge_voltage
            .as_ref()
            .map(|v| v.si() * f64::from(cell.in_series.unwrap_or(1)));
        return Ok(of_converter(converter, cell_v, window_c, known));
    }
    let stated = match (traits.charger.probability_of_yes(), &shown.board.charger) {
        (Some(p), _) if p <= 0.0 => {
            let help = if project.is_some() {
                "take a board with a charger, or a converter that charges the cell (`through = { converter = { … } }` under `mounting`)"
            } else {
                "charge the cell by itself"
            };
            return Err(NoCharge::no(format!("{name} has no charger"), help));
        }
        (_, Some(stated)) => stated.clone(),
        (Some(p), None) if p >= 0.5 => empty_charger(),
        (_, None) => {
            return Err(NoCharge {
                why: format!("whether {name} has a charger is not known"),
                help: "look for a charger chip beside the battery connector (3 min)".to_owned(),
                is_no: false,
            });
        }
    };
    let mut between = of_board(&stated, shown, window_c, known);
    between.charger.power_path = match load_sharing(shown) {
        Some(LoadSharing::OnCell) => false,
        Some(LoadSharing::DiodeAndTransistor | LoadSharing::PowerPath) => true,
        None => {
            known.take(
                "how load and charger share the cell",
                "the load hangs on the cell and disturbs the end of the charge",
                Basis::CarefulSide,
                "trace the board; enter `load_sharing`",
            );
            false
        }
    };
    let own = stated.input_diode.as_ref().map_or(0.0, |d| d.forward.si());
    let outside = match through {
        Some(Through::Diode(diode)) => diode.forward.si(),
        Some(Through::Nothing | Through::Converter(_)) => 0.0,
        None => {
            if project.is_some() && !matches!(between.coupling, Coupling::MaximumPower { .. }) {
                known.take(
                    "what lies between panel and board",
                    "nothing but the lead",
                    Basis::Assumed,
                    "enter `through = \"nothing\"`, a diode or a converter under `mounting`",
                );
            }
            0.0
        }
    };
    between.coupling = behind_diode(between.coupling, own + outside);
    Ok(between)
}

fn load_sharing(shown: &Shown<'_>) -> Option<LoadSharing> {
    let supply =
        shown.specimen.map_or_else(|| shown.board.supply.clone(), |s| shown.board.supply_of(s));
    supply.load_sharing
}

fn of_board(
    stated: &Stated,
    shown: &Shown<'_>,
    window_c: (f64, f64),
    known: &mut Assumptions,
) -> Between {
    let mut flags = Vec::new();
    let fact = shown.charge_current();
    let by_resistor = stated.programming_resistor.as_ref().filter(|_| fact.is_none());
    let (set_a, current_u) = match (&fact, by_resistor) {
        (Some(fact), _) => {
            let value = fact.figure.value();
            (value, fact.figure.standard_uncertainty() / value.abs().max(1e-12))
        }
        (None, Some(ohm)) => {
            let value = overwinter_sun::charger::set_current_a(1000.0, ohm.si());
            known.take(
                "the charge current",
                format!("{} from the resistor: 1000 V / {}", current(value), ohm.value),
                Basis::FromMemory,
                "measure it with a 0.1 Ω shunt in the cell's lead (10 min)",
            );
            (value, 0.1)
        }
        (None, None) => {
            known.take(
                "the charge current",
                "500 mA, the usual one",
                Basis::FromMemory,
                "measure it with a 0.1 Ω shunt in the cell's lead (10 min)",
            );
            (0.5, 0.3)
        }
    };
    let usual = Charger::usual(set_a);
    let hold_v = known.or(
        stated.float_voltage.as_ref().map(|v| v.si()),
        "the voltage that is charged to",
        usual.hold_v,
        "4.20 V",
        Basis::CommonPractice,
        "float voltage with a full cell (5 min); enter `float_voltage`",
    );
    let termination_share = known.or(
        stated.termination_current.as_ref().map(|i| i.si() / set_a),
        "the current at which the charge ends",
        0.1,
        "a tenth of the charge current",
        Basis::CommonPractice,
        "watch the current fall on a full cell; enter `termination_current`",
    );
    let restart_drop_v = known.or(
        stated.restart_drop.as_ref().map(|v| v.si()),
        "where the charge starts again",
        usual.restart_drop_v,
        "0.12 V below full",
        Basis::FromMemory,
        "enter `restart_drop`",
    );
    let (input_rise_v, input_fall_v) = match (&stated.input_rising, &stated.input_falling) {
        (Some(rise), Some(fall)) => (rise.si(), fall.si()),
        (Some(rise), None) => (rise.si(), rise.si() - 0.2),
        (None, Some(fall)) => (fall.si() + 0.2, fall.si()),
        (None, None) => (usual.input_rise_v, usual.input_fall_v),
    };
    if stated.input_rising.is_none() || stated.input_falling.is_none() {
        known.take(
            "the charger's input thresholds",
            format!("on above {}, off below {}", voltage(input_rise_v), voltage(input_fall_v)),
            Basis::FromMemory,
            "a supply ramped up and down at the input (5 min); enter `input_rising` and `input_falling`",
        );
    }
    let dropout_v = known.or(
        stated.drop.as_ref().map(|v| v.si()),
        "what the charger needs above the cell",
        usual.dropout_v,
        "0.10 V",
        Basis::FromMemory,
        "enter `drop`",
    );
    known.take(
        "how a deeply discharged cell is charged",
        "a tenth of the current below 2.9 V",
        Basis::CommonPractice,
        "seldom matters: the protection cuts off near there",
    );
    let senses = match stated.senses_temperature.known() {
        Some(YesNo::Yes) => true,
        Some(YesNo::No) => false,
        None => {
            known.take(
                "whether the charger knows the cell's temperature",
                "it does not: nothing prevents charging in the frost",
                Basis::CarefulSide,
                "a third wire at the cell's socket and a sensor on the cell; enter `senses_temperature`",
            );
            false
        }
    };
    let fold_back = match (&stated.thermal_limit, &stated.thermal_resistance) {
        (Some(limit), Some(resistance)) => {
            Some(FoldBack { limit_c: limit.value.celsius(), resistance_k_per_w: resistance.si() })
        }
        _ => None,
    };
    let coupling = match stated.kind {
        Some(ChargerKind::MaximumPower) => {
            let efficiency = known.or(
                None,
                "the efficiency of the board's maximum-power charger",
                0.85,
                "85 %, tracking included",
                Basis::CommonPractice,
                "power in and out with two meters",
            );
            Coupling::MaximumPower { efficiency, own_current_a: 0.0, least_power_w: 0.0 }
        }
        Some(ChargerKind::Switching) => {
            let efficiency = known.or(
                None,
                "the efficiency of the board's switching charger",
                0.9,
                "90 %",
                Basis::CommonPractice,
                "power in and out with two meters",
            );
            if stated.input_held.is_none() {
                flags.push("the switching charger does not seek the panel's maximum power: in light too weak for its current the panel collapses to the cell's voltage".into());
            }
            Coupling::StepDown { efficiency, forward_v: 0.0 }
        }
        Some(ChargerKind::Linear) => Coupling::Straight,
        None => {
            known.take(
                "how the charger works",
                "linear: the panel sits at the cell's voltage",
                Basis::CarefulSide,
                "a coil beside the charger chip means switching; enter `kind`",
            );
            Coupling::Straight
        }
    };
    let charger = Charger {
        hold_v,
        termination_share: Some(termination_share),
        restart_drop_v,
        safety_timer_s: stated.safety_timer.as_ref().map(|t| t.si()),
        temperature_window_c: senses.then_some(window_c),
        fold_back,
        dropout_v,
        input_rise_v,
        input_fall_v,
        input_regulation_v: stated.input_held.as_ref().map(|v| v.si()),
        input_capacitance_f: stated
            .input_capacitance
            .as_ref()
            .map_or(usual.input_capacitance_f, |c| c.si()),
        retry_s: stated.retry.as_ref().map_or(usual.retry_s, |t| t.si()),
        precondition: Some(Precondition { below_v: 2.9, share: 0.1 }),
        ..usual
    };
    let pace_known = stated.input_capacitance.is_some() && stated.retry.is_some();
    let end_a = charger.termination_a().max(1e-9);
    let spreads = Spreads {
        input_v: spread!(stated.input_rising, 0.02 * input_rise_v, 0.12).max(spread!(
            stated.input_falling,
            0.02 * input_fall_v,
            0.12
        )),
        // Plus or minus one per cent, as data sheets of single-cell chargers have it.
        hold_v: spread!(stated.float_voltage, 0.006 * hold_v, 0.006 * hold_v),
        termination: spread!(stated.termination_current, 0.1 * end_a, 0.3 * end_a) / end_a,
        dropout: spread!(stated.drop, 0.2 * dropout_v, 0.5 * dropout_v) / dropout_v.max(1e-3),
        // From memory it may be ten times as long or as short.
        retry: if stated.retry.is_some() { 0.2 } else { 1.15 },
        efficiency: if matches!(coupling, Coupling::StepDown { .. } | Coupling::MaximumPower { .. })
        {
            0.03
        } else {
            0.0
        },
    };
    Between {
        charger,
        coupling,
        current_u,
        current_known: fact.is_some(),
        pace_known,
        spreads,
        flags,
    }
}

fn of_converter(
    converter: &Converter,
    cell_v: Option<f64>,
    window_c: (f64, f64),
    known: &mut Assumptions,
) -> Between {
    let efficiency = known.or(
        converter.efficiency.as_ref().map(|e| e.si()),
        "the converter's efficiency",
        0.85,
        "85 %, tracking included",
        Basis::CommonPractice,
        "power in and out with two meters; enter `efficiency`",
    );
    let own_current_a = known.or(
        converter.own_current.as_ref().map(|i| i.si()),
        "what the converter draws from the cell",
        50e-6,
        "50 µA, day and night",
        Basis::CarefulSide,
        "the cell's current with the panel covered; enter `own_current`",
    );
    let least_power_w = known.or(
        converter.least_power.as_ref().map(|p| p.si()),
        "the least power at which the converter works",
        0.01,
        "10 mW",
        Basis::Assumed,
        "enter `least_power`",
    );
    let set_a = known.or(
        converter.charge_current.as_ref().map(|i| i.si()),
        "the converter's charge current",
        1.0,
        "1 A: the panel is the limit",
        Basis::Assumed,
        "enter `charge_current`",
    );
    let hold_v = known.or(
        converter.charge_voltage.as_ref().map(|v| v.si()),
        "the voltage that the converter charges to",
        cell_v.unwrap_or(4.2),
        voltage(cell_v.unwrap_or(4.2)),
        Basis::Assumed,
        "enter `charge_voltage`",
    );
    let senses = converter.senses_temperature.known() == Some(YesNo::Yes);
    if converter.senses_temperature.known().is_none() {
        known.take(
            "whether the converter knows the cell's temperature",
            "it does not: nothing prevents charging in the frost",
            Basis::CarefulSide,
            "enter `senses_temperature`",
        );
    }
    Between {
        charger: Charger {
            hold_v,
            temperature_window_c: senses.then_some(window_c),
            ..Charger::usual(set_a)
        },
        coupling: Coupling::MaximumPower { efficiency, own_current_a, least_power_w },
        current_u: 0.0,
        current_known: converter.charge_current.is_some(),
        pace_known: true,
        spreads: Spreads {
            hold_v: spread!(converter.charge_voltage, 0.006 * hold_v, 0.006 * hold_v),
            efficiency: spread!(converter.efficiency, 0.03, 0.03),
            ..Spreads::default()
        },
        flags: Vec::new(),
    }
}

/// What happens to the processor when the source goes, and when it comes.
pub(crate) fn ride_through(
    bench: &Bench,
    shown: &Shown<'_>,
    traits: &Traits,
    flags: &mut Vec<String>,
) -> (RideThrough, RideThrough) {
    let predicted = ride(bench, &shown.board.name, shown.specimen.map(|s| s.id.as_str()), None)
        .ok()
        .and_then(|report| report.predictions.iter().map(|p| p.lowest_safe.value).reduce(f64::max))
        .filter(|v| *v > 0.0);
    let removed = match (traits.resets_on_source_removed.known(), predicted) {
        (Some(YesNo::No), _) => RideThrough::Always,
        (Some(YesNo::Yes), Some(v)) => {
            flags.push(format!(
                "it resets when the source goes while the cell is below {}: counted so",
                voltage((v * 1e3).round() / 1e3)
            ));
            RideThrough::AboveCellV(v)
        }
        (Some(YesNo::Yes), None) => RideThrough::Never,
        (None, _) => RideThrough::Unknown,
    };
    let attached = match traits.resets_on_source_attached.known() {
        Some(YesNo::No) => RideThrough::Always,
        Some(YesNo::Yes) => RideThrough::Never,
        None => RideThrough::Unknown,
    };
    for (state, what) in [(removed, "goes"), (attached, "comes")] {
        if state == RideThrough::Unknown {
            flags.push(format!(
                "whether it resets when the source {what} is not known on a low cell: resets lie between the two figures (`overwinter ride {}` says what to try)",
                shown.board.name
            ));
        }
    }
    (removed, attached)
}

/// A charger of which nothing is written down.
fn empty_charger() -> Stated {
    Stated {
        kind: None,
        current: None,
        current_hot: None,
        programming_resistor: None,
        float_voltage: None,
        termination_current: None,
        restart_drop: None,
        safety_timer: None,
        input_rising: None,
        input_falling: None,
        input_held: None,
        input_capacitance: None,
        retry: None,
        drop: None,
        back_leakage: None,
        senses_temperature: overwinter_documents::Seen::Unknown,
        thermal_limit: None,
        thermal_resistance: None,
        input_diode: None,
    }
}

/// How panel and charger meet, in words.
pub(crate) fn coupling_text(source: &Source) -> String {
    match source.coupling {
        Coupling::Straight => {
            "straight into the charger: it works at the cell's voltage".to_owned()
        }
        Coupling::Diode { forward_v } => format!("through {} of diode", voltage(forward_v)),
        Coupling::StepDown { efficiency, .. } => {
            format!("into a step-down charger of {} %", significant(100.0 * efficiency, 3))
        }
        Coupling::MaximumPower { efficiency, .. } => {
            format!("through a converter of {} %", significant(100.0 * efficiency, 3))
        }
    }
}
