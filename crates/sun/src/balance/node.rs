//! One node in the field: bank and load, source, and how it behaves when the input comes and goes.

use super::tables::NodeTables;
use crate::charger::Source;

/// Does the board keep running when the input vanishes?
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RideThrough {
    /// At every cell voltage.
    Always,
    /// Never.
    Never,
    /// Only above this cell voltage, V (the low-cell ride-through trap).
    AboveCellV(f64),
    /// Nobody has measured it: resets lie between none and one for each lost input.
    Unknown,
}

/// A node: tables, source and habits.
#[derive(Debug, Clone)]
pub struct Node<'a> {
    /// Cell and load.
    pub tables: &'a NodeTables,
    /// Panel, coupling, charger.
    pub source: &'a Source,
    /// Does it keep running when the input vanishes?
    pub ride_through: RideThrough,
    /// Does it keep running when the input comes? Every input that is lost came before, so a reset at each end counts twice.
    pub attach: RideThrough,
    /// How much warmer the cell is than the air, K.
    pub cell_above_air_k: f64,
    /// State of charge above the lowest usable one at which a dark board starts again (0…1).
    pub restart_margin: f64,
    /// Time from a reset to the next possible one, s: caps the resets of a chattering input.
    pub boot_s: f64,
    /// Charge at the start, as a share of the capacity.
    pub start_state: f64,
    /// State of charge from which hours count as full (and age the cell).
    pub full_state: f64,
    /// Temperatures at which the cell's maker allows charging, °C; counts the hours of frost charging, whatever the charger does.
    pub cell_window_c: (f64, f64),
}

impl<'a> Node<'a> {
    /// A node with usual habits: ride-through unknown, no reset when the input comes, cell as warm as the air, starts full, restarts 5 % above the lowest usable state, a second to
    /// boot, full from 95 %, lithium-ion charge window 0…45 °C.
    pub fn new(tables: &'a NodeTables, source: &'a Source) -> Self {
        Self {
            tables,
            source,
            ride_through: RideThrough::Unknown,
            attach: RideThrough::Always,
            cell_above_air_k: 0.0,
            restart_margin: 0.05,
            boot_s: 1.0,
            start_state: 1.0,
            full_state: 0.95,
            cell_window_c: (0.0, 45.0),
        }
    }

    /// Into how many parts a step must be cut so that neither load nor charger moves the bank by more than a quarter of its usable charge in one part.
    ///
    /// Load and charge inside a part are exact for constant conditions; the cut keeps the voltage at which the panel and the load are taken
    /// honest. 1 for a bank of days.
    pub fn substeps(&self, step_s: f64) -> u32 {
        let usable = self.tables.usable_c(10.0).max(1e-9);
        let flow = self
            .tables
            .load_a(10.0)
            .max(self.source.charger.set_current_a.min(self.source.panel.light_current_a));
        libm::ceil(flow * step_s / (0.25 * usable)).clamp(1.0, 60.0) as u32
    }
}
