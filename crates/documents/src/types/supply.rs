//! The way from the cell to the rail, and the charger.

use overwinter_quantity::{Current, Ratio, Voltage};

use crate::choice::choices;
use crate::figure::{
    CapacitanceFigure, CurrentFigure, DurationFigure, RatioFigure, ResistanceFigure,
    TemperatureFigure, ThermalResistanceFigure, VoltageFigure,
};
use crate::layer::{Layer, layered, record};
use crate::reader::read_variants;
use crate::seen::Trait;
use crate::walk::walk_variants;

choices! {
    /// How a regulator works.
    pub enum RegulatorKind: "a regulator kind" {
        /// Linear.
        Linear = "linear",
        /// Step-down.
        StepDown = "step-down",
        /// Step-up.
        StepUp = "step-up",
        /// Step-down and step-up.
        BuckBoost = "buck-boost",
        /// No regulator: the rail is the cell.
        Direct = "direct",
    }

    /// How load and charger share the cell.
    pub enum LoadSharing: "a way of load sharing" {
        /// The load hangs on the cell; the charger feeds both.
        OnCell = "on the cell",
        /// A diode from USB and a transistor from the cell.
        DiodeAndTransistor = "diode and transistor",
        /// A charger with a power path of its own.
        PowerPath = "power path",
    }

    /// How a charger works.
    pub enum ChargerKind: "a charger kind" {
        /// Linear.
        Linear = "linear",
        /// Switching.
        Switching = "switching",
        /// Switching, holding the panel at its best point.
        MaximumPower = "maximum-power",
    }
}

layered! {
    /// The way from the cell to the rail.
    pub struct Supply {
        /// The regulator.
        pub regulator: Option<BoardRegulator>,
        /// Protection against a reversed cell.
        pub reverse_protection: Option<ReverseProtection>,
        /// Resistance of connector, switch, fuse and tracks.
        pub series_resistance: Option<ResistanceFigure>,
        /// The bulk capacitor at the regulator's input.
        pub bulk: Option<Bulk>,
        /// The rail voltage below which the processor resets.
        pub reset_threshold: Option<VoltageFigure>,
        /// The lowest supply voltage that survives a radio burst, where stated rather than measured in a session.
        pub lowest_surviving_voltage: Option<VoltageFigure>,
        /// How load and charger share the cell.
        pub load_sharing: Option<LoadSharing>,
        /// Voltage lost at the instant the source goes away (the body diode of the load-sharing transistor).
        pub hand_over_drop: Option<VoltageFigure>,
    }

    /// What a regulator does, measured or from its class.
    pub struct RegulatorFigures {
        /// Output voltage.
        pub output: Option<VoltageFigure>,
        /// Ground current (linear) or quiescent current drawn from the input (switching), output unloaded.
        pub ground_current: Option<CurrentFigure>,
        /// Ground current that grows with the load, as a share of it (linear).
        pub ground_share: Option<RatioFigure>,
        /// Ground current while in dropout (linear).
        pub ground_in_dropout: Option<CurrentFigure>,
        /// Dropout at one or more load currents.
        pub dropout: Vec<DropoutPoint>,
        /// Loss proportional to the output current as a share of output power, `a` (switching).
        pub loss_share: Option<RatioFigure>,
        /// Series loss resistance `R` (switching).
        pub loss_resistance: Option<ResistanceFigure>,
        /// Efficiency at input voltage and load current (switching), where a table is known instead.
        pub efficiency: Vec<EfficiencyPoint>,
        /// Lowest input voltage.
        pub minimum_input: Option<VoltageFigure>,
        /// Highest input voltage.
        pub maximum_input: Option<VoltageFigure>,
        /// Highest output current.
        pub maximum_current: Option<CurrentFigure>,
        /// Highest duty cycle passes the input straight through near the output voltage (step-down).
        pub full_duty: Trait,
        /// The output follows the input when the converter is off (step-up).
        pub passes_through: Trait,
    }
}

