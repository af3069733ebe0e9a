//! What a scenario must be before it is forecast: every number in its range, every unknown flagged.

use crate::cell::{MAX_RC, ResistanceCurve};
use crate::climate::{Climate, YEAR_S};
use crate::error::InputError;
use crate::load::{Demand, SleepCurrent};
use crate::outcome::{Flag, Flags};
use crate::path::{Conversion, Drain, Regulator};
use crate::scenario::Scenario;

fn positive(what: &'static str, got: f64) -> Result<(), InputError> {
    if (1e-12..=1e15).contains(&got) {
        Ok(())
    } else {
        Err(InputError::OutOfRange { what, got, need: "above zero (1e-12 to 1e15)" })
    }
}

fn not_negative(what: &'static str, got: f64) -> Result<(), InputError> {
    if (0.0..=1e15).contains(&got) {
        Ok(())
    } else {
        Err(InputError::OutOfRange { what, got, need: "zero or above (to 1e15)" })
    }
}

/// Times are kept in nanoseconds: from one of them to the longest horizon.
fn time(what: &'static str, got: f64) -> Result<(), InputError> {
    if (1e-9..=200.0 * YEAR_S).contains(&got) {
        Ok(())
    } else {
        Err(InputError::OutOfRange { what, got, need: "from 1 ns to 200 years" })
    }
}

fn voltage(what: &'static str, got: Option<f64>) -> Result<(), InputError> {
    match got {
        Some(v) if !(-1e3..=1e3).contains(&v) => {
            Err(InputError::OutOfRange { what, got: v, need: "a voltage within ±1000 V" })
        }
        _ => Ok(()),
    }
}

fn celsius(what: &'static str, got: f64) -> Result<(), InputError> {
    if (-100.0..=200.0).contains(&got) {
        Ok(())
    } else {
        Err(InputError::OutOfRange { what, got, need: "from −100 to 200 °C" })
    }
}

