//! Cell and load as the balance sees them, tabulated once over state of charge and temperature.

/// A rechargeable bank, as its chemistry gives it.
pub trait Bank {
    /// Capacity at the reference temperature, C.
    fn capacity_c(&self) -> f64;
    /// Share of it that can be drawn at a temperature (°C).
    fn capacity_share(&self, celsius: f64) -> f64;
    /// Rested open-circuit voltage at a state of charge 0…1, V.
    fn open_circuit_v(&self, state: f64) -> f64;
    /// Resistance for a current that lasts, Ω.
    fn resistance_ohm(&self, state: f64, celsius: f64) -> f64;
    /// Self-discharge, 1/s.
    fn self_discharge_per_s(&self, celsius: f64) -> f64;
}

/// What the board draws from the cell.
pub trait Demand {
    /// Mean current over whole cycles at a cell voltage and a temperature, with regulator and always-on drains, A.
    fn mean_current_a(&self, cell_v: f64, celsius: f64) -> f64;
    /// What still flows when the rail is dead (battery-side drains), A.
    fn dark_current_a(&self, cell_v: f64, celsius: f64) -> f64;
    /// Lowest state of charge, 0…1, at which the board still survives its worst peak at a temperature.
    fn lowest_usable_state(&self, celsius: f64) -> f64;
}

/// A steady load that stops at one state of charge at every temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SteadyDemand {
    /// Mean current, A.
    pub current_a: f64,
    /// Current when dark, A.
    pub dark_a: f64,
    /// Lowest usable state, 0…1.
    pub lowest_state: f64,
}

impl Demand for SteadyDemand {
    fn mean_current_a(&self, _: f64, _: f64) -> f64 {
        self.current_a
    }
    fn dark_current_a(&self, _: f64, _: f64) -> f64 {
        self.dark_a
    }
    fn lowest_usable_state(&self, _: f64) -> f64 {
        self.lowest_state
    }
}

/// A bank given by a table: rising knots of open-circuit voltage, a resistance at 25 °C with its temperature law, a capacity.
#[derive(Debug, Clone, PartialEq)]
pub struct TableBank {
    /// `(state, volts)`, straight lines between.
    pub open_circuit: Vec<(f64, f64)>,
    /// Resistance at 25 °C, Ω.
    pub resistance_ohm: f64,
    /// `R(T) = R25·exp[B(1/T − 1/298.15)]`, K.
    pub b_kelvin: f64,
    /// C.
    pub capacity_c: f64,
    /// `(°C, share)`, rising; beyond its ends the end values. Empty: 1 at every temperature.
    pub capacity_share: Vec<(f64, f64)>,
    /// At 20 °C, 1/s; doubles every 10 K.
    pub self_discharge_at_20_per_s: f64,
}

impl TableBank {
    /// The lithium-ion table of the design notes (common practice, from memory): 4.18 V full, 3.00 V empty; resistance for 1 Ah at 0.18 Ω·(2.5 Ah/Q),
    /// B = 2500 K, 2 % a month of 30.4 days at 20 °C; capacity in the cold from a published measurement (1 at 25 °C, 0.92 at −5, 0.85 at −10, 0.82
    /// at −15 °C: Aris & Shabani, Energy Procedia 110, 128-135, 2017, table 2).
    pub fn lithium_ion(capacity_c: f64) -> Self {
        Self {
            open_circuit: LITHIUM_ION_OCV.to_vec(),
            resistance_ohm: 0.18 * 2.5 * 3600.0 / capacity_c,
            b_kelvin: 2500.0,
            capacity_c,
            capacity_share: vec![(-15.0, 0.82), (-10.0, 0.85), (-5.0, 0.92), (25.0, 1.0)],
            self_discharge_at_20_per_s: 6.6456e-4 / 86400.0,
        }
    }
}

