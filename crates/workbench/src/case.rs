//! A case: one board (perhaps reworked) on one cell with one load, as a scenario of the engine with uncertain inputs.
//!
//! Documents become cases in [`crate::resolve`]; cases become lives in [`crate::sampling`]. An input knows which number of
//! the scenario it moves ([`Target`]), its figure with named sources (shared sources correlate boards by themselves), and
//! how much it varies from specimen to specimen.

use overwinter_engine::cell::ResistanceCurve;
use overwinter_engine::climate::Climate;
use overwinter_engine::load::{Demand, SleepCurrent};
use overwinter_engine::path::{Drain, Regulator};
use overwinter_engine::{Life, Scenario};
use overwinter_statistics::Figure;

use crate::report::Origin;
use crate::text::Kind;

/// Which number of a scenario an input moves.
///
/// An input's value is the number itself in SI. Where the scenario holds a curve or several numbers (a sleep current over
/// voltage, the segments of an activity), they are all scaled by value / best value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Target {
    /// Capacity of the cell, C.
    CellCapacity,
    /// Resistance of the cell at 25 °C when full, Ω (its curve is scaled).
    CellResistance,
    /// Self-discharge at 20 °C, 1/s.
    SelfDischarge,
    /// The protection's own current, A.
    ProtectionCurrent,
    /// Calendar ageing, share of the capacity in the first year.
    AgeingLoss,
    /// Charge of one run of an activity at the rail, C (its segments are scaled).
    ActivityCharge(usize),
    /// Peak of a segment, A.
    Peak {
        /// Activity.
        activity: usize,
        /// Segment.
        segment: usize,
    },
    /// Sleep current as the scenario holds it (at the rail or at the battery contacts), A.
    SleepCurrent,
    /// An always-on drain, A at its reference voltage.
    AlwaysOn(usize),
    /// Ground or quiescent current of the regulator, A.
    GroundCurrent,
    /// Ground current of a linear regulator in dropout, A.
    GroundInDropout,
    /// Dropout of a linear regulator, V at its stated current (fixed and resistive part are scaled).
    Dropout,
    /// Reset threshold at the rail, V.
    ResetThreshold,
    /// Shift of all temperatures, K.
    TemperatureShift,
}

/// How an input varies from one specimen to the next.
#[derive(Debug, Clone, PartialEq)]
pub struct Spread {
    /// Coefficient of variation between specimens; the ratio to this specimen is log-normal with median 1.
    pub coefficient_of_variation: f64,
    /// Where it comes from: readings of n specimens, or the stated prior.
    pub statement: String,
}

/// One uncertain input of a case.
#[derive(Debug, Clone, PartialEq)]
pub struct Input {
    /// Stable key; the same key in two cases is the same quantity (cell capacity, charge per wake).
    pub key: String,
    /// In words.
    pub label: String,
    /// What it moves.
    pub target: Target,
    /// Best value with its sources, SI.
    pub figure: Figure,
    /// Variation between specimens of the board; `None` for what is not the board's.
    pub spread: Option<Spread>,
    /// How it is printed.
    pub kind: Kind,
    /// Whether less of it lives longer (currents, resistance): decides how a sensitivity is worded.
    pub less_is_better: bool,
    /// Where the value comes from.
    pub origin: Origin,
}

/// A board on a cell with a load.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// Board, with its rework if any.
    pub board: String,
    /// Specimen whose readings are used.
    pub specimen: Option<String>,
    /// The scenario at best values.
    pub scenario: Scenario,
    /// What is uncertain in it.
    pub inputs: Vec<Input>,
    /// What could not be taken into account, in words: unknown inputs that the engine does not see.
    pub gaps: Vec<String>,
}

impl Case {
    /// The input that moves `target`, if the case has one.
    pub fn input(&self, target: Target) -> Option<&Input> {
        self.inputs.iter().find(|input| input.target == target)
    }

