//! What is assumed where a document states no spread: one table, printed with every result that used it.
//!
//! A value without a stated spread is not exact. Until a document says better, its relative standard uncertainty is taken
//! from here and the input's origin says "spread assumed". All of it is common practice without a source.

/// Relative standard uncertainty of a cell's capacity (sorted cells of one batch differ by a few per cent).
pub const CELL_CAPACITY: f64 = 0.04;
/// Of a cell's resistance.
pub const CELL_RESISTANCE: f64 = 0.20;
/// Of a self-discharge rate.
pub const SELF_DISCHARGE: f64 = 0.30;
/// Of a protection circuit's own current.
pub const PROTECTION_CURRENT: f64 = 0.30;
/// Of the calendar loss in the first year.
pub const AGEING_LOSS: f64 = 0.30;
/// Of the charge of one run of an activity.
pub const ACTIVITY_CHARGE: f64 = 0.05;
/// Of a peak current.
pub const PEAK_CURRENT: f64 = 0.05;
/// Of a sleep current whose uncertainty is unknown (no instrument written down).
pub const SLEEP_CURRENT: f64 = 0.10;
/// Of an always-on part's current.
pub const ALWAYS_ON: f64 = 0.20;
/// Of a regulator's ground current.
pub const GROUND_CURRENT: f64 = 0.25;
/// Of a ground current in dropout, which differs from device to device.
pub const GROUND_IN_DROPOUT: f64 = 0.50;
/// Of a dropout voltage.
pub const DROPOUT: f64 = 0.10;
/// Of a reset threshold.
pub const RESET_THRESHOLD: f64 = 0.01;
/// Standard uncertainty of the temperatures as a whole, K.
pub const TEMPERATURE_K: f64 = 1.0;

/// Spread of the sleep current between specimens before any was compared: coefficient of variation, that of
/// [`overwinter_figures::specimens::SpreadPrior`]'s default.
pub const SPECIMEN_SPREAD: f64 = 0.20;
