//! From the panel's label to the parameters of its curve.

use super::{BOLTZMANN_EV_PER_K, Panel, REFERENCE_K};
use crate::maths::exp;

/// What a label says (at 1000 W/m² and 25 °C). What it does not say is `None`, and is then assumed and told.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Label {
    /// Rated power, W.
    pub power_w: Option<f64>,
    /// Voltage at maximum power, V.
    pub maximum_power_v: Option<f64>,
    /// Current at maximum power, A.
    pub maximum_power_a: Option<f64>,
    /// Open-circuit voltage, V.
    pub open_circuit_v: Option<f64>,
    /// Short-circuit current, A.
    pub short_circuit_a: Option<f64>,
    /// Cells in series.
    pub cells_in_series: Option<u16>,
    /// Relative change of the short-circuit current, 1/K.
    pub current_coefficient_per_k: Option<f64>,
    /// Relative change of the open-circuit voltage, 1/K (negative, about −0.003): decides the diode's ideality.
    pub voltage_coefficient_per_k: Option<f64>,
}

/// A figure that the label did not give and that was put in its place.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub enum Assumed {
    /// Open-circuit voltage, V: 1.2 times the voltage at maximum power (common practice, no source).
    OpenCircuitV(f64),
    /// Short-circuit current, A: 1.07 times the current at maximum power (common practice, no source).
    ShortCircuitA(f64),
    /// Cells in series: 0.6 V open-circuit each (common practice, no source).
    CellsInSeries(u16),
    /// Change of the short-circuit current, 1/K: 0.0005 (typical of crystalline silicon).
    CurrentCoefficientPerK(f64),
    /// Diode ideality per cell.
    Ideality(f64),
}

/// A label no curve fits.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LabelError {
    /// Two of power, voltage and current at maximum power are needed.
    #[error(
        "the label needs two of: rated power, voltage at maximum power, current at maximum power"
    )]
    TooLittle,
    /// A figure that must be positive is not.
    #[error("{what} is {got}, but must be above zero")]
    NotPositive {
        /// Which figure.
        what: &'static str,
        /// Its value.
        got: f64,
    },
    /// Power is not voltage times current.
    #[error(
        "the label contradicts itself: {power_w} W is not {voltage_v} V x {current_a} A (off by more than 10 %)"
    )]
    PowerMismatch {
        /// Rated power.
        power_w: f64,
        /// Voltage at maximum power.
        voltage_v: f64,
        /// Current at maximum power.
        current_a: f64,
    },
    /// Open circuit must be above, short circuit must be above.
    #[error(
        "{what}: open-circuit {open_v} V must exceed {max_v} V, short-circuit {short_a} A must exceed {max_a} A"
    )]
    Order {
        /// What is wrong.
        what: &'static str,
        /// Open-circuit voltage.
        open_v: f64,
        /// Voltage at maximum power.
        max_v: f64,
        /// Short-circuit current.
        short_a: f64,
        /// Current at maximum power.
        max_a: f64,
    },
    /// No single-diode curve goes through these points.
    #[error(
        "no diode curve passes through the label's points: fill factor {fill_factor:.3} at {per_cell_v:.3} V open-circuit per cell"
    )]
    NoCurve {
        /// `V_mp·I_mp/(V_oc·I_sc)`.
        fill_factor: f64,
        /// Open-circuit voltage per cell, V.
        per_cell_v: f64,
    },
}

/// A panel with what was assumed about it.
#[derive(Debug, Clone, PartialEq)]
pub struct FromLabel {
    /// The parameters.
    pub panel: Panel,
    /// What the label did not say.
    pub assumed: Vec<Assumed>,
}

/// Idealities tried, in order of how usual they are for small crystalline panels.
const IDEALITIES: [f64; 9] = [1.2, 1.1, 1.3, 1.0, 1.4, 1.5, 1.6, 0.9, 1.8];

