//! A small panel's current–voltage curve: the single-diode equation, moved to any irradiance and cell temperature.
//!
//! `I = I_L − I_0·(exp((V + I·R_s)/a) − 1) − (V + I·R_s)/R_sh`, with the translation of De Soto:
//! `I_L = G/1000·(I_L,ref + α(T − 25 °C))`, `I_0 = I_0,ref·(T/T_ref)³·exp(E_g,ref/kT_ref − E_g/kT)`, `a = a_ref·T/T_ref`,
//! `R_sh = R_sh,ref·1000/G`, `E_g = 1.121 eV·(1 − 0.0002677(T − T_ref))` (silicon).
//!
//! Source: W. De Soto, S. A. Klein and W. A. Beckman, Solar Energy 80(1), 78-88, 2006. Good to a few per cent for crystalline silicon;
//! no spectrum and no reflection at low sun are in it.

pub mod label;

use crate::maths::{exp, log};

/// Boltzmann's constant over the elementary charge, V/K (exact since 2019).
const BOLTZMANN_EV_PER_K: f64 = 8.617333262145e-5;
const REFERENCE_K: f64 = 298.15;
const GAP_REFERENCE_EV: f64 = 1.121;
const GAP_SLOPE_PER_K: f64 = -0.0002677;

/// Single-diode parameters of a panel at 1000 W/m² and 25 °C.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Panel {
    /// Light current, A.
    pub light_current_a: f64,
    /// Diode saturation current, A.
    pub saturation_a: f64,
    /// Modified ideality `n·Ns·kT/q`, V.
    pub ideality_v: f64,
    /// Series resistance, Ω.
    pub series_ohm: f64,
    /// Shunt resistance, Ω.
    pub shunt_ohm: f64,
    /// Change of the light current, A/K.
    pub current_coefficient_a_per_k: f64,
}

/// The curve at one irradiance and one cell temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curve {
    light_a: f64,
    saturation_a: f64,
    ideality_v: f64,
    series_ohm: f64,
    shunt_s: f64,
}

/// A point on the curve.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct OperatingPoint {
    /// Volts at the panel.
    pub voltage_v: f64,
    /// Amperes out of the panel.
    pub current_a: f64,
}

impl OperatingPoint {
    /// Watts.
    pub fn power_w(&self) -> f64 {
        self.voltage_v * self.current_a
    }
}

impl Panel {
    /// The same kind of panel `times` as large (more of it in parallel: same voltage, more current).
    #[must_use]
    pub fn scaled(&self, times: f64) -> Self {
        Self {
            light_current_a: self.light_current_a * times,
            saturation_a: self.saturation_a * times,
            ideality_v: self.ideality_v,
            series_ohm: self.series_ohm / times,
            shunt_ohm: self.shunt_ohm / times,
            current_coefficient_a_per_k: self.current_coefficient_a_per_k * times,
        }
    }

    /// The same panel behind a lead of this resistance, Ω.
    #[must_use]
    pub fn with_lead(&self, lead_ohm: f64) -> Self {
        Self { series_ohm: self.series_ohm + lead_ohm.max(0.0), ..*self }
    }

    /// The curve at an irradiance (W/m²) and cell temperature (°C). Meant for −40…90 °C; below 0 W/m² counts as dark.
    pub fn curve(&self, irradiance_w_m2: f64, cell_temperature_c: f64) -> Curve {
        let t = Thermal::at(cell_temperature_c);
        self.curve_with(irradiance_w_m2, &t)
    }

    /// The curve where the temperature's part is already worked out (see [`Thermal`]).
    #[inline]
    pub fn curve_with(&self, irradiance_w_m2: f64, thermal: &Thermal) -> Curve {
        let g = irradiance_w_m2.max(0.0) / 1000.0;
        Curve {
            light_a: (g
                * (self.light_current_a
                    + self.current_coefficient_a_per_k * thermal.above_reference_k))
                .max(0.0),
            saturation_a: self.saturation_a * thermal.saturation_factor,
            ideality_v: self.ideality_v * thermal.ratio,
            series_ohm: self.series_ohm,
            shunt_s: g / self.shunt_ohm,
        }
    }
}

/// What depends on the cell temperature only: worth keeping in a table where many hours are run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thermal {
    above_reference_k: f64,
    saturation_factor: f64,
    ratio: f64,
}

impl Thermal {
    /// At a cell temperature, °C.
    pub fn at(cell_temperature_c: f64) -> Self {
        let t = cell_temperature_c + 273.15;
        let ratio = t / REFERENCE_K;
        let gap = GAP_REFERENCE_EV * (1.0 + GAP_SLOPE_PER_K * (t - REFERENCE_K));
        let exponent =
            GAP_REFERENCE_EV / (BOLTZMANN_EV_PER_K * REFERENCE_K) - gap / (BOLTZMANN_EV_PER_K * t);
        Self {
            above_reference_k: t - REFERENCE_K,
            saturation_factor: ratio * ratio * ratio * exp(exponent),
            ratio,
        }
    }
}

