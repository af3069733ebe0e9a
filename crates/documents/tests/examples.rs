//! One example of each kind is read, and a wrong value in each is placed.

use std::fs;
use std::path::Path;

use overwinter_documents::{Document, DocumentKind, parse_document};

fn files() -> Vec<(String, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/folder");
    let mut files = Vec::new();
    for kind in DocumentKind::ALL {
        for entry in fs::read_dir(root.join(kind.folder())).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_str().unwrap().to_owned();
            files.push((format!("{}/{name}", kind.folder()), fs::read_to_string(path).unwrap()));
        }
    }
    files.sort();
    files
}

#[test]
fn one_of_each_kind_is_read() {
    let files = files();
    for kind in DocumentKind::ALL {
        assert!(files.iter().any(|(path, _)| path.starts_with(kind.folder())), "{kind:?}");
    }
    for (path, text) in files {
        let document =
            parse_document(&path, &text).unwrap_or_else(|error| panic!("{path}: {error:#?}"));
        assert_eq!(Some(document.kind().folder()), path.split('/').next());
    }
}

#[test]
fn a_bare_number_is_placed() {
    let text = "[board]\nname = \"A\"\n[board.charger]\ncurrent = 100\n";
    let errors = parse_document("boards/a.toml", text).unwrap_err();
    let place = errors[0].span.as_ref().unwrap();
    assert_eq!((place.line, place.column), (4, 11), "{errors:#?}");
    assert!(errors[0].help.as_ref().unwrap().contains("nA, µA, mA, A"), "{errors:#?}");
}

#[test]
fn a_wrong_unit_inside_the_table_form_is_placed() {
    let text = "[board]\nname = \"A\"\n[board.charger]\ncurrent = { value = \"100 mV\", kind = \"measured\" }\n";
    let errors = parse_document("boards/a.toml", text).unwrap_err();
    let place = errors[0].span.as_ref().unwrap();
    assert_eq!(&text[place.start..place.end], "mV", "{errors:#?}");
    let Document::Board(_) = parse_document("boards/a.toml", &text.replace("mV", "mA")).unwrap()
    else {
        panic!()
    };
}