/// Solves the single-diode parameters from label values.
///
/// For a given ideality the three points (short circuit, open circuit, maximum power) are linear in light current, saturation current and
/// shunt conductance; the series resistance follows from `dP/dV = 0` at maximum power by bisection. The first usual ideality for
/// which saturation current and shunt conductance are not negative is taken and named in [`Assumed::Ideality`]; with the label's voltage coefficient,
/// the ideality (0.80, 0.85 … 2.00) that comes nearest to it.
///
/// # Errors
/// [`LabelError`].
pub fn from_label(label: &Label) -> Result<FromLabel, LabelError> {
    for (what, value) in [
        ("rated power", label.power_w),
        ("voltage at maximum power", label.maximum_power_v),
        ("current at maximum power", label.maximum_power_a),
        ("open-circuit voltage", label.open_circuit_v),
        ("short-circuit current", label.short_circuit_a),
        ("cells in series", label.cells_in_series.map(f64::from)),
    ] {
        if let Some(got) = value
            && !(got > 0.0 && got.is_finite())
        {
            return Err(LabelError::NotPositive { what, got });
        }
    }
    let (vmp, imp) = match (label.power_w, label.maximum_power_v, label.maximum_power_a) {
        (Some(p), Some(v), Some(i)) => {
            if (p / (v * i) - 1.0).abs() > 0.1 {
                return Err(LabelError::PowerMismatch { power_w: p, voltage_v: v, current_a: i });
            }
            (v, i)
        }
        (_, Some(v), Some(i)) => (v, i),
        (Some(p), Some(v), None) => (v, p / v),
        (Some(p), None, Some(i)) => (p / i, i),
        _ => return Err(LabelError::TooLittle),
    };
    let mut assumed = Vec::new();
    let voc = label.open_circuit_v.unwrap_or_else(|| {
        assumed.push(Assumed::OpenCircuitV(1.2 * vmp));
        1.2 * vmp
    });
    let isc = label.short_circuit_a.unwrap_or_else(|| {
        assumed.push(Assumed::ShortCircuitA(1.07 * imp));
        1.07 * imp
    });
    if voc <= vmp || isc <= imp {
        return Err(LabelError::Order {
            what: "label points out of order",
            open_v: voc,
            max_v: vmp,
            short_a: isc,
            max_a: imp,
        });
    }
    let cells = label.cells_in_series.unwrap_or_else(|| {
        let n = libm::round(voc / 0.6).clamp(1.0, 1000.0) as u16;
        assumed.push(Assumed::CellsInSeries(n));
        n
    });
    let coefficient = label.current_coefficient_per_k.unwrap_or_else(|| {
        assumed.push(Assumed::CurrentCoefficientPerK(0.0005));
        0.0005
    });
    let with_ideality = |ideality: f64| {
        let a = ideality * f64::from(cells) * BOLTZMANN_EV_PER_K * REFERENCE_K;
        solve(isc, voc, imp, vmp, a).map(|mut panel| {
            panel.current_coefficient_a_per_k = coefficient * panel.light_current_a;
            panel
        })
    };
    let found = match label.voltage_coefficient_per_k {
        // The ideality whose open-circuit voltage moves with temperature as the label says.
        Some(wanted) => (16..=40)
            .filter_map(|k| {
                let ideality = 0.05 * f64::from(k);
                with_ideality(ideality).map(|panel| {
                    let open = |t| panel.curve(1000.0, t).open_circuit_v();
                    (ideality, panel, ((open(35.0) - open(15.0)) / (20.0 * voc) - wanted).abs())
                })
            })
            .min_by(|a, b| a.2.total_cmp(&b.2))
            .map(|(ideality, panel, _)| (ideality, panel)),
        None => IDEALITIES
            .iter()
            .find_map(|&ideality| with_ideality(ideality).map(|panel| (ideality, panel))),
    };
    if let Some((ideality, panel)) = found {
        assumed.push(Assumed::Ideality(ideality));
        return Ok(FromLabel { panel, assumed });
    }
    Err(LabelError::NoCurve {
        fill_factor: vmp * imp / (voc * isc),
        per_cell_v: voc / f64::from(cells),
    })
}

