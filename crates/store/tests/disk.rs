//! Hostile folders, full disks and read-only folders: told clearly, nothing written, nothing lost.

use std::fs;
use std::io;
use std::path::Path;

use overwinter_documents::sheet::{Dialect, boards_sheet, propose, write_csv};
use overwinter_documents::{Diagnostic, Style, render};
use overwinter_store::{
    FileWriter, Limits, StoreError, Writer, apply_edits, create_folder, edit_text, read_folder,
    read_folder_with, write_file, write_file_with,
};

const BOARD: &str = "\
#:schema ../schemas/board.schema.json
# my best board
[board]
name = \"BOWLINE\" # named after a knot

[board.traits]
pins = 30           # counted twice
row_spacing = \"22.86 mm\"
label_side = \"top\"

[[board.specimens]]
id = \"B-1\"         # green dot

[[board.specimens]]
id = \"B-2\"
";

fn bench() -> tempfile::TempDir {
    let root = tempfile::tempdir().unwrap();
    fs::create_dir(root.path().join("boards")).unwrap();
    fs::write(root.path().join("boards/bowline.toml"), BOARD).unwrap();
    root
}

fn said(diagnostics: &[Diagnostic]) -> String {
    let all: Vec<String> =
        diagnostics.iter().map(|diagnostic| render(diagnostic, Style::Plain)).collect();
    assert!(diagnostics.iter().all(|diagnostic| diagnostic.help.is_some()), "{all:?}");
    all.join("\n\n")
}

/// Reads, checks that the good board survived, and gives what was said.
fn read(root: &Path) -> String {
    let (folder, diagnostics) = read_folder(root).unwrap();
    assert!(folder.boards.get("BOWLINE").is_some(), "one bad file does not hide the others");
    said(&diagnostics)
}

#[test]
fn a_file_that_is_not_utf_8() {
    let root = bench();
    fs::write(root.path().join("boards/latin.toml"), b"[board]\nname = \"12 \xb5A\"\n").unwrap();
    insta::assert_snapshot!(read(root.path()));
}

#[test]
fn a_file_of_100_megabytes_is_never_read() {
    let root = bench();
    let file = fs::File::create(root.path().join("boards/huge.toml")).unwrap();
    file.set_len(100 << 20).unwrap();
    insta::assert_snapshot!(read(root.path()));
}

#[test]
fn a_byte_order_mark_is_no_fault() {
    let root = bench();
    fs::write(root.path().join("boards/bom.toml"), "\u{feff}[board]\r\nname = \"X\"\r\n").unwrap();
    assert_eq!(read(root.path()), "");
}

#[cfg(unix)]
#[test]
fn links_in_a_circle_and_to_nowhere() {
    use std::os::unix::fs::symlink;
    let root = bench();
    let boards = root.path().join("boards");
    symlink(&boards, boards.join("again")).unwrap();
    symlink(boards.join("b.toml"), boards.join("a.toml")).unwrap();
    symlink(boards.join("a.toml"), boards.join("b.toml")).unwrap();
    symlink(boards.join("gone.toml"), boards.join("nowhere.toml")).unwrap();
    let said = read(root.path());
    assert!(
        said.contains("a link to a folder is not followed") && said.contains("boards/again"),
        "{said}"
    );
    assert_eq!(said.matches("the link leads nowhere or in a circle").count(), 3, "{said}");
}

#[cfg(unix)]
#[test]
fn a_pipe_does_not_hang() {
    let root = bench();
    let pipe = root.path().join("boards/pipe.toml");
    let made = std::process::Command::new("mkfifo")
        .arg(&pipe)
        .status()
        .is_ok_and(|status| status.success());
    if made {
        assert!(read(root.path()).contains("this is not a plain file"));
    }
    // A folder named like a document is walked into, not read.
    fs::create_dir(root.path().join("boards/folder.toml")).unwrap();
    read(root.path());
}

#[cfg(unix)]
#[test]
fn a_name_that_is_not_utf_8() {
    use std::os::unix::ffi::OsStrExt;
    let root = bench();
    let name = std::ffi::OsStr::from_bytes(b"\xff.toml");
    if fs::write(root.path().join("boards").join(name), "x").is_ok() {
        assert!(read(root.path()).contains("a file's name is not UTF-8"));
    }
}

