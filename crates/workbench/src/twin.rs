//! A case's quick twin: the same board with its currents constant over voltage, calibrated on the full forecast.
//!
//! Where currents depend on the cell's voltage (a sleep current read at several supply voltages, a divider, the ground
//! current in dropout) a forecast has to follow the voltage down, at some tens of microseconds; with constant currents it
//! leaps in one or two. For thousands of draws the twin takes the draws: its sleep current is chosen so that its life at
//! best values equals the full one's, so it errs only in the second order of the draws' deviations. That is not taken on
//! trust: some of the draws are forecast in full as well, and the twin is used only if every one of them agrees within
//! [`TOLERANCE`]; the largest difference found travels with the result.

use overwinter_engine::climate::Climate;
use overwinter_engine::load::SleepCurrent;
use overwinter_engine::path::{Drain, Regulator};
use overwinter_engine::{Engine, InputError, Life};

use crate::case::{Case, Target};

/// Largest relative difference of a checked life, of lives above a day.
pub(crate) const TOLERANCE: f64 = 2e-3;

/// Share of the checked draws that may end by another limit than in full: two limits that are met within hours.
const OTHER_ENDINGS: f64 = 0.05;

/// A case with constant currents.
#[derive(Debug, Clone)]
pub(crate) struct Twin {
    /// The case to forecast.
    pub(crate) case: Case,
    /// Per input of the original: the factor from its value to the twin's, or nothing where the twin has no such number.
    pub(crate) scale: Vec<Option<f64>>,
}

impl Twin {
    /// The twin of a case; `None` with seasons or ageing, where nothing depends on the voltage, or where constant currents cannot stand for it
    /// (switching regulators, a board that fails at once).
    pub(crate) fn of(case: &Case) -> Option<Self> {
        // With seasons or ageing the full forecast costs little more than the twin's: those draws are taken in full.
        if case.scenario.cell.ageing.is_some()
            || matches!(case.scenario.climate, Climate::Monthly(_))
        {
            return None;
        }
        let full_s = Engine::new().life(&case.scenario).ok().map(|life| life.life_s)?;
        if full_s <= 0.0 || full_s >= case.scenario.horizon_s {
            return None;
        }
        let middle_v = case.scenario.cell.open_circuit_v.at(0.5);
        let mut twin = case.clone();
        let mut scale = vec![Some(1.0); case.inputs.len()];
        let mut depends = false;
        match &mut twin.scenario.path.regulator {
            Regulator::Direct => {}
            Regulator::Linear(linear) => {
                depends |= linear.ground_in_dropout_a.take().is_some();
            }
            Regulator::StepDown(_) | Regulator::StepUp(_) | Regulator::BuckBoost(_) => return None,
        }
        let mut constant = vec![None; twin.scenario.path.always_on.len()];
        for (k, part) in twin.scenario.path.always_on.iter_mut().enumerate() {
            let current_a = match &part.drain {
                Drain::Constant { .. } => continue,
                Drain::Ohmic { resistance_ohm } => middle_v / resistance_ohm,
                Drain::ByVoltage(curve) => curve.at(middle_v),
            };
            part.drain = Drain::Constant { current_a };
            constant[k] = Some(current_a);
            depends = true;
        }
        let start_a = match &twin.scenario.load.sleep.current {
            SleepCurrent::Rail { current_a } | SleepCurrent::Battery { current_a } => *current_a,
            SleepCurrent::BatteryByVoltage(curve) => {
                depends = true;
                curve.at(middle_v)
            }
        };
        if !depends {
            return None;
        }
        let at_rail = matches!(twin.scenario.load.sleep.current, SleepCurrent::Rail { .. });
        let sleep_a = calibrate(&mut twin, start_a, at_rail, full_s)?;
        for (factor, input) in scale.iter_mut().zip(&case.inputs) {
            let best = input.figure.value();
            match input.target {
                Target::SleepCurrent => *factor = Some(sleep_a / best),
                Target::GroundInDropout => *factor = None,
                Target::AlwaysOn(k) => {
                    if let Some(current_a) = constant[k] {
                        *factor = Some(current_a / best);
                    }
                }
                _ => {}
            }
        }
        scale.iter().all(|f| f.is_none_or(f64::is_finite)).then_some(Self { case: twin, scale })
    }

    /// The largest relative difference between lives of the twin and in full, if all agree; `None` if it must not be used.
    pub(crate) fn agrees(twin: &[(Life, Life)], full: &[(Life, Life)]) -> Option<f64> {
        let pairs = || twin.iter().zip(full).flat_map(|(t, f)| [(t.0, f.0), (t.1, f.1)]);
        let largest = pairs()
            .map(|(t, f)| (t.life_s - f.life_s).abs() / f.life_s.max(86_400.0))
            .fold(0.0_f64, f64::max);
        let other = pairs().filter(|(t, f)| t.ending != f.ending).count();
        let fits = largest <= TOLERANCE && other as f64 <= OTHER_ENDINGS * (2 * full.len()) as f64;
        fits.then_some(largest)
    }
}

/// The constant sleep current with which the twin lives `full_s`, by bisection; it is left set in the twin.
fn calibrate(twin: &mut Case, start_a: f64, at_rail: bool, full_s: f64) -> Option<f64> {
    let mut engine = Engine::new();
    let mut life = |twin: &mut Case, current_a: f64| -> Result<f64, InputError> {
        twin.scenario.load.sleep.current = if at_rail {
            SleepCurrent::Rail { current_a }
        } else {
            SleepCurrent::Battery { current_a }
        };
        engine.life(&twin.scenario).map(|life| life.life_s)
    };
    let (mut low, mut high) = (0.0, 4.0 * start_a);
    if life(twin, low).ok()? < full_s || life(twin, high).ok()? > full_s {
        return None;
    }
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if life(twin, middle).ok()? > full_s {
            low = middle;
        } else {
            high = middle;
        }
    }
    let best = 0.5 * (low + high);
    let reached = life(twin, best).ok()?;
    ((reached / full_s - 1.0).abs() < TOLERANCE && best > 0.0).then_some(best)
}
