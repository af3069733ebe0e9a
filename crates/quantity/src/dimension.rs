//! Dimensions: what kind of quantity a text must be, with the units that fit.

use crate::units::{Conversion, DAY_S, HOUR_S, MONTH_S, Unit, YEAR_S, unit};

/// All that parsing, printing and error messages need to know of a dimension.
pub struct DimensionInfo {
    /// Name with its article: `a current`.
    pub name: &'static str,
    /// The units that fit, as shown in help.
    pub fits: &'static str,
    /// Texts of this dimension as the trade writes them.
    pub examples: &'static [&'static str],
    /// The SI unit of the value inside.
    pub si_unit: &'static str,
    /// A number without a unit is meant (a ratio).
    pub(crate) bare_number: bool,
    pub(crate) units: &'static [Unit],
    /// Units of printing, ascending: symbol, factor to SI, smallest absolute SI value printed in it.
    pub(crate) ladder: &'static [(&'static str, f64, f64)],
}

impl std::fmt::Debug for DimensionInfo {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name)
    }
}

impl PartialEq for DimensionInfo {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

impl Eq for DimensionInfo {}

/// A marker type for one dimension.
pub trait Dimension:
    Clone + Copy + std::fmt::Debug + Default + PartialEq + Send + Sync + 'static
{
    /// The dimension's table.
    const INFO: &'static DimensionInfo;
}

macro_rules! dimensions {
    ($($(#[$doc:meta])* $marker:ident = $constant:ident {
        name: $name:literal, si: $si:literal, fits: $fits:literal, examples: $examples:expr, bare: $bare:literal,
        units: [$($unit:expr),* $(,)?], ladder: [$($step:expr),* $(,)?] $(,)?
    })*) => {
        $(
            $(#[$doc])*
            #[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
            pub struct $marker;
            static $constant: DimensionInfo = DimensionInfo {
                name: $name, fits: $fits, examples: $examples, si_unit: $si, bare_number: $bare,
                units: &[$($unit),*], ladder: &[$($step),*],
            };
            impl Dimension for $marker {
                const INFO: &'static DimensionInfo = &$constant;
            }
        )*
        /// Every dimension, in the order in which an unlabelled text is tried.
        pub static ALL_DIMENSIONS: &[&DimensionInfo] = &[$(&$constant),*];
    };
}

const PERCENT: f64 = 0.01;

dimensions! {
    /// Electric current, amperes.
    CurrentDimension = CURRENT {
        name: "a current", si: "A", fits: "nA, µA, mA, A", examples: &["12.6 µA", "12.6(4) µA", "53 mA ± 2 %"], bare: false,
        units: [unit(&["A", "amp", "amps", "ampere", "amperes"], "pnµmk", 1.0)],
        ladder: [("pA", 1e-12, 0.0), ("nA", 1e-9, 1e-9), ("µA", 1e-6, 1e-7), ("mA", 1e-3, 1e-3), ("A", 1.0, 1.0)],
    }
    /// Electric potential difference, volts.
    VoltageDimension = VOLTAGE {
        name: "a voltage", si: "V", fits: "µV, mV, V", examples: &["3.80 V", "0.17 V", "20 mV"], bare: false,
        units: [unit(&["V", "volt", "volts"], "nµmk", 1.0)],
        ladder: [("nV", 1e-9, 0.0), ("µV", 1e-6, 1e-6), ("mV", 1e-3, 1e-3), ("V", 1.0, 0.1)],
    }
    /// Electric charge, coulombs.
    ChargeDimension = CHARGE {
        name: "a charge", si: "C", fits: "µC, mC, C, µAh, mAh, Ah", examples: &["2500 mAh", "2.5 Ah", "190 mC"], bare: false,
        units: [unit(&["C", "coulomb", "coulombs", "As", "A*s"], "nµm", 1.0), unit(&["Ah", "A*h"], "µmk", HOUR_S)],
        ladder: [("nC", 1e-9, 0.0), ("µC", 1e-6, 1e-6), ("mC", 1e-3, 1e-3), ("C", 1.0, 1.0), ("mAh", 3.6, 36.0), ("Ah", HOUR_S, 36_000.0)],
    }
    /// Time, seconds.
    DurationDimension = DURATION {
        name: "a duration", si: "s", fits: "µs, ms, s, min, h, d, wk, months, yr", examples: &["15 min", "2.2 s", "9 months", "3 yr"], bare: false,
        units: [
            unit(&["s", "sec", "second", "seconds"], "nµm", 1.0), unit(&["min", "minute", "minutes"], "", 60.0),
            unit(&["h", "hr", "hour", "hours"], "", HOUR_S), unit(&["d", "day", "days"], "", DAY_S), unit(&["wk", "week", "weeks"], "", 7.0 * DAY_S),
            unit(&["month", "months"], "", MONTH_S), unit(&["yr", "year", "years", "a"], "", YEAR_S),
        ],
        ladder: [
            ("ns", 1e-9, 0.0), ("µs", 1e-6, 1e-6), ("ms", 1e-3, 1e-3), ("s", 1.0, 1.0), ("min", 60.0, 120.0), ("h", HOUR_S, 7200.0),
            ("d", DAY_S, 2.0 * DAY_S), ("yr", YEAR_S, 2.0 * YEAR_S),
        ],
    }
    /// Resistance, ohms; also the burden of a meter, written as volts per ampere.
    ResistanceDimension = RESISTANCE {
        name: "a resistance", si: "Ω", fits: "mΩ, Ω, kΩ, MΩ (or mohm, ohm, kohm, Mohm)", examples: &["0.18 Ω", "100 kΩ", "1.8 mV/mA"], bare: false,
        units: [
            unit(&["Ω", "ohm", "ohms", "Ohm"], "µmkMG", 1.0), unit(&["V/A", "mV/mA", "µV/µA", "uV/uA"], "", 1.0), unit(&["mV/A"], "", 1e-3),
            unit(&["mV/µA", "mV/uA"], "", 1e3), unit(&["V/mA"], "", 1e3),
        ],
        ladder: [("µΩ", 1e-6, 0.0), ("mΩ", 1e-3, 1e-3), ("Ω", 1.0, 0.1), ("kΩ", 1e3, 1e3), ("MΩ", 1e6, 1e6), ("GΩ", 1e9, 1e9)],
    }
    /// Capacitance, farads.
    CapacitanceDimension = CAPACITANCE {
        name: "a capacitance", si: "F", fits: "pF, nF, µF, mF, F", examples: &["470 µF", "0.1 F"], bare: false,
        units: [unit(&["F", "farad", "farads"], "pnµm", 1.0)],
        ladder: [("pF", 1e-12, 0.0), ("nF", 1e-9, 1e-9), ("µF", 1e-6, 1e-6), ("mF", 1e-3, 1e-2), ("F", 1.0, 0.1)],
    }
    /// Power, watts.
    PowerDimension = POWER {
        name: "a power", si: "W", fits: "µW, mW, W, kW", examples: &["0.3 W", "41 µW"], bare: false,
        units: [unit(&["W", "watt", "watts"], "nµmk", 1.0)],
        ladder: [("nW", 1e-9, 0.0), ("µW", 1e-6, 1e-6), ("mW", 1e-3, 1e-3), ("W", 1.0, 1.0), ("kW", 1e3, 1e3)],
    }
    /// Energy, joules.
    EnergyDimension = ENERGY {
        name: "an energy", si: "J", fits: "µJ, mJ, J, kJ, mWh, Wh, kWh", examples: &["0.6 J", "9.25 Wh"], bare: false,
        units: [unit(&["J", "joule", "joules", "Ws"], "nµmk", 1.0), unit(&["Wh"], "µmk", HOUR_S)],
        ladder: [("nJ", 1e-9, 0.0), ("µJ", 1e-6, 1e-6), ("mJ", 1e-3, 1e-3), ("J", 1.0, 1.0), ("mWh", 3.6, 360.0), ("Wh", HOUR_S, HOUR_S), ("kWh", 3.6e6, 3.6e6)],
    }
    /// Temperature, kelvin inside, degrees Celsius written.
    TemperatureDimension = TEMPERATURE {
        name: "a temperature", si: "K", fits: "°C, K", examples: &["22 °C", "-10 °C"], bare: false,
        units: [
            Unit { symbols: &["°C", "degC", "℃"], prefixes: "", conversion: Conversion::Offset(273.15) }, unit(&["K", "kelvin"], "", 1.0),
        ],
        ladder: [("°C", 1.0, 0.0)],
    }
    /// Difference of two temperatures, kelvin; also the B value of a resistance.
    TemperatureDifferenceDimension = TEMPERATURE_DIFFERENCE {
        name: "a temperature difference", si: "K", fits: "K", examples: &["8 K", "2500 K"], bare: false,
        units: [unit(&["K", "kelvin", "°C", "degC"], "m", 1.0)],
        ladder: [("K", 1.0, 0.0)],
    }
    /// Length, metres.
    LengthDimension = LENGTH {
        name: "a length", si: "m", fits: "µm, mm, cm, m, km", examples: &["25.4 mm", "0.1 m"], bare: false,
        units: [unit(&["m", "metre", "metres"], "nµmk", 1.0), unit(&["cm"], "", 1e-2), unit(&["in", "inch"], "", 0.0254), unit(&["mil"], "", 2.54e-5)],
        ladder: [("µm", 1e-6, 0.0), ("mm", 1e-3, 1e-4), ("m", 1.0, 1.0), ("km", 1e3, 1e4)],
    }
    /// Mass, kilograms.
    MassDimension = MASS {
        name: "a mass", si: "kg", fits: "mg, g, kg", examples: &["3.1 g"], bare: false,
        units: [unit(&["g", "gram", "grams"], "µmk", 1e-3)],
        ladder: [("mg", 1e-6, 0.0), ("g", 1e-3, 1e-3), ("kg", 1.0, 1.0)],
    }
    /// Rate of self-discharge, 1/s: the exponential rate `λ = −ln(1 − share) / period`.
    SelfDischargeDimension = SELF_DISCHARGE {
        name: "a self-discharge rate", si: "1/s", fits: "%/d, %/month, %/yr", examples: &["2 %/month", "1 %/yr"], bare: false,
        units: [
            Unit { symbols: &["%/month", "%/mo"], prefixes: "", conversion: Conversion::LossPercentPer(MONTH_S) },
            Unit { symbols: &["%/yr", "%/year", "%/a"], prefixes: "", conversion: Conversion::LossPercentPer(YEAR_S) },
            Unit { symbols: &["%/d", "%/day"], prefixes: "", conversion: Conversion::LossPercentPer(DAY_S) },
            Unit { symbols: &["%/wk", "%/week"], prefixes: "", conversion: Conversion::LossPercentPer(7.0 * DAY_S) },
        ],
        ladder: [("%/yr", YEAR_S, 0.0), ("%/month", MONTH_S, 0.003 / MONTH_S), ("%/d", DAY_S, 0.02 / DAY_S)],
    }
    /// Daily irradiation as its mean power, W/m².
    IrradiationDimension = IRRADIATION {
        name: "a daily irradiation", si: "W/m²", fits: "kWh/m² per day, MJ/m² per day, Wh/m² per day", examples: &["1.15 kWh/m²/d"], bare: false,
        units: [
            unit(&["kWh/m2/d", "kWh/m2/day", "kWh/m2", "kWh/(m2*d)", "kWh/m2d"], "", 1e3 / 24.0),
            unit(&["Wh/m2/d", "Wh/m2/day", "Wh/m2"], "", 1.0 / 24.0), unit(&["MJ/m2/d", "MJ/m2/day", "MJ/m2"], "", 1e6 / DAY_S),
            unit(&["W/m2"], "", 1.0),
        ],
        ladder: [("kWh/m²/d", 1e3 / 24.0, 0.0)],
    }
    /// Plane angle, radians; `S` and `W` count negative.
    AngleDimension = ANGLE {
        name: "an angle", si: "rad", fits: "°, ° N, ° S, ° E, ° W, rad", examples: &["75°", "47.1° N"], bare: false,
        units: [
            unit(&["°", "deg", "degree", "degrees", "°N", "°E"], "", std::f64::consts::PI / 180.0),
            unit(&["°S", "°W"], "", -std::f64::consts::PI / 180.0), unit(&["rad"], "m", 1.0),
        ],
        ladder: [("°", std::f64::consts::PI / 180.0, 0.0)],
    }
    /// Frequency, hertz.
    FrequencyDimension = FREQUENCY {
        name: "a frequency", si: "Hz", fits: "Hz, kHz, MHz, GHz", examples: &["17.5 kHz", "80 MHz"], bare: false,
        units: [unit(&["Hz", "hertz"], "mkMG", 1.0)],
        ladder: [("mHz", 1e-3, 0.0), ("Hz", 1.0, 1.0), ("kHz", 1e3, 1e3), ("MHz", 1e6, 1e6), ("GHz", 1e9, 1e9)],
    }
    /// A pure number: `80 %`, `0.8`, `20 ppm`.
    RatioDimension = RATIO {
        name: "a ratio", si: "1", fits: "%, ‰, ppm, or no unit", examples: &["80 %", "0.8"], bare: true,
        units: [unit(&["%", "percent"], "", PERCENT), unit(&["‰"], "", 1e-3), unit(&["ppm"], "", 1e-6)],
        ladder: [("%", PERCENT, 0.0)],
    }
    /// Relative change with temperature, 1/K.
    TemperatureCoefficientDimension = TEMPERATURE_COEFFICIENT {
        name: "a temperature coefficient", si: "1/K", fits: "%/K, %/°C, ppm/K", examples: &["-0.35 %/K"], bare: false,
        units: [unit(&["%/K", "%/°C"], "", PERCENT), unit(&["ppm/K", "ppm/°C"], "", 1e-6), unit(&["1/K"], "", 1.0)],
        ladder: [("%/K", PERCENT, 0.0)],
    }
    /// Thermal resistance, K/W.
    ThermalResistanceDimension = THERMAL_RESISTANCE {
        name: "a thermal resistance", si: "K/W", fits: "K/W, °C/W", examples: &["130 K/W"], bare: false,
        units: [unit(&["K/W", "°C/W"], "", 1.0)],
        ladder: [("K/W", 1.0, 0.0)],
    }
    /// Energy a mole, J/mol: an activation energy.
    MolarEnergyDimension = MOLAR_ENERGY {
        name: "an activation energy", si: "J/mol", fits: "J/mol, kJ/mol", examples: &["50 kJ/mol"], bare: false,
        units: [unit(&["J/mol"], "k", 1.0)],
        ladder: [("J/mol", 1.0, 0.0), ("kJ/mol", 1e3, 1e3)],
    }
}