/// The panel through three points for a given modified ideality `a` (V); `None` where no physical one exists.
pub fn solve(isc: f64, voc: f64, imp: f64, vmp: f64, a: f64) -> Option<Panel> {
    // For a series resistance: light current, saturation current, shunt conductance.
    let linear = |rs: f64| -> Option<(f64, f64, f64)> {
        // Scaled by exp(−voc/a), so that nothing overflows.
        let x = |v: f64| exp((v - voc) / a) - exp(-voc / a);
        let (d1, d2, d3) = (isc * rs, voc, vmp + imp * rs);
        let (e1, e2, e3) = (x(d1), x(d2), x(d3));
        // Differences to the open-circuit equation remove the light current.
        // isc = i0(e2 − e1) + g(d2 − d1);  imp = i0(e2 − e3) + g(d2 − d3)
        let det = (e2 - e1) * (d2 - d3) - (e2 - e3) * (d2 - d1);
        if det.abs() < 1e-300 {
            return None;
        }
        let i0 = (isc * (d2 - d3) - imp * (d2 - d1)) / det;
        let g = ((e2 - e1) * imp - (e2 - e3) * isc) / det;
        Some((i0 * e2 + g * d2, i0 * exp(-voc / a), g))
    };
    let residual = |rs: f64| -> Option<f64> {
        let (_, i0, g) = linear(rs)?;
        let slope = i0 / a * exp((vmp + imp * rs) / a) + g;
        Some(slope / (1.0 + slope * rs) - imp / vmp)
    };
    let limit = (voc - vmp) / imp * (1.0 - 1e-9);
    // Scan for a change of sign, then bisect; keep the physical solution.
    let steps = 400;
    let mut previous = (0.0, residual(0.0)?);
    for k in 1..=steps {
        let rs = limit * f64::from(k) / f64::from(steps);
        let Some(value) = residual(rs) else { continue };
        if previous.1.signum() != value.signum() {
            let (mut low, mut high, sign) = (previous.0, rs, previous.1.signum());
            for _ in 0..100 {
                let mid = 0.5 * (low + high);
                if residual(mid)?.signum() == sign {
                    low = mid;
                } else {
                    high = mid;
                }
            }
            let rs = 0.5 * (low + high);
            let (light, i0, g) = linear(rs)?;
            if i0 > 0.0 && light > 0.0 && g >= 0.0 {
                return Some(Panel {
                    light_current_a: light,
                    saturation_a: i0,
                    ideality_v: a,
                    series_ohm: rs,
                    shunt_ohm: 1.0 / g.max(1e-9),
                    current_coefficient_a_per_k: 0.0,
                });
            }
        }
        previous = (rs, value);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_curve_passes_through_the_label() {
        let label = Label { maximum_power_v: Some(6.0), power_w: Some(0.3), ..Label::default() };
        let found = from_label(&label).unwrap();
        let curve = found.panel.curve(1000.0, 25.0);
        let top = curve.maximum_power();
        assert!((top.voltage_v - 6.0).abs() < 1e-6, "{top:?}");
        assert!((top.current_a - 0.05).abs() < 1e-8);
        assert!((curve.open_circuit_v() - 7.2).abs() < 1e-9);
        assert!((curve.short_circuit_a() - 0.0535).abs() < 1e-10);
        assert!(found.assumed.len() == 5);
    }

    #[test]
    fn the_voltage_coefficient_decides_the_ideality() {
        let label = |c| Label {
            maximum_power_v: Some(6.0),
            power_w: Some(1.0),
            cells_in_series: Some(12),
            voltage_coefficient_per_k: Some(c),
            ..Label::default()
        };
        let slope = |c: f64| {
            let panel = from_label(&label(c)).unwrap().panel;
            let open = |t| panel.curve(1000.0, t).open_circuit_v();
            (open(35.0) - open(15.0)) / (20.0 * 7.2)
        };
        // A steeper label gives a steeper panel, near what it says.
        assert!((slope(-0.0030) + 0.0030).abs() < 2e-4, "{}", slope(-0.0030));
        assert!(slope(-0.0033) < slope(-0.0028));
    }

    #[test]
    fn impossible_labels_are_told() {
        assert_eq!(from_label(&Label::default()), Err(LabelError::TooLittle));
        let mismatch = Label {
            power_w: Some(5.0),
            maximum_power_v: Some(6.0),
            maximum_power_a: Some(0.3),
            ..Label::default()
        };
        assert!(matches!(from_label(&mismatch), Err(LabelError::PowerMismatch { .. })));
        let too_square = Label {
            maximum_power_v: Some(5.99),
            maximum_power_a: Some(0.999),
            open_circuit_v: Some(6.0),
            short_circuit_a: Some(1.0),
            ..Label::default()
        };
        assert!(matches!(from_label(&too_square), Err(LabelError::NoCurve { .. })));
        let negative = Label { power_w: Some(-1.0), ..Label::default() };
        assert!(matches!(from_label(&negative), Err(LabelError::NotPositive { .. })));
    }

    #[test]
    fn operating_points_agree_with_each_other() {
        let panel = from_label(&Label {
            power_w: Some(1.0),
            maximum_power_v: Some(6.0),
            ..Label::default()
        })
        .unwrap()
        .panel;
        for g in [1.0, 30.0, 400.0, 1100.0] {
            for t in [-30.0, 10.0, 70.0] {
                let curve = panel.curve(g, t);
                let voc = curve.open_circuit_v();
                assert!(curve.current_a(voc).abs() < 1e-10);
                assert!(curve.current_a(voc + 2.0) < 0.0);
                let top = curve.maximum_power();
                for dv in [-0.05, 0.05] {
                    let v = top.voltage_v + dv;
                    assert!(v * curve.current_a(v) < top.power_w());
                }
                let v = curve.voltage_at_current_v(0.7 * top.current_a).unwrap();
                assert!((curve.current_a(v) - 0.7 * top.current_a).abs() < 1e-10);
                // Twice the panel at the same voltage gives twice the current.
                let twice = panel.scaled(2.0).curve(g, t);
                assert!((twice.current_a(v) - 2.0 * curve.current_a(v)).abs() < 1e-10);
            }
        }
    }
}
