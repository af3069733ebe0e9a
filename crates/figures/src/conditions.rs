//! What the conditions of a reading add to its budget: temperature, supply voltage, burden and settling, each from the board's
//! own readings where there are any, else from a stated prior. An unknown coefficient is never taken as nothing.
//!
//! The priors are common practice without a source; each is a constant below with what it means.

use overwinter_statistics::{Distribution, Figure, Source};

use crate::reading::Influence;

/// Room temperature that a figure stands for unless it says otherwise, °C.
pub const ROOM_CELSIUS: f64 = 22.0;
/// A reading within this of room temperature stands for it; the distance is part of its budget, K.
pub const ROOM_WITHIN_K: f64 = 6.0;
/// How well a thermometer beside the board knows the board's temperature, K: common practice, no source.
pub const THERMOMETER_WITHIN_K: f64 = 1.0;
/// How far a bench without a thermometer is from room temperature, K: common practice, no source.
pub const NO_THERMOMETER_WITHIN_K: f64 = 5.0;
/// Temperature coefficient of a small sleep current where none was measured, 1/K: half of it leaking and doubling every 10 K
/// is the most, nothing the least; their root mean square, `½·(ln 2/10)/√3`. Common practice, no source.
pub const COEFFICIENT_PER_KELVIN: f64 = 0.020;
/// What may leak so: the first of a current up to this, A. Beyond it are bias currents. Common practice, no source.
pub const LEAKING_UP_TO_A: f64 = 20e-6;
/// Temperature coefficient of bias currents, 1/K. Common practice, no source.
pub const BIAS_PER_KELVIN: f64 = 0.003;
/// How well a supply voltage is known that was written down without a spread, V (a hand-held meter's 0.5 % + 2 counts at
/// 3.8 V): common practice, no source.
pub const SUPPLY_WITHIN_V: f64 = 0.02;
/// How much of a reading, up to [`LEAKING_UP_TO_A`], may still be transient at first where no settling was recorded: a fifth.
/// What capacitors absorb does not grow with the bias currents of a board. Common practice, no source.
pub const TRANSIENT_SHARE: f64 = 0.2;
/// Settling time taken where none was written down, s. Common practice, no source.
pub const SETTLING_NOT_WRITTEN_S: f64 = 60.0;
/// How well a burden resistance is known that was stated without a spread (fuse and leads warm up): relative, rectangular.
/// Common practice, no source.
pub const SERIES_RESISTANCE_WITHIN: f64 = 0.1;

/// Temperature of a figure with the value `value`: `∂I/∂T = I·α`, the deviation within ± [`THERMOMETER_WITHIN_K`] and the
/// distance to room temperature where the figure stands for that (rectangular, JCGM 100:2008, 4.3.7).
///
/// `per_kelvin` is the measured coefficient; without one the prior holds: [`COEFFICIENT_PER_KELVIN`] of what is up to
/// [`LEAKING_UP_TO_A`], [`BIAS_PER_KELVIN`] of the rest. `celsius` unknown:
/// room temperature within ± [`NO_THERMOMETER_WITHIN_K`].
pub fn temperature(value: f64, celsius: Option<f64>, per_kelvin: Option<f64>) -> Influence {
    let half_width = match celsius {
        Some(t) if (t - ROOM_CELSIUS).abs() <= ROOM_WITHIN_K => {
            THERMOMETER_WITHIN_K + (t - ROOM_CELSIUS).abs()
        }
        Some(_) => THERMOMETER_WITHIN_K,
        None => NO_THERMOMETER_WITHIN_K,
    };
    Influence {
        name: "temperature".to_owned(),
        deviation: Distribution::Uniform { centre: 0.0, half_width },
        sensitivity: if let Some(measured) = per_kelvin {
            value * measured
        } else {
            let leaking = value.abs().min(LEAKING_UP_TO_A);
            COEFFICIENT_PER_KELVIN * leaking + BIAS_PER_KELVIN * (value.abs() - leaking)
        },
        shared_in_session: true,
    }
}

/// Supply voltage of a figure: `half_width` as stated or [`SUPPLY_WITHIN_V`], with the board's own slope or, without one, the
/// size of `I/V` that lies between a resistor and a converter, `(I/V)/√3`.
pub fn supply(value: f64, supply_v: f64, half_width: Option<f64>, slope: Option<f64>) -> Influence {
    Influence {
        name: "supply voltage".to_owned(),
        deviation: Distribution::Uniform {
            centre: 0.0,
            half_width: half_width.unwrap_or(SUPPLY_WITHIN_V),
        },
        sensitivity: slope.unwrap_or_else(|| slope_limit(value, supply_v) / 3.0_f64.sqrt()),
        shared_in_session: true,
    }
}

