//! A published page: one HTML file that opens from a disk, with documents, prepared answers and the engine inside.

use std::io::{self, Write};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use lzma_rust2::{LzmaOptions, LzmaWriter};
use overwinter_workbench::ask::{Reply, Request, ask};
use overwinter_workbench::bench::Bench;
use overwinter_workbench::question::CAUTIONS;
use overwinter_workbench::report::{ChoiceReport, TableReport};
use overwinter_workbench::trace_report::PublishedTrace;
use serde::Serialize;
use serde_json::{Value, json};

use crate::summary::summary;
use crate::template::{ENGINE, Filling, NotBuilt, fill};

/// What a page opened from a file may do: run its own script and engine, and nothing else. No connection of any kind.
const POLICY: &str = "default-src 'none'; script-src 'unsafe-inline' 'wasm-unsafe-eval'; style-src 'unsafe-inline'; \
     img-src data:; worker-src blob:; connect-src 'none'; form-action 'none'; base-uri 'none'";

/// Draws of the sharpest ranking where the caller has no reason for others.
pub const DRAWS: usize = 1000;
/// Seed of those draws; the page asks for the same.
const SEED: u64 = 1;

/// What goes into a page beside the documents.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Publication {
    /// Heading of the page.
    pub title: String,
    /// Licence of the data, in words.
    pub licence: String,
    /// Day of publication, as it is shown.
    pub date: String,
    /// Version of the tool.
    pub version: String,
}

/// An answer that a page shows without computing it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Prepared {
    /// The question as the page asks it.
    pub request: Value,
    /// The answer.
    pub reply: Value,
}

/// Answers computed for a page, with what its summary is written from.
#[derive(Debug, Clone, Default)]
pub struct PreparedAnswers {
    draws: usize,
    answers: Vec<Prepared>,
    choices: Vec<ChoiceReport>,
    table: Option<TableReport>,
}

/// Computes what a page shows at once: the table and the choice of every project.
///
/// Choices are computed with `draws` draws, and the page asks for as many when its reader changes a project. Long work for
/// a large bench; `tell` hears the name of each project before it is computed.
pub fn prepare(bench: &Bench, draws: usize, mut tell: impl FnMut(&str)) -> PreparedAnswers {
    let mut all = PreparedAnswers { draws, ..PreparedAnswers::default() };
    let whole = Request::Table {
        columns: vec!["all".into()],
        sort: None,
        filter: Vec::new(),
        specimens: false,
    };
    keep(&mut all, json!({ "table": { "columns": ["all"] } }), &ask(bench, whole));
    let usual =
        Request::Table { columns: Vec::new(), sort: None, filter: Vec::new(), specimens: false };
    if let Reply::Table(table) = ask(bench, usual) {
        all.table = Some(table);
    }
    keep(&mut all, json!("check"), &ask(bench, Request::Check));
    let projects: Vec<String> = bench.projects().map(|project| project.name.clone()).collect();
    for project in projects {
        tell(&project);
        let request = json!({ "choose": { "project": &project, "draws": draws, "seed": SEED } });
        let reply = ask(bench, Request::Choose { project, draws, seed: SEED });
        keep(&mut all, request, &reply);
        if let Reply::Choice(choice) = reply {
            all.choices.push(*choice);
        }
    }
    all
}

/// Keeps an answer; an error is not kept, the page then asks itself and shows it.
fn keep(all: &mut PreparedAnswers, request: Value, reply: &Reply) {
    if matches!(reply, Reply::Error(_)) {
        return;
    }
    if let Ok(reply) = serde_json::to_value(reply) {
        all.answers.push(Prepared { request, reply });
    }
}

/// Checksum over paths and texts in the order of paths, so that two pages of the same documents can be told the same.
pub(crate) fn checksum(files: &[(String, String)]) -> String {
    use std::fmt::Write;

    use sha2::{Digest, Sha256};
    let mut sorted: Vec<_> = files.iter().collect();
    sorted.sort();
    let mut hasher = Sha256::new();
    for (path, text) in sorted {
        for part in [path, text] {
            hasher.update((part.len() as u64).to_le_bytes());
            hasher.update(part.as_bytes());
        }
    }
    let bytes = hasher.finalize();
    let mut out = String::from("sha256:");
    for byte in bytes {
        let _ = write!(out, "{byte:02x}");
    }
    out
}

