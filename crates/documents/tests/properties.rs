//! Properties: no text makes a reader panic, every place lies inside its text.

use overwinter_documents::sheet::{boards_sheet, propose};
use overwinter_documents::{Folder, Style, parse_document, render};
use proptest::prelude::*;

const BOARD: &str = include_str!("folder/boards/bowline.toml");
const PROJECT: &str = include_str!("folder/projects/footbridges.toml");

/// A good document with a piece cut out and another put in.
fn damaged() -> impl Strategy<Value = (usize, String)> {
    (0..2_usize, any::<prop::sample::Index>(), 0..12_usize, "[\\PC\n\"=\\[\\]{}]{0,6}").prop_map(
        |(which, at, cut, put)| {
            let text = [BOARD, PROJECT][which];
            let mut start = at.index(text.len());
            while !text.is_char_boundary(start) {
                start -= 1;
            }
            let mut end = (start + cut).min(text.len());
            while !text.is_char_boundary(end) {
                end += 1;
            }
            (which, format!("{}{put}{}", &text[..start], &text[end..]))
        },
    )
}

fn told(path: &str, text: &str) {
    let (_, diagnostics) = Folder::read([(path, text)]);
    for diagnostic in diagnostics {
        if let Some(place) = &diagnostic.span {
            assert!(text.get(place.start..place.end).is_some(), "{diagnostic:?}");
        }
        assert!(!render(&diagnostic, Style::Plain).is_empty());
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn damaged_documents_are_told((which, text) in damaged()) {
        told(["boards/x.toml", "projects/x.toml"][which], &text);
    }

    #[test]
    fn arbitrary_text_is_told(text in "\\PC{0,80}", path in "(boards|cells|x)/[a-z]{1,4}\\.toml") {
        if let Err(errors) = parse_document(&path, &text) {
            prop_assert!(!errors.is_empty());
        }
        told(&path, &text);
    }

    #[test]
    fn arbitrary_tables_propose_nothing_wrong(text in "[a-z,;\"'\n\r\t=+0-9\\[\\] µ]{0,120}") {
        let (folder, _) = Folder::read([("boards/x.toml", BOARD)]);
        let sheet = boards_sheet(&folder);
        let import = propose(&sheet, "t.csv", &format!("specimen,pins\n{text}"));
        for edit in import.edits {
            prop_assert!(edit.file == "boards/x.toml");
        }
    }
}
