//! One operating point of the supply path: cell electromotive force in, currents and voltages out.
//!
//! The cell is a source `V_cell = E − R0·i` with `E = OCV − Σv`. Drains on the battery side turn it into
//! another such source, path resistance and diode into a third; the regulator's equation on that source
//! is solved in closed form (an efficiency table by a short fixed-point iteration).

use crate::load::Demand;
use crate::outcome::{Ending, Flag, Flags};
use crate::path::{
    Conversion, Drain, EfficiencyTable, LinearRegulator, Regulator, ReverseProtection, SupplyPath,
    Switching,
};

/// What the board asks for at an operating point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Draw {
    /// A demand at the rail; all drains come on top.
    Rail(Demand),
    /// A current at the battery contacts, as in a sleep reading; only drains outside of it come on top.
    Battery {
        /// Amperes.
        current_a: f64,
    },
    /// The sleep reading over supply voltage times a factor (temperature); else as `Battery`.
    BatteryTable {
        /// Multiplier of the table's currents.
        factor: f64,
    },
}

/// The cell as seen at this instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Source {
    /// Open-circuit voltage less the polarisation.
    pub emf_v: f64,
    /// Series resistance of the cell.
    pub ohm: f64,
}

/// How a bulk capacitor carries a burst: the input sags by `offset_v + ohm·I` instead of `R·I`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Carried {
    /// What is left of the sag from before the burst.
    pub offset_v: f64,
    /// Effective resistance at this instant of the burst.
    pub ohm: f64,
}

/// An operating point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Current out of the cell.
    pub cell_a: f64,
    /// Its part into the regulator.
    pub input_a: f64,
    /// Rail current.
    pub rail_a: f64,
    /// Cell terminal voltage.
    pub cell_v: f64,
    /// Regulator input voltage.
    pub input_v: f64,
    /// Rail voltage; NaN-free: 0 when collapsed.
    pub rail_v: f64,
    /// Volts left until the regulator is out of reach (infinite where nothing limits it).
    pub reach_v: f64,
    /// Whether a linear regulator is in dropout or a step-down converter passes its input through.
    pub dropout: bool,
    /// What has to be said.
    pub flags: Flags,
}

/// Constant and resistive drains summed, as the solver needs them.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct DrainSum {
    /// Sum of the constant ones, A.
    pub constant_a: f64,
    /// Sum of the conductances, S.
    pub siemens: f64,
    /// Whether a drain is given by a table.
    pub tables: bool,
}

impl DrainSum {
    /// Sums the drains of a path (those outside the sleep reading only, when `sleeping_battery`), the
    /// cell's protection current and the capacitor's leakage.
    pub fn of(path: &SupplyPath, protection_a: f64, sleeping_battery: bool) -> Self {
        let leakage = path.bulk.and_then(|b| b.leakage_a).unwrap_or(0.0);
        let mut sum = Self { constant_a: protection_a + leakage, siemens: 0.0, tables: false };
        if sleeping_battery {
            sum.constant_a = protection_a; // a reading at the contacts holds the board's own leakage
        }
        for part in &path.always_on {
            if sleeping_battery && part.in_sleep_reading {
                continue;
            }
            match &part.drain {
                Drain::Constant { current_a } => sum.constant_a += current_a,
                Drain::Ohmic { resistance_ohm } => sum.siemens += 1.0 / resistance_ohm,
                Drain::ByVoltage(_) => sum.tables = true,
            }
        }
        sum
    }
}

/// Current of one drain at a cell voltage.
pub fn drain_current_a(drain: &Drain, cell_v: f64) -> f64 {
    match drain {
        Drain::Constant { current_a } => *current_a,
        Drain::Ohmic { resistance_ohm } => cell_v / resistance_ohm,
        Drain::ByVoltage(curve) => curve.at(cell_v),
    }
}

/// Sleep table of a load, if it has one.
pub type SleepTable<'a> = Option<&'a crate::curve::Curve>;

