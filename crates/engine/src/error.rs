//! What can be wrong with an input, with the figure that is wrong.

use thiserror::Error;

/// A scenario that cannot be forecast, and why. Nothing is repaired silently.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum InputError {
    /// A curve's points are unusable.
    #[error("the curve {problem} (point {index})")]
    Curve {
        /// What is wrong.
        problem: &'static str,
        /// Which point, from 0.
        index: usize,
    },
    /// A number outside what the quantity can be.
    #[error("{what} is {got}, need {need}")]
    OutOfRange {
        /// The quantity.
        what: &'static str,
        /// Its value.
        got: f64,
        /// What it has to be.
        need: &'static str,
    },
    /// An activity does not fit into its own interval.
    #[error("activity {activity:?} lasts {duration_s} s but repeats every {interval_s} s")]
    ActivityTooLong {
        /// Its name.
        activity: String,
        /// The sum of its segments.
        duration_s: f64,
        /// Its interval.
        interval_s: f64,
    },
    /// More of something than the engine handles without allocating.
    #[error("{what}: {got} given, at most {most}")]
    TooMany {
        /// Of what.
        what: &'static str,
        /// How many.
        got: usize,
        /// How many fit.
        most: usize,
    },
    /// The open-circuit curve falls while the charge rises, so a state of charge cannot be told from it.
    #[error("the open-circuit voltage falls between states of charge {from} and {to}")]
    OpenCircuitNotMonotone {
        /// Lower state of charge.
        from: f64,
        /// Upper state of charge.
        to: f64,
    },
    /// No answer exists.
    #[error("{what}")]
    NoSolution {
        /// What was looked for and why there is none.
        what: &'static str,
    },
}
