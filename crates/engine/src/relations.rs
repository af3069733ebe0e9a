//! Short relations of the trade in closed form, for direct use and for checks.
#![allow(clippy::neg_cmp_op_on_partial_ord)] // a comparison that NaN fails must end in the error

use crate::error::InputError;

/// Mean of `exp(x·sin)` over a cycle: the modified Bessel function I0(x).
///
/// The factor by which a daily temperature swing of amplitude `A` raises the mean of anything that grows
/// as `exp(β·T)`: `I0(β·A)`. For a doubling every 10 K and ±20 K: I0(1.386) = 1.54.
///
/// Valid for |x| up to 700. Power series `Σ (x²/4)^k/(k!)²`, all terms positive, to the last bit
/// (Abramowitz & Stegun 9.6.12).
#[inline]
pub fn sinusoid_mean_factor(x: f64) -> f64 {
    if x == 0.0 {
        return 1.0;
    }
    let quarter = 0.25 * x * x;
    let mut term = 1.0;
    let mut sum = 1.0;
    let mut k = 1.0;
    while term > sum * 1e-17 && k < 2000.0 {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

/// Time until a charge falls from `start_c` to `end_c` under a steady current and self-discharge.
///
/// `t = (1/k)·ln[(Q0 + I/k)/(Qs + I/k)]`, and `(Q0 − Qs)/I` without self-discharge.
///
/// # Errors
/// [`InputError::NoSolution`] when nothing discharges the cell or `end_c` is not below `start_c`.
pub fn steady_life_s(
    start_c: f64,
    end_c: f64,
    current_a: f64,
    self_discharge_per_s: f64,
) -> Result<f64, InputError> {
    if !(start_c >= end_c) || end_c < 0.0 {
        return Err(InputError::NoSolution { what: "the charge does not fall to the end charge" });
    }
    let end_rate = current_a + self_discharge_per_s * end_c;
    if !(end_rate > 0.0) {
        return Err(InputError::NoSolution { what: "nothing discharges the cell" });
    }
    Ok(log1p_over(self_discharge_per_s, (start_c - end_c) / end_rate))
}

/// `ln(1 + a·x)/a`, and `x` for `a → 0`.
#[inline]
pub(crate) fn log1p_over(a: f64, x: f64) -> f64 {
    let ax = a * x;
    if ax.abs() < 1e-9 { x * (1.0 - 0.5 * ax) } else { libm::log1p(ax) / a }
}

/// `(1 − e^(−a·t))/a`, and `t` for `a → 0`.
#[inline]
pub(crate) fn decayed_time(a: f64, t: f64) -> f64 {
    let at = a * t;
    if at.abs() < 1e-9 { t * (1.0 - 0.5 * at) } else { -libm::expm1(-at) / a }
}

/// Sag of a supply with a bulk capacitor at time `t` of a burst.
///
/// `ΔV(t) = I·R·[1 − R/(R + ESR)·exp(−t/((R + ESR)·C))]`, with `R` the source resistance and the capacitor
/// charged at the start. Without capacitor the sag is `I·R`. Exact for a constant current and resistance.
pub fn burst_sag_v(
    current_a: f64,
    source_ohm: f64,
    capacitance_f: f64,
    esr_ohm: f64,
    after_s: f64,
) -> f64 {
    let total = source_ohm + esr_ohm;
    if total <= 0.0 || capacitance_f <= 0.0 {
        return current_a * source_ohm;
    }
    let left = libm::exp(-after_s / (total * capacitance_f));
    current_a * source_ohm * (1.0 - source_ohm / total * left)
}

/// Smallest capacitor with which a burst sags by at most `allowed_v`.
///
/// Solves [`burst_sag_v`] for C. Zero when no capacitor is needed.
///
/// # Errors
/// [`InputError::NoSolution`] when even an endless capacitor sags too much through its series resistance.
pub fn smallest_capacitor_f(
    current_a: f64,
    source_ohm: f64,
    esr_ohm: f64,
    duration_s: f64,
    allowed_v: f64,
) -> Result<f64, InputError> {
    let full = current_a * source_ohm;
    if full <= allowed_v {
        return Ok(0.0);
    }
    let total = source_ohm + esr_ohm;
    // 1 − allowed/full = R/(R+ESR)·e^(−d/τ)
    let left = (1.0 - allowed_v / full) * total / source_ohm;
    if !(left < 1.0) {
        return Err(InputError::NoSolution {
            what: "no capacitor rides through: its series resistance alone drops too much",
        });
    }
    Ok(duration_s / (-libm::log(left) * total))
}

/// Time in which a capacitor recharges to 0.7 % of the sag: `5·(R + ESR)·C`.
pub fn recharge_s(source_ohm: f64, capacitance_f: f64, esr_ohm: f64) -> f64 {
    5.0 * (source_ohm + esr_ohm) * capacitance_f
}

/// Lowest open-circuit voltage at which a peak is survived: `V = V_reset + V_dropout + I·(R_cell + R_path)`,
/// less what a bulk capacitor helps (pass its [`burst_sag_v`] as `sag_v` instead of `I·R`).
pub fn lowest_open_circuit_v(reset_v: f64, dropout_v: f64, sag_v: f64) -> f64 {
    reset_v + dropout_v + sag_v
}

/// Lowest cell voltage at which a board rides through the hand-over from its external source.
///
/// While the external source decays the load-sharing transistor is still off and its body diode carries
/// the load: `V = V_reset + V_dropout + V_body`. (Job trap R: 2.80 + 0.15 + 0.70 = 3.65 V.)
pub fn lowest_ride_through_v(reset_v: f64, dropout_v: f64, body_diode_v: f64) -> f64 {
    reset_v + dropout_v + body_diode_v
}

/// Rail under a load through a meter: `V_source − I·(R_cell + R_meter) − V_dropout`.
pub fn rail_through_meter_v(
    source_v: f64,
    current_a: f64,
    cell_ohm: f64,
    meter_ohm: f64,
    dropout_v: f64,
) -> f64 {
    source_v - current_a * (cell_ohm + meter_ohm) - dropout_v
}

/// Largest resistance of a meter with which the rail stays at `reset_v`; negative when none does.
pub fn largest_meter_ohm(
    source_v: f64,
    current_a: f64,
    cell_ohm: f64,
    dropout_v: f64,
    reset_v: f64,
) -> f64 {
    (source_v - dropout_v - reset_v) / current_a - cell_ohm
}

/// A power law of capacity over rate, with the span in which it was measured.
///
/// `Q(I) = Q_n·(I_n/I)^(p − 1)`, i.e. `t = (Q_n/I)·(I_n/I)^(p−1)`. Good only inside the measured span and
/// never above the low-rate capacity (Doerffel & Sharkh 2006, J. Power Sources 155:395, on its limits —
/// citation from memory).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerLaw {
    /// Capacity at the nominal current.
    pub nominal_c: f64,
    /// The nominal current.
    pub nominal_a: f64,
    /// The exponent p, 1.02…1.35.
    pub exponent: f64,
    /// Lowest and highest current at which it was measured.
    pub span_a: (f64, f64),
    /// Capacity at very low rate: no current gives more.
    pub low_rate_c: f64,
}

/// A capacity with what has to be said about it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RatedCapacity {
    /// Coulombs.
    pub charge_c: f64,
    /// Whether the low-rate capacity capped it.
    pub capped: bool,
    /// Whether the current lay outside the measured span (the law was then taken at its edge).
    pub outside_span: bool,
}