record! {
    /// The regulator on a board.
    pub struct BoardRegulator {
        /// Its class: a name of `regulators/`.
        pub class: Option<String>,
        /// How it works, where no class is named.
        pub kind: Option<RegulatorKind>,
        /// Figures of this board's own, over those of the class.
        #[serde(default)]
        pub figures: RegulatorFigures,
    }

    /// Dropout at one load current.
    pub struct DropoutPoint {
        /// The load current.
        pub current: Current,
        /// Input minus output there.
        pub drop: VoltageFigure,
    }

    /// Efficiency at one working point.
    pub struct EfficiencyPoint {
        /// Input voltage.
        pub input: Voltage,
        /// Load current.
        pub current: Current,
        /// Output power over input power, quiescent current included.
        pub efficiency: Ratio,
    }

    /// A capacitor that helps over bursts.
    pub struct Bulk {
        /// Its capacitance.
        pub capacitance: CapacitanceFigure,
        /// Its equivalent series resistance.
        pub esr: Option<ResistanceFigure>,
        /// Its leakage.
        pub leakage: Option<CurrentFigure>,
    }

    /// A series diode.
    pub struct Diode {
        /// Forward voltage at the radio peak.
        pub forward: VoltageFigure,
    }

    /// A transistor as ideal diode.
    pub struct Transistor {
        /// Its resistance when on.
        pub resistance: ResistanceFigure,
    }

    /// The charger on a board.
    pub struct Charger {
        /// How it works.
        pub kind: Option<ChargerKind>,
        /// The charge current it is set to.
        pub current: Option<CurrentFigure>,
        /// The charge current that is left when it is hot.
        pub current_hot: Option<CurrentFigure>,
        /// The resistor that sets the current.
        pub programming_resistor: Option<ResistanceFigure>,
        /// The voltage it charges to.
        pub float_voltage: Option<VoltageFigure>,
        /// The current at which it ends.
        pub termination_current: Option<CurrentFigure>,
        /// It charges again when the cell has fallen by this much.
        pub restart_drop: Option<VoltageFigure>,
        /// It gives up after this time.
        pub safety_timer: Option<DurationFigure>,
        /// Lowest input voltage at which it starts.
        pub input_rising: Option<VoltageFigure>,
        /// Input voltage at which it stops.
        pub input_falling: Option<VoltageFigure>,
        /// It throttles itself so that its input does not sag below this voltage: such a charger does not start and stop at dawn.
        pub input_held: Option<VoltageFigure>,
        /// Capacitor at its input.
        pub input_capacitance: Option<CapacitanceFigure>,
        /// How long it waits after its input sagged before it tries again.
        pub retry: Option<DurationFigure>,
        /// Input minus cell voltage that it needs.
        pub drop: Option<VoltageFigure>,
        /// Current it takes from the cell when no source is there.
        pub back_leakage: Option<CurrentFigure>,
        /// It has a temperature input for the cell and uses it.
        #[serde(default)]
        pub senses_temperature: Trait,
        /// Chip temperature at which it folds its current back.
        pub thermal_limit: Option<TemperatureFigure>,
        /// Thermal resistance from chip to air.
        pub thermal_resistance: Option<ThermalResistanceFigure>,
        /// A series diode from the panel or USB.
        pub input_diode: Option<Diode>,
    }
}

/// Protection against a reversed cell.
#[derive(Clone, Debug, PartialEq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
#[schemars(deny_unknown_fields)]
pub enum ReverseProtection {
    /// There is none.
    None,
    /// A series diode.
    Diode(Diode),
    /// A transistor as ideal diode.
    Transistor(Transistor),
}

read_variants!(ReverseProtection {
    blank: Self::None;
    alone: None = "none";
    filled: Diode = "diode", Transistor = "transistor",
});
walk_variants!(ReverseProtection { Diode Transistor });

impl BoardRegulator {
    /// The board's own figures over those of its class.
    pub fn over_class(&self, class: &RegulatorFigures) -> RegulatorFigures {
        self.figures.over(class)
    }
}
