//! What a document would bring about in its folder, before it is written.

use overwinter_documents::{Diagnostic, Document, Severity, parse_document};
use overwinter_workbench::bench::Bench;
use overwinter_workbench::measure::guide::{StepStatus, guide};

/// What would be new in the folder.
#[derive(Debug, Default)]
pub(crate) struct Consequences {
    /// Why it must not be written: an error that the folder has not had, a step against its gate.
    pub(crate) refused: Vec<Diagnostic>,
    /// What is to be said beside it.
    pub(crate) notes: Vec<Diagnostic>,
}

impl Consequences {
    /// The folder with `path` saying `text`, against the folder as it is.
    pub(crate) fn of(files: &[(String, String)], path: &str, text: &str) -> Self {
        let mut with: Vec<(String, String)> =
            files.iter().filter(|(other, _)| other != path).cloned().collect();
        with.push((path.to_owned(), text.to_owned()));
        let (bench, before) = Bench::read(files.to_vec());
        let (then, after) = Bench::read(with);
        let known = |new: &Diagnostic| {
            before.iter().any(|old| {
                (old.code, &old.message, &old.file) == (new.code, &new.message, &new.file)
            })
        };
        let mut all = Self::default();
        for new in after.into_iter().filter(|new| !known(new)) {
            if new.severity == Severity::Error {
                all.refused.push(new);
            } else {
                all.notes.push(new);
            }
        }
        all.refused.extend(against_the_gate(&bench, &then, path, text));
        all
    }
}

/// Steps of the bench protocol that this session would record although something comes first.
fn against_the_gate(bench: &Bench, then: &Bench, path: &str, text: &str) -> Vec<Diagnostic> {
    let Ok(Document::Session(session)) = parse_document(path, text) else { return Vec::new() };
    let Some(specimen) = session.specimen.as_deref() else { return Vec::new() };
    let Ok(after) = guide(then, specimen, None) else { return Vec::new() };
    let before = guide(bench, specimen, None);
    let was = |number: usize| {
        before.as_ref().is_ok_and(|b| {
            b.steps.iter().any(|s| s.number == number && s.status == StepStatus::AgainstTheGate)
        })
    };
    after
        .steps
        .iter()
        .filter(|step| step.status == StepStatus::AgainstTheGate && !was(step.number))
        .map(|step| {
            Diagnostic::error(
                "gate",
                format!("step {}, {}: {}", step.number, step.title, step.in_the_way.join("; ")),
            )
            .in_file(path)
            .help("nothing was written; do what comes first, or write the session by hand if it is so")
        })
        .collect()
}
