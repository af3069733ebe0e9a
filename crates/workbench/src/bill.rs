//! Where the sleep current of a board goes: module, regulator, always-on parts and what nothing explains.

use overwinter_documents::Kind as Documented;
use overwinter_figures::bill::{Closure, Part, PartBasis, reconcile};
use overwinter_statistics::Figure;

use crate::bench::Bench;
use crate::case::Target;
use crate::facts::Shown;
use crate::report::{BillLine, BillReport, Origin, SCHEMA_VERSION};
use crate::resolve::path::{Changed, REFERENCE_V, Subject, always_on, ground_current};
use crate::resolve::{ResolveError, module_of};
use crate::text::Kind;

use overwinter_documents::types::board::Board;

/// The bill of one board's sleep current at about 3.8 V.
///
/// # Errors
/// [`ResolveError`] when the specimen is dead or its sleep current was never read.
pub fn bill(
    bench: &Bench,
    board: &Board,
    wanted: Option<&str>,
) -> Result<BillReport, ResolveError> {
    let shown = Shown::new(bench, board, wanted);
    if let Some((specimen, death)) = shown.specimen.and_then(|s| s.dead.as_ref().map(|d| (s, d))) {
        return Err(ResolveError::Dead {
            specimen: specimen.id.clone(),
            since: death.since.to_string(),
        });
    }
    let total = shown.sleep().ok_or_else(|| ResolveError::Missing {
        subject: format!("board {}", board.name),
        what: "a sleep current read at the battery contacts".into(),
        help: "measure it (about 15 min)".into(),
    })?;
    let changed = Changed::default();
    let prior = crate::spread::StatedPrior::of(None);
    let subject = Subject {
        bench,
        board,
        specimen: shown.specimen,
        module: module_of(bench, board),
        changed: &changed,
        prior: &prior,
    };
    let (mut inputs, mut gaps) = (Vec::new(), Vec::new());
    let mut parts: Vec<(Part, Origin)> = Vec::new();
    if let (Some(module), Some(bare)) = (module_of(bench, board), shown.module_sleep()) {
        let ratio = shown.current_ratio();
        let spread =
            module.specimen_spread.as_ref().map_or(crate::priors::SPECIMEN_SPREAD, |s| s.si());
        let owner = shown.specimen.map_or(board.name.as_str(), |s| s.id.as_str());
        let source =
            overwinter_statistics::Source::normal(&format!("{owner} / module to module"), spread);
        let nominal = bare.figure.value();
        let current_a = &bare.figure.plus_source(source, nominal) * &Figure::exact(ratio);
        let name = format!("module {}", module.name);
        parts.push((Part { name, current_a, basis: PartBasis::Measured }, bare.origin));
    }
    if let Some(input) = ground_current(&subject) {
        let part =
            Part { name: "regulator".into(), basis: basis(&input.origin), current_a: input.figure };
        parts.push((part, input.origin));
    }
    let drains = always_on(&subject, &mut inputs, &mut gaps);
    for input in inputs {
        if let Target::AlwaysOn(index) = input.target {
            let part = Part {
                name: drains[index].name.clone(),
                basis: basis(&input.origin),
                current_a: input.figure,
            };
            parts.push((part, input.origin));
        }
    }
    if parts.is_empty() {
        gaps.push(
            "nothing is listed yet: name the board's `module`, its regulator and its `always_on` parts".into(),
        );
    }
    let origins: Vec<(String, Origin)> =
        parts.iter().map(|(part, origin)| (part.name.clone(), origin.clone())).collect();
    let whole = total.figure.clone();
    let bill = reconcile(total.figure.clone(), parts.into_iter().map(|(part, _)| part).collect());
    let beyond = shown.beyond_module_text();
    let line = |name: String, figure: &Figure, origin: Option<Origin>| BillLine {
        name,
        current_a: figure.value(),
        standard_uncertainty_a: figure.standard_uncertainty(),
        text: Kind::SmallCurrent.figure(figure),
        share: figure.value() / whole.value(),
        origin,
    };
    Ok(BillReport {
        schema_version: SCHEMA_VERSION,
        board: board.name.clone(),
        specimen: shown.specimen.map(|s| s.id.clone()),
        supply_v: REFERENCE_V,
        total: line("whole board, asleep".into(), &bill.total_a, Some(total.origin)),
        lines: bill
            .parts
            .iter()
            .map(|part| {
                let origin = origins
                    .iter()
                    .find(|(name, _)| *name == part.name)
                    .map(|(_, origin)| origin.clone());
                line(part.name.clone(), &part.current_a, origin)
            })
            .collect(),
        unexplained: line("unexplained".into(), &bill.unexplained_a, None),
        closure: match bill.closure {
            Closure::Closes => "the parts explain the reading within its uncertainty".into(),
            Closure::SomethingMissing => "something draws current that is not on the list".into(),
            Closure::ClaimsTooMuch => "the list claims more than the board draws".into(),
        },
        beyond_module: beyond,
        notes: gaps,
    })
}

fn basis(origin: &Origin) -> PartBasis {
    if origin.kind == Documented::Measured.to_string() {
        PartBasis::Measured
    } else {
        PartBasis::Typical
    }
}
