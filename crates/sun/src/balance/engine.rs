//! The engine's board and cell as the balance's bank and demand: the same supply path, load, cell and temperature laws as the forecast.
//!
//! - Mean current: the engine's operating point of sleep and of every segment at the cell's voltage, weighted by their time.
//! - Lowest usable state: the state of charge at which the engine's own forecast ends at that temperature (reset, regulator out of reach, cut-off,
//!   protection, exhausted), with self-discharge, ageing, wells and shelf life left out: those belong to the balance or level out within its hour.
//! - Charging uses the engine's open-circuit voltage, resistance (series plus the RC pairs, since an hour is longer than their time
//!   constants), capacity over temperature and self-discharge.

use super::tables::{Bank, Demand as BalanceDemand};
use overwinter_engine::cell::ResistanceCurve;
use overwinter_engine::load::SleepCurrent;
use overwinter_engine::outcome::Ending;
use overwinter_engine::supply::{DrainSum, Draw, Source, drain_current_a, operate};
use overwinter_engine::{Cell, Climate, Engine, Flags, InputError, Scenario};

/// Temperatures at which the forecast is asked for the lowest usable state, °C: −50…90 in steps of 10 K, straight lines between.
const COLDEST_C: f64 = -50.0;
const STEP_K: f64 = 10.0;
const POINTS: usize = 15;

/// A scenario of the engine seen by the balance.
#[derive(Debug, Clone)]
pub struct EngineNode {
    scenario: Scenario,
    awake: DrainSum,
    asleep: DrainSum,
    lowest_state: [f64; POINTS],
    endings: [Ending; POINTS],
    flags: Flags,
}

impl EngineNode {
    /// Prepares a scenario: its climate and its initial charge are not used.
    ///
    /// # Errors
    /// [`InputError`] when the engine cannot forecast the scenario.
    pub fn new(scenario: &Scenario) -> Result<Self, InputError> {
        let mut probe = scenario.clone();
        probe.cell.initial_charge = 1.0;
        probe.cell.self_discharge = None;
        probe.cell.ageing = None;
        probe.cell.two_well = None;
        probe.cell.shelf_life_s = None;
        probe.horizon_s = 200.0 * 365.0 * 86400.0;
        let mut engine = Engine::new();
        let mut lowest_state = [0.0; POINTS];
        let mut endings = [Ending::AliveAtHorizon; POINTS];
        let mut flags = Flags::default();
        for (i, (lowest, ending)) in lowest_state.iter_mut().zip(&mut endings).enumerate() {
            probe.climate = Climate::Constant { celsius: COLDEST_C + STEP_K * i as f64 };
            let mut life = engine.life(&probe)?;
            if life.ending == Ending::AliveAtHorizon {
                // The lowest state is a matter of voltages, not of capacity: a small cell reaches it within the horizon.
                let mut small = probe.clone();
                small.cell.capacity_c *= 1e-3;
                life = engine.life(&small)?;
            }
            *ending = life.ending;
            *lowest = if life.ending == Ending::AliveAtHorizon {
                0.0
            } else {
                life.state_of_charge.clamp(0.0, 1.0)
            };
            if (0.0..=30.0).contains(&(COLDEST_C + STEP_K * i as f64)) {
                flags.extend(life.flags);
            }
        }
        let (awake, asleep) = drains(scenario);
        Ok(Self { awake, asleep, scenario: scenario.clone(), lowest_state, endings, flags })
    }

    /// What the engine has to say about unknown or assumed inputs (asked between 0 and 30 °C).
    pub fn flags(&self) -> Flags {
        self.flags
    }

    /// What ends the discharge at a temperature (the nearest of −50, −40 … 90 °C).
    pub fn ending(&self, celsius: f64) -> Ending {
        let i = libm::round((celsius - COLDEST_C) / STEP_K).clamp(0.0, (POINTS - 1) as f64);
        self.endings[i as usize]
    }
}

/// Drains awake and asleep: a sleep reading taken at the battery contacts holds the board's own already.
fn drains(scenario: &Scenario) -> (DrainSum, DrainSum) {
    let protection_a = scenario.cell.protection.and_then(|p| p.own_current_a).unwrap_or(0.0);
    let reads_battery = !matches!(scenario.load.sleep.current, SleepCurrent::Rail { .. });
    (
        DrainSum::of(&scenario.path, protection_a, false),
        DrainSum::of(&scenario.path, protection_a, reads_battery),
    )
}

/// What a scenario draws from its cell in the mean over whole cycles, at a cell voltage and a temperature, A.
pub fn mean_current_a(scenario: &Scenario, cell_v: f64, celsius: f64) -> f64 {
    let (awake, asleep) = drains(scenario);
    mean_current(scenario, &awake, &asleep, cell_v, celsius)
}

