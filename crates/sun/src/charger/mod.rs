//! Between panel and cell: how the panel is coupled, what a linear single-cell charger does, what leaks back at night.

pub mod charge_time;
pub mod permission;

use crate::panel::{Curve, Panel};

/// How the panel meets the charger.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Coupling {
    /// Straight into the charger's input: the panel sits at the cell's voltage plus the charger's dropout and loses the rest.
    Straight,
    /// Through a diode, which costs its forward voltage.
    Diode {
        /// Forward voltage, V (0.3…0.5 metal–semiconductor, 0.7 silicon).
        forward_v: f64,
    },
    /// Into a step-down charger that does not seek the panel's maximum power: `V_cell·I_out = η·(V_in − V_forward)·I_in` while the panel can give
    /// that much; past its maximum the panel collapses until the switch is on all the time, and then it is as straight into a linear one. A
    /// charger that holds its input works at that voltage instead.
    StepDown {
        /// Power out over power in, 0…1 (0.85…0.95 is usual).
        efficiency: f64,
        /// Forward voltage of a diode before it, V; 0 without one.
        forward_v: f64,
    },
    /// Through a converter that holds the panel at its maximum power; it also limits the cell's voltage and current.
    MaximumPower {
        /// Power out over power in, 0…1 (0.80…0.90 is usual), tracking included.
        efficiency: f64,
        /// What the converter itself draws from the cell, day and night, A.
        own_current_a: f64,
        /// Least panel power at which it works, W.
        least_power_w: f64,
    },
}

/// Thermal fold-back: the charger lowers its current so that its own die stays at a limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoldBack {
    /// Die temperature held, °C.
    pub limit_c: f64,
    /// Thermal resistance from die to air, K/W.
    pub resistance_k_per_w: f64,
}

impl FoldBack {
    /// Highest current at an air temperature and a voltage across the charger: `(T_lim − T_air)/(R_θ·(V_in − V_bat))`, A.
    ///
    /// Zero in air hotter than the limit; infinite when nothing is across the charger.
    pub fn limit_a(&self, air_c: f64, across_v: f64) -> f64 {
        if across_v <= 0.0 {
            return f64::INFINITY;
        }
        ((self.limit_c - air_c) / (self.resistance_k_per_w * across_v)).max(0.0)
    }
}

/// A linear constant-current, constant-voltage charger for one cell.
#[derive(Debug, Clone, PartialEq)]
pub struct Charger {
    /// Constant current, A (see [`set_current_a`]).
    pub set_current_a: f64,
    /// Constant voltage, V.
    pub hold_v: f64,
    /// Below this cell voltage only a part of the current flows; `None`: no preconditioning.
    pub precondition: Option<Precondition>,
    /// Charging ends when the charger's current falls below this share of the set current; `None`: never ends.
    pub termination_share: Option<f64>,
    /// After the end it starts again when the cell's voltage has fallen this far, V.
    pub restart_drop_v: f64,
    /// Charging ends at the latest after this time with input present, s; `None`: no timer.
    pub safety_timer_s: Option<f64>,
    /// Cell temperatures at which it charges, °C. `None`: it has no temperature input, and nothing prevents charging in the frost.
    pub temperature_window_c: Option<(f64, f64)>,
    /// Thermal fold-back; `None`: unknown or absent.
    pub fold_back: Option<FoldBack>,
    /// Voltage from input to cell that the pass element needs, V.
    pub dropout_v: f64,
    /// Input voltage at which it switches on, V.
    pub input_rise_v: f64,
    /// Input voltage at which it switches off, V.
    pub input_fall_v: f64,
    /// If it throttles itself so that the input does not sag below this, V; such a charger does not chatter.
    pub input_regulation_v: Option<f64>,
    /// Capacitance at its input, F: sets the pace of the chatter.
    pub input_capacitance_f: f64,
    /// From switching off to the next try, s.
    pub retry_s: f64,
    /// The load hangs on its own path from the input, so that it does not disturb the termination.
    pub power_path: bool,
}

/// Preconditioning of a deeply discharged cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Precondition {
    /// Below this cell voltage, V.
    pub below_v: f64,
    /// This share of the set current.
    pub share: f64,
}

