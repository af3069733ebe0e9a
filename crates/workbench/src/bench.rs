//! The bench: a folder with the look-ups that the questions need.

use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock};

use overwinter_documents::types::board::{Board, Specimen};
use overwinter_documents::types::cell::{Cell, CellFigures, Chemistry};
use overwinter_documents::types::meter::MeterRange;
use overwinter_documents::types::parts::{Module, Part, Regulator};
use overwinter_documents::types::project::Project;
use overwinter_documents::types::recording::Recording;
use overwinter_documents::types::session::{Claim, Session};
use overwinter_documents::types::sun::{Panel, Site};
use overwinter_documents::{Diagnostic, Folder};

use crate::readings::Taken;

/// A read folder over the embedded library.
#[derive(Debug, Clone, Default)]
pub struct Bench {
    folder: Folder,
    /// What follows from each reading, by session and place in it: evaluated once, whoever asks first.
    taken: BTreeMap<String, Vec<OnceLock<Arc<Taken>>>>,
    weather: BTreeMap<String, Arc<str>>,
}

macro_rules! lookups {
    ($($(#[$doc:meta])* $one:ident, $all:ident: $type:ty;)*) => {
        impl Bench {$(
            $(#[$doc])*
            pub fn $one(&self, name: &str) -> Option<&$type> {
                self.folder.$all.get(name).map(|entry| &*entry.document)
            }
        )*}
    };
}

lookups! {
    /// A board by name.
    board, boards: Board;
    /// A session by name.
    session, sessions: Session;
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
    /// A recording by name.
    recording, recordings: Recording;
}

impl Bench {
    /// Reads documents from `(path, text)` pairs; a bad file is left out and told.
    pub fn read<P: Into<String>, T: Into<Arc<str>>>(
        files: impl IntoIterator<Item = (P, T)>,
    ) -> (Self, Vec<Diagnostic>) {
        let (folder, diagnostics) = Folder::read(files);
        (Self::new(folder), diagnostics)
    }

    /// A bench of a folder that was read elsewhere.
    pub fn new(folder: Folder) -> Self {
        let taken = folder
            .sessions
            .documents()
            .map(|s| (s.name.clone(), s.readings.iter().map(|_| OnceLock::new()).collect()))
            .collect();
        Self { folder, taken, weather: BTreeMap::new() }
    }

    /// What follows from the reading at `place` of a session of this bench, by `evaluate` where nobody has asked yet.
    pub(crate) fn taken(
        &self,
        session: &Session,
        place: usize,
        evaluate: impl FnOnce() -> Taken,
    ) -> Arc<Taken> {
        // A session that only bears the name of one of this bench is evaluated for itself.
        let own = self.session(&session.name).is_some_and(|s| std::ptr::eq(s, session));
        match self.taken.get(&session.name).and_then(|s| s.get(place)).filter(|_| own) {
            Some(slot) => slot.get_or_init(|| Arc::new(evaluate())).clone(),
            None => Arc::new(evaluate()),
        }
    }

    /// Puts the text of a site's weather file beside the documents: `file` as the site names it. Every question about the sun then uses it.
    pub fn attach_weather(&mut self, file: &str, text: impl Into<Arc<str>>) {
        self.weather.insert(file.to_owned(), text.into());
    }

    /// The text of a weather file, where it is at hand.
    pub(crate) fn weather(&self, file: &str) -> Option<&str> {
        self.weather.get(file).map(AsRef::as_ref)
    }

    /// The folder with files and places.
    pub fn folder(&self) -> &Folder {
        &self.folder
    }

    /// All boards by name.
    pub fn boards(&self) -> impl Iterator<Item = &Board> {
        self.folder.boards.documents()
    }

    /// All sessions by name.
    pub fn sessions(&self) -> impl Iterator<Item = &Session> {
        self.folder.sessions.documents()
    }

    /// All claims by name.
    pub fn claims(&self) -> impl Iterator<Item = &Claim> {
        self.folder.claims.documents()
    }

    /// All projects by name.
    pub fn projects(&self) -> impl Iterator<Item = &Project> {
        self.folder.projects.documents()
    }

    /// All recordings by name.
    pub fn recordings(&self) -> impl Iterator<Item = &Recording> {
        self.folder.recordings.documents()
    }

    /// All cells by name.
    pub fn cells(&self) -> impl Iterator<Item = &Cell> {
        self.folder.cells.documents()
    }

    /// A specimen by its label, with its board.
    pub fn specimen(&self, id: &str) -> Option<(&Board, &Specimen)> {
        self.folder.specimen(id).map(|(entry, specimen)| (&*entry.document, specimen))
    }

    /// A range of an instrument; its own ranges replace those of its class.
    pub fn range(&self, instrument: &str, range: &str) -> Option<&MeterRange> {
        self.folder.range(Some(instrument), Some(range))
    }

    /// All ranges of an instrument, or of a meter class of that name.
    pub fn ranges(&self, instrument: &str) -> &[MeterRange] {
        match self.folder.instruments.get(instrument) {
            Some(found) => self.folder.ranges(&found.document),
            None => self.folder.meters.get(instrument).map_or(&[], |class| &class.document.ranges),
        }
    }

    /// A cell's figures over those of its chemistry.
    pub fn cell_figures(&self, cell: &Cell) -> CellFigures {
        self.folder.cell_figures(cell).unwrap_or_else(|| cell.figures.clone())
    }
}
