//! This specimen, and one you might buy: the spread between the specimens of a board, with the prior in sight.

use overwinter_documents::Choice;
use overwinter_documents::types::session::{Source as Fed, What};
use overwinter_figures::specimens::{SpreadBasis, pooled_spread, prediction_factor, type_figure};
use overwinter_statistics::{Distribution, Figure};
use serde::Serialize;

use super::printed::{Printed, printed, value};
use crate::bench::Bench;
use crate::question::QuestionError;
use crate::readings::{self, Measured};
use crate::report::SCHEMA_VERSION;
use crate::resolve::reference;
use crate::spread::StatedPrior;
use crate::text::significant;

/// One specimen.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpecimenLine {
    /// Label.
    pub specimen: String,
    /// Revision.
    pub revision: Option<String>,
    /// Since when it is dead.
    pub dead: Option<String>,
    /// The figure that stands for it; `None`: never read, or dead.
    pub figure: Option<Printed>,
    /// Session.
    pub session: Option<String>,
}

/// An interval for the next specimen.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NextSpecimen {
    /// Median, SI.
    pub median: f64,
    /// Lower end of the 95 % interval, SI.
    pub low: f64,
    /// Upper end, SI.
    pub high: f64,
    /// In words.
    pub text: String,
    /// What it rests on.
    pub basis: String,
}

/// The answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpecimensReport {
    /// See [`SCHEMA_VERSION`].
    pub schema_version: u32,
    /// Board.
    pub board: String,
    /// What.
    pub what: String,
    /// Specimens in the order of the document.
    pub specimens: Vec<SpecimenLine>,
    /// Those that count.
    pub n: usize,
    /// Mean of those, SI.
    pub mean: Option<f64>,
    /// Standard deviation between them as read, SI; `None` for one.
    pub standard_deviation: Option<f64>,
    /// The prior in words.
    pub prior: String,
    /// Its coefficient of variation.
    pub prior_cv: f64,
    /// From the specimens alone (for one: the prior alone).
    pub next: Option<NextSpecimen>,
    /// With the prior pooled in: what forecasts for "one you might buy" use.
    pub next_pooled: Option<NextSpecimen>,
    /// Remarks.
    pub notes: Vec<String>,
}

/// The specimens of a board in one quantity. `prior` is what is believed of their spread before they are compared.
///
/// # Errors
/// No such board.
pub fn specimens(
    bench: &Bench,
    board: &str,
    what: What,
    stated: &StatedPrior,
) -> Result<SpecimensReport, QuestionError> {
    let found = bench.board(board).ok_or_else(|| {
        QuestionError::no_such("board", board, bench.boards().map(|b| b.name.as_str()))
    })?;
    let prior = stated.prior;
    let mut figures: Vec<Figure> = Vec::new();
    let mut revisions: Vec<Option<String>> = Vec::new();
    let lines = found
        .specimens
        .iter()
        .map(|s| {
            let read: Vec<Measured<'_>> = if s.dead.is_some() {
                Vec::new()
            } else {
                readings::of_specimen(bench, &s.id, what)
                    .into_iter()
                    .filter(|m| m.figure.is_some())
                    .filter(|m| {
                        what != What::SleepCurrent || m.fed.is_none_or(|f| f == Fed::Battery)
                    })
                    .collect()
            };
            let standing = reference(&read);
            let figure = standing.and_then(|m| m.figure.clone());
            if let Some(figure) = &figure {
                figures.push(figure.clone());
                revisions.push(s.revision.clone());
            }
            SpecimenLine {
                specimen: s.id.clone(),
                revision: s.revision.clone(),
                dead: s.dead.as_ref().map(|d| d.since.to_string()),
                session: standing.map(|m| m.session.name.clone()),
                figure: figure.map(|f| printed(what, &f)),
            }
        })
        .collect();
    let values: Vec<f64> = figures.iter().map(Figure::value).collect();
    let mut notes = Vec::new();
    let next = match type_figure(&figures, prior) {
        Ok(kind) => Some(match kind.basis {
            SpreadBasis::Prior(p) => next_of(
                what,
                &kind.next,
                format!(
                    "one specimen says nothing of the spread: log-normal with the prior of {} %",
                    significant(100.0 * p.coefficient_of_variation, 3)
                ),
            ),
            SpreadBasis::Measured { n, standard_deviation } => {
                let lowest = if values.iter().all(|v| *v > 0.0) { 0.0 } else { f64::NEG_INFINITY };
                interval(
                    what,
                    [
                        (kind.mean - kind.half_width_95).max(lowest),
                        kind.mean,
                        kind.mean + kind.half_width_95,
                    ],
                    format!(
                        "mean ± {} · s from {n} specimens alone, s = {}",
                        significant(prediction_factor(n, 0.95).unwrap_or(f64::NAN), 3),
                        value(what, standard_deviation)
                    ),
                )
            }
        }),
        Err(error) => {
            notes.push(error.to_string());
            None
        }
    };
    let pooled = pooled_spread(&values, prior).ok();
    let mean = (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64);
    let next_pooled = pooled.zip(mean).map(|(p, mean)| {
        next_of(
            what,
            &Distribution::log_normal_cv(mean, p.of_next),
            format!(
                "coefficient of variation {} %, specimens and prior together",
                significant(100.0 * p.coefficient_of_variation, 3)
            ),
        )
    });
    if revisions.windows(2).any(|w| w[0] != w[1]) {
        notes.push("specimens of different revisions are thrown together: the spread may be between revisions".into());
    }
    let dead = found.specimens.iter().filter(|s| s.dead.is_some()).count();
    if dead > 0 {
        notes.push(format!("{dead} dead: it does not count and nothing is filled in for it"));
    }
    if values.len() == 1 {
        notes.push("publish two intervals: this specimen, and a board you might buy".into());
    }
    Ok(SpecimensReport {
        schema_version: SCHEMA_VERSION,
        board: found.name.clone(),
        what: what.word().to_owned(),
        specimens: lines,
        n: values.len(),
        mean,
        standard_deviation: pooled.and_then(|p| p.of_sample).zip(mean).map(|(cv, m)| cv * m),
        prior: stated.text(),
        prior_cv: prior.coefficient_of_variation,
        next,
        next_pooled,
        notes,
    })
}

fn next_of(what: What, law: &Distribution, basis: String) -> NextSpecimen {
    interval(what, [0.025, 0.5, 0.975].map(|p| law.quantile(p)), basis)
}

fn interval(what: What, [low, median, high]: [f64; 3], basis: String) -> NextSpecimen {
    NextSpecimen {
        median,
        low,
        high,
        text: format!("{} to {}", value(what, round(low)), value(what, round(high))),
        basis,
    }
}

/// Three significant figures: an interval from few specimens deserves no more.
fn round(x: f64) -> f64 {
    significant(x, 3).parse().unwrap_or(x)
}