/// Charge current set by a resistor: `I = K/R`, typically with `K` = 1000 V (2 kΩ: 0.5 A, 10 kΩ: 0.1 A); ±10 %, worse below 100 mA.
///
/// Common practice of single-cell linear chargers; the data sheet's `K` wins.
pub fn set_current_a(factor_v: f64, resistor_ohm: f64) -> f64 {
    factor_v / resistor_ohm
}

impl Charger {
    /// A usual single-cell charger (4.20 V, precondition below 2.9 V at a tenth, ends at a tenth, no timer, no temperature input,
    /// on above 3.6 V and off below 3.4 V at the input, 0.1 V dropout, 10 µF, 0.1 s to retry). Every figure from memory: the data sheet wins.
    pub fn usual(set_current_a: f64) -> Self {
        Self {
            set_current_a,
            hold_v: 4.20,
            precondition: Some(Precondition { below_v: 2.9, share: 0.1 }),
            termination_share: Some(0.1),
            restart_drop_v: 0.12,
            safety_timer_s: None,
            temperature_window_c: None,
            fold_back: None,
            dropout_v: 0.1,
            input_rise_v: 3.6,
            input_fall_v: 3.4,
            input_regulation_v: None,
            input_capacitance_f: 10e-6,
            retry_s: 0.1,
            power_path: false,
        }
    }

    /// Current below which charging ends, A; 0 if it never does.
    pub fn termination_a(&self) -> f64 {
        self.termination_share.unwrap_or(0.0) * self.set_current_a
    }

    /// The constant current at a cell voltage, before any limit of the source, A.
    pub fn wanted_a(&self, cell_v: f64) -> f64 {
        match self.precondition {
            Some(p) if cell_v < p.below_v => p.share * self.set_current_a,
            _ => self.set_current_a,
        }
    }

    /// Does it charge at this cell temperature?
    pub fn allows_temperature(&self, cell_c: f64) -> bool {
        self.temperature_window_c.is_none_or(|(low, high)| (low..=high).contains(&cell_c))
    }
}

/// What leaks out of the cell through charger, diode and dark panel when there is no input.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct NightLeak {
    /// At 25 °C, A.
    pub at_25_a: f64,
    /// Kelvin for a doubling (10…12 for a metal–semiconductor diode); 0 or less: the same at every temperature.
    pub doubling_k: f64,
}

impl NightLeak {
    /// At a temperature, A.
    pub fn current_a(&self, celsius: f64) -> f64 {
        if self.at_25_a <= 0.0 || self.doubling_k <= 0.0 {
            return self.at_25_a.max(0.0);
        }
        self.at_25_a * libm::exp2((celsius - 25.0) / self.doubling_k)
    }
}

/// Panel, coupling and charger: everything that puts charge into the cell.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// The panel.
    pub panel: Panel,
    /// How much it warms above the air, K·m²/W (see [`crate::panel::cell_temperature_c`]).
    pub heating_k_m2_per_w: f64,
    /// How it is coupled.
    pub coupling: Coupling,
    /// The charger.
    pub charger: Charger,
    /// What leaks back without input.
    pub night_leak: NightLeak,
}

/// What the source does at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Supply {
    /// Too little light for the input to reach its threshold.
    Off,
    /// On, and steady.
    On {
        /// Into the node of cell and load, A.
        current_a: f64,
        /// What the panel would have given at this voltage without the charger's limit, A.
        offered_a: f64,
    },
    /// On and off again and again: the light reaches the threshold, but sags under the charger's current.
    Chatter {
        /// Mean current into the node, A.
        current_a: f64,
        /// What the panel would have given at this voltage, A.
        offered_a: f64,
        /// From one start to the next, s.
        period_s: f64,
    },
}