/// Solves an operating point.
///
/// `drains` must have been summed for the same kind of draw. With `carried`, the bulk capacitor feeds
/// part of the burst: the regulator sees the carried resistance, the cell only what flows through it.
#[inline]
pub fn operate(
    path: &SupplyPath,
    drains: &DrainSum,
    draw: Draw,
    source: Source,
    carried: Option<Carried>,
    sleep_table: SleepTable<'_>,
) -> Point {
    if !drains.tables && !matches!(draw, Draw::BatteryTable { .. }) {
        return operate_with(path, drains, 0.0, draw, source, carried);
    }
    // Tables over the cell's voltage: a contraction with factor R0·dI/dV, far below 1 for µA tables, so
    // that mostly the second round confirms the first.
    let battery = !matches!(draw, Draw::Rail(_));
    let mut cell_v = match (draw, sleep_table) {
        // All that is drawn is known but for the sag itself: the first round confirms it.
        (Draw::BatteryTable { factor }, Some(curve)) if !drains.tables => {
            let v = source.emf_v;
            let drawn_a = drains.constant_a + drains.siemens * v + factor * curve.at(v);
            v - source.ohm * drawn_a
        }
        _ => source.emf_v,
    };
    let mut round = 0;
    loop {
        round += 1;
        let mut flags = Flags::default();
        let mut extra = 0.0;
        for part in &path.always_on {
            if battery && part.in_sleep_reading {
                continue;
            }
            if let Drain::ByVoltage(curve) = &part.drain {
                extra += curve.at(cell_v);
                if !curve.covers(cell_v) {
                    flags.insert(Flag::OutsideCurrentTable);
                }
            }
        }
        let draw = match (draw, sleep_table) {
            (Draw::BatteryTable { factor }, Some(curve)) => {
                if !curve.covers(cell_v) {
                    flags.insert(Flag::OutsideCurrentTable);
                }
                Draw::Battery { current_a: factor * curve.at(cell_v) }
            }
            (other, _) => other,
        };
        let mut point = operate_with(path, drains, extra, draw, source, carried);
        let moved_v = (point.cell_v - cell_v).abs();
        cell_v = point.cell_v;
        // The next round would move it by R0·dI/dV times as much again.
        if moved_v <= SETTLED_V || round == MOST_ROUNDS {
            point.flags.extend(flags);
            return point;
        }
    }
}

/// A cell voltage that moved by less stands, V.
const SETTLED_V: f64 = 1e-9;

/// Rounds of the tables' iteration.
const MOST_ROUNDS: usize = 6;

impl Point {
    /// Nothing drawn, nothing there.
    pub const NONE: Self = Self {
        cell_a: 0.0,
        input_a: 0.0,
        rail_a: 0.0,
        cell_v: 0.0,
        input_v: 0.0,
        rail_v: 0.0,
        reach_v: f64::NEG_INFINITY,
        dropout: false,
        flags: EMPTY,
    };
}

impl SupplyPath {
    /// Resistance from the cell's electromotive force to the regulator's input.
    pub fn feed_ohm(&self, cell_ohm: f64, drains: &DrainSum) -> f64 {
        let diode_ohm = match self.reverse {
            ReverseProtection::Nothing => 0.0,
            ReverseProtection::Diode { slope_ohm, .. } => slope_ohm,
            ReverseProtection::Transistor { resistance_ohm } => resistance_ohm,
        };
        cell_ohm / (1.0 + cell_ohm * drains.siemens) + self.series_ohm + diode_ohm
    }
}

const EMPTY: Flags = Flags::NONE;

/// Regulator part of a point: input current, rail current, rail voltage, reach, dropout.
struct Regulated {
    input_a: f64,
    rail_a: f64,
    rail_v: f64,
    reach_v: f64,
    dropout: bool,
    flags: Flags,
}

