//! One document: its kind, and reading it from a text.

use toml::Spanned;
use toml::de::{DeArray, DeTable, DeValue};

use crate::choice::Kind;
use crate::diagnostic::{Diagnostic, Severity};
use crate::fault::diagnostic_of;
use crate::locate::{KeyPath, parse_table};
use crate::reader::{Faulty, Read, read};
use crate::types::board::Board;
use crate::types::cell::{Cell, CellFigures, Chemistry};
use crate::types::meter::{Instrument, Meter};
use crate::types::parts::{ChargerClass, Module, Part, Regulator};
use crate::types::project::Project;
use crate::types::recording::Recording;
use crate::types::session::{Claim, Session};
use crate::types::sun::{Panel, Site};
use crate::walk::{Leaf, Walk};

/// Declares kinds of document, their folders and the top-level table that each holds.
macro_rules! documents {
    ($($(#[$meta:meta])* $variant:ident($type:ty) = $table:literal in $folder:literal, $file:ident;)*) => {
        /// The kinds of document.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum DocumentKind { $($(#[$meta])* $variant,)* }

        impl DocumentKind {
            /// Every kind.
            pub const ALL: &'static [Self] = &[$(Self::$variant),*];

            /// The folder in which its files lie.
            pub fn folder(self) -> &'static str {
                match self { $(Self::$variant => $folder,)* }
            }

            /// The top-level table of its files.
            pub fn table(self) -> &'static str {
                match self { $(Self::$variant => $table,)* }
            }

            /// The kind whose files lie in `folder`.
            pub fn of_folder(folder: &str) -> Option<Self> {
                match folder { $($folder => Some(Self::$variant),)* _ => None }
            }

            /// The kind with the top-level table `table`.
            pub fn of_table(table: &str) -> Option<Self> {
                match table { $($table => Some(Self::$variant),)* _ => None }
            }

            /// JSON Schema of its files.
            pub fn schema(self) -> schemars::Schema {
                match self { $(Self::$variant => schemars::schema_for!($file),)* }
            }
        }

        /// A document of any kind.
        #[derive(Clone, Debug, PartialEq, serde::Serialize)]
        #[serde(rename_all = "snake_case")]
        pub enum Document { $($(#[$meta])* $variant(Box<$type>),)* }

        impl Document {
            /// Its kind.
            pub fn kind(&self) -> DocumentKind {
                match self { $(Self::$variant(_) => DocumentKind::$variant,)* }
            }

            /// Its name, unique within its kind.
            pub fn name(&self) -> &str {
                match self { $(Self::$variant(document) => &document.name,)* }
            }

            fn of_kind(kind: DocumentKind, table: &Spanned<DeTable<'_>>) -> Result<Self, Faulty> {
                Ok(match kind {
                    $(DocumentKind::$variant => {
                        let mut document: Box<$type> = Read::blank();
                        read(table, $table, &mut document)?;
                        document.stamp_own();
                        Self::$variant(document)
                    })*
                })
            }

            /// Every quantity in it with its key path.
            pub fn walk(&self, visit: &mut dyn FnMut(&KeyPath, Leaf)) {
                let root = KeyPath::root().key(self.kind().table());
                match self { $(Self::$variant(document) => document.walk(&root, visit),)* }
            }
        }

        $(
            /// The file of one document.
            #[derive(schemars::JsonSchema)]
            #[schemars(deny_unknown_fields)]
            struct $file {
                #[schemars(rename = $table)]
                #[expect(dead_code, reason = "only its schema is asked for")]
                document: $type,
            }
        )*
    };
}

documents! {
    /// A board model with revisions and specimens.
    Board(Board) = "board" in "boards", BoardFile;
    /// A session at the bench.
    Session(Session) = "session" in "sessions", SessionFile;
    /// Somebody else's figures.
    Claim(Claim) = "claim" in "claims", ClaimFile;
    /// A meter on the bench.
    Instrument(Instrument) = "instrument" in "instruments", InstrumentFile;
    /// A class of meters.
    Meter(Meter) = "meter" in "meters", MeterFile;
    /// A cell.
    Cell(Cell) = "cell" in "cells", CellFile;
    /// A cell chemistry.
    Chemistry(Chemistry) = "chemistry" in "chemistries", ChemistryFile;
    /// A project.
    Project(Project) = "project" in "projects", ProjectFile;
    /// A class of always-on parts.
    Part(Part) = "part" in "parts", PartFile;
    /// A class of regulators.
    Regulator(Regulator) = "regulator" in "regulators", RegulatorFile;
    /// A class of chargers.
    Charger(ChargerClass) = "charger" in "chargers", ChargerFile;
    /// A bare radio module.
    Module(Module) = "module" in "modules", ModuleFile;
    /// A panel.
    Panel(Panel) = "panel" in "panels", PanelFile;
    /// A place.
    Site(Site) = "site" in "sites", SiteFile;
    /// A recording of a current or a rail.
    Recording(Recording) = "recording" in "recordings", RecordingFile;
}

/// A document whose own kind and source hold for the figures that state none.
trait StampOwn: Walk {
    fn stamp_own(&mut self);
}

macro_rules! stamp_own {
    ($($type:ty: |$document:ident| $places:expr;)*) => {$(
        impl StampOwn for $type {
            fn stamp_own(&mut self) {
                let (kind, source) = (self.kind, self.source.clone());
                self.stamp(kind, source.as_deref());
                let $document = self;
                #[allow(unused_mut, clippy::let_and_return, reason = "most documents have no places beside their figures")]
                let mut places: Vec<(&mut Option<Kind>, &mut Option<String>)> = $places;
                for (own_kind, own_source) in places {
                    *own_kind = own_kind.or(kind);
                    if own_source.is_none() {
                        own_source.clone_from(&source);
                    }
                }
            }
        }
    )*};
}

stamp_own! {
    Board: |_document| Vec::new();
    Part: |_document| Vec::new();
    Regulator: |_document| Vec::new();
    ChargerClass: |_document| Vec::new();
    Module: |_document| Vec::new();
    Panel: |_document| Vec::new();
    Site: |_document| Vec::new();
    Project: |_document| Vec::new();
    Cell: |document| cell_places(&mut document.figures);
    Chemistry: |document| cell_places(&mut document.figures);
    Meter: |document| document.ranges.iter_mut().map(|range| (&mut range.kind, &mut range.source)).collect();
    Instrument: |document| document.ranges.iter_mut().map(|range| (&mut range.kind, &mut range.source)).collect();
}

fn cell_places(figures: &mut CellFigures) -> Vec<(&mut Option<Kind>, &mut Option<String>)> {
    let CellFigures { ocv, charge_temperature, discharge_temperature, .. } = figures;
    let windows = charge_temperature.iter_mut().chain(discharge_temperature.iter_mut());
    let mut places: Vec<_> = windows.map(|window| (&mut window.kind, &mut window.source)).collect();
    places.extend(ocv.iter_mut().map(|table| (&mut table.kind, &mut table.source)));
    places
}

impl StampOwn for Session {
    fn stamp_own(&mut self) {}
}

impl StampOwn for Recording {
    fn stamp_own(&mut self) {}
}

impl StampOwn for Claim {
    fn stamp_own(&mut self) {}
}

/// Reads one document. As [`read_document`], which also tells of blanks.
///
/// # Errors
/// What is wrong with the file, at its place.
pub fn parse_document(path: &str, text: &str) -> Result<Document, Vec<Diagnostic>> {
    read_document(path, text).map(|(document, _)| document)
}

/// Reads one document. `path` is relative to the folder's root, with `/`; its first part tells the kind.
///
/// A value `"?"` (or one that begins so, as in `"? µA"`) is a blank that nobody has filled in yet: it counts as left out, and a
/// warning tells its line.
///
/// # Errors
/// What is wrong with the file, at its place; the blanks, where the document cannot do without one of them.
pub fn read_document(
    path: &str,
    text: &str,
) -> Result<(Document, Vec<Diagnostic>), Vec<Diagnostic>> {
    let mut table =
        parse_table(text).map_err(|error| vec![diagnostic_of(&error.into(), path, text)])?;
    let kind = kind_of(path, text, &table).map_err(|diagnostic| vec![*diagnostic])?;
    let mut places = Vec::new();
    take_blanks(table.get_mut(), &mut places);
    places.sort_by_key(|(place, _)| place.start);
    let blank = |(place, key): &(std::ops::Range<usize>, String), severity| {
        let line = text[..place.start.min(text.len())].matches('\n').count() + 1;
        Diagnostic::new(
            "not-filled-in",
            severity,
            format!("not filled in yet: `{key}`, line {line}"),
        )
        .at(path, text, place.clone())
    };
    match Document::of_kind(kind, &table) {
        Ok(document) => {
            let blanks = places.iter().map(|place| {
                blank(place, Severity::Warning)
                    .help("write what you read, or leave the line out; a blank is unknown")
            });
            Ok((document, blanks.collect()))
        }
        // What is missing may be a blank: the blanks are what the person has to see.
        Err(error) if error.0.message.starts_with("missing field") && !places.is_empty() => {
            let missing = error.0.message.split('`').nth(1).unwrap_or_default().to_owned();
            let blanks = places.iter().filter(|(_, key)| *key == missing).map(|place| {
                blank(place, Severity::Warning)
                    .help("the document counts for nothing until this is filled in")
            });
            let blanks: Vec<Diagnostic> = blanks.collect();
            Err(if blanks.is_empty() { vec![diagnostic_of(&error, path, text)] } else { blanks })
        }
        Err(error) => Err(vec![diagnostic_of(&error, path, text)]),
    }
}

/// A value that stands for "not filled in yet".
fn is_blank(value: &DeValue<'_>) -> bool {
    matches!(value, DeValue::String(text) if text.trim_start().starts_with('?'))
}

/// Takes the blanks out of a table and everything in it, with their places and keys.
fn take_blanks(table: &mut DeTable<'_>, places: &mut Vec<(std::ops::Range<usize>, String)>) {
    let blanks: Vec<(std::ops::Range<usize>, String)> = table
        .iter()
        .filter(|(_, value)| is_blank(value.get_ref()))
        .map(|(key, value)| (value.span(), key.get_ref().to_string()))
        .collect();
    for (_, key) in &blanks {
        table.remove(key.as_str());
    }
    places.extend(blanks);
    for (key, value) in table.iter_mut() {
        match value.get_mut() {
            DeValue::Table(inner) => take_blanks(inner, places),
            DeValue::Array(array) => {
                if array.iter().any(|element| is_blank(element.get_ref())) {
                    let (blanks, kept): (Vec<_>, Vec<_>) = std::mem::replace(array, DeArray::new())
                        .into_iter()
                        .partition(|element| is_blank(element.get_ref()));
                    let key = key.get_ref().to_string();
                    places.extend(blanks.iter().map(|blank| (blank.span(), key.clone())));
                    *array = kept.into_iter().collect();
                }
                for element in array.iter_mut() {
                    if let DeValue::Table(inner) = element.get_mut() {
                        take_blanks(inner, places);
                    }
                }
            }
            _ => {}
        }
    }
}

/// The kind told by the folder, checked against the top-level table.
fn kind_of(
    path: &str,
    text: &str,
    table: &Spanned<DeTable<'_>>,
) -> Result<DocumentKind, Box<Diagnostic>> {
    let folder = path.split('/').next().unwrap_or("");
    let keys: Vec<&str> = table.get_ref().keys().map(|key| key.get_ref().as_ref()).collect();
    let by_folder = DocumentKind::of_folder(folder);
    let by_table = keys.iter().find_map(|key| DocumentKind::of_table(key));
    match (by_folder, by_table) {
        (Some(folder), None) => {
            let wanted = folder.table();
            let diagnostic = Diagnostic::new(
                "document-empty",
                Severity::Error,
                format!("there is no table [{wanted}] in this file"),
            );
            let place = keys.first().map(|key| KeyPath::root().key(key));
            let diagnostic = match place {
                Some(place) => diagnostic.at_key(path, text, &place),
                None => diagnostic.at(path, text, 0..text.len().min(1)),
            };
            Err(Box::new(diagnostic.help(format!(
                "begin it with a line [{wanted}]; the folder {}/ holds one {wanted} a file",
                folder.folder()
            ))))
        }
        (Some(folder), Some(table)) if folder != table => {
            let message =
                format!("a [{}] stands in the folder {}/", table.table(), folder.folder());
            let help =
                format!("move the file to {}/, or make it a [{}]", table.folder(), folder.table());
            let key = KeyPath::root().key(table.table());
            let diagnostic = Diagnostic::error("document-misplaced", message);
            Err(Box::new(diagnostic.at_key(path, text, &key).help(help)))
        }
        (Some(kind), Some(_)) | (None, Some(kind)) => Ok(kind),
        (None, None) => {
            let tables: Vec<String> =
                DocumentKind::ALL.iter().map(|kind| format!("[{}]", kind.table())).collect();
            let message = "neither the folder nor a table tells what this file is";
            let diagnostic = Diagnostic::error("document-unknown", message);
            let help = format!("begin it with one of {}", tables.join(", "));
            Err(Box::new(diagnostic.at(path, text, 0..text.len().min(1)).help(help)))
        }
    }
}
