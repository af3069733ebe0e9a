//! A figure as the trade prints it, with its coverage and budget; faults of a reading in words.

use overwinter_documents::types::session::What;
use overwinter_figures::reading::ReadingFault;
use overwinter_quantity as q;
use overwinter_quantity::{Dimension, Notation, Quantity, Spread};
use overwinter_statistics::{Coverage, CoverageRule, Figure};
use serde::Serialize;

use crate::text::percent;

/// A figure for reading.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Printed {
    /// Value, SI.
    pub value: f64,
    /// Standard uncertainty, SI; `None` where none is known.
    pub standard_uncertainty: Option<f64>,
    /// `12.6 ± 0.7 µA (k = 2)`.
    pub text: String,
    /// `12.6(4) µA`: standard uncertainty in the last digit.
    pub concise: String,
    /// Interval at 95 % with its own factor; `None` without uncertainty.
    pub at_95: Option<CoverageLine>,
}

/// An expanded uncertainty with how its factor came about.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CoverageLine {
    /// Coverage factor.
    pub factor: f64,
    /// Expanded uncertainty, SI.
    pub expanded: f64,
    /// Effective degrees of freedom; `None` where they are infinite.
    pub degrees_of_freedom: Option<f64>,
    /// Why this factor, in words.
    pub rule: &'static str,
}

impl CoverageLine {
    fn of(coverage: Coverage) -> Self {
        Self {
            factor: coverage.factor,
            expanded: coverage.expanded,
            degrees_of_freedom: finite(coverage.degrees_of_freedom),
            rule: match coverage.rule {
                CoverageRule::StudentT => "Student t at the effective degrees of freedom",
                CoverageRule::DominantRectangle => "one rectangular contribution dominates",
                CoverageRule::DominantTrapezoid => "two rectangular contributions dominate",
            },
        }
    }
}

/// One line of an uncertainty budget.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BudgetLine {
    /// What contributes.
    pub source: String,
    /// Its standard uncertainty, SI of the source.
    pub standard_uncertainty: f64,
    /// Change of the figure per unit of the source.
    pub sensitivity: f64,
    /// Contribution to the figure, SI, without sign.
    pub contribution: f64,
    /// The same in words.
    pub text: String,
    /// Share of the variance.
    pub share: f64,
    /// Degrees of freedom; `None` where they are infinite.
    pub degrees_of_freedom: Option<f64>,
    /// Other readings on the same range have the same deviation: it cancels in their difference.
    pub shared: bool,
    /// What kind of contribution it is and what it rests on: repeats, the range's accuracy, a record, an assumption.
    pub kind: String,
}

/// Something remarkable about a reading, with what to do. The reading is kept.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FaultLine {
    /// True when no figure can follow from the reading.
    pub fatal: bool,
    /// What is the matter.
    pub message: String,
    /// What to do.
    pub advice: &'static str,
}

fn finite(x: f64) -> Option<f64> {
    Some(x).filter(|x| x.is_finite())
}

/// A value with its standard uncertainty in the unit of what is read.
pub fn text(what: What, si: f64, u: Option<f64>, notation: Notation) -> String {
    fn print<D: Dimension>(si: f64, u: Option<f64>, notation: Notation) -> String {
        match u.filter(|u| *u > 0.0) {
            Some(u) => {
                Quantity::<D>::from_si(si).with_spread(Spread::Standard { u }).in_notation(notation)
            }
            None => Quantity::<D>::from_si(si).value_text(4),
        }
    }
    let by = match what.dimension().name {
        "a voltage" => print::<q::VoltageDimension>,
        "a charge" => print::<q::ChargeDimension>,
        "a duration" => print::<q::DurationDimension>,
        "a resistance" => print::<q::ResistanceDimension>,
        _ => print::<q::CurrentDimension>,
    };
    by(si, u, notation)
}

/// A value alone.
pub fn value(what: What, si: f64) -> String {
    text(what, si, None, Notation::Expanded { k: 2.0 })
}

/// A figure for reading.
pub fn printed(what: What, figure: &Figure) -> Printed {
    let u = Some(figure.standard_uncertainty()).filter(|u| *u > 0.0);
    Printed {
        value: figure.value(),
        standard_uncertainty: u,
        text: text(what, figure.value(), u, Notation::Expanded { k: 2.0 }),
        concise: text(what, figure.value(), u, Notation::Concise { figures: 1 }),
        at_95: u.map(|_| CoverageLine::of(figure.coverage(0.95))),
    }
}