#[inline]
fn operate_with(
    path: &SupplyPath,
    drains: &DrainSum,
    extra_a: f64,
    draw: Draw,
    source: Source,
    carried: Option<Carried>,
) -> Point {
    // Source behind the drains.
    let denominator = 1.0 + source.ohm * drains.siemens;
    let emf = (source.emf_v - source.ohm * (drains.constant_a + extra_a)) / denominator;
    let ohm = source.ohm / denominator;
    // Source behind path resistance and reverse protection.
    let (diode_v, diode_ohm) = match path.reverse {
        ReverseProtection::Nothing => (0.0, 0.0),
        ReverseProtection::Diode { forward_v, slope_ohm } => (forward_v, slope_ohm),
        ReverseProtection::Transistor { resistance_ohm } => (0.0, resistance_ohm),
    };
    let feed_v = emf - diode_v;
    let feed_ohm = ohm + path.series_ohm + diode_ohm;
    let (seen_v, seen_ohm) = match carried {
        None => (feed_v, feed_ohm),
        Some(c) => (feed_v - c.offset_v, c.ohm),
    };
    let regulated = match draw {
        Draw::Rail(demand) => match &path.regulator {
            Regulator::Direct => direct(demand, seen_v, seen_ohm),
            Regulator::Linear(r) => linear(r, demand, seen_v, seen_ohm),
            Regulator::StepDown(r) => step_down(r, demand, seen_v, seen_ohm),
            Regulator::StepUp(r) => step_up(r, demand, seen_v, seen_ohm, true),
            Regulator::BuckBoost(r) => step_up(r, demand, seen_v, seen_ohm, false),
        },
        Draw::Battery { current_a } => asleep(&path.regulator, current_a, seen_v, seen_ohm),
        Draw::BatteryTable { .. } => asleep(&path.regulator, 0.0, seen_v, seen_ohm),
    };
    let input_v = seen_v - seen_ohm * regulated.input_a;
    let feed_a = match carried {
        Some(_) if feed_ohm > 0.0 => (feed_v - input_v) / feed_ohm,
        _ => regulated.input_a,
    };
    let cell_v = emf - ohm * feed_a;
    let cell_a = feed_a + drains.constant_a + extra_a + drains.siemens * cell_v;
    Point {
        cell_a,
        input_a: regulated.input_a,
        rail_a: regulated.rail_a,
        cell_v,
        input_v,
        rail_v: regulated.rail_v,
        reach_v: regulated.reach_v,
        dropout: regulated.dropout,
        flags: regulated.flags,
    }
}

/// Smaller root of `ohm·x² − b·x + c = 0`, or how many volts of `b` are missing.
#[inline]
fn smaller_root(ohm: f64, b: f64, c: f64) -> (f64, f64) {
    let discriminant = b * b - 4.0 * ohm * c;
    let least_b = 2.0 * (ohm * c).max(0.0).sqrt();
    if discriminant < 0.0 || b <= 0.0 {
        // Beyond the maximum power point: report the current there, and the missing volts.
        let x = if ohm > 0.0 { (b / (2.0 * ohm)).max(0.0) } else { 0.0 };
        return (x, b - least_b);
    }
    (2.0 * c / (b + discriminant.sqrt()), b - least_b)
}

fn direct(demand: Demand, v: f64, ohm: f64) -> Regulated {
    let (current, reach) = match demand {
        Demand::Current { current_a } => (current_a, f64::INFINITY),
        Demand::Power { power_w } => smaller_root(ohm, v, power_w),
    };
    let reach_v = if reach < 0.0 { reach } else { f64::INFINITY };
    Regulated {
        input_a: current,
        rail_a: current,
        rail_v: (v - ohm * current).max(0.0),
        reach_v,
        dropout: false,
        flags: EMPTY,
    }
}

