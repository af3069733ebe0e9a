//! From this specimen to one you might buy: the spread of sleep currents between specimens of a board.

use overwinter_documents::types::board::{Board, Specimen};
use overwinter_documents::types::project::Project;
use overwinter_documents::types::session::{Source as Fed, What};
use overwinter_figures::specimens::{PRIOR_WEIGHT, SpreadPrior, pooled_spread};
use overwinter_statistics::Figure;

use crate::bench::Bench;
use crate::case::Spread;
use crate::readings;
use crate::resolve::reference;

/// The spread of the sleep current between specimens of `board`: see [`pooled_spread`], the one place where it is computed.
/// The statement says what it rests on and shows the prior, so that it can be disputed.
pub fn sleep_spread(
    bench: &Bench,
    board: &Board,
    own: &Specimen,
    own_a: f64,
    stated: &StatedPrior,
) -> Spread {
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
    let prior = stated.prior;
    let stated = stated.text();
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

/// The prior on the spread between specimens with whose it is.
#[derive(Debug, Clone, PartialEq)]
pub struct StatedPrior {
    /// The prior.
    pub prior: SpreadPrior,
    /// Whose it is and why, in words.
    pub whose: String,
}

impl StatedPrior {
    /// The project's own, else the built-in one.
    pub fn of(project: Option<&Project>) -> Self {
        let own = project.and_then(|p| p.prior.as_ref().map(|prior| (p, prior)));
        match own.filter(|(_, prior)| prior.specimen_spread.si() > 0.0) {
            Some((project, prior)) => Self {
                prior: SpreadPrior { coefficient_of_variation: prior.specimen_spread.si() },
                whose: format!("project {}: {}", project.name, prior.reason),
            },
            None => Self {
                prior: SpreadPrior::default(),
                whose: "built in, common practice; [project.prior] changes it".to_owned(),
            },
        }
    }

    /// Where no project is named: that of the folder's projects, if those that state one agree.
    pub fn of_folder(bench: &Bench) -> Self {
        let mut stating = bench.projects().filter(|p| p.prior.is_some());
        let first = stating.next();
        let spread = |p: &Project| p.prior.as_ref().map(|prior| prior.specimen_spread.si());
        if first.is_some_and(|f| stating.any(|p| spread(p) != spread(f))) {
            let mut built_in = Self::of(None);
            "built in: the folder's projects state different ones; name a project"
                .clone_into(&mut built_in.whose);
            return built_in;
        }
        Self::of(first)
    }

    /// In words.
    pub fn text(&self) -> String {
        format!(
            "prior: {} % with the weight of {PRIOR_WEIGHT} specimens ({})",
            crate::text::significant(self.prior.coefficient_of_variation * 100.0, 3),
            self.whose
        )
    }
}

/// The sleep current that stands for a specimen: battery contacts, near 3.8 V.
pub fn sleep_of(bench: &Bench, specimen: &Specimen) -> Option<Figure> {
    let read: Vec<_> = readings::of_specimen(bench, &specimen.id, What::SleepCurrent)
        .into_iter()
        .filter(|m| m.fed.is_none_or(|fed| fed == Fed::Battery) && m.figure.is_some())
        .collect();
    reference(&read).and_then(|m| m.figure.clone())
}
