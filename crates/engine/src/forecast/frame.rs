//! What a forecast prepares once: schedule in nanoseconds, decay factors, conditions of each month.

use super::validate::validate;
use crate::cell::{MAX_RC, Resistance, ResistanceCurve, SelfDischarge};
use crate::climate::{Climate, DAY_S, MONTH_DAYS, YEAR_S};
use crate::curve::Curve;
use crate::error::InputError;
use crate::load::{Demand, ExponentialTemperature, SleepCurrent};
use crate::outcome::{Flag, Flags};
use crate::path::Regulator;
use crate::scenario::Scenario;
use crate::supply::{DrainSum, Draw, Limits};

/// RC pairs plus the wells' relaxation.
pub(crate) const MODES: usize = MAX_RC + 1;

/// One number per mode.
pub(crate) type PerMode = [f64; MODES];

pub(crate) const NS: f64 = 1e-9;

/// `e^(−x)`, zero where it would underflow.
#[inline]
pub(crate) fn decay(x: f64) -> f64 {
    if x > 700.0 { 0.0 } else { libm::exp(-x) }
}

/// Seconds to whole nanoseconds.
#[inline]
pub(crate) fn to_ns(seconds: f64) -> i64 {
    (seconds * 1e9).round() as i64
}

/// One activity's timing.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Train {
    pub(crate) interval_ns: i64,
    pub(crate) offset_ns: i64,
    pub(crate) duration_ns: i64,
    pub(crate) interval_s: f64,
    pub(crate) duration_s: f64,
    pub(crate) first_seg: usize,
    pub(crate) end_seg: usize,
    /// `e^(−a(T−D))`.
    pub(crate) rest_decay: PerMode,
    /// `1/(1 − e^(−aT))`.
    pub(crate) norm: PerMode,
    /// `(1 − e^(−a(T−D)))/(a(T−D))`.
    pub(crate) rest_mean: PerMode,
    /// The same over the rest's parts 0…1/16, 1/16…1/4 and 1/4…1.
    pub(crate) part_mean: [PerMode; 3],
}

/// Shares of the rest's parts over which the sleep current is averaged: narrow where the polarisation
/// still relaxes.
pub(crate) const REST_PARTS: [f64; 3] = [1.0 / 16.0, 3.0 / 16.0, 3.0 / 4.0];

impl Train {
    /// Whether the activity still draws just before a phase, for a check there. A sleep check looks at
    /// the end of sleep: an activity that ends at that time is over.
    #[inline]
    pub(crate) fn runs_at(&self, phase_ns: i64, kind: Kind) -> bool {
        phase_ns < self.duration_ns || (phase_ns == self.duration_ns && kind != Kind::Sleep)
    }
}

/// One segment's timing.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Seg {
    pub(crate) train: usize,
    pub(crate) index: usize,
    pub(crate) duration_s: f64,
    pub(crate) end_ns: i64,
    pub(crate) demand: Demand,
    pub(crate) peak: Option<crate::load::Peak>,
    pub(crate) decay: PerMode,
    /// `(1 − e^(−ad))/(ad)`.
    pub(crate) mean: PerMode,
    /// `1 − e^(−a·d_peak)`.
    pub(crate) peak_rise: PerMode,
}

/// Where the rail is looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Kind {
    /// Just before a train's activity starts, or at any time without trains.
    Sleep,
    /// End of a segment at its own demand.
    SegmentEnd,
    /// Peak at the end of a segment.
    Peak,
}

#[derive(Debug, Clone, Copy)]
pub(crate) struct Check {
    pub(crate) kind: Kind,
    /// `usize::MAX` without trains.
    pub(crate) train: usize,
    /// Into `segs`; unused for sleep.
    pub(crate) seg: usize,
    pub(crate) theta_ns: i64,
}

/// The cell's and board's temperature-dependent numbers of one month (or of the constant climate).
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Conditions {
    /// Usable share of capacity and resistance factor at the mean temperature.
    pub(crate) share: f64,
    pub(crate) ohm_factor: f64,
    /// The same at the coldest hour.
    pub(crate) cold_share: f64,
    pub(crate) cold_ohm_factor: f64,
    pub(crate) lambda: f64,
    pub(crate) sleep_factor: f64,
    /// Growth of the squared ageing loss per year, before the pre-factor.
    pub(crate) ageing_square: f64,
}

