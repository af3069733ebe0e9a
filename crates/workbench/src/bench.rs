//! The bench: all documents of a folder over the embedded library, with the look-ups that the questions need.

use std::collections::BTreeMap;

use overwinter_documents::Document;
use overwinter_documents::Layer;
use overwinter_documents::types::board::{Board, Specimen};
use overwinter_documents::types::cell::{Cell, CellFigures, Chemistry};
use overwinter_documents::types::meter::{Instrument, Meter, MeterRange};
use overwinter_documents::types::parts::{Module, Part, Regulator};
use overwinter_documents::types::project::Project;
use overwinter_documents::types::session::{Claim, Session};
use overwinter_documents::types::sun::{Panel, Site};

/// Documents by kind and name. A later document of the same kind and name replaces an earlier one, so the library goes
/// in first and the person's folder overrides it.
#[derive(Debug, Clone, Default)]
pub struct Bench {
    boards: BTreeMap<String, Board>,
    sessions: BTreeMap<String, Session>,
    claims: BTreeMap<String, Claim>,
    instruments: BTreeMap<String, Instrument>,
    meters: BTreeMap<String, Meter>,
    cells: BTreeMap<String, Cell>,
    chemistries: BTreeMap<String, Chemistry>,
    projects: BTreeMap<String, Project>,
    parts: BTreeMap<String, Part>,
    regulators: BTreeMap<String, Regulator>,
    modules: BTreeMap<String, Module>,
    panels: BTreeMap<String, Panel>,
    sites: BTreeMap<String, Site>,
}

macro_rules! lookups {
    ($($(#[$doc:meta])* $one:ident, $all:ident: $type:ty;)*) => {
        impl Bench {$(
            $(#[$doc])*
            pub fn $one(&self, name: &str) -> Option<&$type> {
                self.$all.get(name)
            }
        )*}
    };
}

lookups! {
    /// A board by name.
    board, boards: Board;
    /// A session by name.
    session, sessions: Session;
    /// An instrument by name.
    instrument, instruments: Instrument;
    /// A meter class by name.
    meter, meters: Meter;
    /// A cell by name.
    cell, cells: Cell;
    /// A chemistry by name.
    chemistry, chemistries: Chemistry;
    /// A project by name.
    project, projects: Project;
    /// A class of always-on parts by name.
    part, parts: Part;
    /// A class of regulators by name.
    regulator, regulators: Regulator;
    /// A bare module by name.
    module, modules: Module;
    /// A panel by name.
    panel, panels: Panel;
    /// A site by name.
    site, sites: Site;
}

impl Bench {
    /// A bench of these documents, later ones over earlier ones.
    pub fn new(documents: impl IntoIterator<Item = Document>) -> Self {
        let mut bench = Self::default();
        for document in documents {
            bench.insert(document);
        }
        bench
    }

    /// Adds or replaces a document.
    pub fn insert(&mut self, document: Document) {
        match document {
            Document::Board(d) => drop(self.boards.insert(d.name.clone(), *d)),
            Document::Session(d) => drop(self.sessions.insert(d.name.clone(), *d)),
            Document::Claim(d) => drop(self.claims.insert(d.name.clone(), *d)),
            Document::Instrument(d) => drop(self.instruments.insert(d.name.clone(), *d)),
            Document::Meter(d) => drop(self.meters.insert(d.name.clone(), *d)),
            Document::Cell(d) => drop(self.cells.insert(d.name.clone(), *d)),
            Document::Chemistry(d) => drop(self.chemistries.insert(d.name.clone(), *d)),
            Document::Project(d) => drop(self.projects.insert(d.name.clone(), *d)),
            Document::Part(d) => drop(self.parts.insert(d.name.clone(), *d)),
            Document::Regulator(d) => drop(self.regulators.insert(d.name.clone(), *d)),
            Document::Module(d) => drop(self.modules.insert(d.name.clone(), *d)),
            Document::Panel(d) => drop(self.panels.insert(d.name.clone(), *d)),
            Document::Site(d) => drop(self.sites.insert(d.name.clone(), *d)),
        }
    }

    /// All boards by name.
    pub fn boards(&self) -> impl Iterator<Item = &Board> {
        self.boards.values()
    }

    /// All sessions by name.
    pub fn sessions(&self) -> impl Iterator<Item = &Session> {
        self.sessions.values()
    }

    /// All claims by name.
    pub fn claims(&self) -> impl Iterator<Item = &Claim> {
        self.claims.values()
    }

    /// All projects by name.
    pub fn projects(&self) -> impl Iterator<Item = &Project> {
        self.projects.values()
    }

    /// All cells by name.
    pub fn cells(&self) -> impl Iterator<Item = &Cell> {
        self.cells.values()
    }

    /// A specimen by its label, with its board.
    pub fn specimen(&self, id: &str) -> Option<(&Board, &Specimen)> {
        self.boards
            .values()
            .find_map(|board| board.specimens.iter().find(|s| s.id == id).map(|s| (board, s)))
    }

    /// A range of an instrument; its own ranges replace those of its class.
    pub fn range(&self, instrument: &str, range: &str) -> Option<&MeterRange> {
        self.ranges(instrument).iter().find(|found| found.name == range)
    }

    /// All ranges of an instrument, or of a meter class of that name.
    pub fn ranges(&self, instrument: &str) -> &[MeterRange] {
        let own = self.instrument(instrument);
        match own {
            Some(found) if !found.ranges.is_empty() => &found.ranges,
            Some(found) => found
                .class
                .as_deref()
                .and_then(|class| self.meter(class))
                .map_or(&[], |m| &m.ranges),
            None => self.meter(instrument).map_or(&[], |m| &m.ranges),
        }
    }

    /// A cell's figures over those of its chemistry.
    pub fn cell_figures(&self, cell: &Cell) -> CellFigures {
        match self.chemistry(&cell.chemistry) {
            Some(chemistry) => cell.figures.over(&chemistry.figures),
            None => cell.figures.clone(),
        }
    }
}
