//! One step of the balance, and a run over many.

use super::fill::{Fill, FillEnd, Filling};
use super::node::{Node, RideThrough};
use super::result::{MonthFlow, YearResult};
use super::tables::{ROWS, Row, STATES, row_celsius, row_index};
use crate::charger::{Coupling, Supply};
use crate::panel::{Thermal, cell_temperature_c};
use crate::time::month_of_day;

/// Light on the panel and air temperature in equal steps.
#[derive(Debug, Clone, Copy)]
pub struct Weather<'a> {
    /// Length of a step, s; must divide a day.
    pub step_s: f64,
    /// Day of the year (1…365) of the first step.
    pub first_day: u16,
    /// On the panel, W/m².
    pub irradiance_w_m2: &'a [f32],
    /// Of the air, °C.
    pub air_c: &'a [f32],
    /// The panel's temperature terms of every step, where many nodes with the same heating share the weather; `None`: worked out here.
    pub thermal: Option<&'a [Thermal]>,
}

/// What to keep of a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Detail {
    /// Everything: offers and refusals, events, the state of every day.
    Full,
    /// Outages and the charge ledger only: for maps of many sizes.
    Outages,
    /// Whether it goes dark at all: ends with the first day on which it does.
    FirstOutage,
}

#[allow(
    clippy::struct_excessive_bools,
    reason = "four latches of the board and charger, each its own"
)]
struct Runner<'a> {
    node: &'a Node<'a>,
    full_detail: bool,
    charge_c: f64,
    dark: bool,
    dark_run_s: f64,
    input_on: bool,
    terminated: bool,
    timer_s: f64,
    timer_expired: bool,
    own_a: f64,
    /// Night leak at each row of the tables, A: no power of two in the inner loop.
    leak_a: Vec<f64>,
    out: YearResult,
}

/// Why a part of the offer was not taken.
#[derive(Clone, Copy)]
enum Refusal {
    Full,
    Temperature,
    Timer,
}

/// Runs a node through weather. The first step starts at the node's start state.
///
/// A trailing part of a day that is not whole is run but counts as a day. Steps with an irradiance or temperature that is not a number end the run's
/// claim to completeness: clean the weather first (see [`crate::resource`]).
pub fn run(node: &Node<'_>, weather: &Weather<'_>, detail: Detail) -> YearResult {
    let substeps = node.substeps(weather.step_s);
    let dt = weather.step_s / f64::from(substeps);
    // Dark steps are merged as long as the load takes less than a fiftieth of the usable charge meanwhile.
    let most_merged = if substeps == 1 {
        (0.02 * node.tables.usable_c(0.0) / (node.tables.load_a(0.0) * dt).max(1e-12))
            .clamp(1.0, 24.0) as usize
    } else {
        1
    };
    let per_day = libm::round(86400.0 / weather.step_s).max(1.0) as usize;
    let capacity = node.tables.capacity_c;
    let mut runner = Runner {
        node,
        full_detail: detail == Detail::Full,
        charge_c: capacity * node.start_state.clamp(0.0, 1.0),
        dark: false,
        dark_run_s: 0.0,
        input_on: false,
        terminated: false,
        timer_s: 0.0,
        timer_expired: false,
        own_a: match node.source.coupling {
            Coupling::MaximumPower { own_current_a, .. } => own_current_a,
            _ => 0.0,
        },
        leak_a: (0..ROWS).map(|row| node.source.night_leak.current_a(row_celsius(row))).collect(),
        out: YearResult { lowest_state: 1.0, least_margin: 1.0, ..YearResult::default() },
    };
    runner.out.ledger.start_c = runner.charge_c;
    let days = weather.irradiance_w_m2.chunks(per_day).zip(weather.air_c.chunks(per_day));
    for (day, (light, air)) in days.enumerate() {
        let month = month_of_day(((usize::from(weather.first_day) - 1 + day) % 365) as u16 + 1);
        let dark_before = runner.out.dark_h;
        let before = runner.out.ledger;
        let mut i = 0;
        while i < light.len().min(air.len()) {
            let (g, t) = (f64::from(light[i]), f64::from(air[i]));
            if g <= 0.0 && most_merged > 1 {
                // Dark steps at one temperature of the tables are one long step.
                let row = row_index(t + node.cell_above_air_k).0;
                let same = |k: &usize| {
                    light[*k] <= 0.0
                        && row_index(f64::from(air[*k]) + node.cell_above_air_k).0 == row
                };
                let last = light.len().min(air.len()).min(i + most_merged);
                let count = 1 + (i + 1..last).take_while(same).count();
                runner.step(g, t, None, weather.step_s * count as f64);
                i += count;
                continue;
            }
            let thermal = weather.thermal.and_then(|all| all.get(day * per_day + i).copied());
            for _ in 0..substeps {
                runner.step(g, t, thermal, dt);
            }
            i += 1;
        }
        if runner.out.dark_h > dark_before {
            runner.out.outage_days += 1;
            runner.out.outage_days_by_month[month] += 1;
            if detail == Detail::FirstOutage {
                break;
            }
        }
        if runner.full_detail {
            let now = runner.out.ledger;
            runner.out.by_month[month].add(&MonthFlow {
                days: 1,
                charged_c: now.charged_c - before.charged_c,
                refused_full_c: now.refused_full_c - before.refused_full_c,
                asked_c: now.load_c + now.unserved_c - before.load_c - before.unserved_c,
            });
            let (row, _) =
                node.tables.row_at(f64::from(air[air.len() - 1]) + node.cell_above_air_k);
            runner.out.daily_state.push(runner.state(row) as f32);
        }
    }
    runner.out.ledger.end_c = runner.charge_c;
    runner.out
}