/// How the cell current depends on the cell's voltage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Dependence {
    /// Not at all.
    None,
    /// Only once the regulator is in dropout.
    InDropout,
    /// Always.
    Always,
}

/// The prepared scenario.
#[derive(Debug, Default)]
pub(crate) struct Frame {
    pub(crate) trains: Vec<Train>,
    pub(crate) segs: Vec<Seg>,
    pub(crate) checks: Vec<Check>,
    pub(crate) gcds: Vec<i64>,
    /// The train with the shortest interval.
    pub(crate) shortest: usize,
    pub(crate) modes: usize,
    pub(crate) rc: usize,
    pub(crate) rate: PerMode,
    /// Polarisation volts per ampere of mode current (RC pairs).
    pub(crate) mode_ohm: PerMode,
    /// Coulombs of head lost per ampere of the wells' mode current: `(1−c)/(c·a)`.
    pub(crate) well_c_per_a: f64,
    pub(crate) conditions: [Conditions; 12],
    /// What the conditions were computed from, and what had to be said of them: many scenarios differ in nothing of it.
    weather: Option<(Weather, Flags)>,
    pub(crate) seasonal: bool,
    pub(crate) monthly: bool,
    pub(crate) awake: DrainSum,
    pub(crate) asleep: DrainSum,
    pub(crate) limits: Option<Limits>,
    pub(crate) dependence: Option<Dependence>,
    pub(crate) resistance_falls: bool,
    pub(crate) horizon_s: f64,
    pub(crate) flags: Flags,
}

/// Everything of a scenario that [`conditions`] reads.
#[derive(Debug)]
struct Weather {
    climate: Climate,
    capacity_by_temperature: Option<Curve>,
    with_resistance: bool,
    resistance_b_kelvin: Option<f64>,
    discharge_celsius: Option<(f64, f64)>,
    self_discharge: Option<SelfDischarge>,
    sleep: Option<ExponentialTemperature>,
    activation_j_per_mol: Option<f64>,
}

impl Weather {
    fn of(sc: &Scenario) -> Self {
        let cell = &sc.cell;
        Self {
            climate: sc.climate,
            capacity_by_temperature: cell.capacity_by_temperature.clone(),
            with_resistance: cell.resistance.is_some(),
            resistance_b_kelvin: cell.resistance.as_ref().and_then(|r| r.b_kelvin),
            discharge_celsius: cell.discharge_celsius,
            self_discharge: cell.self_discharge,
            sleep: sc.load.sleep.temperature,
            activation_j_per_mol: cell.ageing.map(|a| a.activation_j_per_mol),
        }
    }

    fn is_that_of(&self, sc: &Scenario) -> bool {
        let cell = &sc.cell;
        self.climate == sc.climate
            && self.self_discharge == cell.self_discharge
            && self.with_resistance == cell.resistance.is_some()
            && self.resistance_b_kelvin == cell.resistance.as_ref().and_then(|r| r.b_kelvin)
            && self.discharge_celsius == cell.discharge_celsius
            && self.sleep == sc.load.sleep.temperature
            && self.activation_j_per_mol == cell.ageing.map(|a| a.activation_j_per_mol)
            && self.capacity_by_temperature == cell.capacity_by_temperature
    }
}

fn gcd(mut a: i64, mut b: i64) -> i64 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

