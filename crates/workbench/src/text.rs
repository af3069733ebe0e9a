//! Numbers as people read them, by the printing rules of `overwinter-quantity`.

use overwinter_quantity::{
    Charge, Current, DAY_S, Duration, Notation, Quantity, Ratio, Resistance, SelfDischarge, Spread,
    TemperatureDifference, Voltage,
};
use overwinter_statistics::Figure;

/// What kind of quantity an input is: decides how it is printed and in which unit a sensitivity is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A small current, told per µA.
    SmallCurrent,
    /// A peak current, told per mA.
    PeakCurrent,
    /// The charge of a wake, told per mC.
    WakeCharge,
    /// The charge of a cell, told per mAh.
    CellCharge,
    /// A resistance, told per mΩ.
    Resistance,
    /// A voltage, told per 10 mV.
    Voltage,
    /// A rate of self-discharge, told per %/month.
    SelfDischarge,
    /// A share, told per %.
    Share,
    /// A temperature difference, told per K.
    Kelvin,
}

impl Kind {
    /// A value in SI with its standard uncertainty, as the trade prints it (`k = 2`).
    pub fn text(self, si: f64, standard_uncertainty: Option<f64>) -> String {
        fn print<D: overwinter_quantity::Dimension>(si: f64, u: Option<f64>) -> String {
            match u.filter(|u| *u > 0.0) {
                Some(u) => Quantity::<D>::from_si(si)
                    .with_spread(Spread::Standard { u })
                    .in_notation(Notation::Expanded { k: 2.0 }),
                None => Quantity::<D>::from_si(si).value_text(4),
            }
        }
        use overwinter_quantity as q;
        match self {
            Self::SmallCurrent | Self::PeakCurrent => {
                print::<q::CurrentDimension>(si, standard_uncertainty)
            }
            Self::WakeCharge => {
                let unit = Unit { symbol: "mC", per_si: 1e3 };
                unit.text(si, standard_uncertainty)
            }
            Self::CellCharge => {
                let unit = Unit { symbol: "mAh", per_si: 1.0 / 3.6 };
                unit.text(si, standard_uncertainty)
            }
            Self::Resistance => print::<q::ResistanceDimension>(si, standard_uncertainty),
            Self::Voltage => print::<q::VoltageDimension>(si, standard_uncertainty),
            Self::SelfDischarge => print::<q::SelfDischargeDimension>(si, standard_uncertainty),
            Self::Share => print::<q::RatioDimension>(si, standard_uncertainty),
            Self::Kelvin => print::<q::TemperatureDifferenceDimension>(si, standard_uncertainty),
        }
    }

    /// A figure with its uncertainty.
    pub fn figure(self, figure: &Figure) -> String {
        self.text(figure.value(), Some(figure.standard_uncertainty()))
    }

    /// The step a sensitivity is told for: its name and its size in SI.
    pub fn step(self) -> (&'static str, f64) {
        match self {
            Self::SmallCurrent => ("µA", 1e-6),
            Self::PeakCurrent => ("mA", 1e-3),
            Self::WakeCharge => ("mC", 1e-3),
            Self::CellCharge => ("mAh", 3.6),
            Self::Resistance => ("mΩ", 1e-3),
            Self::Voltage => ("10 mV", 0.01),
            Self::SelfDischarge => ("%/month", 0.01 / overwinter_quantity::MONTH_S),
            Self::Share => ("%", 0.01),
            Self::Kelvin => ("K", 1.0),
        }
    }
}

struct Unit {
    symbol: &'static str,
    per_si: f64,
}

impl Unit {
    fn text(&self, si: f64, standard_uncertainty: Option<f64>) -> String {
        let value = si * self.per_si;
        match standard_uncertainty.filter(|u| *u > 0.0) {
            Some(u) => {
                let (value, width) =
                    overwinter_quantity::round_to_uncertainty(value, 2.0 * u * self.per_si, 2);
                format!("{value} ± {width} {} (k = 2)", self.symbol)
            }
            None => format!("{} {}", significant(value, 4), self.symbol),
        }
    }
}

/// A number to at most `figures` significant figures, without trailing zeros.
pub fn significant(value: f64, figures: u8) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let exponent = libm::floor(libm::log10(value.abs())) as i32;
    let decimals = usize::try_from(i32::from(figures) - 1 - exponent).unwrap_or(0);
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// Seconds as days.
pub fn days(seconds: f64) -> f64 {
    seconds / DAY_S
}

/// A life for reading: `31.9 h`, `196 d`, `2.64 yr`.
pub fn life(seconds: f64) -> String {
    if seconds <= 0.0 {
        return "0 d".to_owned();
    }
    let (value, unit) = match seconds {
        s if s < 3600.0 => (s / 60.0, "min"),
        s if s < 3.0 * DAY_S => (s / 3600.0, "h"),
        s if s < 1000.0 * DAY_S => (s / DAY_S, "d"),
        s => (s / overwinter_quantity::YEAR_S, "yr"),
    };
    format!("{} {unit}", significant(value, 3))
}

/// A duration for reading.
pub fn duration(seconds: f64) -> String {
    Duration::from_si(seconds).value_text(4)
}

/// A share as a whole percentage; shares that are not quite 0 or 1 never print as such.
pub fn percent(share: f64) -> String {
    match share * 100.0 {
        p if p <= 0.0 => "0 %".to_owned(),
        p if p < 1.0 => "< 1 %".to_owned(),
        p if p >= 100.0 => "100 %".to_owned(),
        p if p > 99.0 => "> 99 %".to_owned(),
        p => format!("{p:.0} %"),
    }
}

/// Short texts of single quantities.
pub fn current(si: f64) -> String {
    Current::from_si(si).value_text(3)
}

/// A voltage.
pub fn voltage(si: f64) -> String {
    Voltage::from_si(si).value_text(4)
}

/// A resistance.
pub fn resistance(si: f64) -> String {
    Resistance::from_si(si).value_text(3)
}

/// A charge in the engineering unit of its size.
pub fn charge(si: f64) -> String {
    Charge::from_si(si).value_text(4)
}

/// A share as the quantity prints it.
pub fn ratio(si: f64) -> String {
    Ratio::from_si(si).value_text(3)
}

/// A temperature difference.
pub fn kelvin(si: f64) -> String {
    TemperatureDifference::from_si(si).value_text(3)
}

/// A self-discharge rate.
pub fn self_discharge(si: f64) -> String {
    SelfDischarge::from_si(si).value_text(3)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lives_and_shares_read_well() {
        assert_eq!(life(31.9 * 3600.0), "31.9 h");
        assert_eq!(life(195.8 * DAY_S), "196 d");
        assert_eq!(life(2.64 * overwinter_quantity::YEAR_S), "964 d");
        assert_eq!(life(4.0 * overwinter_quantity::YEAR_S), "4 yr");
        assert_eq!(percent(0.999), "> 99 %");
        assert_eq!(percent(0.0), "0 %");
        assert_eq!(percent(0.004), "< 1 %");
    }

    #[test]
    fn figures_print_as_the_trade_does() {
        assert_eq!(Kind::SmallCurrent.text(12.6e-6, Some(0.35e-6)), "12.6 ± 0.7 µA (k = 2)");
        assert_eq!(Kind::WakeCharge.text(0.19, None), "190 mC");
        assert_eq!(Kind::CellCharge.text(9000.0, Some(90.0)), "2500 ± 50 mAh (k = 2)");
    }
}