impl Curve {
    /// Current at a panel voltage, A; negative above the open-circuit voltage (the panel then draws).
    ///
    /// Newton's method on the diode's voltage from above the root, where the function is concave and falling: it converges from one side,
    /// to 1e-12 relative.
    #[inline]
    pub fn current_a(&self, voltage_v: f64) -> f64 {
        let (rs, a) = (self.series_ohm, self.ideality_v);
        if rs <= 0.0 {
            return self.current_of_diode_voltage(voltage_v);
        }
        let mut vd = voltage_v + self.light_a * rs;
        let mut e = self.saturation_a * exp((vd / a).min(600.0));
        // Only near and beyond the knee can the start lie far above the root; there the logarithm gives a nearer one.
        if e > 0.5 * self.light_a {
            let roof = a * log(1.0 + self.light_a / self.saturation_a);
            vd = voltage_v.max(vd.min(roof));
            e = self.saturation_a * exp(vd / a);
        }
        let conductance = self.shunt_s + 1.0 / rs;
        for _ in 0..60 {
            let g =
                self.light_a - (e - self.saturation_a) - vd * self.shunt_s - (vd - voltage_v) / rs;
            let step = g / (e / a + conductance);
            vd += step;
            let x = step / a;
            if x.abs() > 0.02 {
                e = self.saturation_a * exp(vd / a);
                continue;
            }
            // The exponential moves by its series, 3e-11 relative at worst; in the flat part of the curve one exponential is all.
            e *= 1.0 + x * (1.0 + x * (0.5 + x * (1.0 / 6.0 + x * (1.0 / 24.0))));
            if x.abs() < 1e-5 {
                break;
            }
        }
        self.light_a - (e - self.saturation_a) - vd * self.shunt_s
    }

    /// Does the panel still deliver at this voltage? (At zero current the diode's voltage is the panel's, so no equation has to be solved.)
    #[inline]
    pub fn delivers_at(&self, voltage_v: f64) -> bool {
        self.current_of_diode_voltage(voltage_v) > 0.0
    }

    #[inline]
    fn current_of_diode_voltage(&self, vd: f64) -> f64 {
        self.light_a - self.saturation_a * (exp(vd / self.ideality_v) - 1.0) - vd * self.shunt_s
    }

    /// Current with the terminals shorted, A.
    pub fn short_circuit_a(&self) -> f64 {
        self.current_a(0.0)
    }

    /// Voltage with nothing connected, V. Zero in the dark.
    pub fn open_circuit_v(&self) -> f64 {
        if self.light_a <= 0.0 {
            return 0.0;
        }
        let mut v = self.ideality_v * log(1.0 + self.light_a / self.saturation_a);
        for _ in 0..30 {
            let e = self.saturation_a * exp(v / self.ideality_v);
            let step = (self.light_a - (e - self.saturation_a) - v * self.shunt_s)
                / (e / self.ideality_v + self.shunt_s);
            v += step;
            if step.abs() < 1e-12 * self.ideality_v {
                break;
            }
        }
        v
    }

    /// The voltage at which the panel gives a current (A), on the falling side of its curve; `None` if it cannot give so much.
    pub fn voltage_at_current_v(&self, current_a: f64) -> Option<f64> {
        if current_a >= self.light_a {
            return None;
        }
        let left = self.light_a - current_a;
        let mut vd = self.ideality_v * log(1.0 + left / self.saturation_a);
        for _ in 0..30 {
            let e = self.saturation_a * exp(vd / self.ideality_v);
            let step = (left - (e - self.saturation_a) - vd * self.shunt_s)
                / (e / self.ideality_v + self.shunt_s);
            vd += step;
            if step.abs() < 1e-12 * self.ideality_v {
                break;
            }
        }
        let v = vd - current_a * self.series_ohm;
        (v >= 0.0).then_some(v)
    }

    /// The point of maximum power. Zero in the dark.
    ///
    /// Current and voltage are explicit in the diode's voltage, so `dP/dV_d = 0` is one equation: Newton, kept inside its bracket.
    pub fn maximum_power(&self) -> OperatingPoint {
        if self.light_a <= 0.0 {
            return OperatingPoint::default();
        }
        let (rs, a, i0) = (self.series_ohm, self.ideality_v, self.saturation_a);
        let (mut low, mut high) = (0.0, a * log(1.0 + self.light_a / i0));
        let mut vd = high - a * log(1.0 + high / a);
        for _ in 0..60 {
            let e = i0 * exp(vd / a);
            let i = self.light_a - (e - i0) - vd * self.shunt_s;
            let di = -e / a - self.shunt_s;
            let slope = di * (vd - 2.0 * i * rs) + i;
            let curvature = -e / (a * a) * (vd - 2.0 * i * rs) + 2.0 * di * (1.0 - di * rs);
            if slope > 0.0 {
                low = vd;
            } else {
                high = vd;
            }
            let mut next = vd - slope / curvature;
            if !(next > low && next < high) {
                next = 0.5 * (low + high);
            }
            let step = next - vd;
            vd = next;
            if step.abs() < 1e-12 * a {
                break;
            }
        }
        let current_a = self.current_of_diode_voltage(vd);
        OperatingPoint { voltage_v: vd - current_a * rs, current_a }
    }
}

/// Cell temperature of a panel, °C: `T_air + k·G`.
///
/// `k` = (NOCT − 20 °C)/800 W/m²: 0.03 K·m²/W for a panel in the open, up to 0.05 with its back insulated. Wind is not in it: ±5 K.
/// Source: R. G. Ross, 14th IEEE Photovoltaic Specialists Conference, 1980.
#[inline]
pub fn cell_temperature_c(air_c: f64, irradiance_w_m2: f64, heating_k_m2_per_w: f64) -> f64 {
    air_c + heating_k_m2_per_w * irradiance_w_m2
}

/// Heating of a panel in the open, K·m²/W (nominal operating cell temperature 45 °C).
pub const OPEN_BACK_K_M2_PER_W: f64 = 0.03125;
