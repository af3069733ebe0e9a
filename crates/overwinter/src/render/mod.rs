//! Reports as text for people. Every function writes into a `String`; `main` prints it.

pub(crate) mod bill;
pub(crate) mod choice;
pub(crate) mod columns;
pub(crate) mod forecast;
pub(crate) mod measure;
pub(crate) mod measure_csv;
mod measure_more;
pub(crate) mod sun;
pub(crate) mod sun_csv;
pub(crate) mod table;
pub(crate) mod trace;
pub(crate) mod trace_csv;
pub(crate) mod trace_more;

use anstyle::{AnsiColor, Style};
use overwinter_workbench::report::{CellValue, Truth};
use overwinter_workbench::text::percent;

/// Headings.
pub(crate) const HEADING: Style = Style::new().bold();
/// What is unknown or beside the point.
pub(crate) const DIM: Style = Style::new().dimmed();
/// What asks for care; never the only sign.
pub(crate) const CARE: Style = Style::new().fg_color(Some(anstyle::Color::Ansi(AnsiColor::Yellow)));

/// A styled text; `anstream` takes the style away where colour is not wanted.
pub(crate) fn styled(style: Style, text: &str) -> String {
    format!("{style}{text}{style:#}")
}

/// Width to fill: the terminal's, at most 160; 100 where there is no terminal.
pub(crate) fn width() -> usize {
    terminal_size::terminal_size().map_or(100, |(w, _)| usize::from(w.0)).clamp(40, 160)
}

/// One cell of the comparison table in words.
pub(crate) fn cell_text(cell: &CellValue) -> String {
    match cell {
        CellValue::Unknown | CellValue::Trait(Truth::Unknown) => "unknown".to_owned(),
        CellValue::NotApplicable => "–".to_owned(),
        CellValue::Text(text) | CellValue::Number { text, .. } => text.clone(),
        CellValue::Figure(figure) => figure.text.replace(" (k = 2)", ""),
        CellValue::Trait(Truth::Yes) => "yes".to_owned(),
        CellValue::Trait(Truth::No) => "no".to_owned(),
        CellValue::Trait(Truth::InferredYes(sure)) => format!("yes? {}", percent(*sure)),
        CellValue::Trait(Truth::InferredNo(sure)) => format!("no? {}", percent(*sure)),
    }
}

/// A text broken to the width, each line after the first indented.
pub(crate) fn wrap(text: &str, indent: usize) -> String {
    let limit = width().saturating_sub(indent).max(20);
    let mut lines: Vec<String> = vec![String::new()];
    for word in text.split(' ') {
        let last = lines.last_mut().expect("never empty");
        if !last.is_empty() && last.chars().count() + 1 + word.chars().count() > limit {
            lines.push(word.to_owned());
        } else {
            if !last.is_empty() {
                last.push(' ');
            }
            last.push_str(word);
        }
    }
    lines.join(&format!("\n{}", " ".repeat(indent)))
}

/// A bullet list with a heading; nothing for an empty list.
pub(crate) fn list(heading: &str, items: &[String]) -> String {
    if items.is_empty() {
        return String::new();
    }
    let mut text = format!("\n{}\n", styled(HEADING, heading));
    for item in items {
        text.push_str(&format!("  · {}\n", wrap(item, 4)));
    }
    text
}
