//! The real binary on real folders: what a person types, sees and gets as exit status.

mod common;

use std::path::PathBuf;
use std::process::{Command, Stdio};

use common::{Folder, error, json, run, text};

/// The demo as a folder within one of the test's own, which then has room for other files.
struct Demo(Folder);

impl Demo {
    fn new(name: &str) -> Self {
        let folder = Folder::empty(name);
        let made = folder.run(&["demo", "bench"]);
        assert!(made.status.success(), "{}", error(&made));
        Self(folder)
    }

    fn bench(&self) -> PathBuf {
        self.0.0.join("bench")
    }
}

#[test]
fn the_demo_answers_its_question() {
    let folder = Demo::new("answers");
    let output =
        run(&folder.bench(), &["choose", "footbridges", "--draws", "256", "--format", "json"]);
    assert_eq!(output.status.code(), Some(0), "{}", error(&output));
    let choice = json(&output);
    assert_eq!(choice["schema_version"], 1);
    let verdict = |name: &str| {
        let boards = choice["boards"].as_array().unwrap();
        boards.iter().find(|b| b["board"] == name).unwrap()["verdict"].as_str().unwrap().to_owned()
    };
    assert_eq!(verdict("BOWLINE"), "fits");
    assert_eq!(verdict("GRANNY"), "undecided", "a dead specimen is not a no");
    assert_eq!(verdict("MONKEYFIST"), "does_not");
    let human = text(&run(&folder.bench(), &["choose", "footbridges", "--draws", "64"]));
    for wanted in ["BOWLINE", "Undecided", "rework", "Estimate; not a safety function"] {
        assert!(human.contains(wanted), "{wanted} is missing:\n{human}");
    }
}

#[test]
fn the_same_seed_gives_the_same_answer_and_another_seed_another() {
    let folder = Demo::new("seed");
    let with = |seed: &str| {
        text(&run(
            &folder.bench(),
            &["choose", "footbridges", "--draws", "128", "--seed", seed, "--format", "json"],
        ))
    };
    let first = with("7");
    assert_eq!(first, with("7"));
    assert_ne!(first, with("8"));
    let one_thread = Command::new(env!("CARGO_BIN_EXE_overwinter"))
        .args(["choose", "footbridges", "--draws", "128", "--seed", "7", "--format", "json"])
        .current_dir(folder.bench())
        .env("RAYON_NUM_THREADS", "1")
        .output()
        .unwrap();
    assert_eq!(first, text(&one_thread), "the number of threads must not matter");
}

#[test]
fn a_table_is_filtered_in_three_values() {
    let folder = Demo::new("table");
    let output =
        run(&folder.bench(), &["table", "--where", "resets-removed=no", "--format", "json"]);
    let table = json(&output);
    let undecided: Vec<&str> =
        table["undecided"].as_array().unwrap().iter().map(|v| v.as_str().unwrap()).collect();
    assert!(undecided.contains(&"TURKSHEAD"), "never tried on a low cell: {undecided:?}");
    let rows: Vec<&str> =
        table["rows"].as_array().unwrap().iter().map(|r| r["board"].as_str().unwrap()).collect();
    assert!(!rows.iter().any(|r| r.starts_with("SLIPKNOT")), "it resets: {rows:?}");
    let csv = text(&run(
        &folder.bench(),
        &["table", "--columns", "sleep,charge-current", "--format", "csv"],
    ));
    assert!(csv.lines().next().unwrap().contains("sleep current [µA]"), "{csv}");
    let strand = csv.lines().find(|l| l.starts_with("STRAND")).unwrap();
    assert!(strand.ends_with(",,"), "no charger: not applicable is empty, not unknown: {strand}");
}

#[test]
fn forecast_and_bill_close() {
    let folder = Demo::new("closes");
    let output = run(
        &folder.bench(),
        &["forecast", "REEF", "--project", "footbridges", "--draws", "64", "--format", "json"],
    );
    let forecast = json(&output);
    let total: f64 = forecast["ledger"]
        .as_array()
        .unwrap()
        .iter()
        .map(|l| l["charge_c"].as_f64().unwrap())
        .sum();
    let initial = forecast["initial_charge_c"].as_f64().unwrap();
    assert!((total / initial - 1.0).abs() < 1e-9, "{total} of {initial}");
    let bill = json(&run(&folder.bench(), &["bill", "REEF", "--format", "json"]));
    let parts: f64 =
        bill["lines"].as_array().unwrap().iter().map(|l| l["current_a"].as_f64().unwrap()).sum();
    let rest = bill["unexplained"]["current_a"].as_f64().unwrap();
    let whole = bill["total"]["current_a"].as_f64().unwrap();
    assert!((parts + rest - whole).abs() < 1e-15, "{parts} + {rest} = {whole}");
}

#[test]
fn dangers_are_found_and_told_by_the_status() {
    let folder = Demo::new("dangers");
    let output = run(&folder.bench(), &["check"]);
    assert_eq!(output.status.code(), Some(1), "{}", text(&output));
    let found = text(&output);
    for wanted in ["polarity-opposite", "charger-and-cell", "CARRICK", "do not plug it in"] {
        assert!(found.contains(wanted), "{wanted} is missing:\n{found}");
    }
}