/// Checks the whole scenario; flags what is unknown.
pub(crate) fn validate(sc: &Scenario, flags: &mut Flags) -> Result<(), InputError> {
    let cell = &sc.cell;
    positive("the cell's capacity (C)", cell.capacity_c)?;
    time("the horizon (s)", sc.horizon_s)?;
    match &sc.climate {
        Climate::Constant { celsius: at } => celsius("the temperature (°C)", *at)?,
        Climate::Monthly(m) => {
            for (mean, amplitude) in m.mean_celsius.iter().zip(m.daily_amplitude_kelvin) {
                celsius("a month's mean temperature (°C)", *mean)?;
                if !(0.0..=50.0).contains(&amplitude) {
                    return Err(InputError::OutOfRange {
                        what: "the amplitude of a month's daily swing (K)",
                        got: amplitude,
                        need: "between 0 and 50",
                    });
                }
            }
            if m.start_day >= 365 {
                return Err(InputError::OutOfRange {
                    what: "the day of the year at the start",
                    got: f64::from(m.start_day),
                    need: "0 (1 January) to 364",
                });
            }
        }
    }
    if let Some(law) = sc.load.sleep.temperature {
        celsius("the reference temperature of the sleep current (°C)", law.reference_celsius)?;
        if !(-1.0..=1.0).contains(&law.per_kelvin) {
            return Err(InputError::OutOfRange {
                what: "the temperature coefficient of the sleep current (1/K)",
                got: law.per_kelvin,
                need: "between −1 and 1",
            });
        }
    }
    if let Some(a) = cell.ageing {
        not_negative("the capacity lost by age in the first year", a.capacity_loss_per_sqrt_year)?;
        not_negative("the activation energy of ageing (J/mol)", a.activation_j_per_mol)?;
        if a.activation_j_per_mol > 2e5 {
            return Err(InputError::OutOfRange {
                what: "the activation energy of ageing (J/mol)",
                got: a.activation_j_per_mol,
                need: "at most 200 kJ/mol",
            });
        }
        if let Some(rise) = a.resistance_rise_per_sqrt_year {
            not_negative("the rise of resistance by age in the first year", rise)?;
        }
    }
    if let Some(b) = cell.resistance.as_ref().and_then(|r| r.b_kelvin)
        && !(-20_000.0..=20_000.0).contains(&b)
    {
        return Err(InputError::OutOfRange {
            what: "the temperature constant B of the resistance (K)",
            got: b,
            need: "within ±20000",
        });
    }
    voltage("the cell's lowest voltage", cell.cutoff_v)?;
    voltage("the protection's opening voltage", cell.protection.and_then(|p| p.cutoff_v))?;
    voltage("the processor's reset threshold", sc.path.reset_v)?;
    if let Some(i) = cell.protection.and_then(|p| p.own_current_a) {
        not_negative("the protection's own current (A)", i)?;
    }
    if !(0.0..=1.0).contains(&cell.initial_charge) {
        return Err(InputError::OutOfRange {
            what: "the state of charge at the start",
            got: cell.initial_charge,
            need: "between 0 and 1",
        });
    }
    let ocv = &cell.open_circuit_v;
    if let Some(i) = ocv.values().windows(2).position(|w| w[1] < w[0]) {
        return Err(InputError::OpenCircuitNotMonotone {
            from: ocv.knots()[i],
            to: ocv.knots()[i + 1],
        });
    }
    if ocv.knots()[0] > 0.0 || !ocv.covers(cell.initial_charge) {
        flags.insert(Flag::OutsideChargeTable);
    }
    if cell.rc.len() > MAX_RC {
        return Err(InputError::TooMany { what: "RC pairs", got: cell.rc.len(), most: MAX_RC });
    }
    for pair in &cell.rc {
        not_negative("the resistance of an RC pair (Ω)", pair.resistance_ohm)?;
        positive("the time constant of an RC pair (s)", pair.time_constant_s)?;
    }
    if let Some(curve) = &cell.capacity_by_temperature
        && curve.values().iter().any(|v| *v <= 0.0)
    {
        return Err(InputError::OutOfRange {
            what: "the usable share of capacity",
            got: curve.values().iter().copied().fold(f64::INFINITY, f64::min),
            need: "above zero at every temperature",
        });
    }
    match cell.resistance.as_ref().map(|r| &r.at_25) {
        None => flags.insert(Flag::ResistanceUnknown),
        Some(ResistanceCurve::Constant { ohm }) => not_negative("the cell's resistance (Ω)", *ohm)?,
        Some(ResistanceCurve::Rising { ohm, rise, scale }) => {
            not_negative("the cell's resistance (Ω)", *ohm)?;
            not_negative("the rise of the cell's resistance", *rise)?;
            positive("the scale of the resistance's rise", *scale)?;
        }
        Some(ResistanceCurve::Depth { ohm }) => {
            not_negative("the cell's resistance when full (Ω)", ohm[0])?;
            not_negative("the cell's resistance when empty (Ω)", ohm[0] + ohm[1] + ohm[2])?;
        }
        Some(ResistanceCurve::Table(t)) => {
            for v in t.values() {
                not_negative("the cell's resistance (Ω)", *v)?;
            }
        }
    }
    if let Some(wells) = cell.two_well {
        if !(wells.available_share > 0.0 && wells.available_share <= 1.0) {
            return Err(InputError::OutOfRange {
                what: "the share of the available well",
                got: wells.available_share,
                need: "above 0, at most 1",
            });
        }
        positive("the relaxation rate of the wells (1/s)", wells.rate_per_s)?;
    }
    match cell.self_discharge {
        None => flags.insert(Flag::SelfDischargeUnknown),
        Some(sd) => {
            not_negative("the self-discharge rate (1/s)", sd.rate_at_20_per_s)?;
            if !(1.0..=1e6).contains(&sd.doubling_kelvin) {
                return Err(InputError::OutOfRange {
                    what: "the doubling of self-discharge (K)",
                    got: sd.doubling_kelvin,
                    need: "from 1 K up",
                });
            }
        }
    }
    if cell.protection.is_some_and(|p| p.own_current_a.is_none()) {
        flags.insert(Flag::ProtectionCurrentUnknown);
    }
    if cell.cutoff_v.is_none() && cell.protection.and_then(|p| p.cutoff_v).is_none() {
        flags.insert(Flag::CutoffUnknown);
    }
    if cell.passivating {
        flags.insert(Flag::Passivation);
    }
    if let Some(s) = cell.shelf_life_s {
        time("the shelf life (s)", s)?;
    }
    validate_path(sc, flags)?;
    for activity in &sc.load.activities {
        time("the interval of an activity (s)", activity.interval_s)?;
        for segment in &activity.segments {
            time("the duration of a segment (s)", segment.duration_s)?;
            match segment.demand {
                Demand::Current { current_a } => {
                    not_negative("a segment's current (A)", current_a)?;
                }
                Demand::Power { power_w } => not_negative("a segment's power (W)", power_w)?,
            }
            if let Some(peak) = segment.peak {
                not_negative("a peak's current (A)", peak.current_a)?;
                not_negative("a peak's duration (s)", peak.duration_s)?;
            }
        }
    }
    match &sc.load.sleep.current {
        SleepCurrent::Rail { current_a } | SleepCurrent::Battery { current_a } => {
            not_negative("the sleep current (A)", *current_a)?;
        }
        SleepCurrent::BatteryByVoltage(curve) => {
            for v in curve.values() {
                not_negative("the sleep current (A)", *v)?;
            }
        }
    }
    Ok(())
}

