//! One element of a list of tables, put in by name: replaced where it is there, added at the end where it is not. Comments stay.

use overwinter_documents::parse_document;
use toml_edit::{ArrayOfTables, DocumentMut, InlineTable, Item, Table, TableLike, Value};

use crate::error::StoreError;

/// A value of an element.
#[derive(Clone, Debug, PartialEq)]
pub enum Field {
    /// A text.
    Text(String),
    /// A whole number.
    Whole(i64),
    /// A small table of texts, written on one line.
    Table(Vec<(&'static str, String)>),
    /// A list of small tables, written on one line each.
    List(Vec<Vec<(&'static str, Field)>>),
    /// The key is taken out.
    Absent,
}

impl Field {
    fn value(&self) -> Option<Value> {
        Some(match self {
            Self::Text(text) => Value::from(text.as_str()),
            Self::Whole(number) => Value::from(*number),
            Self::Table(pairs) => {
                let mut table = InlineTable::new();
                for (key, text) in pairs {
                    table.insert(*key, Value::from(text.as_str()));
                }
                Value::InlineTable(table)
            }
            Self::List(rows) => {
                let mut array = toml_edit::Array::new();
                for row in rows {
                    let mut table = InlineTable::new();
                    for (key, field) in row {
                        if let Some(value) = field.value() {
                            table.insert(*key, value);
                        }
                    }
                    let mut value = Value::InlineTable(table);
                    value.decor_mut().set_prefix("\n  ");
                    array.push_formatted(value);
                }
                array.set_trailing("\n");
                array.set_trailing_comma(true);
                Value::Array(array)
            }
            Self::Absent => return None,
        })
    }
}

/// Puts an element into the list `list` of the document's only table `table`: the one whose `key` says `name` gets the fields, other
/// keys and comments of it stay; else a new one is added, with `key` first.
///
/// The result says whether it was new.
///
/// # Errors
/// The text is no TOML, the list is none, or the result would be no document of `file`'s kind.
pub fn put_in_list(
    file: &str,
    text: &str,
    (table, list): (&str, &str),
    (key, name): (&str, &str),
    fields: &[(&str, Field)],
) -> Result<(String, bool), StoreError> {
    let mut document: DocumentMut = text.parse().map_err(|error: toml_edit::TomlError| {
        StoreError::NotToml { file: file.to_owned(), reason: error.message().to_owned() }
    })?;
    let new = put(&mut document, (table, list), (key, name), fields).ok_or_else(|| {
        StoreError::NoPlace { file: file.to_owned(), key: format!("{table}.{list}") }
    })?;
    let after = document.to_string();
    if let Err(errors) = parse_document(file, &after)
        && let Some(first) = errors.into_iter().next()
    {
        return Err(StoreError::WouldBreak { file: file.to_owned(), diagnostic: Box::new(first) });
    }
    Ok((after, new))
}

fn put(
    document: &mut DocumentMut,
    (table, list): (&str, &str),
    (key, name): (&str, &str),
    fields: &[(&str, Field)],
) -> Option<bool> {
    let table = document.get_mut(table)?.as_table_like_mut()?;
    if !table.contains_key(list) {
        table.insert(list, Item::ArrayOfTables(ArrayOfTables::new()));
    }
    let named = |element: &dyn TableLike| {
        element.get(key).and_then(Item::as_str).is_some_and(|text| text == name)
    };
    match table.get_mut(list)? {
        Item::ArrayOfTables(elements) => {
            if let Some(element) = elements.iter_mut().find(|element| named(*element)) {
                fill(element, fields);
                return Some(false);
            }
            let mut element = Table::new();
            element.insert(key, toml_edit::value(name));
            fill(&mut element, fields);
            elements.push(element);
        }
        Item::Value(Value::Array(elements)) => {
            for element in elements.iter_mut() {
                let element = element.as_inline_table_mut()?;
                if named(element) {
                    fill(element, fields);
                    return Some(false);
                }
            }
            let mut element = InlineTable::new();
            element.insert(key, Value::from(name));
            fill(&mut element, fields);
            elements.push(element);
        }
        _ => return None,
    }
    Some(true)
}

fn fill(element: &mut dyn TableLike, fields: &[(&str, Field)]) {
    for (key, field) in fields {
        let Some(mut value) = field.value() else {
            element.remove(key);
            continue;
        };
        match element.get_mut(key) {
            Some(Item::Value(old)) => {
                // The comment after the old value stays.
                *value.decor_mut() = old.decor().clone();
                *old = value;
            }
            Some(item) => *item = Item::Value(value),
            None => {
                element.insert(key, Item::Value(value));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PROJECT: &str = "# mine\n[project]\nname = \"p\"\ncell = \"c\"\n\n# what it does\n[[project.activities]]\nname = \"report\" # to the hut\nevery = \"15 min\" # by law\ncharge = \"190 mC\" # old\nduration = \"2 s\"\n";

    #[test]
    fn comments_and_other_keys_stay() {
        let charge = Field::Table(vec![("value", "171 mC".into()), ("source", "a trace".into())]);
        let (text, new) = put_in_list(
            "projects/p.toml",
            PROJECT,
            ("project", "activities"),
            ("name", "report"),
            &[("charge", charge), ("segments", Field::Absent)],
        )
        .unwrap();
        assert!(!new);
        assert!(text.contains("every = \"15 min\" # by law\n"), "{text}");
        assert!(
            text.contains("charge = { value = \"171 mC\", source = \"a trace\" } # old\n"),
            "{text}"
        );
        assert!(text.starts_with("# mine\n") && text.contains("# what it does\n"));
    }

    #[test]
    fn what_is_not_there_is_added_and_what_would_break_is_refused() {
        let fields = [
            ("every", Field::Text("1 h".into())),
            ("charge", Field::Text("5 mC".into())),
            ("duration", Field::Text("1 s".into())),
        ];
        let place = ("project", "activities");
        let (text, new) =
            put_in_list("projects/p.toml", PROJECT, place, ("name", "wake B"), &fields).unwrap();
        assert!(new && text.ends_with("[[project.activities]]\nname = \"wake B\"\nevery = \"1 h\"\ncharge = \"5 mC\"\nduration = \"1 s\"\n"), "{text}");
        let wrong = [("charge", Field::Text("5 V".into()))];
        let refused = put_in_list("projects/p.toml", PROJECT, place, ("name", "report"), &wrong);
        assert!(matches!(refused, Err(StoreError::WouldBreak { .. })), "{refused:?}");
    }
}
