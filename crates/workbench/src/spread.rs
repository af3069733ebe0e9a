//! From this specimen to one you might buy: the spread of sleep currents between specimens of a board.

use overwinter_documents::types::board::{Board, Specimen};
use overwinter_documents::types::session::{Source as Fed, What};
use overwinter_figures::specimens::{PRIOR_WEIGHT, SpreadPrior, pooled_spread};
use overwinter_statistics::Figure;

use crate::bench::Bench;
use crate::case::Spread;
use crate::readings;
use crate::resolve::reference;

/// The spread of the sleep current between specimens of `board`: see [`pooled_spread`], the one place where it is computed.
/// The statement says what it rests on and shows the prior, so that it can be disputed.
pub fn sleep_spread(bench: &Bench, board: &Board, own: &Specimen, own_a: f64) -> Spread {
    let values: Vec<f64> = board
        .specimens
        .iter()
        .filter(|s| s.dead.is_none() || s.id == own.id)
        .filter_map(|s| {
            if s.id == own.id {
                return Some(own_a);
            }
            sleep_of(bench, s).map(|f| f.value())
        })
        .collect();
    let prior = SpreadPrior::default();
    let stated = prior_text(prior);
    match pooled_spread(&values, prior) {
        Ok(pooled) => Spread {
            coefficient_of_variation: pooled.of_next,
            statement: match pooled.of_sample {
                None => format!("one specimen only; {stated}"),
                Some(own) => {
                    format!("{} specimens, sample spread {:.0} %; {stated}", pooled.n, own * 100.0)
                }
            },
        },
        Err(error) => Spread {
            coefficient_of_variation: prior.coefficient_of_variation,
            statement: format!("{error}; {stated}"),
        },
    }
}

/// The prior in words.
pub fn prior_text(prior: SpreadPrior) -> String {
    format!(
        "prior: {} % with the weight of {PRIOR_WEIGHT} specimens",
        crate::text::significant(prior.coefficient_of_variation * 100.0, 3)
    )
}

/// The sleep current that stands for a specimen: battery contacts, near 3.8 V.
pub fn sleep_of(bench: &Bench, specimen: &Specimen) -> Option<Figure> {
    let read: Vec<_> = readings::of_specimen(bench, &specimen.id, What::SleepCurrent)
        .into_iter()
        .filter(|m| m.fed.is_none_or(|fed| fed == Fed::Battery) && m.figure.is_some())
        .collect();
    reference(&read).and_then(|m| m.figure.clone())
}
