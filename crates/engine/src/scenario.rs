//! A whole question: load, path, cell, climate.

use crate::cell::Cell;
use crate::climate::Climate;
use crate::load::Load;
use crate::path::SupplyPath;

/// Everything a forecast needs.
///
/// For many draws of uncertain inputs keep one scenario and change its fields in place: a forecast
/// through [`Engine::life`](crate::forecast::Engine::life) then allocates nothing.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    /// What the board draws.
    pub load: Load,
    /// From cell to rail.
    pub path: SupplyPath,
    /// The cell.
    pub cell: Cell,
    /// Where it stands.
    pub climate: Climate,
    /// Where to stop looking; at most 200 years.
    pub horizon_s: f64,
}
