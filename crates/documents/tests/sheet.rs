//! The table out and in: unchanged it proposes nothing, changed it proposes exactly the change.

use std::fs;
use std::path::Path;

use overwinter_documents::Folder;
use overwinter_documents::sheet::{
    Column, Content, Dialect, EditValue, boards_sheet, propose, write_csv,
};

fn folder() -> Folder {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/folder");
    let read = |path: &str| fs::read_to_string(root.join(path)).unwrap();
    let second = "[board]\nname = \"=REEF\"\nabout = \"a hostile name\"\n[board.traits]\npins = 20\nusb_bridge = \"no\"\n\
                  regulator_marking = \"-12; \\\"x\\\"\"\nrow_spacing = \"22.86 mm\"\n[[board.specimens]]\nid = \"+R1\"\n";
    Folder::read(vec![
        ("boards/bowline.toml".to_owned(), read("boards/bowline.toml")),
        ("boards/reef.toml".to_owned(), second.to_owned()),
    ])
    .0
}

const TAB: Dialect = Dialect { delimiter: b'\t', ..Dialect::PLAIN };

#[test]
fn an_unchanged_table_proposes_nothing_in_any_dialect() {
    let mut sheet = boards_sheet(&folder());
    sheet.push_computed(Column::with_unit("sleep on battery", "µA"), |key| match key {
        "BOWLINE-1" => Content::Number(9.300_000_000_123),
        _ => Content::Unknown,
    });
    for dialect in [Dialect::PLAIN, Dialect::EUROPEAN, TAB, Dialect { decimal_comma: true, ..TAB }]
    {
        let text = write_csv(&sheet, dialect);
        let import = propose(&sheet, "table.csv", &text);
        assert!(
            import.edits.is_empty() && import.diagnostics.is_empty(),
            "{dialect:?}: {import:#?}\n{text}"
        );
    }
}

#[test]
fn unknown_empty_and_no_are_kept_apart() {
    let sheet = boards_sheet(&folder());
    let text = write_csv(&sheet, Dialect::PLAIN);
    let at = |name: &str| sheet.columns.iter().position(|column| column.name == name).unwrap();
    let row = sheet.rows.iter().find(|row| row[0].content == Content::Text("+R1".into())).unwrap();
    assert_eq!(row[at("USB-serial bridge")].content, Content::Text("no".into()));
    assert_eq!(row[at("bridge fed from")].content, Content::Empty, "no bridge, no feed");
    assert_eq!(row[at("charger")].content, Content::Unknown);
    assert_eq!(row[at("free breadboard holes")].content, Content::Number(2.0));
    assert!(text.starts_with("specimen,board,revision,price,radio part"), "{text}");
    assert!(text.contains("row spacing [mm]"));
}

#[test]
fn formulas_are_disarmed() {
    let text = write_csv(&boards_sheet(&folder()), Dialect::PLAIN);
    let hostile = text.lines().find(|line| line.contains("REEF")).unwrap();
    assert!(hostile.starts_with("\"'+R1\",\"'=REEF\""), "{hostile}");
    for cell in text.split([',', '\n']) {
        let cell = cell.trim_matches('"');
        assert!(!cell.starts_with(['=', '+', '@']), "{cell}");
    }
}

#[test]
fn changes_are_proposed_with_their_places() {
    let sheet = boards_sheet(&folder());
    let text = write_csv(&sheet, Dialect::EUROPEAN);
    let changed = text.replace("22,86;top", "25,4;top").replace("22,86;both", "25,4;both");
    assert_ne!(changed, text);
    let import = propose(&sheet, "table.csv", &changed);
    assert!(import.diagnostics.is_empty(), "{import:#?}");
    let places: Vec<String> =
        import.edits.iter().map(|edit| format!("{} {}", edit.file, edit.key)).collect();
    assert_eq!(
        places,
        [
            "boards/bowline.toml board.specimens[0].traits.row_spacing",
            "boards/bowline.toml board.specimens[1].traits.row_spacing"
        ]
    );
    assert_eq!(import.edits[0].value, Some(EditValue::Text("25.4 mm".into())));
    assert_eq!((import.edits[0].was.as_str(), import.edits[0].now.as_str()), ("22.86", "25,4"));
}

#[test]
fn another_unit_in_the_header_is_converted() {
    let sheet = boards_sheet(&folder());
    let text = "specimen,row spacing [cm],pins\n'+R1,2.286,24\n";
    let import = propose(&sheet, "table.csv", text);
    assert!(import.diagnostics.is_empty(), "{import:#?}");
    assert_eq!(import.edits.len(), 1, "2.286 cm is 22.86 mm: {import:#?}");
    assert_eq!(import.edits[0].value, Some(EditValue::Whole(24)));
    assert_eq!(import.edits[0].key.to_string(), "board.traits.pins");
}

#[test]
fn what_cannot_be_applied_is_told_and_changes_nothing() {
    let sheet = boards_sheet(&folder());
    let cases = [
        ("specimen,pinz\n'+R1,24\n", "the column \"pinz\" is not known"),
        (
            "specimen,row spacing [V]\n'+R1,24\n",
            "the unit of the column \"row spacing [V]\" does not fit",
        ),
        ("board,pins\nREEF,24\n", "the column \"specimen\" is missing"),
        ("specimen,pins\nNOBODY,24\n", "there is no row \"NOBODY\""),
        ("specimen,pins\n'+R1,many\n", "\"many\" is no number"),
        ("specimen,pins\n'+R1,\n", "an empty cell means that it does not apply"),
        ("specimen,free breadboard holes\n'+R1,7\n", "this is computed"),
        ("specimen,bridge fed from\n'+R1,rail\n", "this does not apply"),
        (
            "specimen,label side\nBOWLINE-1,unknown\n",
            "cannot be made unknown for this specimen alone",
        ),
        ("specimen,pins,pins\n'+R1,20,21\n", "stands twice"),
        ("", "the column \"specimen\" is missing"),
    ];
    for (text, expected) in cases {
        let import = propose(&sheet, "table.csv", text);
        assert!(import.edits.is_empty(), "{text}: {import:#?}");
        let said: Vec<&str> =
            import.diagnostics.iter().map(|diagnostic| diagnostic.message.as_str()).collect();
        assert!(said.iter().any(|message| message.contains(expected)), "{text}: {said:?}");
        assert!(import.diagnostics.iter().all(|diagnostic| diagnostic.help.is_some()));
    }
}

#[test]
fn unknown_takes_the_key_out() {
    let sheet = boards_sheet(&folder());
    let import = propose(&sheet, "table.csv", "specimen,pins\n'+R1,unknown\n");
    assert_eq!((import.edits.len(), &import.edits[0].value), (1, &None), "{import:#?}");
}
