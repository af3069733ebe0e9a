//! A whole folder: documents by kind and name over the embedded library, references resolved.

use std::collections::BTreeMap;
use std::sync::Arc;

#[cfg(feature = "findings")]
use crate::check::check;
use crate::diagnostic::Diagnostic;
use crate::document::{Document, DocumentKind, read_document};
use crate::layer::Layer;
use crate::library::library;
use crate::locate::KeyPath;
use crate::types::board::{Board, Specimen};
use crate::types::cell::{Cell, CellFigures, Chemistry};
use crate::types::meter::{Instrument, Meter, MeterRange};
use crate::types::parts::{ChargerClass, Module, Part, Regulator};
use crate::types::project::Project;
use crate::types::recording::Recording;
use crate::types::session::{Claim, Session};
use crate::types::sun::{Panel, Site};
use crate::types::supply::{RegulatorFigures, RegulatorKind, Supply};

/// Where a document comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Origin {
    /// Embedded in the program.
    Library,
    /// The person's folder.
    Folder,
}

/// A document with its file.
#[derive(Clone, Debug)]
pub struct Entry<T> {
    /// The document, in a box: every shelf then is the same code.
    pub document: Box<T>,
    /// Its file, relative to the folder; a library file's begins with `library:`.
    pub path: String,
    /// Where it comes from.
    pub origin: Origin,
    /// The file's text, for places.
    pub text: Arc<str>,
}

impl<T> Entry<T> {
    /// A diagnostic placed at a key of this document.
    #[must_use]
    pub fn place(&self, diagnostic: Diagnostic, key: &KeyPath) -> Diagnostic {
        diagnostic.at_key(&self.path, &self.text, key)
    }
}

/// The documents of one kind, by name.
#[derive(Clone, Debug)]
pub struct Shelf<T>(BTreeMap<String, Entry<T>>);

impl<T> Default for Shelf<T> {
    fn default() -> Self {
        Self(BTreeMap::new())
    }
}

impl<T> Shelf<T> {
    /// The entry of that name.
    pub fn get(&self, name: &str) -> Option<&Entry<T>> {
        self.0.get(name)
    }

    /// Every entry, in the order of names.
    pub fn iter(&self) -> impl Iterator<Item = &Entry<T>> {
        self.0.values()
    }

    /// Every document, in the order of names.
    pub fn documents(&self) -> impl Iterator<Item = &T> {
        self.0.values().map(|entry| &*entry.document)
    }

    /// Every name, in order.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.0.keys().map(String::as_str)
    }

    /// How many.
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Puts an entry on the shelf; the person's folder replaces the library, a second one of the folder is handed back.
    fn put(&mut self, name: String, entry: Entry<T>) -> Option<(String, Entry<T>)> {
        match self.0.get(&name) {
            Some(first) if first.origin == Origin::Folder => Some((first.path.clone(), entry)),
            _ => {
                self.0.insert(name, entry);
                None
            }
        }
    }
}

/// A whole folder over the embedded library.
#[derive(Clone, Debug, Default)]
pub struct Folder {
    /// Board models.
    pub boards: Shelf<Board>,
    /// Sessions.
    pub sessions: Shelf<Session>,
    /// Other people's figures.
    pub claims: Shelf<Claim>,
    /// Instruments.
    pub instruments: Shelf<Instrument>,
    /// Meter classes.
    pub meters: Shelf<Meter>,
    /// Cells.
    pub cells: Shelf<Cell>,
    /// Chemistries.
    pub chemistries: Shelf<Chemistry>,
    /// Projects.
    pub projects: Shelf<Project>,
    /// Always-on part classes.
    pub parts: Shelf<Part>,
    /// Regulator classes.
    pub regulators: Shelf<Regulator>,
    /// Charger classes.
    pub chargers: Shelf<ChargerClass>,
    /// Bare radio modules.
    pub modules: Shelf<Module>,
    /// Panels.
    pub panels: Shelf<Panel>,
    /// Sites.
    pub sites: Shelf<Site>,
    /// Recordings.
    pub recordings: Shelf<Recording>,
    /// Board and place of every specimen, by label.
    specimens: BTreeMap<String, (String, usize)>,
}

