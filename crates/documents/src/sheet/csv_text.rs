//! The table as CSV text, in the ways spreadsheets like it.

use crate::sheet::{Content, Sheet};

/// How a spreadsheet wants its CSV.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Dialect {
    /// The delimiter: `,`, `;` or a tab.
    pub delimiter: u8,
    /// The decimal point is a comma.
    pub decimal_comma: bool,
    /// Lines end with carriage return and line feed.
    pub carriage_return: bool,
    /// A byte order mark stands in front, which some spreadsheets need to see UTF-8.
    pub byte_order_mark: bool,
}

impl Dialect {
    /// Comma and point.
    pub const PLAIN: Self = Self {
        delimiter: b',',
        decimal_comma: false,
        carriage_return: false,
        byte_order_mark: false,
    };
    /// Semicolon and decimal comma, with byte order mark and carriage returns: what spreadsheets of much of Europe write.
    pub const EUROPEAN: Self =
        Self { delimiter: b';', decimal_comma: true, carriage_return: true, byte_order_mark: true };
}

/// What a cell shows.
pub(super) fn shown(content: &Content, dialect: Dialect) -> String {
    match content {
        Content::Unknown => "unknown".to_owned(),
        Content::Empty => String::new(),
        Content::Text(text) => guarded(text),
        Content::Number(number) if !number.is_finite() => "unknown".to_owned(),
        Content::Number(number) => {
            let text = tidy(*number);
            if dialect.decimal_comma { text.replace('.', ",") } else { text }
        }
    }
}

/// Ten significant figures without the noise of binary fractions.
fn tidy(number: f64) -> String {
    let rounded: f64 = format!("{number:.9e}").parse().unwrap_or(number);
    rounded.to_string()
}

/// A text that a spreadsheet would take for a formula gets an apostrophe in front, as does one that begins with an
/// apostrophe, so that [`unguarded`] can take exactly one away.
fn guarded(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\'']) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}

/// Takes the apostrophe of [`guarded`] away.
pub(super) fn unguarded(text: &str) -> &str {
    text.strip_prefix('\'').unwrap_or(text)
}

/// The table as CSV.
pub fn write_csv(sheet: &Sheet, dialect: Dialect) -> String {
    let mut out = String::new();
    if dialect.byte_order_mark {
        out.push('\u{feff}');
    }
    let line_end = if dialect.carriage_return { "\r\n" } else { "\n" };
    let delimiter = char::from(dialect.delimiter);
    let mut line = |cells: &mut dyn Iterator<Item = String>| {
        for (index, cell) in cells.enumerate() {
            if index > 0 {
                out.push(delimiter);
            }
            let needs_quotes = cell.contains(['"', '\n', '\r', delimiter])
                || cell.starts_with('\'')
                || cell.starts_with(char::is_whitespace)
                || cell.ends_with(char::is_whitespace);
            if needs_quotes {
                out.push('"');
                out.push_str(&cell.replace('"', "\"\""));
                out.push('"');
            } else {
                out.push_str(&cell);
            }
        }
        out.push_str(line_end);
    };
    line(&mut sheet.columns.iter().map(|column| guarded(&column.header())));
    for row in &sheet.rows {
        line(&mut row.iter().map(|cell| shown(&cell.content, dialect)));
    }
    out
}