#[test]
fn folders_too_deep_and_files_too_many() {
    let root = bench();
    let deep = root.path().join("boards/1/2/3/4/5/6");
    fs::create_dir_all(&deep).unwrap();
    fs::write(deep.join("x.toml"), "[board]\nname = \"X\"\n").unwrap();
    assert!(read(root.path()).contains("more than 4 folders deep"));
    for index in 0..5 {
        fs::write(
            root.path().join(format!("boards/z{index}.toml")),
            format!("[board]\nname = \"Z{index}\"\n"),
        )
        .unwrap();
    }
    let few = Limits { files: 3, ..Limits::default() };
    let (folder, diagnostics) = read_folder_with(root.path(), few).unwrap();
    assert_eq!(folder.boards.len(), 3);
    assert!(said(&diagnostics).contains("there are more than 3 documents"));
    let small = Limits { total_bytes: 300, ..Limits::default() };
    let (_, diagnostics) = read_folder_with(root.path(), small).unwrap();
    assert!(said(&diagnostics).contains("hold more than 300 bytes"));
}

#[test]
fn a_misspelt_folder_is_told() {
    let root = bench();
    fs::create_dir(root.path().join("board")).unwrap();
    fs::write(root.path().join("board/x.toml"), "").unwrap();
    fs::create_dir(root.path().join("photos")).unwrap();
    insta::assert_snapshot!(read(root.path()));
}

#[test]
fn no_folder_and_no_folder_at_all() {
    let root = bench();
    let missing = read_folder(&root.path().join("nowhere")).unwrap_err();
    assert!(matches!(missing, StoreError::NoFolder { .. }));
    assert!(missing.diagnostic().help.is_some());
    let file = read_folder(&root.path().join("boards/bowline.toml")).unwrap_err();
    assert!(matches!(file, StoreError::NotAFolder { .. }));
}

/// A disk that is full after so many files.
struct FullDisk(usize);

impl Writer for FullDisk {
    fn replace(&mut self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        if self.0 == 0 {
            return Err(io::ErrorKind::StorageFull.into());
        }
        self.0 -= 1;
        FileWriter.replace(path, bytes)
    }
}

#[test]
fn a_full_disk_keeps_the_old_file() {
    let root = bench();
    let error =
        write_file_with(&mut FullDisk(0), root.path(), "boards/bowline.toml", "gone").unwrap_err();
    let told = said(&[error.diagnostic()]);
    assert!(told.contains("the disk is full") && told.contains("nothing was written"), "{told}");
    assert_eq!(fs::read_to_string(root.path().join("boards/bowline.toml")).unwrap(), BOARD);
    assert_eq!(
        fs::read_dir(root.path().join("boards")).unwrap().count(),
        1,
        "no temporary file is left"
    );
}

#[cfg(target_os = "linux")]
#[test]
fn a_folder_that_cannot_hold_files() {
    // Nobody, not even root, can make a file here.
    let error = write_file(Path::new("/proc"), "x.toml", "text").unwrap_err();
    assert!(matches!(error, StoreError::Write { .. }), "{error:?}");
    assert!(create_folder(Path::new("/proc/bench"), [("boards/x.toml", "x")]).is_err());
}

#[cfg(unix)]
#[test]
fn a_read_only_file_stays_as_it_is_and_rights_are_kept() {
    use std::os::unix::fs::PermissionsExt;
    let root = bench();
    let path = root.path().join("boards/bowline.toml");
    fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
    write_file(root.path(), "boards/bowline.toml", "[board]\nname = \"Y\"\n").unwrap();
    assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o640);
    fs::set_permissions(&path, fs::Permissions::from_mode(0o444)).unwrap();
    let error = write_file(root.path(), "boards/bowline.toml", "gone").unwrap_err();
    assert!(said(&[error.diagnostic()]).contains("the rights do not allow it"));
    assert!(fs::read_to_string(&path).unwrap().contains("\"Y\""));
}

#[test]
fn paths_stay_below_the_folder() {
    let root = bench();
    for path in ["../x.toml", "boards/../../x.toml", "/x.toml", ""] {
        let error = write_file(root.path(), path, "text").unwrap_err();
        assert!(matches!(error, StoreError::Outside { .. }), "{path}");
    }
}

