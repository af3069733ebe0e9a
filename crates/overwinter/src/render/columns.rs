//! Aligned columns of text: wraps at blanks only, never inside a word, and runs over the width rather than tear one.

use anstyle::Style;
use unicode_width::UnicodeWidthStr;

use super::{HEADING, styled};

/// Blanks between columns.
const GAP: usize = 2;

/// A cell: its text and how it is drawn.
#[derive(Clone, Default)]
pub(crate) struct Cell {
    text: String,
    style: Option<Style>,
}

impl<T: Into<String>> From<T> for Cell {
    fn from(text: T) -> Self {
        Self { text: bound(&text.into()), style: None }
    }
}

/// Keeps a number and its unit on one line: the blank between them becomes one that does not break.
fn bound(text: &str) -> String {
    let characters: Vec<char> = text.chars().collect();
    let unit = |at: usize| {
        let word: Vec<&char> = characters[at..].iter().take_while(|c| **c != ' ').collect();
        word.len() <= 4 && word.first().is_some_and(|c| c.is_alphabetic() || **c == '%')
    };
    (0..characters.len())
        .map(|k| match characters[k] {
            ' ' if k > 0 && characters[k - 1].is_ascii_digit() && unit(k + 1) => '\u{a0}',
            c => c,
        })
        .collect()
}

impl Cell {
    /// A styled cell.
    pub(crate) fn styled(style: Style, text: impl Into<String>) -> Self {
        Self { text: bound(&text.into()), style: Some(style) }
    }
}

/// Rows of cells under headings.
pub(crate) struct Columns {
    rows: Vec<Vec<Cell>>,
    headed: bool,
    right: Vec<usize>,
    fixed: Vec<usize>,
}

impl Columns {
    /// Columns with headings; none for a plain list.
    pub(crate) fn new(headings: &[&str]) -> Self {
        let headed = !headings.is_empty();
        let rows = if headed {
            vec![headings.iter().map(|h| Cell::styled(HEADING, *h)).collect()]
        } else {
            Vec::new()
        };
        Self { rows, headed, right: Vec::new(), fixed: Vec::new() }
    }

    /// Adds a row.
    pub(crate) fn row<C: Into<Cell>>(&mut self, cells: impl IntoIterator<Item = C>) {
        self.rows.push(cells.into_iter().map(Into::into).collect());
    }

    /// Aligns columns to the right.
    pub(crate) fn right(mut self, columns: &[usize]) -> Self {
        self.right.extend(columns);
        self
    }

    /// Columns of figures and drawings: only their headings wrap.
    pub(crate) fn fixed_below_heading(mut self, columns: &[usize]) -> Self {
        self.fixed.extend(columns);
        self
    }

    fn is_fixed(&self, row: usize, column: usize) -> bool {
        self.fixed.contains(&column) && !(self.headed && row == 0)
    }

    /// The lines within `width`, if words allow.
    pub(crate) fn text(&self, width: usize) -> String {
        let count = self.rows.iter().map(Vec::len).max().unwrap_or(0);
        let mut natural = vec![0; count];
        let mut least = vec![0; count];
        for (index, row) in self.rows.iter().enumerate() {
            for (k, cell) in row.iter().enumerate() {
                let whole = cell.text.width();
                natural[k] = natural[k].max(whole);
                let word = cell.text.split(' ').map(UnicodeWidthStr::width).max().unwrap_or(0);
                least[k] = least[k].max(if self.is_fixed(index, k) { whole } else { word });
            }
        }
        let widths = fit(&natural, &least, width.saturating_sub(GAP * count.saturating_sub(1)));
        let mut text = String::new();
        for (index, row) in self.rows.iter().enumerate() {
            let wrapped: Vec<Vec<String>> = (0..count)
                .map(|k| {
                    row.get(k).map_or_else(Vec::new, |c| {
                        wrap(&c.text, widths[k], self.is_fixed(index, k))
                    })
                })
                .collect();
            let height = wrapped.iter().map(Vec::len).max().unwrap_or(0).max(1);
            // Headings stand on their last line, so that short ones are next to their column.
            let heading = self.headed && index == 0;
            for line in 0..height {
                let mut drawn = String::new();
                for (k, lines) in wrapped.iter().enumerate() {
                    let skip = if heading { height - lines.len().min(height) } else { 0 };
                    let part = line
                        .checked_sub(skip)
                        .and_then(|l| lines.get(l))
                        .map_or("", String::as_str);
                    let pad = " ".repeat(widths[k].saturating_sub(part.width()));
                    let shown = match row.get(k).and_then(|c| c.style) {
                        Some(style) if !part.is_empty() => styled(style, part),
                        _ => part.to_owned(),
                    };
                    if self.right.contains(&k) {
                        drawn.push_str(&pad);
                        drawn.push_str(&shown);
                    } else {
                        drawn.push_str(&shown);
                        drawn.push_str(&pad);
                    }
                    if k + 1 < count {
                        drawn.push_str(&" ".repeat(GAP));
                    }
                }
                text.push_str(drawn.trim_end());
                text.push('\n');
            }
        }
        text
    }
}

/// Narrows the widest columns step by step until all fit, none below its longest word.
fn fit(natural: &[usize], least: &[usize], room: usize) -> Vec<usize> {
    let mut widths = natural.to_vec();
    while widths.iter().sum::<usize>() > room {
        let widest = (0..widths.len()).filter(|&k| widths[k] > least[k]).max_by_key(|&k| widths[k]);
        match widest {
            Some(k) => widths[k] -= 1,
            None => break,
        }
    }
    widths
}

fn wrap(text: &str, width: usize, fixed: bool) -> Vec<String> {
    if fixed || text.width() <= width {
        return vec![text.to_owned()];
    }
    let mut lines = vec![String::new()];
    for word in text.split(' ') {
        let last = lines.last_mut().expect("never empty");
        if !last.is_empty() && last.width() + 1 + word.width() > width {
            lines.push(word.to_owned());
        } else {
            if !last.is_empty() {
                last.push(' ');
            }
            last.push_str(word);
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_never_torn_and_columns_align() {
        let mut columns = Columns::new(&["board", "what it is"]).right(&[0]);
        columns.row(["REEF", "a bridge on the rail"]);
        let text = columns.text(16);
        let plain: Vec<String> =
            text.lines().map(|l| anstream::adapter::strip_str(l).to_string()).collect();
        assert_eq!(
            plain,
            ["       what it", "board  is", " REEF  a bridge", "       on the", "       rail"]
        );
        assert!(columns.text(1).contains("REEF"), "too narrow a width tears nothing");
    }
}