fn validate_path(sc: &Scenario, flags: &mut Flags) -> Result<(), InputError> {
    let path = &sc.path;
    not_negative("the series resistance of the path (Ω)", path.series_ohm)?;
    if path.reset_v.is_none() {
        flags.insert(Flag::ResetThresholdUnknown);
    }
    // A reading at the contacts holds the ground current asleep; awake it still matters little but is
    // not known to be nothing, so the flag stands in both cases.
    match &path.regulator {
        Regulator::Direct => {}
        Regulator::Linear(r) => {
            positive("the regulator's set voltage (V)", r.set_v)?;
            not_negative("the regulator's ground current per load", r.ground_per_load)?;
            match r.ground_current_a {
                None => flags.insert(Flag::GroundCurrentUnknown),
                Some(i) => not_negative("the regulator's ground current (A)", i)?,
            }
            match r.dropout {
                None => flags.insert(Flag::DropoutUnknown),
                Some(d) => {
                    not_negative("the dropout (V)", d.fixed_v)?;
                    not_negative("the dropout resistance (Ω)", d.resistance_ohm)?;
                }
            }
        }
        Regulator::StepDown(r) | Regulator::StepUp(r) | Regulator::BuckBoost(r) => {
            positive("the regulator's set voltage (V)", r.set_v)?;
            not_negative("the regulator's pass resistance (Ω)", r.pass_ohm)?;
            match r.quiescent_a {
                None => flags.insert(Flag::GroundCurrentUnknown),
                Some(i) => not_negative("the regulator's quiescent current (A)", i)?,
            }
            match &r.conversion {
                Conversion::Loss { proportional, resistance_ohm } => {
                    not_negative("the proportional loss", *proportional)?;
                    not_negative("the loss resistance (Ω)", *resistance_ohm)?;
                }
                Conversion::Table(t) => {
                    let rows = t.input_v.len() * t.output_a.len();
                    if rows == 0 || rows != t.efficiency.len() {
                        return Err(InputError::Curve {
                            problem: "of efficiency has not one value per voltage and current",
                            index: t.efficiency.len(),
                        });
                    }
                    for e in &t.efficiency {
                        positive("an efficiency", *e)?;
                    }
                    let rising = |x: &[f64]| x.windows(2).all(|w| w[1] > w[0]);
                    if !rising(&t.input_v) || !rising(&t.output_a) || t.output_a[0] <= 0.0 {
                        return Err(InputError::Curve {
                            problem: "of efficiency has axes that do not rise from above zero",
                            index: 0,
                        });
                    }
                }
            }
        }
    }
    if let Some(bulk) = path.bulk {
        positive("the bulk capacitance (F)", bulk.capacitance_f)?;
        not_negative("the capacitor's series resistance (Ω)", bulk.esr_ohm)?;
        match bulk.leakage_a {
            None => flags.insert(Flag::BulkLeakageUnknown),
            Some(i) => not_negative("the capacitor's leakage (A)", i)?,
        }
    }
    for part in &path.always_on {
        match &part.drain {
            Drain::Constant { current_a } => not_negative("an always-on current (A)", *current_a)?,
            Drain::Ohmic { resistance_ohm } => {
                positive("an always-on resistance (Ω)", *resistance_ohm)?;
            }
            Drain::ByVoltage(curve) => {
                for v in curve.values() {
                    not_negative("an always-on current (A)", *v)?;
                }
            }
        }
    }
    Ok(())
}