fn linear(r: &LinearRegulator, demand: Demand, v: f64, ohm: f64) -> Regulated {
    let quiet_a = r.ground_current_a.unwrap_or(0.0);
    let (fixed_v, drop_ohm) = r.dropout.map_or((0.0, 0.0), |d| (d.fixed_v, d.resistance_ohm));
    let wanted_a = match demand {
        Demand::Current { current_a } => current_a,
        Demand::Power { power_w } => power_w / r.set_v,
    };
    let input_a = wanted_a * (1.0 + r.ground_per_load) + quiet_a;
    let input_v = v - ohm * input_a;
    if input_v >= r.set_v + fixed_v + drop_ohm * wanted_a {
        return Regulated {
            input_a,
            rail_a: wanted_a,
            rail_v: r.set_v,
            reach_v: f64::INFINITY,
            dropout: false,
            flags: EMPTY,
        };
    }
    let mut flags = EMPTY;
    let behind_ohm = ohm * (1.0 + r.ground_per_load) + drop_ohm;
    let solve = |ground_a: f64| match demand {
        Demand::Current { current_a } => (current_a, f64::INFINITY),
        Demand::Power { power_w } => {
            smaller_root(behind_ohm, v - ohm * ground_a - fixed_v, power_w)
        }
    };
    let mut ground_a = quiet_a;
    let (mut rail_a, mut reach) = solve(ground_a);
    match r.ground_in_dropout_a {
        None => flags.insert(Flag::GroundInDropoutUnknown),
        Some(full_a) => {
            // The ground current rises over the first tens of millivolts; linear in it for a current
            // demand, and so weakly coupled for a power demand that two rounds settle it.
            let rounds = if matches!(demand, Demand::Power { .. }) { 3 } else { 1 };
            let slope = (full_a - quiet_a) / DROPOUT_RAMP_V;
            for _ in 0..rounds {
                let depth_v = r.set_v + fixed_v + drop_ohm * rail_a - v
                    + ohm * (rail_a * (1.0 + r.ground_per_load) + quiet_a);
                let ramp = slope * depth_v.max(0.0) / (1.0 - slope * ohm).max(0.5);
                ground_a = if (ramp - (full_a - quiet_a)) * (full_a - quiet_a).signum() > 0.0 {
                    full_a
                } else {
                    quiet_a + ramp
                };
                (rail_a, reach) = solve(ground_a);
            }
        }
    }
    Regulated {
        input_a: rail_a * (1.0 + r.ground_per_load) + ground_a,
        rail_a,
        rail_v: (v - ohm * ground_a - fixed_v - behind_ohm * rail_a).max(0.0),
        reach_v: if reach < 0.0 { reach } else { f64::INFINITY },
        dropout: true,
        flags,
    }
}

/// Depth of dropout over which the ground current of a linear regulator rises from its value in
/// regulation to the one in dropout. From memory; data sheets show tens of millivolts.
pub const DROPOUT_RAMP_V: f64 = 0.05;

fn step_down(r: &Switching, demand: Demand, v: f64, ohm: f64) -> Regulated {
    let quiet_a = r.quiescent_a.unwrap_or(0.0);
    let rail_a = match demand {
        Demand::Current { current_a } => current_a,
        Demand::Power { power_w } => power_w / r.set_v,
    };
    let (input_a, _, flags) = converted(r, rail_a, quiet_a, v, ohm, 0.0);
    let input_v = v - ohm * input_a;
    if input_v >= r.set_v + r.pass_ohm * rail_a {
        let mut reach_v = f64::INFINITY;
        limit_input(r, input_a, input_v, ohm, &mut reach_v);
        return Regulated { input_a, rail_a, rail_v: r.set_v, reach_v, dropout: false, flags };
    }
    // Full duty: the input stands at the output, less the switch.
    let behind_v = v - ohm * quiet_a;
    let behind_ohm = ohm + r.pass_ohm;
    let (rail_a, reach) = match demand {
        Demand::Current { current_a } => (current_a, f64::INFINITY),
        Demand::Power { power_w } => smaller_root(behind_ohm, behind_v, power_w),
    };
    let input_a = rail_a + quiet_a;
    let mut reach_v = if reach < 0.0 { reach } else { f64::INFINITY };
    limit_input(r, input_a, v - ohm * input_a, ohm, &mut reach_v);
    Regulated {
        input_a,
        rail_a,
        rail_v: (behind_v - behind_ohm * rail_a).max(0.0),
        reach_v,
        dropout: true,
        flags: EMPTY,
    }
}

