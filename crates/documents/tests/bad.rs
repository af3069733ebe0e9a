//! Bad files, one case a file under `tests/bad`, one snapshot each of all that is said.
//!
//! A file's first line `#: boards/x.toml` says where it would lie; `#: + PATH` lines split a case into several files.
//! Every case is read together with the good folder `tests/folder`. Adding a bad file is adding a test: look at the
//! message as a person would (what is wrong, where, how to mend it) before accepting its snapshot.

use std::fs;
use std::path::Path;

use overwinter_documents::{Folder, Severity, Style, render};

fn good() -> Vec<(String, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/folder");
    let mut files = Vec::new();
    for folder in fs::read_dir(root).unwrap() {
        let folder = folder.unwrap().path();
        for entry in fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            let name = |path: &Path| path.file_name().unwrap().to_str().unwrap().to_owned();
            files.push((
                format!("{}/{}", name(&folder), name(&path)),
                fs::read_to_string(&path).unwrap(),
            ));
        }
    }
    files
}

/// The files of a case: parts begin with a line `#: path`.
fn parts(text: &str) -> Vec<(String, String)> {
    let mut files: Vec<(String, String)> = Vec::new();
    for line in text.split_inclusive('\n') {
        if let Some(path) = line.strip_prefix("#: ") {
            files.push((path.trim().to_owned(), String::new()));
        } else if let Some((_, text)) = files.last_mut() {
            text.push_str(line);
        }
    }
    files
}

#[test]
fn the_good_folder_is_good() {
    let (folder, diagnostics) = Folder::read(good());
    assert!(diagnostics.is_empty(), "{diagnostics:#?}");
    assert_eq!((folder.boards.len(), folder.sessions.len(), folder.projects.len()), (1, 1, 1));
    let board = folder.boards.get("BOWLINE").unwrap();
    let (kind, figures) = folder.regulator(&board.document.supply).unwrap();
    assert_eq!(kind.unwrap().to_string(), "linear");
    // The board's own dropout over its class's ground current.
    assert!((figures.dropout[0].drop.si() - 0.17).abs() < 1e-12);
    assert!(figures.ground_current.is_some());
    let cell = folder.cells.get("2500 mAh pouch").unwrap();
    let figures = folder.cell_figures(&cell.document).unwrap();
    assert!(figures.ocv.is_some(), "from the chemistry");
    let kind = figures.resistance.as_ref().unwrap().kind.unwrap();
    assert_eq!(kind.to_string(), "invented for the demo", "the document's own kind");
    assert_eq!(folder.sessions_of("BOWLINE-1").count(), 1);
    assert!(folder.range(Some("bench meter"), Some("600 µA")).is_some());
}

#[test]
fn bad_files() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bad");
    let mut cases: Vec<_> =
        fs::read_dir(&root).unwrap().map(|entry| entry.unwrap().path()).collect();
    cases.sort();
    assert!(cases.len() >= 60, "{} cases", cases.len());
    let good = good();
    let mut settings = insta::Settings::clone_current();
    settings.set_snapshot_path("bad_snapshots");
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    for case in cases {
        let name = case.file_stem().unwrap().to_str().unwrap().to_owned();
        let text = fs::read_to_string(&case).unwrap();
        let bad = parts(&text);
        assert!(!bad.is_empty(), "{name} says not where it lies");
        let replaced: Vec<&str> = bad.iter().map(|(path, _)| path.as_str()).collect();
        let files: Vec<_> = good
            .iter()
            .filter(|(path, _)| !replaced.contains(&path.as_str()))
            .cloned()
            .chain(bad.clone())
            .collect();
        let (folder, diagnostics) = Folder::read(files);
        assert!(!diagnostics.is_empty(), "{name}: nothing was said");
        // One bad file does not hide the others.
        if !name.starts_with("missing_") {
            assert!(
                folder.projects.get("footbridges").is_some()
                    || replaced.iter().any(|path| path.starts_with("projects"))
            );
        }
        for diagnostic in &diagnostics {
            assert!(
                diagnostic.help.is_some(),
                "{name}: {diagnostic:?} does not say how to mend it"
            );
            assert!(
                diagnostic.file.is_some() && diagnostic.span.is_some(),
                "{name}: {diagnostic:?} has no place"
            );
        }
        let notes_only =
            diagnostics.iter().all(|diagnostic| diagnostic.severity < Severity::Danger);
        assert_eq!(notes_only, name.starts_with("warn_"), "{name}: {diagnostics:#?}");
        let said: Vec<String> =
            diagnostics.iter().map(|diagnostic| render(diagnostic, Style::Plain)).collect();
        settings.bind(|| insta::assert_snapshot!(name.clone(), said.join("\n\n")));
    }
}