impl Frame {
    /// Checks the scenario and prepares it; reuses its memory.
    pub(crate) fn prepare(&mut self, sc: &Scenario) -> Result<(), InputError> {
        self.flags = Flags::NONE;
        validate(sc, &mut self.flags)?;
        let cell = &sc.cell;
        self.horizon_s = sc.horizon_s;
        self.prepare_conditions(sc);
        self.rc = cell.rc.len();
        self.modes = self.rc;
        self.rate = [1.0; MODES];
        self.mode_ohm = [0.0; MODES];
        for (m, pair) in cell.rc.iter().enumerate() {
            self.rate[m] = 1.0 / pair.time_constant_s;
            self.mode_ohm[m] = pair.resistance_ohm;
        }
        self.well_c_per_a = 0.0;
        if let Some(wells) = cell.two_well
            && wells.available_share < 1.0
        {
            let c = wells.available_share;
            let lambda = self.conditions[0].lambda;
            let rate = wells.rate_per_s + lambda;
            self.rate[self.modes] = rate;
            self.well_c_per_a = (1.0 - c) / (c * rate);
            self.modes += 1;
        }
        let protection_a = cell.protection.and_then(|p| p.own_current_a).unwrap_or(0.0);
        self.awake = DrainSum::of(&sc.path, protection_a, false);
        self.dependence = Some(dependence(sc, &self.awake));
        self.prepare_schedule(sc)?;
        self.asleep = match sc.load.sleep.current {
            SleepCurrent::Rail { .. } => self.awake,
            _ => DrainSum::of(&sc.path, protection_a, true),
        };
        self.limits = Some(Limits::of(&sc.path, cell));
        self.resistance_falls = match cell.resistance.as_ref().map(|r| &r.at_25) {
            None | Some(ResistanceCurve::Constant { .. } | ResistanceCurve::Rising { .. }) => true,
            Some(ResistanceCurve::Depth { ohm }) => ohm[1] >= 0.0 && ohm[1] + 2.0 * ohm[2] >= 0.0,
            Some(ResistanceCurve::Table(t)) => t.values().windows(2).all(|w| w[1] <= w[0]),
        };
        Ok(())
    }

    pub(crate) fn limits(&self) -> Limits {
        self.limits.unwrap_or(Limits {
            reset_v: f64::NEG_INFINITY,
            cell_v: f64::NEG_INFINITY,
            protection_v: f64::NEG_INFINITY,
        })
    }

    fn prepare_schedule(&mut self, sc: &Scenario) -> Result<(), InputError> {
        self.trains.clear();
        self.segs.clear();
        self.checks.clear();
        let mut next_ns = 0_i64;
        for activity in &sc.load.activities {
            let mut train = Train {
                interval_ns: to_ns(activity.interval_s),
                first_seg: self.segs.len(),
                ..Train::default()
            };
            let mut end_ns = 0;
            for (index, segment) in activity.segments.iter().enumerate() {
                end_ns += to_ns(segment.duration_s);
                let mut seg = Seg {
                    train: self.trains.len(),
                    index,
                    duration_s: to_ns(segment.duration_s) as f64 * NS,
                    end_ns,
                    demand: segment.demand,
                    peak: segment.peak,
                    decay: [0.0; MODES],
                    mean: [0.0; MODES],
                    peak_rise: [0.0; MODES],
                };
                for m in 0..self.modes {
                    (seg.decay[m], seg.mean[m]) = decay_and_mean(self.rate[m] * seg.duration_s);
                    if let Some(peak) = seg.peak {
                        seg.peak_rise[m] = -libm::expm1(-self.rate[m] * peak.duration_s);
                    }
                }
                self.segs.push(seg);
            }
            train.end_seg = self.segs.len();
            train.duration_ns = end_ns;
            train.interval_s = train.interval_ns as f64 * NS;
            train.duration_s = train.duration_ns as f64 * NS;
            if end_ns > train.interval_ns {
                return Err(InputError::ActivityTooLong {
                    activity: activity.name.clone(),
                    duration_s: train.duration_s,
                    interval_s: train.interval_s,
                });
            }
            let latest_ns = train.interval_ns - train.duration_ns;
            train.offset_ns = match activity.first_s {
                Some(first) => {
                    let first_ns = to_ns(first);
                    if !(first >= 0.0 && first_ns <= latest_ns) {
                        return Err(InputError::OutOfRange {
                            what: "the first start of an activity",
                            got: first,
                            need: "between 0 and its interval less its duration",
                        });
                    }
                    first_ns
                }
                None => next_ns.min(latest_ns),
            };
            next_ns += train.duration_ns;
            for m in 0..self.modes {
                let rest_s = train.interval_s - train.duration_s;
                (train.rest_decay[m], train.rest_mean[m]) = decay_and_mean(self.rate[m] * rest_s);
                if self.dependence == Some(Dependence::InDropout) {
                    let mut from = 0.0;
                    for (part, share) in REST_PARTS.iter().enumerate() {
                        let x = self.rate[m] * rest_s;
                        let (_, mean) = decay_and_mean(x * share);
                        train.part_mean[part][m] = decay(x * from) * mean;
                        from += share;
                    }
                }
                train.norm[m] = -1.0 / libm::expm1(-self.rate[m] * train.interval_s);
            }
            self.trains.push(train);
        }
        self.shortest = 0;
        for (j, train) in self.trains.iter().enumerate() {
            if train.interval_ns < self.trains[self.shortest].interval_ns {
                self.shortest = j;
            }
        }
        for (k, seg) in self.segs.iter().enumerate() {
            let theta_ns = seg.end_ns;
            self.checks.push(Check { kind: Kind::SegmentEnd, train: seg.train, seg: k, theta_ns });
            if seg.peak.is_some() {
                self.checks.push(Check { kind: Kind::Peak, train: seg.train, seg: k, theta_ns });
            }
        }
        for j in 0..self.trains.len() {
            self.checks.push(Check { kind: Kind::Sleep, train: j, seg: 0, theta_ns: 0 });
        }
        if self.trains.is_empty() {
            self.checks.push(Check { kind: Kind::Sleep, train: usize::MAX, seg: 0, theta_ns: 0 });
        }
        let n = self.trains.len();
        self.gcds.clear();
        self.gcds.resize(n * n, 1);
        for j in 0..n {
            for k in j + 1..n {
                let g = gcd(self.trains[j].interval_ns, self.trains[k].interval_ns);
                self.gcds[j * n + k] = g;
                self.gcds[k * n + j] = g;
            }
        }
        Ok(())
    }