fn step_up(r: &Switching, demand: Demand, v: f64, ohm: f64, passes: bool) -> Regulated {
    let quiet_a = r.quiescent_a.unwrap_or(0.0);
    let rail_a = match demand {
        Demand::Current { current_a } => current_a,
        Demand::Power { power_w } => power_w / r.set_v,
    };
    if passes {
        let input_v = v - ohm * (rail_a + quiet_a);
        let rail_v = input_v - r.pass_ohm * rail_a;
        if rail_v >= r.set_v {
            let input_a = rail_a + quiet_a;
            return Regulated {
                input_a,
                rail_a,
                rail_v,
                reach_v: f64::INFINITY,
                dropout: true,
                flags: EMPTY,
            };
        }
    }
    let loss_ohm = match r.conversion {
        Conversion::Loss { resistance_ohm, .. } => resistance_ohm,
        Conversion::Table(_) => 0.0,
    };
    let (input_a, spare_v, flags) = converted(r, rail_a, quiet_a, v, ohm, loss_ohm);
    let input_v = v - ohm * input_a;
    let mut reach_v = if spare_v < 0.0 { spare_v } else { f64::INFINITY };
    limit_input(r, input_a, input_v, ohm, &mut reach_v);
    let rail_v = if spare_v < 0.0 { 0.0 } else { r.set_v };
    Regulated { input_a, rail_a, rail_v, reach_v, dropout: false, flags }
}

/// Lowers `reach_v` to what the converter's own input limits leave.
fn limit_input(r: &Switching, input_a: f64, input_v: f64, ohm: f64, reach_v: &mut f64) {
    if let Some(least_v) = r.min_input_v {
        *reach_v = reach_v.min(input_v - least_v);
    }
    if let Some(most_a) = r.switch_limit_a {
        // In volts, so that it compares with the others: the current falls as the input rises, and
        // d(V_in)/d(I) at constant power is V/I.
        let volts_per_amp = ohm + input_v / input_a.max(1e-12);
        *reach_v = reach_v.min((most_a - input_a) * volts_per_amp);
    }
}

/// Input current of a converter: `(V − ohm·x)(x − Iq) = P + loss_ohm·x²`.
fn converted(
    r: &Switching,
    rail_a: f64,
    quiet_a: f64,
    v: f64,
    ohm: f64,
    loss_ohm: f64,
) -> (f64, f64, Flags) {
    match &r.conversion {
        Conversion::Loss { proportional, resistance_ohm } => {
            let mut power = (1.0 + proportional) * r.set_v * rail_a;
            if loss_ohm == 0.0 {
                power += resistance_ohm * rail_a * rail_a; // step-down: loss with the output current
            }
            let (x, spare) = smaller_root(ohm + loss_ohm, v + ohm * quiet_a, power + v * quiet_a);
            (x, spare, EMPTY)
        }
        Conversion::Table(table) => {
            let mut x = quiet_a;
            let mut spare = f64::INFINITY;
            let mut flags = EMPTY;
            let column = table.column(rail_a);
            for _ in 0..40 {
                let (efficiency, inside) = table.in_column(v - ohm * x, column);
                if !inside && rail_a > 0.0 {
                    flags.insert(Flag::OutsideEfficiencyTable);
                }
                let power = r.set_v * rail_a / efficiency;
                let (next, left) = smaller_root(ohm, v + ohm * quiet_a, power + v * quiet_a);
                spare = left;
                let done = (next - x).abs() <= 1e-14 + 1e-13 * next.abs();
                x = next;
                if done {
                    break;
                }
            }
            (x, spare, flags)
        }
    }
}

