//! Bench folders on disk: walking, reading with limits, atomic writes, edits that keep comments.
//!
//! Nothing is ever half-written: a file appears whole or not at all, and a set of edits is applied to all files in memory
//! before the first is written.

#![forbid(unsafe_code)]

mod beside;
mod edit;
mod error;
mod list;
mod read;
mod rewrite;
mod write;

pub use beside::{BESIDE_BYTES, read_beside};
pub use edit::{apply_edits, edit_text};
pub use error::StoreError;
pub use list::{Field, put_in_list};
pub use read::{Limits, read_files, read_folder, read_folder_with};
pub use rewrite::rewrite_text;
pub use write::{FileWriter, Writer, create_folder, write_file, write_file_with};
