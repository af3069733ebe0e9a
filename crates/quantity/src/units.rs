//! Units: their spellings, prefixes and factors to SI.

/// Seconds in an hour.
pub const HOUR_S: f64 = 3600.0;
/// Seconds in a day.
pub const DAY_S: f64 = 86_400.0;
/// Seconds in a year of 365.25 days (the Julian year of the IAU).
pub const YEAR_S: f64 = 365.25 * DAY_S;
/// Seconds in a twelfth of [`YEAR_S`], 30.4375 days.
pub const MONTH_S: f64 = YEAR_S / 12.0;

/// How a number with this unit becomes SI.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Conversion {
    /// `si = factor · number`
    Scale(f64),
    /// `si = number + zero` (degrees Celsius to kelvin)
    Offset(f64),
    /// A share lost each period: `λ = −ln(1 − number / 100) / period`
    LossPercentPer(f64),
}

/// One unit with its spellings; the first is the one printed in lists.
pub(crate) struct Unit {
    pub(crate) symbols: &'static [&'static str],
    /// Decimal prefixes that may stand before it.
    pub(crate) prefixes: &'static str,
    pub(crate) conversion: Conversion,
}

/// A unit with spellings, allowed prefixes and a factor.
pub(crate) const fn unit(
    symbols: &'static [&'static str],
    prefixes: &'static str,
    factor: f64,
) -> Unit {
    Unit { symbols, prefixes, conversion: Conversion::Scale(factor) }
}

/// The factor of a decimal prefix, if it is one.
pub(crate) fn prefix_factor(prefix: char) -> Option<f64> {
    Some(match prefix {
        'p' => 1e-12,
        'n' => 1e-9,
        'µ' | 'μ' | 'u' => 1e-6,
        'm' => 1e-3,
        'k' => 1e3,
        'M' => 1e6,
        'G' => 1e9,
        _ => return None,
    })
}

/// One spelling for the many ways to type the same sign: `²` and `2`, the two ohm signs, the two micro signs,
/// `per` and `/`, no spaces.
pub(crate) fn normalise(token: &str) -> String {
    let mut out = String::with_capacity(token.len());
    for c in token.replace(" per ", "/").chars() {
        match c {
            '²' => out.push('2'),
            '\u{2126}' => out.push('Ω'),
            'μ' => out.push('µ'),
            '·' => out.push('*'),
            'º' | '˚' => out.push('°'),
            c if c.is_whitespace() => {}
            c => out.push(c),
        }
    }
    out
}

/// The conversion of a normalised unit text among `units`.
pub(crate) fn find(units: &[Unit], token: &str) -> Option<Conversion> {
    for unit in units {
        if unit.symbols.contains(&token) {
            return Some(unit.conversion);
        }
    }
    let mut chars = token.chars();
    let first = chars.next()?;
    let rest = chars.as_str();
    let factor = prefix_factor(first)?;
    let canonical = if first == 'u' { 'µ' } else { first };
    units
        .iter()
        .filter(|unit| unit.prefixes.contains(canonical) && unit.symbols.contains(&rest))
        .find_map(|unit| match unit.conversion {
            Conversion::Scale(scale) => Some(Conversion::Scale(scaled(factor, scale))),
            _ => None,
        })
}

/// Every spelling with every prefix, for lists and for "did you mean".
pub(crate) fn spellings(units: &[Unit]) -> Vec<String> {
    let mut all = Vec::new();
    for unit in units {
        for symbol in unit.symbols {
            all.push((*symbol).to_owned());
            all.extend(unit.prefixes.chars().map(|prefix| format!("{prefix}{symbol}")));
        }
    }
    all
}

/// `prefix · scale`, exact where the prefix is a negative power of ten and the scale is one.
fn scaled(prefix: f64, scale: f64) -> f64 {
    if scale == 1.0 { prefix } else { prefix * scale }
}
