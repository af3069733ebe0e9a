//! Printing by rule: engineering units, the uncertainty to at most two significant figures, the value to the same place.

use std::fmt;

use crate::dimension::{Dimension, DimensionInfo};
use crate::quantity::{Quantity, Spread};
use crate::units::{DAY_S, MONTH_S, YEAR_S};

/// How an unknown figure is printed; never as 0.
pub const UNKNOWN: &str = "unknown";

/// How a value with a standard uncertainty is written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Notation {
    /// `12.6 ± 0.7 µA (k = 2)`
    Expanded {
        /// The coverage factor.
        k: f64,
    },
    /// `12.60(35) µA`: standard uncertainty in the last digits.
    Concise {
        /// Significant figures of the uncertainty, 1 or 2.
        figures: u8,
    },
}

/// Value and uncertainty rounded to the same place: the uncertainty to `figures` significant figures (half away from
/// zero), the value to that place. Returns both as text without unit. Source of the rule: JCGM 100:2008, 7.2.6.
pub fn round_to_uncertainty(value: f64, uncertainty: f64, figures: u8) -> (String, String) {
    if uncertainty <= 0.0 || !uncertainty.is_finite() || !value.is_finite() {
        return (significant(value, 6), significant(uncertainty, 2));
    }
    let mut places = i32::from(figures) - 1 - exponent(uncertainty);
    if round_places(uncertainty, places) >= libm::pow(10.0, f64::from(exponent(uncertainty) + 1)) {
        places -= 1;
    }
    (at_places(value, places), at_places(uncertainty, places))
}

/// Decimal exponent of a positive number.
fn exponent(value: f64) -> i32 {
    // Through the shortest exact text: log10 is off by one next to powers of ten.
    let text = format!("{value:e}");
    text.split_once('e').and_then(|(_, exponent)| exponent.parse().ok()).unwrap_or(0)
}

/// `value` rounded at `places` decimals (negative: tens, hundreds …), half away from zero in its shortest decimal text.
fn round_places(value: f64, places: i32) -> f64 {
    at_places(value, places).parse().unwrap_or(value)
}

/// `value` at `places` decimals as text. Decides the halves on the shortest decimal text of the float, so that 0.35
/// rounds to 0.4 although the binary number lies below it.
fn at_places(value: f64, places: i32) -> String {
    let text = format!("{:e}", value.abs());
    let (mantissa, power) = text.split_once('e').unwrap_or((&text, "0"));
    let power: i32 = power.parse().unwrap_or(0);
    let mut digits: Vec<u8> =
        mantissa.bytes().filter(u8::is_ascii_digit).map(|b| b - b'0').collect();
    // The digit of place 10^p has index power − p.
    let keep = power + places + 1;
    let mut carry_power = power;
    if keep < 0 {
        digits = vec![0];
    } else {
        let keep = keep as usize;
        let up = digits.get(keep).is_some_and(|&d| d >= 5);
        digits.truncate(keep);
        if up {
            let mut index = keep;
            loop {
                if index == 0 {
                    digits.insert(0, 1);
                    carry_power += 1;
                    break;
                }
                index -= 1;
                if digits[index] == 9 {
                    digits[index] = 0;
                } else {
                    digits[index] += 1;
                    break;
                }
            }
        }
        if digits.is_empty() {
            digits.push(0);
        }
    }
    let zero = digits.iter().all(|&d| d == 0);
    let mut out = String::new();
    if value < 0.0 && !zero {
        out.push('-');
    }
    let digit = |place: i32| -> char {
        let index = carry_power - place;
        let known = usize::try_from(index).ok().and_then(|index| digits.get(index)).copied();
        char::from(b'0' + if zero { 0 } else { known.unwrap_or(0) })
    };
    for place in (0..=carry_power.max(0)).rev() {
        out.push(digit(place));
    }
    if places > 0 {
        out.push('.');
        for place in 1..=places {
            out.push(digit(-place));
        }
    }
    if zero { at_zero(places) } else { out }
}

fn at_zero(places: i32) -> String {
    match usize::try_from(places) {
        Ok(places) if places > 0 => format!("0.{}", "0".repeat(places)),
        _ => "0".to_owned(),
    }
}

/// At most `figures` significant figures, trailing zeros after the point removed.
pub(crate) fn significant(value: f64, figures: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return if value == 0.0 { "0".to_owned() } else { UNKNOWN.to_owned() };
    }
    let text = at_places(value, (figures - 1 - exponent(value.abs())).max(0));
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// The unit in which a value is printed: symbol, value and width in it. `rounded` is the text of the value (and width)
/// as it will be printed: the unit follows what is printed, so that 999.6 mA to three figures is 1.00 A, not 1000 mA.
fn in_unit(
    info: &'static DimensionInfo,
    si: f64,
    width: f64,
    rounded: impl Fn(f64, f64) -> String,
) -> (&'static str, f64, f64) {
    match info.si_unit {
        "K" if info.name == "a temperature" => ("°C", round12(si - 273.15), width),
        "1/s" => loss(si, width),
        _ => {
            let size = if si == 0.0 { width } else { si.abs() };
            let steps = info.ladder;
            let at = |size: f64| {
                steps.iter().rposition(|(_, _, from)| size >= *from * (1.0 - 1e-12)).unwrap_or(0)
            };
            // A plain zero has no size: it is told in the SI unit.
            let whole = steps.iter().position(|(_, factor, _)| size == 0.0 && *factor == 1.0);
            let mut step = whole.unwrap_or_else(|| at(size));
            if si != 0.0 {
                let (_, factor, _) = steps[step];
                let text = rounded(divide(si, factor), round12(divide(width, factor)));
                let printed = text.parse::<f64>().map_or(size, |value| value.abs() * factor);
                step = step.max(at(printed));
            }
            let (symbol, factor, _) = steps[step];
            (symbol, divide(si, factor), divide(width, factor))
        }
    }
}