impl Source {
    /// The source at an irradiance curve, a loaded cell voltage and an air temperature.
    ///
    /// Straight or through a diode: the panel gives what the charger wants at the voltage on its own curve, or else sits at cell voltage plus
    /// dropout (plus diode) and gives what it has there. Constant voltage is not decided here: see the balance.
    pub fn supply(&self, curve: &Curve, cell_v: f64, air_c: f64) -> Supply {
        let charger = &self.charger;
        let drop = match self.coupling {
            Coupling::Straight => 0.0,
            Coupling::Diode { forward_v } => forward_v,
            Coupling::StepDown { efficiency, forward_v } => {
                if let Some(supply) = self.stepped_down(curve, cell_v, efficiency, forward_v) {
                    return supply;
                }
                forward_v
            }
            Coupling::MaximumPower { efficiency, least_power_w, .. } => {
                let power = curve.maximum_power().power_w();
                if power < least_power_w || power <= 0.0 {
                    return Supply::Off;
                }
                let offered_a = power * efficiency / cell_v.max(0.5);
                return Supply::On {
                    current_a: offered_a.min(charger.wanted_a(cell_v)),
                    offered_a,
                };
            }
        };
        let lowest_input = cell_v + charger.dropout_v;
        let saturated = curve.current_a(lowest_input + drop).max(0.0);
        // Light enough for the threshold? A panel that delivers at a higher voltage is.
        let reaches = saturated > 0.0 && lowest_input >= charger.input_rise_v;
        if !reaches && !curve.delivers_at(charger.input_rise_v + drop) {
            return Supply::Off;
        }
        let mut wanted = charger.wanted_a(cell_v);
        let mut input_v = lowest_input;
        if saturated > wanted
            && let Some(fold) = charger.fold_back
        {
            for _ in 0..4 {
                let v = curve
                    .voltage_at_current_v(wanted)
                    .map_or(lowest_input, |v| (v - drop).max(lowest_input));
                wanted = charger.wanted_a(cell_v).min(fold.limit_a(air_c, v - cell_v));
            }
        }
        let current_a = if saturated > wanted {
            input_v = f64::INFINITY;
            wanted
        } else {
            saturated
        };
        if input_v >= charger.input_fall_v {
            return Supply::On { current_a, offered_a: saturated };
        }
        if let Some(hold) = charger.input_regulation_v {
            let held = curve.current_a(hold.max(lowest_input) + drop).max(0.0);
            return Supply::On { current_a: held.min(wanted), offered_a: saturated };
        }
        // The input capacitor swings between the two thresholds.
        let swing_c =
            charger.input_capacitance_f * (charger.input_rise_v - charger.input_fall_v).max(0.0);
        let up = swing_c / saturated.max(1e-12);
        let down = swing_c / (wanted - saturated).max(1e-9);
        let swings = up + down;
        Supply::Chatter {
            // A charger that tries again at once loses nothing, however small the capacitor.
            current_a: saturated * (swings / (swings + charger.retry_s).max(1e-12)).min(1.0),
            offered_a: saturated,
            // Events are counted in milliseconds at the finest: faster ones are one to whoever is reset.
            period_s: (swings + charger.retry_s).max(1e-3),
        }
    }
}

impl Source {
    /// A step-down charger on the good side of the panel's maximum, or at the input voltage that it holds; `None` where the panel collapses.
    fn stepped_down(
        &self,
        curve: &Curve,
        cell_v: f64,
        efficiency: f64,
        forward_v: f64,
    ) -> Option<Supply> {
        let charger = &self.charger;
        if !curve.delivers_at(charger.input_rise_v + forward_v) {
            return Some(Supply::Off);
        }
        let wanted = charger.wanted_a(cell_v);
        let lowest_input = cell_v + charger.dropout_v;
        let brought = |input_v: f64, input_a: f64| input_v * input_a * efficiency / cell_v.max(0.5);
        let peak = curve.maximum_power();
        let peak_v = peak.voltage_v - forward_v;
        let offered_a = brought(peak_v.max(0.0), peak.current_a);
        if offered_a >= wanted && peak_v >= lowest_input.max(charger.input_fall_v) {
            return Some(Supply::On { current_a: wanted, offered_a });
        }
        let input_v = charger.input_regulation_v?.max(lowest_input);
        let current_a = brought(input_v, curve.current_a(input_v + forward_v).max(0.0)).min(wanted);
        Some(Supply::On { current_a, offered_a: offered_a.max(current_a) })
    }
}

/// Can this panel do its work at this charger at all?
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub enum Reach {
    /// It fills the cell in full sun, cold and hot.
    Fills,
    /// In full sun with the panel hot it cannot bring the cell to its full voltage: the panel's voltage at maximum power there, what is needed.
    NotFullWhenHot {
        /// Panel voltage at maximum power in full sun, hot, V.
        have_v: f64,
        /// Cell's full voltage plus dropout plus diode, V.
        need_v: f64,
    },
    /// It never reaches the charger's input threshold, whatever the sun: open-circuit voltage in full sun when cold, what is needed.
    Never {
        /// Open-circuit voltage in full sun at the cold end, V.
        have_v: f64,
        /// Threshold plus diode, V.
        need_v: f64,
    },
}