    /// Sets one number of `work`, a copy of this case's scenario, without allocating. `value` is the input's value in SI.
    ///
    /// Curves and groups are scaled by `value / best`; an input whose best value is zero is set only where the scenario
    /// holds a plain number.
    pub fn set(&self, work: &mut Scenario, input: &Input, value: f64) {
        let base = &self.scenario;
        let best = input.figure.value();
        let factor = if best == 0.0 { 1.0 } else { value / best };
        match input.target {
            Target::CellCapacity => work.cell.capacity_c = value,
            Target::CellResistance => {
                if let (Some(work), Some(base)) = (&mut work.cell.resistance, &base.cell.resistance)
                {
                    match (&mut work.at_25, &base.at_25) {
                        (ResistanceCurve::Constant { ohm }, ResistanceCurve::Constant { .. })
                        | (ResistanceCurve::Rising { ohm, .. }, ResistanceCurve::Rising { .. }) => {
                            *ohm = value;
                        }
                        (ResistanceCurve::Depth { ohm }, ResistanceCurve::Depth { ohm: base }) => {
                            for (coefficient, base) in ohm.iter_mut().zip(base) {
                                *coefficient = base * factor;
                            }
                        }
                        (ResistanceCurve::Table(curve), ResistanceCurve::Table(base)) => {
                            curve.clone_from(base);
                            curve.scale(factor);
                        }
                        _ => unreachable!("a working scenario keeps the shape of its case"),
                    }
                }
                for (pair, base) in work.cell.rc.iter_mut().zip(&base.cell.rc) {
                    pair.resistance_ohm = base.resistance_ohm * factor;
                }
            }
            Target::SelfDischarge => {
                if let Some(law) = &mut work.cell.self_discharge {
                    law.rate_at_20_per_s = value;
                }
            }
            Target::ProtectionCurrent => {
                if let Some(protection) = &mut work.cell.protection {
                    protection.own_current_a = Some(value);
                }
            }
            Target::AgeingLoss => {
                if let Some(ageing) = &mut work.cell.ageing {
                    ageing.capacity_loss_per_sqrt_year = value;
                }
            }
            Target::ActivityCharge(activity) => {
                let pairs = work.load.activities[activity].segments.iter_mut();
                for (segment, base) in pairs.zip(&base.load.activities[activity].segments) {
                    segment.demand = scaled(base.demand, factor);
                }
            }
            Target::Peak { activity, segment } => {
                if let Some(peak) = &mut work.load.activities[activity].segments[segment].peak {
                    peak.current_a = value;
                }
            }
            Target::SleepCurrent => {
                match (&mut work.load.sleep.current, &base.load.sleep.current) {
                    (
                        SleepCurrent::BatteryByVoltage(curve),
                        SleepCurrent::BatteryByVoltage(base),
                    ) => {
                        curve.clone_from(base);
                        curve.scale(factor);
                    }
                    (SleepCurrent::Rail { current_a } | SleepCurrent::Battery { current_a }, _) => {
                        *current_a = value;
                    }
                    _ => unreachable!("a working scenario keeps the shape of its case"),
                }
            }
            Target::AlwaysOn(index) => {
                match (&mut work.path.always_on[index].drain, &base.path.always_on[index].drain) {
                    (Drain::Constant { current_a }, _) => *current_a = value,
                    (Drain::Ohmic { resistance_ohm }, Drain::Ohmic { resistance_ohm: base }) => {
                        *resistance_ohm = base / factor;
                    }
                    (Drain::ByVoltage(curve), Drain::ByVoltage(base)) => {
                        curve.clone_from(base);
                        curve.scale(factor);
                    }
                    _ => unreachable!("a working scenario keeps the shape of its case"),
                }
            }
            Target::GroundCurrent => match &mut work.path.regulator {
                Regulator::Direct => {}
                Regulator::Linear(linear) => linear.ground_current_a = Some(value),
                Regulator::StepDown(s) | Regulator::StepUp(s) | Regulator::BuckBoost(s) => {
                    s.quiescent_a = Some(value);
                }
            },
            Target::GroundInDropout => {
                if let Regulator::Linear(linear) = &mut work.path.regulator {
                    linear.ground_in_dropout_a = Some(value);
                }
            }
            Target::Dropout => {
                if let (Regulator::Linear(linear), Regulator::Linear(base)) =
                    (&mut work.path.regulator, &base.path.regulator)
                    && let (Some(dropout), Some(base)) = (&mut linear.dropout, base.dropout)
                {
                    dropout.fixed_v = base.fixed_v * factor;
                    dropout.resistance_ohm = base.resistance_ohm * factor;
                }
            }
            Target::ResetThreshold => work.path.reset_v = Some(value),
            Target::TemperatureShift => match (&mut work.climate, &base.climate) {
                (Climate::Constant { celsius }, Climate::Constant { celsius: base }) => {
                    *celsius = base + value;
                }
                (Climate::Monthly(work), Climate::Monthly(base)) => {
                    for (mean, base) in work.mean_celsius.iter_mut().zip(&base.mean_celsius) {
                        *mean = base + value;
                    }
                }
                _ => unreachable!("a working scenario keeps the shape of its case"),
            },
        }
    }

    /// The lowest value an input can have: currents, charges and resistances are not negative. A draw below it is set to
    /// it and counted, so that the report can say so.
    pub fn lowest(target: Target) -> f64 {
        match target {
            Target::TemperatureShift => f64::NEG_INFINITY,
            Target::CellCapacity => 1e-9,
            _ => 0.0,
        }
    }
}

fn scaled(demand: Demand, factor: f64) -> Demand {
    match demand {
        Demand::Current { current_a } => Demand::Current { current_a: current_a * factor },
        Demand::Power { power_w } => Demand::Power { power_w: power_w * factor },
    }
}

/// The name of the activity in which a life ended.
pub fn ending_activity<'a>(scenario: &'a Scenario, life: &Life) -> Option<&'a str> {
    use overwinter_engine::Place;
    match life.place {
        Place::Sleep => None,
        Place::Segment { activity, .. } | Place::Peak { activity, .. } => {
            scenario.load.activities.get(activity).map(|a| a.name.as_str())
        }
    }
}
