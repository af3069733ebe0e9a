//! Shared by the tests and the bench: plain scenarios, and the reference integrator.
#![allow(dead_code, unreachable_pub, missing_docs)] // every test binary uses its own part

use overwinter_engine::cell::{Resistance, ResistanceCurve};
use overwinter_engine::load::{Activity, Demand, Segment, Sleep, SleepCurrent};
use overwinter_engine::path::{LinearRegulator, Regulator, ReverseProtection};
use overwinter_engine::supply::{DrainSum, Draw, Limits, Source, operate};
use overwinter_engine::{Cell, Climate, Curve, Ending, Load, Scenario, SupplyPath};

/// Deterministic generator: splitmix64 (Steele, Lea & Flood 2014).
pub struct Random(pub u64);

impl Random {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, a: f64, b: f64) -> f64 {
        a + (b - a) * self.unit()
    }

    /// Even on a logarithmic scale.
    pub fn log_between(&mut self, a: f64, b: f64) -> f64 {
        a * libm::exp(self.unit() * libm::log(b / a))
    }

    pub fn index(&mut self, n: usize) -> usize {
        (self.next() % n as u64) as usize
    }
}

/// Job table "Li-ion SoC→OCV" (from memory there), linear between.
pub const LI_ION: [(f64, f64); 12] = [
    (0.0, 3.00),
    (0.05, 3.42),
    (0.1, 3.55),
    (0.2, 3.64),
    (0.3, 3.69),
    (0.4, 3.73),
    (0.5, 3.77),
    (0.6, 3.82),
    (0.7, 3.89),
    (0.8, 3.97),
    (0.9, 4.06),
    (1.0, 4.18),
];

pub fn plain_cell(capacity_c: f64, ocv: Curve, ohm: f64) -> Cell {
    Cell {
        capacity_c,
        capacity_by_temperature: None,
        open_circuit_v: ocv,
        resistance: Some(Resistance { at_25: ResistanceCurve::Constant { ohm }, b_kelvin: None }),
        rc: vec![],
        two_well: None,
        self_discharge: None,
        protection: None,
        cutoff_v: None,
        ageing: None,
        passivating: false,
        initial_charge: 1.0,
        shelf_life_s: None,
        discharge_celsius: None,
        max_current_a: None,
    }
}

pub fn direct_path() -> SupplyPath {
    SupplyPath {
        regulator: Regulator::Direct,
        series_ohm: 0.0,
        reverse: ReverseProtection::Nothing,
        bulk: None,
        always_on: vec![],
        reset_v: None,
    }
}

pub fn linear_path(set_v: f64, iq: f64, dropout_ohm: f64, reset_v: f64) -> SupplyPath {
    SupplyPath {
        regulator: Regulator::Linear(LinearRegulator {
            set_v,
            ground_current_a: Some(iq),
            ground_per_load: 0.0,
            dropout: Some(overwinter_engine::path::Dropout {
                fixed_v: 0.0,
                resistance_ohm: dropout_ohm,
            }),
            ground_in_dropout_a: None,
        }),
        reset_v: Some(reset_v),
        ..direct_path()
    }
}

pub fn segment(name: &str, duration_s: f64, current_a: f64) -> Segment {
    Segment { name: name.into(), duration_s, demand: Demand::Current { current_a }, peak: None }
}

pub fn activity(name: &str, interval_s: f64, segments: Vec<Segment>) -> Activity {
    Activity { name: name.into(), interval_s, first_s: None, segments }
}

pub fn load(sleep_a: f64, activities: Vec<Activity>) -> Load {
    Load {
        sleep: Sleep { current: SleepCurrent::Rail { current_a: sleep_a }, temperature: None },
        activities,
    }
}

pub fn scenario(load: Load, path: SupplyPath, cell: Cell) -> Scenario {
    Scenario {
        load,
        path,
        cell,
        climate: Climate::Constant { celsius: 25.0 },
        horizon_s: 100.0 * 365.0 * 86400.0,
    }
}

/// What the reference integrator found.
#[derive(Debug, Clone, Copy)]
pub struct Brute {
    pub life_s: f64,
    pub ending: Ending,
    pub charge_c: f64,
}