impl Runner<'_> {
    #[inline]
    fn state(&self, row: &Row) -> f64 {
        1.0 - (self.node.tables.capacity_c - self.charge_c) * row.per_capacity
    }

    fn step(&mut self, irradiance: f64, air_c: f64, thermal: Option<Thermal>, dt: f64) {
        let tables = self.node.tables;
        let cell_c = air_c + self.node.cell_above_air_k;
        let (row_index, inside) = row_index(cell_c);
        let row = &tables.rows[row_index];
        let state = self.state(row);
        let at = state.clamp(0.0, 1.0) * STATES as f64;
        let k = (at as u32 as usize).min(STATES - 1);
        let part = at - k as f64;
        let mix = |a: f64, b: f64| a + (b - a) * part;
        let ocv = mix(tables.open_circuit_v[k], tables.open_circuit_v[k + 1]);
        let (low, high) = (&row.at_state[k], &row.at_state[k + 1]);
        let resistance = mix(low[0], high[0]);
        let load = mix(low[1], high[1]);
        let drain = mix(low[2], high[2]);
        let dt_h = dt * (1.0 / 3600.0);
        self.out.hours += dt_h;
        if !inside {
            self.out.outside_table_h += dt_h;
        }
        if self.dark && state >= (row.lowest_state + self.node.restart_margin).min(0.999) {
            self.dark = false;
            self.dark_run_s = 0.0;
        }
        // What always leaves the cell.
        let lost = (row.self_discharge_per_s * self.charge_c * dt).min(self.charge_c);
        self.charge_c -= lost;
        self.out.ledger.self_discharge_c += lost;
        let own = (self.own_a * dt).min(self.charge_c);
        self.charge_c -= own;
        self.out.ledger.converter_c += own;

        if irradiance > 0.0 {
            self.lit_step(
                irradiance, air_c, cell_c, row_index, thermal, ocv, resistance, load, drain, dt,
            );
        } else {
            self.lose_input(ocv - resistance * load, dt);
            let leak = (self.leak_a[row_index] * dt).min(self.charge_c);
            self.charge_c -= leak;
            self.out.ledger.night_leak_c += leak;
            self.carry(row, 0.0, load, drain, dt);
        }
        let state = self.state(row);
        self.out.lowest_state = self.out.lowest_state.min(state.max(0.0));
        self.out.least_margin = self.out.least_margin.min(state - row.lowest_state);
        if state >= self.node.full_state {
            self.out.full_h += dt_h;
            if cell_c > 30.0 {
                self.out.hot_full_h += dt_h;
            }
        }
    }

    #[allow(clippy::too_many_arguments, reason = "the step's looked-up values, kept in registers")]
    #[inline]
    fn lit_step(
        &mut self,
        irradiance: f64,
        air_c: f64,
        cell_c: f64,
        row_index: usize,
        thermal: Option<Thermal>,
        ocv: f64,
        resistance: f64,
        load: f64,
        drain: f64,
        dt: f64,
    ) {
        let row = &self.node.tables.rows[row_index];
        let source = self.node.source;
        let charger = &source.charger;
        let drawn = if self.dark { drain } else { load };
        if self.terminated && ocv - resistance * drawn < charger.hold_v - charger.restart_drop_v {
            self.terminated = false;
        }
        if !self.full_detail && self.terminated && !charger.power_path {
            self.carry(row, 0.0, load, drain, dt);
            return;
        }
        let thermal = thermal.unwrap_or_else(|| {
            Thermal::at(cell_temperature_c(air_c, irradiance, source.heating_k_m2_per_w))
        });
        let curve = source.panel.curve_with(irradiance, &thermal);
        let guess = charger.set_current_a.min(source.panel.light_current_a * irradiance * 1e-3);
        let cell_v = (ocv + resistance * (guess - drawn)).min(charger.hold_v);
        let (mut current, offered, chatter_s) = match source.supply(&curve, cell_v, air_c) {
            Supply::Off => {
                self.lose_input(cell_v, dt);
                let leak = (self.leak_a[row_index] * dt).min(self.charge_c);
                self.charge_c -= leak;
                self.out.ledger.night_leak_c += leak;
                self.carry(row, 0.0, load, drain, dt);
                return;
            }
            Supply::On { current_a, offered_a } => (current_a, offered_a, None),
            Supply::Chatter { current_a, offered_a, period_s } => {
                (current_a, offered_a, Some(period_s))
            }
        };
        let ledger = &mut self.out.ledger;
        ledger.offered_c += offered * dt;
        if let Some(period_s) = chatter_s {
            ledger.refused_chatter_c += (offered - current) * dt;
            let events = dt / period_s;
            self.out.chatter_events += events;
            self.count_lost_inputs(events, dt / period_s.max(self.node.boot_s), cell_v);
            self.input_on = false;
            // Each retry starts a fresh charge.
            self.timer_s = 0.0;
            self.timer_expired = false;
        } else {
            ledger.refused_limit_c += (offered - current) * dt;
            self.input_on = true;
        }
        let refusal = if !charger.allows_temperature(cell_c) {
            Some(Refusal::Temperature)
        } else if self.timer_expired {
            Some(Refusal::Timer)
        } else if self.terminated {
            Some(Refusal::Full)
        } else {
            None
        };
        if let Some(why) = refusal {
            // A power path still carries the load from the input.
            let taken = if charger.power_path { current.min(drawn) } else { 0.0 };
            self.refuse(why, (current - taken) * dt);
            current = taken;
            self.carry(row, current, load, drain, dt);
            return;
        }
        if let Some(limit) = charger.safety_timer_s {
            self.timer_s += dt;
            if self.timer_s >= limit {
                self.timer_expired = true;
                self.out.timer_ends += 1;
            }
        }
        let outside = cell_c < self.node.cell_window_c.0 || cell_c > self.node.cell_window_c.1;
        if outside && current > drawn {
            self.out.frost_charge_h += dt / 3600.0;
        }
        let net = current - drawn;
        let state = self.state(row);
        // A cell below empty (the cold locks charge in) is far from its held voltage.
        if net <= 0.0 || state < 0.0 {
            self.carry(row, current, load, drain, dt);
            return;
        }
        if ocv + net * resistance <= charger.hold_v && net * dt < 0.02 * row.capacity_c {
            // The common hour: far from full by more than this step can bring.
            let end = state + net * dt / row.capacity_c;
            if self.open_circuit_at(end) + net * resistance <= charger.hold_v && end < 1.0 {
                self.carry(row, current, load, drain, dt);
                return;
            }
        }
        self.charge_to_hold(row, current, load, drain, resistance, dt);
    }

    fn refuse(&mut self, why: Refusal, charge_c: f64) {
        let ledger = &mut self.out.ledger;
        match why {
            Refusal::Full => ledger.refused_full_c += charge_c,
            Refusal::Temperature => ledger.refused_temperature_c += charge_c,
            Refusal::Timer => ledger.refused_timer_c += charge_c,
        }
    }

    fn open_circuit_at(&self, state: f64) -> f64 {
        let ocv = &self.node.tables.open_circuit_v;
        let at = state.clamp(0.0, 1.0) * STATES as f64;
        let k = (at as u32 as usize).min(STATES - 1);
        ocv[k] + (ocv[k + 1] - ocv[k]) * (at - k as f64)
    }

    /// Constant current until the voltage is reached, then constant voltage, until the end of the charge or of the step.
    fn charge_to_hold(
        &mut self,
        row: &Row,
        current: f64,
        load: f64,
        drain: f64,
        resistance: f64,
        dt: f64,
    ) {
        let drawn = if self.dark { drain } else { load };
        let charger = &self.node.source.charger;
        let start_c = self.charge_c;
        // The charger measures its own current: cell and load together, unless the load has a path of its own.
        let own_load = if charger.power_path { 0.0 } else { drawn };
        let end_a = charger.termination_a() - own_load;
        let filling = Filling {
            open_circuit_v: &self.node.tables.open_circuit_v,
            net_a: current - drawn,
            hold_v: charger.hold_v,
            resistance_ohm: resistance,
            capacity_c: row.capacity_c,
            end_a: (charger.termination_share.is_some() && end_a > 0.0).then_some(end_a),
        };
        let Fill { state, left_s: left, end } = filling.run(self.state(row).clamp(0.0, 1.0), dt);
        self.terminated = end == FillEnd::Terminated;
        let carrying = !self.terminated || charger.power_path;
        let end_c = self.node.tables.capacity_c - (1.0 - state) * row.capacity_c;
        let charging_s = dt - left;
        self.charge_c = end_c;
        let into_cell = end_c - start_c;
        self.out.ledger.charged_c += into_cell + drawn * charging_s;
        if self.dark {
            self.out.ledger.dark_drain_c += drawn * charging_s;
            self.add_dark(charging_s, load);
        } else {
            self.out.ledger.load_c += drawn * charging_s;
        }
        let taken_after = if left > 0.0 && carrying { current.min(drawn) } else { 0.0 };
        self.refuse(
            Refusal::Full,
            current * dt - (into_cell + drawn * charging_s) - taken_after * left,
        );
        if left > 0.0 {
            self.carry(row, taken_after, load, drain, left);
        }
    }

    /// Load (or drains) against a constant current from the source, without any limit of voltage; finds the instant of going dark.
    fn carry(&mut self, row: &Row, current: f64, load: f64, drain: f64, dt: f64) {
        let mut left = dt;
        if !self.dark {
            let floor_c = self.node.tables.capacity_c - row.deepest_c;
            let net = current - load;
            let runs = if net >= 0.0 || self.charge_c + net * left >= floor_c {
                left
            } else {
                ((self.charge_c - floor_c) / -net).clamp(0.0, left)
            };
            self.charge_c += net * runs;
            self.out.ledger.load_c += load * runs;
            self.out.ledger.charged_c += current * runs;
            left -= runs;
            if left <= 0.0 {
                return;
            }
            self.dark = true;
            self.dark_run_s = 0.0;
        }
        self.add_dark(left, load);
        self.out.ledger.charged_c += current * left;
        self.charge_c += current * left;
        let taken = (drain * left).min(self.charge_c.max(0.0));
        self.charge_c -= taken;
        self.out.ledger.dark_drain_c += taken;
    }

    fn add_dark(&mut self, seconds: f64, load: f64) {
        self.dark_run_s += seconds;
        self.out.dark_h += seconds / 3600.0;
        self.out.longest_dark_h = self.out.longest_dark_h.max(self.dark_run_s / 3600.0);
        self.out.ledger.unserved_c += load * seconds;
    }

    fn lose_input(&mut self, cell_v: f64, dt: f64) {
        if self.input_on {
            self.input_on = false;
            self.count_lost_inputs(1.0, (dt / self.node.boot_s).min(1.0), cell_v);
        }
        self.terminated = false;
        self.timer_s = 0.0;
        self.timer_expired = false;
    }

    fn count_lost_inputs(&mut self, events: f64, resets: f64, cell_v: f64) {
        self.out.inputs_lost += events;
        if self.dark {
            return;
        }
        for end in [self.node.ride_through, self.node.attach] {
            let (least, most) = match end {
                RideThrough::Always => (0.0, 0.0),
                RideThrough::AboveCellV(v) if cell_v > v => (0.0, 0.0),
                RideThrough::Never | RideThrough::AboveCellV(_) => (resets, resets),
                RideThrough::Unknown => (0.0, resets),
            };
            self.out.resets_least += least;
            self.out.resets_most += most;
        }
    }
}
