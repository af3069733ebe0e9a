//! A person's document with the values of another text: comments, order and spelling of all that stays are kept.

use toml_edit::{Array, ArrayOfTables, DocumentMut, Item, Table, TableLike, Value};

use crate::error::StoreError;

/// The text `was` with the values of `wanted`. What both say alike is left as it stands in `was`, with its comments; what
/// only `was` says goes, what only `wanted` says comes. A form may therefore write its document anew, without comments and
/// in an order of its own.
///
/// # Errors
/// One of the two is no TOML.
pub fn rewrite_text(file: &str, was: &str, wanted: &str) -> Result<String, StoreError> {
    let parse = |text: &str| {
        text.parse::<DocumentMut>().map_err(|error| StoreError::NotToml {
            file: file.to_owned(),
            reason: error.message().to_owned(),
        })
    };
    let mut document = parse(was)?;
    let wanted = parse(wanted)?;
    tables(document.as_table_mut(), wanted.as_table());
    Ok(document.to_string())
}

fn tables(old: &mut dyn TableLike, new: &dyn TableLike) {
    let gone: Vec<String> = old
        .iter()
        .map(|(key, _)| key.to_owned())
        .filter(|key| new.get(key).is_none_or(Item::is_none))
        .collect();
    for key in gone {
        old.remove(&key);
    }
    for (key, wanted) in new.iter() {
        match old.get_mut(key).filter(|item| !item.is_none()) {
            Some(item) => {
                if !merge(item, wanted) {
                    let fresh = fresh(wanted);
                    *item = fresh;
                }
            }
            None => {
                old.insert(key, fresh(wanted));
            }
        }
    }
}

/// Brings `old` to the value of `new` where both are of a kind; `false` where it has to be put in its place.
fn merge(old: &mut Item, new: &Item) -> bool {
    if let (Some(_), Some(wanted)) = (old.as_table_like(), new.as_table_like()) {
        if let Some(own) = old.as_table_like_mut() {
            tables(own, wanted);
        }
        return true;
    }
    if let Item::ArrayOfTables(own) = old {
        let Some(wanted) = rows(new) else { return false };
        merge_rows(own, &wanted);
        return true;
    }
    if let (Item::Value(Value::Array(own)), Some(wanted)) = (&mut *old, rows(new))
        && own.iter().all(Value::is_inline_table)
        && !own.is_empty()
        && !wanted.is_empty()
    {
        merge_inline(own, &wanted);
        return true;
    }
    let (Item::Value(own), Some(wanted)) = (old, new.as_value()) else { return false };
    if !alike(own, wanted) {
        let mut wanted = wanted.clone();
        // The comment after the old value stays.
        *wanted.decor_mut() = own.decor().clone();
        *own = wanted;
    }
    true
}

/// The tables of a list, whichever way it is written.
fn rows(item: &Item) -> Option<Vec<&dyn TableLike>> {
    match item {
        Item::ArrayOfTables(list) => {
            Some(list.iter().map(|table| table as &dyn TableLike).collect())
        }
        Item::Value(Value::Array(list)) => list
            .iter()
            .map(|value| value.as_inline_table().map(|table| table as &dyn TableLike))
            .collect(),
        _ => None,
    }
}

/// How many rows at the start and how many at the end say the same; those between are matched in order.
fn kept<'a>(
    old: &[Vec<(String, String)>],
    new: impl Fn(usize) -> Vec<(String, String)> + 'a,
    count: usize,
) -> (usize, usize) {
    let most = old.len().min(count);
    let head = (0..most).take_while(|&k| old[k] == new(k)).count();
    let tail =
        (0..most - head).take_while(|&k| old[old.len() - 1 - k] == new(count - 1 - k)).count();
    (head, tail)
}

fn merge_rows(own: &mut ArrayOfTables, wanted: &[&dyn TableLike]) {
    let said: Vec<_> = own.iter().map(|table| plain(table)).collect();
    let (head, tail) = kept(&said, |k| plain(wanted[k]), wanted.len());
    let mut all: Vec<Table> = own.iter().cloned().collect();
    let rest = all.split_off(all.len() - tail);
    let mut middle = all.split_off(head);
    middle.truncate(wanted.len() - head - tail);
    for (table, wanted) in middle.iter_mut().zip(&wanted[head..]) {
        tables(table, *wanted);
    }
    let added = wanted[head + middle.len()..wanted.len() - tail].iter();
    middle.extend(added.map(|wanted| fresh_table(*wanted)));
    own.clear();
    for table in all.into_iter().chain(middle).chain(rest) {
        own.push(table);
    }
}

