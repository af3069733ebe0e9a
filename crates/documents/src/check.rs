//! Checks of a whole folder: names, references, contradictions within and between documents.
//!
//! What is found is told and kept: nothing is dropped here.

mod board;
mod cell;
mod meter;
mod project;
mod recording;
mod session;
mod sun;

use std::collections::BTreeMap;

use crate::choice::did_you_mean;
use crate::diagnostic::{Diagnostic, Severity};
use crate::document::DocumentKind;
use crate::folder::{Entry, Folder, Origin};
use crate::locate::KeyPath;
use crate::walk::Walk;

/// Checks every document of the person's folder.
pub(crate) fn check(folder: &Folder, diagnostics: &mut Vec<Diagnostic>) {
    let mut checker = Checker { folder, diagnostics };
    macro_rules! each {
        ($($shelf:ident: $kind:ident => $check:path),* $(,)?) => {$(
            for entry in folder.$shelf.iter().filter(|entry| entry.origin == Origin::Folder) {
                checker.common(entry, DocumentKind::$kind, &entry.document.name);
                $check(&mut checker, entry);
            }
        )*};
    }
    each!(
        boards: Board => board::board,
        sessions: Session => session::session,
        claims: Claim => session::claim,
        instruments: Instrument => meter::instrument,
        meters: Meter => meter::meter,
        cells: Cell => cell::cell,
        chemistries: Chemistry => cell::chemistry,
        projects: Project => project::project,
        parts: Part => cell::part,
        regulators: Regulator => board::regulator,
        chargers: Charger => board::charger_class,
        modules: Module => board::module,
        panels: Panel => sun::panel,
        sites: Site => sun::site,
        recordings: Recording => recording::recording,
    );
    board::specimen_labels(&mut checker);
}

/// Collects diagnostics with their places.
pub(crate) struct Checker<'a> {
    pub(crate) folder: &'a Folder,
    diagnostics: &'a mut Vec<Diagnostic>,
}

impl Checker<'_> {
    pub(crate) fn tell<T>(&mut self, entry: &Entry<T>, key: &KeyPath, diagnostic: Diagnostic) {
        self.diagnostics.push(entry.place(diagnostic, key));
    }

    pub(crate) fn error<T>(
        &mut self,
        entry: &Entry<T>,
        key: &KeyPath,
        code: &'static str,
        message: impl Into<String>,
        help: impl Into<String>,
    ) {
        self.tell(entry, key, Diagnostic::error(code, message).help(help));
    }

    pub(crate) fn warning<T>(
        &mut self,
        entry: &Entry<T>,
        key: &KeyPath,
        code: &'static str,
        message: impl Into<String>,
        help: impl Into<String>,
    ) {
        self.tell(entry, key, Diagnostic::warning(code, message).help(help));
    }

    /// A reference to a document of another kind.
    pub(crate) fn reference<T>(
        &mut self,
        entry: &Entry<T>,
        key: &KeyPath,
        kind: DocumentKind,
        name: Option<&str>,
    ) {
        let Some(name) = name else { return };
        if self.folder.has(kind, name) {
            return;
        }
        let names = self.folder.names(kind);
        let help = match did_you_mean(name, names.iter().copied()) {
            Some(meant) => format!("did you mean \"{meant}\"?"),
            None if names.is_empty() => format!("add a file in {}/", kind.folder()),
            None => format!("add a file in {}/, or use one of: {}", kind.folder(), listed(&names)),
        };
        let message = format!("there is no {} named \"{name}\"", kind.table());
        self.error(entry, key, "dangling-reference", message, help);
    }

    /// A reference to a name inside the same or another document.
    pub(crate) fn inner_reference<T>(
        &mut self,
        entry: &Entry<T>,
        key: &KeyPath,
        what: &str,
        name: &str,
        names: &[&str],
    ) {
        if names.contains(&name) {
            return;
        }
        let help = match did_you_mean(name, names.iter().copied()) {
            Some(meant) => format!("did you mean \"{meant}\"?"),
            None if names.is_empty() => "none is listed: add it there first".to_owned(),
            None => format!("use one of: {}", listed(names)),
        };
        self.error(
            entry,
            key,
            "dangling-reference",
            format!("there is no {what} named \"{name}\""),
            help,
        );
    }

    /// Names that must differ within a document.
    pub(crate) fn unique<T>(
        &mut self,
        entry: &Entry<T>,
        list: &KeyPath,
        key: &str,
        what: &str,
        names: &[&str],
    ) {
        let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
        for (index, name) in names.iter().enumerate() {
            if seen.insert(name, index).is_some() {
                let place = list.index(index).key(key);
                self.error(
                    entry,
                    &place,
                    "duplicate-name",
                    format!("there are two {what} named \"{name}\" here"),
                    "rename one of them",
                );
            }
        }
    }

    /// Checks that every document shares: a name, no negative quantity where none can be.
    fn common<T: Walk>(&mut self, entry: &Entry<T>, kind: DocumentKind, name: &str) {
        let root = KeyPath::root().key(kind.table());
        if name.trim().is_empty() || name.trim() != name || name.chars().any(char::is_control) {
            self.error(
                entry,
                &root.key("name"),
                "name",
                "a name must not be empty, nor begin or end with a space, nor hold control characters",
                "write a name such as \"BOWLINE\"",
            );
        }
        // Readings may be negative (a zero below zero); they are checked with their session. A recording's offset and unit too.
        let reading =
            matches!(kind, DocumentKind::Session | DocumentKind::Claim | DocumentKind::Recording);
        let mut negative = Vec::new();
        entry.document.walk(&root, &mut |path, leaf| {
            let signed = matches!(
                leaf.info.name,
                "a temperature"
                    | "a temperature difference"
                    | "an angle"
                    | "a temperature coefficient"
            ) || (reading
                && matches!(leaf.info.name, "a current" | "a voltage" | "a charge"))
                || path.has("clearness_correlation");
            if leaf.si < 0.0 && !signed {
                negative.push((path.clone(), leaf.info.name));
            }
        });
        for (path, dimension) in negative {
            let severity = if reading { Severity::Warning } else { Severity::Error };
            let diagnostic = Diagnostic::new(
                "negative",
                severity,
                format!("{dimension} cannot be negative here"),
            )
            .help("remove the minus sign, or check the reading");
            self.tell(entry, &path, diagnostic);
        }
    }
}

/// At most a dozen names, for help.
fn listed(names: &[&str]) -> String {
    let mut list: Vec<String> = names.iter().take(12).map(|name| format!("\"{name}\"")).collect();
    if names.len() > 12 {
        list.push(format!("… ({} in all)", names.len()));
    }
    list.join(", ")
}