fn ohm_at(cell: &Cell, s: f64) -> f64 {
    match cell.resistance.as_ref().map(|r| &r.at_25) {
        None => 0.0,
        Some(ResistanceCurve::Constant { ohm }) => *ohm,
        Some(ResistanceCurve::Rising { ohm, rise, scale }) => {
            ohm * (1.0 + rise * libm::exp(-s / scale))
        }
        Some(ResistanceCurve::Depth { ohm }) => {
            ohm[0] + (1.0 - s) * ohm[1] + (1.0 - s) * (1.0 - s) * ohm[2]
        }
        Some(ResistanceCurve::Table(t)) => t.at(s),
    }
}

/// The state in its physical variables (not the modes that the engine uses).
#[derive(Debug, Clone, Copy)]
struct State {
    q1: f64,
    q2: f64,
    v: [f64; 3],
}

impl State {
    fn plus(self, h: f64, d: State) -> State {
        let mut v = self.v;
        for (a, b) in v.iter_mut().zip(d.v) {
            *a += h * b;
        }
        State { q1: self.q1 + h * d.q1, q2: self.q2 + h * d.q2, v }
    }
}

/// Cell and board at a time: the mean of the day for currents, the coldest hour for limits.
#[derive(Debug, Clone, Copy)]
struct Weather {
    share: f64,
    ohm: f64,
    cold_share: f64,
    cold_ohm: f64,
    lambda: f64,
    lambda_age: f64,
    /// Capacity at the start of this month, and when that was.
    capacity: f64,
    since: f64,
    until: f64,
    sleep: f64,
}

/// Mean of `exp(x·sin)` by the trapezoid over the cycle (not by the engine's series).
fn swing(x: f64) -> f64 {
    let n = 64;
    (0..n)
        .map(|i| libm::exp(x * libm::sin(core::f64::consts::TAU * f64::from(i) / f64::from(n))))
        .sum::<f64>()
        / f64::from(n)
}

/// The calendar by months, worked through from the start.
fn calendar(sc: &Scenario, years: f64) -> Vec<Weather> {
    const DAYS: [f64; 12] = [31., 28., 31., 30., 31., 30., 31., 31., 30., 31., 30., 31.];
    let cell = &sc.cell;
    let monthly = match sc.climate {
        Climate::Monthly(m) => Some(m),
        Climate::Constant { .. } => None,
    };
    let mut days = Vec::new();
    let mut day = monthly.map_or(0.0, |m| f64::from(m.start_day));
    let mut t = 0.0;
    let (mut aged, mut left) = (0.0, 1.0);
    while t < years * 365.0 * 86400.0 {
        let mut end = 0.0;
        let mut month = 0;
        for (m, d) in DAYS.iter().enumerate() {
            end += d;
            if day < end {
                month = m;
                break;
            }
        }
        let (mean, amplitude) = match (monthly, sc.climate) {
            (Some(m), _) => (m.mean_celsius[month], m.daily_amplitude_kelvin[month]),
            (None, Climate::Constant { celsius }) => (celsius, 0.0),
            _ => (25.0, 0.0),
        };
        let seconds = (end - day) * 86400.0;
        let share = |c: f64| cell.capacity_by_temperature.as_ref().map_or(1.0, |k| k.at(c));
        let b = cell.resistance.as_ref().and_then(|r| r.b_kelvin).unwrap_or(0.0);
        let ohm = |c: f64| libm::exp(b / (c + 273.15) - b / 298.15);
        let lambda = cell.self_discharge.map_or(0.0, |s| {
            s.rate_at_20_per_s
                * libm::pow(2.0, (mean - 20.0) / s.doubling_kelvin)
                * swing(libm::log(2.0) / s.doubling_kelvin * amplitude)
        });
        let sleep = sc.load.sleep.temperature.map_or(1.0, |l| {
            libm::exp(l.per_kelvin * (mean - l.reference_celsius)) * swing(l.per_kelvin * amplitude)
        });
        let (mut lambda_age, mut growth) = (0.0, 1.0);
        let before = left;
        if let Some(a) = cell.ageing {
            let k = mean + 273.15;
            let e = 2.0 * a.activation_j_per_mol / 8.314462618;
            aged += libm::exp(e / 298.15 - e / k) * swing(e / k / k * amplitude) * seconds
                / (365.0 * 86400.0);
            left = 1.0 - a.capacity_loss_per_sqrt_year * aged.sqrt();
            lambda_age = libm::log(before / left) / seconds;
            growth = 1.0 + a.resistance_rise_per_sqrt_year.unwrap_or(0.0) * aged.sqrt();
        }
        days.push(Weather {
            share: share(mean),
            ohm: ohm(mean) * growth,
            cold_share: share(mean - amplitude),
            cold_ohm: ohm(mean - amplitude) * growth,
            lambda,
            lambda_age,
            capacity: cell.capacity_c * before,
            since: t,
            until: t + seconds,
            sleep,
        });
        t += seconds;
        day = if month == 11 { 0.0 } else { end };
    }
    days
}

