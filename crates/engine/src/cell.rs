//! The cell: charge in one or two wells, open-circuit voltage, resistances, self-discharge, ageing.
//!
//! State: total charge `q`, the imbalance of the wells `y = q1 − c·q`, the polarisation voltages.
//! - `dq/dt = −i − (λ + λ_age)·q`
//! - `dy/dt = −(1 − c)·i − (k' + λ + λ_age)·y` (two-well kinetic model, Manwell & McGowan 1993, in its
//!   own modes; `y = 0` when rested or with one well)
//! - `dv_j/dt = (i·R_j − v_j)/τ_j`
//! - head of the available well `h = q + y/c`; state of charge `s = 1 − (Q − h)/(Q·f(T))`
//! - `V = OCV(s) − R0(s, T)·i − Σ v_j`
//!
//! `f(T)` is the capacity that can be drawn at `T` as a share of the capacity `Q` at the reference
//! temperature. What cold takes away is *locked in*, not lost: the depth of discharge `Q − h` counts in
//! coulombs, so a full cell is full at every temperature, a cold one is empty earlier, and warmth gives
//! the rest back. (Writing `s = h/(Q·f)` instead would fill a cell by cooling it.)

use crate::curve::Curve;

/// Most RC pairs a cell can have.
pub const MAX_RC: usize = 3;

/// A cell with what is known about it.
#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    /// Capacity at the reference temperature, low rate, new.
    pub capacity_c: f64,
    /// Share of it that can be drawn, over temperature (x: °C, y: share); `None`: unknown, taken as 1
    /// and flagged away from room temperature.
    pub capacity_by_temperature: Option<Curve>,
    /// Rested open-circuit voltage over state of charge 0…1.
    pub open_circuit_v: Curve,
    /// Series resistance; `None`: unknown, taken as nothing and flagged.
    pub resistance: Option<Resistance>,
    /// Polarisation (RC pairs), up to [`MAX_RC`].
    pub rc: Vec<RcPair>,
    /// Available and bound charge; `None`: one well.
    pub two_well: Option<TwoWell>,
    /// Self-discharge; `None`: unknown, taken as nothing and flagged.
    pub self_discharge: Option<SelfDischarge>,
    /// The protection circuit in the cell.
    pub protection: Option<Protection>,
    /// Lowest voltage at which the cell may be discharged.
    pub cutoff_v: Option<f64>,
    /// Loss by calendar; `None`: unknown, taken as nothing and flagged on lives above a year.
    pub ageing: Option<Ageing>,
    /// A passivation film builds up at rest: its voltage dip at the first peak is not computed, the
    /// result is flagged.
    pub passivating: bool,
    /// State of charge at the start, 0…1.
    pub initial_charge: f64,
    /// Life without load by the maker; ends the forecast.
    pub shelf_life_s: Option<f64>,
    /// Temperatures at which it may be discharged, °C.
    pub discharge_celsius: Option<(f64, f64)>,
    /// Highest current it is specified for; beyond it the result is flagged.
    pub max_current_a: Option<f64>,
}

/// Series resistance at 25 °C over state of charge, and its temperature law.
#[derive(Debug, Clone, PartialEq)]
pub struct Resistance {
    /// Over state of charge, at 25 °C.
    pub at_25: ResistanceCurve,
    /// `R(T) = R25·exp[B·(1/T − 1/298.15 K)]`, B in kelvin; `None`: unknown, taken as no change and
    /// flagged away from room temperature. The RC pairs' resistances follow the same law.
    pub b_kelvin: Option<f64>,
}

/// Resistance at 25 °C over state of charge `s`.
#[derive(Debug, Clone, PartialEq)]
pub enum ResistanceCurve {
    /// The same at every state of charge.
    Constant {
        /// Ohms.
        ohm: f64,
    },
    /// `R·[1 + rise·exp(−s/scale)]` (job practice for Li-ion: rise 1…2, scale 0.08).
    Rising {
        /// Ohms when full.
        ohm: f64,
        /// Relative rise when empty.
        rise: f64,
        /// State-of-charge scale of the rise.
        scale: f64,
    },
    /// `c0 + c1·d + c2·d²` over the depth of discharge `d = 1 − s` (coin cells).
    Depth {
        /// The three coefficients, ohms.
        ohm: [f64; 3],
    },
    /// A table over state of charge.
    Table(Curve),
}

/// One RC pair (Thevenin equivalent circuit).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RcPair {
    /// Its resistance at 25 °C.
    pub resistance_ohm: f64,
    /// Its time constant `R·C`, taken as independent of temperature.
    pub time_constant_s: f64,
}

/// Two-well kinetic constants.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoWell {
    /// Share of the available well, 0 < c ≤ 1.
    pub available_share: f64,
    /// Relaxation rate k' between the wells, 1/s.
    pub rate_per_s: f64,
}

/// Self-discharge `λ(T) = λ20·2^((T − 20)/doubling)`, proportional to the charge left.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SelfDischarge {
    /// Rate at 20 °C, 1/s (2 % a month of 30.4 d: 7.69e-9).
    pub rate_at_20_per_s: f64,
    /// Kelvin for a doubling, about 10.
    pub doubling_kelvin: f64,
}

impl SelfDischarge {
    /// From a loss of `share` over `period_s` at 20 °C: `λ = −ln(1 − share)/period`.
    pub fn from_loss(share: f64, period_s: f64, doubling_kelvin: f64) -> Self {
        Self { rate_at_20_per_s: -libm::log1p(-share) / period_s, doubling_kelvin }
    }

    /// Rate at a temperature, 1/s.
    pub fn rate_per_s(&self, celsius: f64) -> f64 {
        self.rate_at_20_per_s * libm::exp2((celsius - 20.0) / self.doubling_kelvin)
    }
}

/// The protection circuit inside or at the cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Protection {
    /// Its own current; `None`: unknown, taken as nothing and flagged.
    pub own_current_a: Option<f64>,
    /// Cell voltage at which it opens; `None`: unknown, not checked and flagged.
    pub cutoff_v: Option<f64>,
}

/// Calendar ageing: capacity lost `k·√(years)·exp[−(Ea/R)(1/T − 1/298.15)]`, and the same law for a rise
/// of resistance. The charge in the cell shrinks in proportion (the state of charge stays).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ageing {
    /// Share of the capacity lost in the first year at 25 °C.
    pub capacity_loss_per_sqrt_year: f64,
    /// Activation energy, J/mol (40…60 kJ/mol).
    pub activation_j_per_mol: f64,
    /// Relative rise of resistance in the first year at 25 °C; `None`: unknown, taken as nothing.
    pub resistance_rise_per_sqrt_year: Option<f64>,
}
