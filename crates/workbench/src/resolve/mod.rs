//! Documents become cases: a board, or a rework of it, on the project's cell with the project's load and climate.

pub(crate) mod cell;
pub(crate) mod input;
pub(crate) mod load;
pub(crate) mod path;
pub(crate) mod sleep;

use overwinter_documents::types::board::{Board, Change, Specimen};
use overwinter_documents::types::cell::Cell;
use overwinter_documents::types::parts::Module;
use overwinter_documents::types::project::Project;
use overwinter_engine::{InputError, Scenario};

use crate::bench::Bench;
use crate::case::Case;
use crate::choice::Variant;
use crate::spread::StatedPrior;

use path::{Changed, Subject};
pub(crate) use sleep::reference;

/// Where a forecast stops looking, s (40 years).
pub const HORIZON_S: f64 = 40.0 * overwinter_engine::climate::YEAR_S;

/// Why documents do not make a case.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ResolveError {
    /// Something that is needed is not in the folder.
    #[error("{subject}: {what} is needed")]
    Missing {
        /// What it is about.
        subject: String,
        /// What is missing.
        what: String,
        /// What to do.
        help: String,
    },
    /// A specimen is dead: it has no electrical figures.
    #[error("{specimen} is dead since {since}: its electrical figures stay empty")]
    Dead {
        /// Label.
        specimen: String,
        /// Since when.
        since: String,
    },
    /// The engine refuses the values.
    #[error("{subject}: {error}")]
    Engine {
        /// What it is about.
        subject: String,
        /// What the engine says.
        error: InputError,
    },
}

impl ResolveError {
    pub(crate) fn engine(subject: &str, error: InputError) -> Self {
        Self::Engine { subject: subject.to_owned(), error }
    }

    /// What to do about it.
    pub fn help(&self) -> &str {
        match self {
            Self::Missing { help, .. } => help,
            Self::Dead { .. } => "measure another specimen of the board",
            Self::Engine { .. } => "correct the value in the document",
        }
    }
}

/// The specimen whose figures stand for a board: the one asked for, else the first that lives and has a sleep reading,
/// else the first that lives.
pub fn specimen_of<'a>(
    bench: &Bench,
    board: &'a Board,
    wanted: Option<&str>,
) -> Option<&'a Specimen> {
    use overwinter_documents::types::session::What;
    if let Some(id) = wanted {
        return board.specimens.iter().find(|s| s.id == id);
    }
    let alive = || board.specimens.iter().filter(|s| s.dead.is_none());
    alive()
        .find(|s| !crate::readings::of_specimen(bench, &s.id, What::SleepCurrent).is_empty())
        .or_else(|| alive().next())
}

/// The bare module on a board.
pub fn module_of<'a>(bench: &'a Bench, board: &Board) -> Option<&'a Module> {
    board.module.as_deref().and_then(|name| bench.module(name))
}

/// Makes the case of a board on the project's cell.
///
/// # Errors
/// [`ResolveError`] where a figure is missing without which there is no forecast.
pub fn case(
    bench: &Bench,
    project: &Project,
    cell: &Cell,
    board: &Board,
    wanted: Option<&str>,
) -> Result<Case, ResolveError> {
    build(bench, project, cell, board, wanted, &Changed::default())
}

fn build(
    bench: &Bench,
    project: &Project,
    cell: &Cell,
    board: &Board,
    wanted: Option<&str>,
    changed: &Changed,
) -> Result<Case, ResolveError> {
    let specimen = specimen_of(bench, board, wanted);
    if let Some(death) = specimen.and_then(|s| s.dead.as_ref()) {
        return Err(ResolveError::Dead {
            specimen: specimen.map_or_else(String::new, |s| s.id.clone()),
            since: death.since.to_string(),
        });
    }
    if specimen.is_none() && !board.specimens.is_empty() {
        let dead = board.specimens.iter().find(|s| s.dead.is_some());
        if let Some((specimen, death)) = dead.and_then(|s| s.dead.as_ref().map(|d| (s, d))) {
            return Err(ResolveError::Dead {
                specimen: specimen.id.clone(),
                since: death.since.to_string(),
            });
        }
    }
    let prior = StatedPrior::of(Some(project));
    let module = module_of(bench, board);
    let subject = Subject { bench, board, specimen, module, changed, prior: &prior };
    let (mut inputs, mut gaps) = (Vec::new(), Vec::new());
    let engine_cell = cell::cell(bench, cell, &mut inputs, &mut gaps)?;
    let activities = load::activities(project, &mut inputs)?;
    let climate = load::climate(bench, project, &mut inputs, &mut gaps)?;
    let path = path::supply_path(&subject, &mut inputs, &mut gaps)?;
    let sleep = sleep::sleep(&subject, &mut inputs, &mut gaps)?;
    let scenario = Scenario {
        load: overwinter_engine::Load { sleep, activities },
        path,
        cell: engine_cell,
        climate,
        horizon_s: HORIZON_S,
    };
    gaps.dedup();
    Ok(Case {
        board: board.name.clone(),
        specimen: specimen.map(|s| s.id.clone()),
        scenario,
        inputs,
        gaps,
    })
}

/// Every rework of a board as a case of its own. A rework that cannot be computed is left out and named in `left_out`.
pub fn variants(
    bench: &Bench,
    project: &Project,
    cell: &Cell,
    board: &Board,
    wanted: Option<&str>,
    left_out: &mut Vec<String>,
) -> Vec<Variant> {
    let mut variants = Vec::new();
    for rework in &board.reworks {
        let mut changed = Changed::default();
        for change in &rework.changes {
            match change {
                Change::Remove(part) => changed.removed.push(part.clone()),
                Change::SetCurrent(new) => {
                    changed.currents.push((new.part.clone(), new.current.si()));
                }
                Change::ReplaceRegulator(class) => changed.regulator = Some(class.clone()),
                Change::SetBulk(bulk) => changed.bulk = Some(bulk.clone()),
                // The charge current does not act on a life without a source.
                Change::SetChargeCurrent(_) => {}
            }
        }
        let minutes = rework.work.as_ref().map_or(30.0, |t| t.si() / 60.0);
        let mut risk: Vec<String> = rework.risk.map(|r| format!("{r} risk")).into_iter().collect();
        if rework.certification_risk.probability_of_yes().is_some_and(|p| p >= 0.5) {
            risk.push("may void the radio's approval".into());
        }
        if let Some(lost) = &rework.loses {
            risk.push(format!("loses {lost}"));
        }
        match build(bench, project, cell, board, wanted, &changed) {
            Ok(mut case) => {
                case.board = format!("{} after “{}”", board.name, rework.name);
                variants.push(Variant {
                    rework: rework.name.clone(),
                    minutes,
                    risk: (!risk.is_empty()).then(|| risk.join(", ")),
                    case,
                });
            }
            Err(error) => left_out.push(format!("rework “{}”: {error}", rework.name)),
        }
    }
    variants
}