/// Limit of the slope of a board that was not swept, A/V: `I/V` for a resistor, `−I/V` for a converter, nothing for a
/// linear regulator. A regulator in dropout can exceed it.
pub fn slope_limit(value: f64, board_v: f64) -> f64 {
    (value / board_v).abs()
}

/// What may be left of a transient where none was recorded: `share·min(I, 20 µA)·e^(−t/τ)` on either side, with the slowest time constant
/// of capacitors on a board, [`crate::settling::SLOWEST_TIME_CONSTANT_S`].
pub fn unrecorded_settling(value: f64, settled_for_s: Option<f64>) -> Influence {
    let t = settled_for_s.unwrap_or(SETTLING_NOT_WRITTEN_S).max(0.0);
    let left = libm::exp(-t / crate::settling::SLOWEST_TIME_CONSTANT_S);
    Influence::settling(TRANSIENT_SHARE * value.abs().min(LEAKING_UP_TO_A) * left)
}

/// Largest step between two points of a sweep, V, below which they say nothing of the slope.
const SAME_VOLTAGE_V: f64 = 0.05;

/// Slope of the current over the voltage that the board itself sees, at the reading whose board voltage is `at_v`, A/V.
///
/// `points` are board voltage (supply minus the meter's drop) and current, that of the reading among them. The chord is taken
/// to the next point above, because there the correction goes, else to the next below. Curvature is not known better than
/// the chord that follows tells: their difference is the limit of a rectangular source `name`; where none follows, half of the
/// chord's slope. The points' sources travel with the slope, so a shared gain stays shared.
///
/// For a resistor (`I = V/R`) the correction `I·(1 + slope·R_s)` is exact.
pub fn local_slope(name: &str, points: &[(f64, Figure)], at_v: f64) -> Option<Figure> {
    type Point = (f64, Figure);
    let own = points.iter().min_by(|a, b| (a.0 - at_v).abs().total_cmp(&(b.0 - at_v).abs()))?;
    let above = |of: &Point| -> Option<&Point> {
        let beyond = points.iter().filter(|p| p.0 > of.0 + SAME_VOLTAGE_V);
        beyond.min_by(|a, b| a.0.total_cmp(&b.0))
    };
    let below = |of: &Point| -> Option<&Point> {
        let beyond = points.iter().filter(|p| p.0 < of.0 - SAME_VOLTAGE_V);
        beyond.max_by(|a, b| a.0.total_cmp(&b.0))
    };
    let chord = |a: &Point, b: &Point| &(&b.1 - &a.1) / (b.0 - a.0);
    let (next, following) = match above(own) {
        Some(next) => (next, above(next)),
        None => below(own).map(|next| (next, below(next)))?,
    };
    let slope = chord(own, next);
    let half_width = match following {
        Some(following) => (slope.value() - chord(next, following).value()).abs(),
        None => 0.5 * slope.value().abs(),
    };
    if !(slope.value().is_finite() && slope.variance().is_finite()) {
        return None;
    }
    Some(if half_width > 0.0 {
        slope.plus_source(Source::rectangular(name, half_width), 1.0)
    } else {
        slope
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::{
        BurdenPolicy, InstrumentRange, QuantityKind, Reading, ReadingFault, evaluate,
    };

    fn range(ohm: f64) -> InstrumentRange {
        InstrumentRange {
            instrument: "meter".to_owned(),
            range: "3 A".to_owned(),
            full_scale: 3.0,
            resolution: 0.0,
            gain_limit: 0.01,
            offset_limit: 0.0,
            series_resistance_ohm: ohm,
        }
    }

    /// The bench meter's manual example (10 V, 10 Ω, 0.5 Ω inside reads 0.952381 A) with a second reading at 8 V: the sweep
    /// gives back 1 A exactly, the gain error with it.
    #[test]
    fn a_resistor_is_corrected_exactly_by_its_own_sweep() {
        let at = |v: f64, id: &str| {
            let mut r = Reading::new(id, "s", QuantityKind::Current, vec![v / 10.5]);
            r.instrument = Some(range(0.5));
            r.supply_v = Some(v);
            r
        };
        let mut high = at(10.0, "high");
        let raw = |r: &Reading| evaluate(r).figure.unwrap();
        let points: Vec<(f64, Figure)> = [&high, &at(8.0, "low")]
            .map(|r| (r.supply_v.unwrap() - raw(r).value() * 0.5, raw(r)))
            .to_vec();
        let slope = local_slope("high / bend", &points, points[0].0).unwrap();
        assert!((slope.value() - 0.1).abs() < 1e-12, "{}", slope.value());
        high.burden = BurdenPolicy::CorrectBy {
            slope_a_per_v: slope.clone(),
            resistance_ohm: Figure::exact(0.5),
        };
        let corrected = raw(&high);
        assert!((corrected.value() - 1.0).abs() < 1e-12, "{}", corrected.value());
        // Gain: of the reading, and once more of the slope that was read with the same gain.
        let gain = corrected.budget().rows.into_iter().find(|r| r.source.name().ends_with("gain"));
        let want = 0.01 / 3.0_f64.sqrt() * (1.0 + 10.0 / 10.5 * 0.1 * 0.5);
        assert!((gain.unwrap().contribution.abs() - want).abs() < 1e-12);
        assert!((&corrected - &corrected).variance() == 0.0);
        // Not swept: the limit I/V reaches exactly as far as the true 1 A, and the drop is flagged.
        high.burden =
            BurdenPolicy::Bounded { limit_a_per_v: slope_limit(10.0 / 10.5, points[0].0) };
        let bounded = evaluate(&high);
        let mut row = bounded.figure.unwrap().budget().rows.into_iter();
        let burden = row.find(|r| r.source.name().ends_with("/ burden")).unwrap();
        assert!((burden.contribution.abs() * 3.0_f64.sqrt() - (1.0 - 10.0 / 10.5)).abs() < 1e-12);
        assert!(
            bounded.faults.iter().any(|f| matches!(f, ReadingFault::BurdenNotCorrected { .. }))
        );
    }

    #[test]
    fn the_chord_that_follows_limits_the_curvature() {
        let points: Vec<(f64, Figure)> = [(3.25, 12.0), (3.5, 9.3), (3.8, 9.4), (4.15, 9.5)]
            .map(|(v, i)| (v, Figure::exact(i)))
            .to_vec();
        let slope = local_slope("bend", &points, 3.5).unwrap();
        assert!((slope.value() - 0.1 / 0.3).abs() < 1e-12);
        let bend = 0.1 / 0.3 - 0.1 / 0.35;
        assert!((slope.standard_uncertainty() - bend / 3.0_f64.sqrt()).abs() < 1e-12);
        assert!(local_slope("bend", &points[..1], 3.25).is_none());
    }

    #[test]
    fn temperature_knows_its_room_and_its_prior() {
        let u = |i: &Influence| i.deviation.sd() * i.sensitivity;
        // 12.6 µA at 22 °C within 1 K, coefficient 2 %/K: 12.6·0.02/√3.
        let assumed = temperature(12.6e-6, Some(22.0), None);
        assert!((u(&assumed) - 12.6e-6 * 0.02 / 3.0_f64.sqrt()).abs() < 1e-18);
        // 176 µA: the first 20 µA may leak, the rest is bias current.
        let large = temperature(176e-6, Some(22.0), None);
        let want = (20e-6 * 0.02 + 156e-6 * 0.003) / 3.0_f64.sqrt();
        assert!((u(&large) - want).abs() < 1e-18);
        // Measured coefficient; 3 K from room temperature and the thermometer's 1 K.
        let measured = temperature(12.6, Some(25.0), Some(0.005));
        assert!((u(&measured) - 12.6 * 0.005 * 4.0 / 3.0_f64.sqrt()).abs() < 1e-12);
        // A warm reading stands for its own temperature; none written down is unknown, not 22 °C.
        assert!((u(&temperature(1e-6, Some(45.0), None)) - 2e-8 / 3.0_f64.sqrt()).abs() < 1e-18);
        assert!((u(&temperature(1e-6, None, None)) - 1e-7 / 3.0_f64.sqrt()).abs() < 1e-18);
    }

    #[test]
    fn an_unrecorded_transient_dies_away() {
        let u = |t: Option<f64>| unrecorded_settling(1e-6, t).deviation.sd();
        assert!((u(Some(0.0)) - 0.2e-6 / 3.0_f64.sqrt()).abs() < 1e-18);
        assert!((u(Some(300.0)) - 0.2e-6 * libm::exp(-5.0) / 3.0_f64.sqrt()).abs() < 1e-18);
        let large = unrecorded_settling(1e-3, Some(0.0)).deviation.sd();
        assert!((large - 4e-6 / 3.0_f64.sqrt()).abs() < 1e-18);
        assert_eq!(u(None), u(Some(60.0)));
    }
}
