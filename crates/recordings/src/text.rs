//! Numbers as the trade prints them.

use overwinter_quantity::{
    ChargeDimension, CurrentDimension, Dimension, DurationDimension, Notation, Quantity, Spread,
};
use overwinter_traces::Estimate;
use overwinter_workbench::trace_report::TraceFigure;

/// A value with its standard uncertainty, k = 2; to four figures where none is known.
pub(crate) fn printed<D: Dimension>(si: f64, u: Option<f64>) -> String {
    match u.filter(|u| *u > 0.0 && u.is_finite()) {
        Some(u) => Quantity::<D>::from_si(si)
            .with_spread(Spread::Standard { u })
            .in_notation(Notation::Expanded { k: 2.0 }),
        None => Quantity::<D>::from_si(si).value_text(4),
    }
}

pub(crate) fn figure<D: Dimension>(estimate: &Estimate) -> TraceFigure {
    TraceFigure {
        value: estimate.value,
        standard_uncertainty: estimate.standard_uncertainty,
        standard_deviation: estimate.standard_deviation,
        count: estimate.count,
        text: printed::<D>(estimate.value, estimate.standard_uncertainty),
    }
}

/// A duration told by samples; of a single one it is all that is known ([`Estimate::sampled`]).
pub(crate) fn lasts(estimate: &Estimate, interval_s: f64) -> TraceFigure {
    let known = Some(estimate.standard_uncertainty.unwrap_or(0.0));
    let estimate = Estimate { standard_uncertainty: known, ..*estimate };
    figure::<DurationDimension>(&estimate.sampled(interval_s))
}

pub(crate) fn current(si: f64) -> String {
    printed::<CurrentDimension>(si, None)
}

pub(crate) fn charge(si: f64) -> String {
    printed::<ChargeDimension>(si, None)
}

pub(crate) fn duration(si: f64) -> String {
    printed::<DurationDimension>(si, None)
}