fn divide(si: f64, factor: f64) -> f64 {
    // Multiplying by the whole number 1/factor keeps 12.6e-6 A at 12.6 µA.
    let inverse = (1.0 / factor).round();
    if factor < 1.0 && 1.0 / inverse == factor {
        round12(si * inverse)
    } else {
        round12(si / factor)
    }
}

/// Drops the noise of the last bits: twelve significant decimal figures.
fn round12(value: f64) -> f64 {
    format!("{value:.11e}").parse().unwrap_or(value)
}

/// Self-discharge back to percent a period.
fn loss(rate: f64, width: f64) -> (&'static str, f64, f64) {
    let (symbol, period) = if rate * MONTH_S < 0.004 {
        ("%/yr", YEAR_S)
    } else if rate * DAY_S < 0.02 {
        ("%/month", MONTH_S)
    } else {
        ("%/d", DAY_S)
    };
    let share = -libm::expm1(-rate * period);
    (symbol, round12(share * 100.0), width * period * (1.0 - share) * 100.0)
}

/// Value and width as text with the width at two significant figures; a zero in the second figure behind the point is
/// dropped from both (`12.60 ± 0.70` → `12.6 ± 0.7`), as the trade prints it.
fn pair(value: f64, width: f64) -> (String, String) {
    let (value_text, width_text) = round_to_uncertainty(value, width, 2);
    // Only where the value ends so too: 0.25 ± 0.10 must not become 0.3 ± 0.1.
    if width_text.contains('.') && width_text.ends_with('0') && value_text.ends_with('0') {
        return round_to_uncertainty(value, width, 1);
    }
    (value_text, width_text)
}

impl<D: Dimension> Quantity<D> {
    /// The value with its standard uncertainty in the given notation; without an uncertainty as `Display`.
    ///
    /// ```
    /// use overwinter_quantity::{Current, Notation, Spread};
    /// let sleep = Current::from_si(12.6e-6).with_spread(Spread::Standard { u: 0.35e-6 });
    /// assert_eq!(sleep.in_notation(Notation::Expanded { k: 2.0 }), "12.6 ± 0.7 µA (k = 2)");
    /// assert_eq!(sleep.in_notation(Notation::Concise { figures: 1 }), "12.6(4) µA");
    /// ```
    pub fn in_notation(&self, notation: Notation) -> String {
        let Some(u) = self.standard_uncertainty().filter(|u| *u > 0.0) else {
            return self.to_string();
        };
        match notation {
            Notation::Expanded { k } => {
                let (symbol, value, width) =
                    in_unit(D::INFO, self.si(), u * k, |value, width| pair(value, width).0);
                let (value, width) = pair(value, round12(width));
                format!("{value} ± {width} {symbol} (k = {})", significant(k, 3))
            }
            Notation::Concise { figures } => {
                let figures = figures.clamp(1, 2);
                let (symbol, value, width) = in_unit(D::INFO, self.si(), u, |value, width| {
                    round_to_uncertainty(value, width, figures).0
                });
                let (value, width) = round_to_uncertainty(value, round12(width), figures);
                let digits = match width.split_once('.') {
                    Some((_, decimals)) if width.starts_with("0.") => {
                        decimals.trim_start_matches('0').to_owned()
                    }
                    _ => width,
                };
                format!("{value}({digits}) {symbol}")
            }
        }
    }

    /// The value alone, in its engineering unit, to at most `figures` significant figures.
    pub fn value_text(&self, figures: u8) -> String {
        let figures = i32::from(figures.max(1));
        let (symbol, value, _) =
            in_unit(D::INFO, self.si(), 0.0, |value, _| significant(value, figures));
        format!("{} {symbol}", significant(value, figures))
    }
}

impl<D: Dimension> fmt::Display for Quantity<D> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (symbol, value, _) = in_unit(D::INFO, self.si(), 0.0, |value, _| significant(value, 6));
        let plain = significant(value, 6);
        match self.spread() {
            Spread::AtMost => write!(f, "< {plain} {symbol}"),
            Spread::AtLeast => write!(f, "> {plain} {symbol}"),
            Spread::Standard { u } => {
                if u > 0.0 {
                    f.write_str(&self.in_notation(Notation::Concise { figures: 2 }))
                } else {
                    write!(f, "{plain} {symbol}")
                }
            }
            Spread::Expanded { half_width, k } if half_width > 0.0 => {
                f.write_str(&self.in_notation(Notation::Expanded { k }))
            }
            Spread::Limits { half_width } if half_width > 0.0 => {
                let (symbol, value, width) =
                    in_unit(D::INFO, self.si(), half_width, |value, width| pair(value, width).0);
                let (value, width) = pair(value, round12(width));
                write!(f, "{value} ± {width} {symbol}")
            }
            Spread::Unstated | Spread::Expanded { .. } | Spread::Limits { .. } => {
                write!(f, "{plain} {symbol}")
            }
        }
    }
}