/// Open-circuit voltage of a lithium-ion cell over its state of charge (check table of the design notes; from memory).
pub const LITHIUM_ION_OCV: [(f64, f64); 12] = [
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

fn piecewise(knots: &[(f64, f64)], x: f64) -> f64 {
    match knots {
        [] => 1.0,
        [only] => only.1,
        _ => {
            let k = knots.windows(2).position(|w| x < w[1].0).unwrap_or(knots.len() - 2);
            let (a, b) = (knots[k], knots[k + 1]);
            a.1 + (b.1 - a.1) * ((x - a.0) / (b.0 - a.0)).clamp(0.0, 1.0)
        }
    }
}

impl Bank for TableBank {
    fn capacity_c(&self) -> f64 {
        self.capacity_c
    }
    fn capacity_share(&self, celsius: f64) -> f64 {
        piecewise(&self.capacity_share, celsius)
    }
    fn open_circuit_v(&self, state: f64) -> f64 {
        piecewise(&self.open_circuit, state)
    }
    fn resistance_ohm(&self, _: f64, celsius: f64) -> f64 {
        self.resistance_ohm * libm::exp(self.b_kelvin * (1.0 / (celsius + 273.15) - 1.0 / 298.15))
    }
    fn self_discharge_per_s(&self, celsius: f64) -> f64 {
        self.self_discharge_at_20_per_s * libm::exp2((celsius - 20.0) / 10.0)
    }
}

/// Steps of the state of charge: multiples of 1/80 hold the usual table knots (0.05, 0.1, …) exactly.
pub(super) const STATES: usize = 80;
/// Coldest and warmest row, °C, and their distance.
const COLDEST_C: f64 = -50.0;
const ROW_K: f64 = 2.0;
pub(super) const ROWS: usize = 71;

/// Temperature of a row, °C.
pub(super) fn row_celsius(row: usize) -> f64 {
    COLDEST_C + ROW_K * row as f64
}

/// The row nearest to a temperature, and whether the temperature lies inside the table.
#[inline]
pub(super) fn row_index(celsius: f64) -> (usize, bool) {
    let at = (celsius - COLDEST_C) * (1.0 / ROW_K) + 0.5;
    ((at as u32 as usize).min(ROWS - 1), at >= 0.0 && at < ROWS as f64)
}

#[derive(Debug, Clone)]
pub(super) struct Row {
    /// Capacity that can be drawn, C.
    pub(super) capacity_c: f64,
    /// Its inverse: a product is cheaper than a quotient.
    pub(super) per_capacity: f64,
    pub(super) self_discharge_per_s: f64,
    pub(super) lowest_state: f64,
    /// Charge below full at which the lowest usable state is met, C.
    pub(super) deepest_c: f64,
    /// `[resistance, load current, dark current]` at each state.
    pub(super) at_state: Vec<[f64; 3]>,
}

/// Cell and load tabulated: 71 temperatures from −50 to 90 °C in steps of 2 K (the nearest is used), 81 states of charge (straight lines between).
#[derive(Debug, Clone)]
pub struct NodeTables {
    pub(super) capacity_c: f64,
    pub(super) open_circuit_v: Vec<f64>,
    pub(super) rows: Vec<Row>,
}

/// A bank or demand that makes no sense as a table.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum TablesError {
    /// Capacity not above zero.
    #[error("the bank's capacity is {got} C, but must be above zero")]
    Capacity {
        /// The capacity.
        got: f64,
    },
    /// Open-circuit voltage that falls with the state of charge.
    #[error(
        "the open-circuit voltage falls from {below_v} V to {above_v} V at state of charge {state}"
    )]
    OpenCircuitFalls {
        /// The state.
        state: f64,
        /// Just below it.
        below_v: f64,
        /// At it.
        above_v: f64,
    },
    /// Something that is not a number, or negative.
    #[error("{what} at {celsius} C and state {state} is {got}")]
    NotANumber {
        /// What.
        what: &'static str,
        /// Temperature.
        celsius: f64,
        /// State of charge.
        state: f64,
        /// Its value.
        got: f64,
    },
}

/// Factors on a node's figures, and what is added to its lowest usable state at each temperature of the tables.
#[derive(Debug, Clone, PartialEq)]
pub struct Variation {
    /// On the capacity.
    pub capacity: f64,
    /// On the load's current.
    pub load: f64,
    /// On the resistance.
    pub resistance: f64,
    /// On the self-discharge.
    pub self_discharge: f64,
    /// Added to the lowest usable state, as [`lowest_states`] orders them; empty for nothing.
    pub lowest_state: Vec<f64>,
}

/// The lowest usable state of a demand at each temperature of the tables.
pub fn lowest_states(demand: &dyn Demand) -> Vec<f64> {
    (0..ROWS).map(|row| demand.lowest_usable_state(row_celsius(row)).clamp(0.0, 1.0)).collect()
}

