//! Diagnostics as text: file, line, column, the place underlined, help.

use annotate_snippets::{AnnotationKind, Group, Level, Origin, Renderer, Snippet};

use crate::diagnostic::{Diagnostic, Place, Severity};

/// Whether colours are wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Style {
    /// Plain text.
    Plain,
    /// With terminal colours.
    Coloured,
}

/// A diagnostic drawn for a terminal or a log.
pub fn render(diagnostic: &Diagnostic, style: Style) -> String {
    let level = match diagnostic.severity {
        Severity::Error => Level::ERROR,
        Severity::Danger => Level::ERROR.with_name("danger"),
        Severity::Warning => Level::WARNING,
        Severity::Note => Level::NOTE,
    };
    let title = level.primary_title(shown(&diagnostic.message)).id(diagnostic.code);
    let mut group = match (&diagnostic.file, &diagnostic.span) {
        (Some(file), Some(place)) => title.element(snippet(file, place)),
        (Some(file), None) => title.element(Origin::path(shown(file))),
        (None, _) => Group::with_title(title),
    };
    if let Some(help) = &diagnostic.help {
        group = group.element(Level::HELP.message(shown(help)));
    }
    let renderer = match style {
        Style::Plain => Renderer::plain(),
        Style::Coloured => Renderer::styled(),
    };
    renderer.render(&[group])
}

fn snippet<'a>(file: &str, place: &'a Place) -> Snippet<'a, annotate_snippets::Annotation<'a>> {
    let length = place.excerpt.len();
    let start = place.start.saturating_sub(place.excerpt_start).min(length);
    let end = place.end.saturating_sub(place.excerpt_start).clamp(start, length);
    // A place of no length (the end of a file) is drawn one character wide.
    let end = if end == start { next_boundary(&place.excerpt, start) } else { end };
    Snippet::source(&*place.excerpt)
        .line_start(place.excerpt_line)
        .path(shown(file))
        .annotation(AnnotationKind::Primary.span(start..end))
}

fn next_boundary(text: &str, at: usize) -> usize {
    text[at..].chars().next().map_or(at, |c| at + c.len_utf8())
}

/// Control characters of hostile names and texts made visible, so that they cannot steer the terminal.
fn shown(text: &str) -> String {
    if !text.chars().any(char::is_control) {
        return text.to_owned();
    }
    text.chars()
        .map(|c| if c.is_control() { c.escape_default().to_string() } else { c.to_string() })
        .collect()
}