fn asleep(regulator: &Regulator, current_a: f64, v: f64, ohm: f64) -> Regulated {
    let input_v = v - ohm * current_a;
    let (rail_v, reach_v, dropout) = match regulator {
        Regulator::Direct => (input_v, f64::INFINITY, false),
        Regulator::Linear(r) => {
            let rail_v = input_v - r.dropout.map_or(0.0, |d| d.fixed_v);
            (rail_v.min(r.set_v), f64::INFINITY, rail_v < r.set_v)
        }
        Regulator::StepDown(r) => {
            let reach = r.min_input_v.map_or(f64::INFINITY, |m| input_v - m);
            (input_v.min(r.set_v), reach, input_v < r.set_v)
        }
        Regulator::StepUp(r) => {
            let reach = r.min_input_v.map_or(f64::INFINITY, |m| input_v - m);
            (input_v.max(r.set_v), reach, false)
        }
        Regulator::BuckBoost(r) => {
            let reach = r.min_input_v.map_or(f64::INFINITY, |m| input_v - m);
            (r.set_v, reach, false)
        }
    };
    Regulated { input_a: current_a, rail_a: 0.0, rail_v, reach_v, dropout, flags: EMPTY }
}

impl EfficiencyTable {
    /// Efficiency at a point, and whether the point lies inside the table.
    ///
    /// Bilinear in input voltage and the logarithm of the output current; the edge value outside.
    pub fn at(&self, input_v: f64, output_a: f64) -> (f64, bool) {
        self.in_column(input_v, self.column(output_a))
    }

    /// Where an output current lies: index, weight of the next one, inside or not.
    fn column(&self, output_a: f64) -> (usize, f64, bool) {
        place_log(&self.output_a, output_a)
    }

    fn in_column(&self, input_v: f64, (k, w, inside_a): (usize, f64, bool)) -> (f64, bool) {
        let (i, u, inside_v) = place(&self.input_v, input_v);
        let n = self.output_a.len();
        let i1 = (i + 1).min(self.input_v.len() - 1);
        let k1 = (k + 1).min(n - 1);
        let e = |row: usize, col: usize| self.efficiency[row * n + col];
        let low = e(i, k) * (1.0 - w) + e(i, k1) * w;
        let high = e(i1, k) * (1.0 - w) + e(i1, k1) * w;
        (low * (1.0 - u) + high * u, inside_v && inside_a)
    }
}

fn place(x: &[f64], at: f64) -> (usize, f64, bool) {
    let last = x.len() - 1;
    if at <= x[0] {
        return (0, 0.0, at >= x[0]);
    }
    if at >= x[last] {
        return (last, 0.0, at <= x[last]);
    }
    let i = x.partition_point(|&k| k <= at) - 1;
    (i, (at - x[i]) / (x[i + 1] - x[i]), true)
}

fn place_log(x: &[f64], at: f64) -> (usize, f64, bool) {
    let (i, u, inside) = place(x, at);
    if u == 0.0 {
        return (i, 0.0, inside);
    }
    (i, libm::log(at / x[i]) / libm::log(x[i + 1] / x[i]), inside)
}

/// The limits a point is held against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Rail voltage below which the processor resets.
    pub reset_v: f64,
    /// Cell's lowest voltage.
    pub cell_v: f64,
    /// Protection's opening voltage.
    pub protection_v: f64,
}

impl Limits {
    /// The limits of a scenario's parts; unknown ones are minus infinity (never met).
    pub fn of(path: &SupplyPath, cell: &crate::cell::Cell) -> Self {
        Self {
            reset_v: path.reset_v.unwrap_or(f64::NEG_INFINITY),
            cell_v: cell.cutoff_v.unwrap_or(f64::NEG_INFINITY),
            protection_v: cell.protection.and_then(|p| p.cutoff_v).unwrap_or(f64::NEG_INFINITY),
        }
    }

    /// The smallest distance to a limit and which limit it is.
    #[inline]
    pub fn margin(&self, point: &Point) -> (f64, Ending) {
        let mut least = (point.rail_v - self.reset_v, Ending::RailBelowReset);
        if point.reach_v < least.0 {
            least = (point.reach_v, Ending::RegulatorOutOfReach);
        }
        if point.cell_v - self.protection_v < least.0 {
            least = (point.cell_v - self.protection_v, Ending::ProtectionCutoff);
        }
        if point.cell_v - self.cell_v < least.0 {
            least = (point.cell_v - self.cell_v, Ending::CellCutoff);
        }
        least
    }
}
