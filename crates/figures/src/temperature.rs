//! Sleep current over temperature: only where two temperatures were measured.
//!
//! `I(T) = I_fixed + L·2^((T − T₁)/d)`, `d` about 10 K for semiconductor leakage (common practice).

use overwinter_statistics::Figure;

/// A current taken apart by two temperatures.
#[derive(Clone, Debug, PartialEq)]
pub struct TemperatureSplit {
    /// Part that does not depend on temperature, A.
    pub fixed_a: Figure,
    /// Leakage at the first temperature, A.
    pub leakage_a: Figure,
    /// First temperature, °C.
    pub reference_c: f64,
    /// Temperature over which leakage doubles, K.
    pub doubling_k: f64,
    /// True when the leakage stands out: more than twice its standard uncertainty.
    pub resolved: bool,
}

/// Splits two readings at `first_c` and `second_c` with an assumed doubling temperature:
/// `L = (I₂ − I₁)/(2^(ΔT/d) − 1)`.
///
/// `None` when the temperatures are less than 5 K apart (no coefficient is worth stating) or the
/// doubling temperature is not positive.
pub fn split(
    first_a: &Figure,
    first_c: f64,
    second_a: &Figure,
    second_c: f64,
    doubling_k: f64,
) -> Option<TemperatureSplit> {
    let step = second_c - first_c;
    if !(step.abs() >= 5.0 && step.is_finite() && doubling_k > 0.0) {
        return None;
    }
    let growth = libm::exp2(step / doubling_k) - 1.0;
    let leakage_a = &(second_a - first_a) / growth;
    let fixed_a = first_a - &leakage_a;
    let resolved = leakage_a.value() > 2.0 * leakage_a.standard_uncertainty();
    Some(TemperatureSplit { fixed_a, leakage_a, reference_c: first_c, doubling_k, resolved })
}

impl TemperatureSplit {
    /// Current at a temperature, with its sources.
    ///
    /// Beyond the two measured temperatures it is an extrapolation; the caller flags it.
    pub fn at(&self, temperature_c: f64) -> Figure {
        let factor = libm::exp2((temperature_c - self.reference_c) / self.doubling_k);
        &self.fixed_a + &(&self.leakage_a * factor)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use overwinter_statistics::Source;

    #[test]
    fn both_readings_are_met_and_shared_gain_stays_shared() {
        let reading = |v: f64, id: &str| {
            Figure::with_source(v, Source::normal(id, 0.2))
                .plus_source(Source::rectangular("gain", 0.01), v)
        };
        let (cool, warm) = (reading(12.0, "cool"), reading(36.0, "warm"));
        let s = split(&cool, 22.0, &warm, 42.0, 10.0).unwrap();
        assert!((s.leakage_a.value() - 8.0).abs() < 1e-12 && s.resolved);
        let back = s.at(42.0);
        assert!((back.value() - 36.0).abs() < 1e-12);
        assert!((back.standard_uncertainty() - warm.standard_uncertainty()).abs() < 1e-12);
        assert_eq!(split(&cool, 22.0, &warm, 24.0, 10.0), None);
    }
}
