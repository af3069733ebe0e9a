//! The bench folder's documents: types, embedded library, diagnostics, schemas, the comparison table as CSV.
//!
//! Pure: everything here is made from `(path, text)` pairs; the crate `store` reads and writes the disk.
//!
//! ```
//! use overwinter_documents::{Document, parse_document};
//!
//! let text = "[board]\nname = \"BOWLINE\"\n[board.traits]\nexternal_antenna = \"yes\"\n";
//! let Ok(Document::Board(board)) = parse_document("boards/bowline.toml", text) else { panic!() };
//! assert_eq!(board.name, "BOWLINE");
//! assert!(board.traits.usb_bridge.is_unknown(), "what is not written is unknown, never no");
//! ```

#![forbid(unsafe_code)]

#[cfg(feature = "findings")]
mod check;
mod choice;
mod date;
mod diagnostic;
mod document;
mod fault;
mod figure;
mod folder;
mod layer;
mod library;
mod locate;
mod reader;
mod render;
mod schema;
mod seen;
pub mod sheet;
pub mod types;
mod walk;

pub use choice::{Choice, Kind, YesNo, did_you_mean};
pub use date::Date;
pub use diagnostic::{Diagnostic, Place, Severity};
pub use document::{Document, DocumentKind, parse_document};
pub use figure::*;
pub use folder::{Entry, Folder, Origin, Shelf};
pub use layer::Layer;
pub use library::{LibraryFile, library};
pub use locate::{KeyPath, Step, locate};
pub use render::{Style, render};
pub use schema::{schema_line, schemas};
pub use seen::{Seen, Trait};
pub use sheet::{Edit, EditValue};
pub use walk::{Leaf, Walk};