impl PowerLaw {
    /// Capacity at a current.
    pub fn capacity(&self, current_a: f64) -> RatedCapacity {
        let inside = current_a.clamp(self.span_a.0, self.span_a.1);
        let law = self.nominal_c * libm::pow(self.nominal_a / inside, self.exponent - 1.0);
        RatedCapacity {
            charge_c: law.min(self.low_rate_c),
            capped: law > self.low_rate_c,
            outside_span: inside != current_a,
        }
    }

    /// Exponent from two discharges: `p = ln(t1/t2)/ln(I2/I1)`.
    pub fn exponent_from(first: (f64, f64), second: (f64, f64)) -> f64 {
        libm::log(first.1 / second.1) / libm::log(second.0 / first.0)
    }
}

/// Two wells under a constant current from any state: `(q1, q2)` after `t_s`.
///
/// Manwell & McGowan 1993, Solar Energy 50:399: with `e = exp(−k't)`,
/// `q1 = q10·e + (q0·k'·c − I)(1 − e)/k' − I·c·(k't − 1 + e)/k'`,
/// `q2 = q20·e + q0·(1 − c)(1 − e) − I·(1 − c)(k't − 1 + e)/k'`.
pub fn two_wells_after(q10: f64, q20: f64, current: f64, c: f64, k: f64, t: f64) -> (f64, f64) {
    let q0 = q10 + q20;
    let e = libm::exp(-k * t);
    let rest = -libm::expm1(-k * t);
    let ramp = k * t - rest;
    (
        q10 * e + (q0 * k * c - current) * rest / k - current * c * ramp / k,
        q20 * e + q0 * (1.0 - c) * rest - current * (1.0 - c) * ramp / k,
    )
}

/// Charge that a full two-well cell gives at a constant current when it lasts `t`:
/// `q = q_max·k'·c·t/(1 − e + c·(k't − 1 + e))` (Manwell & McGowan 1993).
pub fn two_wells_capacity(q_max: f64, c: f64, k: f64, t: f64) -> f64 {
    let rest = -libm::expm1(-k * t);
    q_max * k * c * t / (rest + c * (k * t - rest))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bessel_factor() {
        // Abramowitz & Stegun table 9.8: I0(1) = 1.2660658778, I0(2) = 2.2795853023.
        assert!((sinusoid_mean_factor(1.0) - 1.2660658778).abs() < 1e-10);
        assert!((sinusoid_mean_factor(-2.0) - 2.2795853023).abs() < 1e-10);
    }

    #[test]
    fn steady_life_limits() {
        let linear = steady_life_s(9000.0, 0.0, 1e-3, 0.0).unwrap();
        assert!((linear - 9e6).abs() < 1e-3);
        let slow = steady_life_s(9000.0, 0.0, 1e-3, 1e-14).unwrap();
        assert!((slow / linear - 1.0).abs() < 1e-6);
        assert!(steady_life_s(9000.0, 0.0, 0.0, 0.0).is_err());
        assert!(steady_life_s(1.0, f64::NAN, 1.0, 0.0).is_err());
    }
}