    fn prepare_conditions(&mut self, sc: &Scenario) {
        self.seasonal = matches!(sc.climate, Climate::Monthly(_));
        self.monthly = self.seasonal || sc.cell.ageing.is_some();
        if let Some((weather, flags)) = &self.weather
            && weather.is_that_of(sc)
        {
            self.flags.extend(*flags);
            return;
        }
        let mut flags = Flags::NONE;
        match sc.climate {
            Climate::Constant { celsius } => {
                self.conditions[0] = conditions(sc, celsius, 0.0, &mut flags);
            }
            Climate::Monthly(monthly) => {
                for m in 0..12 {
                    self.conditions[m] = conditions(
                        sc,
                        monthly.mean_celsius[m],
                        monthly.daily_amplitude_kelvin[m],
                        &mut flags,
                    );
                }
            }
        }
        self.flags.extend(flags);
        self.weather = Some((Weather::of(sc), flags));
    }

    /// The leap that holds time `t`: index of its conditions and when it ends.
    pub(crate) fn leap_at(&self, sc: &Scenario, t: f64) -> (usize, f64) {
        if !self.monthly {
            return (0, f64::INFINITY);
        }
        let start_day = match sc.climate {
            Climate::Monthly(m) => f64::from(m.start_day),
            Climate::Constant { .. } => 0.0,
        };
        let absolute = t + start_day * DAY_S;
        let year = (absolute / YEAR_S).floor();
        let within = absolute - year * YEAR_S;
        let mut end = 0.0;
        for (m, days) in MONTH_DAYS.iter().enumerate() {
            end += f64::from(*days) * DAY_S;
            if within < end - 1e-3 || m == 11 {
                let index = if self.seasonal { m } else { 0 };
                return (index, year * YEAR_S + end - start_day * DAY_S);
            }
        }
        (0, f64::INFINITY)
    }

    /// What is drawn asleep under given conditions.
    pub(crate) fn sleep_draw(sc: &Scenario, at: &Conditions) -> Draw {
        match sc.load.sleep.current {
            SleepCurrent::Rail { current_a } => {
                Draw::Rail(Demand::Current { current_a: current_a * at.sleep_factor })
            }
            SleepCurrent::Battery { current_a } => {
                Draw::Battery { current_a: current_a * at.sleep_factor }
            }
            SleepCurrent::BatteryByVoltage(_) => Draw::BatteryTable { factor: at.sleep_factor },
        }
    }
}

fn decay_and_mean(x: f64) -> (f64, f64) {
    if x > 700.0 {
        return (0.0, 1.0 / x);
    }
    if x < 1e-12 {
        return (1.0 - x, 1.0);
    }
    let e = libm::expm1(-x);
    (1.0 + e, -e / x)
}