impl Folder {
    /// Reads the documents of `(path, text)` pairs, paths relative to the folder with `/`, over the embedded library, and
    /// checks them against each other. A bad file does not hide the others: it is left out and told.
    pub fn read<P: Into<String>, T: Into<Arc<str>>>(
        files: impl IntoIterator<Item = (P, T)>,
    ) -> (Self, Vec<Diagnostic>) {
        let mut folder = Self::default();
        let mut diagnostics = Vec::new();
        for file in library() {
            let path = format!("library:{}", file.path);
            folder.add(file.path, &path, Arc::from(file.text), Origin::Library, &mut diagnostics);
        }
        let mut files: Vec<(String, Arc<str>)> =
            files.into_iter().map(|(path, text)| (path.into(), text.into())).collect();
        files.sort_by(|a, b| a.0.cmp(&b.0));
        for (path, text, parsed) in parse_all(files) {
            folder.put(&path, text, Origin::Folder, parsed, &mut diagnostics);
        }
        folder.index_specimens();
        #[cfg(feature = "findings")]
        check(&folder, &mut diagnostics);
        (folder, diagnostics)
    }

    fn add(
        &mut self,
        kind_path: &str,
        path: &str,
        text: Arc<str>,
        origin: Origin,
        diagnostics: &mut Vec<Diagnostic>,
    ) {
        let parsed = read_document(kind_path, &text);
        self.put(path, text, origin, parsed, diagnostics);
    }

    fn put(
        &mut self,
        path: &str,
        text: Arc<str>,
        origin: Origin,
        parsed: Result<(Document, Vec<Diagnostic>), Vec<Diagnostic>>,
        diagnostics: &mut Vec<Diagnostic>,
    ) {
        let document = match parsed {
            Ok((document, blanks)) => {
                diagnostics.extend(blanks);
                document
            }
            Err(errors) => {
                diagnostics.extend(errors);
                return;
            }
        };
        let kind = document.kind();
        let name = document.name().to_owned();
        let path = path.to_owned();
        macro_rules! shelve {
            ($($variant:ident: $shelf:ident),*) => {
                match document {
                    $(Document::$variant(document) => {
                        let entry = Entry { document, path, origin, text };
                        self.$shelf.put(name.clone(), entry).map(|(first, entry)| (first, entry.path, entry.text))
                    })*
                }
            };
        }
        let clash = shelve!(
            Board: boards, Session: sessions, Claim: claims, Instrument: instruments, Meter: meters, Cell: cells,
            Chemistry: chemistries, Project: projects, Part: parts, Regulator: regulators, Charger: chargers, Module: modules,
            Panel: panels, Site: sites, Recording: recordings
        );
        if let Some((first, path, text)) = clash {
            let key = KeyPath::root().key(kind.table()).key("name");
            diagnostics.push(
                Diagnostic::error(
                    "duplicate-name",
                    format!("there are two {} named \"{name}\"", kind.folder()),
                )
                .at_key(&path, &text, &key)
                .help(format!(
                    "the first is in {first}; rename one of them (this one is left out)"
                )),
            );
        }
    }

    /// A specimen by its label, with its board.
    pub fn specimen(&self, id: &str) -> Option<(&Entry<Board>, &Specimen)> {
        let (board, index) = self.specimens.get(id)?;
        let entry = self.boards.get(board)?;
        Some((entry, entry.document.specimens.get(*index)?))
    }

    /// The first of two with the same label holds; the check tells of the second.
    fn index_specimens(&mut self) {
        for entry in self.boards.iter() {
            let board = &entry.document;
            for (index, specimen) in board.specimens.iter().enumerate() {
                let place = (board.name.clone(), index);
                self.specimens.entry(specimen.id.clone()).or_insert(place);
            }
        }
    }

    /// Every specimen with its board, in the order of boards.
    pub fn specimens(&self) -> impl Iterator<Item = (&Entry<Board>, &Specimen)> {
        self.boards.iter().flat_map(|entry| {
            entry.document.specimens.iter().map(move |specimen| (entry, specimen))
        })
    }

