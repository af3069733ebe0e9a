//! From the cell to the rail: drains, protection against reversal, bulk capacitor, regulator.

use crate::curve::Curve;

/// The supply path of a board.
#[derive(Debug, Clone, PartialEq)]
pub struct SupplyPath {
    /// The regulator between battery contacts and rail.
    pub regulator: Regulator,
    /// Wiring, connector, switch and fuse in series with the cell.
    pub series_ohm: f64,
    /// Protection against a reversed cell, in series with the regulator.
    pub reverse: ReverseProtection,
    /// Bulk capacitor at the regulator's input.
    pub bulk: Option<Bulk>,
    /// Drains on the battery side: there whatever the rail does, also when it is dead.
    pub always_on: Vec<AlwaysOn>,
    /// Rail voltage below which the processor resets; `None`: unknown, the rail is not checked and
    /// the result says so.
    pub reset_v: Option<f64>,
}

/// How the rail is made from the cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Regulator {
    /// No regulator: the rail is the cell behind its series resistance.
    Direct,
    /// A linear regulator.
    Linear(LinearRegulator),
    /// A step-down converter; passes its input through `pass_ohm` when that is too low.
    StepDown(Switching),
    /// A step-up converter; can collapse when the source cannot deliver the power.
    StepUp(Switching),
    /// A converter that does both.
    BuckBoost(Switching),
}

/// A linear regulator: `I_in = I + Iq + g·I`, `V_rail = min(V_set, V_in − V_0 − R·I)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LinearRegulator {
    /// Set output voltage.
    pub set_v: f64,
    /// Ground current without load; `None`: unknown, taken as nothing and flagged.
    pub ground_current_a: Option<f64>,
    /// Share of the load current that flows to ground on top (0…0.001 MOS, 0.01…0.03 bipolar).
    pub ground_per_load: f64,
    /// Dropout; `None`: unknown, taken as nothing and flagged.
    pub dropout: Option<Dropout>,
    /// Ground current once the input is below set voltage plus dropout; `None`: unknown, the value in
    /// regulation is used and flagged when dropout is met.
    pub ground_in_dropout_a: Option<f64>,
}

/// Dropout `V = fixed + R·I`: resistive for MOS pass transistors, nearly fixed for bipolar ones.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dropout {
    /// The part that does not depend on the current.
    pub fixed_v: f64,
    /// The part that does.
    pub resistance_ohm: f64,
}

impl Dropout {
    /// A resistive dropout from one point of the data sheet: `R = V/I`.
    pub fn resistive(voltage_v: f64, at_current_a: f64) -> Self {
        Self { fixed_v: 0.0, resistance_ohm: voltage_v / at_current_a }
    }

    /// A dropout that is the same at every current.
    pub fn fixed(voltage_v: f64) -> Self {
        Self { fixed_v: voltage_v, resistance_ohm: 0.0 }
    }
}

/// A switching regulator.
#[derive(Debug, Clone, PartialEq)]
pub struct Switching {
    /// Set output voltage.
    pub set_v: f64,
    /// Input current without load; `None`: unknown, taken as nothing and flagged.
    pub quiescent_a: Option<f64>,
    /// Its losses under load.
    pub conversion: Conversion,
    /// Lowest input voltage at which it works.
    pub min_input_v: Option<f64>,
    /// Highest input current (switch current) it can carry.
    pub switch_limit_a: Option<f64>,
    /// Resistance from input to output at full duty (step-down) — its dropout.
    pub pass_ohm: f64,
}

/// Losses of a switching regulator under load.
#[derive(Debug, Clone, PartialEq)]
pub enum Conversion {
    /// `V_in·(I_in − Iq) = (1 + a)·V_out·I_out + R·I²`, with `I` the output current of a step-down
    /// and the input current of a step-up or buck-boost converter.
    Loss {
        /// Proportional loss `a`, per unit of the output power.
        proportional: f64,
        /// Loss resistance `R`.
        resistance_ohm: f64,
    },
    /// Efficiency over input voltage and output current; holds the quiescent current already when
    /// [`Switching::quiescent_a`] is `Some(0.0)`.
    Table(EfficiencyTable),
}

/// Efficiency at points of (input voltage, output current); bilinear in voltage and log current.
#[derive(Debug, Clone, PartialEq)]
pub struct EfficiencyTable {
    /// Input voltages, rising.
    pub input_v: Vec<f64>,
    /// Output currents, rising, above zero.
    pub output_a: Vec<f64>,
    /// Efficiencies (0…1], row by row: all currents at the first voltage, then the second, …
    pub efficiency: Vec<f64>,
}

/// Protection against a reversed cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ReverseProtection {
    /// None, or in the series resistance already.
    Nothing,
    /// A diode: `V = forward_v + slope_ohm·I`.
    Diode {
        /// Forward voltage at small current.
        forward_v: f64,
        /// Slope of the forward voltage.
        slope_ohm: f64,
    },
    /// A transistor used as an ideal diode.
    Transistor {
        /// Its on-resistance.
        resistance_ohm: f64,
    },
}

/// A capacitor across the regulator's input, fed through cell and path resistance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bulk {
    /// Capacitance.
    pub capacitance_f: f64,
    /// Equivalent series resistance.
    pub esr_ohm: f64,
    /// Leakage current; `None`: unknown, taken as nothing and flagged.
    pub leakage_a: Option<f64>,
}

/// A part on the battery side that draws for ever.
#[derive(Debug, Clone, PartialEq)]
pub struct AlwaysOn {
    /// Its name in the ledger.
    pub name: String,
    /// What it draws.
    pub drain: Drain,
    /// Whether the sleep reading at the battery contacts holds it already.
    pub in_sleep_reading: bool,
}

/// How a drain depends on the cell's voltage.
#[derive(Debug, Clone, PartialEq)]
pub enum Drain {
    /// The same current at every voltage.
    Constant {
        /// Amperes.
        current_a: f64,
    },
    /// `I = V/R`.
    Ohmic {
        /// Ohms.
        resistance_ohm: f64,
    },
    /// A table (x: cell voltage, y: amperes).
    ByVoltage(Curve),
}