impl Source {
    /// Whether the panel reaches the charger's threshold and the cell's full voltage in full sun (1000 W/m²) between two cell temperatures
    /// of the panel (°C, say −10 and 60).
    pub fn reach(&self, cold_c: f64, hot_c: f64) -> Reach {
        let drop = match self.coupling {
            Coupling::Straight => 0.0,
            Coupling::Diode { forward_v } | Coupling::StepDown { forward_v, .. } => forward_v,
            Coupling::MaximumPower { .. } => return Reach::Fills,
        };
        let have_v = self.panel.curve(1000.0, cold_c).open_circuit_v();
        let need_v = self.charger.input_rise_v + drop;
        if have_v <= need_v {
            return Reach::Never { have_v, need_v };
        }
        let hot = self.panel.curve(1000.0, hot_c).maximum_power().voltage_v;
        let need_v = self.charger.hold_v + self.charger.dropout_v + drop;
        if hot < need_v { Reach::NotFullWhenHot { have_v: hot, need_v } } else { Reach::Fills }
    }
}

impl Source {
    /// Would an emptied cell be charged again? See [`ChargerCaution::EmptyCellMayNotRecover`]; the emptiest cell looked at is one just above the
    /// charger's precondition voltage (3.0 V without one).
    pub fn recovers_empty_cell(&self) -> bool {
        let charger = &self.charger;
        let lowest_v = charger.precondition.map_or(3.0, |p| p.below_v) + charger.dropout_v;
        matches!(self.coupling, Coupling::MaximumPower { .. })
            || charger.input_regulation_v.is_some()
            || lowest_v >= charger.input_fall_v
            || self.panel.light_current_a >= charger.set_current_a
    }
}

/// A caution that belongs beside every figure of this source.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
pub enum ChargerCaution {
    /// The charger has no temperature input: nothing prevents charging a lithium-ion cell in the frost, which ruins it.
    NothingPreventsFrostCharging,
    /// The charger's termination is disturbed: the load alone draws more than the termination current, so the cell is held at full voltage.
    LoadPreventsTermination,
    /// The safety timer can end the charge before the cell is full.
    TimerMayEndEarly,
    /// An emptied cell may not come back: the panel gives less than the charger wants, sags to the cell's low voltage, and that lies below the
    /// charger's switch-off threshold, so it hiccups instead of charging.
    EmptyCellMayNotRecover,
    /// The panel sags below the input threshold at dawn and dusk: the charger starts and stops again and again.
    Chatters,
}