/// Writes the page of these documents, `(path, text)` each, with what it shows of the recordings.
///
/// # Errors
/// [`NotBuilt`] where this tool carries no front end.
pub fn publish(
    files: &[(String, String)],
    prepared: &PreparedAnswers,
    traces: &[PublishedTrace],
    publication: &Publication,
) -> Result<String, NotBuilt> {
    let Publication { title, licence, date, version } = publication;
    let checksum = checksum(files);
    let facts = json!({
        "home": "page", "title": title, "version": version, "date": date, "licence": licence, "checksum": checksum,
        "draws": prepared.draws,
    });
    let content = json!({ "files": files, "prepared": prepared.answers, "traces": traces });
    let foot = format!("overwinter {version} · {date} · {licence} · {checksum}");
    let empty = TableReport {
        schema_version: 0,
        columns: Vec::new(),
        rows: Vec::new(),
        undecided: Vec::new(),
    };
    let table = prepared.table.as_ref().unwrap_or(&empty);
    fill(&Filling {
        policy: POLICY,
        title,
        summary: &summary(title, table, &prepared.choices, &foot, CAUTIONS),
        facts: &facts,
        bench: &packed(&content),
        engine: ENGINE,
    })
}

/// Numbers in nine digits: a page shows three, and the rest of the digits would be its most expensive part.
struct NineDigits;

impl serde_json::ser::Formatter for NineDigits {
    fn write_f64<W: ?Sized + Write>(&mut self, writer: &mut W, value: f64) -> io::Result<()> {
        let rounded = format!("{value:.8e}").parse().unwrap_or(value);
        serde_json::ser::CompactFormatter.write_f64(writer, rounded)
    }
}

/// LZMA and base64: a browser unpacks it with the script that unpacks the engine. Writing into memory cannot fail.
fn packed(content: &Value) -> String {
    let mut json = serde_json::Serializer::with_formatter(Vec::new(), NineDigits);
    let written = content.serialize(&mut json).map_err(io::Error::other);
    // 8 MiB look far enough back, and cost a tenth of the memory of what the strongest preset looks.
    let options =
        LzmaOptions { dict_size: 1 << 23, pb: 0, nice_len: 273, ..LzmaOptions::with_preset(9) };
    let bytes = written.and_then(|()| {
        let json = json.into_inner();
        let size = Some(json.len() as u64);
        let mut encoder = LzmaWriter::new_use_header(Vec::new(), &options, size)?;
        encoder.write_all(&json)?;
        encoder.finish()
    });
    STANDARD.encode(bytes.unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_checksum_knows_documents_not_their_order() {
        let one = [("a".to_owned(), "1".to_owned()), ("b".to_owned(), "2".to_owned())];
        let turned = [one[1].clone(), one[0].clone()];
        assert_eq!(checksum(&one), checksum(&turned));
        let shifted = [("a1".to_owned(), String::new()), ("b".to_owned(), "2".to_owned())];
        assert_ne!(checksum(&one), checksum(&shifted));
    }

    #[test]
    fn what_is_packed_keeps_nine_digits() {
        use std::io::Read;
        let content = json!({ "value": 0.1 + 0.2, "small": 1.049_000_002_240_063_6e-5, "count": 12_345_678_901_u64 });
        let bytes = STANDARD.decode(packed(&content)).unwrap();
        let mut text = String::new();
        let decoder = lzma_rust2::LzmaReader::new_mem_limit(&bytes[..], 1 << 20, None).unwrap();
        { decoder }.read_to_string(&mut text).unwrap();
        assert_eq!(text, r#"{"count":12345678901,"small":0.00001049,"value":0.3}"#);
    }

    #[test]
    fn nothing_but_the_page_itself_is_allowed() {
        assert!(POLICY.starts_with("default-src 'none'"));
        assert!(POLICY.contains("connect-src 'none'"));
    }
}