fn mean_current(
    scenario: &Scenario,
    awake: &DrainSum,
    asleep: &DrainSum,
    cell_v: f64,
    celsius: f64,
) -> f64 {
    let path = &scenario.path;
    let table = match &scenario.load.sleep.current {
        SleepCurrent::BatteryByVoltage(curve) => Some(curve),
        _ => None,
    };
    let source = Source { emf_v: cell_v, ohm: 0.0 };
    let mut busy = 0.0;
    let mut mean = 0.0;
    for activity in &scenario.load.activities {
        for segment in &activity.segments {
            let share = segment.duration_s / activity.interval_s;
            let point = operate(path, awake, Draw::Rail(segment.demand), source, None, None);
            mean += share * point.cell_a;
            busy += share;
        }
    }
    let asleep = operate(path, asleep, sleep_draw(scenario, celsius), source, None, table);
    mean + (1.0 - busy).max(0.0) * asleep.cell_a
}

fn sleep_draw(scenario: &Scenario, celsius: f64) -> Draw {
    let sleep = &scenario.load.sleep;
    let factor = sleep
        .temperature
        .map_or(1.0, |t| libm::exp(t.per_kelvin * (celsius - t.reference_celsius)));
    match &sleep.current {
        SleepCurrent::Rail { current_a } => {
            Draw::Rail(overwinter_engine::load::Demand::Current { current_a: current_a * factor })
        }
        SleepCurrent::Battery { current_a } => Draw::Battery { current_a: current_a * factor },
        SleepCurrent::BatteryByVoltage(_) => Draw::BatteryTable { factor },
    }
}

impl BalanceDemand for EngineNode {
    fn mean_current_a(&self, cell_v: f64, celsius: f64) -> f64 {
        mean_current(&self.scenario, &self.awake, &self.asleep, cell_v, celsius)
    }

    fn dark_current_a(&self, cell_v: f64, _: f64) -> f64 {
        let protection = self.scenario.cell.protection.and_then(|p| p.own_current_a).unwrap_or(0.0);
        let drains: f64 = self
            .scenario
            .path
            .always_on
            .iter()
            .map(|part| drain_current_a(&part.drain, cell_v))
            .sum();
        protection + drains
    }

    fn lowest_usable_state(&self, celsius: f64) -> f64 {
        let at = ((celsius - COLDEST_C) / STEP_K).clamp(0.0, (POINTS - 1) as f64);
        let k = (at as usize).min(POINTS - 2);
        self.lowest_state[k] + (self.lowest_state[k + 1] - self.lowest_state[k]) * (at - k as f64)
    }
}

impl Bank for EngineNode {
    fn capacity_c(&self) -> f64 {
        self.scenario.cell.capacity_c
    }
    fn capacity_share(&self, celsius: f64) -> f64 {
        CellBank(&self.scenario.cell).capacity_share(celsius)
    }
    fn open_circuit_v(&self, state: f64) -> f64 {
        self.scenario.cell.open_circuit_v.at(state)
    }
    fn resistance_ohm(&self, state: f64, celsius: f64) -> f64 {
        CellBank(&self.scenario.cell).resistance_ohm(state, celsius)
    }
    fn self_discharge_per_s(&self, celsius: f64) -> f64 {
        CellBank(&self.scenario.cell).self_discharge_per_s(celsius)
    }
}

/// The engine's cell alone as a bank.
#[derive(Debug, Clone, Copy)]
pub struct CellBank<'a>(pub &'a Cell);

impl Bank for CellBank<'_> {
    fn capacity_c(&self) -> f64 {
        self.0.capacity_c
    }
    fn capacity_share(&self, celsius: f64) -> f64 {
        self.0.capacity_by_temperature.as_ref().map_or(1.0, |curve| curve.at(celsius))
    }
    fn open_circuit_v(&self, state: f64) -> f64 {
        self.0.open_circuit_v.at(state)
    }
    fn resistance_ohm(&self, state: f64, celsius: f64) -> f64 {
        let Some(resistance) = &self.0.resistance else { return 0.0 };
        let series = match &resistance.at_25 {
            ResistanceCurve::Constant { ohm } => *ohm,
            ResistanceCurve::Rising { ohm, rise, scale } => {
                ohm * (1.0 + rise * libm::exp(-state / scale))
            }
            ResistanceCurve::Depth { ohm } => {
                let d = 1.0 - state;
                ohm[0] + d * (ohm[1] + d * ohm[2])
            }
            ResistanceCurve::Table(curve) => curve.at(state),
        };
        let polarisation: f64 = self.0.rc.iter().map(|pair| pair.resistance_ohm).sum();
        let factor = resistance
            .b_kelvin
            .map_or(1.0, |b| libm::exp(b * (1.0 / (celsius + 273.15) - 1.0 / 298.15)));
        (series + polarisation) * factor
    }
    fn self_discharge_per_s(&self, celsius: f64) -> f64 {
        self.0.self_discharge.map_or(0.0, |s| s.rate_per_s(celsius))
    }
}