/// Brute force: every cycle stepped through with the classical Runge–Kutta method on the physical state
/// (wells, RC voltages), the operating point solved anew at every stage, every limit looked at after
/// every step. Activities must not overlap.
pub fn brute_force(sc: &Scenario, most_steps: u64) -> Option<Brute> {
    let cell = &sc.cell;
    let c = cell.two_well.map_or(1.0, |w| w.available_share);
    let k = cell.two_well.map_or(0.0, |w| w.rate_per_s);
    let months = calendar(sc, 40.0);
    let weather = |t: f64| {
        let i = months.partition_point(|m| m.until <= t + 1e-6);
        months[i.min(months.len() - 1)]
    };
    let protection = cell.protection.and_then(|p| p.own_current_a).unwrap_or(0.0);
    let awake = DrainSum::of(&sc.path, protection, false);
    let battery = !matches!(sc.load.sleep.current, SleepCurrent::Rail { .. });
    let asleep = DrainSum::of(&sc.path, protection, battery);
    let limits = Limits::of(&sc.path, cell);
    let sleep_draw = |w: &Weather| match &sc.load.sleep.current {
        SleepCurrent::Rail { current_a } => {
            Draw::Rail(Demand::Current { current_a: *current_a * w.sleep })
        }
        SleepCurrent::Battery { current_a } => Draw::Battery { current_a: *current_a * w.sleep },
        SleepCurrent::BatteryByVoltage(_) => Draw::BatteryTable { factor: w.sleep },
    };
    let table = match &sc.load.sleep.current {
        SleepCurrent::BatteryByVoltage(t) => Some(t),
        _ => None,
    };
    let s_of = |x: &State, t: f64, w: &Weather, cold: bool| {
        let capacity = w.capacity * libm::exp(-w.lambda_age * (t - w.since));
        let share = if cold { w.cold_share } else { w.share };
        1.0 - (capacity - x.q1 / c) / (capacity * share)
    };
    let point = |x: &State, t: f64, w: &Weather, draw: Option<Draw>, cold: bool, more_v: f64| {
        let s = s_of(x, t, w, cold);
        let factor = if cold { w.cold_ohm } else { w.ohm };
        // RC resistances follow the temperature: the states are kept at 25 °C and scaled when read.
        let emf_v = cell.open_circuit_v.at(s) - factor * x.v.iter().sum::<f64>() - more_v;
        let drains = if draw.is_none() { &asleep } else { &awake };
        let source = Source { emf_v, ohm: factor * ohm_at(cell, s.max(0.0)) };
        operate(&sc.path, drains, draw.unwrap_or_else(|| sleep_draw(w)), source, None, table)
    };
    let rate = |x: &State, t: f64, w: &Weather, draw: Option<Draw>| {
        let i = point(x, t, w, draw, false, 0.0).cell_a;
        let flow = k * (c * x.q2 - (1.0 - c) * x.q1);
        let lambda = w.lambda + w.lambda_age;
        let mut v = [0.0; 3];
        for (d, (pair, now)) in v.iter_mut().zip(cell.rc.iter().zip(x.v)) {
            *d = (i * pair.resistance_ohm - now) / pair.time_constant_s;
        }
        State { q1: -i - lambda * x.q1 + flow, q2: -lambda * x.q2 - flow, v }
    };
    let step = |x: State, t: f64, w: &Weather, h: f64, draw: Option<Draw>| {
        let k1 = rate(&x, t, w, draw);
        let k2 = rate(&x.plus(0.5 * h, k1), t + 0.5 * h, w, draw);
        let k3 = rate(&x.plus(0.5 * h, k2), t + 0.5 * h, w, draw);
        let k4 = rate(&x.plus(h, k3), t + h, w, draw);
        x.plus(h / 6.0, k1).plus(h / 3.0, k2).plus(h / 3.0, k3).plus(h / 6.0, k4)
    };
    let margin = |x: &State, t: f64, w: &Weather, draw: Option<Draw>| {
        let (m, e) = limits.margin(&point(x, t, w, draw, true, 0.0));
        let s = s_of(x, t, w, true);
        if s < m { (s, Ending::ChargeExhausted) } else { (m, e) }
    };
    let fastest = cell
        .rc
        .iter()
        .map(|p| p.time_constant_s)
        .chain(cell.two_well.map(|w| 1.0 / w.rate_per_s))
        .fold(f64::INFINITY, f64::min);
    // The same first starts as documented: one after another in the listed order.
    let mut offset = 0.0;
    let mut next: Vec<(f64, usize)> = Vec::new();
    for (j, a) in sc.load.activities.iter().enumerate() {
        next.push((a.first_s.unwrap_or(offset), j));
        offset += a.duration_s();
    }
    let mut counts = vec![0u64; next.len()];
    let starts: Vec<f64> = next.iter().map(|n| n.0).collect();
    let full = cell.capacity_c * cell.initial_charge;
    // Rested: both wells at the same head.
    let head = full;
    let mut x = State { q1: c * head, q2: (1.0 - c) * head, v: [0.0; 3] };
    let mut t = 0.0;
    let mut steps = 0;
    // Runs one draw for `span` seconds; an error when it dies in it (or the steps are used up).
    let mut run = |x: &mut State, t: f64, span: f64, draw: Option<Draw>, first: f64| {
        let mut done = 0.0;
        let mut h = first.min(span);
        let m = margin(x, t, &weather(t), draw);
        if m.0 < 0.0 {
            return Err(Some(Brute { life_s: t, ending: m.1, charge_c: x.q1 + x.q2 }));
        }
        while done < span - 1e-9 {
            let w = weather(t + done);
            let mut now = h.min(span - done);
            if span - done - now < 0.2 * now {
                now = span - done;
            }
            now = now.min((w.until - t - done).max(1e-6));
            let at = t + done;
            let after = step(*x, at, &w, now, draw);
            let m = margin(&after, at + now, &w, draw);
            if m.0 < 0.0 {
                let (mut low, mut high) = (0.0, now);
                for _ in 0..60 {
                    let middle = 0.5 * (low + high);
                    let then = step(*x, at, &w, middle, draw);
                    if margin(&then, at + middle, &w, draw).0 < 0.0 {
                        high = middle;
                    } else {
                        low = middle;
                    }
                }
                let dead = step(*x, at, &w, high, draw);
                return Err(Some(Brute {
                    life_s: at + high,
                    ending: m.1,
                    charge_c: dead.q1 + dead.q2,
                }));
            }
            *x = after;
            done += now;
            let most = if draw.is_none() { f64::INFINITY } else { span / 6.0 };
            h = (h * 1.6).min(1.5 * fastest).min(most);
            steps += 1;
            if steps > most_steps {
                return Err(None);
            }
        }
        Ok(())
    };
    loop {
        let Some(&(start, j)) = next.iter().min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)))
        else {
            let until = sc.horizon_s;
            return match run(&mut x, t, until, None, 0.05 * fastest.min(until)) {
                Err(dead) => dead,
                Ok(()) => None,
            };
        };
        if start > t + 1e-9
            && let Err(dead) =
                run(&mut x, t, start - t, None, (0.02 * fastest).min(0.25 * (start - t)))
        {
            return dead;
        }
        t = start;
        for seg in &sc.load.activities[j].segments {
            let draw = Some(Draw::Rail(seg.demand));
            let first = (seg.duration_s / 6.0).min(0.1 * fastest);
            if let Err(dead) = run(&mut x, t, seg.duration_s, draw, first) {
                return dead;
            }
            t += seg.duration_s;
            if let Some(peak) = seg.peak {
                let top = Some(Draw::Rail(Demand::Current { current_a: peak.current_a }));
                let w = weather(t - 1e-3);
                let base = point(&x, t, &w, draw, false, 0.0).cell_a;
                let mut more = 0.0;
                for _ in 0..6 {
                    let above = point(&x, t, &w, top, true, more).cell_a - base;
                    more = 0.0;
                    for pair in &cell.rc {
                        more += w.cold_ohm
                            * pair.resistance_ohm
                            * above
                            * -libm::expm1(-peak.duration_s / pair.time_constant_s);
                    }
                }
                let (m, e) = limits.margin(&point(&x, t, &w, top, true, more));
                if m < 0.0 {
                    return Some(Brute { life_s: t, ending: e, charge_c: x.q1 + x.q2 });
                }
            }
        }
        counts[j] += 1;
        let slot = next.iter_mut().find(|n| n.1 == j)?;
        slot.0 = starts[j] + counts[j] as f64 * sc.load.activities[j].interval_s;
    }
}