/// Series resistance at 25 °C over state of charge.
#[inline]
pub(crate) fn resistance_at(resistance: Option<&Resistance>, s: f64) -> f64 {
    match resistance.map(|r| &r.at_25) {
        None => 0.0,
        Some(ResistanceCurve::Constant { ohm }) => *ohm,
        Some(ResistanceCurve::Rising { ohm, rise, scale }) => {
            ohm * (1.0 + rise * libm::exp(-s / scale))
        }
        Some(ResistanceCurve::Depth { ohm }) => {
            let d = 1.0 - s;
            ohm[0] + d * (ohm[1] + d * ohm[2])
        }
        Some(ResistanceCurve::Table(curve)) => curve.at(s),
    }
}

fn conditions(sc: &Scenario, celsius: f64, amplitude: f64, flags: &mut Flags) -> Conditions {
    let cell = &sc.cell;
    let cold = celsius - amplitude.abs();
    let away = (celsius - 25.0).abs() > 10.0 || (cold - 25.0).abs() > 10.0;
    let share = |at: f64, flags: &mut Flags| match &cell.capacity_by_temperature {
        None => {
            if away {
                flags.insert(Flag::CapacityTemperatureUnknown);
            }
            1.0
        }
        Some(curve) => {
            if !curve.covers(at) {
                flags.insert(Flag::OutsideCapacityTable);
            }
            curve.at(at)
        }
    };
    let b = cell.resistance.as_ref().and_then(|r| r.b_kelvin);
    if away && b.is_none() && cell.resistance.is_some() {
        flags.insert(Flag::ResistanceTemperatureUnknown);
    }
    let ohm_factor = |at: f64| match b {
        Some(b) if at != 25.0 => libm::exp(b * (1.0 / (at + 273.15) - 1.0 / 298.15)),
        _ => 1.0,
    };
    if let Some((low, high)) = cell.discharge_celsius
        && (cold < low || celsius + amplitude.abs() > high)
    {
        flags.insert(Flag::OutsideDischargeTemperature);
    }
    let lambda = cell.self_discharge.map_or(0.0, |sd| {
        let swing = core::f64::consts::LN_2 / sd.doubling_kelvin * amplitude;
        sd.rate_per_s(celsius) * crate::relations::sinusoid_mean_factor(swing)
    });
    let sleep_factor = match sc.load.sleep.temperature {
        None => {
            if (celsius - 22.0).abs() > 10.0 || amplitude.abs() > 10.0 {
                flags.insert(Flag::SleepTemperatureUnknown);
            }
            1.0
        }
        Some(law) => {
            libm::exp(law.per_kelvin * (celsius - law.reference_celsius))
                * crate::relations::sinusoid_mean_factor(law.per_kelvin * amplitude)
        }
    };
    let ageing_square = cell.ageing.map_or(0.0, |a| {
        let kelvin = celsius + 273.15;
        let twice = 2.0 * a.activation_j_per_mol / 8.314462618;
        let swing = twice / (kelvin * kelvin) * amplitude;
        libm::exp(-twice * (1.0 / kelvin - 1.0 / 298.15))
            * crate::relations::sinusoid_mean_factor(swing)
    });
    let mean_share = share(celsius, flags);
    let cold_share = if amplitude == 0.0 { mean_share } else { share(cold, flags) };
    let mean_ohm = ohm_factor(celsius);
    let cold_ohm_factor = if amplitude == 0.0 { mean_ohm } else { ohm_factor(cold) };
    Conditions {
        share: mean_share,
        ohm_factor: mean_ohm,
        cold_share,
        cold_ohm_factor,
        lambda,
        sleep_factor,
        ageing_square,
    }
}

fn dependence(sc: &Scenario, awake: &DrainSum) -> Dependence {
    let by_voltage = matches!(sc.load.sleep.current, SleepCurrent::BatteryByVoltage(_));
    if by_voltage || awake.siemens > 0.0 || awake.tables {
        return Dependence::Always;
    }
    let powers = sc
        .load
        .activities
        .iter()
        .flat_map(|a| &a.segments)
        .any(|s| matches!(s.demand, Demand::Power { .. }));
    match &sc.path.regulator {
        Regulator::Direct if powers => Dependence::Always,
        Regulator::Direct => Dependence::None,
        Regulator::Linear(r) => {
            let jumps = r.ground_in_dropout_a.is_some_and(|d| Some(d) != r.ground_current_a);
            if jumps || powers { Dependence::InDropout } else { Dependence::None }
        }
        _ => Dependence::Always,
    }
}
