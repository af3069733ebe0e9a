//! From a TOML or serde error to a diagnostic that says what, where, and how to mend it.

use std::ops::Range;

use overwinter_quantity::ParseError;

use crate::choice::did_you_mean;
use crate::diagnostic::{Diagnostic, Severity};
use crate::reader::Faulty;

/// The diagnostic of a TOML error.
pub(crate) fn diagnostic_of(error: &Faulty, path: &str, text: &str) -> Diagnostic {
    let span = error.0.span.clone().unwrap_or(0..text.len().min(1));
    let raw = error.0.message.as_str();
    if let Some((message, inner, help)) = ParseError::split_line(raw) {
        let span = inside_string(text, &span, &inner, message);
        return Diagnostic::new("value", Severity::Error, message).at(path, text, span).help(help);
    }
    let (code, message, help) = explain(raw);
    let diagnostic = Diagnostic::new(code, Severity::Error, message).at(path, text, span);
    match help {
        Some(help) => diagnostic.help(help),
        None => diagnostic,
    }
}

/// The bytes of a part of a string's content, where the string is written without escapes.
fn inside_string(
    text: &str,
    span: &Range<usize>,
    inner: &Range<usize>,
    message: &str,
) -> Range<usize> {
    let Some(raw) = text.get(span.clone()) else { return span.clone() };
    // A word inside `{ maximise = "…" }`: the error's place is the table, the word is quoted in the message.
    if raw.starts_with('{') {
        let word =
            message.strip_prefix('"').and_then(|rest| rest.split_once('"')).map(|(word, _)| word);
        let found =
            word.and_then(|word| raw.find(&format!("\"{word}\"")).map(|at| (at, word.len())));
        return match found {
            Some((at, length)) => span.start + at + 1..span.start + at + 1 + length,
            None => span.clone(),
        };
    }
    let quoted =
        raw.len() >= 2 && (raw.starts_with('"') || raw.starts_with('\'')) && !raw.contains('\\');
    if !quoted || raw.starts_with("\"\"\"") || raw.starts_with("'''") || inner.end + 2 > raw.len() {
        return span.clone();
    }
    let start = span.start + 1 + inner.start;
    let end = span.start + 1 + inner.end.max(inner.start + 1);
    start..end.min(span.end)
}

/// Message and help of serde's and TOML's own messages.
fn explain(raw: &str) -> (&'static str, String, Option<String>) {
    if let Some(rest) = raw.strip_prefix("unknown field `") {
        let (key, rest) = rest.split_once('`').unwrap_or((rest, ""));
        let known: Vec<&str> = backticked(rest);
        let help = match did_you_mean(key, known.iter().copied()) {
            Some(meant) => {
                format!("did you mean `{meant}`? Keys that fit here: {}", known.join(", "))
            }
            None if known.is_empty() => "no key fits here".to_owned(),
            None => format!("keys that fit here: {}", known.join(", ")),
        };
        return ("unknown-key", format!("the key `{key}` is not known here"), Some(help));
    }
    if let Some(rest) = raw.strip_prefix("unknown variant `") {
        let (key, rest) = rest.split_once('`').unwrap_or((rest, ""));
        let known: Vec<&str> = backticked(rest);
        let help = match did_you_mean(key, known.iter().copied()) {
            Some(meant) => format!("did you mean `{meant}`? One of {} fits", known.join(", ")),
            None => format!("one of {} fits", known.join(", ")),
        };
        return ("unknown-word", format!("`{key}` is not known here"), Some(help));
    }
    if let Some(rest) = raw.strip_prefix("missing field `") {
        let key = rest.trim_end_matches('`');
        return (
            "missing-key",
            format!("the key `{key}` is missing here"),
            Some(format!("add a line `{key} = …`")),
        );
    }
    if raw.starts_with("duplicate key") {
        return (
            "duplicate-key",
            "this key stands here twice".to_owned(),
            Some("keep one of the two".to_owned()),
        );
    }
    if raw.starts_with("duplicate field") {
        return ("duplicate-key", raw.to_owned(), Some("keep one of the two".to_owned()));
    }
    if let Some(rest) = raw.strip_prefix("invalid type: ") {
        let (found, expected) = rest.split_once(", expected ").unwrap_or((rest, "something else"));
        return (
            "wrong-type",
            format!("this is {}", article(found)),
            Some(format!("write {}", plain(expected))),
        );
    }
    if let Some(rest) = raw.strip_prefix("invalid value: ") {
        let (found, expected) = rest.split_once(", expected ").unwrap_or((rest, "something else"));
        return (
            "wrong-value",
            format!("this is {}", article(found)),
            Some(format!("write {}", plain(expected))),
        );
    }
    let raw = raw.lines().next().unwrap_or(raw);
    let (message, help) = match raw {
        _ if raw.contains("recurs") => {
            ("lists or tables are nested too deeply", "no document needs more than a few levels")
        }
        _ if raw.contains("escaped value") => (
            "a backslash begins something that is no escape",
            "write a backslash twice, or put the text in single quotes",
        ),
        _ if raw.contains("must be quoted") => ("a text must stand in quotes", "write it as \"…\""),
        _ if raw.starts_with("invalid basic string")
            || raw.starts_with("invalid literal string") =>
        {
            ("the text has no end", "close the quotes at the end of the text, on the same line")
        }
        _ if raw.starts_with("invalid date") || raw.starts_with("invalid time") => {
            return (
                "toml",
                raw.to_owned(),
                Some("write a date of the calendar, such as 2026-03-14".to_owned()),
            );
        }
        _ => return ("toml", raw.to_owned(), Some(TOML_HELP.to_owned())),
    };
    ("toml", message.to_owned(), Some(help.to_owned()))
}

/// serde's names of types in plain words.
fn plain(expected: &str) -> String {
    match expected {
        "a string" | "a borrowed string" => "a text in quotes".to_owned(),
        "a sequence" => "a list in brackets, such as [\"reset\", \"boot\"]".to_owned(),
        "u8" | "u32" | "u64" | "usize" => {
            "a whole number without quotes and unit, 0 or more".to_owned()
        }
        "a map" => "a table".to_owned(),
        expected => match expected.strip_prefix("struct ") {
            Some(name) => format!("a table ({name})"),
            None => expected.to_owned(),
        },
    }
}

const TOML_HELP: &str = "a document is TOML 1.0: [tables], key = value lines, texts in quotes";

/// The words in backticks of serde's list of expected names.
fn backticked(text: &str) -> Vec<&str> {
    text.split('`').skip(1).step_by(2).collect()
}

/// `integer `3`` → `the integer `3``; `map` → `a table`.
fn article(found: &str) -> String {
    match found {
        "map" => "a table".to_owned(),
        "sequence" => "a list".to_owned(),
        found if found.starts_with("string ") => found.replacen("string", "the text", 1),
        found if found.starts_with("integer") => {
            format!("the whole number{}", &found["integer".len()..])
        }
        found if found.starts_with("floating point") => {
            format!("the number{}", &found["floating point".len()..])
        }
        found if found.starts_with("boolean") => {
            format!("the truth value{}", &found["boolean".len()..])
        }
        found => found.to_owned(),
    }
}
