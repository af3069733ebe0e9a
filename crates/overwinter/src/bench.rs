//! Bench folders for the command line: reading with diagnostics, writing new ones, refusing bad input readably.

use std::path::Path;

use anyhow::{Context, Result};
use overwinter_documents::sheet::Edit;
use overwinter_documents::{Diagnostic, Severity};
use overwinter_store::StoreError;
use overwinter_workbench::bench::Bench;
use overwinter_workbench::question::QuestionError;

use crate::args::Format;
use crate::shown;

/// Bad input: what is wrong, where, and how to mend it.
#[derive(Debug, thiserror::Error)]
#[error("bad input")]
pub(crate) struct Refusal(pub(crate) Vec<Diagnostic>);

impl Refusal {
    /// A question that cannot be asked.
    pub(crate) fn question(error: &QuestionError) -> Self {
        Self(vec![overwinter_workbench::ask::diagnostic(error)])
    }

    /// The refusal as text, or as JSON where that was asked for.
    pub(crate) fn text(&self, format: Format) -> String {
        if format == Format::Json {
            let value = serde_json::json!({ "schema_version": overwinter_workbench::report::SCHEMA_VERSION, "errors": self.0 });
            return format!("{value:#}\n");
        }
        render_all(&self.0)
    }
}

/// Diagnostics as text, each with its place.
pub(crate) fn render_all(diagnostics: &[Diagnostic]) -> String {
    if diagnostics.is_empty() {
        return "Nothing found: no error, no contradiction, no danger.\n".to_owned();
    }
    let mut text = String::new();
    for diagnostic in diagnostics {
        text.push_str(&overwinter_documents::render(
            diagnostic,
            overwinter_documents::Style::Coloured,
        ));
        text.push_str("\n\n");
    }
    let count = |s: Severity| diagnostics.iter().filter(|d| d.severity == s).count();
    let parts: Vec<String> = [
        (Severity::Error, "error"),
        (Severity::Danger, "danger"),
        (Severity::Warning, "warning"),
        (Severity::Note, "note"),
    ]
    .into_iter()
    .filter(|(s, _)| count(*s) > 0)
    .map(|(s, name)| format!("{} {name}{}", count(s), if count(s) == 1 { "" } else { "s" }))
    .collect();
    text + &parts.join(", ") + "\n"
}

/// Reads a folder with everything found in it.
pub(crate) fn read_all(folder: &Path) -> Result<(Bench, Vec<Diagnostic>)> {
    let (read, diagnostics) = overwinter_store::read_folder(folder).map_err(refusal)?;
    Ok((Bench::new(read), diagnostics))
}

#[allow(clippy::needless_pass_by_value, reason = "it is what map_err hands over")]
fn refusal(error: StoreError) -> Refusal {
    Refusal(vec![error.diagnostic()])
}

/// Reads a folder; errors refuse, the rest is told on standard error in short.
pub(crate) fn read(folder: &Path, format: Format) -> Result<Bench> {
    let (bench, diagnostics) = read_all(folder)?;
    let (errors, others): (Vec<_>, Vec<_>) =
        diagnostics.into_iter().partition(Diagnostic::is_error);
    if !errors.is_empty() {
        return Err(Refusal(errors).into());
    }
    let dangers = others.iter().filter(|d| d.severity == Severity::Danger).count();
    if dangers > 0 && format == Format::Human {
        anstream::eprintln!("{dangers} dangers found in {}; see:  overwinter check", shown(folder));
    }
    Ok(bench)
}

/// Creates a new folder of files; one that exists and is not empty is refused.
pub(crate) fn create(folder: &Path, files: &[(&str, &str)]) -> Result<()> {
    overwinter_store::create_folder(folder, files.iter().copied())
        .map_err(|error| refusal(error).into())
}

/// Writes files under a folder, each atomically, over what is there.
pub(crate) fn write_all(folder: &Path, files: &[(String, String)]) -> Result<()> {
    std::fs::create_dir_all(folder)
        .with_context(|| format!("cannot make the folder {}", shown(folder)))?;
    for (name, text) in files {
        overwinter_store::write_file(folder, name, text).map_err(refusal)?;
    }
    Ok(())
}

/// Applies edits to the documents of a folder, keeping their comments; the files that changed.
pub(crate) fn apply(folder: &Path, edits: &[Edit]) -> Result<Vec<String>> {
    overwinter_store::apply_edits(folder, edits).map_err(|error| refusal(error).into())
}