#[test]
fn bad_input_points_at_its_place_and_changes_nothing() {
    let folder = Demo::new("bad");
    let file = folder.bench().join("boards/bowline.toml");
    let good = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, good.replace("price = \"9.80 EUR\"", "prise = \"9.80 EUR\"")).unwrap();
    let output = run(&folder.bench(), &["table"]);
    assert_eq!(output.status.code(), Some(2));
    let message = error(&output);
    for wanted in ["boards/bowline.toml", "prise", "did you mean", "price"] {
        assert!(message.contains(wanted), "{wanted} is missing:\n{message}");
    }
    assert!(output.stdout.is_empty());
    for (arguments, wanted) in [
        (vec!["choose", "footbridge"], "did you mean “footbridges”"),
        (vec!["forecast", "BOWLIN", "--project", "footbridges"], "did you mean “BOWLINE”"),
        (vec!["forecast", "GRANNY", "--project", "footbridges"], "is dead since"),
        (vec!["table", "--columns", "slep"], "did you mean “sleep”"),
        (vec!["table", "--where", "sleep<20"], "write the unit"),
        (vec!["table", "--where", "sleep<20 V"], "this column is a current"),
        (vec!["choose", "footbridges", "--draws", "0"], "ask for 1 to"),
        (vec!["--folder", "nowhere", "table"], "nowhere"),
    ] {
        std::fs::write(&file, &good).unwrap();
        let output = run(&folder.bench(), &arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {}", text(&output));
        assert!(error(&output).contains(wanted), "{arguments:?}: {}", error(&output));
    }
}

#[test]
fn a_folder_that_holds_something_is_not_written_over() {
    let folder = Demo::new("kept");
    let before = std::fs::read_to_string(folder.bench().join("boards/reef.toml")).unwrap();
    let output = run(&folder.0.0, &["demo", "bench"]);
    assert_eq!(output.status.code(), Some(2));
    assert_eq!(before, std::fs::read_to_string(folder.bench().join("boards/reef.toml")).unwrap());
    assert!(run(&folder.0.0, &["new", "mine"]).status.success());
    let output = run(&folder.0.0.join("mine"), &["choose", "my project", "--draws", "64"]);
    assert!(text(&output).contains("MY BOARD"), "{}{}", text(&output), error(&output));
}

#[test]
fn a_table_goes_to_a_spreadsheet_and_back() {
    let folder = Demo::new("sheet");
    let table = folder.0.0.join("boards.csv");
    let csv = text(&run(&folder.bench(), &["export"]));
    std::fs::write(&table, &csv).unwrap();
    let same = run(&folder.bench(), &["import", table.to_str().unwrap()]);
    assert!(text(&same).contains("The table says the same"), "{}{}", text(&same), error(&same));
    let file = folder.bench().join("boards/sheetbend.toml");
    let before = std::fs::read_to_string(&file).unwrap();
    assert!(csv.contains("13.50 EUR"));
    std::fs::write(&table, csv.replace("13.50 EUR", "12.90 EUR")).unwrap();
    let shown = run(&folder.bench(), &["import", table.to_str().unwrap()]);
    assert!(text(&shown).contains("12.90 EUR"), "{}", text(&shown));
    assert_eq!(before, std::fs::read_to_string(&file).unwrap(), "showing changes nothing");
    let applied = run(&folder.bench(), &["import", table.to_str().unwrap(), "--apply"]);
    assert!(applied.status.success(), "{}", error(&applied));
    let after = std::fs::read_to_string(&file).unwrap();
    assert_eq!(
        after,
        before.replacen("13.50 EUR", "12.90 EUR", 1),
        "one value changed, every comment kept"
    );
}

#[test]
fn a_reader_that_goes_away_is_no_error() {
    let folder = Demo::new("pipe");
    let mut child = Command::new(env!("CARGO_BIN_EXE_overwinter"))
        .args(["table", "--columns", "all", "--format", "json"])
        .current_dir(folder.bench())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert!(!error(&output).contains("panicked"), "{}", error(&output));
}

#[test]
fn every_command_has_an_example_and_the_manual_prints() {
    let folder = Folder::empty("help");
    let help = text(&run(&folder.0, &["--help"]));
    let commands: Vec<&str> = help
        .lines()
        .skip_while(|l| !l.starts_with("Commands:"))
        .skip(1)
        .take_while(|l| !l.is_empty())
        // Descriptions that wrap are indented further.
        .filter(|l| l.starts_with("  ") && !l.starts_with("   "))
        .filter_map(|l| l.split_whitespace().next())
        .filter(|c| *c != "help")
        .collect();
    assert!(commands.len() >= 10, "{commands:?}");
    for command in commands {
        let own = text(&run(&folder.0, &[command, "--help"]));
        assert!(own.contains("Example"), "{command} has no example:\n{own}");
    }
    assert!(text(&run(&folder.0, &["man"])).contains(".TH overwinter"));
    assert!(text(&run(&folder.0, &["completions", "bash"])).contains("overwinter"));
}
