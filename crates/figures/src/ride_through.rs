//! Ride-through: does the board reset when the source comes or goes.

use overwinter_statistics::Figure;
use overwinter_statistics::special::{normal_cdf, proportion_bounds, proportion_upper_bound};

/// Trials at one cell voltage and one way of attaching or detaching.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Trials {
    /// Resets seen.
    pub resets: u32,
    /// Times tried.
    pub tried: u32,
}

/// What trials prove.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RideThrough {
    /// Observed share; `None` when nothing was tried.
    pub observed: Option<f64>,
    /// Exact two-sided bounds (Clopper–Pearson).
    pub low: f64,
    /// Upper bound of the two-sided interval.
    pub high: f64,
    /// One-sided upper bound at the same confidence: 0 of 20 means below 14 % at 95 %.
    pub at_most: f64,
    /// Confidence of the bounds.
    pub confidence: f64,
}

/// Bounds of the reset probability. `None` for more resets than trials or a confidence outside 0 to 1.
pub fn assess(trials: Trials, confidence: f64) -> Option<RideThrough> {
    let bounds = proportion_bounds(trials.resets, trials.tried, confidence)?;
    let at_most = proportion_upper_bound(trials.resets, trials.tried, confidence)?;
    Some(RideThrough {
        observed: bounds.observed,
        low: bounds.low,
        high: bounds.high,
        at_most,
        confidence,
    })
}

/// Resets a year: share times source events a year, with the exact bounds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ResetsAYear {
    /// From the observed share; `None` when nothing was tried.
    pub expected: Option<f64>,
    /// Lower bound.
    pub low: f64,
    /// Upper bound.
    pub high: f64,
}

/// Resets a year under a source that comes or goes `events_a_year` times.
pub fn resets_a_year(assessed: &RideThrough, events_a_year: f64) -> Option<ResetsAYear> {
    (events_a_year >= 0.0 && events_a_year.is_finite()).then(|| ResetsAYear {
        expected: assessed.observed.map(|p| p * events_a_year),
        low: assessed.low * events_a_year,
        high: assessed.high * events_a_year,
    })
}

/// The path from the cell to the rail while the source goes away, before the load-sharing transistor
/// turns on: its body diode carries the load.
#[derive(Clone, Debug, PartialEq)]
pub struct HandOver {
    /// Drop of the body diode, V (about 0.7).
    pub diode_v: Figure,
    /// Dropout of the regulator at the load, V.
    pub dropout_v: Figure,
    /// Load current while it happens, A.
    pub load_a: Figure,
    /// Resistance of cell and path, Ω.
    pub path_ohm: Figure,
    /// Sag covered by bulk capacitance, V (0 when the hand-over is slow).
    pub bulk_help_v: Figure,
    /// The processor resets below this rail voltage, V.
    pub brown_out_v: Figure,
}

impl HandOver {
    /// Rail during the hand-over at a cell voltage, `V_cell − V_diode − I·R − V_do + help`.
    pub fn rail_v(&self, cell_v: &Figure) -> Figure {
        let drop = &(&self.diode_v + &self.dropout_v) + &(&self.load_a * &self.path_ohm);
        &(cell_v - &drop) + &self.bulk_help_v
    }

    /// Lowest safe cell voltage, `V_bo + V_diode + V_do + I·R − help`, with its sources.
    pub fn lowest_safe_cell_v(&self) -> Figure {
        &self.brown_out_v - &self.rail_v(&Figure::exact(0.0))
    }

    /// Probability of a reset at a cell voltage (normal, from the uncertainties); 0 or 1 without any.
    pub fn reset_probability(&self, cell_v: &Figure) -> f64 {
        let margin = &self.rail_v(cell_v) - &self.brown_out_v;
        let u = margin.standard_uncertainty();
        if u > 0.0 {
            normal_cdf(-margin.value() / u)
        } else {
            f64::from(u8::from(margin.value() < 0.0))
        }
    }
}

/// A cell voltage at which trials were made, with their outcome, held against the prediction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Consistency {
    /// Trials and prediction agree, or neither excludes the other.
    Agrees,
    /// Predicted to reset, but it did not in enough trials.
    BetterThanPredicted,
    /// Predicted to be safe, but it reset.
    WorseThanPredicted,
}

/// Compares trials at `cell_v` with the prediction: a contradiction needs the predicted probability
/// outside the 95 % bounds of the trials.
pub fn compare(hand_over: &HandOver, cell_v: &Figure, trials: Trials) -> Option<Consistency> {
    let bounds = assess(trials, 0.95)?;
    let predicted = hand_over.reset_probability(cell_v);
    Some(if predicted > bounds.high {
        Consistency::BetterThanPredicted
    } else if predicted < bounds.low {
        Consistency::WorseThanPredicted
    } else {
        Consistency::Agrees
    })
}
