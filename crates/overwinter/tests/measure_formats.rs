//! Every bench command in every format on the demo, its help, and its exit status.

mod common;

use std::path::Path;

use common::{Folder, run};

/// A command with the status it ends with on the demo.
const COMMANDS: &[(&[&str], i32)] = &[
    (&["figure", "REEF-1"], 0),
    (&["burden", "hand-held meter", "--board", "BOWLINE", "--project", "footbridges"], 0),
    (&["settle", "12.6 µA", "12.6 µA"], 1),
    (&["guide", "BOWLINE-1", "--project", "footbridges"], 0),
    // The plug of CARRICK has + on the other side than the pouch's lead.
    (&["guide", "CARRICK-1", "--project", "footbridges"], 1),
    (&["sweep", "CARRICK"], 0),
    (&["ride", "SLIPKNOT", "--events", "365"], 0),
    (&["next", "footbridges", "--draws", "128", "--minutes", "30"], 0),
    (&["specimens", "BOWLINE", "--prior", "15%"], 0),
    (&["dispute", "a reader on REEF"], 0),
    (&["lost"], 0),
];

#[test]
fn json_holds_its_version_and_csv_its_columns() {
    let demo = Folder::demo("formats-all");
    for (command, status) in COMMANDS {
        let human = run(&demo.0, command);
        assert_eq!(human.status.code(), Some(*status), "{command:?}: {human:?}");
        assert!(!human.stdout.is_empty(), "{command:?}");
        let json = run(&demo.0, &[*command, &["--format", "json"]].concat());
        assert_eq!(json.status.code(), Some(*status), "{command:?}");
        let value: serde_json::Value = serde_json::from_slice(&json.stdout).unwrap();
        assert!(value["schema_version"].as_u64().is_some_and(|v| v >= 1), "{command:?}");
        let csv = run(&demo.0, &[*command, &["--format", "csv"]].concat());
        let text = String::from_utf8(csv.stdout).unwrap();
        let mut rows = csv::Reader::from_reader(text.as_bytes());
        let columns = rows.headers().unwrap().len();
        assert!(columns >= 3, "{command:?}: {text}");
        for row in rows.records() {
            assert_eq!(row.unwrap().len(), columns, "{command:?}");
        }
    }
}

#[test]
fn every_command_shows_an_example() {
    for (command, _) in COMMANDS {
        let help = run(Path::new("."), &[command[0], "--help"]);
        let text = String::from_utf8(help.stdout).unwrap();
        assert!(text.contains("Example"), "{}: {text}", command[0]);
    }
}

#[test]
fn names_that_are_not_there_are_refused_with_the_nearest() {
    let demo = Folder::demo("formats-names");
    for (command, near) in [
        (vec!["figure", "REEF-2"], "REEF-1"),
        (vec!["figure", "REEF"], "REEF-1"),
        (vec!["guide", "SLIPKNOT"], "SLIPKNOT-1"),
        (vec!["sweep", "TURKSHED"], "TURKSHEAD"),
        (vec!["burden", "bench metre", "--board", "REEF"], "bench meter"),
        (vec!["next", "footbridge"], "footbridges"),
        (vec!["sweep", "GRANNY"], "dead"),
    ] {
        let output = run(&demo.0, &command);
        assert_eq!(output.status.code(), Some(2), "{command:?}");
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(told.contains(near), "{command:?}: {told}");
    }
}

#[test]
fn the_checklist_prints_without_colour_and_with_its_dangers() {
    let demo = Folder::demo("formats-print");
    let output = run(&demo.0, &["guide", "SLIPKNOT-1", "--project", "footbridges", "--print"]);
    let text = String::from_utf8(output.stdout).unwrap();
    for part in ["[x] 2. Polarity", "Wiring:", "Danger:", "component side up", "right"] {
        assert!(text.contains(part), "{part}: {text}");
    }
    assert!(!text.contains('\u{1b}'));
}
