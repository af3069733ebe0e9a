//! The comparison table for spreadsheets: out as CSV, in again as proposed changes.
//!
//! `unknown` is a word, an empty cell means "does not apply", "no" is no: the three are never mixed up. Units stand in the
//! header (`row spacing [mm]`). Reading a table back changes nothing by itself: it proposes [`Edit`]s, each with its file
//! and key path; a table that was not changed proposes none.

mod boards;
mod csv_text;
mod import;

use crate::locate::KeyPath;

pub use boards::boards_sheet;
pub use csv_text::{Dialect, write_csv};
pub use import::{Import, propose};

/// What a cell holds.
#[derive(Clone, Debug, PartialEq)]
pub enum Content {
    /// Nobody knows.
    Unknown,
    /// Does not apply.
    Empty,
    /// A text.
    Text(String),
    /// A number in the column's unit.
    Number(f64),
}

/// How an edited cell is written into its document.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// A text as it stands: a trait's word, a name, an amount of money.
    Text,
    /// A number with the column's unit, such as `"22.86 mm"`.
    Quantity,
    /// A whole number.
    Whole,
    /// Texts separated by `|`.
    List,
}

/// Where a cell's content stands in the folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Address {
    /// The file.
    pub file: String,
    /// The key.
    pub key: KeyPath,
    /// How it is written there.
    pub form: Form,
    /// Taking the key out makes it unknown; `false` where a layer below would show through.
    pub removable: bool,
}

/// One cell.
#[derive(Clone, Debug, PartialEq)]
pub struct SheetCell {
    /// What it holds.
    pub content: Content,
    /// Where it stands; `None` for what is computed.
    pub address: Option<Address>,
}

/// One column.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    /// Its name, without the unit.
    pub name: String,
    /// Its unit.
    pub unit: Option<String>,
}

/// A table with named columns; the first column is the key of its rows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sheet {
    /// The columns.
    pub columns: Vec<Column>,
    /// The rows, as many cells each as there are columns.
    pub rows: Vec<Vec<SheetCell>>,
}

/// One proposed change of one document.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Edit {
    /// The file.
    pub file: String,
    /// The key.
    pub key: KeyPath,
    /// The new value; `None` takes the key out.
    pub value: Option<EditValue>,
    /// What the table showed before.
    pub was: String,
    /// What it shows now.
    pub now: String,
}

/// A new value.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum EditValue {
    /// A text.
    Text(String),
    /// A whole number.
    Whole(i64),
    /// Texts.
    List(Vec<String>),
}

impl Column {
    /// A column without a unit.
    pub fn plain(name: &str) -> Self {
        Self { name: name.to_owned(), unit: None }
    }

    /// A column with a unit.
    pub fn with_unit(name: &str, unit: &str) -> Self {
        Self { name: name.to_owned(), unit: Some(unit.to_owned()) }
    }

    /// Its header: `row spacing [mm]`.
    pub fn header(&self) -> String {
        match &self.unit {
            Some(unit) => format!("{} [{unit}]", self.name),
            None => self.name.clone(),
        }
    }
}

impl SheetCell {
    /// A computed cell.
    pub fn computed(content: Content) -> Self {
        Self { content, address: None }
    }
}

impl Sheet {
    /// Adds a computed column; `content` is asked with the key of each row.
    pub fn push_computed(&mut self, column: Column, mut content: impl FnMut(&str) -> Content) {
        self.columns.push(column);
        for row in &mut self.rows {
            let key = match row.first().map(|cell| &cell.content) {
                Some(Content::Text(key)) => key.clone(),
                _ => String::new(),
            };
            row.push(SheetCell::computed(content(&key)));
        }
    }
}
