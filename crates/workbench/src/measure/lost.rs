//! Post-mortems: what killed which specimen, at which step, what it cost and what was learnt. Nothing is filled in for the dead.

use overwinter_documents::types::board::{Board, Specimen};
use serde::Serialize;

use super::record::step_named;
use crate::bench::Bench;
use crate::question::QuestionError;
use crate::report::SCHEMA_VERSION;

/// One dead specimen.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(ts_rs::TS))]
pub struct PostMortem {
    /// Specimen.
    pub specimen: String,
    /// Board.
    pub board: String,
    /// Since when.
    pub since: String,
    /// At which step of the protocol, as written.
    pub step: Option<String>,
    /// Its number in the protocol, from 1; `None` where the step is not written down (in the field).
    pub step_number: Option<usize>,
    /// Why.
    pub cause: String,
    /// What it cost.
    pub cost: Option<String>,
    /// What was learnt.
    pub lesson: Option<String>,
    /// Sessions that were held on it, the post-mortem among them.
    pub sessions: Vec<String>,
    /// Living specimens of the same board; their figures are theirs alone.
    pub sisters: Vec<String>,
}

/// The ledger.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LostReport {
    /// See [`SCHEMA_VERSION`].
    pub schema_version: u32,
    /// Dead specimens, in the order of their deaths.
    pub lost: Vec<PostMortem>,
    /// Specimens in the folder, dead and alive.
    pub specimens: usize,
    /// Cost per currency.
    pub cost: Vec<String>,
    /// What holds for every one of them.
    pub rule: &'static str,
}

/// What stays and what does not.
const RULE: &str = "Electrical figures of a dead specimen stay empty for ever and are never taken from its sisters; its traits stay valid.";

/// The ledger of the folder, or of one specimen.
///
/// # Errors
/// No such specimen, or one that lives.
pub fn lost(bench: &Bench, specimen: Option<&str>) -> Result<LostReport, QuestionError> {
    let all: Vec<(&Board, &Specimen)> =
        bench.folder().specimens().map(|(entry, s)| (&*entry.document, s)).collect();
    if let Some(name) = specimen {
        let found = all.iter().find(|(_, s)| s.id == name);
        match found {
            None => {
                let known = all.iter().map(|(_, s)| s.id.as_str());
                return Err(QuestionError::no_such("specimen", name, known));
            }
            Some((_, s)) if s.dead.is_none() => {
                return Err(QuestionError::NoSuch {
                    kind: "dead specimen",
                    name: name.to_owned(),
                    help: "it lives; write `[board.specimens.dead]` with `since` and `cause` when it does not".to_owned(),
                });
            }
            Some(_) => {}
        }
    }
    let mut dead: Vec<(&Board, &Specimen)> = all
        .iter()
        .filter(|(_, s)| s.dead.is_some() && specimen.is_none_or(|name| s.id == name))
        .copied()
        .collect();
    dead.sort_by_key(|(_, s)| (s.dead.as_ref().map(|d| d.since), s.id.clone()));
    let mut totals: Vec<(String, f64)> = Vec::new();
    let entries = dead
        .iter()
        .filter_map(|(board, s)| {
            let death = s.dead.as_ref()?;
            if let Some(cost) = &death.cost {
                match totals.iter_mut().find(|(currency, _)| *currency == cost.currency) {
                    Some(known) => known.1 += cost.amount,
                    None => totals.push((cost.currency.clone(), cost.amount)),
                }
            }
            Some(PostMortem {
                specimen: s.id.clone(),
                board: board.name.clone(),
                since: death.since.to_string(),
                step: death.step.clone(),
                step_number: death.step.as_deref().map(|w| step_named(Some(w)) as usize + 1),
                cause: death.cause.clone(),
                cost: death.cost.as_ref().map(ToString::to_string),
                lesson: death.lesson.clone(),
                sessions: bench
                    .folder()
                    .sessions_of(&s.id)
                    .map(|e| e.document.name.clone())
                    .collect(),
                sisters: board
                    .specimens
                    .iter()
                    .filter(|o| o.dead.is_none())
                    .map(|o| o.id.clone())
                    .collect(),
            })
        })
        .collect();
    Ok(LostReport {
        schema_version: SCHEMA_VERSION,
        lost: entries,
        specimens: all.len(),
        cost: totals.iter().map(|(currency, amount)| format!("{amount:.2} {currency}")).collect(),
        rule: RULE,
    })
}