    /// The sessions of a specimen, in the order of names; retracted ones are among them.
    pub fn sessions_of<'a>(
        &'a self,
        specimen: &'a str,
    ) -> impl Iterator<Item = &'a Entry<Session>> {
        self.sessions
            .iter()
            .filter(move |entry| entry.document.specimen.as_deref() == Some(specimen))
    }

    /// Figures of a cell over those of its chemistry; `None` where the chemistry is not known.
    pub fn cell_figures(&self, cell: &Cell) -> Option<CellFigures> {
        let chemistry = self.chemistries.get(&cell.chemistry)?;
        Some(cell.figures.over(&chemistry.document.figures))
    }

    /// How a supply's regulator works and its figures, the board's own over its class's; `None` where no regulator is told.
    pub fn regulator(&self, supply: &Supply) -> Option<(Option<RegulatorKind>, RegulatorFigures)> {
        let own = supply.regulator.as_ref()?;
        let class = own.class.as_ref().and_then(|class| self.regulators.get(class));
        let kind = own.kind.or(class.map(|class| class.document.works));
        let figures = class
            .map_or_else(|| own.figures.clone(), |class| own.figures.over(&class.document.figures));
        Some((kind, figures))
    }

    /// The ranges of an instrument: its own, or those of its class.
    pub fn ranges<'a>(&'a self, instrument: &'a Instrument) -> &'a [MeterRange] {
        if !instrument.ranges.is_empty() {
            return &instrument.ranges;
        }
        let class = instrument.class.as_ref().and_then(|class| self.meters.get(class));
        class.map_or(&[], |class| &class.document.ranges)
    }

    /// The range that a reading was taken on; `None` where instrument or range is not told.
    pub fn range<'a>(
        &'a self,
        instrument: Option<&str>,
        range: Option<&str>,
    ) -> Option<&'a MeterRange> {
        let instrument = self.instruments.get(instrument?)?;
        let name = range?;
        self.ranges(&instrument.document).iter().find(|range| range.name == name)
    }

    /// Whether there is a document of that kind and name.
    pub fn has(&self, kind: DocumentKind, name: &str) -> bool {
        macro_rules! shelves {
            ($($variant:ident: $shelf:ident),*) => {
                match kind { $(DocumentKind::$variant => self.$shelf.get(name).is_some(),)* }
            };
        }
        shelves!(
            Board: boards, Session: sessions, Claim: claims, Instrument: instruments, Meter: meters,
            Cell: cells, Chemistry: chemistries, Project: projects, Part: parts,
            Regulator: regulators, Charger: chargers, Module: modules, Panel: panels, Site: sites,
            Recording: recordings
        )
    }

    /// The names of every document of a kind.
    pub fn names(&self, kind: DocumentKind) -> Vec<&str> {
        macro_rules! shelves {
            ($($variant:ident: $shelf:ident),*) => {
                match kind { $(DocumentKind::$variant => self.$shelf.names().collect(),)* }
            };
        }
        shelves!(
            Board: boards, Session: sessions, Claim: claims, Instrument: instruments, Meter: meters,
            Cell: cells, Chemistry: chemistries, Project: projects, Part: parts,
            Regulator: regulators, Charger: chargers, Module: modules, Panel: panels, Site: sites,
            Recording: recordings
        )
    }
}

type Parsed = (String, Arc<str>, Result<(Document, Vec<Diagnostic>), Vec<Diagnostic>>);

#[cfg(feature = "parallel")]
fn parse_all(files: Vec<(String, Arc<str>)>) -> Vec<Parsed> {
    use rayon::prelude::*;
    let parse = |(path, text): (String, Arc<str>)| {
        let parsed = read_document(&path, &text);
        (path, text, parsed)
    };
    // Threads cost more than they bring for a small folder.
    if files.len() < 200 {
        return files.into_iter().map(parse).collect();
    }
    files.into_par_iter().map(parse).collect()
}

#[cfg(not(feature = "parallel"))]
fn parse_all(files: Vec<(String, Arc<str>)>) -> Vec<Parsed> {
    let parse = |(path, text): (String, Arc<str>)| {
        let parsed = read_document(&path, &text);
        (path, text, parsed)
    };
    files.into_iter().map(parse).collect()
}
