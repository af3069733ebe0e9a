//! Cells and their chemistries.

use overwinter_quantity::{Duration, Length, Money, Ratio, Temperature, Voltage};

use crate::choice::{Kind, YesNo, choices};
use crate::figure::{
    ChargeFigure, CurrentFigure, MolarEnergyFigure, RatioFigure, ResistanceFigure,
    SelfDischargeFigure, TemperatureDifferenceFigure, VoltageFigure,
};
use crate::layer::{layered, record};
use crate::seen::Seen;
use crate::types::board::ContactSide;

choices! {
    /// The form of a cell.
    pub enum CellForm: "a cell form" {
        /// A pouch.
        Pouch = "pouch",
        /// A cylinder.
        Cylinder = "cylinder",
        /// A coin.
        Coin = "coin",
        /// A capacitor.
        Capacitor = "capacitor",
    }
}

layered! {
    /// What a cell does; a cell's own over its chemistry's.
    pub struct CellFigures {
        /// Internal resistance at 25 °C, fresh, mid-charge.
        pub resistance: Option<ResistanceFigure>,
        /// `B` of `R(T) = R25 · exp(B · (1/T − 1/298.15 K))`.
        pub resistance_b: Option<TemperatureDifferenceFigure>,
        /// Rise of the resistance towards empty.
        pub resistance_rise: Option<ResistanceRise>,
        /// Self-discharge at 20 °C.
        pub self_discharge: Option<SelfDischargeFigure>,
        /// Temperature rise that doubles the self-discharge.
        pub self_discharge_doubling: Option<TemperatureDifferenceFigure>,
        /// Current of the protection circuit.
        pub protection_current: Option<CurrentFigure>,
        /// Voltage at which the protection circuit cuts off.
        pub protection_cut_off: Option<VoltageFigure>,
        /// Voltage at which a careful design stops.
        pub cut_off: Option<VoltageFigure>,
        /// Largest discharge current.
        pub maximum_current: Option<CurrentFigure>,
        /// Largest charge current.
        pub charge_current: Option<CurrentFigure>,
        /// Largest charge current as a share of the capacity an hour (0.5 for "0.5 C").
        pub charge_rate: Option<RatioFigure>,
        /// Charge voltage.
        pub charge_voltage: Option<VoltageFigure>,
        /// Temperatures at which it may be charged.
        pub charge_temperature: Option<TemperatureWindow>,
        /// Temperatures at which it may be discharged.
        pub discharge_temperature: Option<TemperatureWindow>,
        /// Open-circuit voltage over state of charge.
        pub ocv: Option<OcvTable>,
        /// Capacity over temperature, at low rate.
        pub capacity_at: Vec<CapacityAt>,
        /// Available and bound charge.
        pub two_well: Option<TwoWell>,
        /// Polarisation.
        pub rc: Vec<RcPair>,
        /// Ageing.
        pub ageing: Option<Ageing>,
        /// Shelf life.
        pub shelf_life: Option<Duration>,
        /// Film resistance after one idle day at 20 °C, growing with the root of idle days (lithium–thionyl chloride).
        pub passivation: Option<ResistanceFigure>,
    }
}

record! {
    /// A cell.
    pub struct Cell {
        /// Name, unique among cells.
        pub name: String,
        /// What it is, in words.
        pub about: Option<String>,
        /// Kind of the figures that state none of their own.
        pub kind: Option<Kind>,
        /// Source of the figures that state none of their own.
        pub source: Option<String>,
        /// Its chemistry: a name of `chemistries/`.
        pub chemistry: String,
        /// Its form.
        pub form: Option<CellForm>,
        /// Capacity at low rate and 20 to 25 °C.
        pub capacity: ChargeFigure,
        /// Cells in series, 1 if left out.
        pub in_series: Option<u32>,
        /// Cells in parallel, 1 if left out.
        pub in_parallel: Option<u32>,
        /// State of charge at the start, 100 % if left out.
        pub start_charge: Option<RatioFigure>,
        /// Its lead.
        pub lead: Option<Lead>,
        /// Price of one.
        pub price: Option<Money>,
        /// Figures of its own, over those of its chemistry.
        #[serde(default)]
        pub figures: CellFigures,
    }

    /// A cell chemistry.
    pub struct Chemistry {
        /// Name, unique among chemistries.
        pub name: String,
        /// What it is, in words.
        pub about: Option<String>,
        /// Kind of the figures that state none of their own.
        pub kind: Option<Kind>,
        /// Source of the figures that state none of their own.
        pub source: Option<String>,
        /// Whether it may be charged.
        pub rechargeable: YesNo,
        /// Its figures.
        #[serde(default)]
        pub figures: CellFigures,
        /// What must be said wherever it is used.
        #[serde(default)]
        pub cautions: Vec<String>,
    }

    /// The lead of a cell.
    pub struct Lead {
        /// Pitch of its plug.
        pub pitch: Option<Length>,
        /// The side that is +, measured, never by colour.
        #[serde(default)]
        pub positive_side: Seen<ContactSide>,
    }

    /// Open-circuit voltage over state of charge; linear between the points.
    pub struct OcvTable {
        /// States of charge, rising from 0 to 1.
        pub charge: Vec<Ratio>,
        /// The voltages there.
        pub voltage: Vec<Voltage>,
        /// Temperature of the table.
        pub temperature: Option<Temperature>,
        /// Where it comes from.
        pub kind: Option<Kind>,
        /// Its source in words.
        pub source: Option<String>,
    }

    /// `R(s) = R · (1 + amount · exp(−s / span))`.
    pub struct ResistanceRise {
        /// The amount, 1 for a doubling at empty.
        pub amount: RatioFigure,
        /// The span of state of charge, such as 8 %.
        pub span: RatioFigure,
    }

    /// A window of temperature.
    pub struct TemperatureWindow {
        /// Lowest.
        pub from: Temperature,
        /// Highest.
        pub to: Temperature,
        /// Where it comes from.
        pub kind: Option<Kind>,
        /// Its source in words.
        pub source: Option<String>,
    }

    /// Capacity at one temperature, as a share of that at 25 °C.
    pub struct CapacityAt {
        /// The temperature.
        pub temperature: Temperature,
        /// The share.
        pub share: RatioFigure,
    }

    /// Two-well kinetic model (Manwell & McGowan 1993).
    pub struct TwoWell {
        /// Share of the available well, `c`.
        pub available_share: RatioFigure,
        /// `1 / k′`, the time constant of the valve between the wells.
        pub time_constant: Duration,
    }

    /// One resistor–capacitor pair.
    pub struct RcPair {
        /// Its resistance.
        pub resistance: ResistanceFigure,
        /// Resistance times capacitance.
        pub time_constant: Duration,
    }

    /// Ageing: `loss = k · √years · exp(−(Ea/R)(1/T − 1/298.15 K))`.
    pub struct Ageing {
        /// Loss after one year at 25 °C, mid-charge.
        pub loss_in_first_year: RatioFigure,
        /// The same when held full.
        pub loss_in_first_year_full: Option<RatioFigure>,
        /// Activation energy `Ea`.
        pub activation_energy: Option<MolarEnergyFigure>,
        /// Loss a full equivalent cycle.
        pub loss_per_cycle: Option<RatioFigure>,
    }
}
