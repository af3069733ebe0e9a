//! Edits of the person's TOML that leave comments, order and everything else as it is.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use overwinter_documents::{Edit, EditValue, KeyPath, Step, parse_document};
use toml_edit::{DocumentMut, InlineTable, Item, Table, TableLike, Value};

use crate::error::StoreError;
use crate::write::{FileWriter, Writer, below};

/// Applies edits to one text.
///
/// # Errors
/// The text is no TOML, or an edit's place is not there.
pub fn edit_text(file: &str, text: &str, edits: &[Edit]) -> Result<String, StoreError> {
    let mut document: DocumentMut = text.parse().map_err(|error: toml_edit::TomlError| {
        StoreError::NotToml { file: file.to_owned(), reason: error.message().to_owned() }
    })?;
    for edit in edits {
        one(&mut document, &edit.key, edit.value.as_ref()).ok_or_else(|| StoreError::NoPlace {
            file: file.to_owned(),
            key: edit.key.to_string(),
        })?;
    }
    Ok(document.to_string())
}

/// Applies edits to the files of a folder: all in memory first, then file by file.
///
/// # Errors
/// A file is no TOML any more, has no such place or would break (nothing is written then), or the system refuses a file (the files before
/// it are written, it and those after are as they were).
pub fn apply_edits(root: &Path, edits: &[Edit]) -> Result<Vec<String>, StoreError> {
    let mut by_file: BTreeMap<&str, Vec<Edit>> = BTreeMap::new();
    for edit in edits {
        by_file.entry(&edit.file).or_default().push(edit.clone());
    }
    let mut changed = Vec::new();
    for (file, edits) in by_file {
        let path = below(root, file)?;
        let old = fs::read_to_string(&path).map_err(|error| StoreError::read(&path, error))?;
        let new = edit_text(file, &old, &edits)?;
        if let (Ok(_), Err(errors)) = (parse_document(file, &old), parse_document(file, &new)) {
            let diagnostic = errors.into_iter().next().map(Box::new);
            if let Some(diagnostic) = diagnostic {
                return Err(StoreError::WouldBreak { file: file.to_owned(), diagnostic });
            }
        }
        if new != old {
            changed.push((file.to_owned(), path, old, new));
        }
    }
    let mut written = Vec::new();
    for (file, path, old, new) in changed {
        // Somebody may have saved the file in an editor meanwhile.
        let now = fs::read_to_string(&path).map_err(|error| StoreError::read(&path, error))?;
        if now != old {
            return Err(StoreError::Changed { path });
        }
        FileWriter
            .replace(&path, new.as_bytes())
            .map_err(|error| StoreError::write(&path, error))?;
        written.push(file);
    }
    Ok(written)
}

/// One edit; `None` where its place is not there.
fn one(document: &mut DocumentMut, key: &KeyPath, value: Option<&EditValue>) -> Option<()> {
    descend(document.as_table_mut(), &key.0, false, value)
}

/// Follows the steps below a table. A table that is missing is made: as `[a.b]`, or inline inside an element of a list,
/// where a header of its own would tear the element apart.
fn descend(
    table: &mut dyn TableLike,
    steps: &[Step],
    inside_list: bool,
    value: Option<&EditValue>,
) -> Option<()> {
    let (Step::Key(name), rest) = steps.split_first()? else { return None };
    if rest.is_empty() {
        return set(table, name, value);
    }
    if !table.contains_key(name) {
        if value.is_none() {
            return Some(());
        }
        let new = if inside_list {
            Item::Value(Value::InlineTable(InlineTable::new()))
        } else {
            Item::Table(Table::new())
        };
        table.insert(name, new);
    }
    let item = table.get_mut(name)?;
    if let Some((Step::Index(index), rest)) = rest.split_first() {
        return match item {
            Item::ArrayOfTables(tables) => descend(tables.get_mut(*index)?, rest, true, value),
            Item::Value(Value::Array(array)) => {
                descend(array.get_mut(*index)?.as_inline_table_mut()?, rest, true, value)
            }
            _ => None,
        };
    }
    let inline = inside_list || item.is_inline_table();
    descend(item.as_table_like_mut()?, rest, inline, value)
}

fn set(table: &mut dyn toml_edit::TableLike, last: &str, value: Option<&EditValue>) -> Option<()> {
    let Some(value) = value else {
        table.remove(last);
        return Some(());
    };
    match table.get_mut(last) {
        // A figure in table form keeps kind and source; only its value changes.
        Some(item) if item.as_table_like().is_some_and(|inner| inner.contains_key("value")) => {
            set(item.as_table_like_mut()?, "value", Some(value))
        }
        Some(Item::Value(old)) => {
            let mut new = toml_value(value);
            // The comment after the old value stays.
            *new.decor_mut() = old.decor().clone();
            *old = new;
            Some(())
        }
        Some(_) => None,
        None => {
            table.insert(last, Item::Value(toml_value(value)));
            Some(())
        }
    }
}

fn toml_value(value: &EditValue) -> Value {
    match value {
        EditValue::Text(text) => Value::from(text.as_str()),
        EditValue::Whole(number) => Value::from(*number),
        EditValue::List(texts) => Value::Array(texts.iter().map(String::as_str).collect()),
    }
}