fn merge_inline(own: &mut Array, wanted: &[&dyn TableLike]) {
    let said: Vec<_> = own.iter().filter_map(Value::as_inline_table).map(|t| plain(t)).collect();
    let (head, tail) = kept(&said, |k| plain(wanted[k]), wanted.len());
    while own.len() > wanted.len() {
        own.remove(own.len() - 1 - tail);
    }
    while own.len() < wanted.len() {
        own.insert(own.len() - tail, toml_edit::InlineTable::new());
    }
    for (k, wanted) in wanted.iter().enumerate().take(wanted.len() - tail).skip(head) {
        if let Some(table) = own.get_mut(k).and_then(Value::as_inline_table_mut) {
            tables(table, *wanted);
        }
    }
}

/// What a table says, without its spelling.
fn plain(table: &dyn TableLike) -> Vec<(String, String)> {
    let mut all: Vec<(String, String)> =
        table.iter().map(|(key, item)| (key.to_owned(), plain_item(item))).collect();
    all.sort();
    all
}

fn plain_item(item: &Item) -> String {
    if let Some(rows) = rows(item).filter(|rows| !rows.is_empty()) {
        return format!("{:?}", rows.into_iter().map(plain).collect::<Vec<_>>());
    }
    if let Some(table) = item.as_table_like() {
        return format!("{:?}", plain(table));
    }
    item.as_value().map_or_else(String::new, plain_value)
}

fn plain_value(value: &Value) -> String {
    match value {
        Value::String(text) => format!("{:?}", text.value()),
        Value::Integer(number) => number.value().to_string(),
        Value::Float(number) => number.value().to_string(),
        Value::Boolean(truth) => truth.value().to_string(),
        Value::Datetime(moment) => moment.value().to_string(),
        Value::Array(list) => format!("{:?}", list.iter().map(plain_value).collect::<Vec<_>>()),
        Value::InlineTable(table) => format!("{:?}", plain(table)),
    }
}

fn alike(a: &Value, b: &Value) -> bool {
    plain_value(a) == plain_value(b)
}

/// A copy that stands where it is put, not where it stood.
fn fresh(item: &Item) -> Item {
    match item {
        Item::Table(table) => Item::Table(fresh_table(table)),
        Item::ArrayOfTables(list) => {
            Item::ArrayOfTables(list.iter().map(|table| fresh_table(table)).collect())
        }
        other => other.clone(),
    }
}

fn fresh_table(table: &dyn TableLike) -> Table {
    let mut new = Table::new();
    for (key, item) in table.iter() {
        new.insert(key, fresh(item));
    }
    new
}

#[cfg(test)]
mod tests {
    use super::*;

    const WAS: &str = "# first\n[board]\nname = 'A' # its name\nprice = \"5.00 EUR\"\n\n# what is seen\n[board.traits]\npins = 11 # counted\ncharger = \"unknown\"\n\n# one\n[[board.specimens]]\nid = \"A-1\" # label\n\n# two\n[[board.specimens]]\nid = \"A-2\"\n";

    fn rewritten(wanted: &str) -> String {
        rewrite_text("boards/a.toml", WAS, wanted).unwrap()
    }

    #[test]
    fn the_same_values_change_nothing() {
        let same = "[board]\nprice = '5.00 EUR'\nname = \"A\"\nspecimens = [{ id = \"A-1\" }, { id = \"A-2\" }]\ntraits = { charger = \"unknown\", pins = 11 }\n";
        assert_eq!(rewritten(same), WAS);
    }

    #[test]
    fn a_change_keeps_every_comment() {
        let wanted = "[board]\nname = \"A\"\n[board.traits]\npins = 12\ncharger = \"yes\"\nwidth = \"20 mm\"\n[[board.specimens]]\nid = \"A-1\"\nnote = \"chipped\"\n[[board.specimens]]\nid = \"A-2\"\n[[board.specimens]]\nid = \"A-3\"\n";
        let text = rewritten(wanted);
        for kept in [
            "# first",
            "name = 'A' # its name",
            "pins = 12 # counted",
            "charger = \"yes\"",
            "width = \"20 mm\"",
            "# one",
            "id = \"A-1\" # label\nnote = \"chipped\"",
            "# two\n[[board.specimens]]\nid = \"A-2\"",
            "[[board.specimens]]\nid = \"A-3\"",
        ] {
            assert!(text.contains(kept), "{kept} in\n{text}");
        }
        assert!(!text.contains("price"), "{text}");
        assert_eq!(
            rewrite_text("a", &text, wanted).unwrap(),
            text,
            "a second time nothing changes"
        );
    }

    #[test]
    fn an_element_taken_out_takes_its_own_comment() {
        let text = rewritten(
            "[board]\nname = \"A\"\nprice = \"5.00 EUR\"\n[board.traits]\npins = 11\ncharger = \"unknown\"\n[[board.specimens]]\nid = \"A-2\"\n",
        );
        assert!(text.contains("# two") && !text.contains("A-1"), "{text}");
    }

    #[test]
    fn what_is_no_toml_is_told() {
        assert!(matches!(rewrite_text("a", "[x", "y = 1"), Err(StoreError::NotToml { .. })));
    }
}