#[test]
fn a_new_folder_only_where_nothing_is() {
    let root = tempfile::tempdir().unwrap();
    let new = root.path().join("bench");
    create_folder(&new, [("boards/bowline.toml", BOARD)]).unwrap();
    assert!(new.join("schemas/board.schema.json").is_file());
    let (folder, diagnostics) = read_folder(&new).unwrap();
    assert_eq!((folder.boards.len(), diagnostics.len()), (1, 0));
    let error = create_folder(&new, [("boards/other.toml", BOARD)]).unwrap_err();
    assert!(matches!(error, StoreError::NotEmpty { .. }));
    assert!(!new.join("boards/other.toml").exists());
    // A fault half-way leaves nothing behind.
    let half = root.path().join("half");
    assert!(create_folder(&half, [("boards/x.toml", BOARD), ("../out.toml", BOARD)]).is_err());
    assert!(!half.exists() && !root.path().join("out.toml").exists());
}

#[test]
fn a_table_goes_out_and_in_and_comments_survive() {
    let root = bench();
    let (folder, _) = read_folder(root.path()).unwrap();
    let sheet = boards_sheet(&folder);
    let text = write_csv(&sheet, Dialect::PLAIN);
    assert!(propose(&sheet, "table.csv", &text).edits.is_empty());
    let second = text.lines().find(|line| line.starts_with("B-2")).unwrap();
    let import = propose(
        &sheet,
        "table.csv",
        &text.replace(second, &second.replace(",30,", ",32,").replace("22.86", "25.4")),
    );
    assert!(import.diagnostics.is_empty(), "{import:#?}");
    let written = apply_edits(root.path(), &import.edits).unwrap();
    assert_eq!(written, ["boards/bowline.toml"]);
    let new = fs::read_to_string(root.path().join("boards/bowline.toml")).unwrap();
    insta::assert_snapshot!(new);
    // What was applied is what the table now says.
    let (folder, diagnostics) = read_folder(root.path()).unwrap();
    assert!(diagnostics.is_empty(), "{diagnostics:#?}");
    let (board, specimen) = folder.specimen("B-2").unwrap();
    assert_eq!(board.document.traits_of(specimen).pins, Some(32));
    let (board, specimen) = folder.specimen("B-1").unwrap();
    assert_eq!(board.document.traits_of(specimen).pins, Some(30));
}

#[test]
fn an_edit_that_would_break_a_document_is_refused() {
    let root = bench();
    let (folder, _) = read_folder(root.path()).unwrap();
    let sheet = boards_sheet(&folder);
    let import = propose(&sheet, "table.csv", "specimen,charger\nB-1,perhaps\n");
    let error = apply_edits(root.path(), &import.edits).unwrap_err();
    let told = said(&[error.diagnostic()]);
    assert!(
        told.contains("\"perhaps\" is not yes or no") && told.contains("nothing was written"),
        "{told}"
    );
    assert_eq!(fs::read_to_string(root.path().join("boards/bowline.toml")).unwrap(), BOARD);
}

#[test]
fn edits_keep_every_other_byte() {
    use overwinter_documents::{Edit, EditValue, KeyPath};
    let edit = |key: &str, value: Option<EditValue>| Edit {
        file: "boards/x.toml".into(),
        key: KeyPath::parse(key),
        value,
        was: String::new(),
        now: String::new(),
    };
    let text = "# top\n[board]\nname = \"X\"  # name\n[board.charger]\ncurrent = { value = \"100 mA\", kind = \"measured\" } # set\n";
    let apply = |key: &str, value: Option<EditValue>| {
        edit_text("boards/x.toml", text, &[edit(key, value)]).unwrap()
    };
    let new = apply("board.charger.current", Some(EditValue::Text("90 mA".into())));
    assert_eq!(new, text.replace("100 mA", "90 mA"), "kind and comment stay");
    let new = apply("board.traits.pins", Some(EditValue::Whole(30)));
    assert!(
        new.starts_with("# top\n[board]\nname = \"X\"  # name\n")
            && new.contains("[board.traits]\npins = 30\n"),
        "{new}"
    );
    assert_eq!(
        apply("board.traits.pins", None),
        text,
        "taking out what is not there changes nothing"
    );
    assert!(edit_text("x", "[board", &[]).is_err());
    assert!(
        edit_text("x", text, &[edit("board.specimens[3].id", Some(EditValue::Whole(1)))]).is_err()
    );
}
