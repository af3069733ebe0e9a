//! Physical quantities as the trade writes them: units, parsing with positions, rounding and printing.
//!
//! ```
//! use overwinter_quantity::{Current, Spread};
//!
//! let sleep: Current = "12.6 ± 0.7 µA (k = 2)".parse()?;
//! assert!((sleep.si() - 12.6e-6).abs() < 1e-18);
//! assert!((sleep.standard_uncertainty().unwrap() - 0.35e-6).abs() < 1e-18);
//! assert_eq!(sleep.to_string(), "12.6 ± 0.7 µA (k = 2)");
//! # Ok::<(), overwinter_quantity::ParseError>(())
//! ```
//!
//! # What can be written
//!
//! | text | meaning |
//! |---|---|
//! | `12.6 µA`, `12.6 uA` | a value, spread not stated |
//! | `12.6(4) µA` | standard uncertainty 0.4 in the last digit |
//! | `12.6 ± 0.7 µA (k = 2)` | expanded uncertainty, `u = 0.7 / 2` |
//! | `53 mA ± 2 %` | limits of a rectangular distribution, `u = 0.02 · 53 mA / √3` |
//! | `80 to 300 µA` | limits of a rectangular distribution, the value is the middle |
//! | `< 3 µA`, `> 1 MΩ` | only a bound is known |
//!
//! A `±` without `(k = …)` is read as the limits of a rectangular distribution (JCGM 100:2008, 4.3.7), because
//! data sheets and meter manuals write their limits so; a person who means a standard uncertainty writes
//! `12.6(4)` or `(k = 1)`.

#![forbid(unsafe_code)]

mod accuracy;
mod any;
mod dimension;
mod error;
mod money;
mod parse;
mod print;
mod quantity;
mod units;

pub use accuracy::{Accuracy, Floor};
pub use any::AnyQuantity;
pub use dimension::{
    ALL_DIMENSIONS, AngleDimension, CapacitanceDimension, ChargeDimension, CurrentDimension,
    Dimension, DimensionInfo, DurationDimension, EnergyDimension, FrequencyDimension,
    IrradiationDimension, LengthDimension, MassDimension, MolarEnergyDimension, PowerDimension,
    RatioDimension, ResistanceDimension, SelfDischargeDimension, TemperatureCoefficientDimension,
    TemperatureDifferenceDimension, TemperatureDimension, ThermalResistanceDimension,
    VoltageDimension,
};
pub use error::{ParseError, ParseErrorKind};
pub use money::Money;
pub use print::{Notation, UNKNOWN, round_to_uncertainty};
pub use quantity::{
    Angle, Capacitance, Charge, Current, Duration, Energy, Frequency, Irradiation, Length, Mass,
    MolarEnergy, OfDimension, Power, Quantity, Ratio, Resistance, SelfDischarge, Spread,
    Temperature, TemperatureCoefficient, TemperatureDifference, ThermalResistance, Untyped,
    Voltage,
};
pub use units::{DAY_S, HOUR_S, MONTH_S, YEAR_S};
