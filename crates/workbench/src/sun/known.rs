//! Documents of a question, and what was taken where they say nothing.

use std::sync::Arc;

use overwinter_documents::types::project::Project;
use overwinter_documents::types::sun::{Panel, Site};
use overwinter_documents::{Diagnostic, Document, Entry, KeyPath, Origin, Shelf, parse_document};

use super::report::SunAssumption;
use crate::bench::Bench;
use crate::question::QuestionError;

/// Unknowns met, each once.
#[derive(Debug, Clone, Default)]
pub(crate) struct Assumptions(pub(crate) Vec<SunAssumption>);

/// Where a taken figure comes from.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Basis {
    /// The workbench's own choice.
    Assumed,
    /// The trade does it so; no source.
    CommonPractice,
    /// Recalled from data sheets; the part's own wins.
    FromMemory,
    /// The careful side of an unknown.
    CarefulSide,
}

impl Basis {
    fn word(self) -> &'static str {
        match self {
            Self::Assumed => "assumed",
            Self::CommonPractice => "common practice, no source",
            Self::FromMemory => "from memory",
            Self::CarefulSide => "assumed, the careful side",
        }
    }
}

impl Assumptions {
    /// Notes an unknown with what was taken and what would settle it.
    pub(crate) fn take(
        &mut self,
        unknown: &str,
        taken: impl Into<String>,
        basis: Basis,
        settle: &str,
    ) {
        self.0.push(SunAssumption {
            unknown: unknown.to_owned(),
            taken: taken.into(),
            kind: basis.word().to_owned(),
            settle: settle.to_owned(),
        });
    }

    /// The figure if it is known, else the one to be taken, noted.
    pub(crate) fn or(
        &mut self,
        known: Option<f64>,
        unknown: &str,
        value: f64,
        shown: impl Into<String>,
        basis: Basis,
        settle: &str,
    ) -> f64 {
        known.unwrap_or_else(|| {
            self.take(unknown, shown, basis, settle);
            value
        })
    }
}

/// The project by name, or read from the text of a whole document.
pub(crate) fn project(bench: &Bench, wanted: &str) -> Result<Entry<Project>, Vec<Diagnostic>> {
    find(wanted, "project", "projects/yours.toml", &bench.folder().projects, |document| {
        match document {
            Document::Project(project) => Some(project),
            _ => None,
        }
    })
}

/// The site that was asked for, else the project's.
pub(crate) fn site(
    bench: &Bench,
    project: &Entry<Project>,
    wanted: Option<&str>,
) -> Result<Entry<Site>, Vec<Diagnostic>> {
    let wanted = wanted.or(project.document.site.as_deref()).ok_or_else(|| {
        let message =
            format!("the project “{}” names no site: there is no sun", project.document.name);
        let help = "write `site = \"…\"` with the name of a document of sites/: place, twelve monthly figures, skyline";
        vec![
            project.place(
                Diagnostic::error("no-site", message).help(help),
                &KeyPath::root().key("project").key("name"),
            ),
        ]
    })?;
    find(wanted, "site", "sites/yours.toml", &bench.folder().sites, |document| match document {
        Document::Site(site) => Some(site),
        _ => None,
    })
}

/// The hourly file that the site of a question names, a path in the folder; `None` where it names none or cannot be read, which the
/// question itself tells.
pub fn hourly_file(
    bench: &Bench,
    project_or_text: &str,
    site_or_text: Option<&str>,
) -> Option<String> {
    let project = project(bench, project_or_text).ok()?;
    site(bench, &project, site_or_text).ok()?.document.hourly
}

/// The panel that was asked for, else the project's.
pub(crate) fn panel(
    bench: &Bench,
    project: &Entry<Project>,
    wanted: Option<&str>,
) -> Result<Entry<Panel>, Vec<Diagnostic>> {
    let wanted = wanted.or(project.document.panel.as_deref()).ok_or_else(|| {
        let message =
            format!("the project “{}” names no panel: nothing is harvested", project.document.name);
        let help = "write `panel = \"…\"` with the name of a document of panels/: the figures of its label";
        vec![
            project.place(
                Diagnostic::error("no-panel", message).help(help),
                &KeyPath::root().key("project").key("name"),
            ),
        ]
    })?;
    find(wanted, "panel", "panels/yours.toml", &bench.folder().panels, |document| match document {
        Document::Panel(panel) => Some(panel),
        _ => None,
    })
}

/// A document by name, or read from its whole text (which then contains a line break).
fn find<T: Clone>(
    wanted: &str,
    kind: &'static str,
    path: &str,
    shelf: &Shelf<T>,
    of: impl Fn(Document) -> Option<Box<T>>,
) -> Result<Entry<T>, Vec<Diagnostic>> {
    if !wanted.contains('\n') {
        return shelf.get(wanted).cloned().ok_or_else(|| {
            let error = QuestionError::no_such(kind, wanted, shelf.names());
            vec![crate::ask::diagnostic(&error)]
        });
    }
    let document = of(parse_document(path, wanted)?).ok_or_else(|| {
        vec![
            Diagnostic::error("not-this-kind", format!("this is not a {kind}"))
                .help(format!("begin it with [{kind}]")),
        ]
    })?;
    Ok(Entry { document, path: path.to_owned(), origin: Origin::Folder, text: Arc::from(wanted) })
}