impl Charger {
    /// Cautions that follow from the charger and a mean load alone.
    pub fn cautions(&self, mean_load_a: f64) -> Vec<ChargerCaution> {
        let mut cautions = Vec::new();
        if self.temperature_window_c.is_none() {
            cautions.push(ChargerCaution::NothingPreventsFrostCharging);
        }
        if !self.power_path
            && self.termination_share.is_some()
            && mean_load_a >= self.termination_a()
        {
            cautions.push(ChargerCaution::LoadPreventsTermination);
            if self.safety_timer_s.is_some() {
                cautions.push(ChargerCaution::TimerMayEndEarly);
            }
        }
        cautions
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::panel::label::{Label, from_label};

    fn source(power_w: f64, set_a: f64) -> Source {
        let label =
            Label { power_w: Some(power_w), maximum_power_v: Some(6.0), ..Label::default() };
        Source {
            panel: from_label(&label).unwrap().panel,
            heating_k_m2_per_w: 0.03,
            coupling: Coupling::Straight,
            charger: Charger::usual(set_a),
            night_leak: NightLeak::default(),
        }
    }

    #[test]
    fn fold_back_as_on_paper() {
        // (110 − 25)/(130·1.7) = 0.385 A (common practice; a maker's data sheet has the same form).
        let fold = FoldBack { limit_c: 110.0, resistance_k_per_w: 130.0 };
        assert!((fold.limit_a(25.0, 1.7) - 0.38462).abs() < 1e-5);
        assert_eq!(fold.limit_a(120.0, 1.0), 0.0);
        assert!((set_current_a(1000.0, 2000.0) - 0.5).abs() < 1e-15);
    }

    #[test]
    fn the_panel_sits_at_the_cells_voltage() {
        let s = source(0.3, 0.5);
        let curve = s.panel.curve(1000.0, 25.0);
        let Supply::On { current_a, .. } = s.supply(&curve, 3.8, 25.0) else { panic!("on") };
        assert!((current_a - curve.current_a(3.9)).abs() < 1e-12);
        // A small charger limits a large panel.
        let s = source(6.0, 0.1);
        let Supply::On { current_a, offered_a } = s.supply(&s.panel.curve(1000.0, 25.0), 3.8, 25.0)
        else {
            panic!("on")
        };
        assert_eq!(current_a, 0.1);
        assert!(offered_a > 1.0);
    }

    #[test]
    fn a_step_down_charger_conserves_power_and_collapses_past_the_maximum() {
        let mut s = source(2.5, 0.5);
        s.coupling = Coupling::StepDown { efficiency: 0.9, forward_v: 0.0 };
        let sun = s.panel.curve(1000.0, 25.0);
        // 2.5 W·0.9/3.8 V = 0.592 A: the half ampere is there, which the panel's own current (0.44 A at 3.9 V) is not.
        let Supply::On { current_a, offered_a } = s.supply(&sun, 3.8, 25.0) else { panic!("on") };
        assert!(current_a == 0.5 && sun.current_a(3.9) < 0.46);
        assert!((offered_a - 2.5 * 0.9 / 3.8).abs() < 1e-6, "{offered_a}");
        // The instant on the panel's curve at which the power is that: beyond the maximum's voltage.
        let at = |v: f64| v * sun.current_a(v) * 0.9 - 0.5 * 3.8;
        assert!(at(sun.maximum_power().voltage_v) > 0.0 && at(sun.open_circuit_v()) < 0.0);
        // Six tenths of the sun: 0.355 A wanted more than there is. It collapses to the cell's voltage and brings the panel's current, no more.
        let weak = s.panel.curve(600.0, 25.0);
        let Supply::On { current_a, .. } = s.supply(&weak, 3.8, 25.0) else { panic!("on") };
        assert!((current_a - weak.current_a(3.9)).abs() < 1e-12);
        // A charger that holds its input works there: power conserved.
        s.charger.input_regulation_v = Some(5.5);
        let Supply::On { current_a, .. } = s.supply(&weak, 3.8, 25.0) else { panic!("on") };
        assert!((current_a * 3.8 - 0.9 * 5.5 * weak.current_a(5.5)).abs() < 1e-12);
        assert!(current_a > 1.2 * weak.current_a(3.9), "{current_a}");
        assert_eq!(s.supply(&s.panel.curve(0.0, 10.0), 3.8, 10.0), Supply::Off);
    }

    #[test]
    fn dawn_chatter_needs_a_cell_below_the_threshold() {
        let mut s = source(1.0, 0.5);
        let faint = s.panel.curve(15.0, 10.0);
        // Falling threshold 3.4 V lies below cell 3.8 V plus dropout: steady.
        assert!(matches!(s.supply(&faint, 3.8, 10.0), Supply::On { .. }));
        s.charger.input_rise_v = 4.4;
        s.charger.input_fall_v = 4.2;
        let Supply::Chatter { period_s, current_a, offered_a } = s.supply(&faint, 3.8, 10.0) else {
            panic!("chatter")
        };
        assert!(period_s > 0.1 && period_s < 1.0 && current_a < offered_a);
        s.charger.input_regulation_v = Some(4.3);
        assert!(matches!(s.supply(&faint, 3.8, 10.0), Supply::On { .. }));
        assert_eq!(s.supply(&s.panel.curve(0.0, 10.0), 3.8, 10.0), Supply::Off);
    }

    #[test]
    fn a_panel_out_of_reach_is_told() {
        let mut s = source(0.3, 0.1);
        assert!(matches!(s.reach(-10.0, 60.0), Reach::Fills));
        s.charger.input_rise_v = 9.0;
        assert!(matches!(s.reach(-10.0, 60.0), Reach::Never { .. }));
        let label = Label { power_w: Some(0.3), maximum_power_v: Some(5.0), ..Label::default() };
        s = Source { panel: from_label(&label).unwrap().panel, ..source(0.3, 0.1) };
        s.coupling = Coupling::Diode { forward_v: 0.3 };
        assert!(matches!(s.reach(-10.0, 60.0), Reach::NotFullWhenHot { .. }));
    }
}
