//! Cautions, as they stand on screen and paper. Common practice; a cell's data sheet, a local code or a
//! licensed person win over them.

/// A caution.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Caution {
    /// Polarity has no standard.
    Polarity,
    /// Charging current against the cell's limit.
    ChargeCurrent,
    /// Cells that must not be charged, or not like this.
    Chemistry,
    /// Cell temperature while charging.
    ChargeTemperature,
    /// Damaged cells, first charges.
    CellSafety,
    /// A bare bench supply cannot take charging current.
    SupplyLifted,
    /// Sealed enclosures.
    Enclosure,
    /// Mains.
    Mains,
    /// Post and air.
    Transport,
    /// Sites.
    Site,
    /// Forecasts.
    Forecast,
}

impl Caution {
    /// All of them, in the order they are shown.
    pub const ALL: [Self; 11] = [
        Self::Polarity,
        Self::ChargeCurrent,
        Self::Chemistry,
        Self::ChargeTemperature,
        Self::CellSafety,
        Self::SupplyLifted,
        Self::Enclosure,
        Self::Mains,
        Self::Transport,
        Self::Site,
        Self::Forecast,
    ];

    /// The text.
    pub fn text(self) -> &'static str {
        match self {
            Self::Polarity => {
                "Polarity is not standard: measure both contacts of every specimen and both wires of \
                 every cell. Never trust the colour."
            }
            Self::ChargeCurrent => {
                "The charging current must not exceed the cell's data sheet (often 0.5 C, less for \
                 small pouches)."
            }
            Self::Chemistry => {
                "Never charge primary cells; keep them away from any charger input or panel. LiFePO4 \
                 needs about 3.6 V, never a 4.2 V charger. Li-SOCl2 is corrosive and toxic inside: \
                 never short, crush, overheat or solder to the can."
            }
            Self::ChargeTemperature => {
                "No charging of Li-ion below 0 °C or above 45 °C cell temperature unless the cell's \
                 maker allows it; the forecast is no protection."
            }
            Self::CellSafety => {
                "Don't bypass the protection. Don't charge cells below about 2.5 V, swollen, \
                 punctured or hot. Stay with a first charge, on a surface that does not burn, and know \
                 how you would put it outside."
            }
            Self::SupplyLifted => {
                "A bench supply cannot take charging current and is lifted to 4.2 V: use a real cell, \
                 or load the supply in parallel above the charging current."
            }
            Self::Enclosure => {
                "Sealed enclosure: let pressure out, keep cells out of the sun, relieve the strain on \
                 leads, put a fuse near the cell, no loose cells with metal."
            }
            Self::Mains => {
                "Mains chargers: an approved isolated supply, no bare mains. Fixed wiring is for \
                 licensed people under the local code."
            }
            Self::Transport => {
                "Lithium cells by post or air: rules on state of charge, damaged cells are banned. Ask \
                 the carrier. Recycle."
            }
            Self::Site => {
                "Climbing, water, road and bridge sites: permission and competent access first."
            }
            Self::Forecast => {
                "Estimate; not a safety function. Where it and a cell's data sheet, a local code or a \
                 licensed person differ, they win."
            }
        }
    }
}