impl NodeTables {
    /// Tabulates a bank and a demand. The load's current is taken at the voltage it leaves on the cell.
    ///
    /// # Errors
    /// [`TablesError`].
    pub fn new(bank: &impl Bank, demand: &impl Demand) -> Result<Self, TablesError> {
        let capacity_c = bank.capacity_c();
        if !(capacity_c > 0.0 && capacity_c.is_finite()) {
            return Err(TablesError::Capacity { got: capacity_c });
        }
        let state = |i: usize| i as f64 / STATES as f64;
        let open_circuit_v: Vec<f64> =
            (0..=STATES).map(|i| bank.open_circuit_v(state(i))).collect();
        if let Some(i) = (1..=STATES)
            .find(|&i| open_circuit_v[i] < open_circuit_v[i - 1] || !open_circuit_v[i].is_finite())
        {
            return Err(TablesError::OpenCircuitFalls {
                state: state(i),
                below_v: open_circuit_v[i - 1],
                above_v: open_circuit_v[i],
            });
        }
        let mut rows = Vec::with_capacity(ROWS);
        for row in 0..ROWS {
            let celsius = row_celsius(row);
            let check = |what, state, got: f64| {
                if got >= 0.0 && got.is_finite() {
                    Ok(got)
                } else {
                    Err(TablesError::NotANumber { what, celsius, state, got })
                }
            };
            let share = check("share of capacity", 1.0, bank.capacity_share(celsius))?.max(1e-6);
            let mut at_state = Vec::with_capacity(STATES + 1);
            for (i, &ocv) in open_circuit_v.iter().enumerate() {
                let s = state(i);
                let r = check("resistance", s, bank.resistance_ohm(s, celsius))?;
                let mut load = check("load", s, demand.mean_current_a(ocv, celsius))?;
                load = check("load", s, demand.mean_current_a(ocv - r * load, celsius))?;
                let dark = check("dark current", s, demand.dark_current_a(ocv, celsius))?;
                at_state.push([r, load, dark]);
            }
            let lowest_state =
                check("lowest usable state", 0.0, demand.lowest_usable_state(celsius))?.min(1.0);
            rows.push(Row {
                capacity_c: capacity_c * share,
                per_capacity: 1.0 / (capacity_c * share),
                self_discharge_per_s: check(
                    "self-discharge",
                    1.0,
                    bank.self_discharge_per_s(celsius),
                )?,
                lowest_state,
                deepest_c: (1.0 - lowest_state) * capacity_c * share,
                at_state,
            });
        }
        Ok(Self { capacity_c, open_circuit_v, rows })
    }

    /// The same node with some of its figures moved; voltages stay.
    #[must_use]
    pub fn varied(&self, by: &Variation) -> Self {
        let mut varied = self.clone();
        varied.capacity_c *= by.capacity;
        for (row, lowest) in varied
            .rows
            .iter_mut()
            .zip(by.lowest_state.iter().copied().chain(core::iter::repeat(0.0)))
        {
            row.capacity_c *= by.capacity;
            row.per_capacity /= by.capacity;
            row.self_discharge_per_s *= by.self_discharge;
            row.lowest_state = (row.lowest_state + lowest).clamp(0.0, 1.0);
            row.deepest_c = (1.0 - row.lowest_state) * row.capacity_c;
            for [resistance, drawn, _] in &mut row.at_state {
                *resistance *= by.resistance;
                *drawn *= by.load;
            }
        }
        varied
    }

    /// Lowest state of charge, 0…1, at which the open-circuit voltage reaches a voltage; 1 where it never does.
    pub(super) fn state_at(&self, volts: f64) -> f64 {
        let Some(k) = self.open_circuit_v.iter().position(|v| *v >= volts) else { return 1.0 };
        if k == 0 {
            return 0.0;
        }
        let (low, high) = (self.open_circuit_v[k - 1], self.open_circuit_v[k]);
        ((k - 1) as f64 + (volts - low) / (high - low)) / STATES as f64
    }

    /// The least load, A, and the least charge at which the board stops, C, between two temperatures, °C.
    pub(super) fn least_load_and_floor(&self, coldest_c: f64, warmest_c: f64) -> (f64, f64) {
        let rows = &self.rows[row_index(coldest_c).0..=row_index(warmest_c).0];
        let loads = rows.iter().flat_map(|row| row.at_state.iter().map(|[_, load, _]| *load));
        let floors = rows.iter().map(|row| self.capacity_c - row.deepest_c);
        (loads.fold(f64::INFINITY, f64::min), floors.fold(f64::INFINITY, f64::min))
    }

    pub(super) fn row_at(&self, celsius: f64) -> (&Row, bool) {
        let (index, inside) = row_index(celsius);
        (&self.rows[index], inside)
    }

    /// Capacity at the reference temperature, C.
    pub fn capacity_c(&self) -> f64 {
        self.capacity_c
    }

    /// Charge from full to the lowest usable state at a temperature, C.
    pub fn usable_c(&self, celsius: f64) -> f64 {
        let (row, _) = self.row_at(celsius);
        row.capacity_c * (1.0 - row.lowest_state)
    }

    /// Mean load at a temperature and half charge, A.
    pub fn load_a(&self, celsius: f64) -> f64 {
        self.row_at(celsius).0.at_state[STATES / 2][1]
    }

    /// Days from full to dark at a temperature without sun and without self-discharge.
    pub fn autonomy_days(&self, celsius: f64) -> f64 {
        self.usable_c(celsius) / self.load_a(celsius) / 86400.0
    }
}
