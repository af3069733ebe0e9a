//! Places: from a key path to the bytes of the text, so that the types need not carry spans.

use std::fmt;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// One step of a key path.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize)]
#[serde(untagged)]
pub enum Step {
    /// A key of a table.
    Key(String),
    /// A place in an array.
    Index(usize),
}

/// Where in a document: `board.specimens[0].id`.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize)]
pub struct KeyPath(pub Vec<Step>);

impl KeyPath {
    /// The document itself.
    pub fn root() -> Self {
        Self::default()
    }

    /// Reads `board.specimens[0].id` (keys without dots and brackets).
    pub fn parse(text: &str) -> Self {
        let mut path = Self::root();
        for part in text.split('.') {
            let mut pieces = part.split('[');
            if let Some(key) = pieces.next().filter(|key| !key.is_empty()) {
                path = path.key(key);
            }
            for index in pieces {
                if let Ok(index) = index.trim_end_matches(']').parse() {
                    path = path.index(index);
                }
            }
        }
        path
    }

    /// Whether a key of this name lies on the way.
    #[cfg(feature = "findings")]
    pub(crate) fn has(&self, key: &str) -> bool {
        self.0.iter().any(|step| matches!(step, Step::Key(at) if at == key))
    }

    /// One key deeper.
    #[must_use]
    pub fn key(&self, key: &str) -> Self {
        let mut steps = self.0.clone();
        steps.push(Step::Key(key.to_owned()));
        Self(steps)
    }

    /// One place of an array deeper.
    #[must_use]
    pub fn index(&self, index: usize) -> Self {
        let mut steps = self.0.clone();
        steps.push(Step::Index(index));
        Self(steps)
    }
}

impl fmt::Display for KeyPath {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, step) in self.0.iter().enumerate() {
            match step {
                Step::Key(key) if place == 0 => f.write_str(key)?,
                Step::Key(key) => write!(f, ".{key}")?,
                Step::Index(index) => write!(f, "[{index}]")?,
            }
        }
        Ok(())
    }
}

/// The table of a text, with the place of every key and value.
pub(crate) fn parse_table(text: &str) -> Result<Spanned<DeTable<'_>>, toml::de::Error> {
    DeTable::parse(text)
}

/// The bytes of the value at `path`; of its nearest table where the key is not there; of the key where the value is a table.
pub fn locate(text: &str, path: &KeyPath) -> Option<Range<usize>> {
    let root = parse_table(text).ok()?;
    let mut place: Range<usize> = 0..text.len().min(1);
    let mut table: Option<&DeTable<'_>> = Some(root.get_ref());
    let mut value: Option<&DeValue<'_>> = None;
    for step in &path.0 {
        match step {
            Step::Key(key) => {
                let Some((found_key, found)) =
                    table.and_then(|table| table.get_key_value(key.as_str()))
                else {
                    return Some(place);
                };
                let is_table = matches!(found.get_ref(), DeValue::Table(_) | DeValue::Array(_));
                place = if is_table { found_key.span() } else { found.span() };
                value = Some(found.get_ref());
            }
            Step::Index(index) => {
                let element = value.and_then(|value| match value {
                    DeValue::Array(array) => array.get(*index),
                    _ => None,
                });
                let Some(element) = element else { return Some(place) };
                // The place of an element of an array of tables is its first key; of others the element itself.
                place = match element.get_ref() {
                    DeValue::Table(table) => table
                        .iter()
                        .map(|(key, _)| key.span())
                        .min_by_key(|span| span.start)
                        .unwrap_or_else(|| element.span()),
                    _ => element.span(),
                };
                value = Some(element.get_ref());
            }
        }
        table = match value {
            Some(DeValue::Table(table)) => Some(table),
            _ => None,
        };
    }
    Some(place)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_values_keys_and_elements() {
        let text = "[board]\nname = \"A\"\n[[board.specimens]]\nid = \"A-1\"\n[board.traits]\nbuttons = [\"x\", \"y\"]\n";
        let at = |path: &str| &text[locate(text, &KeyPath::parse(path)).unwrap()];
        assert_eq!(at("board.name"), "\"A\"");
        assert_eq!(at("board.specimens[0].id"), "\"A-1\"");
        assert_eq!(at("board.specimens[0]"), "id");
        assert_eq!(at("board.traits.buttons[1]"), "\"y\"");
        assert_eq!(at("board.traits"), "traits");
        assert_eq!(at("board.traits.missing"), "traits", "the nearest table");
        assert_eq!(KeyPath::parse("board.specimens[0].id").to_string(), "board.specimens[0].id");
    }
}
