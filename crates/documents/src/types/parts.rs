//! Classes of parts: always-on parts, regulators, bare radio modules.

use crate::choice::{Kind, choices};
use crate::figure::{CurrentFigure, RatioFigure, ResistanceFigure, VoltageFigure};
use crate::layer::record;
use crate::seen::Seen;
use crate::types::board::{Feed, Traits};
use crate::types::supply::{Charger, RegulatorFigures, RegulatorKind};

choices! {
    /// How a part's current goes with its supply voltage.
    pub enum Behaviour: "a behaviour" {
        /// Constant.
        Constant = "constant",
        /// Proportional to the voltage: a divider, a pull-up held low.
        Ohmic = "ohmic",
        /// `(V − V_f) / R`: an LED with its resistor.
        Led = "LED",
    }
}

record! {
    /// A class of parts that draw current also in sleep.
    pub struct Part {
        /// Name, unique among part classes.
        pub name: String,
        /// What it is, in words.
        pub about: Option<String>,
        /// Kind of the figures that state none of their own.
        pub kind: Option<Kind>,
        /// Source of the figures that state none of their own.
        pub source: Option<String>,
        /// How its current goes with its supply voltage.
        pub behaviour: Behaviour,
        /// Current asleep, at the rail's usual voltage.
        pub current: Option<CurrentFigure>,
        /// Current while awake, where it differs.
        pub active_current: Option<CurrentFigure>,
        /// Resistance, for an ohmic part or an LED's resistor.
        pub resistance: Option<ResistanceFigure>,
        /// Forward voltage of an LED.
        pub forward: Option<VoltageFigure>,
        /// What usually feeds it.
        #[serde(default)]
        pub feed: Seen<Feed>,
    }

    /// A class of regulators.
    pub struct Regulator {
        /// Name, unique among regulator classes.
        pub name: String,
        /// What it is, in words.
        pub about: Option<String>,
        /// Kind of the figures that state none of their own.
        pub kind: Option<Kind>,
        /// Source of the figures that state none of their own.
        pub source: Option<String>,
        /// How it works.
        pub works: RegulatorKind,
        /// Its figures.
        #[serde(default)]
        pub figures: RegulatorFigures,
    }

    /// A class of chargers.
    pub struct ChargerClass {
        /// Name, unique among charger classes.
        pub name: String,
        /// What it is, in words.
        pub about: Option<String>,
        /// Kind of the figures that state none of their own.
        pub kind: Option<Kind>,
        /// Source of the figures that state none of their own.
        pub source: Option<String>,
        /// Its figures.
        pub figures: Charger,
    }

    /// A bare radio module.
    pub struct Module {
        /// Name, unique among modules.
        pub name: String,
        /// What it is, in words.
        pub about: Option<String>,
        /// Kind of the figures that state none of their own.
        pub kind: Option<Kind>,
        /// Source of the figures that state none of their own.
        pub source: Option<String>,
        /// Traits of its own: the radio part, the mark, the antenna.
        #[serde(default)]
        pub traits: Traits,
        /// Current in the sleep mode used.
        pub sleep_current: Option<CurrentFigure>,
        /// Current awake with the radio off.
        pub idle_current: Option<CurrentFigure>,
        /// Current at the radio peak.
        pub radio_peak: Option<CurrentFigure>,
        /// The rail voltage below which it resets.
        pub reset_threshold: Option<VoltageFigure>,
        /// Spread of the sleep current from specimen to specimen, as one standard deviation.
        pub specimen_spread: Option<RatioFigure>,
    }
}
