//! From this specimen to one you might buy: the spread of sleep currents between specimens of a board.

use overwinter_documents::types::board::{Board, Specimen};
use overwinter_documents::types::session::{Source as Fed, What};

use crate::bench::Bench;
use crate::case::Spread;
use crate::priors::{SPECIMEN_PRIOR_WEIGHT, SPECIMEN_SPREAD};
use crate::readings;
use crate::resolve::reference;

/// The spread of the sleep current between specimens of `board`.
///
/// With n specimens the sample's relative variance is pooled with the prior's, `s² = (ν₀·s₀² + (n−1)·s²)/(ν₀ + n − 1)`,
/// and the next specimen's is wider by `1 + 1/n` (it differs from a mean of n). With n = 1 it is the prior. The statement
/// says which and shows the prior, so that it can be disputed.
///
/// Source: pooled variance with a scaled inverse chi-squared prior (Gelman et al., Bayesian Data Analysis, 2.6; from memory).
pub fn sleep_spread(bench: &Bench, board: &Board, own: &Specimen, own_a: f64) -> Spread {
    let values: Vec<f64> = board
        .specimens
        .iter()
        .filter(|s| s.dead.is_none() || s.id == own.id)
        .filter_map(|s| {
            if s.id == own.id {
                return Some(own_a);
            }
            let read: Vec<_> = readings::of_specimen(bench, &s.id, What::SleepCurrent)
                .into_iter()
                .filter(|m| m.fed.is_none_or(|fed| fed == Fed::Battery) && m.figure.is_some())
                .collect();
            reference(&read)
                .and_then(|m| m.figure.as_ref().map(overwinter_statistics::Figure::value))
        })
        .collect();
    let n = values.len() as f64;
    let prior = format!(
        "prior: {} % with the weight of {SPECIMEN_PRIOR_WEIGHT} specimens",
        SPECIMEN_SPREAD * 100.0
    );
    if values.len() < 2 {
        return Spread {
            coefficient_of_variation: SPECIMEN_SPREAD,
            statement: format!("one specimen only; {prior}"),
        };
    }
    let mean = values.iter().sum::<f64>() / n;
    let variance =
        values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (n - 1.0) / (mean * mean);
    let pooled = (SPECIMEN_PRIOR_WEIGHT * SPECIMEN_SPREAD * SPECIMEN_SPREAD + (n - 1.0) * variance)
        / (SPECIMEN_PRIOR_WEIGHT + n - 1.0);
    Spread {
        coefficient_of_variation: (pooled * (1.0 + 1.0 / n)).sqrt(),
        statement: format!(
            "{n} specimens, sample spread {:.0} %; {prior}",
            variance.sqrt() * 100.0
        ),
    }
}