/// Who contributes what, largest first.
///
/// `rests_on` tells of contributions, by their source's name, what they rest on where that is not in the name.
pub fn budget(what: What, figure: &Figure, rests_on: &[(String, String)]) -> Vec<BudgetLine> {
    figure
        .budget()
        .rows
        .into_iter()
        .map(|row| {
            let source = row.source.name().to_owned();
            BudgetLine {
                shared: is_shared(&source),
                kind: rests_on
                    .iter()
                    .find(|(name, _)| *name == source)
                    .map_or_else(|| kind(&source).to_owned(), |(_, basis)| basis.clone()),
                text: value(what, row.contribution.abs()),
                source,
                standard_uncertainty: row.standard_uncertainty,
                sensitivity: row.sensitivity,
                contribution: row.contribution.abs(),
                share: row.share,
                degrees_of_freedom: finite(row.degrees_of_freedom),
            }
        })
        .collect()
}

/// Gain and offset of a range are the same for every reading on it.
fn is_shared(source: &str) -> bool {
    source.ends_with(" / gain") || source.ends_with(" / offset")
}

/// What kind of contribution a source is, by what it is of.
fn kind(source: &str) -> &'static str {
    match source.rsplit(" / ").next().unwrap_or_default() {
        "repeats" => "type A: scatter of the repeats",
        "gain" | "offset" => "the range's accuracy, rectangular",
        "resolution" => "half a count, rectangular",
        "zero drift" => "between the zeros, rectangular",
        "stated spread" => "typed with the value",
        name if name.starts_with("assumed") => "assumed",
        _ => "",
    }
}

/// A fault in the unit of what was read.
pub fn fault(what: What, fault: &ReadingFault) -> FaultLine {
    let v = |si: f64| value(what, si);
    let volts = crate::text::voltage;
    let (message, advice) = match fault {
        ReadingFault::NoValue => ("no value was entered".to_owned(), "enter `value` or `repeats`"),
        ReadingFault::NotFinite { repeat } => {
            (format!("repeat {repeat} is not a number"), "correct it")
        }
        ReadingFault::AboveRange { got, full_scale } => (
            format!("{} is beyond the end of the range, {}: the meter was overloaded", v(*got), v(*full_scale)),
            "read again on a higher range, or correct the range",
        ),
        ReadingFault::Impossible { got } => {
            (format!("{} cannot be", v(*got)), "correct the value or its sign")
        }
        ReadingFault::NegativeCurrent { got } => (
            format!("{} is negative beyond its uncertainty", v(*got)),
            "leads swapped, or the board was charging: look, then read again",
        ),
        ReadingFault::NoInstrument => (
            "no instrument and range with a stated accuracy: the uncertainty shown is an assumption".to_owned(),
            "name `instrument` and `range`; the range needs `accuracy` and `resolution` in its document",
        ),
        ReadingFault::BadRange { range, parameter, got } => (
            format!("range “{range}”: its {parameter} is {got}"),
            "correct the instrument's document",
        ),
        ReadingFault::BadInfluence { name } => {
            (format!("the influence “{name}” cannot be"), "correct its spread")
        }
        ReadingFault::BadCorrection { what } => (format!("{what} is not a number"), "correct it"),
        ReadingFault::Overflow => ("the numbers are too large".to_owned(), "correct the unit"),
        ReadingFault::ZeroSpread { n } => (
            format!("{n} equal repeats: the last digit hides the spread, so the resolution stands in for it"),
            "take a lower range if the burden allows; equal repeats are no proof of an exact value",
        ),
        ReadingFault::LowOnRange { share } => (
            format!("only {} of the range in use", percent(*share)),
            "take a lower range if the burden allows (see `burden`)",
        ),
        ReadingFault::BurdenNotCorrected { drop_v, board_v } => (
            format!("the meter took {}; the board saw {}: not corrected, bounded in the budget", volts(*drop_v), volts(*board_v)),
            "sweep the supply voltage, or read it at the board (supply_at = \"board\"), or take a lower resistance",
        ),
        ReadingFault::ZeroDrift { moved, limit } => (
            format!("the zero moved by {}, beyond the range's offset of {}", v(*moved), v(*limit)),
            "let the meter warm up and read again",
        ),
        ReadingFault::NotSettled { half_width } => (
            format!("taken before it settled: off by up to {}", v(*half_width)),
            "wait as `settle` says and read again",
        ),
        ReadingFault::WrongUnit { got, want } => (
            format!("a value is {got}, but what was read is {want}"),
            "correct the unit, or `what`",
        ),
        ReadingFault::BeforeBoard { .. } => (
            "taken before the board came in".to_owned(),
            "correct the session's date or the day it was bought",
        ),
    };
    FaultLine { fatal: fault.is_fatal(), message, advice }
}
